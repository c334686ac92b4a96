"""What is claimed of a rulebook, and what became of a claim: proven, refuted by a smallest case, or not decided."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from math import inf
from time import perf_counter, process_time
from typing import Final, Literal

from fitsvc.document import Document
from fitsvc.engine.point import Point
from fitsvc.facts import Case, FactReader
from fitsvc.proving.asking import BUDGET, Holds, Undecided, ask
from fitsvc.proving.examples import ExampleCases
from fitsvc.proving.functions import UntranslatedError
from fitsvc.proving.shrinking import Shrinking
from fitsvc.proving.terms import SolverTerm
from fitsvc.proving.world import World
from fitsvc.rulebook.rules import Rulebook

MOST_ADAPTERS: Final = 2
"""A claim is looked into with so many adapters at most: what two bring, a third brings again."""

State = Literal["proven", "refuted", "undecided"]
What = Literal["dead", "idle", "implied", "pairs", "ratings", "hazards", "worse", "equal"]
WHATS: Final[Mapping[What, str]] = {
    "dead": "a rule that never applies, or that nothing passes",
    "idle": "a rule that nothing fails",
    "implied": "a rule that decides nothing alone: where it fails or is open, another brings as much",
    "pairs": "two blocking rules that no rig of a kind gets past both",
    "ratings": "a rating that nothing refuses a kind for",
    "hazards": "a rating that is exceeded, and it works",
    "worse": "more weight, or a lower rating, and a rule comes to something better",
}
"""What is looked for: the faults of a rulebook, each in a word."""
OF_ONE: Final[frozenset[What]] = frozenset(("dead", "idle", "implied"))
"""What is claimed of one rule."""

NOT_REACHED: Final = "the time for all claims was over before it was looked into"

Asked = Iterator[tuple[World, Sequence[SolverTerm], Holds]]
Shown = Iterator[tuple[Case, Holds]]
"""Cases that may refute a claim, each with what it has to show by the engine."""


def nothing_asked() -> Asked:
    """Nothing, of a claim that is only told of."""
    return iter(())


def _nothing_known() -> Shown:
    return iter(())


def _tells_nothing(_: Case) -> str:
    return ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Claim:
    """That no case does something: what is asked of each world, and whether it is a fault if there is none, or one.

    `says` is the claim in words, `about` what it is of; `tells` what is to be told of a case against it. `shows` says
    what such a case shows, where that is as it should be. `known` are cases to look at before any solver is asked. One
    that is a fault if it is proven may be one only if there is a case `past` all else that could refuse it.
    """

    what: What
    about: str
    says: str
    fault: State
    asked: Callable[[], Asked]
    tells: Callable[[Case], str] = _tells_nothing
    shows: str = ""
    known: Callable[[], Shown] = _nothing_known
    past: Callable[[], Asked] | None = None

    @property
    def told(self) -> "Claim":
        """The claim as another process is told of it: in words alone."""
        return replace(self, asked=nothing_asked, tells=_tells_nothing, known=_nothing_known, past=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ruling:
    """What became of a claim; `document` is the question that refutes it, `reason` why it is not
    decided, or what is told beside.
    """

    claim: Claim
    state: State
    document: Document | None = None
    reason: str = ""
    seconds: float = 0.0
    is_moot: bool = False
    """Proven, and no fault, since nothing gets past all else."""

    @property
    def fault(self) -> bool:
        """Whether the rulebook is at fault."""
        return self.state == self.claim.fault and not self.is_moot


@dataclass(eq=False)
class Prover:
    """A rulebook whose claims are looked into, until some time: its engine, and its worlds by their adapters."""

    rulebook: Rulebook
    until: float = inf
    worlds: dict[int, World] = field(default_factory=dict)

    @cached_property
    def engine(self) -> Point:
        """The engine that has the last word."""
        return Point(self.rulebook)

    @cached_property
    def reader(self) -> FactReader:
        """The reader that a case has to pass as a question."""
        return FactReader(self.rulebook)

    @cached_property
    def examples(self) -> ExampleCases:
        """What the examples give, as cases."""
        return ExampleCases(self.rulebook, self.reader)

    @property
    def adapters(self) -> range:
        """How many adapters there may be: none in a rulebook that knows of none."""
        return range(MOST_ADAPTERS + 1 if "adapter" in self.rulebook.vocabulary.subjects else 1)

    def world(self, adapters: int) -> World:
        """The world with so many adapters."""
        found = self.worlds.get(adapters)
        if found is None:
            self.worlds[adapters] = found = World(self.rulebook, adapters)
        return found

    def decide(self, claim: Claim) -> Ruling:
        """Look into a claim."""
        start = perf_counter()
        if start > self.until:
            return Ruling(claim=claim, state="undecided", reason=NOT_REACHED)
        reasons: list[str] = []
        for case, holds in claim.known():
            if holds(case) and (ruling := self._refuted(claim, case, holds, start)).state == "refuted":
                return ruling
        found = self._found(claim.asked(), reasons, likely=claim.fault == "proven")
        if found is not None:
            return self._refuted(claim, *found, start)
        past = self._found(claim.past(), reasons, likely=True) if claim.past and not reasons else None
        if past is not None:
            return replace(self._refuted(claim, *past, start), state="proven")
        state: State = "undecided" if reasons else "proven"
        is_moot = claim.past is not None and state == "proven"
        reason = "; ".join(dict.fromkeys(reasons))
        return Ruling(claim=claim, state=state, reason=reason, seconds=perf_counter() - start, is_moot=is_moot)

    def _found(self, asked: Asked, reasons: list[str], *, likely: bool) -> tuple[Case, Holds] | None:
        """A case of what is asked, with what it holds; in `reasons` why there may be one that was not found."""
        end = process_time() + BUDGET
        try:
            for world, terms, holds in asked:
                found = ask(world, terms, holds, likely=likely, until=end)
                if isinstance(found, Case):
                    return found, holds
                reasons += [found.reason] if isinstance(found, Undecided) else []
        except UntranslatedError as what:
            reasons.append(f"{what} is not put into terms")
        return None

    def _refuted(self, claim: Claim, case: Case, holds: Holds, start: float) -> Ruling:
        shrinking = Shrinking(self.reader, holds)
        smallest = shrinking.smallest(case)
        seconds = perf_counter() - start
        if not shrinking.is_asked(smallest):
            reason = "a case was found, but none that can be asked as a question"
            return Ruling(claim=claim, state="undecided", reason=reason, seconds=seconds)
        told = claim.tells(smallest.case)
        return Ruling(claim=claim, state="refuted", document=smallest.document, reason=told, seconds=seconds)
