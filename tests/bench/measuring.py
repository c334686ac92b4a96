"""How benchmarks measure: works done in turn, round by round, each in processor time and by the clock.

A `Group` is one piece of work done in several ways: ours, what stands beside it, and what no way can be quicker than.
All its ways begin with the same and end with the same; its title says with what, and whether it was asked before. What
was asked before is told in time alone, without anything beside it: an answer looked up is not an answer worked out.
"""

import gc
import sys
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from statistics import median, quantiles
from time import perf_counter, process_time
from typing import Final, Literal

Job = Callable[[int], object]
"""Work for the round of a number, so that what must not be asked twice can be another question in each."""
Part = Literal["ours", "beside", "floor"]
"""Ours; another way to the same result; what any way must do at least, and may do without."""

SMALL: Final = "small" in sys.argv[1:]
"""Whether some minutes are all there is for all benchmarks together: fewer rounds, smaller catalogues."""


def asked_for(usual: int) -> int:
    """How many the command names, of what it makes or draws; else the usual number."""
    return next((int(one) for one in sys.argv[1:] if one.isdigit()), usual)


@dataclass(frozen=True, slots=True)
class Time:
    """What one unit of work takes, in seconds: the middle of all rounds, and between what four in five of them lie.

    Of the processor, by the clock, or both; the spread is that of the first that is there.
    """

    processor: float | None
    wall: float | None
    low: float
    high: float
    rounds: int

    @property
    def middle(self) -> float:
        """The processor's time, or the clock's where the processor's is not known."""
        found = self.wall if self.processor is None else self.processor
        assert found is not None
        return found

    @property
    def spread(self) -> str:
        """How far four in five rounds lie apart, of the middle one."""
        return f"{(self.high - self.low) / self.middle:.0%}" if self.rounds > 1 and self.middle else "one round"


@dataclass(frozen=True, slots=True)
class Row:
    """One way of doing a group's work."""

    part: Part
    what: str
    time: Time
    held: float = 0.0
    """Megabytes, where it is memory that was measured, and no time."""


@dataclass(frozen=True, slots=True)
class Group:
    """One piece of work, and the ways of doing it that were measured."""

    title: str
    command: str
    rows: Sequence[Row]
    again: bool = False
    notes: Sequence[str] = field(default=())

    @property
    def ours(self) -> Row:
        """Our own way, the first one if there are several."""
        return next(row for row in self.rows if row.part == "ours")

    def beside(self, row: Row) -> float | None:
        """How often our time goes into another way's; of a floor, how often the floor goes into ours."""
        if self.again or row.part == "ours":
            return None
        ours, other = self.ours.time.middle, row.time.middle
        if row.time.processor is None:  # what waits, as for a disk, is held to what waits
            ours = self.ours.time.wall or 0.0
        if not ours or not other:
            return None
        return other / ours if row.part == "beside" else ours / other


def taken(processor: Sequence[float] | None, wall: Sequence[float] | None = None) -> Time:
    """The time of rounds of which the processor's time was measured, or the clock's, or both."""
    first = processor or wall
    assert first
    low, high = (first[0],) * 2 if len(first) < 2 else _ends(first)
    used, clock = (median(one) if one else None for one in (processor, wall))
    return Time(used, clock, low, high, len(first))


def _ends(of: Sequence[float]) -> tuple[float, float]:
    tenths = quantiles(of, n=10, method="inclusive")
    return tenths[0], tenths[-1]


def in_turn(rounds: int, units: int, *jobs: Job, warm: bool = True) -> list[Time]:
    """What each job takes a unit of its work, the jobs in turn, no garbage collected meanwhile.

    `warm` does each once before, in a round of its own, so that nothing is compiled or imported while it is timed.
    """
    for number, job in enumerate(jobs if warm else ()):
        job(-1 - number)
    processor: list[list[float]] = [[] for _ in jobs]
    wall: list[list[float]] = [[] for _ in jobs]
    for number in range(rounds):
        for place, job in enumerate(jobs):
            used, clock = once(job, number)
            processor[place].append(used / units)
            wall[place].append(clock / units)
    return [taken(*both) for both in zip(processor, wall, strict=True)]


def once(job: Job, number: int = 0) -> tuple[float, float]:
    """Seconds of the processor and of the clock that a job takes once."""
    gc.collect()
    gc.disable()
    try:
        clock, used = perf_counter(), process_time()
        job(number)
        return process_time() - used, perf_counter() - clock
    finally:
        gc.enable()


def forget_peak() -> None:
    """Count the most memory that this process holds from now on (Linux)."""
    Path("/proc/self/clear_refs").write_text("5")


def peak(process: int | None = None) -> float:
    """The most memory that a process has held, with what it maps of files, in MB (Linux); this one if none is told.

    Of itself alone: what `getrusage` tells of a process begins with what its parent held.
    """
    lines = Path(f"/proc/{process or 'self'}/status").read_text().splitlines()
    return next(int(line.split()[1]) / 1024 for line in lines if line.startswith("VmHWM:"))


def holding(what: str, megabytes: float) -> Row:
    """What is held, where no time is measured."""
    return Row("ours", what, Time(None, None, 0.0, 0.0, 1), megabytes)


def seconds(value: float | None) -> str:
    """A time as it is read: µs, ms or s; a dash for one that was not measured."""
    if value is None:
        return "–"
    unit, of = next(((unit, of) for unit, of in (("s", 1.0), ("ms", 1e-3)) if value >= of), ("µs", 1e-6))
    figure = value / of
    return f"{figure:,.{0 if figure >= 100 else 1 if figure >= 10 else 2}f} {unit}"


def ratio(value: float) -> str:
    """How many times, with two figures that count."""
    return f"{value:,.0f} ×" if value >= 10 else f"{value:.1f} ×" if value >= 1 else f"{value:.2f} ×"


def show(groups: Iterable[Group]) -> list[Group]:
    """Print groups as each is measured."""
    found = []
    for group in groups:
        print(f"\n{group.title}")
        for row in group.rows:
            told = "" if (of := group.beside(row)) is None else told_beside(row, of)
            told = f"{row.held:,.0f} MB" if row.held else told
            print(
                f"  {row.what:<70}{seconds(row.time.processor):>10}{seconds(row.time.wall):>10} by the clock"
                f"  spread {row.time.spread:>9}  {told}",
                flush=True,
            )
        for note in group.notes:
            print(f"  {note}")
        found.append(group)
    return found


def told_beside(row: Row, of: float) -> str:
    """A ratio in words."""
    return f"{ratio(of)} as long" if row.part == "beside" else f"ours takes {ratio(of)} as long"
