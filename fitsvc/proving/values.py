"""Values as the rules know them, in terms: numbers by their two ends, lists by what is possible, truths by both sides.

It is the meaning of the language itself and no approximation of it: a comparison is surely so, surely not, or open.
Where both ends of a number are one term it is exactly known wherever it is not open.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import inf

from fitsvc.language.truth import NO, YES
from fitsvc.language.types import ListType, NumberType, Type
from fitsvc.language.types import Value as Plain
from fitsvc.proving.terms import (
    FALSE,
    NOTHING,
    TRUE,
    SolverTerm,
    chosen,
    every,
    figure,
    larger,
    negation,
    smaller,
    some,
    truth,
)


@dataclass(frozen=True, slots=True, eq=False)
class Ends:
    """A number's two ends, and whether each is open: without a lower, without an upper end."""

    low: SolverTerm
    high: SolverTerm
    low_open: SolverTerm = FALSE
    high_open: SolverTerm = FALSE

    @property
    def exact(self) -> bool:
        """Whether both ends are one term."""
        return self.low is self.high

    @property
    def constant(self) -> Fraction | None:
        """Its value, where that is settled."""
        settled = (
            self.low.value if self.exact and self.low_open.value is False and self.high_open.value is False else None
        )
        return settled if isinstance(settled, Fraction) else None


@dataclass(frozen=True, slots=True, eq=False)
class Possible:
    """Whether each member of a list is possible."""

    possible: tuple[SolverTerm, ...]

    def only(self, place: int) -> SolverTerm:
        """That it is this member alone."""
        others = (negation(one) for i, one in enumerate(self.possible) if i != place)
        return every((self.possible[place], *others))

    def among(self, mask: int) -> SolverTerm:
        """That it is surely one of the members of a mask."""
        return every(negation(one) for i, one in enumerate(self.possible) if not mask >> i & 1)


@dataclass(frozen=True, slots=True, eq=False)
class Sides:
    """Whether something is surely so, and whether it is surely not."""

    yes: SolverTerm
    no: SolverTerm

    @property
    def settled(self) -> bool:
        """Whether one of the two always holds."""
        return negation(self.yes) is self.no


Value = Ends | Possible | Sides


def plain_truth(yes: SolverTerm) -> Sides:
    """A truth that is never open."""
    return Sides(yes, negation(yes))


def constant(kind: Type, value: Plain) -> Value:
    """A value that is written in the rule, or in a table."""
    if isinstance(value, tuple):
        (low, low_open), (high, high_open) = _end(value[0]), _end(value[1])
        return Ends(low, low if value[0] == value[1] else high, low_open, high_open)
    if isinstance(kind, ListType):
        return Possible(tuple(truth(bool(value >> i & 1)) for i in range(len(kind.members))))
    return Sides(truth(value == YES), truth(value == NO))


def _end(value: float) -> tuple[SolverTerm, SolverTerm]:
    return (NOTHING, TRUE) if value in (inf, -inf) else (figure(value), FALSE)


def unknown(kind: Type) -> Value:
    """A value of which nothing is known."""
    return constant(kind, kind.unknown)


def join(kind: Type, values: Sequence[tuple[SolverTerm, Value]]) -> Value:
    """The least value that holds all of those which are possible; one of them is."""
    if isinstance(kind, NumberType):
        return _join_numbers([(where, one) for where, one in values if isinstance(one, Ends)])
    if isinstance(kind, ListType):
        lists = [(where, one.possible) for where, one in values if isinstance(one, Possible)]
        return Possible(tuple(some(every((where, one[i])) for where, one in lists) for i in range(len(kind.members))))
    truths = [(where, one) for where, one in values if isinstance(one, Sides)]
    return Sides(
        every(some((negation(where), one.yes)) for where, one in truths),
        every(some((negation(where), one.no)) for where, one in truths),
    )


def _join_numbers(values: Sequence[tuple[SolverTerm, Ends]]) -> Ends:
    low_open = some(every((where, one.low_open)) for where, one in values)
    high_open = some(every((where, one.high_open)) for where, one in values)
    return Ends(_least(values), _most(values), low_open, high_open)


def _least(values: Sequence[tuple[SolverTerm, Ends]]) -> SolverTerm:
    """The lowest end of those that are possible."""
    if all(isinstance(one.low.value, Fraction) for _, one in values):
        rows = sorted(values, key=lambda row: row[1].low.value or 0)
        found = rows[-1][1].low
        for where, one in reversed(rows[:-1]):
            found = chosen(where, one.low, found)
        return found
    found, sure = values[0][1].low, values[0][0]
    for where, one in values[1:]:
        found = chosen(where, chosen(sure, smaller(found, one.low), one.low), found)
        sure = some((sure, where))
    return found


def _most(values: Sequence[tuple[SolverTerm, Ends]]) -> SolverTerm:
    """The highest end of those that are possible."""
    if all(isinstance(one.high.value, Fraction) for _, one in values):
        rows = sorted(values, key=lambda row: row[1].high.value or 0)
        found = rows[0][1].high
        for where, one in rows[1:]:
            found = chosen(where, one.high, found)
        return found
    found, sure = values[0][1].high, values[0][0]
    for where, one in values[1:]:
        found = chosen(where, chosen(sure, larger(found, one.high), one.high), found)
        sure = some((sure, where))
    return found


def either(kind: Type, condition: Sides, then: Value, otherwise: Value) -> Value:
    """One of two values by a condition; both, joined, while that is open."""
    if condition.settled and isinstance(then, Ends) and isinstance(otherwise, Ends):
        return _picked(condition.yes, then, otherwise)
    return join(kind, [(negation(condition.no), then), (negation(condition.yes), otherwise)])


def _picked(condition: SolverTerm, a: Ends, b: Ends) -> Ends:
    low = chosen(condition, a.low, b.low)
    high = low if a.exact and b.exact else chosen(condition, a.high, b.high)
    return Ends(low, high, chosen(condition, a.low_open, b.low_open), chosen(condition, a.high_open, b.high_open))
