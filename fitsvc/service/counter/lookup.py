"""Rules and facts for people to look up: what, why, by which source, what reads what; all from the rulebook."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

from fitsvc.answers.borders import Border, Borders, BorderSide
from fitsvc.document import Json
from fitsvc.engine.point import Point
from fitsvc.facts import FactReader
from fitsvc.language.display import show
from fitsvc.language.tables import Table
from fitsvc.language.truth import WORDS
from fitsvc.language.types import ListType, NumberType, TruthType, Type, Value
from fitsvc.rulebook.coverage import coverage_of
from fitsvc.rulebook.rules import IfKnown, Limit, Need, Reference, Rule, Rulebook, TableEntry, Template
from fitsvc.rulebook.vocabulary import Fact
from fitsvc.rulebook.yaml_text import to_plain
from fitsvc.service.counter.fields import sentence
from fitsvc.service.counter.links import cell, link, write_fields
from fitsvc.service.counter.seeing import source_text
from fitsvc.tongues import later, t

_EFFORTS: Final[Mapping[str, str]] = {
    "ask": later("ask the customer"),
    "label": later("read a label"),
    "tape": later("tape measure"),
    "scales": later("scales"),
    "dealer": later("a dealer"),
}
_KINDS: Final = (
    later("length"),
    later("mass"),
    later("angle"),
    later("force"),
    later("torque"),
    later("ratio"),
    later("count"),
    later("yes no"),
    later("text"),
    later("tyre"),
)
"""What a fact may be, apart from one of a list."""
_SEEN: Final[Mapping[str, str]] = {
    "text": later("its text seen"),
    "agency": later("an agency's page seen"),
    "secondary": later("quoted elsewhere"),
    "memory": later("from memory"),
}
_TO_FIND_OUT: Final = later("What it reads is to be found out first.")
_OF_NEEDS: Final = {"open": "needed", "met": "not needed"}
_PROMISES: Final = ("gives", "so", "at_most")


@dataclass(frozen=True, slots=True)
class Line:
    """A link to one entry or fact, in a list of them."""

    href: str
    text: str
    beside: str = ""


@dataclass(frozen=True, slots=True)
class TableTold:
    """A lookup table: its name and title, its rows from key to value, where it comes from.

    `key` is the list by whose members its rows are told, each with its own source; empty of a table without such rows.
    """

    name: str
    key: str
    title: str
    rows: Sequence[tuple[str, str]]
    source: str


@dataclass(frozen=True, slots=True)
class SourceTold:
    """A source of the register: its citation, what it says and whether those are its own words, how it was seen."""

    name: str
    cite: str
    says: str
    quoted: bool
    seen: str


@dataclass(frozen=True, slots=True)
class Saying:
    """What an entry brings about in one case, in plain words: how it weighs, and what is then said."""

    mark: str
    what: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class EntryTold:
    """A rule, limit or need: `says` in sentences, `lines` as it is kept, each with its title.

    `code` marks those in the rule language.
    """

    id: str
    kind: str
    title: str
    topic: str
    lines: Sequence[tuple[str, str, bool]]
    says: Sequence[Saying]
    remedy: str
    source: str
    sources: Sequence[SourceTold]
    facts: Sequence[Line]
    tables: Sequence[TableTold]
    examples: Sequence[tuple[str, str]]


@dataclass(frozen=True, slots=True)
class BorderTold:
    """A border case: the figure's fact and name, its two sides, each with the link that asks it, and what else is told.

    A side says its figure, whether all beyond it gives the same, and what that is.
    """

    label: str
    name: str
    below: tuple[str, str]
    above: tuple[str, str]
    told: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FactTold:
    """A fact: what it means, how it is learnt, and what reads it."""

    fact: Fact
    title: str
    subject: str
    kind: str
    range: str
    choices: Sequence[str]
    effort: str
    readers: Sequence[Line]


class Library:
    """A rulebook as its pages tell it, worked out once; `borders` are those of its language or another's."""

    def __init__(self, rulebook: Rulebook, borders: Borders | None = None) -> None:
        self.rulebook = rulebook
        self._borders = borders or Borders(Point(rulebook), FactReader(rulebook))

    @cached_property
    def _entries(self) -> dict[str, tuple[str, Rule | Limit | Need]]:
        book = self.rulebook
        rules = {rule.id: (later("rule"), rule) for rule in book.rules if not rule.limit}
        return {
            **rules,
            **{one.id: (later("limit"), one) for one in book.limits},
            **{one.id: (later("need"), one) for one in book.needs},
        }

    @cached_property
    def _reads(self) -> dict[str, tuple[tuple[str, ...], tuple[str, ...]]]:
        covered = coverage_of(self.rulebook).topics.values()
        return {entry.id: (entry.facts, entry.tables) for entries in covered for entry in entries}

    @cached_property
    def topics(self) -> list[tuple[str, str, list[Line]]]:
        """Each topic with what it is about and its entries."""
        found: dict[str, list[Line]] = {topic: [] for topic in self.rulebook.topics}
        for id, (kind, one) in self._entries.items():
            found[one.topic].append(Line(f"/rules/{id}", one.title, kind))
        return [(sentence(t(topic)), self.rulebook.topics[topic], lines) for topic, lines in found.items() if lines]

    @cached_property
    def subjects(self) -> list[tuple[str, list[Line]]]:
        """Each subject with its facts."""
        found = self.rulebook.vocabulary.subjects.items()
        return [(subject.title, self._facts_of(name)) for name, subject in found]

    def _facts_of(self, subject: str) -> list[Line]:
        facts = self.rulebook.vocabulary.of(subject).values()
        return [Line(f"/facts/{fact.name}", sentence(fact.label), t(_EFFORTS[fact.effort])) for fact in facts]

    def found(self, text: str) -> list[tuple[str, str, list[Line]]]:
        """Each topic with those of its entries that have every word of a text in what they say, read or rest on."""
        words = text.casefold().split()
        topics = [(topic, about, _bearing(lines, words, self._texts)) for topic, about, lines in self.topics]
        return [one for one in topics if one[2]]

    def found_facts(self, text: str) -> list[tuple[str, list[Line]]]:
        """Each subject with those of its facts that have every word of a text in their names or meaning."""
        words = text.casefold().split()
        subjects = [(title, _bearing(lines, words, self._texts)) for title, lines in self.subjects]
        return [one for one in subjects if one[1]]

    @cached_property
    def _texts(self) -> dict[str, str]:
        """What each entry and each fact is found by, under the address of its page."""
        found = {}
        for id, (kind, one) in self._entries.items():
            labels = [self.rulebook.vocabulary.facts[name].label for name in self._reads[id][0]]
            said = [text.text for text in _says(one)]
            source = source_text(one.source.document())
            found[f"/rules/{id}"] = " ".join((id, kind, one.topic, one.title, source, *said, *labels)).casefold()
        for name, fact in self.rulebook.vocabulary.facts.items():
            subject = self.rulebook.vocabulary.subjects[fact.subject].title
            found[f"/facts/{name}"] = f"{name} {fact.label} {fact.meaning} {subject}".casefold()
        return found

    def entry(self, id: str) -> EntryTold | None:
        """A rule, limit or need by its id, as answers name it; a limit's ratings are its own."""
        name = self.rulebook.today(id.partition("/")[0].replace("_", "-"))
        if name not in self._entries:
            return None
        kind, one = self._entries[name]
        facts, tables = self._reads[name]
        return EntryTold(
            id=name,
            kind=kind,
            title=one.title,
            topic=sentence(t(one.topic)),
            lines=[line for line in _lines(one) if line[1]],
            says=list(_says(one)),
            remedy=sentence(one.remedy) if isinstance(one, Rule) else "",
            source=source_text(one.source.document()),
            sources=self.cited(one.source),
            facts=[self._fact_line(fact) for fact in facts],
            tables=[self.table(table) for table in tables],
            examples=[example_told(example.node) for example in self.rulebook.examples[name]],
        )

    def borders(self, id: str) -> list[BorderTold]:
        """The border cases of a rule, limit or need, by its id of today."""
        return [self._border(one) for one in self._borders.of(id)]

    def _border(self, one: Border) -> BorderTold:
        fact = self.rulebook.vocabulary.facts[one.fact]
        return BorderTold(
            label=sentence(fact.label),
            name=one.fact,
            below=(_side_told(one.low, "less"), link("/answer", write_fields(one.question(one.low)))),
            above=(_side_told(one.high, "more"), link("/answer", write_fields(one.question(one.high)))),
            told=facts_told(one.written),
        )

    def cited(self, by: Reference) -> list[SourceTold]:
        """What a source names of the register; the tables that it names cite theirs row by row."""
        return [self.source(name) for name in by.named if name in self.rulebook.sources]

    def source(self, name: str) -> SourceTold:
        """A source of the register, which is in its own language."""
        one = self.rulebook.sources[name]
        state = t("{seen}, read {day}", seen=t(_SEEN[one.seen]), day=one.read) if one.read else t(_SEEN[one.seen])
        return SourceTold(name, one.cite, one.words or one.says, bool(one.words), state)

    def fact(self, name: str) -> FactTold | None:
        """A fact by its name."""
        vocabulary = self.rulebook.vocabulary
        fact = vocabulary.facts.get(name)
        if fact is None:
            return None
        choices: Sequence[str] = ()
        if isinstance(fact.type, TruthType):
            choices = (t("yes"), t("no"))
        elif isinstance(fact.type, ListType):
            words = vocabulary.words.get(fact.type.name, {})
            choices = [words.get(member, member) for member in fact.type.members]
        bounds = t("{low} to {high}", low=fact.range_text[0], high=fact.range_text[1]) if fact.range_text else ""
        readers = [id for id, (facts, _) in self._reads.items() if name in facts]
        return FactTold(
            fact=fact,
            title=sentence(fact.label),
            subject=vocabulary.subjects[fact.subject].title,
            kind=t(fact.kind.replace("_", " ")),
            range=bounds,
            choices=choices,
            effort=t(_EFFORTS[fact.effort]),
            readers=[Line(f"/rules/{id}", self._entries[id][1].title, self._entries[id][0]) for id in readers],
        )

    def table(self, name: str) -> TableTold:
        """A table, row by row."""
        entry = self.rulebook.tables[name]
        if entry.rows:
            return self._rows(name, entry)
        return TableTold(name, "", entry.title, [*self._cells(entry.columns[""])], source_text(entry.source.document()))

    def _cells(self, table: Table) -> Iterator[tuple[str, str]]:
        """The cells of a table, each by its keys in words."""
        words = self.rulebook.vocabulary.words
        if isinstance(table.key, ListType):
            keys = [words.get(table.key.name, {}).get(member, member) for member in table.key.members]
        elif table.at:
            keys = [t("at {point}", point=show(one, one, table.key.dimension, "", "us")) for one in table.at]
        else:
            tops = [show(top, top, table.key.dimension, "", "us") for top in table.tops]
            keys = [*(t("up to {top}", top=top) for top in tops), t("above that")]
        for key, below in zip(keys, table.within, strict=False):
            yield from ((f"{key}, {other}", cell) for other, cell in self._cells(below))
        for key, value in zip(keys, table.values, strict=False):
            yield key, self._value(value, table.gives)
        if table.at:
            yield t("between two of these"), t("on the straight line from one to the other")
            yield t("beyond the first and the last"), t("not known")

    def _rows(self, name: str, entry: TableEntry) -> TableTold:
        """A table whose rows each have a source: what each asks, and where that was seen."""
        key = next(iter(entry.columns.values())).key
        assert isinstance(key, ListType)
        words = self.rulebook.vocabulary.words.get(key.name, {})
        rows = [
            (
                sentence(words.get(member, member)),
                f"{sentence(row.asks)} ({t(row.source.cite)}; {t(_SEEN[row.source.seen])}, {row.source.as_of})",
            )
            for member, row in entry.rows.items()
        ]
        return TableTold(name, key.name, entry.title, rows, source_text(entry.source.document()))

    def _value(self, value: Value, gives: Type) -> str:
        if isinstance(value, tuple):
            assert isinstance(gives, NumberType)
            return show(*value, gives.dimension, "", "us")
        if isinstance(gives, ListType):
            words = self.rulebook.vocabulary.words.get(gives.name, {})
            return t(" or ").join(words.get(one, one) for i, one in enumerate(gives.members) if value >> i & 1)
        return WORDS[value]

    def _fact_line(self, name: str) -> Line:
        return Line(f"/facts/{name}", sentence(self.rulebook.vocabulary.facts[name].label), name)


