"""What the solver is told of formulas that are not linear, all in this one place: pieces that are monotone or bounded.

No such formula reaches the solver. Its value is a new number of which only true things are said: which way it moves
with each argument, linear bounds, and lines that it keeps to along a ray (where two arguments stand in one proportion,
most of these formulas are linear). More is said as it is needed: where the solver takes a value that the formula does
not give, what is true at that very point is added, and it is asked again.
"""

from collections.abc import Callable, Sequence
from fractions import Fraction
from math import atan, ceil, cos, floor, inf, isfinite, radians, sin, sqrt, tan
from typing import Final

from fitsvc.language.forms import geometry, statics
from fitsvc.language.intervals import over
from fitsvc.proving.applications import FINE, Lemmas, Piece, finite
from fitsvc.proving.terms import (
    ENDLESS,
    NOTHING,
    SolverTerm,
    at_most,
    below,
    every,
    figure,
    implies,
    minus,
    plus,
    scaled,
    some,
)


def _endless(term: SolverTerm) -> SolverTerm:
    return at_most(figure(ENDLESS), term)


def _least(value: float) -> Fraction:
    return Fraction(floor(value * FINE), FINE)


def _most(value: float) -> Fraction:
    return Fraction(ceil(value * FINE), FINE)


def _ended(*point: Fraction) -> bool:
    return all(abs(x) < ENDLESS for x in point)


# products and quotients of what is not below zero


def _product(x: float, y: float) -> float:
    return x * y if x and y else 0.0


def _slices(point: Sequence[Fraction], args: Sequence[SolverTerm], value: SolverTerm) -> Lemmas:
    """A product is linear in each factor while the other stands."""
    found: Lemmas = []
    for at, (one, other) in zip(point, (args, args[::-1]), strict=True):
        if _ended(at):
            line = scaled(other, at)
            kept = every((finite(one), finite(other)))
            found += [implies(every((kept, at_most(one, figure(at)))), at_most(value, line))]
            found += [implies(every((kept, at_most(figure(at), one))), at_most(line, value))]
    return found


def _product_up(x: SolverTerm, y: SolverTerm) -> SolverTerm:
    return some((every((_endless(x), below(NOTHING, y))), every((_endless(y), below(NOTHING, x)))))


def _proportion(
    point: Sequence[Fraction], args: Sequence[SolverTerm]
) -> tuple[Fraction, SolverTerm, SolverTerm] | None:
    """The proportion of two arguments at a point, and what is no more and no less than it elsewhere."""
    (a, b), (x, y) = point, args
    if not _ended(a, b) or b <= 0:
        return None
    share = (a / b).limit_denominator(FINE)
    return share, at_most(x, scaled(y, share)), at_most(scaled(y, share), x)


def _quotient(a: float, b: float) -> float:
    return over((a, a), (b, b))[0] if b > 0.0 else inf if a > 0.0 else 0.0


def _quotient_near(point: Sequence[Fraction], args: Sequence[SolverTerm], value: SolverTerm) -> Lemmas:
    found = _proportion(point, args)
    if found is None:
        return []
    share, less, more = found
    kept = every((finite(args[0]), below(NOTHING, args[1])))
    return [
        implies(every((kept, less)), at_most(value, figure(share))),
        implies(every((kept, more)), at_most(figure(share), value)),
    ]


def _quotient_up(a: SolverTerm, b: SolverTerm) -> SolverTerm:
    return every((below(NOTHING, a), some((at_most(b, NOTHING), every((_endless(a), finite(b)))))))


def _relief(weight: float, behind: float, wheelbase: float) -> float:
    return _product(weight, _quotient(behind, wheelbase))


def _relief_near(point: Sequence[Fraction], args: Sequence[SolverTerm], value: SolverTerm) -> Lemmas:
    """While behind and wheelbase keep their proportion, it is the weight in that proportion."""
    found = _proportion(point[1:], args[1:])
    if found is None:
        return []
    share, less, more = found
    kept = every((finite(args[0]), finite(args[1]), below(NOTHING, args[2])))
    line = scaled(args[0], share)
    return [implies(every((kept, less)), at_most(value, line)), implies(every((kept, more)), at_most(line, value))]


def _relief_up(weight: SolverTerm, behind: SolverTerm, wheelbase: SolverTerm) -> SolverTerm:
    far = every((some((_endless(weight), _endless(behind))), finite(wheelbase)))
    return every((below(NOTHING, weight), below(NOTHING, behind), some((far, at_most(wheelbase, NOTHING)))))


