"""Formulas of loads and forces: moments about axles and supports, and the force between vehicle and trailer.

Masses are in kg, lengths in mm, forces in kN. A lever that may be nothing leaves the load open above.
"""

from typing import Final

from fitsvc.language.intervals import Bounds, over, plus, times

GRAVITY: Final = 9.81
"""m/s², the figure UN Regulation 55 computes with."""


def _above_zero(a: Bounds) -> Bounds:
    return (max(a[0], 0.0), max(a[1], 0.0))


def front_axle_relief(weight: Bounds, behind: Bounds, wheelbase: Bounds) -> Bounds:
    """W d/L with nothing below zero; open above where the wheelbase may be nothing."""
    return times(_above_zero(weight), over(_above_zero(behind), _above_zero(wheelbase)))


def rear_axle_share(weight: Bounds, behind: Bounds, wheelbase: Bounds) -> Bounds:
    """W(L+d)/L: the weight itself, and what it takes off the front axle."""
    return plus(weight, front_axle_relief(weight, behind, wheelbase))


def scaled_tongue_weight(reading: Bounds, from_support: Bounds, to_scale: Bounds) -> Bounds:
    """S(a+b)/a: a beam rests on a support and on a scale, and carries the coupler a from the one, b from the other."""
    held = _above_zero(reading)
    return plus(held, front_axle_relief(held, to_scale, from_support))


def d_value(vehicle: float, trailer: float) -> float:
    """g T R/(T+R) in kN; the lighter mass over one plus its share of the heavier, so that none may be infinite."""
    lighter, heavier = sorted((max(vehicle, 0.0), max(trailer, 0.0)))
    share = lighter / heavier if 0.0 < heavier < float("inf") else 0.0
    return GRAVITY / 1000.0 * lighter / (1.0 + share)
