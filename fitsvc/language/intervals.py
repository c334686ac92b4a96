"""Interval arithmetic on `(lo, hi)` pairs of floats: the result holds every value the operands allow.

Ends may be infinite. A product of zero and infinity is zero, since every completion is finite.
Rounding is the float's own; `TOLERANCE` covers it: values closer than a millionth of the inside unit
(a nanometre, a milligram) are the same value to every comparison.
"""

from math import inf
from typing import Final

from fitsvc.language.truth import NO, UNKNOWN, YES, Truth

Bounds = tuple[float, float]

TOLERANCE: Final = 1e-6
TINY_DIVISOR: Final = 1e-100
"""A divisor this small or smaller is as good as zero."""
ANYTHING: Final[Bounds] = (-inf, inf)
NOT_NEGATIVE: Final[Bounds] = (0.0, inf)


def _times(x: float, y: float) -> float:
    return x * y if x and y else 0.0


def negative(a: Bounds) -> Bounds:
    """Minus a."""
    return (-a[1], -a[0])


def plus(a: Bounds, b: Bounds) -> Bounds:
    """Sum."""
    return (a[0] + b[0], a[1] + b[1])


def minus(a: Bounds, b: Bounds) -> Bounds:
    """Difference; the operands are taken as independent."""
    return (a[0] - b[1], a[1] - b[0])


def times(a: Bounds, b: Bounds) -> Bounds:
    """Product."""
    if a[0] >= 0.0 and b[0] >= 0.0:
        return (_times(a[0], b[0]), _times(a[1], b[1]))
    ends = (_times(a[0], b[0]), _times(a[0], b[1]), _times(a[1], b[0]), _times(a[1], b[1]))
    return (min(ends), max(ends))


def over(a: Bounds, b: Bounds) -> Bounds:
    """Quotient; a divisor that may be zero leaves the quotient open on the sides it can reach.

    Exactly zero counts as its limit from above, so that no later knowledge contradicts what was said of [0, x].
    """
    lo, hi = b
    if lo > TINY_DIVISOR or hi < -TINY_DIVISOR:
        return times(a, (1.0 / hi, 1.0 / lo))
    if lo >= 0.0 and (a[0] >= 0.0 or a[1] <= 0.0):
        return times(a, (1.0 / max(hi, TINY_DIVISOR), inf))
    return ANYTHING


def hull(a: Bounds, b: Bounds) -> Bounds:
    """Smallest interval that holds both."""
    return (min(a[0], b[0]), max(a[1], b[1]))


def at_most(a: Bounds, b: Bounds) -> Truth:
    """Truth of a <= b for the values the bounds allow."""
    if a[1] <= b[0] + TOLERANCE:
        return YES
    return NO if a[0] > b[1] + TOLERANCE else UNKNOWN


def equal(a: Bounds, b: Bounds) -> Truth:
    """Truth of a == b for the values the bounds allow."""
    if a[0] > b[1] + TOLERANCE or b[0] > a[1] + TOLERANCE:
        return NO
    return YES if a[1] <= b[0] + TOLERANCE and b[1] <= a[0] + TOLERANCE else UNKNOWN
