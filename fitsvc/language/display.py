"""Quantities as the trade writes them: `1-1/4 in`, `6 ft 2 in`, `3500 lb`, `4 in ± 1/4 in`, `at least 2 in`.

Two rules keep a shown figure honest: a value that is not zero is never shown as zero, and the two ends of a
range (or two values shown together) that differ are never shown alike; what is too close is shown finer.
Two values within `TOLERANCE` of each other, in the unit inside, count as one.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache, lru_cache
from itertools import combinations
from math import floor, inf
from typing import Literal

from fitsvc.language.intervals import TOLERANCE
from fitsvc.language.quantities import ANGLE, FORCE, LENGTH, MASS, NUMBER, TORQUE, UNITS, Dimension
from fitsvc.tongues import Tongue, t, tongue

System = Literal["us", "metric"]
Shown = tuple[float, float, Dimension, str]


DISPLAY_UNITS: dict[str, Dimension] = {
    "in": LENGTH,
    "ft": LENGTH,
    "mm": LENGTH,
    "lb": MASS,
    "kg": MASS,
    "deg": ANGLE,
    "kN": FORCE,
    "ft-lb": TORQUE,
    "%": NUMBER,
    "": NUMBER,
}
"""Units a fact may be shown in, in the US system; `""` shows a plain number."""

_USUAL = {LENGTH: "in", MASS: "lb", ANGLE: "deg", FORCE: "kN", TORQUE: "ft-lb"}
_METRIC = {"in": "mm", "ft": "mm", "lb": "kg", "ft-lb": "N·m"}

_BINARY = (16, 32, 64)
_DIGITS = {"deg": 1, "%": 1, "kN": 2, "": 2}
_FINEST = (6, 9, 12)
FINEST_READ = 2
"""By the level of a sixty-fourth of an inch or a hundredth of a pound; finer is written only where figures clash."""


@dataclass(frozen=True, slots=True)
class _Style:
    """How one unit is written: its factor (exact and as a float), its steps from the usual to the finest."""

    unit: str
    factor: Fraction
    size: float
    steps: tuple[int, ...]
    fixed_digits: int


def unit_in(unit: str, system: System) -> str:
    """What a unit of `DISPLAY_UNITS` is in a system of units: itself, or its metric counterpart."""
    return _METRIC.get(unit, unit) if system == "metric" else unit


def show(lo: float, hi: float, dimension: Dimension, unit: str, system: System) -> str:
    """Show a value or a range in a unit of `DISPLAY_UNITS` (us), or in its metric counterpart."""
    return _show(lo, hi, unit or _usual(dimension), system, 0, tongue())


def step(unit: str, system: System, level: int = 0) -> float:
    """The distance between neighbouring figures of a unit as shown, in inside units; finer by level."""
    style = _style(unit, system)
    return float(style.factor / style.steps[level])


def show_step(value: float, unit: str, system: System, level: int) -> str:
    """Show a value that is a whole number of a level's steps."""
    return _number(value, _style(unit, system), level)


def show_down(value: float, unit: str, system: System) -> str:
    """Show a limit, rounded down so that the figure shown is never more than the limit."""
    return _show_down(value, unit, system, tongue())


@lru_cache(maxsize=4096)
def _show_down(value: float, unit: str, system: System, one: Tongue) -> str:
    size = step(unit, system)
    return show_step(floor(value / size + TOLERANCE) * size, unit, system, 0)


def show_together(values: Iterable[Shown], system: System, difference: int | None = None) -> list[str]:
    """Show values of one sentence so that those which differ never look alike.

    The one at the place of a `difference` is told as what two others differ by, and is so on paper too.
    """
    rows = values if isinstance(values, Sequence) else list(values)
    one = tongue()
    texts = [_show(lo, hi, unit or _usual(dimension), system, 0, one) for lo, hi, dimension, unit in rows]
    texts = texts if len(set(texts)) == len(texts) else _apart(rows, texts, system)
    return texts if difference is None else _added_up(rows, texts, system, difference)


def _added_up(rows: Sequence[Shown], texts: list[str], system: System, difference: int) -> list[str]:
    """Refine two values and their difference, where these are rounded apart, as far as anybody reads them."""
    lo, hi, dimension, unit = rows[difference]
    if hi - lo > TOLERANCE:
        return texts
    style = _style(unit or _usual(dimension), system)
    exact = [i for i, row in enumerate(rows) if row[2:] == (dimension, unit) and row[1] - row[0] <= TOLERANCE]
    for pair in combinations([i for i in exact if i != difference], 2):
        three = (*pair, difference)
        if abs(abs(rows[pair[0]][0] - rows[pair[1]][0]) - lo) > TOLERANCE:
            continue
        for level in range(FINEST_READ + 1):
            one, other, apart = (_count(rows[i][0], style, level) for i in three)
            if abs(one - other) == apart:
                finer = {i: _show(*rows[i][:2], style.unit, system, level, tongue()) for i in three} if level else {}
                return [finer.get(i, text) for i, text in enumerate(texts)]
    return texts


def _apart(rows: Sequence[Shown], texts: list[str], system: System) -> list[str]:
    """Refine whatever looks alike but differs, step by step, until it differs on paper too."""
    levels = [0] * len(rows)
    while clashing := _clashing(rows, texts):
        finest = True
        for i in clashing:
            lo, hi, dimension, unit = rows[i]
            unit = unit or _usual(dimension)
            if levels[i] + 1 < len(_style(unit, system).steps):
                levels[i] += 1
                texts[i] = _show(lo, hi, unit, system, levels[i], tongue())
                finest = False
        if finest:
            break
    return texts