# the force between two masses, a distance, a reach


def _d_value_near(point: Sequence[Fraction], args: Sequence[SolverTerm], value: SolverTerm) -> Lemmas:
    """While the masses keep their proportion it is a share of either."""
    (vehicle, trailer), (t, r) = point, args
    if not _ended(vehicle, trailer) or min(vehicle, trailer) <= 0:
        return []
    share = (trailer / vehicle).limit_denominator(FINE)
    if not share:
        return []
    of_vehicle = Fraction(repr(statics.GRAVITY)) / 1000 * share / (1 + share)
    lines = scaled(t, of_vehicle), scaled(r, of_vehicle / share)
    kept = every((finite(t), finite(r)))
    lighter = every((kept, at_most(r, scaled(t, share))))
    heavier = every((kept, at_most(scaled(t, share), r)))
    return [
        implies(lighter, at_most(value, lines[0]), at_most(lines[1], value)),
        implies(heavier, at_most(value, lines[1]), at_most(lines[0], value)),
    ]


def _d_value_bounds(t: SolverTerm, r: SolverTerm, value: SolverTerm) -> Lemmas:
    gravity = Fraction(repr(statics.GRAVITY)) / 1000
    return [at_most(NOTHING, value), at_most(value, scaled(t, gravity)), at_most(value, scaled(r, gravity))]


def _distance(x: float, y: float) -> float:
    return sqrt(x * x + y * y) if isfinite(x) and isfinite(y) else inf


def _distance_near(point: Sequence[Fraction], args: Sequence[SolverTerm], value: SolverTerm) -> Lemmas:
    """A distance is no less than it is along any direction; and along one it is so many times either side."""
    (a, b), (x, y) = point, args
    length = _distance(float(a), float(b))
    if not _ended(a, b) or not length:
        return []
    kept = every((finite(x), finite(y)))
    along = plus(scaled(x, _least(float(a) / length)), scaled(y, _least(float(b) / length)))
    found = [implies(kept, at_most(along, value))]
    if a > 0 and b > 0:
        share = max((b / a).limit_denominator(FINE), Fraction(1, FINE))
        of_x, of_y = _most(sqrt(1.0 + float(share) ** 2)), _most(sqrt(1.0 + 1.0 / float(share) ** 2))
        found += [implies(every((kept, at_most(y, scaled(x, share)))), at_most(value, scaled(x, of_x)))]
        found += [implies(every((kept, at_most(scaled(x, share), y))), at_most(value, scaled(y, of_y)))]
    return found


def _distance_bounds(x: SolverTerm, y: SolverTerm, value: SolverTerm) -> Lemmas:
    kept = every((finite(x), finite(y)))
    return [at_most(x, value), at_most(y, value), implies(kept, at_most(value, plus(x, y)))]


def _reach_near(point: Sequence[Fraction], args: Sequence[SolverTerm], value: SolverTerm) -> Lemmas:
    """While beside and length keep their proportion it is a share of the length."""
    found = _proportion(point, args)
    if found is None or found[0] >= 1:
        return []
    share, less, more = found
    of_length = sqrt(1.0 - float(share) ** 2)
    kept = finite(args[1])
    return [
        implies(every((kept, less)), at_most(scaled(args[1], _least(of_length)), value)),
        implies(every((kept, more)), at_most(value, scaled(args[1], _most(of_length)))),
    ]


def _reach_bounds(beside: SolverTerm, length: SolverTerm, value: SolverTerm) -> Lemmas:
    none = implies(at_most(length, beside), at_most(value, NOTHING))
    return [at_most(NOTHING, value), at_most(value, length), none]


# angles, and clearance on a ramp


def _angle_bounds(*terms: SolverTerm) -> Lemmas:
    return [at_most(NOTHING, terms[-1]), at_most(terms[-1], figure(90.0))]


def _turning_near(point: Sequence[Fraction], args: Sequence[SolverTerm], value: SolverTerm) -> Lemmas:
    """Turned by an angle, the corner is so far ahead of the ball: it has met the bumper there, or has not yet."""
    found = _turned(point, args, geometry.turning_angle)
    if found is None:
        return []
    (least_sine, sine, least_cosine, cosine), (under, above) = found
    ball, part, half = args
    kept = every(map(finite, args))
    clear = at_most(minus(scaled(half, sine), scaled(part, least_cosine)), ball)
    met = below(ball, minus(scaled(half, least_sine), scaled(part, cosine)))
    return [implies(every((kept, clear)), at_most(under, value)), implies(every((kept, met)), at_most(value, above))]


