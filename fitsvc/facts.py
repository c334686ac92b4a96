"""Facts as people write them → typed facts, or problems that say where, what and what is allowed."""

from collections.abc import Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field, replace
from functools import reduce
from math import inf
from typing import Any, Final, TypeVar

import msgspec

from fitsvc.caching import LruCache
from fitsvc.document import Json
from fitsvc.fact_values import damaged, several, shown, values_of
from fitsvc.language.intervals import plus
from fitsvc.language.problems import Problem, ProblemsFound, nearest
from fitsvc.language.quantities import read_plainest
from fitsvc.language.typed import TOLD
from fitsvc.language.types import NumberType, Value
from fitsvc.rulebook.rules import Rulebook
from fitsvc.rulebook.vocabulary import Fact
from fitsvc.subjects import RIG
from fitsvc.tongues import later, t
from fitsvc.tried import ThingTried
from fitsvc.written import PlainForms

T = TypeVar("T")
MOST_ADAPTERS: Final = 4
_MOST_READ: Final = 10_000
"""Facts of a subject, and single ones, that are remembered as read: some ten thousand wares and their cells, 10 MB."""
_REMEMBERED: Final = frozenset({str, int, bool})
_encode: Final = msgspec.msgpack.Encoder().encode


_Read = tuple[dict[str, Value], dict[str, str], tuple[str, ...]]
"""What reading one subject's facts gave: values by slot, texts, and the names of those that are null."""
_Cell = tuple[str, type, Any]
"""One fact as it is written: its name, and its value with the type of that, since True, 1 and 1.0 are equal."""


@dataclass(frozen=True, slots=True)
class Case:
    """What is known of one question: values by slot, what it is about (`present`), the adapters in their order.

    It is about the subjects it has a part for, and about the facts it names, of those whose being named tells
    a rule something: the rulebook's `named`. What an adapter names it names of itself alone: it is there `at_place`.
    `texts` keeps what no rule reads but people are told: texts and tyre designations. `opened` says that
    the working opening's facts, which the adapters make, are already among `facts`. `of_items` are the facts that
    single accessories have on this very rig, by their SKUs: what touched when it was tried there. They follow from the
    `things` tried there and the `row` of its adapters, by their SKUs with none for one that has none.
    """

    facts: Mapping[str, Value]
    present: frozenset[str]
    adapters: tuple[Mapping[str, Value], ...] = ()
    texts: Mapping[str, str] = field(default_factory=dict)
    of_items: Mapping[str, Mapping[str, Value]] = field(default_factory=dict, kw_only=True)
    things: tuple[ThingTried, ...] = field(default=(), kw_only=True)
    row: tuple[str, ...] = field(default=(), kw_only=True)
    opened: bool = field(default=False, kw_only=True)


def at_place(place: int, name: str) -> str:
    """The name of an adapter's fact, or of the opening's, at one place of the row of adapters, counted from 1."""
    return f"{place} {name}"


def seen_at(place: int, present: frozenset[str]) -> frozenset[str]:
    """What a question is about as it is seen from the adapter at a place, counted from 1: what that one names, too."""
    before = at_place(place, "")
    return present.union([name.removeprefix(before) for name in present if name.startswith(before)])


