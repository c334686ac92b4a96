"""Terms that a solver is asked about: what is settled stands as itself, and each variable knows what holds of it.

They are plain values: `solver` alone puts them into the words of one. A term knows the variables in it, as bits of one
integer, so that a question is asked with what holds of these alone: their ranges, what a formula's value lies between.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Final, Literal
from weakref import WeakValueDictionary

BAND: Final = Fraction(2, 1_000_000)
"""Figures that differ, but by less than this, are left out: values closer than a millionth are the same to a rule."""
ENDLESS: Final = Fraction(10**12)
"""Stands for an open end where a formula takes it, far beyond all that facts add up to."""

Kind = Literal["truth", "number", "not", "and", "or", "if", "at most", "sum", "times"]
"""A variable of either type, or what is made of the parts; `times` is by the term's own value."""


@dataclass(frozen=True, slots=True, eq=False, weakref_slot=True, kw_only=True)
class SolverTerm:
    """A truth or a number: what it is made of, the variables in it, and its value where that is settled.

    What is made alike is one object, so terms are compared by identity.
    """

    kind: Kind
    parts: tuple["SolverTerm", ...] = ()
    uses: int = 0
    value: bool | Fraction | None = None
    factor: Fraction = Fraction(1)
    name: str = ""


_MADE: Final[WeakValueDictionary[object, SolverTerm]] = WeakValueDictionary()


def _made(kind: Kind, parts: tuple[SolverTerm, ...], factor: Fraction = Fraction(1)) -> SolverTerm:
    """A term of parts, the same object each time."""
    key = (kind, factor, parts)
    found = _MADE.get(key)
    if found is None:
        uses = 0
        for part in parts:
            uses |= part.uses
        _MADE[key] = found = SolverTerm(kind=kind, parts=parts, uses=uses, factor=factor)
    return found


def figure(value: float | Fraction) -> SolverTerm:
    """An exact number: of a float the decimal that it is written as, so that 900 lb are 408.233133 kg."""
    exact = value if isinstance(value, Fraction) else Fraction(repr(float(value)))
    found = _MADE.get(exact)
    if found is None:
        _MADE[exact] = found = SolverTerm(kind="number", value=exact)
    return found


TRUE: Final = SolverTerm(kind="truth", value=True)
FALSE: Final = SolverTerm(kind="truth", value=False)
NOTHING: Final = figure(Fraction(0))


def truth(value: bool) -> SolverTerm:
    """A settled truth."""
    return TRUE if value else FALSE


def negation(a: SolverTerm) -> SolverTerm:
    """Not."""
    if a.value is not None:
        return truth(not a.value)
    return a.parts[0] if a.kind == "not" else _made("not", (a,))


def every(terms: Iterable[SolverTerm]) -> SolverTerm:
    """And."""
    return _chain(terms, idle=True)


def some(terms: Iterable[SolverTerm]) -> SolverTerm:
    """Or."""
    return _chain(terms, idle=False)


def _chain(terms: Iterable[SolverTerm], *, idle: bool) -> SolverTerm:
    left: dict[SolverTerm, None] = {}
    for term in terms:
        if term.value is None:
            left[term] = None
        elif term.value is not idle:
            return term
    if len(left) <= 1:
        return next(iter(left), truth(idle))
    return _made("and" if idle else "or", tuple(left))


def implies(a: SolverTerm, *b: SolverTerm) -> SolverTerm:
    """That all of these hold where the first does."""
    return some((negation(a), every(b)))


def chosen(condition: SolverTerm, then: SolverTerm, otherwise: SolverTerm) -> SolverTerm:
    """One of two truths or numbers."""
    if condition.value is not None:
        return then if condition.value else otherwise
    if then is otherwise:
        return then
    if isinstance(then.value, bool) or isinstance(otherwise.value, bool):
        return every((some((negation(condition), then)), some((condition, otherwise))))
    return _made("if", (condition, then, otherwise))


def plus(a: SolverTerm, b: SolverTerm) -> SolverTerm:
    """Sum."""
    if isinstance(a.value, Fraction) and isinstance(b.value, Fraction):
        return figure(a.value + b.value)
    if a.value == 0 or b.value == 0:
        return b if a.value == 0 else a
    return _made("sum", (a, b))


def scaled(a: SolverTerm, factor: Fraction) -> SolverTerm:
    """A number so many times."""
    if factor in (0, 1):
        return a if factor else NOTHING
    if isinstance(a.value, Fraction):
        return figure(a.value * factor)
    if a.kind == "times":
        return scaled(a.parts[0], a.factor * factor)
    return _made("times", (a,), factor)


