"""Drafting a mapping: what each column of a supplier's file is by its title, held against what its cells read as.

Nothing is guessed: a column is taken for a fact by a title that is known, and only if most of its cells read as that
fact. Everything else is asked about. What has the fact's own name for its title is that fact, whatever of it reads: it
is asked about too, and its cells are told one by one until that is answered.

Where rows say of what subject they are, a column is held against the cells of those whose subject has such a fact.
"""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from statistics import median
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from fitsvc.audits.cells import NOTHING, FactColumn, is_figure, members_of
from fitsvc.audits.chunks import PLAIN, Chunk, FileForm, shown
from fitsvc.audits.decimals import EITHER, EITHER_COMMA, SURE_COMMA, SURE_POINT, DecimalMarks
from fitsvc.audits.looking import plain_title, unit_in
from fitsvc.audits.mapping import KEYS, READ, FileMapping, Mapped, by_name, folded, needs_unit
from fitsvc.audits.source import read_chunks
from fitsvc.facts import FactReader
from fitsvc.language.quantities import UNITS
from fitsvc.language.types import ListType, NumberType
from fitsvc.loading.header import dimension_of
from fitsvc.rulebook.vocabulary import Fact
from fitsvc.rulebook.yaml_text import read_yaml_file, to_plain
from fitsvc.tongues import t

ENOUGH: Final = 0.6
"""The share of a column's cells that has to read before its title is believed."""
_SHOWN: Final = 5
_SUBJECT, _ACCESSORY = "subject", "accessory"
_TITLES: Final = Path(__file__).with_name("titles.yaml")


_Parts = Mapping[str, NDArray[np.bool_]]
"""Of the subjects that are read and there, which rows are of them; accessories come first."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DraftedColumn:
    """One column: what it is taken for, which share of its cells read, and some that do not.

    What it is is asked where there is a `question`, and where it is taken for nothing (None).

    `middle` is the median of its figures as they are kept, `question` what has to be said of it by whoever knows. Its
    unit is `found_out` where no title and no cell names it, and its figures are sizes in that one alone.
    """

    title: str
    taken: Mapped | None
    share: float = 0.0
    cells: int = 0
    middle: float | None = None
    odd: tuple[tuple[str, int], ...] = ()
    question: str = ""
    found_out: bool = False


@dataclass(frozen=True, slots=True)
class DraftedMapping:
    """A mapping that was drafted, column by column."""

    columns: list[DraftedColumn]
    unknown: list[str] = field(default_factory=list)
    form: FileForm = PLAIN

    def mapping(self) -> FileMapping:
        """The mapping that it comes to."""
        taken = {one.title: one.taken for one in self.columns if one.taken is not None}
        return FileMapping(taken, frozenset(map(folded, self.unknown)), "", self.form)


@cache
def _known() -> Mapping[str, Any]:
    found = to_plain(read_yaml_file(_TITLES))
    assert isinstance(found, dict)
    return found


def titles_known() -> dict[str, str]:
    """What each title that suppliers write is, by its plain form."""
    return {plain_title(title): name for name, titles in _known()["titles"].items() for title in titles}


def sample_of(path: Path, form: FileForm) -> Chunk:
    """The rows at the beginning of a file: enough to tell what its columns are."""
    return next(read_chunks(path, [], _Anything(), None, form), Chunk([], {}))


class _Anything(dict[str, str]):
    """Says of any column that its bare figures have a unit: what that is is to be found out."""

    def get(self, key: str, default: object = None) -> Any:
        """Return a unit."""
        return "?"


def draft(reader: FactReader, chunk: Chunk, form: FileForm) -> DraftedMapping:
    """Draft a mapping from the cells of a file's beginning."""
    names, title = titles_known(), next((one for one in chunk.cells if _named(one, {}, {}) == _SUBJECT), "")
    parts = _parts(reader, chunk, title)
    facts = facts_of(reader, parts)
    unknown = sorted({(cell or "").strip() for cells in chunk.cells.values() for cell in cells if _is_nothing(cell)})
    drafter = _Drafter(reader, parts, chunk, frozenset(map(folded, unknown)))
    found = drafter.columns({title: _named(title, names, facts) for title in chunk.cells})
    once = _once(found)
    return DraftedMapping(once, [word for word in unknown if _tells_nothing(word, once, facts, chunk)], form)


