"""Vehicles found by what people call them: make, model, year, trim and whatever else is a name, a choice or a count.

A record agrees with what is given unless it says something else: texts are compared without regard to case
and spacing, choices and counts by what they leave possible. At least one of the names must be the record's own.
"""

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Final

from fitsvc.answers.records import Named, Stored
from fitsvc.answers.taken import agree, folded
from fitsvc.answers.vin import Vin, read_signs, read_vin
from fitsvc.facts import FactReader
from fitsvc.language.problems import Problem
from fitsvc.language.types import ListType, Value
from fitsvc.tongues import later, t

if TYPE_CHECKING:
    from fitsvc.answers.searching import Found

SUBJECT: Final = "vehicle"
_MISREAD: Final = later(
    "A character of that number is misread: its check digit, the ninth, is not what the others give."
)


class Vehicles:
    """The vehicles of a store, kept by their names; an index over the texts of each."""

    def __init__(self, reader: FactReader, records: Iterable[Stored] = ()) -> None:
        self.reader, self._names = reader, reader.naming
        self._year, self._begins = (
            next(iter(reader.vocabulary.serving(service)), "") for service in ("model_year", "number_signs")
        )
        self._all: dict[str, Named] = {}
        self._by_text: dict[tuple[str, str], set[str]] = {}
        self._told: dict[str, str] = {}
        self._signs: dict[str, tuple[str, ...]] = {}
        for record in records:
            self.put(record)

    def put(self, record: Stored) -> None:
        """Keep a record; one whose naming facts cannot be read is left out."""
        self.drop(record.key)
        names = self._names
        facts = {short: wire for short, wire in record.facts.items() if f"{SUBJECT}.{short}" in names}
        problems: list[Problem] = []
        values: dict[str, Value] = {}
        texts: dict[str, str] = {}
        self.reader.read(SUBJECT, facts, "", problems, values, texts)
        if problems:
            return
        figures = {short: wire for short, wire in record.facts.items() if short not in record.assumed}
        self._all[record.key] = Named(record.key, record.label, values, texts, figures)
        if isinstance(signs := record.facts.get(self._begins.partition(".")[2]), str):
            self._signs[record.key] = read_signs(signs)
        for name, text in texts.items():
            self._by_text.setdefault((name, folded(text)), set()).add(record.key)
        words = [record.label, record.key, *texts.values(), *self.said(values).values(), *self._in_words(values)]
        self._told[record.key] = folded(" ".join(words))

    def said(self, values: Mapping[str, Value]) -> dict[str, str]:
        """Those counts and choices that are settled, as people write them."""
        found = {}
        for name, value in values.items():
            kind = self._names[name].type
            if isinstance(value, tuple) and value[0] == value[1]:
                found[name] = f"{value[0]:g}"
            elif isinstance(value, int) and isinstance(kind, ListType) and value.bit_count() == 1:
                found[name] = kind.members[value.bit_length() - 1]
        return found

    def _in_words(self, values: Mapping[str, Value]) -> list[str]:
        """Those choices that are settled, in people's words."""
        words = self.reader.vocabulary.words
        return [
            words[self._names[name].kind].get(said, said)
            for name, said in self.said(values).items()
            if self._names[name].kind in words
        ]

    def matching(self, text: str) -> "tuple[list[Named], Found]":
        """The vehicles that go by a text, in the order of their labels, and what was made of the text."""
        from fitsvc.answers.searching import find, flags_of, terms_of  # by columns, which no single answer needs

        if vin := read_vin(text):
            return self._of_number(vin)
        keys = list(self._told)
        told = [(self._told[key], self._all[key].values) for key in keys]
        found = find(terms_of(text, self.reader), [flags_of(told)], len(told))
        going = [self._all[key] for key, flag in zip(keys, found.flags[0], strict=True) if flag]
        return sorted(going, key=lambda one: (one.label, one.key)), found

    def _of_number(self, vin: Vin) -> "tuple[list[Named], Found]":
        """The vehicles that a number may be of: of its model year, where signs are stored by them, those first.

        What a vehicle does not say keeps it in, and it is one alone only where its own signs are these.
        """
        from fitsvc.answers.searching import Found

        if not vin.sound:
            return [], Found((), note=_MISREAD)
        years = [(float(year), float(year)) for year in vin.years]
        going = {
            key: bool(signs)
            for key, one in self._all.items()
            if any(agree(one.values.get(self._year, year), year) for year in years)
            and (not (signs := self._signs.get(key, ())) or any(map(vin.agrees, signs)))
        }
        found = sorted((self._all[key] for key in going), key=lambda one: (not going[one.key], one.label, one.key))
        told = t(
            "By the number it is of {year}, or of {other} if it is a heavy truck.",
            year=vin.years[0],
            other=vin.years[1],
        )
        return found, Found((), note=told, unsure=not all(going.values()))

    def drop(self, key: str) -> None:
        """Forget a record."""
        self._signs.pop(key, None)
        gone = self._all.pop(key, None)
        self._told.pop(key, None)
        for name, text in gone.texts.items() if gone else ():
            self._by_text[(name, folded(text))].discard(key)

    def agreeing(self, values: Mapping[str, Value], texts: Mapping[str, str]) -> list[Named]:
        """The vehicles that agree with all of these facts and bear one of the texts, in the order of their ids."""
        told = {name: folded(text) for name, text in texts.items()}
        bearers = set().union(*(self._by_text.get(one, ()) for one in told.items()))
        return [self._all[key] for key in sorted(bearers) if _agrees(self._all[key], values, told)]


def _agrees(vehicle: Named, values: Mapping[str, Value], texts: Mapping[str, str]) -> bool:
    own = vehicle.texts
    if any(name in own and folded(own[name]) != text for name, text in texts.items()):
        return False
    return all(agree(vehicle.values[name], value) for name, value in values.items() if name in vehicle.values)
