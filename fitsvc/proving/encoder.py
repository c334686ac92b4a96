"""The checked trees of a rulebook as terms, line by line as the compiler writes them.

`Scope` is where an expression is read: with no adapter, as one adapter sees the opening before it, or behind them all.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import assert_never

from fitsvc.language import typed
from fitsvc.language.between import spelt_out
from fitsvc.language.quantities import NUMBER
from fitsvc.language.typed import AnyTyped
from fitsvc.language.types import NumberType, Type
from fitsvc.language.types import Value as Plain
from fitsvc.proving.facts import Facts
from fitsvc.proving.functions import Functions, UntranslatedError
from fitsvc.proving.signs import Signs
from fitsvc.proving.terms import FALSE, TRUE, SolverTerm, every, figure, negation, some
from fitsvc.proving.values import Ends, Possible, Sides, Value, constant, either, join, plain_truth, unknown


@dataclass(slots=True, eq=False, kw_only=True)
class Scope:
    """Reads expressions: `derived` are names with an expression behind them, `given` those with a value already."""

    facts: Facts
    functions: Functions
    signs: Signs
    derived: Mapping[str, AnyTyped]
    given: Mapping[str, Value] = field(default_factory=dict)
    place: int | None = None
    found: dict[AnyTyped, Value] = field(default_factory=dict)

    def truth(self, node: AnyTyped | None) -> Sides:
        """A condition; without one, yes."""
        if node is None:
            return Sides(TRUE, FALSE)
        value = self.value(node)
        assert isinstance(value, Sides)
        return value

    def number(self, node: AnyTyped) -> Ends:
        """A number in inside units, by its two ends."""
        value = self.value(node)
        assert isinstance(value, Ends)
        return value

    def value(self, node: AnyTyped) -> Value:
        """A value of any kind, worked out once."""
        found = self.found.get(node)
        if found is None:
            self.found[node] = found = self._value(node)
        return found

    def _value(self, node: AnyTyped) -> Value:
        match node:
            case typed.Constant():
                return constant(node.type, node.value)
            case typed.Read():
                return self._read(node)
            case typed.Present():
                return plain_truth(self.facts.present(node.name, self.place))
            case typed.Negative() | typed.Arithmetic() | typed.Apply():
                return self._numeric(node)
            case typed.LessOrEqual() | typed.Equal():
                return self._compared(node, self.number(node.left), self.number(node.right))
            case typed.SameMember():
                return _same_member(self._members(node.left), self._members(node.right))
            case typed.Membership():
                members = self._members(node.operand)
                return Sides(members.among(node.mask), members.among(node.others))
            case typed.Not():
                operand = self.truth(node.operand)
                return Sides(operand.no, operand.yes)
            case typed.All():
                parts = [self.truth(part) for part in node.operands]
                return Sides(every(part.yes for part in parts), some(part.no for part in parts))
            case typed.Some():
                parts = [self.truth(part) for part in node.operands]
                return Sides(some(part.yes for part in parts), every(part.no for part in parts))
            case typed.Conditional():
                return self._conditional(node)
            case typed.LookupMember():
                return _looked_up(node.type, node.values, self._members(node.key).possible)
            case typed.LookupBand():
                return _looked_up(
                    node.type, node.values, _bands(self.number(node.key), node.tops, self.facts.variables.compared)
                )
            case typed.LookupBetween():
                return self.value(spelt_out(node))
            case typed.Known():
                return Sides(_known(self.value(node.operand)), FALSE)
            case _:
                assert_never(node)

    def _members(self, node: AnyTyped) -> Possible:
        value = self.value(node)
        assert isinstance(value, Possible)
        return value

    def _read(self, node: typed.Read) -> Value:
        given = self.given.get(node.name)
        if given is not None:
            return given
        below_ = self.derived.get(node.name)
        if below_ is not None:
            return self.value(below_)
        if node.name.startswith("opening."):
            raise UntranslatedError(
                f"`{node.name}`, which an adapter makes of a product of figures that may be below zero"
            )
        if node.name not in self.facts.slots or (node.name.startswith("adapter.") and self.place is None):
            return unknown(node.type)
        return self.facts.fact(node.name, self.place).value

    def _conditional(self, node: typed.Conditional) -> Value:
        condition = self.truth(node.condition)
        if condition.yes.value is True or condition.no.value is True:
            return self.value(node.then if condition.yes.value is True else node.otherwise)
        return either(node.type, condition, self.value(node.then), self.value(node.otherwise))

    def _numeric(self, node: typed.Negative | typed.Arithmetic | typed.Apply) -> Ends:
        match node:
            case typed.Negative():
                return self.functions.negative(self.number(node.operand))
            case typed.Arithmetic():
                counts = self._counts(node)
                if counts is not None:
                    return self.functions.counted(*counts)
                signed = (self.signs.signed(node.left), self.signs.signed(node.right))
                return self.functions.arithmetic(node.operator, self.number(node.left), self.number(node.right), signed)
            case typed.Apply():
                return self.functions.apply(node.function, [self.number(one) for one in node.arguments])
            case _:
                assert_never(node)

    def _counts(self, node: typed.Arithmetic) -> tuple[tuple[SolverTerm, ...], Ends, Ends] | None:
        """A count that is one of its figures, and what it is multiplied with."""
        if node.operator != "*":
            return None
        for one, other in ((node.left, node.right), (node.right, node.left)):
            if isinstance(one, typed.Read) and self._is_fact(one) and not self.signs.signed(other):
                told = self.facts.fact(one.name, self.place)
                if told.counts and isinstance(told.value, Ends):
                    return told.counts, told.value, self.number(other)
        return None

    def _is_fact(self, node: typed.Read) -> bool:
        return node.name in self.facts.slots and node.name not in self.given

    def _compared(self, node: typed.LessOrEqual | typed.Equal, a: Ends, b: Ends) -> Sides:
        sure, sure_not = self._sure(a, b, node.left), self._sure_not(a, b, node.left)
        if isinstance(node, typed.LessOrEqual):
            return Sides(sure, sure_not)
        return Sides(every((sure, self._sure(b, a, node.left))), some((sure_not, self._sure_not(b, a, node.left))))

    def _sure(self, a: Ends, b: Ends, of: AnyTyped) -> SolverTerm:
        """That one number is surely no more than another."""
        if a.high_open.value is True or b.low_open.value is True:
            return FALSE
        compared = self.facts.variables.compared(a.high, b.low, _unit(of))
        return every((negation(a.high_open), negation(b.low_open), compared))

    def _sure_not(self, a: Ends, b: Ends, of: AnyTyped) -> SolverTerm:
        """That one number is surely more than another."""
        if a.low_open.value is True or b.high_open.value is True:
            return FALSE
        compared = self.facts.variables.compared(a.low, b.high, _unit(of))
        return every((negation(a.low_open), negation(b.high_open), negation(compared)))


def _unit(node: AnyTyped) -> Fraction:
    """How much of a figure counts as one for the margin: a hundredth of what is a share or a ratio."""
    plain = isinstance(node.type, NumberType) and node.type.dimension == NUMBER
    return Fraction(1, 100) if plain else Fraction(1)


def _same_member(a: Possible, b: Possible) -> Sides:
    places = range(len(a.possible))
    yes = some(every((a.only(i), b.only(i))) for i in places)
    return Sides(yes, every(negation(every((a.possible[i], b.possible[i]))) for i in places))


def _looked_up(kind: Type, values: Sequence[Plain], possible: Sequence[SolverTerm]) -> Value:
    """A table's values, joined over what the key may be; equal ones together."""
    where: dict[Plain, list[SolverTerm]] = {}
    for value, term in zip(values, possible, strict=True):
        where.setdefault(value, []).append(term)
    return join(kind, [(some(terms), constant(kind, value)) for value, terms in where.items()])


def _bands(
    key: Ends, tops: Sequence[float], compared: Callable[[SolverTerm, SolverTerm], SolverTerm]
) -> list[SolverTerm]:
    """The bands that a number may be in: the first whose top is not below its low end, to that of its high end."""
    found = []
    for place in range(len(tops) + 1):
        starts = TRUE if place == len(tops) else some((key.low_open, compared(key.low, figure(tops[place]))))
        ends = TRUE if place == 0 else some((key.high_open, negation(compared(key.high, figure(tops[place - 1])))))
        found.append(every((starts, ends)))
    return found


def _known(value: Value) -> SolverTerm:
    match value:
        case Ends():
            return every((negation(value.low_open), negation(value.high_open)))
        case Possible():
            return negation(every(value.possible))
        case Sides():
            return some((value.yes, value.no))