def held(reader: FactReader, chunk: Chunk, mapping: FileMapping) -> list[DraftedColumn]:
    """The columns of a mapping that is there already, and what is new, as the cells of a file's beginning read."""
    drafter = _Drafter(reader, _parts_by(reader, chunk, mapping), chunk, mapping.unknown)
    drafter.figures({title: one.name for title, one in mapping.columns.items()})
    return [drafter.held(title, mapping) for title in chunk.cells]


def tried_as(
    reader: FactReader, chunk: Chunk, mapping: FileMapping, title: str, name: str, unit: str, values: Mapping[str, str]
) -> DraftedColumn:
    """One column as somebody tells what it is, in the way in which most of its cells read: however few these are."""
    drafter = _Drafter(reader, _parts_by(reader, chunk, mapping), chunk, mapping.unknown)
    drafter.figures({one: told.name for one, told in mapping.columns.items()} | {title: name})
    return drafter.told(Mapped(title=title, name=name, unit=unit, values=values, decimal=mapping.decimal))


def facts_asked(reader: FactReader, chunk: Chunk, mapping: FileMapping) -> dict[str, Fact]:
    """The facts, by their short names, that a column of a file may be: those of the subjects that its rows have.

    What an accessory calls by the same name as another subject is the accessory's.
    """
    return facts_of(reader, _parts_by(reader, chunk, mapping))


def said_of(reader: FactReader, chunk: Chunk, mapping: FileMapping, title: str, fact: Fact) -> set[str]:
    """What the cells of a column say in the rows of a fact's own subject."""
    rows = _parts_by(reader, chunk, mapping).get(fact.subject)
    return (
        {shown(chunk.cells[title][row]).strip() for row in np.flatnonzero(rows).tolist()} if rows is not None else set()
    )


def name_known(said: str, facts: Mapping[str, Fact]) -> str:
    """The fact or key that somebody calls by its name, its label or a title that suppliers write; empty for none."""
    labels = {plain_title(fact.label): name for name, fact in facts.items()}
    return _named(said, titles_known(), facts) or labels.get(plain_title(said), "")


def _parts_by(reader: FactReader, chunk: Chunk, mapping: FileMapping) -> _Parts:
    told = next((one.title for one in mapping.columns.values() if one.name == _SUBJECT), _SUBJECT)
    return _parts(reader, chunk, told)


def _parts(reader: FactReader, chunk: Chunk, title: str) -> _Parts:
    """Which rows are of which subject, of those that are read; one that says nothing of it is an accessory."""
    cells = chunk.cells.get(title)
    said = np.array([(cell or "").strip() or _ACCESSORY for cell in cells or [None] * len(chunk.lines)])
    return {one: said == one for one in (_ACCESSORY, *READ) if one == _ACCESSORY or (said == one).any()}


def facts_of(reader: FactReader, parts: _Parts) -> dict[str, Fact]:
    """The facts of some subjects by their short names; what several call the same is the first one's."""
    return {name: fact for one in reversed([*parts]) for name, fact in reader.vocabulary.of(one).items()}


def _is_nothing(cell: str | None) -> bool:
    return cell is not None and folded(cell) in NOTHING


def _tells_nothing(word: str, columns: Sequence[DraftedColumn], facts: Mapping[str, Fact], chunk: Chunk) -> bool:
    """Whether a word stands where it is no member of what its column is, or may be where that is not known."""
    for one in columns:
        if word not in {(cell or "").strip() for cell in chunk.cells[one.title]}:
            continue
        fact = facts.get(one.taken.name) if one.taken else None
        may_be = [fact] if fact else [] if one.taken else facts.values()
        if not any(folded(word) in members_of(fact) for fact in may_be):
            return True
    return False


def _named(title: str, names: Mapping[str, str], facts: Mapping[str, Fact]) -> str:
    """What a title is known as: a fact, a key, or nothing."""
    plain, own = plain_title(title), _own(title)
    if own in facts or own in KEYS:
        return own
    words = plain.split()
    name = names.get(plain) or (names.get(" ".join(words[:-1])) if words and words[-1] in UNITS else None) or ""
    return name if name in facts or name in KEYS else ""


def _own(title: str) -> str:
    """The name that a title is but for its letters' case, its blanks and its unit."""
    return plain_title(title).replace(" ", "_")


