"""A case made as small as it can be and still show what it shows: fewer facts, then rounder figures.

The engine says what still shows it. That is a hundred times quicker than to ask the solver for the smallest.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import ceil, floor
from typing import Final

from fitsvc.answers.question import read_question
from fitsvc.answers.records import NoRecords
from fitsvc.document import Document, Json
from fitsvc.facts import Case, FactReader
from fitsvc.language.display import show_step, step
from fitsvc.language.intervals import TOLERANCE
from fitsvc.language.problems import ProblemsFound
from fitsvc.language.quantities import UNITS
from fitsvc.language.truth import YES
from fitsvc.language.types import ListType, Mask, Value
from fitsvc.proving.asking import Holds
from fitsvc.proving.cases import tyre_values
from fitsvc.proving.facts import TYRES
from fitsvc.rulebook.vocabulary import Fact
from fitsvc.subjects import ASKED, OF_RIG

_STEPS: Final = (1000.0, 500.0, 100.0, 50.0, 10.0, 5.0, 1.0)
"""Whole figures of a fact's own unit, roundest first; then what the unit is shown in."""
_LEVELS: Final = 6

Facts = Mapping[str, Value]


@dataclass(frozen=True, slots=True)
class Smallest:
    """A question in which something holds by the engine, as it is asked, and its case."""

    document: Document
    case: Case


@dataclass(slots=True)
class Shrinking:
    """Makes cases smaller that show something."""

    reader: FactReader
    holds: Holds

    def smallest(self, case: Case) -> Smallest:
        """The case as a question; smaller, where that still shows it."""
        case = self._fewer(case)
        for place, name in _figures(case):
            case = next((one for one in self._rounder(case, place, name) if self.holds(one)), case)
        case = self._fewer(case)
        document = self._document(case)
        read = self._read(document)
        return Smallest(document, read if read is not None and self.holds(read) else case)

    def is_asked(self, found: Smallest) -> bool:
        """Whether the question, read as anybody would ask it, shows it."""
        read = self._read(found.document)
        return read is not None and self.holds(read)

    def _read(self, document: Document) -> Case | None:
        try:
            return read_question(document, self.reader, NoRecords()).case
        except ProblemsFound:
            return None

    def _fewer(self, case: Case) -> Case:
        """The case without each fact, subject and adapter that it does without."""
        for place in reversed(range(len(case.adapters))):
            adapters = (*case.adapters[:place], *case.adapters[place + 1 :])
            case = self._kept(case, case.facts, adapters, case.present)
        for name in sorted({self._fact(slot).name for slot in case.facts}):
            left = {slot: value for slot, value in case.facts.items() if self._fact(slot).name != name}
            case = self._kept(case, left, case.adapters, case.present)
        for place, adapter in enumerate(case.adapters):
            for name in sorted(adapter):
                left = {slot: value for slot, value in case.adapters[place].items() if slot != name}
                case = self._kept(case, case.facts, _with(case.adapters, place, left), case.present)
        for subject in sorted(case.present & self.reader.subjects.keys()):
            if not any(name.startswith(f"{subject}.") for name in case.facts):
                case = self._kept(case, case.facts, case.adapters, case.present - {subject})
        return case

    def _kept(self, case: Case, facts: Facts, adapters: tuple[Facts, ...], present: frozenset[str]) -> Case:
        smaller = self._case(facts, adapters, present)
        asks = smaller.present.intersection(ASKED)
        return smaller if (asks or smaller.adapters) and self.holds(smaller) else case

    def _case(self, facts: Facts, adapters: tuple[Facts, ...], present: frozenset[str]) -> Case:
        subjects = present & self.reader.subjects.keys()
        return Case(facts, self.reader.named(facts, adapters) | subjects, adapters)

    def _fact(self, slot: str) -> Fact:
        fact = self.reader.vocabulary.fact_of(slot)
        assert fact is not None
        return fact

    def _rounder(self, case: Case, place: int | None, name: str) -> Iterator[Case]:
        """The case with a figure rounded, roundest first and those that are usual before others."""
        fact = self._fact(name)
        if fact.tyre or not fact.range:
            return
        held = (case.facts if place is None else case.adapters[place])[name]
        assert isinstance(held, tuple)
        rounded = list(dict.fromkeys(_rounded(held[0], fact)))
        usual = fact.usual
        if usual:
            rounded.sort(key=lambda value: not usual[0] <= value <= usual[1])
        for value in rounded:
            if fact.range[0] <= value <= fact.range[1]:
                told = {**(case.facts if place is None else case.adapters[place]), name: (value, value)}
                facts, adapters = (
                    (told, case.adapters) if place is None else (case.facts, _with(case.adapters, place, told))
                )
                yield self._case(facts, adapters, case.present)

    # as a question

    def _document(self, case: Case) -> Document:
        """The question that a case is of."""
        told: dict[str, dict[str, Json]] = {
            subject: {} for subject in self.reader.subjects if subject in case.present and subject != "adapter"
        }
        for fact in {self._fact(slot).name: self._fact(slot) for slot in case.facts}.values():
            told.setdefault(fact.subject, {})[fact.short] = _wire(fact, case.facts)
        rig: dict[str, Json] = {subject: {"facts": told[subject]} for subject in OF_RIG if subject in told}
        if case.adapters:
            rig["adapters"] = [
                {"facts": {self._fact(slot).short: _wire(self._fact(slot), adapter) for slot in adapter}}
                for adapter in case.adapters
            ]
        beside = {subject: {"facts": facts} for subject, facts in told.items() if subject not in OF_RIG}
        return {**({"rig": rig} if rig else {}), **beside}


def _with(adapters: tuple[Facts, ...], place: int, told: Facts) -> tuple[Facts, ...]:
    return (*adapters[:place], told, *adapters[place + 1 :])


def _figures(case: Case) -> Iterator[tuple[int | None, str]]:
    """The figures of a case, each with the adapter's place that tells it."""
    for place, facts in ((None, case.facts), *enumerate(case.adapters)):
        yield from ((place, name) for name, value in facts.items() if isinstance(value, tuple))


def _rounded(value: float, fact: Fact) -> Iterator[float]:
    """A figure rounded either way, roundest first; nothing only where no whole figure does."""
    unit = float(UNITS[fact.shown_in][1]) if fact.shown_in else 1.0
    yield from (count * size for size in (unit * one for one in _STEPS) for count in _counts(value / size) if count)
    yield 0.0
    for size in (step(fact.shown_in, "us", level) for level in range(_LEVELS)):
        yield from (count * size for count in _counts(value / size))


def _counts(value: float) -> tuple[int, ...]:
    return round(value), floor(value), ceil(value), floor(value) + 1


def _wire(fact: Fact, told: Facts) -> Json:
    """A fact as it is written in a question."""
    if fact.tyre:
        parts = {slot: value for slot, value in told.items() if slot.startswith(f"{fact.name}.")}
        return next((text for text in TYRES if tyre_values(fact.name, text) == parts), "")
    value = told[fact.name]
    if isinstance(value, tuple):
        return int(value[0]) if fact.kind == "count" else _figure(value[0], fact.shown_in)
    return fact.type.names(Mask(value))[0] if isinstance(fact.type, ListType) else value == YES


def _figure(value: float, unit: str) -> str:
    """A figure in its unit, as coarse as it can be told without another meaning."""
    for level in range(_LEVELS):
        size = step(unit, "us", level)
        if abs(round(value / size) * size - value) <= TOLERANCE / 10:
            return show_step(value, unit, "us", level)
    return show_step(value, unit, "us", _LEVELS)
