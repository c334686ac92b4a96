"""Interval arithmetic on columns: what `intervals` says of one `(lo, hi)` pair, for whole arrays of pairs at once.

An end is an array of floats, or one float that stands for every row. Rounding, zeros and infinities come out
as they do there, so that a row of a column and the same case alone give the same floats.
"""

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


def product(x: Floats, y: Floats) -> Floats:
    """Product of ends, in which zero times infinity is zero."""
    return np.where((np.equal(x, 0.0)) | (np.equal(y, 0.0)), 0.0, np.multiply(x, y))


def times(a: Ends, b: Ends) -> Ends:
    """Product."""
    ends = (product(a[0], b[0]), product(a[0], b[1]), product(a[1], b[0]), product(a[1], b[1]))
    return smallest(*ends), largest(*ends)


def over(a: Ends, b: Ends) -> Ends:
    """Quotient; a divisor that may be zero leaves the quotient open on the sides it can reach."""
    low, high = np.asarray(b[0]), np.asarray(b[1])
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
    """W d/L with nothing below zero; open above where the wheelbase may be nothing."""
    return times(above_zero(weight), over(above_zero(behind), above_zero(wheelbase)))


def rear_axle_share(weight: Ends, behind: Ends, wheelbase: Ends) -> Ends:
    """W(L+d)/L: the weight itself, and what it takes off the front axle."""
    relief = front_axle_relief(weight, behind, wheelbase)
    return weight[0] + relief[0], weight[1] + relief[1]