def _departure_near(point: Sequence[Fraction], args: Sequence[SolverTerm], value: SolverTerm) -> Lemmas:
    """Pitched by an angle, the point is above the ground and still coming down: or it has touched by then."""
    found = _turned(point, args, geometry.departure_angle)
    if found is None:
        return []
    (least_sine, sine, least_cosine, cosine), (under, above) = found
    behind, height, radius = args
    kept = every(map(finite, args))
    down = minus(plus(scaled(height, least_cosine), scaled(radius, 1 - cosine)), scaled(behind, sine))
    up = minus(plus(scaled(height, cosine), scaled(radius, 1 - least_cosine)), scaled(behind, least_sine))
    falling = at_most(scaled(radius, sine), plus(scaled(behind, least_cosine), scaled(height, least_sine)))
    return [
        implies(every((kept, below(NOTHING, down), falling)), at_most(under, value)),
        implies(every((kept, at_most(up, NOTHING))), at_most(value, above)),
    ]


def _turned(
    point: Sequence[Fraction], args: Sequence[SolverTerm], formula: Callable[..., float]
) -> tuple[tuple[Fraction, Fraction, Fraction, Fraction], tuple[SolverTerm, SolverTerm]] | None:
    """The angle at a point: its sine and cosine, each rounded down and up, and the angle a little less and more."""
    if not _ended(*point):
        return None
    angle = formula(*map(float, point))
    sine, cosine = sin(radians(angle)), max(cos(radians(angle)), 0.0)
    tiny = 1e-7
    rounded = (max(_least(sine), Fraction(0)), _most(sine), max(_least(cosine), Fraction(0)), _most(cosine))
    return rounded, (figure(_least(angle - tiny)), figure(_most(angle + tiny)))


def _turning_bounds(ball: SolverTerm, part: SolverTerm, half: SolverTerm, value: SolverTerm) -> Lemmas:
    return [*_angle_bounds(value), implies(at_most(half, ball), at_most(figure(90.0), value))]


def _rise_bounds(*terms: SolverTerm) -> Lemmas:
    return [at_most(NOTHING, terms[-1]), implies(finite(terms[3]), at_most(terms[-1], terms[3]))]


def _lowest_clearance(behind: float, height: float, radius: float, least: float, most: float) -> float:
    return geometry.clearance_on_grade_within((behind,) * 2, (height,) * 2, (radius,) * 2, (least, most))[0]


def _highest_clearance(behind: float, height: float, radius: float, least: float, most: float) -> float:
    return geometry.clearance_on_grade_within((behind,) * 2, (height,) * 2, (radius,) * 2, (least, most))[1]


def _pitched(grade: float, args: Sequence[SolverTerm]) -> tuple[SolverTerm, SolverTerm]:
    """The clearance at one pitch, which is linear: a little less than it is, and a little more."""
    turned = atan(max(grade, 0.0))
    behind, height, radius = args[:3]
    parts = ((height, cos(turned)), (radius, 1.0 - cos(turned)), (behind, -sin(turned)))
    low = high = NOTHING
    for term, share in parts:
        low, high = plus(low, scaled(term, _least(share))), plus(high, scaled(term, _most(share)))
    slack = figure(Fraction(1, 1_000_000))
    return minus(low, slack), plus(high, slack)


def _lowest_near(point: Sequence[Fraction], args: Sequence[SolverTerm], value: SolverTerm) -> Lemmas:
    """The least of a range of pitches is no more than at one of them; at one pitch alone it is that."""
    if not _ended(point[3]):
        return []
    (low, high), within, alone = _about(point[3], args)
    return [implies(within, at_most(value, high)), implies(alone, at_most(low, value))]


def _highest_near(point: Sequence[Fraction], args: Sequence[SolverTerm], value: SolverTerm) -> Lemmas:
    """The most of a range of pitches is no less than at one of them; at one pitch alone it is that."""
    if not _ended(point[3]):
        return []
    (low, high), within, alone = _about(point[3], args)
    return [implies(within, at_most(low, value)), implies(alone, at_most(value, high))]


def _about(grade: Fraction, args: Sequence[SolverTerm]) -> tuple[tuple[SolverTerm, SolverTerm], SolverTerm, SolverTerm]:
    """The clearance at a grade, that the range of grades holds it, and that it is all of that range."""
    at = figure(grade)
    kept = every((*map(finite, args), at_most(NOTHING, args[1])))
    within = every((kept, at_most(args[3], at), at_most(at, args[4])))
    return _pitched(float(grade), args), within, every((within, at_most(at, args[3]), at_most(args[4], at)))


