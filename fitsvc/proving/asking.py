"""One question put to the solver: is there a case? A case it finds counts only once the engine has agreed.

Where a formula that is not linear is taken for what it is not, what is true at that point is said and the solver is
asked again. No case left is a proof, since all that was said is true; a case is one because the engine says so; and
after so many rounds it is left undecided, with the formulas that it hung on.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from time import process_time
from typing import Final

from fitsvc.facts import Case
from fitsvc.proving.applications import Application, held
from fitsvc.proving.cases import read_case
from fitsvc.proving.solver import GaveUpError, Model, Solver
from fitsvc.proving.terms import SolverTerm, at_most, figure, negation, same, some
from fitsvc.proving.world import World
from fitsvc.rulebook.vocabulary import TYRE_PARTS

ROUNDS: Final = 40
"""So often the solver is asked again before a question is left undecided."""
BUDGET: Final = 20
"""Seconds of processor time for all that is asked about one claim, so that a busy machine decides no less."""
WELL_APART: Final = figure(1.0)
"""A millimetre, a kilogram, a degree, or a hundredth of a share."""

Holds = Callable[[Case], bool]


@dataclass(frozen=True, slots=True)
class Undecided:
    """A question left open, with the reason."""

    reason: str


Found = Case | Undecided | None
"""A case; that it is left open; or None, where it is proven that there is no case."""


def ask(
    world: World, terms: Sequence[SolverTerm], holds: Holds, *, likely: bool = False, until: float | None = None
) -> Found:
    """A case in which all these terms hold, and which `holds` by the engine; looked for until so many seconds' work.

    Where one is likely it is looked for with figures well apart at first, which no rounding makes another.
    """
    asked = [*terms, world.facts.asked_about()]
    if any(term.value is False for term in asked):
        return None
    end = process_time() + BUDGET if until is None else until
    if world.works in asked and not world.may_work(asked, end):
        return None
    tyres = list(_of_tried_tyres(world, asked))
    if likely:
        found = _Search(world, [*asked, *tyres, at_most(WELL_APART, world.facts.variables.margin)], holds, end).found()
        if isinstance(found, Case):
            return found
    found = _Search(world, [*asked, *tyres], holds, end).found()
    if found is None and tyres:
        other = _Search(world, asked, holds, end).found()
        return Undecided("only with a tyre of none of the sizes tried") if isinstance(other, Case) else other
    return found


def _of_tried_tyres(world: World, terms: Sequence[SolverTerm]) -> Iterator[SolverTerm]:
    """That each tyre in question is not told, or has one of the sizes that are tried."""
    facts = world.facts
    _, uses = facts.variables.closed(terms)
    for name, sizes in facts.tyres.items():
        parts = [facts.told[None, f"{name}.{part}"] for part in TYRE_PARTS]
        if any(part.figure.uses & uses or part.known.uses & uses for part in parts):
            yield some((*sizes, negation(parts[0].known)))


@dataclass(slots=True)
class _Search:
    """One search for a case."""

    world: World
    terms: Sequence[SolverTerm]
    holds: Holds
    end: float
    uses: int = field(default=0, init=False)
    applications: list[Application] = field(default_factory=list, init=False)

    def found(self) -> Found:
        closed, self.uses = self.world.facts.variables.closed(self.terms)
        made = self.world.functions.applications
        self.applications = [one for place, one in made.items() if self.uses >> place & 1]
        solver = Solver(self.world.words, self.end)
        solver.add([*closed, *self._in_order()])
        try:
            return self._rounds(solver)
        except GaveUpError:
            return Undecided(f"the solver gave up after {BUDGET} seconds{self._formulas()}")

    def _rounds(self, solver: Solver) -> Found:
        for _ in range(ROUNDS):
            if process_time() > self.end:
                return Undecided(f"after {BUDGET} seconds{self._formulas()}")
            model = solver.model()
            if model is None:
                return None
            found = self._agreed(model)
            if found is not None:
                return found
            lemmas, point = self._learnt(model)
            if not lemmas:
                return Undecided("figures so close that the engine's floats and exact ones differ")
            model = solver.model([*lemmas, *point])
            found = self._agreed(model) if model is not None else None
            if found is not None:
                return found
            solver.add(lemmas)
        return Undecided(f"after {ROUNDS} rounds{self._formulas()}")

    def _formulas(self) -> str:
        """The formulas that a question hangs on, where it does on any."""
        names = sorted({one.piece.name for one in self.applications})
        return f" at {', '.join(names)}" if names else ""

    def _agreed(self, model: Model) -> Case | None:
        """The model's case, if the engine agrees."""
        case = read_case(self.world.facts, model, self.uses)
        return case if self.holds(case) else None

    def _in_order(self) -> Iterator[SolverTerm]:
        for place, one in enumerate(self.applications):
            for other in self.applications[:place]:
                if one.piece is other.piece:
                    yield from one.beside(other)

    def _learnt(self, model: Model) -> tuple[list[SolverTerm], list[SolverTerm]]:
        """What is true at the arguments of a model, where it says otherwise; and that the arguments are these."""
        lemmas: list[SolverTerm] = []
        point: list[SolverTerm] = []
        for one in self.applications:
            at = [model.number(arg) for arg in one.args]
            learnt = one.learnt(at)
            lemmas += [] if all(map(model.so, learnt)) else learnt
            point += [same(arg, figure(held(x))) for arg, x in zip(one.args, at, strict=True)]
        return lemmas, [term for term in point if term.value is not True]
