"""Readings of a fact, tried over what is plausible, and the runs of them that come to one result.

Numbers are tried in the steps people read (a sixteenth of an inch, a pound), coarsely first; where two
neighbours differ the change is closed in on. Lists are tried member by member. Steps are those of US
display, or of metric where the answer is: a reading named is one that a person can take.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import ceil, floor, inf, isfinite
from typing import Final

from fitsvc.language.display import System, show_step, step
from fitsvc.language.intervals import Bounds
from fitsvc.language.truth import NO, YES, Truth
from fitsvc.language.types import ListType, Mask, NumberType, Type, Value
from fitsvc.language.tyres import MM_PER_INCH, RIM_INCHES, WIDTH_MM
from fitsvc.rulebook.rules import Shown
from fitsvc.tongues import t

GOOD, BAD, OPEN, DOUBTED, LESS = "works", "fails", "open", "doubted", "less"
"""What a reading comes to; one that would work is doubted where nothing but the figure itself is then in doubt, and is
good for less where it is not for all that is told that may be carried."""

_SAMPLES: Final = 64
_SAMPLES_FEW: Final = 12
"""Where each reading tried takes an opening worked out anew."""
_FINEST: Final = 3
_WHOLE: Final[Bounds] = (381.0, 1524.0)
"""Diameters within which a tyre is looked for, which has no range of its own: 15 to 60 in."""
OF_A_TYRE: Final[Mapping[str, Bounds]] = {
    "width": WIDTH_MM,
    "rim": (RIM_INCHES[0] * MM_PER_INCH, RIM_INCHES[1] * MM_PER_INCH),
}
"""What else of a tyre has no range of its own, and is refused where it is told beyond these."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """The readings of a fact, counted from `low` to `high`: steps of a number, or members of a list.

    One below zero is told without its sign, by the words `below` where there are any. Of a step that reaches past what
    is `known` already the part within it is tried. Where what is known is all that ends them above, they are `capped`.
    """

    low: int
    high: int
    step: float
    level: int
    members: tuple[Mask | Truth, ...]
    shown: Shown
    system: System
    below: str = ""
    above: str = ""
    known: Bounds = (-inf, inf)
    capped: bool = False

    def value(self, count: int) -> Value:
        """The value of a reading."""
        if self.members:
            return self.members[count]
        figure = min(max(count * self.step, self.known[0]), self.known[1])
        return figure, figure

    def text(self, count: int) -> str:
        """A reading as people write it."""
        if not self.members:
            text = show_step(abs(count) * self.step if self.below else count * self.step, *self._as_shown)
            return f"{text} {self.below}" if self.below and count < 0 else text
        value = self.members[count]
        is_truth = len(self.shown.words) == 3 and self.shown.words[1] == t("unknown")
        return self.shown.words[value if is_truth else value.bit_length() - 1]

    @property
    def _as_shown(self) -> tuple[str, System, int]:
        return self.shown.unit, self.system, self.level

    def bounds(self, low: int | None, high: int | None) -> str:
        """All readings from one to another of a number, in words; None where nothing bounds them on that side."""
        if low is None and high is None:
            return t("any reading")
        # Of what is on both sides of nothing both are said, or who measures on the other side takes it for a no.
        other = self.above or t("the other way")
        if self.below and low is not None and low < 0 and high is None and self.high > 0:
            if self.capped:  # what is known rules out the rest, of which nobody has said that it works
                return self.bounds(low, self.high)
            return t("at most {figure}, or anything {other}", figure=self.text(low), other=other)
        if low is None or high is None:
            end = high if low is None else low
            assert end is not None
            # The less a figure below zero is, the more it is without its sign.
            most = (low is None) != (bool(self.below) and end < 0)
            return (
                t("at most {figure}", figure=self.text(end)) if most else t("at least {figure}", figure=self.text(end))
            )
        if low == high:
            return self.text(low)
        if self.below and low < 0 < high:
            return t("anything from {low} to {high}", low=self.text(low), high=f"{self.text(high)} {other}")
        first, last = (high, low) if self.below and high <= 0 else (low, high)
        low_end = self.text(first).removesuffix(f" {self.below}" if last < 0 else "")
        return t("{low} to {high}", low=low_end, high=self.text(last))

    @property
    def whole(self) -> str:
        """All plausible readings of a number, by their ends."""
        return self.bounds(self.low or None, self.high)

    def coarse(self, samples: int = _SAMPLES) -> list[int]:
        """A first selection of readings: evenly spread, and close together at the low end; of a list, all."""
        if self.members:
            return list(range(self.low, self.high + 1))
        stride = max(1, (self.high - self.low) // samples)
        small = (self.low + 8**power for power in range(8 if samples == _SAMPLES else 4))
        return sorted({*range(self.low, self.high + 1, stride), self.high, *(c for c in small if c < self.high)})

    def few(self) -> list[Value]:
        """A handful of readings, the ends among them."""
        if self.members:
            return [self.value(count) for count in self.coarse()]
        spread = self.high - self.low
        return [self.value(count) for count in sorted({self.low + round(spread * p) for p in (0.0, 0.1, 0.3, 1.0)})]


def grid_of(
    kind: Type,
    shown: Shown,
    range_: Bounds | None,
    current: Value,
    system: System = "us",
    below: str = "",
    above: str = "",
) -> Grid:
    """The readings worth trying of a value of which something is known already; numbers in the inside unit."""
    if isinstance(kind, ListType):
        assert isinstance(current, int)
        members = tuple(kind.member(i) for i in range(len(kind.members)) if current >> i & 1)
        return Grid(low=0, high=len(members) - 1, step=1.0, level=0, members=members, shown=shown, system=system)
    if not isinstance(kind, NumberType):
        return Grid(low=0, high=1, step=1.0, level=0, members=(YES, NO), shown=shown, system=system)
    assert isinstance(current, tuple)
    least, most = range_ or _WHOLE
    low, high = max(least, current[0]), min(most, current[1])
    if low > high:  # known to lie beyond what is plausible
        ends = [end for end in current if isfinite(end)]
        least, most = low, high = ends[0], ends[-1]
    level, size = 0, 1.0
    if shown.unit:
        while level < _FINEST and high - low < 4 * step(shown.unit, system, level):
            level += 1
        size = step(shown.unit, system, level)
    # Outwards to whole steps, so that no value that may be true lies beyond the readings; a plausible one at the ends.
    first = max(floor(low / size + 1e-9), ceil(least / size - 1e-9))
    last = max(first, min(ceil(high / size - 1e-9), floor(most / size + 1e-9)))
    return Grid(
        low=first,
        high=last,
        step=size,
        level=level,
        members=(),
        shown=shown,
        system=system,
        below=below,
        above=above,
        known=current,
        capped=current[1] < most,
    )


@dataclass(frozen=True, slots=True)
class Runs:
    """Neighbouring readings with one result, in order: each result with the first and last reading of its run."""

    grid: Grid
    runs: tuple[tuple[str, int, int], ...]

    @property
    def statuses(self) -> set[str]:
        """The results that occur."""
        return {status for status, _, _ in self.runs}

    def share(self, wanted: str) -> float:
        """What share of the readings comes to a result."""
        found = sum(last + 1 - first for status, first, last in self.runs if status == wanted)
        return found / (self.grid.high + 1 - self.grid.low)

    def of_something(self) -> "Runs":
        """The runs of what weighs something: nothing, the first reading of all, comes to what the next one does."""
        if self.grid.low or len(self.runs) < 2 or self.runs[0][1:] != (0, 0):
            return self
        status, _, last = self.runs[1]
        return Runs(self.grid, ((status, 0, last), *self.runs[2:]))

    def past_its_doubt(self) -> tuple["Runs", str]:
        """The runs told by the end that something else decides, and in words the readings that are doubted past it.

        Where both ends of what works are those of doubts, or one is and there is no other, these decide.
        """
        grid, parts = self.grid, self.runs
        good = [place for place, (status, _, _) in enumerate(parts) if status == GOOD]
        doubted = [place for place, (status, _, _) in enumerate(parts) if status == DOUBTED]
        if len(good) == len(doubted) == 1 and not grid.below:
            (place,), (_, first, last) = good, parts[good[0]]
            if doubted == [place + 1] == [len(parts) - 1] and first > grid.low:
                told = t("more than {figure}", figure=grid.text(last))
                return Runs(grid, (*parts[:place], (GOOD, first, grid.high))), told
            if doubted == [0] and place == 1 and last < grid.high:
                told = t("less than {figure}", figure=grid.text(first))
                return Runs(grid, ((GOOD, grid.low, last), *parts[2:])), told
        left = [(OPEN if status == DOUBTED else status, first, last) for status, first, last in parts]
        return Runs(grid, _joined(left)), ""

    def at_the_edge(self, wanted: str) -> bool:
        """Whether no reading of a number comes to a result but the first or the last that is plausible."""
        grid, found = self.grid, [(first, last) for status, first, last in self.runs if status == wanted]
        return not grid.members and all(first == last and first in (grid.low, grid.high) for first, last in found)

    def tried_again(self, result: Callable[[Value, str], str]) -> "Runs":
        """The runs with what settles tried once more: of a list each member, of a number the ends of each run.

        A run of a number that works at one end and not at the other is closed in on; one that comes out otherwise at
        both settles nothing.
        """
        grid, parts = self.grid, list[tuple[str, int, int]]()
        for status, first, last in self.runs:
            if status == OPEN:
                parts.append((status, first, last))
            elif grid.members:
                parts += [(result(grid.value(n), status), n, n) for n in range(first, last + 1)]
            else:
                found = {count: result(grid.value(count), status) for count in {first, last}}
                if status == GOOD and len(set(found.values())) > 1 and GOOD in found.values():
                    _close_in(first, last, found, lambda count: result(grid.value(count), GOOD))
                    parts += _spans(found, last)
                else:
                    parts.append((status if {*found.values()} == {status} else OPEN, first, last))
        return Runs(grid, _joined(parts))

    def spread(self, wanted: str, parts: int = 2) -> list[Value]:
        """The ends of each run that comes to a result, and of so many parts of it; of a list, every member."""
        counts = (n for status, first, last in self.runs if status == wanted for n in self._parted(first, last, parts))
        return [self.grid.value(count) for count in counts]

    def _parted(self, first: int, last: int, parts: int) -> list[int]:
        if self.grid.members:
            return list(range(first, last + 1))
        return sorted({first + (last - first) * part // parts for part in range(parts + 1)})

    def closed_in(self, result: Callable[[Value], str], parts: int = 2) -> "Runs":
        """The runs with what settles tried once more, at what is `spread` over it; a change within is closed in on."""
        grid, made = self.grid, list[tuple[str, int, int]]()
        for status, first, last in self.runs:
            if status != GOOD:
                made.append((status, first, last))
                continue
            counts = self._parted(first, last, parts)
            found = {count: result(grid.value(count)) for count in counts}
            for left, right in pairwise(counts):
                _close_in(left, right, found, lambda count: result(grid.value(count)))
            made += _spans(found, last)
        return Runs(grid, _joined(made))

    def ends(self, wanted: str) -> list[Value]:
        """The first and last reading of each run that comes to a result; of a list, every member."""
        grid = self.grid
        counts = [
            count
            for status, first, last in self.runs
            if status == wanted
            for count in (range(first, last + 1) if grid.members else (first, last))
        ]
        return [grid.value(count) for count in dict.fromkeys(counts)]

    def text(self, wanted: str) -> str:
        """The readings that come to a result, in words; empty where none does."""
        return t(" or ").join(self._words(first, last) for status, first, last in self.runs if status == wanted)

    def _words(self, first: int, last: int) -> str:
        grid = self.grid
        if grid.members:
            return t(" or ").join(grid.text(count) for count in range(first, last + 1))
        if first == last == grid.low == 0 and not grid.below:
            return grid.text(0)  # there is no less
        return grid.bounds(None if first == grid.low else first, None if last == grid.high else last)


def runs_of(grid: Grid, result: Callable[[Value], str], one_way: bool = False, dear: bool = False) -> Runs:
    """Try readings, and close in on both sides of every change between two of them.

    `one_way` says that the result only gets better, or only worse, with the reading: then its ends tell whether it
    changes at all. `dear` readings are tried more coarsely.
    """

    def at(count: int) -> str:
        return result(grid.value(count))

    ends = [grid.low, grid.high] if grid.low < grid.high else [grid.low]
    counts = ends if one_way and not grid.members else grid.coarse(_SAMPLES_FEW if dear else _SAMPLES)
    found = {count: at(count) for count in counts}
    for left, right in pairwise(counts):
        _close_in(left, right, found, at)
    return Runs(grid, _joined([(found[count], count, count) for count in sorted(found)]))


def standing_alone(runs: Runs, narrowed: Callable[[Value], str]) -> Runs:
    """The runs of a number, of which those are open that would reach further if other figures were known better.

    Such a run ends where it does because another figure may be anything. `narrowed` is the result where of those
    figures something is known.
    """
    grid, parts = runs.grid, runs.runs
    if grid.members:
        return runs

    def reaches(status: str, place: int, count: int) -> bool:
        return 0 <= place < len(parts) and parts[place][0] == OPEN and narrowed(grid.value(count)) == status

    kept = []
    for place, (status, first, last) in enumerate(parts):
        rests = status != OPEN and (reaches(status, place - 1, first - 1) or reaches(status, place + 1, last + 1))
        kept.append((OPEN if rests else status, first, last))
    return Runs(grid, _joined(kept))


def together(grid: Grid, several: Sequence[Runs], status: Callable[[list[str]], str]) -> Runs:
    """The runs of what several rules come to together over the readings of one fact."""
    starts = sorted({first for runs in several for _, first, _ in runs.runs})
    parts, left = [], [iter(runs.runs) for runs in several]
    now = [next(runs) for runs in left]
    for start, following in zip(starts, [*starts[1:], grid.high + 1], strict=True):
        for place, runs in enumerate(left):
            while now[place][2] < start:
                now[place] = next(runs)
        parts.append((status([one[0] for one in now]), start, following - 1))
    return Runs(grid, _joined(parts))


def _spans(found: Mapping[int, str], last: int) -> list[tuple[str, int, int]]:
    """Readings that were tried with what each came to, each up to the next."""
    tried = sorted(found)
    return [(found[n], n, end - 1) for n, end in zip(tried, [*tried[1:], last + 1], strict=True)]


def _joined(parts: Sequence[tuple[str, int, int]]) -> tuple[tuple[str, int, int], ...]:
    """Runs with equal neighbours made one; a run reaches to where the next begins."""
    runs: list[tuple[str, int, int]] = []
    for status, first, last in parts:
        if runs and runs[-1][0] == status:
            runs[-1] = (status, runs[-1][1], last)
        else:
            runs.append((status, first, last))
    return tuple(runs)


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
