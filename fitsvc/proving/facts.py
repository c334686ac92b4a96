"""What a question may tell, as variables: each fact exactly or not at all, within its plausible range.

A question that tells bounds or candidates is settled no other way than all that lies within them, which tests of the
engine hold it to; so a claim about what is surely so need look at exact and unknown facts alone.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Final

from fitsvc.language.types import ListType, NumberType, Type
from fitsvc.language.tyres import load_of, parse_tyre
from fitsvc.proving.terms import (
    FALSE,
    NOTHING,
    TRUE,
    SolverTerm,
    Variables,
    at_most,
    chosen,
    every,
    figure,
    implies,
    negation,
    plus,
    same,
    some,
)
from fitsvc.proving.values import Ends, Possible, Sides, Value
from fitsvc.rulebook.rules import Rulebook
from fitsvc.rulebook.vocabulary import TYRE_PARTS, Fact
from fitsvc.subjects import ASKED

_MOST_COUNTED: Final = 12
"""A count of no more than this is one of its figures, so that its product with a weight is linear."""
_TYRE_RANGES: Final = {
    "diameter": (200.0, 2600.0),
    "width": (20.0, 2600.0),
    "rim": (200.0, 665.0),
    "load": (190.0, 3350.0),
}
"""What tyre designations can name, in mm and kg, and somewhat more."""
TYRES: Final = (
    "195/65R15 91H",
    "215/65R16",
    "225/65R17 102H",
    "235/65R18 106T",
    "245/75R16 120S",
    "265/70R17 115T",
    "275/65R18 116T",
    "LT285/70R17 121S",
    "33X12.50R15LT",
    "185R14C 102/100Q",
    "ST205/75R15 101L",
    "205/55R16 94V",
)
"""The tyres that a case is looked for with; what is proven holds of all."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Told:
    """A fact as a question may tell it: its value, and that it is known."""

    slot: str
    type: Type
    value: Value
    known: SolverTerm
    figure: SolverTerm = NOTHING
    members: tuple[SolverTerm, ...] = ()
    counts: tuple[SolverTerm, ...] = ()