def _clashing(rows: Sequence[Shown], texts: list[str]) -> set[int]:
    """Find the places of values that differ under the same text."""
    places, unknown = defaultdict(list), t("unknown")
    for i, text in enumerate(texts):
        if text != unknown:  # which no finer step tells apart
            places[text].append(i)
    groups = (group for group in places.values() if len(group) > 1)
    return {k for group in groups for i, j in combinations(group, 2) if _differ(rows[i], rows[j]) for k in (i, j)}


def _differ(one: Shown, other: Shown) -> bool:
    return one[2] == other[2] and (_off(one[0], other[0]) or _off(one[1], other[1]))


def _off(a: float, b: float) -> bool:
    return a != b and abs(a - b) > TOLERANCE


@lru_cache(maxsize=16384)
def _show(lo: float, hi: float, unit: str, system: System, level: int, one: Tongue) -> str:
    """Show one range no coarser than a level of its style's steps, in the language that is spoken."""
    style = _style(unit, system)
    if lo == inf or hi == -inf or (hi == inf and lo in (-inf, 0.0)):
        return t("unknown")
    if hi == inf:
        return t("at least {figure}", figure=_number(lo, style, level))
    if lo == -inf:
        return t("at most {figure}", figure=_number(hi, style, level))
    if hi - lo <= TOLERANCE:
        return _number(lo + (hi - lo) / 2, style, level)
    # Nothing weighs less than nothing, so that the low end says nothing of a weight.
    if lo == 0.0 and style.unit in ("lb", "kg"):
        return t("at most {figure}", figure=_number(hi, style, level))
    return _range(lo, hi, style, level)


def _range(lo: float, hi: float, style: _Style, level: int) -> str:
    """Show two different ends: around the middle where that is exact and not misleading, else from and to.

    Of what is counted there is nothing between whole numbers, and no middle.
    """
    if not style.unit and _whole(lo) and _whole(hi) and round(lo) < round(hi):
        low, high = _number(lo, style, level), _number(hi, style, level)
        neighbours = hi - lo < 1.5  # halfway between one apart and two
        return t("{low} or {high}", low=low, high=high) if neighbours else t("{low} to {high}", low=low, high=high)
    middle, half = lo + (hi - lo) / 2, (hi - lo) / 2
    if 2 * half <= abs(middle) and _exact(middle, style, level) and _exact(half, style, level):
        return f"{_number(middle, style, level)} ± {_number(half, style, level)}"
    low, high = _number(lo, style, level), _number(hi, style, level)
    if low == high and level + 1 < len(style.steps):
        return _range(lo, hi, style, level + 1)
    return t("{low} to {high}", low=low, high=high)


def _whole(value: float) -> bool:
    return abs(value - round(value)) <= TOLERANCE


def _number(value: float, style: _Style, level: int) -> str:
    """Write one finite value, more finely where it would come out as zero and is not."""
    count = _count(value, style, level)
    while count == 0 and abs(value) > TOLERANCE and level + 1 < len(style.steps):
        level += 1
        count = _count(value, style, level)
    sign = "-" if count < 0 else ""
    return sign + _written(abs(count), style.steps[level], style)


def _count(value: float, style: _Style, level: int) -> int:
    """Return the nearest whole number of a level's steps; exactly so on the fine levels."""
    if level < 3:
        return round(value / style.size * style.steps[level])
    return round(Fraction(value) / style.factor * style.steps[level])


def _exact(value: float, style: _Style, level: int) -> bool:
    count = _count(value, style, level)
    return (count != 0 or value == 0) and abs(float(count * style.factor / style.steps[level]) - value) <= TOLERANCE


def _written(count: int, step: int, style: _Style) -> str:
    """Write a count of steps with its unit."""
    if style.unit != "ft":
        return f"{_figure(count, step, style)} {style.unit}".rstrip()
    feet, inches = divmod(count, 12 * step)
    if not feet:
        return f"{_figure(inches, step, style)} in"
    return f"{feet} ft {_figure(inches, step, style)} in" if inches else f"{feet} ft"


def _figure(count: int, step: int, style: _Style) -> str:
    whole, rest = divmod(count, step)
    if step in _BINARY:
        if not rest:
            return str(whole)
        part = Fraction(rest, step)
        return f"{whole}-{part}" if whole else str(part)
    digits = f"{rest:0{len(str(step)) - 1}d}" if step > 1 else ""
    digits = digits.rstrip("0").ljust(style.fixed_digits, "0")
    return f"{whole}{tongue().decimal}{digits}" if digits else str(whole)


@cache
def _style(unit: str, system: System) -> _Style:
    """Return how a unit is written in a system; feet are counted in steps of an inch."""
    unit = unit_in(unit, system)
    factor = UNITS["in" if unit == "ft" else unit][1] if unit else Fraction(1)
    digits = _DIGITS.get(unit, 0)
    steps = (*_BINARY, 1000, 10000) if unit in ("in", "ft") else tuple(10 ** (digits + i) for i in range(4))
    steps += tuple(10**digits for digits in _FINEST if 10**digits > steps[-1])
    return _Style(unit, factor, float(factor), steps, fixed_digits=2 if unit == "kN" else 0)


def _usual(dimension: Dimension) -> str:
    """Return the unit for a value that names none; a product of dimensions is a plain number."""
    return "" if dimension is NUMBER else _USUAL.get(dimension, "")
