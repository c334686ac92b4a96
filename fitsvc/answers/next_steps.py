"""What to learn next: the facts that hold an answer up, and the readings that decide, found by evaluating.

For each fact that an open rule rests on and that is not exactly known, readings over its plausible range
(within what is known already) are tried in the steps people read, and the places where the result
changes are closed in on. A reading `works` when none of the rules that the fact holds up stays open or
fails; it `fails` when a blocking one of them fails.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import ceil, floor
from typing import Final

from fitsvc.answers.answer import Next
from fitsvc.answers.wording import Wording, exact
from fitsvc.engine.point import Point, Verdict
from fitsvc.facts import Case
from fitsvc.language.display import System, show_step, step
from fitsvc.language.intervals import Bounds
from fitsvc.language.typed import Read
from fitsvc.language.types import ListType, NumberType, Value
from fitsvc.rulebook.vocabulary import EFFORTS, Fact

GOOD, BAD, OPEN = "works", "fails", "open"
_ASK: Final = {"ask": "ask", "label": "read", "tape": "measure", "scales": "weigh", "dealer": "look up"}
_SAMPLES: Final = 24
_FINEST: Final = 3
_TYRES: Final[Bounds] = (381.0, 1524.0)
"""Diameters within which a tyre is looked for: 15 to 60 in."""


@dataclass(frozen=True, slots=True)
class Held:
    """A fact that is not exactly known, with the open rules it holds up; `adapter` is its place in the opening."""

    read: Read
    fact: Fact
    rules: tuple[int, ...]
    adapter: int | None = None

    def supplied(self, case: Case, value: Value) -> Case:
        """The case with the fact known to be a value."""
        if self.adapter is None:
            return replace(case, facts={**case.facts, self.read.name: value})
        adapters = list(case.adapters)
        adapters[self.adapter] = {**adapters[self.adapter], self.read.name: value}
        return replace(case, adapters=tuple(adapters))

    def current(self, case: Case) -> Value:
        """What is known of the fact now."""
        facts = case.facts if self.adapter is None else case.adapters[self.adapter]
        return facts.get(self.read.name, self.read.type.unknown)  # type: ignore[union-attr]


def next_steps(engine: Point, wording: Wording, case: Case, verdict: Verdict, system: System) -> list[Next]:
    """What to learn next: what decides the outcome first, then cautions; cheapest effort first."""
    if verdict.outcome == "fails":
        return []
    held = [*_held(engine, wording, case, verdict.unknown), *_held(engine, wording, case, verdict.doubts)]
    steps: dict[str, tuple[bool, int, Next]] = {}
    for one in held:
        late = not set(one.rules) & set(verdict.unknown)
        text = _decisions(engine, wording, case, one, system)
        step = Next(one.fact.name, _ASK[one.fact.effort], one.fact.how_to_measure, *text)  # type: ignore[arg-type]
        steps.setdefault(one.fact.name, (late, EFFORTS.index(one.fact.effort), step))
    decided = [(late, not (step.works_if or step.fails_if), effort, step) for late, effort, step in steps.values()]
    return [step for *_, step in sorted(decided, key=lambda row: row[:3])]


def _held(engine: Point, wording: Wording, case: Case, open_rules: Sequence[int]) -> Iterator[Held]:
    """The facts that open rules rest on and that are not exactly known."""
    rules: dict[tuple[str, int | None], list[int]] = {}
    reads: dict[str, Read] = {}
    for number in open_rules:
        for read, adapter in _rests_on(engine, case, number):
            reads[read.name] = read
            rules.setdefault((read.name, adapter), []).append(number)
    for (name, adapter), numbers in rules.items():
        fact = engine.rulebook.vocabulary.fact_of(name)
        if fact is None:
            continue
        held = Held(reads[name], fact, tuple(numbers), adapter)
        if not exact(held.current(case), wording.shown(held.read)):
            yield held


def _rests_on(engine: Point, case: Case, number: int) -> Iterator[tuple[Read, int | None]]:
    """The facts that matter to an open rule, those behind the working opening too."""
    adapted = bool(case.adapters)
    basis = engine.basis(number, adapted)
    decided = engine.values(("decisions", number, adapted), lambda: basis.decisions).of(case)
    matter = [basis.leaves[i] for i in basis.matter(decided)]
    yield from ((read, None) for read in matter if not read.name.startswith("opening."))
    if any(read.name.startswith("opening.") for read in matter):
        own, each = engine.opening_leaves
        yield from ((read, None) for read in own)
        yield from ((read, i) for i in range(len(case.adapters)) for read in each)


def _decisions(engine: Point, wording: Wording, case: Case, held: Held, system: System) -> tuple[str, str]:
    """The readings that work and those that fail, in words; empty where no reading of this fact alone does."""

    def status(value: Value) -> str:
        return _status(engine, held, held.supplied(case, value))

    kind = held.read.type
    if isinstance(kind, NumberType):
        unit = wording.shown(held.read).unit
        readings = _Readings(unit, system, _range(held, held.current(case)))
        runs = readings.runs(status)
        prefix = "a diameter of " if held.fact.tyre else ""
        return tuple(  # type: ignore[return-value]
            " or ".join(prefix + readings.text(run) for run in runs if run.status == wanted) for wanted in (GOOD, BAD)
        )
    members = wording.shown(held.read).words
    possible = _possible(kind, held.current(case))
    found = {value: status(value) for value in possible}
    names = {value: _word(kind, value, members) for value in possible}
    return tuple(" or ".join(names[v] for v in possible if found[v] == wanted) for wanted in (GOOD, BAD))  # type: ignore[return-value]


def _status(engine: Point, held: Held, case: Case) -> str:
    """What becomes of the rules a fact holds up, with the fact supplied."""
    case = engine.opened(case)
    found = GOOD
    for number in held.rules:
        verdict = engine.judge(number, case)
        if verdict.fails:
            return BAD
        if verdict.unknown or verdict.doubts or verdict.cautions:
            found = OPEN
    return found


def _possible(kind: object, current: Value) -> list[int]:
    assert isinstance(current, int)
    if isinstance(kind, ListType):
        return [1 << i for i in range(len(kind.members)) if current >> i & 1]
    return [2, 0]


def _word(kind: object, value: int, members: tuple[str, ...]) -> str:
    return members[value.bit_length() - 1] if isinstance(kind, ListType) else members[value]


def _range(held: Held, current: Value) -> Bounds:
    """The readings to try: the plausible ones that agree with what is known."""
    low, high = held.fact.range or _TYRES
    assert isinstance(current, tuple)
    return (max(low, current[0]), min(high, current[1]))


@dataclass(frozen=True, slots=True)
class _Run:
    """Neighbouring readings, counted in steps, with one result."""

    status: str
    first: int
    last: int


class _Readings:
    """The readings of a number that people take: whole steps of its unit (of one, for a count) within a range."""

    def __init__(self, unit: str, system: System, range_: Bounds) -> None:
        self.unit, self.system = unit, system
        self.level = 0
        while unit and self.level < _FINEST and range_[1] - range_[0] < 4 * step(unit, system, self.level):
            self.level += 1
        self.step = step(unit, system, self.level) if unit else 1.0
        self.low, self.high = ceil(range_[0] / self.step - 1e-9), floor(range_[1] / self.step + 1e-9)

    def runs(self, status: Callable[[Value], str]) -> list[_Run]:
        """The readings in runs of one result."""

        def at(count: int) -> str:
            return status((count * self.step, count * self.step))

        stride = max(1, (self.high - self.low) // _SAMPLES)
        counts = sorted({*range(self.low, self.high + 1, stride), self.high})
        found = {count: at(count) for count in counts}
        for left, right in pairwise(counts):
            _close_in(left, right, found, at)
        runs: list[_Run] = []
        for count in sorted(found):
            if runs and runs[-1].status == found[count]:
                runs[-1] = _Run(runs[-1].status, runs[-1].first, count)
            else:
                runs.append(_Run(found[count], count, count))
        return runs

    def text(self, run: _Run) -> str:
        """A run in words."""
        first, last = self._shown(run.first), self._shown(run.last)
        if run.first == self.low and run.last == self.high:
            return "any reading"
        if run.first == self.low:
            return f"at most {last}"
        if run.last == self.high:
            return f"at least {first}"
        return first if run.first == run.last else f"{first} to {last}"

    def _shown(self, count: int) -> str:
        return show_step(count * self.step, self.unit, self.system, self.level)


def _close_in(left: int, right: int, found: dict[int, str], at: Callable[[int], str]) -> None:
    """Halve between two readings of different results until they are neighbours."""
    while right - left > 1 and found[left] != found[right]:
        middle = (left + right) // 2
        found[middle] = at(middle)
        if found[middle] not in (found[left], found[right]):
            _close_in(left, middle, found, at)
            left = middle
        elif found[middle] == found[left]:
            left = middle
        else:
            right = middle
