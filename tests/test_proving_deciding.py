"""Claims looked into by several processes and within a time: the same verdicts, and what was not reached is told."""

from concurrent.futures.process import BrokenProcessPool
from dataclasses import replace
from os import _exit
from pathlib import Path
from time import perf_counter, process_time

import pytest
from test_proving_planted import EMPTY, LADEN, PLANTED, SHANK, SHORT, rule, rulebook

from fitsvc.cli import main
from fitsvc.proving.alike import KindsAlike
from fitsvc.proving.asking import Undecided, ask
from fitsvc.proving.book import Part, parts_of
from fitsvc.proving.claims import NOT_REACHED, WHATS, Claim, Prover, Ruling, nothing_asked
from fitsvc.proving.deciding import decided
from fitsvc.proving.of_pairs import OfPairs
from fitsvc.proving.solver import GaveUpError, Solver
from fitsvc.rulebook.kinds import kinds_of
from fitsvc.rulebook.rules import Exclusion


def verdicts(prover: Prover, processes: int) -> list[tuple[str, str, str, object]]:
    """What became of all claims of a rulebook."""
    found = [one for part in decided(prover, parts_of(prover, None, [*WHATS]), processes) for one in part]
    return [(one.claim.what, one.claim.says, one.state, one.document) for one in found]


@pytest.mark.parametrize("name", ["a contradiction", "a dead rule", "a loosened limit"])
def test_two_processes_come_to_what_one_does(tmp_path: Path, name: str) -> None:
    """The same verdicts in the same order, each refuted one with its question."""
    book = rulebook(tmp_path, *PLANTED[name].rules)
    alone = verdicts(Prover(book), 1)
    assert [one[:3] for one in verdicts(Prover(book), 2)] == [one[:3] for one in alone]
    assert any(state == "refuted" and document for _, _, state, document in alone)


def test_a_process_that_is_ended_is_told(tmp_path: Path) -> None:
    """Whoever ends one, as a machine without memory does, is not waited for."""
    prover = Prover(rulebook(tmp_path, SHANK))
    parts = [Part("dead", "ends", lambda: _exit(9)), *parts_of(prover, None, ["dead"])]
    with pytest.raises(BrokenProcessPool):
        list(decided(prover, parts, 2))


def test_what_was_not_reached_in_time_is_counted_and_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It is neither proven nor refuted, by kind of claim, and the command ends with 1."""
    rulebook(tmp_path, SHANK, EMPTY, LADEN, SHORT)
    told = ["rules", "prove", "--rules", str(tmp_path), "--minutes", "0.000001", "--processes", "1"]
    assert main(told) == 1
    text = capsys.readouterr().out
    assert " 0 proven, 0 refuted by a case, " in text
    assert "Not looked into before the time was over: `dead` " in text
    assert "`hazards` 1" in text


def test_a_claim_is_not_decided_once_its_time_is_over(tmp_path: Path) -> None:
    """No answer in time is no proof: neither of the solver, nor of a question, nor of a claim."""
    prover = Prover(rulebook(tmp_path, SHANK, EMPTY, LADEN, SHORT))
    world = prover.world(0)
    solver = Solver(world.words, process_time() - 1)
    with pytest.raises(GaveUpError):
        solver.model([world.works])
    assert isinstance(ask(world, [world.works], lambda _: True, until=process_time() - 1), Undecided)
    prover.until = perf_counter() - 1
    claim = Claim(what="idle", about="a", says="s", fault="proven", asked=nothing_asked)
    assert prover.decide(claim) == Ruling(claim=claim, state="undecided", reason=NOT_REACHED)


def test_pairs_that_are_meant_to_exclude_each_other_are_passed_over(tmp_path: Path) -> None:
    """Named in the hazards they are claimed no more; others are."""
    book = rulebook(tmp_path, *PLANTED["a contradiction"].rules)
    claims = [*OfPairs(Prover(book)).claims()]
    assert [claim.says for claim in claims] == [
        "no rack gets past both `short-enough` and `long-enough`",
        "any two of 4 blocking rules let some step past both, or are meant not to",
    ]
    meant = Exclusion(rule="long-enough", other="short-enough", because="b")
    claims = [*OfPairs(Prover(replace(book, apart=(meant,)))).claims()]
    assert [claim.says.partition(" blocking ")[0] for claim in claims] == ["any two of 5", "any two of 4"]


def test_kinds_that_two_rules_cannot_tell_apart_are_looked_into_once(tmp_path: Path) -> None:
    """By what the conditions of the rules ask of the kind, through derived values too."""
    book = rulebook(tmp_path, SHANK, EMPTY, LADEN, SHORT, rule("held", "accessory.length >= 9 in", "kind.holds"))
    rules, alike = {one.id: one for one in book.rules}, KindsAlike(book)
    rack, step = kinds_of(book.vocabulary).values()
    blind, seeing = [rules["shank-fits"], rules["short-enough"]], [rules["shank-fits"], rules["held"]]
    assert alike.sign(rack, blind) == alike.sign(step, blind)
    assert alike.sign(rack, seeing) != alike.sign(step, seeing)


def test_claims_of_all_rules_are_made_of_no_single_one(capsys: pytest.CaptureFixture[str]) -> None:
    """They would be none, and none is no proof."""
    assert main(["rules", "prove", "shank-fits-opening", "--only", "pairs"]) == 2
    assert "leave `shank-fits-opening` out" in capsys.readouterr().err
