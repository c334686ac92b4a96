"""Readings of a fact, tried over what is plausible, and the runs of them that come to one result.

Numbers are tried in the steps people read (a sixteenth of an inch, a pound), coarsely first; where two
neighbours differ the change is closed in on. Lists are tried member by member.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import ceil, floor
from typing import Final

from fitsvc.answers.missing import Held
from fitsvc.answers.wording import Wording
from fitsvc.facts import Case
from fitsvc.language.display import System, show_step, step
from fitsvc.language.intervals import SAME, Bounds
from fitsvc.language.types import ListType, NumberType, Value
from fitsvc.rulebook.vocabulary import Fact

Results = tuple[str, ...]
"""The results of several rules, which a reading comes to."""
GOOD: Final = "works"
_SAMPLES: Final = 24
_FINEST: Final = 3
_TYRES: Final[Bounds] = (381.0, 1524.0)
"""Diameters within which a tyre is looked for: 15 to 60 in."""


def deciding(
    wording: Wording,
    case: Case,
    held: Held,
    results: Callable[[Value], Results],
    status: Callable[[Results], str],
    wanted: tuple[str, ...],
    system: System,
) -> list[str]:
    """For each wanted status the readings that come to it, in words; empty where none does."""
    kind = held.read.type
    if isinstance(kind, NumberType):
        readings = _Readings(wording.shown(held.read).unit, system, _range(held, held.current(case)))
        runs = readings.runs(results, status)
        prefix = "a diameter of " if held.fact.tyre else ""
        return [" or ".join(prefix + readings.text(run) for run in runs if run.status == one) for one in wanted]
    members = wording.shown(held.read).words
    found = {value: status(results(value)) for value in _possible(kind, held.current(case))}
    return [" or ".join(_word(kind, value, members) for value in found if found[value] == one) for one in wanted]


def any_reading(wording: Wording, case: Case, held: Held, results: Callable[[Value], Results], wanted: Results) -> bool:
    """Whether some reading comes to the wanted results."""
    kind = held.read.type
    if not isinstance(kind, NumberType):
        return any(results(value) == wanted for value in _possible(kind, held.current(case)))
    readings = _Readings(wording.shown(held.read).unit, "us", _range(held, held.current(case)))
    return readings.reaches(results, wanted)


def largest_below(
    fact: Fact, now: float, results: Callable[[Value], Results], wanted: Sequence[Results], system: System
) -> tuple[float, str, str | int] | None:
    """The largest reading below what a fact is now with wanted results: inside, in words and as written."""
    low, _ = fact.range or (0.0, 0.0)
    readings = _Readings(fact.shown_in, system, (max(low, 0.0), now))
    for run in reversed(readings.runs(results, lambda found: GOOD if found in wanted else "")):
        if run.status == GOOD and run.last * readings.step < now - SAME:
            value = run.last * readings.step
            text = readings.shown(run.last)
            return (value, text, int(run.last) if fact.kind == "count" else text) if run.last > 0 else None
    return None


def samples(held: Held, case: Case) -> list[Value]:
    """A few readings spread over what is plausible, the ends among them."""
    current = held.current(case)
    if isinstance(held.read.type, NumberType):
        low, high = _range(held, current)
        return [(low + (high - low) * part, low + (high - low) * part) for part in (0.0, 0.1, 0.3, 1.0)]
    return list(_possible(held.read.type, current))


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

    def runs(self, results: Callable[[Value], Results], status: Callable[[Results], str]) -> list[_Run]:
        """The readings in runs of one status."""
        found = self._found(results)
        runs: list[_Run] = []
        for count in sorted(found):
            now = status(found[count])
            if runs and runs[-1].status == now:
                runs[-1] = _Run(now, runs[-1].first, count)
            else:
                runs.append(_Run(now, count, count))
        return runs

    def reaches(self, results: Callable[[Value], Results], wanted: Results) -> bool:
        """Whether some reading comes to the wanted results; the coarse ones are tried first."""
        found: dict[int, Results] = {}
        for count in self._coarse():
            found[count] = results((count * self.step, count * self.step))
            if found[count] == wanted:
                return True
        return len(set(found.values())) > 1 and wanted in self._found(results).values()

    def _coarse(self) -> list[int]:
        stride = max(1, (self.high - self.low) // _SAMPLES)
        small = {self.low + 4**power for power in range(12)}
        return sorted({*range(self.low, self.high + 1, stride), self.high, *(c for c in small if c < self.high)})

    def _found(self, results: Callable[[Value], Results]) -> dict[int, Results]:
        """Results by reading: the coarse readings, and both sides of every change between two of them."""

        def at(count: int) -> Results:
            return results((count * self.step, count * self.step))

        counts = self._coarse()
        found = {count: at(count) for count in counts}
        for left, right in pairwise(counts):
            _close_in(left, right, found, at)
        return found

    def text(self, run: _Run) -> str:
        """A run in words."""
        first, last = self.shown(run.first), self.shown(run.last)
        if run.first == self.low and run.last == self.high:
            return "any reading"
        if run.first == self.low:
            return f"at most {last}"
        if run.last == self.high:
            return f"at least {first}"
        return first if run.first == run.last else f"{first} to {last}"

    def shown(self, count: int) -> str:
        """A reading as people write it."""
        return show_step(count * self.step, self.unit, self.system, self.level)


def _close_in(left: int, right: int, found: dict[int, Results], at: Callable[[int], Results]) -> None:
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