def _bearing(lines: Sequence[Line], words: Sequence[str], texts: Mapping[str, str]) -> list[Line]:
    """Those of some lines of whose text every word is a part."""
    return [line for line in lines if all(word in texts[line.href] for word in words)]


def _says(one: Rule | Limit | Need) -> Iterator[Saying]:
    """What comes of an entry, case by case: where it holds, where it does not, and where that is not known."""
    if isinstance(one, Rule):
        yield Saying("passes", t("It holds"), t("Nothing is said."))
        weighs = ("fails", t("the answer is no")) if one.blocks else ("caution", t("a thing to mind"))
        yield Saying(weighs[0], t("It does not hold: {weighs}", weighs=weighs[1]), blank(one.fails))
        weighs = ("open", t("not sure yet")) if one.leaves_open else ("caution", t("a thing to see to"))
        yield Saying(weighs[0], t("It is not known: {weighs}", weighs=weighs[1]), blank(one.unknown) or t(_TO_FIND_OUT))
    elif isinstance(one, Need):
        yield Saying("caution", t("It is needed"), blank(one.because))
        yield Saying("caution", t("Whether it is needed is not known"), blank(one.unknown))
    else:
        ratings = "; ".join(rating.label for rating in one.ratings)
        yield Saying(
            "passes", t("The lowest of these holds for {quantity}", quantity=one.quantity), f"{sentence(ratings)}."
        )


