"""Drafting a mapping: what each column of a supplier's file is by its title, held against what its cells read as.

Nothing is guessed: a column is taken for a fact by a title that is known, and only if most of its cells read as that
fact. Everything else is asked about.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from statistics import median
from typing import Any, Final

import numpy as np

from fitsvc.audits.cells import NOTHING, FactColumn, members_of
from fitsvc.audits.chunks import PLAIN, Chunk, FileForm, shown
from fitsvc.audits.decimals import SURE_COMMA, SURE_POINT, DecimalMarks
from fitsvc.audits.looking import plain_title, unit_in
from fitsvc.audits.mapping import KEYS, FileMapping, Mapped, folded, needs_unit
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
_TITLES: Final = Path(__file__).with_name("titles.yaml")


@dataclass(frozen=True, slots=True, kw_only=True)
class DraftedColumn:
    """One column: what it is taken for (None where that is asked), which share of its cells read, and some that do not.

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
    facts, names = reader.vocabulary.of("accessory"), titles_known()
    unknown = sorted({(cell or "").strip() for cells in chunk.cells.values() for cell in cells if _is_nothing(cell)})
    drafter = _Drafter(reader, facts, chunk, frozenset(map(folded, unknown)))
    found = [drafter.column(title, _named(title, names, facts)) for title in chunk.cells]
    once = _once(found)
    return DraftedMapping(once, [word for word in unknown if _tells_nothing(word, once, facts, chunk)], form)


def held(reader: FactReader, chunk: Chunk, mapping: FileMapping) -> list[DraftedColumn]:
    """The columns of a mapping that is there already, and what is new, as the cells of a file's beginning read."""
    facts = reader.vocabulary.of("accessory")
    drafter = _Drafter(reader, facts, chunk, mapping.unknown)
    return [drafter.held(title, mapping) for title in chunk.cells]


def tried_as(
    reader: FactReader, chunk: Chunk, mapping: FileMapping, title: str, name: str, unit: str, values: Mapping[str, str]
) -> DraftedColumn:
    """One column as somebody tells what it is, in the way in which most of its cells read: however few these are."""
    drafter = _Drafter(reader, reader.vocabulary.of("accessory"), chunk, mapping.unknown)
    return drafter.told(Mapped(title=title, name=name, unit=unit, values=values, decimal=mapping.decimal))


def name_known(said: str, reader: FactReader) -> str:
    """The fact or key that somebody calls by its name, its label or a title that suppliers write; empty for none."""
    facts = reader.vocabulary.of("accessory")
    labels = {plain_title(fact.label): name for name, fact in facts.items()}
    return _named(said, titles_known(), facts) or labels.get(plain_title(said), "")


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
    plain = plain_title(title)
    own = plain.replace(" ", "_")
    if own in facts or own in KEYS:
        return own
    words = plain.split()
    name = names.get(plain) or (names.get(" ".join(words[:-1])) if words and words[-1] in UNITS else None) or ""
    return name if name in facts or name in KEYS else ""


def _once(columns: Sequence[DraftedColumn]) -> list[DraftedColumn]:
    """Of several columns that are taken for the same, none is."""
    names = Counter(one.taken.name for one in columns if one.taken)
    twice = {name for name, count in names.items() if count > 1}
    return [
        replace(
            one, taken=None, question=t("several columns look like `{name}`: which one is it?", name=one.taken.name)
        )
        if one.taken and one.taken.name in twice
        else one
        for one in columns
    ]


class _Drafter:
    """Tells of one column after the other what it is."""

    def __init__(self, reader: FactReader, facts: Mapping[str, Fact], chunk: Chunk, unknown: frozenset[str]) -> None:
        self._reader, self._facts, self._chunk, self._unknown = reader, facts, chunk, unknown
        self._marks = DecimalMarks(lambda: (chunk,))

    def column(self, title: str, name: str) -> DraftedColumn:
        """What one column is."""
        cells = [cell for cell in self._chunk.cells[title] if cell and cell.strip()]
        if not name:
            return DraftedColumn(title=title, taken=None, cells=len(cells))
        if name in KEYS:
            return DraftedColumn(title=title, taken=Mapped(title=title, name=name), share=1.0, cells=len(cells))
        fact = self._facts[name]
        tried = [self._tried(fact, one, cells) for one in self._ways(title, fact, cells)]
        best = max(tried, key=lambda one: one.share)
        if best.share < ENOUGH:
            question = t("is it `{name}`? {share} of its cells read as that", name=name, share=f"{best.share:.0%}")
            unit = "" if best.taken is None or best.taken.unit or not needs_unit(fact) else t("; in which unit?")
            return replace(best, taken=None, question=question + unit)
        assert best.taken is not None
        return replace(best, found_out=bool(best.taken.unit) and not _unit(title, fact))

    def told(self, as_told: Mapped) -> DraftedColumn:
        """One column as it is told to be."""
        title, fact = as_told.title, self._facts.get(as_told.name)
        cells = [cell for cell in self._chunk.cells[title] if cell and cell.strip()]
        if fact is None:
            return DraftedColumn(title=title, taken=as_told, share=1.0, cells=len(cells))
        ways = self._ways(title, fact, cells, as_told.unit)
        tried = (
            replace(one, values={**one.values, **as_told.values}, decimal=one.decimal or as_told.decimal)
            for one in ways
        )
        return max((self._tried(fact, way, cells) for way in tried), key=lambda one: one.share)

    def held(self, title: str, mapping: FileMapping) -> DraftedColumn:
        """One column as a mapping has it."""
        cells, told = [cell for cell in self._chunk.cells[title] if cell and cell.strip()], mapping.columns.get(title)
        fact = self._facts.get(told.name) if told else None
        if told is None or fact is None:
            key = told if told is not None and told.name in KEYS else None
            return DraftedColumn(title=title, taken=key, share=1.0, cells=len(cells))
        return self._tried(fact, told if told.decimal else replace(told, decimal=mapping.decimal), cells)

    def _ways(self, title: str, fact: Fact, cells: Sequence[str], unit: str = "") -> list[Mapped]:
        """The ways in which a column of a fact may be written, the plainest first; its title names no `unit` told."""
        commas, points = (any(sure.search(cell) for cell in cells) for sure in (SURE_COMMA, SURE_POINT))
        decimal = "," if commas and not points else ""
        plain = Mapped(title=title, name=fact.short, unit=unit or _unit(title, fact), decimal=decimal)
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

    def _tried(self, fact: Fact, way: Mapped, cells: Sequence[str]) -> DraftedColumn:
        column = FactColumn(self._reader, fact, way, self._unknown, self._marks)
        codes = column.codes(cells)
        wrong = column.wrong(codes)
        odd = Counter(shown(cell).strip() for cell, is_odd in zip(cells, wrong.tolist(), strict=True) if is_odd)
        share = 1.0 - float(wrong.mean()) if len(cells) else 1.0
        middle = None
        if isinstance(fact.type, NumberType) and len(cells):
            low, high = column.columns(codes)[fact.name]
            sure = (np.asarray(low) == np.asarray(high)) & np.isfinite(np.asarray(low))
            middle = float(median(np.asarray(low)[sure])) if sure.any() else None
        return DraftedColumn(
            title=way.title, taken=way, share=share, cells=len(cells), middle=middle, odd=tuple(odd.most_common(_SHOWN))
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
