"""Facts as fields of a form: label, unit, choices and help come from the vocabulary."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import log
from typing import Final

from fitsvc.language.display import System
from fitsvc.language.problems import Problem
from fitsvc.language.quantities import parse_any
from fitsvc.language.types import ListType, NumberType, TruthType
from fitsvc.rulebook.vocabulary import Fact, Vocabulary
from fitsvc.service.counter.links import Fields, field_of, unit_of
from fitsvc.tongues import later, t

_YES_NO: Final = (("yes", later("yes")), ("no", later("no")))
_EXAMPLES: Final[Mapping[str, Sequence[str]]] = {
    "": ("3",),
    "in": ("3-1/2 in", "7/8 in", "1/8 in", "14-1/2 in", "112-1/2 in", "44-1/2 in"),
    "ft": ("22 ft",),
    "mm": ("90 mm", "22 mm", "3 mm", "370 mm", "2860 mm", "1130 mm"),
    "lb": ("400 lb", "40 lb", "4000 lb", "150 lb"),
    "kg": ("180 kg", "18 kg", "1800 kg", "70 kg"),
    "deg": ("20 deg",),
    "%": ("12 %",),
    "kN": ("9.8 kN",),
    "ft-lb": ("250 ft-lb",),
    "N·m": ("340 N·m",),
}
"""How a figure is written in each unit; of a fact one that lies in the lower half of what is plausible."""
_OF_WEIGHTS: Final = 10.0
_OF_OTHERS: Final = 4.0
_OF_SIGNED: Final = 16.0
"""Such a part of the most that is plausible is usual; less where it may be below zero. Common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One field: `choices` are values with their words, none where it is typed."""

    name: str
    label: str
    help: str
    value: str
    unit: str = ""
    example: str = ""
    choices: Sequence[tuple[str, str]] = ()
    errors: Sequence[Problem] = ()

    @property
    def id(self) -> str:
        """The field's id in a page."""
        return self.name.replace(".", "-").replace("_", "-")

    @property
    def typed(self) -> bool:
        """Whether a value is typed that none of the choices is."""
        return bool(self.value) and all(self.value != value for value, _ in self.choices)


class FieldMaker:
    """Makes a page's fields from what was typed and what was wrong with it; an error not shown yet is left over."""

    def __init__(self, vocabulary: Vocabulary, fields: Fields, problems: Iterable[Problem], system: System) -> None:
        self._vocabulary, self._fields, self._system = vocabulary, fields, system
        self._errors: dict[str, list[Problem]] = {}
        for problem in problems:
            self._errors.setdefault(field_of(problem), []).append(problem)

    def of(self, fact: Fact, place: str = "") -> Field:
        """A fact's field, of the subject itself or of an adapter's place."""
        name = f"{place or fact.subject}.{fact.short}"
        choices: Sequence[tuple[str, str]] = ()
        if isinstance(fact.type, TruthType):
            choices = [(value, t(word)) for value, word in _YES_NO]
        elif isinstance(fact.type, ListType):
            words = self._vocabulary.words.get(fact.type.name, {})
            choices = [(member, words.get(member, member)) for member in fact.type.members]
        unit = unit_of(fact, self._system)
        example = "245/75R16" if fact.tyre else _example(fact, unit)
        value, errors = self._fields.get(name, ""), self._errors.pop(name, [])
        return Field(
            name=name,
            label=sentence(fact.label),
            help=fact.how_to_measure,
            value=value,
            unit=unit,
            example=example,
            choices=choices,
            errors=errors,
        )

    def of_subject(self, subject: str, efforts: Iterable[str], *, besides: Iterable[str] = ()) -> list[Field]:
        """The fields of a subject's facts that take one of these efforts, or are told already."""
        wanted, left = set(efforts), set(besides)
        return [
            self.of(fact)
            for fact in self._vocabulary.of(subject).values()
            if fact.name not in left and (fact.effort in wanted or fact.name in self._fields)
        ]

    def errors_at(self, name: str) -> list[Problem]:
        """The errors of a field that is not a fact's."""
        return self._errors.pop(name, [])

    def left(self) -> list[Problem]:
        """The errors of fields that the page has no place for."""
        return [one for errors in self._errors.values() for one in errors]


def _example(fact: Fact, unit: str) -> str:
    """A figure as it may be typed; none of a fact that has no figures, or of which none here is plausible.

    It lies in the lower half of what is plausible, and of those there nearest by ratio to what is usual: a bike and a
    trailer are each taught by a weight of their own.
    """
    if not isinstance(fact.type, NumberType) or fact.range is None:
        return ""
    low, high = max(0.0, fact.range[0]), fact.range[1]
    found = {text: size for text in _EXAMPLES.get(unit, ()) if low <= (size := parse_any(text)[0]) <= (low + high) / 2}
    usual = high / (_OF_SIGNED if fact.range[0] < 0 else _OF_WEIGHTS if unit in ("lb", "kg") else _OF_OTHERS)
    return min(found, key=lambda text: abs(log(found[text] / usual)), default="")


def sentence(text: str) -> str:
    """A text with its first letter large."""
    return text[:1].upper() + text[1:]
