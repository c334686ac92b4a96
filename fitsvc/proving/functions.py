"""Arithmetic and the language's functions over two ends, in terms: what is linear exactly, all else by its pieces."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Final

from fitsvc.language.functions import Function
from fitsvc.proving.applications import Application
from fitsvc.proving.pieces import PIECES
from fitsvc.proving.terms import (
    ENDLESS,
    FALSE,
    NOTHING,
    SolverTerm,
    Variables,
    at_most,
    below,
    chosen,
    every,
    figure,
    larger,
    minus,
    negation,
    plus,
    scaled,
    smaller,
    some,
)
from fitsvc.proving.values import Ends


class UntranslatedError(Exception):
    """An expression that is not put into terms, with what it is."""


@dataclass(slots=True)
class Functions:
    """The functions of one world, and each use of a piece in it, by the number that stands for its value."""

    variables: Variables
    applications: dict[int, Application] = field(default_factory=dict)
    _used: dict[tuple[object, ...], Application] = field(default_factory=dict)

    def piece(self, name: str, *args: SolverTerm) -> Application:
        """One use of a piece; the same with the same arguments."""
        key = (name, *args)
        found = self._used.get(key)
        if found is None:
            value = self.variables.number(name)
            self._used[key] = found = Application(PIECES[name], args, value)
            self.variables.hold(value, *found.always())
            self.variables.lean(value, args)
            self.applications[value.uses.bit_length() - 1] = found
        return found

    # arithmetic

    @staticmethod
    def negative(a: Ends) -> Ends:
        """Minus a number."""
        low = scaled(a.high, Fraction(-1))
        return Ends(low, low if a.exact else scaled(a.low, Fraction(-1)), a.high_open, a.low_open)

    def arithmetic(self, operator: str, a: Ends, b: Ends, signed: tuple[bool, bool]) -> Ends:
        """`+ - * /`; `signed` says of either side whether it may be below zero. UntranslatedError where both may."""
        match operator:
            case "+":
                return _sum(a, b)
            case "-":
                return _sum(a, self.negative(b))
            case "*":
                return self._product(a, b, signed)
        return self._quotient(a, b, signed)

    def counted(self, counts: Sequence[SolverTerm], count: Ends, other: Ends) -> Ends:
        """A count, one of its figures or unknown, times a number that is not below zero."""
        low = high = NOTHING
        for times, is_so in enumerate(counts):
            low = chosen(is_so, scaled(other.low, Fraction(times)), low)
            high = low if other.exact else chosen(is_so, scaled(other.high, Fraction(times)), high)
        nothing = every((at_most(other.high, NOTHING), negation(other.high_open)))
        without_end = every((other.high_open, negation(counts[0])))
        return Ends(low, high, FALSE, some((every((negation(nothing), count.high_open)), without_end)))

    def _product(self, a: Ends, b: Ends, signed: tuple[bool, bool]) -> Ends:
        for one, other in ((a, b), (b, a)):
            if one.constant is not None:
                return _scaled(other, one.constant)
        if all(signed):
            raise UntranslatedError("a product of two figures that may both be below zero")
        return self._with_sign("product", *((b, a) if signed[0] else (a, b)), signed=any(signed))

    def _quotient(self, a: Ends, b: Ends, signed: tuple[bool, bool]) -> Ends:
        if b.constant:
            return _scaled(a, 1 / b.constant)
        if any(signed):
            raise UntranslatedError("a quotient of figures that may be below zero")
        return self.over_ends("quotient", (a, b), (1, -1))

    def _with_sign(self, name: str, a: Ends, b: Ends, *, signed: bool) -> Ends:
        """A product whose second factor may be below zero: what is above counts, less what is below."""
        above = self.over_ends(name, (a, _not_below(b)), (1, 1))
        if not signed:
            return above
        under = self.over_ends(name, (a, _not_below(self.negative(b))), (1, 1))
        return Ends(minus(above.low, under.high), minus(above.high, under.low), under.high_open, above.high_open)

    # functions

    def apply(self, row: Function, args: Sequence[Ends]) -> Ends:
        """A function of the language; UntranslatedError where nothing is said of it in `pieces`."""
        made = _MADE.get(row.name)
        if made is not None:
            return made(self, *args)
        if row.name not in PIECES:
            raise UntranslatedError(f"`{row.name}`")
        return self.over_ends(row.name, [_not_below(arg) for arg in args], row.moves(len(args)))

    def over_ends(self, name: str, args: Sequence[Ends], moves: Sequence[int]) -> Ends:
        """A monotone formula over two ends: each argument's end that makes it lowest, or highest."""
        low = self.piece(name, *(_end(arg, way > 0) for arg, way in zip(args, moves, strict=True)))
        high = self.piece(name, *(_end(arg, way < 0) for arg, way in zip(args, moves, strict=True)))
        piece = low.piece
        return Ends(low.value, high.value, piece.down(*low.args), piece.up(*high.args))


