"""Bounds arithmetic, held to an independent interval library and to the definitions of interval arithmetic.

Definitions: Moore, Kearfott and Cloud, Introduction to Interval Analysis (SIAM 2009), chapters 2 and 4;
IEEE 1788-2015. Library: mpmath's `iv` context, which rounds outward, here with 100 bits.
"""

from collections.abc import Callable
from math import inf
from random import Random
from typing import Any

import pytest
from effort import tries
from hypothesis import given
from hypothesis import strategies as st
from mpmath import iv

from fitsvc.language.functions import FUNCTIONS
from fitsvc.language.intervals import (
    ANYTHING,
    NOT_NEGATIVE,
    TOLERANCE,
    Bounds,
    at_most,
    equal,
    hull,
    minus,
    negative,
    over,
    plus,
    times,
)
from fitsvc.language.truth import NO, UNKNOWN, YES, negation

TREES = 10_000
LEAST, GREATEST, SIZE = (FUNCTIONS[name].over_bounds for name in ("min", "max", "abs"))

OPERATIONS: tuple[Callable[..., Bounds], ...] = (plus, minus, times, over, hull, LEAST, GREATEST)


class Both:
    """One value by our arithmetic and by mpmath's, and the largest figure met on the way."""

    def __init__(self, ours: Bounds, theirs: Any, largest: float) -> None:
        self.ours, self.theirs = ours, theirs
        self.largest = max(largest, abs(ours[0]), abs(ours[1]))

    def joined(self, other: "Both", ours: Callable[..., Bounds], theirs: Callable[..., Any]) -> "Both":
        """The two values under a binary operation."""
        largest = max(self.largest, other.largest)
        return Both(ours(self.ours, other.ours), theirs(self.theirs, other.theirs), largest)

    def agree(self) -> bool:
        """Each holds the other, but for rounding."""
        room = 1e-12 * max(1.0, self.largest)
        low, high = float(self.theirs.a), float(self.theirs.b)
        return abs(self.ours[0] - low) <= room and abs(self.ours[1] - high) <= room


def their_least(a: Any, b: Any) -> Any:
    """Smallest of two intervals, by its definition: mpmath has none."""
    return iv.mpf([min(a.a.a, b.a.a), min(a.b.a, b.b.a)])


def their_greatest(a: Any, b: Any) -> Any:
    """Largest of two intervals, by its definition."""
    return iv.mpf([max(a.a.a, b.a.a), max(a.b.a, b.b.a)])


def tree(rng: Random, depth: int) -> Both:
    """A random expression over random bounds, valued both ways."""
    if depth == 0 or rng.random() < 0.15:
        low, high = sorted(rng.choice((0.0, 1.0, rng.uniform(-50, 50), rng.uniform(-1, 1))) for _ in range(2))
        return Both((low, high), iv.mpf([low, high]), 0.0)
    a = tree(rng, depth - 1)
    kind = rng.choice(("plus", "minus", "times", "over", "least", "greatest", "size", "negative"))
    if kind == "size":
        return Both(SIZE(a.ours), abs(a.theirs), a.largest)
    if kind == "negative":
        return Both(negative(a.ours), -a.theirs, a.largest)
    b = tree(rng, depth - 1)
    match kind:
        case "plus":
            return a.joined(b, plus, lambda x, y: x + y)
        case "minus":
            return a.joined(b, minus, lambda x, y: x - y)
        case "least":
            return a.joined(b, LEAST, their_least)
        case "greatest":
            return a.joined(b, GREATEST, their_greatest)
        case "over" if b.ours[0] > 0.01 or b.ours[1] < -0.01:
            return a.joined(b, over, lambda x, y: x / y)
    return a.joined(b, times, lambda x, y: x * y)


def test_arithmetic_is_that_of_an_independent_library() -> None:
    """10,000 random expressions have the bounds that mpmath finds, neither wider nor narrower."""
    iv.prec = 100
    rng = Random(1788)
    for number in range(TREES):
        found = tree(rng, 4)
        assert found.agree(), (number, found.ours, found.theirs)


ends = st.floats(-1e6, 1e6) | st.sampled_from([0.0, -inf, inf, 1e-7])
bounds = st.tuples(ends, ends).map(sorted).map(tuple).filter(lambda b: b[0] < inf and b[1] > -inf)


def inside(b: Bounds, share: float) -> float:
    """A finite value within bounds."""
    low, high = max(b[0], -1e9), min(b[1], 1e9)
    return min(max(low + share * (high - low), low), high)


@tries(400)
@given(bounds, bounds, st.floats(0, 1), st.floats(0, 1))
def test_every_value_of_the_operands_is_held(a: Bounds, b: Bounds, s: float, t: float) -> None:
    """The fundamental theorem: values taken from the operands give a value within the result."""
    x, y = inside(a, s), inside(b, t)
    pairs: list[tuple[Callable[..., Bounds], float]] = [
        (plus, x + y),
        (minus, x - y),
        (times, x * y),
        (LEAST, min(x, y)),
        (GREATEST, max(x, y)),
    ]
    pairs += [(over, x / y)] if abs(y) > 1e-12 else []
    for operation, value in pairs:
        low, high = operation(a, b)
        room = 1e-9 * max(1.0, abs(value))
        assert low - room <= value <= high + room, operation
    assert SIZE(a)[0] <= abs(x) <= SIZE(a)[1]


