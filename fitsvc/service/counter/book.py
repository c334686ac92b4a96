"""The rulebook as one book: each topic's rules in sentences, with sources' words and examples, and its indexes."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from fitsvc.rulebook.kinds import applying_to, kinds_of
from fitsvc.rulebook.rules import Limit, Need, Rule, Rulebook
from fitsvc.service.counter.fields import sentence
from fitsvc.service.counter.lookup import BorderTold, EntryTold, Library, SourceTold, TableTold, blank
from fitsvc.service.counter.rendering import assets, templates
from fitsvc.service.counter.seeing import source_text
from fitsvc.tongues import tongue


@dataclass(frozen=True, slots=True)
class Chapter:
    """A topic: its name in addresses, its title, what it is about, its entries in the order in which they are told."""

    name: str
    title: str
    about: str
    entries: Sequence[EntryTold]


@dataclass(frozen=True, slots=True, kw_only=True)
class Book:
    """A whole rulebook as it is read; each index is from what is looked for to the ids of entries."""

    rulebook: Rulebook
    chapters: Sequence[Chapter]
    borders: Mapping[str, Sequence[BorderTold]]
    cautions: Sequence[tuple[str, str, Sequence[SourceTold]]]
    tables: Sequence[TableTold]
    sources: Sequence[tuple[SourceTold, Sequence[tuple[str, str]], Sequence[str]]]
    by_place: Sequence[tuple[str, Sequence[tuple[str, str, str]]]]
    by_kind: Sequence[tuple[str, Sequence[str]]]
    by_fact: Sequence[tuple[str, str, Sequence[str]]]
    titles: Mapping[str, str]


def book_of(library: Library) -> Book:
    """The book of the rulebook that a library tells."""
    book = library.rulebook
    chapters = _chapters(library)
    titles = {entry.id: entry.title for chapter in chapters for entry in chapter.entries}
    readers = defaultdict[str, list[str]](list)
    for chapter in chapters:
        for entry in chapter.entries:
            for line in entry.facts:
                readers[line.beside].append(entry.id)
    facts, tables = book.vocabulary.facts, [library.table(name) for name in book.tables]
    return Book(
        rulebook=book,
        chapters=chapters,
        borders={id: library.borders(id) for id in titles},
        cautions=[
            (blank(one.text), source_text(one.source.document()), library.cited(one.source)) for one in book.cautions
        ],
        tables=tables,
        sources=[(library.source(name), *_citing(book, name, titles)) for name in book.sources],
        by_place=_by_place(tables),
        by_kind=[
            (kind.word, list(dict.fromkeys(one.id for one in applying_to(book, kind) if one.id in titles)))
            for kind in kinds_of(book.vocabulary).values()
        ],
        by_fact=[(name, sentence(facts[name].label), readers[name]) for name in facts if name in readers],
        titles=titles,
    )


def book_file(rulebook: Rulebook) -> str:
    """The book as one HTML file that needs nothing else."""
    library = Library(rulebook)
    styles = "\n".join(assets()[name].decode() for name in ("counter.css", "clerk.css"))
    return templates().get_template("book_file.html").render(book=book_of(library), styles=styles, tongue=tongue())


def _by_place(tables: Iterable[TableTold]) -> Sequence[tuple[str, Sequence[tuple[str, str, str]]]]:
    """By each place what the tables say that have a row a place: the table's name and title, and its row."""
    found = defaultdict[str, list[tuple[str, str, str]]](list)
    for table in tables:
        for place, says in table.rows if table.key else ():
            found[place].append((table.name, table.title, says))
    return sorted(found.items())


def _citing(book: Rulebook, name: str, titles: Mapping[str, str]) -> tuple[Sequence[tuple[str, str]], Sequence[str]]:
    """The tables and entries that cite a source themselves; what looks such a table up stands at the table's rules."""
    source = book.sources[name]
    tables = [
        (id, table.title)
        for id, table in book.tables.items()
        if name in table.source.named or any(row.source == source for row in table.rows.values())
    ]
    named: Sequence[Rule | Limit | Need] = (*book.rules, *book.limits, *book.needs)
    return tables, [one.id for one in named if name in one.source.named and one.id in titles]


def _chapters(library: Library) -> list[Chapter]:
    found = []
    for title, about, lines in library.topics:
        ids = [line.href.removeprefix("/rules/") for line in lines]
        entries = [entry for id in ids if (entry := library.entry(id)) is not None]
        found.append(Chapter(entries[0].topic, title, about, entries))
    return found
