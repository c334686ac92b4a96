"""Values and words put together to sentences: shown figures, filled templates, lists with `and`."""

import re
from collections.abc import Iterable, Iterator, Sequence
from math import inf
from typing import Final

from fitsvc.language.display import System, show, show_together
from fitsvc.language.quantities import MASS, UNITS, Dimension
from fitsvc.language.types import Value
from fitsvc.rulebook.rules import IfKnown, Shown, Template
from fitsvc.tongues import is_clause, later, t, tongue

UNKNOWN: Final = later("unknown")
"""What is told of a value of which nothing is known."""
_TWICE: Final = re.compile(r"\b(at least|at most|below) at (?:least|most) ")
"""A bound of what is known only by a bound: what is asked for then is the figure told, and what may be, too."""
_AROUND: Final = re.compile(r"\bat most (\d[^,;:.]{0,30}?) at most\b")
"""The same with the words of the text behind the figure."""
_SIGNED: Final = re.compile(r"(?<![\w/])-(\d\S* [^\s\d]+)")
"""A figure with its unit that is below zero."""
_US: Final = re.compile(r"(?<![\w/.,-])(\d[\d,]*) (lb|ft|in)\b(?!-| \(\d+ (?:kg|mm)\))")
"""A whole figure in units of the United States."""
_TRADE_SIZES: Final = ("1", "2", "3")
"""Whole inches that openings, shanks and balls are called by."""


def filled(template: Template, values: Iterable[str]) -> str:
    """A template's text with the texts of its values, in the order in which they stand; a bound is told once."""
    left = iter(values)
    text = "".join(
        _either(part, left) if isinstance(part, IfKnown) else part if isinstance(part, str) else next(left)
        for part in template
    )
    return tongue().joined(_AROUND.sub(r"at most \1", _TWICE.sub(r"\1 ", text)) if " at " in text else text)


def _either(part: IfKnown, left: Iterator[str]) -> str:
    """The words of a part if none of their values is unknown, else those in their place."""
    words = [one if isinstance(one, str) else next(left) for one in part.words]
    otherwise = [one if isinstance(one, str) else next(left) for one in part.otherwise]
    return "".join(otherwise if t(UNKNOWN) in words else words)


def texts(pairs: Iterable[tuple[Value, Shown]], system: System) -> list[str]:
    """Show several values together, so that none that differ look alike."""
    rows: list[tuple[float, float, Dimension, str]] = []
    found: list[str] = []
    places: list[int] = []
    unsigned: list[tuple[int, str, bool]] = []
    over: list[tuple[int, str, str]] = []
    difference = None
    for value, shown in pairs:
        if isinstance(value, tuple):
            assert shown.dimension is not None
            low, high = value
            # Nothing weighs less than nothing: so low an end is for want of a figure.
            if low < 0.0 <= high and shown.dimension == MASS:
                low = 0.0
            if low < 0.0 and shown.below:
                # At least so far below is at most so much of it, whatever lies above.
                turned = high < 0.0 or (low > -inf and high in (0.0, inf))
                low, high = (-high, -low) if turned else (low, high)
                unsigned.append((len(found), shown.below, turned))
            if high > 0.0 and shown.above and (low, high) != (-inf, inf):
                over.append((len(found), shown.below, shown.above))
            difference = len(rows) if shown.told == "margin" else difference
            places.append(len(found))
            rows.append((low, high, shown.dimension, shown.unit))
            found.append("")
        else:
            found.append(words(value, shown.words))
    if rows:
        for place, text in zip(places, show_together(rows, system, difference), strict=True):
            found[place] = text
    for place, below, turned in unsigned:
        found[place] = f"{found[place]} {below}" if turned else _SIGNED.sub(rf"\1 {below}", found[place])
    # Beside a drop a rise is told as one: the same figure may be either.
    signed = {below for _, below, _ in unsigned}
    turned_ = {place for place, _, turned in unsigned if turned}
    for place, below, above in over:
        if below in signed and place not in turned_ and "±" not in found[place]:
            found[place] = f"{found[place]} {above}"
    return found


def words(value: int, members: tuple[str, ...]) -> str:
    """A list value or truth value in words."""
    if len(members) == 3 and members[1] == t(UNKNOWN):
        return members[value]
    if value and not value & value - 1:
        return members[value.bit_length() - 1]
    possible = [word for i, word in enumerate(members) if value >> i & 1]
    return t(UNKNOWN) if len(possible) == len(members) > 1 else t(" or ").join(possible)


def not_known(things: Sequence[str]) -> str:
    """`the wheelbase is not known`; of one yes or no `it is not known whether ...`."""
    if len(things) == 1 and is_clause(things[0]):
        return t("it is not known {whether}", whether=things[0])
    if len(things) > 1:
        return t("{several} are not known", several=joined(things))
    return t("{the} is not known", the=joined(things))


def in_metric(text: str) -> str:
    """A text with the metric figure behind each that a law or a title gives in pounds, feet or inches.

    Trade sizes stay by their names alone: a 2 in ball, a 5/8 in pin.
    """
    return _US.sub(_beside, text)


def _beside(found: "re.Match[str]") -> str:
    figure, unit = found.groups()
    if unit == "in" and figure in _TRADE_SIZES:
        return found[0]
    dimension, size = UNITS[unit]
    value = float(int(figure.replace(",", "")) * size)
    return f"{found[0]} ({show(value, value, dimension, unit, 'metric')})"


def capped(text: str) -> str:
    """A text as a sentence begins."""
    return text[:1].upper() + text[1:]


def uncapped(text: str) -> str:
    """A sentence's text as it stands within another; an abbreviation keeps its capitals."""
    return text if text[1:2].isupper() else text[:1].lower() + text[1:]


def joined(parts: Sequence[str]) -> str:
    """`a, b and c`."""
    if len(parts) < 2:
        return "".join(parts)
    return t("{first} and {last}", first=", ".join(parts[:-1]), last=parts[-1])
