"""Interval arithmetic on columns: what `intervals` says of one `(lo, hi)` pair, for whole arrays of pairs at once.

An end is an array of floats, or one float that stands for every row. Rounding, zeros and infinities come out
as they do there, so that a row of a column and the same case alone give the same floats.
"""

from math import isinf
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64] | float
Ends = tuple[Floats, Floats]
_NEXT_TO_NOTHING: Final = 1e-100


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


def least(*columns: Ends) -> Ends:
    """The smallest of several numbers."""
    return smallest(*(a[0] for a in columns)), smallest(*(a[1] for a in columns))


def greatest(*columns: Ends) -> Ends:
    """The largest of several numbers."""
    return largest(*(a[0] for a in columns)), largest(*(a[1] for a in columns))


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
    found = np.multiply(x, y)
    return np.where(np.isnan(found), 0.0, found)


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
    if isinstance(low, float) and isinstance(high, float) and (low > 0.0 or high < 0.0):
        return times(a, (1.0 / high, 1.0 / low))
    low, high = np.asarray(low), np.asarray(high)
    apart = (low > _NEXT_TO_NOTHING) | (high < -_NEXT_TO_NOTHING)
    from_zero = ~apart & (low >= 0.0) & (np.greater_equal(a[0], 0.0) | np.less_equal(a[1], 0.0))
    inverse_low = np.where(apart, 1.0 / high, 1.0 / np.maximum(high, _NEXT_TO_NOTHING))
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


def front_axle_relief(weight: Ends, behind: Ends, wheelbase: Ends) -> Ends:
    """W d/L with nothing below zero, where each end is one product; open above where the wheelbase may be nothing."""
    (least, most), (near, far), (short, long) = above_zero(weight), above_zero(behind), above_zero(wheelbase)
    shortest = _plain(np.where(np.greater(short, 0.0), 1.0 / np.maximum(short, 5e-324), np.inf))
    longest = _plain(1.0 / np.where(np.greater(short, 0.0), long, np.maximum(long, _NEXT_TO_NOTHING)))
    return product(least, product(near, longest)), product(most, product(far, shortest))


def rear_axle_share(weight: Ends, behind: Ends, wheelbase: Ends) -> Ends:
    """W(L+d)/L: the weight itself, and what it takes off the front axle."""
    relief = front_axle_relief(weight, behind, wheelbase)
    return weight[0] + relief[0], weight[1] + relief[1]
