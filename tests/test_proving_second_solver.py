"""Another solver agrees wherever ours finds no case: a proof does not hang on the program that found it.

What ours was asked is handed over as SMT-LIB text, so that the two share nothing but the conditions. cvc5 is by others
and of another make; it is needed by these tests alone.
"""

from collections.abc import Iterable
from pathlib import Path
from random import Random

import cvc5
import pytest
from effort import NIGHTLY
from test_proving_planted import EMPTY, LADEN, PLANTED, SHANK, SHORT, rulebook

from fitsvc.paths import data_dir
from fitsvc.proving.book import claims_of
from fitsvc.proving.claims import WHATS, Claim, Prover
from fitsvc.proving.of_ratings import OfRatings
from fitsvc.proving.solver import Model, Solver
from fitsvc.proving.terms import SolverTerm
from fitsvc.rulebook.cache import cached_rulebook

STEPS = 2_000_000
"""Of the other solver's own steps, by which an answer of it is limited: what it has not settled then is not counted."""
LINES = 30 if NIGHTLY else 1
"""Lines of the shipped hazards, drawn at random; by day of one rating, which rests on few rules."""


def second(text: str) -> str:
    """What the other solver says of conditions: sat, unsat or unknown."""
    solver = cvc5.Solver(cvc5.TermManager())
    solver.setOption("rlimit-per", str(STEPS))
    parser = cvc5.InputParser(solver)
    parser.setStringInput(cvc5.InputLanguage.SMT_LIB_2_6, text, "asked")
    symbols, said = parser.getSymbolManager(), ""
    while not (command := parser.nextCommand()).isNull():
        said = command.invoke(solver, symbols).strip() or said
    return said


class Heard:
    """All that ours finds no case for, and what the other says of it."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.said: list[str] = []
        model = Solver.model

        def heard(solver: Solver, terms: Iterable[SolverTerm] = ()) -> Model | None:
            asked = [*terms]
            found = model(solver, asked)
            if found is None:
                solver._solver.push()
                solver.add(asked)
                self.said.append(second(f"(set-logic QF_LRA)\n{solver._solver.to_smt2()}"))
                solver._solver.pop()
            return found

        monkeypatch.setattr(Solver, "model", heard)


def test_it_tells_what_can_be_from_what_cannot() -> None:
    """The other solver is asked at all: it finds a case where there is one, and none where there is none."""
    asked = "(set-logic QF_LRA)(declare-fun x () Real)(assert (< 1 x))(assert (< x {}))(check-sat)"
    assert (second(asked.format(2)), second(asked.format(1))) == ("sat", "unsat")


@pytest.mark.parametrize("name", ["", *PLANTED])
def test_small_rulebooks_are_proven_twice(tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Of sound rules and of each with a planted fault: whatever is proven has no case by either."""
    rules = PLANTED[name].rules if name else (SHANK, EMPTY, LADEN, SHORT)
    heard, prover = Heard(monkeypatch), Prover(rulebook(tmp_path, *rules))
    for claim in claims_of(prover, None, [*WHATS]):
        prover.decide(claim)
    assert heard.said and {*heard.said} == {"unsat"}


def test_shipped_hazards_are_proven_twice(monkeypatch: pytest.MonkeyPatch) -> None:
    """Some lines of what ships: nothing that exceeds the rating works, by both."""
    prover = Prover(cached_rulebook(data_dir("rules")))
    claims: list[Claim] = list(OfRatings(prover).hazards())
    heard = Heard(monkeypatch)
    by_day = [claim for claim in claims if claim.about == "accessory.bikes_max"]
    for claim in Random().sample(claims, LINES) if NIGHTLY else by_day[:LINES]:
        prover.decide(claim)
    assert "sat" not in heard.said
    assert "unsat" in heard.said