@dataclass(slots=True, kw_only=True)
class Facts:
    """The facts of a world with so many adapters, made as they are asked for."""

    rulebook: Rulebook
    adapters: int
    variables: Variables = field(default_factory=Variables)
    told: dict[tuple[int | None, str], Told] = field(default_factory=dict)
    subjects: dict[str, SolverTerm] = field(default_factory=dict)
    tyres: dict[str, tuple[SolverTerm, ...]] = field(default_factory=dict)
    slots: Mapping[str, Type] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.slots = self.rulebook.vocabulary.slots()
        for subject in self.rulebook.vocabulary.subjects.values():
            self.subjects[subject.name] = self.variables.truth(f"present {subject.name}")

    def asked_about(self) -> SolverTerm:
        """That a question is about something, as it has to be."""
        if self.adapters:
            return TRUE
        return some(self.subjects[name] for name in ASKED if name in self.subjects)

    def present(self, name: str, place: int | None = None) -> SolverTerm:
        """That a question is about a subject, or that it, or its adapter at a place, names a fact."""
        if name in self.subjects:
            return FALSE if name == "adapter" else self.subjects[name]
        return self.fact(name, place).known

    def fact(self, slot: str, place: int | None) -> Told:
        """A fact of the rig, or of the adapter at a place."""
        key = (place if slot.startswith("adapter.") else None, slot)
        found = self.told.get(key)
        if found is None:
            fact = self.rulebook.vocabulary.fact_of(slot)
            assert fact is not None
            if fact.tyre:
                self._tyre(fact)
            else:
                self.told[key] = self._made(slot, fact, key[0])
            found = self.told[key]
        return found

    def _made(self, slot: str, fact: Fact, place: int | None) -> Told:
        kind, name = self.slots[slot], slot if place is None else f"{slot} {place}"
        known = self._known(name, fact)
        if isinstance(kind, ListType):
            return self._list(slot, kind, name, known)
        if isinstance(kind, NumberType):
            assert fact.range
            return self._number(slot, kind, name, known, fact)
        yes = self.variables.truth(f"{name} yes")
        self.variables.hold(yes, implies(yes, known))
        value = Sides(every((known, yes)), every((known, negation(yes))))
        return Told(slot=slot, type=kind, value=value, known=known, members=(yes,))

    def _known(self, name: str, fact: Fact) -> SolverTerm:
        known = self.variables.truth(f"{name} known")
        if fact.subject != "adapter":
            self.variables.hold(known, implies(known, self.subjects[fact.subject]))
        return known

    def _list(self, slot: str, kind: ListType, name: str, known: SolverTerm) -> Told:
        members = tuple(self.variables.truth(f"{name} {member}") for member in kind.members)
        for member in members:
            self.variables.hold(member, implies(member, known))
        self.variables.hold(known, *self.variables.exactly_one(members, known))
        for member in members:
            self.variables.hold(member, implies(known, some(members)))
        value = Possible(tuple(some((negation(known), member)) for member in members))
        return Told(slot=slot, type=kind, value=value, known=known, members=members)

    def _number(self, slot: str, kind: NumberType, name: str, known: SolverTerm, fact: Fact) -> Told:
        assert fact.range
        low, high = (figure(end) for end in fact.range)
        size = self.variables.number(name)
        inside = implies(known, at_most(low, size), at_most(size, high))
        self.variables.hold(size, inside, some((known, same(size, NOTHING))))
        counts: tuple[SolverTerm, ...] = ()
        if fact.kind == "count" and fact.range[1] <= _MOST_COUNTED:
            counts = tuple(self.variables.truth(f"{name} {count}") for count in range(int(fact.range[1]) + 1))
            total = NOTHING
            for count, term in enumerate(counts):
                total = plus(total, _counted(term, count))
            self.variables.hold(size, *self.variables.exactly_one(counts, known), same(size, total))
        value = Ends(size, size, negation(known) if kind.negative else FALSE, negation(known))
        return Told(slot=slot, type=kind, value=value, known=known, figure=size, counts=counts)

    def _tyre(self, fact: Fact) -> None:
        """A tyre's parts are known together, its load of a designation that has a load index."""
        known = self._known(fact.name, fact)
        sizes: dict[str, tuple[SolverTerm, SolverTerm]] = {}
        for part, (least, most) in _TYRE_RANGES.items():
            has = known if part != "load" else self.variables.truth(f"{fact.name}.load known")
            low = self.variables.number(f"{fact.name}.{part}")
            high = self.variables.number(f"{fact.name}.{part} at most") if part == "diameter" else low
            ends = implies(has, at_most(figure(least), low), at_most(low, high), at_most(high, figure(most)))
            none = some((has, every((same(low, NOTHING), same(high, NOTHING)))))
            for end in {low, high}:
                self.variables.hold(end, ends, none, implies(has, known))
            slot = f"{fact.name}.{part}"
            value = Ends(low, high, FALSE, negation(has))
            self.told[None, slot] = Told(slot=slot, type=self.slots[slot], value=value, known=has, figure=low)
            sizes[part] = (low, high)
        self.tyres[fact.name] = tuple(self._is_tyre(fact.name, text, sizes) for text in TYRES)

    def _is_tyre(self, name: str, text: str, sizes: Mapping[str, tuple[SolverTerm, SolverTerm]]) -> SolverTerm:
        tyre = parse_tyre(text)
        named = {"diameter": tyre.diameter, "width": tyre.width, "rim": (tyre.rim, tyre.rim)}
        told = [self.told[None, f"{name}.{part}"].known for part in TYRE_PARTS]
        has_load = told[TYRE_PARTS.index("load")]
        equal = [
            same(term, figure(end)) for part, ends in named.items() for term, end in zip(sizes[part], ends, strict=True)
        ]
        return every(
            (told[0], has_load if tyre.load_index else negation(has_load), *equal, *self._load(sizes, tyre.load_index))
        )

    @staticmethod
    def _load(sizes: Mapping[str, tuple[SolverTerm, SolverTerm]], index: int | None) -> list[SolverTerm]:
        return [] if index is None else [same(sizes["load"][0], figure(load_of(index)))]


def _counted(term: SolverTerm, count: int) -> SolverTerm:
    return chosen(term, figure(Fraction(count)), NOTHING)