def _once(columns: Sequence[DraftedColumn]) -> list[DraftedColumn]:
    """Of several columns that are taken for the same, none is, but the one that has its very name for its title."""
    names = Counter(one.taken.name for one in columns if one.taken)
    own = Counter(one.taken.name for one in columns if one.taken and by_name(one.title).name == one.taken.name)
    twice = {name for name, count in names.items() if count > 1}
    kept = {name for name in twice if own[name] == 1}
    return [
        replace(
            one, taken=None, question=t("several columns look like `{name}`: which one is it?", name=one.taken.name)
        )
        if one.taken
        and one.taken.name in twice
        and not (one.taken.name in kept and by_name(one.title).name == one.taken.name)
        else one
        for one in columns
    ]


class _Drafter:
    """Tells of one column after the other what it is."""

    def __init__(self, reader: FactReader, parts: _Parts, chunk: Chunk, unknown: frozenset[str]) -> None:
        self._reader, self._parts, self._chunk, self._unknown = reader, parts, chunk, unknown
        self._facts, self._of = facts_of(reader, parts), {one: reader.vocabulary.of(one) for one in parts}
        self._marks = DecimalMarks(lambda: (chunk,))

    def columns(self, names: Mapping[str, str]) -> list[DraftedColumn]:
        """What the columns are: once more where one of figures that are taken has a decimal comma, beside which others
        may have one too.
        """
        found = [self.column(title, name) for title, name in names.items()]
        self.figures({one.title: one.taken.name for one in found if one.taken})
        return [self.column(title, name) for title, name in names.items()] if self._marks.comma_beside("") else found

    def figures(self, names: Mapping[str, str]) -> None:
        """Tell which columns are figures of a fact, by their titles and what these are."""
        facts = self._facts
        self._marks.figures |= {
            title: None for title, name in names.items() if name in facts and is_figure(facts[name])
        }

    def column(self, title: str, name: str) -> DraftedColumn:
        """What one column is."""
        if not name:
            return DraftedColumn(title=title, taken=None, cells=len(self._cells(title)))
        if name in KEYS:
            cells = len(self._cells(title))
            return DraftedColumn(title=title, taken=Mapped(title=title, name=name), share=1.0, cells=cells)
        fact = self._facts[name]
        tried = [self._tried(one) for one in self._ways(title, fact, self._cells(title, name))]
        best = max(tried, key=lambda one: one.share)
        if best.taken is not None and (cell := self._twofold(fact, best.taken)):
            return replace(
                best, question=t("what parts decimals in `{cell}`? Say `decimal: comma` or `point`", cell=cell)
            )
        if best.share < ENOUGH:
            if is_own := _own(title) == name:
                best = tried[0]  # what its title alone makes of it, as an audit without a mapping reads it
            question = t("is it `{name}`? {share} of its cells read as that", name=name, share=f"{best.share:.0%}")
            unit = "" if best.taken is None or best.taken.unit or not needs_unit(fact) else t("; in which unit?")
            return replace(best, taken=best.taken if is_own else None, question=question + unit)
        assert best.taken is not None
        return replace(best, found_out=bool(best.taken.unit) and not _unit(title, fact))

    def told(self, as_told: Mapped) -> DraftedColumn:
        """One column as it is told to be."""
        title, fact = as_told.title, self._facts.get(as_told.name)
        cells = self._cells(title, as_told.name)
        if fact is None:
            return DraftedColumn(title=title, taken=as_told, share=1.0, cells=len(cells))
        ways = self._ways(title, fact, cells, as_told.unit)
        tried = (
            replace(one, values={**one.values, **as_told.values}, decimal=one.decimal or as_told.decimal)
            for one in ways
        )
        return max(map(self._tried, tried), key=lambda one: one.share)

    def held(self, title: str, mapping: FileMapping) -> DraftedColumn:
        """One column as a mapping has it."""
        told = mapping.columns.get(title)
        if told is None or told.name not in self._facts:
            key = told if told is not None and told.name in KEYS else None
            return DraftedColumn(title=title, taken=key, share=1.0, cells=len(self._cells(title)))
        return self._tried(told if told.decimal else replace(told, decimal=mapping.decimal))

    def _cells(self, title: str, name: str = "") -> list[str]:
        """The cells of a column that say anything, in the rows whose subject has a fact of that name: all, of none."""
        return (
            [cell for _, cells in self._read_as(title, name) for cell in cells]
            if name in self._facts
            else [cell for cell in self._chunk.cells[title] if cell and cell.strip()]
        )

    def _read_as(self, title: str, name: str) -> Iterator[tuple[Fact, list[str]]]:
        """The facts that a name is, subject by subject, each with the cells of a column in the rows of its subject."""
        cells = self._chunk.cells[title]
        for subject, rows in self._parts.items():
            if (fact := self._of[subject].get(name)) is not None:
                said = (cells[row] for row in np.flatnonzero(rows).tolist())
                yield fact, [cell for cell in said if cell and cell.strip()]

    def _ways(self, title: str, fact: Fact, cells: Sequence[str], unit: str = "") -> list[Mapped]:
        """The ways in which a column of a fact may be written, the plainest first; its title names no `unit` told."""
        commas, points = (any(sure.search(cell) for cell in cells) for sure in (SURE_COMMA, SURE_POINT))
        plain = Mapped(title=title, name=fact.short, unit=unit or _unit(title, fact))
        commas = commas or (bool(self._marks.comma_beside(title)) and any(map(EITHER_COMMA.search, cells)))
        if commas and not points and not self._twofold(fact, plain):
            plain = replace(plain, decimal=",")
        kind = fact.type
        if isinstance(kind, ListType) and not kind.sizes:
            said = {folded(cell) for cell in set(cells)}
            words = {word: member for word, member in _words(fact.short).items() if word in said}
            return [plain, replace(plain, values=words)]
        if not (isinstance(kind, ListType) and kind.sizes):
            return [plain]
        units = [plain.unit] if plain.unit else ["", "in", "mm"]
        return [
            *(replace(plain, unit=unit) for unit in units),
            *(replace(plain, unit=unit, nominal="mm") for unit in units if unit != "in"),
        ]

    def _twofold(self, fact: Fact, way: Mapped) -> str:
        """A cell of a column that may have a decimal comma or thousands, where the one and the other are told nowhere
        and each is a figure of the fact; empty where there is none.
        """
        if way.decimal or not is_figure(fact) or not self._marks.comma_beside(way.title):
            return ""
        column = FactColumn(self._reader, fact, way, self._unknown, self._marks)
        says_itself = self._marks.has_points(way.title) or self._marks.has_commas(way.title)
        either = EITHER_COMMA if says_itself else EITHER
        cells = dict.fromkeys(self._cells(way.title, way.name))
        return next((cell.strip() for cell in cells if either.search(cell) and column.is_twofold(cell)), "")

    def _tried(self, way: Mapped) -> DraftedColumn:
        """A column as it reads in one way, each cell as the fact of its row's subject."""
        odd, wrong, count, sure = Counter[str](), 0, 0, list[float]()
        for fact, cells in self._read_as(way.title, way.name):
            column = FactColumn(self._reader, fact, way, self._unknown, self._marks)
            codes = column.codes(cells)
            flags = column.wrong(codes).tolist()
            odd.update(shown(cell).strip() for cell, is_odd in zip(cells, flags, strict=True) if is_odd)
            wrong, count = wrong + sum(flags), count + len(cells)
            if isinstance(fact.type, NumberType) and cells:
                low, high = map(np.asarray, column.columns(codes)[fact.name])
                sure += low[(low == high) & np.isfinite(low)].tolist()
        return DraftedColumn(
            title=way.title,
            taken=way,
            share=1.0 - wrong / count if count else 1.0,
            cells=count,
            middle=float(median(sure)) if sure else None,
            odd=tuple(odd.most_common(_SHOWN)),
        )


def _unit(title: str, fact: Fact) -> str:
    """The unit that a title names, where the fact may have it."""
    dimension = dimension_of(fact)
    told = [unit_in(title), title.replace(".", " ").split()[-1] if title.split() else ""]
    for one in told:
        for unit in (one, one.casefold().rstrip(".")):
            if unit in UNITS and UNITS[unit][0] == dimension and dimension is not None:
                return "in" if unit in ('"', "″") else unit
    return ""


def _words(name: str) -> dict[str, str]:
    """What suppliers call the members of a list."""
    found = _known()["values"].get(name, {})
    return {folded(word): member for member, words in found.items() for word in words}