def _end(a: Ends, low: bool) -> SolverTerm:
    """An end as a formula takes it."""
    if low:
        return chosen(a.low_open, figure(-ENDLESS), a.low)
    return chosen(a.high_open, figure(ENDLESS), a.high)


def _not_below(a: Ends) -> Ends:
    """A number with nothing in place of what is below zero."""
    low = chosen(a.low_open, NOTHING, larger(a.low, NOTHING))
    return Ends(low, larger(a.high, NOTHING), FALSE, a.high_open)


def _sum(a: Ends, b: Ends) -> Ends:
    low = plus(a.low, b.low)
    high = low if a.exact and b.exact else plus(a.high, b.high)
    return Ends(low, high, some((a.low_open, b.low_open)), some((a.high_open, b.high_open)))


def _scaled(a: Ends, factor: Fraction) -> Ends:
    if factor == 0:
        return Ends(NOTHING, NOTHING)
    if factor < 0:
        return Functions.negative(_scaled(a, -factor))
    low = scaled(a.low, factor)
    return Ends(low, low if a.exact else scaled(a.high, factor), a.low_open, a.high_open)


def _smallest(*args: Ends) -> Ends:
    found = args[0]
    for other in args[1:]:
        either = smaller(found.high, other.high)
        high = chosen(found.high_open, other.high, chosen(other.high_open, found.high, either))
        open_ = every((found.high_open, other.high_open))
        found = Ends(smaller(found.low, other.low), high, some((found.low_open, other.low_open)), open_)
    return found


def _largest(*args: Ends) -> Ends:
    return Functions.negative(_smallest(*map(Functions.negative, args)))


def _size(a: Ends) -> Ends:
    """A number without its sign."""
    opposite = Functions.negative(a)
    around = every((some((a.low_open, below(a.low, NOTHING))), some((a.high_open, below(NOTHING, a.high)))))
    positive = every((negation(a.low_open), at_most(NOTHING, a.low)))
    low = chosen(positive, a.low, chosen(around, NOTHING, opposite.low))
    open_ = some((a.low_open, a.high_open))
    return Ends(low, low if a.exact else larger(a.high, opposite.high), FALSE, open_)


def _span(a: Ends, b: Ends) -> Ends:
    """Some value between two; where they contradict each other, anything between."""
    ordered = some((a.low_open, b.high_open, at_most(a.low, b.high)))
    return Ends(
        chosen(ordered, a.low, b.high),
        chosen(ordered, b.high, a.low),
        every((ordered, a.low_open)),
        every((ordered, b.high_open)),
    )


def _relief(f: Functions, weight: Ends, behind: Ends, wheelbase: Ends) -> Ends:
    return f.over_ends("relief", [_not_below(one) for one in (weight, behind, wheelbase)], (1, 1, -1))


def _rear_axle_share(f: Functions, weight: Ends, behind: Ends, wheelbase: Ends) -> Ends:
    return _sum(weight, _relief(f, weight, behind, wheelbase))


def _scaled_tongue_weight(f: Functions, reading: Ends, from_support: Ends, to_scale: Ends) -> Ends:
    held = _not_below(reading)
    return _sum(held, _relief(f, held, to_scale, from_support))


def _swing_clearance(f: Functions, behind: Ends, beside: Ends, length: Ends) -> Ends:
    free = f.over_ends("distance", [_not_below(behind), _not_below(beside)], (1, 1))
    taken = _not_below(length)
    return Ends(minus(free.low, taken.high), minus(free.high, taken.low), taken.high_open, free.high_open)


def _drop_clearance(f: Functions, behind: Ends, above: Ends, length: Ends) -> Ends:
    taken, front = _not_below(length), _not_below(behind)
    past = Ends(minus(front.low, taken.high), minus(front.high, taken.low), taken.high_open, front.high_open)
    return _largest(past, f.negative(above))


def _clearance_on_grade(f: Functions, behind: Ends, height: Ends, radius: Ends, grade: Ends) -> Ends:
    x, r, g = _not_below(behind), _not_below(radius), _not_below(grade)
    low = f.piece("lowest_clearance", _end(x, False), _end(height, True), _end(r, True), _end(g, True), _end(g, False))
    high = f.piece(
        "highest_clearance", _end(x, True), _end(height, False), _end(r, False), _end(g, True), _end(g, False)
    )
    without_low = some((height.low_open, low.piece.down(*low.args)))
    return Ends(low.value, high.value, without_low, high.piece.up(*high.args))


_MADE: Final[dict[str, Callable[..., Ends]]] = {
    "min": lambda _, *args: _smallest(*args),
    "max": lambda _, *args: _largest(*args),
    "abs": lambda _, a: _size(a),
    "span": lambda _, a, b: _span(a, b),
    "rear_axle_share": _rear_axle_share,
    "front_axle_relief": _relief,
    "scaled_tongue_weight": _scaled_tongue_weight,
    "swing_clearance": _swing_clearance,
    "drop_clearance": _drop_clearance,
    "clearance_on_grade": _clearance_on_grade,
}
"""Functions that are linear over their ends, or made of pieces; any other is a piece of its own."""
