"""The formulas of `geometry` and `statics` over columns: the same steps, on arrays of ends instead of single ones.

Angles may differ from the single forms in their last digit, as numpy's own sine and arc tangent do; that is a
millionth of the millionth within which values are the same.
"""

from collections.abc import Callable
from typing import Any

import numpy as np

from fitsvc.language.forms.interval_columns import ByEnds, Ends, Floats, above_zero, front_axle_relief, product, settled
from fitsvc.language.forms.statics import GRAVITY

_FARTHEST = 1e100


def monotone(formula: Callable[..., Floats], *directions: int) -> ByEnds:
    """The form over ends of a formula that moves one way with each argument: +1 up, -1 down."""
    return ByEnds(directions, formula, formula)


def _within(x: Floats) -> Any:
    return np.minimum(np.maximum(x, 0.0), _FARTHEST)


def _less(x: Floats, y: Floats) -> Any:
    return settled(np.subtract(x, np.maximum(y, 0.0)), np.inf)


def _tangent_angle(behind: Floats, height: Floats, radius: Floats) -> Any:
    x, h, r = _within(behind), _within(height), _within(radius)
    tangent = np.sqrt(np.maximum(x * x + h * (h - 2.0 * r), 0.0))
    return np.minimum(np.degrees(2.0 * np.arctan2(h, x + tangent)), 90.0)


def _rise(behind: Floats, height: Floats, radius: Floats, wheelbase: Floats) -> Any:
    return product(np.maximum(wheelbase, 0.0), np.sin(np.radians(_tangent_angle(behind, height, radius))))


def _swing(behind: Floats, beside: Floats, length: Floats) -> Any:
    x, y = np.maximum(behind, 0.0), np.maximum(beside, 0.0)
    return _less(np.sqrt(x * x + y * y), length)


def _swing_reach(beside: Floats, length: Floats) -> Any:
    y, free = np.maximum(beside, 0.0), np.maximum(length, 0.0)
    within = np.minimum(free, _FARTHEST)
    corner = np.minimum(y, within)
    return np.where(np.equal(free, np.inf) & (y < np.inf), np.inf, np.sqrt((within - corner) * (within + corner)))


def _drop(behind: Floats, above: Floats, length: Floats) -> Any:
    return np.maximum(_less(np.maximum(behind, 0.0), length), np.negative(above))


def _turn(ball_behind: Floats, part_behind: Floats, half_width: Floats) -> Any:
    b, j, k = _within(ball_behind), _within(part_behind), _within(half_width)
    diagonal = np.sqrt(j * j + k * k)
    turned = np.arctan2(j, k) + np.arctan2(b, np.sqrt(np.maximum(diagonal * diagonal - b * b, 0.0)))
    return np.where(b >= k, 90.0, np.minimum(np.degrees(turned), 90.0))


def _pull(vehicle: Floats, trailer: Floats) -> Any:
    a, b = np.maximum(vehicle, 0.0), np.maximum(trailer, 0.0)
    lighter, heavier = np.minimum(a, b), np.maximum(a, b)
    share = np.where((heavier > 0.0) & (heavier < np.inf), np.divide(lighter, heavier), 0.0)
    return GRAVITY / 1000.0 * lighter / (1.0 + share)


def _grade_of(angle: Floats) -> Any:
    within = np.tan(np.radians(np.minimum(np.maximum(angle, -90.0), 90.0)))
    return np.where(np.abs(angle) >= 90.0, np.copysign(np.inf, angle), within)


def _angle_of(grade: Floats) -> Any:
    return np.degrees(np.arctan(grade))


def _above_ground(x: Floats, h: Floats, r: Floats, pitch: Floats) -> Any:
    up, down = product(h, np.cos(pitch)), product(x, np.sin(pitch))
    above = np.subtract(up, down) + product(r, 1.0 - np.cos(pitch))
    open_ = np.equal(down, np.inf) | np.equal(up, -np.inf)
    return np.where(open_, -np.inf, above) if open_.any() else above


def clearance_on_grade(behind: Ends, height: Ends, radius: Ends, grade: Ends) -> Ends:
    """What is left under a point behind the axle: least at one pitch, most at an end of the pitches."""
    (near, far), h, r = above_zero(behind), height, above_zero(radius)
    least, most = (np.arctan(end) for end in above_zero(grade))
    if np.ndim(least) == 0 == np.ndim(most) and least == most:
        lowest = least  # one pitch: there is none lower to look for
    else:
        lowest = np.minimum(np.maximum(np.arctan2(far, np.subtract(r[0], h[0])), least), most)
    highest = np.maximum(_above_ground(near, h[1], r[1], least), _above_ground(near, h[1], r[1], most))
    return _above_ground(far, h[0], r[0], lowest), highest


def scaled_tongue_weight(reading: Ends, from_support: Ends, to_scale: Ends) -> Ends:
    """S(a+b)/a."""
    held = above_zero(reading)
    relief = front_axle_relief(held, to_scale, from_support)
    return np.add(held[0], relief[0]), np.add(held[1], relief[1])


departure_angle = monotone(_tangent_angle, -1, 1, 1)
touching_rise = monotone(_rise, -1, 1, 1, 1)
swing_clearance = monotone(_swing, 1, 1, -1)
swing_reach = monotone(_swing_reach, -1, 1)
drop_clearance = monotone(_drop, 1, -1, -1)
turning_angle = monotone(_turn, 1, 1, -1)
d_value = monotone(_pull, 1, 1)
grade_of_angle = monotone(_grade_of, 1)
angle_of_grade = monotone(_angle_of, 1)