@tries(400)
@given(bounds, bounds, st.lists(st.floats(0, 1), min_size=4, max_size=4))
def test_narrower_operands_give_no_wider_result(a: Bounds, b: Bounds, cuts: list[float]) -> None:
    """Inclusion isotonicity, on which the engine's promise rests, holds to the last bit."""
    c, d = narrower(a, *cuts[:2]), narrower(b, *cuts[2:])
    for operation in OPERATIONS:
        wide, narrow = operation(a, b), operation(c, d)
        assert wide[0] <= narrow[0] and narrow[1] <= wide[1], (operation, wide, narrow)


def narrower(b: Bounds, s: float, t: float) -> Bounds:
    """Bounds within other bounds."""
    low, high = sorted((inside(b, s), inside(b, t)))
    return (low, high)


@tries(400)
@given(bounds, bounds)
def test_results_are_bounds(a: Bounds, b: Bounds) -> None:
    """Whatever the operands, the lower end is not above the upper one, and both are numbers."""
    for operation in OPERATIONS:
        low, high = operation(a, b)
        assert low <= high and low < inf and high > -inf, operation


@pytest.mark.parametrize(
    ("a", "b", "quotient"),
    [
        ((1.0, 2.0), (4.0, 8.0), (0.125, 0.5)),
        ((1.0, 2.0), (-8.0, -4.0), (-0.5, -0.125)),
        ((1.0, 2.0), (0.0, 4.0), (0.25, inf)),  # Moore, Kearfott and Cloud: extended division
        ((-2.0, -1.0), (0.0, 4.0), (-inf, -0.25)),
        ((0.0, 0.0), (0.0, 4.0), (0.0, 0.0)),
        ((1.0, 2.0), (-1.0, 1.0), ANYTHING),
        ((-1.0, 1.0), (0.0, 4.0), ANYTHING),
        ((1.0, 2.0), (4.0, inf), (0.0, 0.5)),
        (NOT_NEGATIVE, NOT_NEGATIVE, NOT_NEGATIVE),
    ],
)
def test_quotients_by_what_may_be_zero(a: Bounds, b: Bounds, quotient: Bounds) -> None:
    """A divisor that reaches zero opens the side that the quotient can reach, and no other."""
    assert over(a, b) == quotient


def test_a_quotient_by_exactly_zero_keeps_what_was_said_before() -> None:
    """Zero known exactly counts as next to nothing, so [0, x] narrowed to 0 contradicts nothing."""
    low, high = over((1.0, 2.0), (0.0, 0.0))
    assert 1e50 < low < inf and high == inf
    assert over((0.0, 0.0), (0.0, 0.0)) == (0.0, 0.0)


def test_nothing_times_anything_is_nothing() -> None:
    """An open bound stands for some finite value, so zero times it is zero."""
    assert times((0.0, 0.0), ANYTHING) == (0.0, 0.0)
    assert times((0.0, 2.0), NOT_NEGATIVE) == NOT_NEGATIVE


@pytest.mark.parametrize(
    ("a", "b", "truth"),
    [
        ((1.0, 2.0), (2.0, 3.0), YES),
        ((1.0, 2.0), (1.9, 3.0), UNKNOWN),
        ((2.0, 3.0), (1.0, 1.9), NO),
        ((2.0, 3.0), (1.0, 2.0), UNKNOWN),
        ((1.0, 1.0 + TOLERANCE), (1.0, 1.0), YES),
        ((1.1, 1.1), (1.0, 1.0), NO),
        (ANYTHING, (1.0, 1.0), UNKNOWN),
        (NOT_NEGATIVE, (-1.0, -1.0), NO),
        ((0.0, 0.0), NOT_NEGATIVE, YES),
    ],
)
def test_at_most(a: Bounds, b: Bounds, truth: int) -> None:
    """a <= b is settled when it is so for all values, or for none."""
    assert at_most(a, b) == truth


@pytest.mark.parametrize("apart", [0.0, 1e-7, 9.9e-7])
def test_what_is_within_a_millionth_is_the_same(apart: float) -> None:
    """Values so close are equal, at most each other, and neither less."""
    a, b = (100.0, 100.0), (100.0 + apart, 100.0 + apart)
    assert (equal(a, b), at_most(a, b), at_most(b, a)) == (YES, YES, YES)
    further = (100.0 + 1.1e-6, 100.0 + 1.1e-6)
    assert (equal(a, further), at_most(further, a)) == (NO, NO)


@tries(400)
@given(st.floats(-1e6, 1e6), st.integers(-3, 3), st.floats(-2e-6, 2e-6))
def test_exact_values_always_compare(x: float, steps: int, apart: float) -> None:
    """Of two exact values one is less, or they are the same; nothing is left open, at the tolerance's edge either."""
    y = x + steps * TOLERANCE + apart
    a, b = (x, x), (y, y)
    assert UNKNOWN not in (equal(a, b), at_most(a, b), at_most(b, a))
    assert equal(a, b) == min(at_most(a, b), at_most(b, a))
    assert YES in (at_most(a, b), at_most(b, a))


@tries(400)
@given(bounds, bounds)
def test_equality_is_symmetric(a: Bounds, b: Bounds) -> None:
    """Which side a value stands on does not matter to equality."""
    assert equal(a, b) == equal(b, a)
    assert negation(equal(a, b)) == negation(equal(b, a))