def minus(a: SolverTerm, b: SolverTerm) -> SolverTerm:
    """Difference."""
    return plus(a, scaled(b, Fraction(-1)))


def at_most(a: SolverTerm, b: SolverTerm) -> SolverTerm:
    """That one number is no more than another, to the last digit."""
    if isinstance(a.value, Fraction) and isinstance(b.value, Fraction):
        return truth(a.value <= b.value)
    return TRUE if a is b else _made("at most", (a, b))


def below(a: SolverTerm, b: SolverTerm) -> SolverTerm:
    """That one number is less than another."""
    return negation(at_most(b, a))


def same(a: SolverTerm, b: SolverTerm) -> SolverTerm:
    """That two numbers are one."""
    return every((at_most(a, b), at_most(b, a)))


def smaller(a: SolverTerm, b: SolverTerm) -> SolverTerm:
    """The smaller of two numbers."""
    return chosen(at_most(a, b), a, b)


def larger(a: SolverTerm, b: SolverTerm) -> SolverTerm:
    """The larger of two numbers."""
    return chosen(at_most(a, b), b, a)


class Variables:
    """The variables of one world, and what holds of each wherever it is used."""

    def __init__(self) -> None:
        self._held: list[list[SolverTerm]] = []
        self._leaning: dict[int, int] = {}
        self.comparisons: dict[tuple[SolverTerm, SolverTerm], SolverTerm] = {}
        self.margin = self.number("margin")
        self.hold(self.margin, at_most(figure(BAND), self.margin))

    def truth(self, name: str) -> SolverTerm:
        """A new truth."""
        return self._new("truth", name)

    def number(self, name: str) -> SolverTerm:
        """A new number."""
        return self._new("number", name)

    def _new(self, kind: Kind, name: str) -> SolverTerm:
        self._held.append([])
        return SolverTerm(kind=kind, uses=1 << (len(self._held) - 1), name=f"{name} #{len(self._held)}")

    def hold(self, variable: SolverTerm, *conditions: SolverTerm) -> None:
        """Let conditions hold wherever a variable is used."""
        self._held[variable.uses.bit_length() - 1] += [one for one in conditions if one.value is not True]

    def lean(self, variable: SolverTerm, terms: Iterable[SolverTerm]) -> None:
        """Let what holds of these terms hold wherever a variable is used."""
        self._leaning[variable.uses.bit_length() - 1] = _union(terms)

    def compared(self, a: SolverTerm, b: SolverTerm, unit: Fraction = Fraction(1)) -> SolverTerm:
        """That one number is no more than another, as rules compare; what is more is so by a margin, in such units."""
        if isinstance(a.value, Fraction) and isinstance(b.value, Fraction):
            return truth(a.value <= b.value + BAND / 2)
        if a is b:
            return TRUE
        found = self.comparisons.get((a, b))
        if found is None:
            self.comparisons[a, b] = found = self.truth("compared")
            more = at_most(plus(b, scaled(self.margin, unit)), a)
            self.hold(found, some((negation(found), at_most(a, b))), some((found, more)))
        return found

    def exactly_one(self, terms: Sequence[SolverTerm], where: SolverTerm) -> list[SolverTerm]:
        """That one of several truths holds where something does, and none elsewhere; a ladder, so it stays short."""
        found, before = [], FALSE
        for place, term in enumerate(terms):
            found += [some((negation(term), where)), negation(every((term, before)))]
            rung = self.truth("rung") if place + 1 < len(terms) else some((before, term))
            if place + 1 < len(terms):
                found += [implies(term, rung), implies(before, rung), implies(rung, some((before, term)))]
            before = rung
        return [*found, implies(where, before)]

    def closed(self, terms: Iterable[SolverTerm]) -> tuple[list[SolverTerm], int]:
        """The terms with all that holds of the variables in them, and those variables."""
        found = list(terms)
        seen, left = 0, _union(found)
        while left := left & ~seen:
            seen |= left
            places = list(bits(left))
            more = [condition for place in places for condition in self._held[place]]
            found += more
            left = _union(more)
            for place in places:
                left |= self._leaning.get(place, 0)
        return found, seen


def _union(terms: Iterable[SolverTerm]) -> int:
    uses = 0
    for term in terms:
        uses |= term.uses
    return uses


def bits(number: int) -> Iterator[int]:
    """The places of the bits that are set."""
    while number:
        lowest = number & -number
        yield lowest.bit_length() - 1
        number ^= lowest
