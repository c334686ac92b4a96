"""Formulas of side view and plan: what the ground, a ramp, a closure and a turn leave free.

Lengths are in mm, angles in degrees. The rear wheel is a circle of the tyre's static loaded radius about the
axle, standing on level ground; `behind` is counted rearward from the axle, `height` up from the ground.

A vehicle that drives from the level onto a ramp pitches most just as its rear wheel meets the ramp: that wheel
touches both, so its centre lies where the two lines parallel to them at the tyre's radius cross, and a front
wheel standing on the ramp puts the front axle on the second of these lines. The pitch is then the ramp's own
angle, whatever the wheelbase, and the level ground behind is a line at that angle under the vehicle, tangent to
the rear tyre. A point touches if and only if its departure angle is smaller. Backing up the same ramp it is the
same picture. Over the crest at a ramp's top nothing behind the axle comes lower. The wheelbase counts only on a
short ramp, which ends before the front wheels are that high: pitched by an angle they stand wheelbase x its
sine above the rear ones.
"""

from math import atan, atan2, cos, degrees, inf, radians, sin, sqrt, tan

from fitsvc.language.intervals import Bounds

_FARTHEST = 1e100
"""Stands for infinity where squares are taken: their difference must stay a number."""


def _within(x: float) -> float:
    """Not below zero, and finite."""
    return min(max(x, 0.0), _FARTHEST)


def _times(x: float, y: float) -> float:
    return x * y if x and y else 0.0


def _less(x: float, y: float) -> float:
    return x if x == inf else x - max(y, 0.0)


def departure_angle(behind: float, height: float, radius: float) -> float:
    """The angle of the line tangent to the tyre's arc that touches a point behind it; 90 where no ramp reaches it.

    With s the length of the tangent, s² = x² + h² - 2rh, half the angle has the tangent h/(x + s). That is
    asin(r/d) - atan((r - h)/x), d² = x² + (r - h)², without the difference of near values, and holds for h > r too.
    """
    x, h, r = _within(behind), _within(height), _within(radius)
    tangent = sqrt(max(x * x + h * (h - 2.0 * r), 0.0))
    return min(degrees(2.0 * atan2(h, x + tangent)), 90.0)


def angle_of_grade(grade: float) -> float:
    """The angle of a grade given as rise over run."""
    return degrees(atan(grade))


def grade_of_angle(angle: float) -> float:
    """Rise over run of an angle; without end at a right one."""
    if abs(angle) >= 90.0:
        return inf if angle > 0.0 else -inf
    return tan(radians(angle))


def touching_rise(behind: float, height: float, radius: float, wheelbase: float) -> float:
    """How high the front wheels stand above the rear ones when a point behind comes down to the ground."""
    return _times(max(wheelbase, 0.0), sin(radians(departure_angle(behind, height, radius))))


def _above_ground(x: float, h: float, r: float, pitch: float) -> float:
    """Height of a point when the vehicle is pitched about the rear axle: r - (r - h) cos - x sin."""
    up, down = _times(h, cos(pitch)), _times(x, sin(pitch))
    return -inf if down == inf or up == -inf else up - down + _times(r, 1.0 - cos(pitch))


def clearance_on_grade(behind: float, height: float, radius: float, grade: float) -> float:
    """What is left under a point behind the axle when the rear wheel meets a ramp; below zero it touches."""
    return _above_ground(max(behind, 0.0), height, max(radius, 0.0), atan(max(grade, 0.0)))


def clearance_on_grade_within(behind: Bounds, height: Bounds, radius: Bounds, grade: Bounds) -> Bounds:
    """The same over bounds: the height falls to a least at one pitch and rises again, so its most is at an end."""
    x, h, r = behind, height, (max(radius[0], 0.0), max(radius[1], 0.0))
    far, near = max(x[1], 0.0) + 0.0, max(x[0], 0.0)  # -0.0 would turn the arc tangent round
    least, most = atan(max(grade[0], 0.0)), atan(max(grade[1], 0.0))
    lowest = min(max(atan2(far, r[0] - h[0]), least), most)
    return (
        _above_ground(far, h[0], r[0], lowest),
        max(_above_ground(near, h[1], r[1], least), _above_ground(near, h[1], r[1], most)),
    )


def swing_clearance(behind: float, beside: float, length: float) -> float:
    """What a closure leaves free that swings about a hinge: distance to the nearest corner, less its own length.

    In side view a lift gate, `beside` being how far below the hinge the corner lies; in plan a door, `beside`
    being how far to the side.
    """
    x, y = max(behind, 0.0), max(beside, 0.0)
    return _less(sqrt(x * x + y * y), length)


def swing_reach(beside: float, length: float) -> float:
    """How far behind its hinge a closure that swings reaches at a corner so far below or beside it, √(l² - y²)."""
    y, free = max(beside, 0.0), max(length, 0.0)
    if y >= free:
        return 0.0
    return free if free == inf else sqrt((free - y) * (free + y))


def drop_clearance(behind: float, above: float, length: float) -> float:
    """What a tailgate leaves free that drops from upright to level: the accessory is behind its end, or below it.

    `above` is how far the accessory's top stands above the hinge, `behind` how far its front is behind it.
    """
    return max(_less(max(behind, 0.0), length), -above)


def turning_angle(ball_behind: float, part_behind: float, half_width: float) -> float:
    """How far the vehicle turns until a part of the trailer meets the bumper; 90 where it turns a right angle.

    The part's corner is j behind the ball and k to the side; turned by an angle it is k sin - j cos ahead of the
    ball, and the bumper b: the angle is atan(j/k) + asin(b/sqrt(j² + k²)) where b < k, and past 90 otherwise.
    """
    b, j, k = _within(ball_behind), _within(part_behind), _within(half_width)
    diagonal = sqrt(j * j + k * k)
    turned = atan2(j, k) + atan2(b, sqrt(max(diagonal * diagonal - b * b, 0.0)))
    return 90.0 if b >= k else min(degrees(turned), 90.0)