class FactReader:
    """Reads facts by a rulebook. What has been read is remembered, since the same is read over and over.

    `ratings` are the facts that the rulebook's hazards say can be exceeded: of two figures of one the lower counts.
    `limits` are these and what else makers allow or ask for: of two tellings of one the stricter counts. `slots` and
    `naming` are the vocabulary's.
    """

    def __init__(self, rulebook: Rulebook) -> None:
        self.rulebook, self.vocabulary = rulebook, (vocabulary := rulebook.vocabulary)
        self.subjects = {name: vocabulary.of(name) for name in vocabulary.subjects}
        self.slots, self.naming = vocabulary.slots(), vocabulary.naming()
        self._former = {name: vocabulary.former(name) for name in vocabulary.subjects}
        today = {one: {was: fact.short for was, fact in former.items()} for one, former in self._former.items()}
        whole = {f"{one}.{was}": f"{one}.{now}" for one, names in today.items() for was, now in names.items()}
        self._today = {**today, RIG: whole}
        exceeded = {hazard.rating for hazard in rulebook.hazards if hazard.exceeded is not None}
        self.ratings = exceeded & vocabulary.facts.keys()
        self.limits = self.ratings.union(vocabulary.serving("makers_limit"), vocabulary.serving("makers_demand"))
        self._named, self._written = rulebook.named, PlainForms(rulebook)
        self.bounds = self._written.bounds
        numbers = (one for one in vocabulary.facts.values() if isinstance(one.type, NumberType) and not one.tyre)
        self._sums = [one for one in vocabulary.facts.values() if one.sum_of]
        self._bare = {one.name for one in numbers if self._written.takes_bare(one)}
        self._whole = {name: LruCache[bytes, _Read](_MOST_READ) for name in self.subjects}
        self._seen = {name: LruCache[_Cell, dict[str, Value]](_MOST_READ) for name in self.subjects}

    def fact(self, subject: str, name: str) -> Fact | None:
        """A subject's fact by its name there, or by one that it had."""
        return self.subjects[subject].get(name) or self._former[subject].get(name)

    def names_today(self, subject: str) -> Mapping[str, str]:
        """What a subject's facts are called, by what they were called; of `rig` all by their whole names."""
        return self._today[subject]

    def today(self, subject: str, facts: Mapping[str, T]) -> Mapping[str, T]:
        """What is told of a subject's facts by the names that they have, where some are told by one that they had."""
        today = self._today[subject]
        if today.keys().isdisjoint(facts):
            return facts
        return {today.get(name, name): told for name, told in facts.items()}

    def read(
        self,
        subject: str,
        facts: Mapping[str, Json],
        pointer: str,
        problems: list[Problem],
        values: dict[str, Value],
        texts: dict[str, str],
    ) -> tuple[str, ...]:
        """Read a subject's facts into `values` and `texts`; what is wrong is added to `problems`.

        Returns the names of the facts that are said not to be known, which are null.
        """
        whole, key = self._whole[subject], _key(facts)
        found = whole.find(key) if key else None
        if found is None:
            former = self._former[subject]
            null = tuple(former[name].short if name in former else name for name in facts if facts[name] is None)
            found = (*self._read(subject, facts, pointer, problems), null)
            if key and not problems:
                whole.keep(key, found)
        values.update(found[0])
        texts.update(found[1])
        return found[2]

    def _read(
        self, subject: str, facts: Mapping[str, Json], pointer: str, problems: list[Problem]
    ) -> tuple[dict[str, Value], dict[str, str]]:
        known, seen, former = self.subjects[subject], self._seen[subject].find, self._former[subject]
        values: dict[str, Value] = {}
        texts: dict[str, str] = {}
        for name, wire in facts.items():
            kind = wire.__class__
            slots = seen((name, kind, wire)) if kind in _REMEMBERED else None
            fact = None if slots is not None else known.get(name) or former.get(name)
            if slots is not None:
                values.update(slots)
            elif fact is None:
                problems.append(unknown_fact(subject, name, known, f"{pointer}/{escape(name)}"))
            elif fact.short != name and fact.short in facts:
                help, place = t("leave out what goes by the former name"), f"{pointer}/{escape(name)}"
                problems.append(Problem(t("{the} is told twice", the=fact.the), help, pointer=place))
            elif wire is not None:
                try:
                    values.update(self.value(fact, wire))
                except ProblemsFound as found:
                    problems += [problem.at(f"{pointer}/{escape(name)}") for problem in found.problems]
                if isinstance(wire, str) and (fact.tyre or fact.kind == "text"):
                    texts[fact.name] = wire
        return values, texts

    def add_up(self, values: dict[str, Value]) -> frozenset[str]:
        """Take what is told in its parts only for what these come to; the names of the facts of which that is so.

        What is told within bounds as well is no less than its parts come to, where both can be so. Of a sum of bounds
        the most that it may be is what was told of it, or where a part has no upper end, with that part's lower one: it
        is doubted as that, and never held against its own parts.
        """
        summed = {}
        for fact in self._sums:
            parts, known = [values.get(part) for part in fact.sum_of], values.get(fact.name)
            bounds = [value for value in parts if isinstance(value, tuple)]
            if len(bounds) < len(parts):
                continue
            least = reduce(plus, bounds)[0]
            if known is None:
                summed[fact.name] = low, high = reduce(plus, bounds)
                told = sum(most if most < inf else least for least, most in bounds)
                values |= {f"{fact.name}{TOLD}": (told, told)} if low < high else {}
            elif isinstance(known, tuple) and known[0] < least <= known[1]:
                values[fact.name] = (least, known[1])
        values |= summed
        return frozenset(summed)

    def told_by_one_end(self, values: Mapping[str, Value], but: AbstractSet[str] = frozenset()) -> dict[str, Value]:
        """Of the figures told by one end alone that end: no other was said, so that no doubt can rest on it.

        Wherever a figure was told, in a question, a record or a catalogue, as long as nothing else was said of it: of
        the facts in `but` something was.
        """
        found, facts = dict[str, Value](), self.vocabulary.facts
        for name, value in values.items():
            # Nearly all are told exactly, and what is none is told by its upper end if by one.
            if not isinstance(value, tuple) or value[0] == value[1] != 0.0 or name in but or name not in facts:
                continue
            kind = facts[name].type
            if isinstance(kind, NumberType) and (end := kind.one_end(value)) is not None:
                found[f"{name}{TOLD}"] = end
        return found

    def named(self, values: Mapping[str, Value], adapters: Sequence[Mapping[str, Value]] = ()) -> frozenset[str]:
        """What a question is about beside its subjects, by its values, and by those of its adapters in their order."""
        return frozenset(self._named & values.keys()) | self._named_by(adapters, 1)

    def _named_by(self, adapters: Sequence[Mapping[str, Value]], first: int) -> set[str]:
        """What adapters name, the first of them at a place."""
        return {
            at_place(place, name)
            for place, adapter in enumerate(adapters, first)
            for name in self._named & adapter.keys()
        }

    def stacked(self, case: Case, adapters: Sequence[Mapping[str, Value]]) -> Case:
        """The case with more adapters in the opening, after its own."""
        present = case.present | self._named_by(adapters, len(case.adapters) + 1)
        return replace(case, adapters=(*case.adapters, *adapters), present=present)

    def value(self, fact: Fact, wire: Json) -> dict[str, Value]:
        """The values of a fact's slots; ProblemsFound with pointers below the fact."""
        slots = self._plainest(fact, wire) if isinstance(wire, str) and fact.name in self._bare else None
        if slots is not None:
            self._seen[fact.subject].keep((fact.short, str, wire), slots)
            return slots
        try:
            slots = values_of(fact, self._written.plain(fact, wire))
        except ProblemsFound as found:
            raise (isinstance(wire, str) and (damaged(fact, wire) or several(fact, wire))) or found from None
        if type(wire) in _REMEMBERED and slots and not fact.tyre:
            self._seen[fact.subject].keep((fact.short, type(wire), wire), slots)
        return slots

    def _plainest(self, fact: Fact, wire: str) -> dict[str, Value] | None:
        """The value of a plausible figure in the plainest form, as most are written; None for any other."""
        read = read_plainest(wire)
        assert isinstance(fact.type, NumberType) and fact.range
        if read is None or read[1] is not fact.type.dimension or not fact.range[0] <= read[0] <= fact.range[1]:
            return None
        return {fact.name: (read[0], read[0])}


def _key(facts: Mapping[str, Json]) -> bytes:
    """Facts in one piece, in which `true`, `1` and `1.0` differ; nothing for such as no document can have."""
    try:
        return _encode(facts)
    except (TypeError, ValueError, OverflowError, RecursionError):
        return b""


_MOST_LISTED: Final = 12
_ALL_FACTS: Final = later(" `fitsvc rules facts` and `/v1/vocabulary` tell all facts")


def unknown_fact(subject: str, name: str, known: Mapping[str, Fact], pointer: str) -> Problem:
    """The problem of a fact name that a subject does not have."""
    near = nearest(name, known)
    listed = ", ".join(f"`{fact}`" for fact in sorted(known)[:_MOST_LISTED])
    help = t("did you mean `{near}`?", near=near) if near else t("it has {listed}", listed=listed)
    if near or len(known) > _MOST_LISTED:
        help += ("" if near else t(" and more;")) + t(_ALL_FACTS)
    return Problem(
        t("{name} is not a fact of {subject}", name=shown(name), subject=subject),
        help,
        pointer=pointer,
        kind="unknown fact",
    )


def escape(name: str) -> str:
    """A name as a part of a JSON pointer (RFC 6901)."""
    return name.replace("~", "~0").replace("/", "~1")
