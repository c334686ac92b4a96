"""One use of a formula that is not linear: the number that stands for its value, and what is true of that.

Everything said is true of the formula itself, so that what is proven with it is proven. An argument without end stands
as `ENDLESS`, and so does a value without end.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from math import ceil, floor, inf, isfinite
from typing import Final

from fitsvc.proving.terms import ENDLESS, FALSE, SolverTerm, at_most, below, every, figure, implies, scaled, some

Lemmas = list[SolverTerm]
FINE: Final = 10**9
"""Roots and the like are rounded to so many parts of one, down or up, so that what is said stays true."""
_LARGEST: Final = 10**12
"""An argument with no larger a denominator is taken as it is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """A formula of finite or infinite figures: the way it moves with each argument, and what else is known of it.

    `bounds` hold everywhere; `near` gives what holds everywhere and is exact at the arguments it is made for. `up` and
    `down` say when it has no end. A `seeds` are points told at first.
    """

    name: str
    formula: Callable[..., float]
    moves: tuple[int, ...]
    bounds: Callable[..., Lemmas] = field(default=lambda *_: [])
    near: Callable[[Sequence[Fraction], Sequence[SolverTerm], SolverTerm], Lemmas] = field(default=lambda *_: [])
    up: Callable[..., SolverTerm] = field(default=lambda *_: FALSE)
    down: Callable[..., SolverTerm] = field(default=lambda *_: FALSE)
    seeds: tuple[tuple[float, ...], ...] = ()

    def at(self, point: Sequence[Fraction]) -> float:
        """The formula's value; an argument beyond all facts is one without end."""
        return self.formula(*(float(x) if abs(x) < ENDLESS else inf if x > 0 else -inf for x in point))


def finite(term: SolverTerm) -> SolverTerm:
    """That an argument or a value has an end."""
    return every((below(term, figure(ENDLESS)), below(figure(-ENDLESS), term)))


@dataclass(frozen=True, slots=True, eq=False)
class Application:
    """One use of a piece in a world: its arguments, and the number that stands for its value."""

    piece: Piece
    args: tuple[SolverTerm, ...]
    value: SolverTerm

    def always(self) -> Lemmas:
        """What holds of it wherever it is used."""
        up, down = self.piece.up(*self.args), self.piece.down(*self.args)
        far = figure(ENDLESS / 1000)
        ends = [
            implies(up, at_most(figure(ENDLESS), self.value), at_most(self.value, figure(ENDLESS))),
            implies(down, at_most(figure(-ENDLESS), self.value), at_most(self.value, figure(-ENDLESS))),
            some((up, at_most(self.value, far))),
            some((down, at_most(scaled(far, Fraction(-1)), self.value))),
        ]
        kept = every((finite(self.value),))
        bounds = [implies(kept, one) for one in self.piece.bounds(*self.args, self.value)]
        seeds = [lemma for seed in self.piece.seeds for lemma in self.learnt([Fraction(x) for x in seed])]
        return [one for one in (*ends, *bounds, *seeds) if one.value is not True]

    def learnt(self, point: Sequence[Fraction]) -> Lemmas:
        """What is true of it because of its value at one point, or next to it where that is no round figure."""
        moves = self.piece.moves
        up = [_round(x, way > 0) for x, way in zip(point, moves, strict=True)]
        down = [_round(x, way < 0) for x, way in zip(point, moves, strict=True)]
        above, under = _bounding(self.piece.at(up))[0], _bounding(self.piece.at(down))[1]
        less, more = self._order([figure(x) for x in up])[0], self._order([figure(x) for x in down])[1]
        found = [implies(less, at_most(self.value, figure(above))), implies(more, at_most(figure(under), self.value))]
        for at in [up] if up == down else [up, down]:
            found += self.piece.near(at, self.args, self.value)
        return found

    def beside(self, other: "Application") -> Lemmas:
        """That two uses keep the order in which their arguments stand."""
        less, more = self._order(other.args)
        return [implies(less, at_most(self.value, other.value)), implies(more, at_most(other.value, self.value))]

    def _order(self, others: Sequence[SolverTerm]) -> tuple[SolverTerm, SolverTerm]:
        """That its value is no more than with other arguments, and that it is no less."""
        rows = list(zip(self.args, others, self.piece.moves, strict=True))
        less = every(at_most(a, b) if way > 0 else at_most(b, a) for a, b, way in rows)
        more = every(at_most(b, a) if way > 0 else at_most(a, b) for a, b, way in rows)
        return less, more


def held(value: Fraction) -> Fraction:
    """An argument as it is held for one try."""
    return value if value.denominator <= _LARGEST else value.limit_denominator(FINE)


def _round(value: Fraction, upwards: bool) -> Fraction:
    """An argument with a denominator that does not grow from round to round."""
    if value.denominator <= _LARGEST:
        return value
    return Fraction((ceil if upwards else floor)(value * FINE), FINE)


def _bounding(value: float) -> tuple[Fraction, Fraction]:
    """What a formula's value is no more and no less than, as floats round."""
    if not isfinite(value):
        return (ENDLESS, ENDLESS) if value > 0.0 else (-ENDLESS, -ENDLESS)
    exact = Fraction(value)
    room = Fraction(1, 10_000_000) + abs(exact) / 10**12
    return _rounded_up(exact + room), -_rounded_up(room - exact)


def _rounded_up(value: Fraction) -> Fraction:
    return Fraction(ceil(value * FINE), FINE)