def blank(template: Template) -> str:
    """What is said where all is known, with a blank for each figure."""
    flat = [one for part in template for one in (part.words if isinstance(part, IfKnown) else (part,))]
    return "".join(one if isinstance(one, str) else "…" for one in flat).replace("….", "…")


def _lines(one: Rule | Limit | Need) -> Iterator[tuple[str, str, bool]]:
    """What an entry says, line by line."""
    yield t("Applies when"), one.applies_text, True
    if isinstance(one, Rule):
        yield t("Requires"), one.requires_text, True
        yield t("Weighs as"), t("it decides") if one.blocks else t("a caution"), False
        yield t("If not known"), t("the answer is: not sure yet") if one.leaves_open else t("a caution"), False
    elif isinstance(one, Limit):
        yield "Limits", sentence(one.quantity), False
        yield t("Lowest of"), "; ".join(rating.label for rating in one.ratings), False
        yield "Judged", one.judged, True


def example_told(node: Any) -> tuple[str, str]:
    """An example: its facts in a line, and what it gives."""
    told: Json = to_plain(node)
    gives = str(told.get("gives") or t("at most {figure}", figure=told.get("at_most", "")))
    gives += t(", so: {so}", so=told["so"]) if "so" in told else ""
    return facts_told({name: wire for name, wire in told.items() if name not in _PROMISES}), _words(gives)


def facts_told(facts: Mapping[str, Json]) -> str:
    """What an example says of facts, adapters and subjects, in a line."""
    return ", ".join(f"{name} {_written(wire)}" for name, wire in facts.items())


def _words(gives: str) -> str:
    return gives.replace("_", " ")


def _side_told(side: BorderSide, way: str) -> str:
    """One side of a border, in the words of the rules as examples are; a need that is open or met is needed or not."""
    gives = _OF_NEEDS.get(side.gives, _words(side.gives))
    return f"{side.figure}{f' or {way}' * side.beyond}: {gives}"


def _written(wire: Json) -> str:
    if isinstance(wire, list) and any(isinstance(one, dict) for one in wire):
        return "; ".join(_written(one) for one in wire)
    if isinstance(wire, dict) and not {"value", "at_least", "at_most"} & set(wire):
        return "(" + ", ".join(f"{name} {cell(one)}" for name, one in wire.items()) + ")"
    return cell(wire) or t("not known")
