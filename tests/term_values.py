"""What terms come to for one case, without a solver: each formula by itself, each comparison to the digit."""

from collections.abc import Mapping
from fractions import Fraction
from math import inf

from fitsvc.facts import Case
from fitsvc.language.types import ListType, TruthType
from fitsvc.proving.facts import Told
from fitsvc.proving.terms import BAND, ENDLESS, SolverTerm
from fitsvc.proving.values import Ends
from fitsvc.proving.world import World


def as_fraction(value: float) -> Fraction:
    """A formula's value, as terms hold one without end."""
    return ENDLESS if value == inf else -ENDLESS if value == -inf else Fraction(value)


class Plain:
    """Terms of variables whose values are known."""

    def __init__(self) -> None:
        self.known: dict[SolverTerm, bool | Fraction] = {}

    def truth(self, term: SolverTerm) -> bool:
        """A truth's value."""
        found = self._value(term)
        assert isinstance(found, bool)
        return found

    def number(self, term: SolverTerm) -> Fraction:
        """A number's value."""
        found = self._value(term)
        assert isinstance(found, Fraction)
        return found

    def _value(self, term: SolverTerm) -> bool | Fraction:
        if term.value is not None:
            return term.value
        if term not in self.known:
            self.known[term] = self._made(term)
        return self.known[term]

    def _made(self, term: SolverTerm) -> bool | Fraction:
        match term.kind:
            case "not":
                return not self.truth(term.parts[0])
            case "and":
                return all(map(self.truth, term.parts))
            case "or":
                return any(map(self.truth, term.parts))
            case "if":
                return self._value(term.parts[1 if self.truth(term.parts[0]) else 2])
            case "at most":
                return self.number(term.parts[0]) <= self.number(term.parts[1])
            case "sum":
                return self.number(term.parts[0]) + self.number(term.parts[1])
            case "times":
                return self.number(term.parts[0]) * term.factor
        return self.variable(term)

    def variable(self, term: SolverTerm) -> bool | Fraction:
        """The value of a variable that is not known yet."""
        raise KeyError(term.name)


class TermValues(Plain):
    """The terms of a world for one case of exact facts; `near` once two figures were all but the same."""

    def __init__(self, world: World, case: Case) -> None:
        super().__init__()
        self.near = False
        self.known[world.facts.variables.margin] = BAND
        for name, term in world.facts.subjects.items():
            self.known[term] = name in case.present
        for (place, _), told in world.facts.told.items():
            self._tell(told, case.facts if place is None else case.adapters[place])
        self._compared = {term: pair for pair, term in world.facts.variables.comparisons.items()}
        self._applied = {one.value: one for one in world.functions.applications.values()}

    def _tell(self, told: Told, facts: Mapping[str, object]) -> None:
        value = facts.get(told.slot)
        self.known[told.known] = value is not None
        for place, member in enumerate(told.members):
            chosen = isinstance(value, int) and bool(value >> place & 1)
            self.known[member] = value == 2 if isinstance(told.type, TruthType) else chosen
        if isinstance(told.value, Ends) and not isinstance(told.type, ListType):
            low, high = value if isinstance(value, tuple) else (0.0, 0.0)
            self.known[told.value.low], self.known[told.value.high] = Fraction(repr(low)), Fraction(repr(high))
            for count, term in enumerate(told.counts):
                self.known[term] = value is not None and low == count

    def variable(self, term: SolverTerm) -> bool | Fraction:
        """A formula's value, or whether one figure is no more than another."""
        if term in self._applied:
            one = self._applied[term]
            return as_fraction(one.piece.at([self.number(arg) for arg in one.args]))
        a, b = (self.number(part) for part in self._compared[term])
        self.near = self.near or 0 < a - b < Fraction(3, 1_000_000)
        return a <= b
