"""The law every registered function of numbers obeys: over bounds it holds every point, and its ends are reached."""

from collections.abc import Callable
from itertools import product
from math import inf, isnan
from random import Random

from fitsvc.language.functions import Function
from fitsvc.language.intervals import Bounds
from fitsvc.language.quantities import ANGLE, LENGTH, MASS

_SPREADS = {LENGTH: (-300.0, 2500.0), MASS: (-100.0, 5000.0), ANGLE: (-20.0, 89.0)}
_GRADES = (-0.1, 1.0)
_HOSTILE = (-inf, -1e308, -1.0, -0.0, 0.0, 1e-300, 1.0, 1e308, inf)


def _figure(rng: Random, low: float, high: float) -> float:
    return rng.choice((0.0, low, high, rng.uniform(low, high), rng.uniform(low, high), rng.uniform(low, high)))


def _bounds(rng: Random, function: Function) -> list[Bounds]:
    found = []
    for dimension in function.arguments:
        spread = _SPREADS.get(dimension, _GRADES) if dimension else _GRADES
        a, b = sorted((_figure(rng, *spread), _figure(rng, *spread)))
        found.append((a, a) if rng.random() < 0.3 else (a, b))
    return found


def _turning_points(function: Function, within: list[Bounds]) -> list[list[float]]:
    """Where an end of the result may be reached: the corners, and for ramps the pitch at which a point is lowest."""
    corners = [list(corner) for corner in product(*within)]
    if function.name != "clearance_on_grade":
        return corners
    (low, high) = within[3]
    more = [
        [*corner[:3], min(max(max(corner[0], 0.0) / below, low), high)]
        for corner in corners
        if (below := max(corner[2], 0.0) - corner[1]) > 0.0
    ]
    return corners + more


def check_bounds(function: Function, formula: Callable[..., float] | None, seed: int, rounds: int = 1000) -> None:
    """Hold a function over bounds to its formula at points, on random bounds and on hostile figures."""
    assert formula is not None
    rng = Random(seed)
    for _ in range(rounds):
        within = _bounds(rng, function)
        low, high = function.over_bounds(*within)
        slack = 1e-9 * max(1.0, abs(low), abs(high))
        for _ in range(20):
            point = [rng.uniform(a, b) for a, b in within]
            assert low - slack <= formula(*point) <= high + slack, (within, point)
        ends = [formula(*point) for point in _turning_points(function, within)]
        assert abs(min(ends) - low) <= slack, (within, low, min(ends))
        assert abs(max(ends) - high) <= slack, (within, high, max(ends))
        assert not function.never_negative or low >= 0.0
    for figures in product(_HOSTILE, repeat=len(function.arguments)):
        assert not isnan(formula(*figures)), figures
    everything = function.over_bounds(*[(-inf, inf) for _ in function.arguments])
    assert not any(map(isnan, everything))
    assert everything[0] < everything[1]