def _steep(
    behind: SolverTerm, height: SolverTerm, radius: SolverTerm, least: SolverTerm, most: SolverTerm
) -> SolverTerm:
    return every((_endless(behind), below(NOTHING, most)))


def _high(
    behind: SolverTerm, height: SolverTerm, radius: SolverTerm, least: SolverTerm, most: SolverTerm
) -> SolverTerm:
    return some((_endless(height), every((_endless(radius), below(NOTHING, most)))))


_SHARES: Final = (0.25, 0.5, 1.0, 2.0)
_RISES: Final = tuple(tan(radians(angle)) for angle in (5, 10, 15, 20, 30, 45, 60))
_DEGREES: Final = tuple((float(angle),) for angle in range(0, 90, 5))

PIECES: Final = {
    piece.name: piece
    for piece in (
        Piece(name="product", formula=_product, moves=(1, 1), near=_slices, up=_product_up,
              seeds=((0.0, 0.0), (0.5, 0.5), (1.0, 1.0)),
              bounds=lambda *terms: [at_most(NOTHING, terms[-1])]),
        Piece(name="quotient", formula=_quotient, moves=(1, -1), near=_quotient_near, up=_quotient_up,
              seeds=((0.0, 1.0), *((share, 1.0) for share in _SHARES)),
              bounds=lambda *terms: [at_most(NOTHING, terms[-1])]),
        Piece(name="relief", formula=_relief, moves=(1, 1, -1), near=_relief_near, up=_relief_up,
              seeds=((1.0, 0.0, 1.0), *((1.0, share, 1.0) for share in _SHARES)),
              bounds=lambda *terms: [at_most(NOTHING, terms[-1])]),
        Piece(name="d_value", formula=statics.d_value, moves=(1, 1), near=_d_value_near, bounds=_d_value_bounds,
              up=lambda t, r: every((_endless(t), _endless(r))),
              seeds=tuple((1.0, share) for share in (*_SHARES, 4.0))),
        Piece(name="distance", formula=_distance, moves=(1, 1), near=_distance_near, bounds=_distance_bounds,
              up=lambda x, y: some((_endless(x), _endless(y))), seeds=((2.0, 1.0), (1.0, 1.0), (1.0, 2.0))),
        Piece(name="swing_reach", formula=geometry.swing_reach, moves=(-1, 1), near=_reach_near, bounds=_reach_bounds,
              up=lambda y, length: every((_endless(length), finite(y))), seeds=((0.5, 1.0), (0.75, 1.0))),
        Piece(name="departure_angle", formula=geometry.departure_angle, moves=(-1, 1, 1), bounds=_angle_bounds,
              near=_departure_near, seeds=tuple((1.0, rise, 0.0) for rise in _RISES)),
        Piece(name="turning_angle", formula=geometry.turning_angle, moves=(1, 1, -1), bounds=_turning_bounds,
              near=_turning_near, seeds=tuple((0.0, rise, 1.0) for rise in _RISES)),
        Piece(name="touching_rise", formula=geometry.touching_rise, moves=(-1, 1, 1, 1), bounds=_rise_bounds,
              up=lambda x, h, r, base: every((_endless(base), below(NOTHING, h)))),
        Piece(name="angle_of_grade", formula=geometry.angle_of_grade, moves=(1,),
              bounds=lambda *terms: [at_most(figure(-90.0), terms[-1]), at_most(terms[-1], figure(90.0))]),
        Piece(name="grade_of_angle", formula=geometry.grade_of_angle, moves=(1,), seeds=_DEGREES,
              up=lambda a: at_most(figure(90.0), a), down=lambda a: at_most(a, figure(-90.0))),
        Piece(name="lowest_clearance", formula=_lowest_clearance, moves=(-1, 1, 1, 1, -1), near=_lowest_near,
              down=_steep, seeds=tuple((0.0, 0.0, 0.0, tan(radians(a)), tan(radians(a))) for a in (0, 5, 10, 20))),
        Piece(name="highest_clearance", formula=_highest_clearance, moves=(-1, 1, 1, -1, 1), near=_highest_near,
              up=_high),
    )
}  # fmt: skip
"""The formulas by name: those of the language's own functions, and what the other functions are made of."""
