"""Interval arithmetic on columns: what `intervals` says of one `(lo, hi)` pair, for whole arrays of pairs at once.

An end is an array of floats, or one float that stands for every row. Rounding, zeros and infinities come out
as they do there, so that a row of a column and the same case alone give the same floats.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import isinf

import numpy as np
from numpy.typing import NDArray

from fitsvc.language.intervals import TINY_DIVISOR

Floats = NDArray[np.float64] | float
Ends = tuple[Floats, Floats]


def smallest(*values: Floats) -> Floats:
    """The smallest, end by end."""
    found = values[0]
    for value in values[1:]:
        found = np.minimum(found, value)
    return found


def largest(*values: Floats) -> Floats:
    """The largest, end by end."""
    found = values[0]
    for value in values[1:]:
        found = np.maximum(found, value)
    return found


@dataclass(frozen=True, slots=True)
class ByEnds:
    """A form each of whose ends comes from one end of each argument: the same one where the direction is +1.

    `low` and `high` are the formulas of the two ends; they are the same unless something is open above. One
    direction stands for any number of arguments.
    """

    directions: tuple[int, ...]
    low: Callable[..., Floats]
    high: Callable[..., Floats]

    def sides(self, end: int, count: int) -> list[int]:
        """Which end of each of so many arguments an end comes from: 0 low, 1 high."""
        directions = self.directions * count if len(self.directions) == 1 else self.directions
        return [end if direction > 0 else 1 - end for direction in directions]

    def __call__(self, *columns: Ends) -> Ends:
        """Both ends."""
        sides = (self.sides(end, len(columns)) for end in (0, 1))
        low, high = ([a[side] for a, side in zip(columns, each, strict=True)] for each in sides)
        return self.low(*low), self.high(*high)


least = ByEnds((1,), smallest, smallest)
greatest = ByEnds((1,), largest, largest)


def _plain(x: NDArray[np.float64]) -> Floats:
    """One figure as a plain float, for which products are cheaper."""
    return x if np.ndim(x) else float(x)


def product(x: Floats, y: Floats) -> Floats:
    """Product of ends, in which zero times infinity is zero."""
    if isinstance(x, float):
        x, y = y, x
    if isinstance(y, float) and not isinf(y):
        # A finite factor makes no product of zero and infinity unless it is zero itself.
        return x * y if y else 0.0
    return settled(np.multiply(x, y), 0.0)


def settled(found: NDArray[np.float64], otherwise: Floats) -> NDArray[np.float64]:
    """The same, but for what is no number; there is seldom one, and looking is cheaper than choosing."""
    wrong = np.isnan(found)
    return np.where(wrong, otherwise, found) if wrong.any() else found


def times(a: Ends, b: Ends) -> Ends:
    """Product."""
    if isinstance(a[0], float) and a[0] >= 0.0:
        a, b = b, a
    if isinstance(b[0], float) and b[0] >= 0.0:
        # By what is not below zero each end goes with its own: two products do for four.
        low, high = b
        return smallest(product(a[0], low), product(a[0], high)), largest(product(a[1], low), product(a[1], high))
    ends = (product(a[0], b[0]), product(a[0], b[1]), product(a[1], b[0]), product(a[1], b[1]))
    return smallest(*ends), largest(*ends)


def over(a: Ends, b: Ends) -> Ends:
    """Quotient; a divisor that may be zero leaves the quotient open on the sides it can reach."""
    low, high = b
    if isinstance(low, float) and isinstance(high, float) and (low > TINY_DIVISOR or high < -TINY_DIVISOR):
        return times(a, (1.0 / high, 1.0 / low))
    low, high = np.asarray(low), np.asarray(high)
    apart = (low > TINY_DIVISOR) | (high < -TINY_DIVISOR)
    from_zero = ~apart & (low >= 0.0) & (np.greater_equal(a[0], 0.0) | np.less_equal(a[1], 0.0))
    inverse_low = np.where(apart, 1.0 / high, 1.0 / np.maximum(high, TINY_DIVISOR))
    found = times(a, (inverse_low, np.where(apart, 1.0 / low, np.inf)))
    sure = apart | from_zero
    return np.where(sure, found[0], -np.inf), np.where(sure, found[1], np.inf)


def magnitude(a: Ends) -> Ends:
    """The size without its sign."""
    low, high = np.asarray(a[0]), np.asarray(a[1])
    positive, negative = low >= 0.0, high <= 0.0
    return (
        np.where(positive, low, np.where(negative, -high, 0.0)),
        np.where(positive, high, np.where(negative, -low, np.maximum(-low, high))),
    )


def span(a: Ends, b: Ends) -> Ends:
    """Some value between the two."""
    in_order = np.less_equal(a[0], b[1])
    return np.where(in_order, a[0], b[1]), np.where(in_order, b[1], a[0])


def above_zero(a: Ends) -> Ends:
    """The number, or zero where it is below."""
    return np.maximum(a[0], 0.0), np.maximum(a[1], 0.0)


def _least_relief(weight: Floats, behind: Floats, wheelbase: Floats) -> Floats:
    longest = _plain(1.0 / np.maximum(wheelbase, TINY_DIVISOR))
    return product(np.maximum(weight, 0.0), product(np.maximum(behind, 0.0), longest))


def _most_relief(weight: Floats, behind: Floats, wheelbase: Floats) -> Floats:
    something = np.greater(wheelbase, TINY_DIVISOR)
    shortest = _plain(np.where(something, 1.0 / np.maximum(wheelbase, TINY_DIVISOR), np.inf))
    return product(np.maximum(weight, 0.0), product(np.maximum(behind, 0.0), shortest))


def _least_share(weight: Floats, behind: Floats, wheelbase: Floats) -> Floats:
    return weight + _least_relief(weight, behind, wheelbase)


def _most_share(weight: Floats, behind: Floats, wheelbase: Floats) -> Floats:
    return weight + _most_relief(weight, behind, wheelbase)


front_axle_relief = ByEnds((1, 1, -1), _least_relief, _most_relief)
"""W d/L with nothing below zero; open above where the wheelbase may be nothing."""
rear_axle_share = ByEnds((1, 1, -1), _least_share, _most_share)
"""W(L+d)/L: the weight itself, and what it takes off the front axle."""
