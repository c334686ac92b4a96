"""A supplier's catalogue written anew: what `load` takes, the same as Parquet, and their own rows with remarks.

What could not be read must not look as if nothing were said: an item without a weight is asked less than one whose
weight is not known. In Parquet such a cell stands as it was, so that an audit finds it again. For `load` a figure is
written as at least the least that is plausible, and an item is left out that has a choice or a yes or no which cannot
be written so and whose being there tells a rule something: its remarks say for which columns. A word for what is not
known is no such cell: it says as little as an empty one, and is written as that.
"""

import csv
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import pyarrow as pa
import pyarrow.parquet as pq

from fitsvc.audits.chunks import WIRE, Chunk, shown
from fitsvc.audits.claims import names_in
from fitsvc.audits.item_rows import ItemReader
from fitsvc.audits.items import Items
from fitsvc.audits.mapping import FileMapping
from fitsvc.audits.plain_rows import Cell
from fitsvc.audits.sheets import safe_cell
from fitsvc.audits.source import read_chunks, titles_of
from fitsvc.facts import FactReader
from fitsvc.files import written
from fitsvc.language.problems import Problem
from fitsvc.loading.merged_cells import is_covered
from fitsvc.rulebook.vocabulary import Fact

CATALOGUE: Final = "catalogue.csv"
"""What `load` takes."""
TYPED: Final = "catalogue.parquet"
REMARKS: Final = "remarks.csv"
"""The supplier's own rows, with a column of remarks."""
_COLUMN: Final = "remarks"
_NAMED: Final = 5
"""How many of the items that are left out are named: why each of them is stands in the remarks."""
_NONE: Final[Mapping[str, str]] = {}
_FIRST: Final = 20
"""How many problems are handed back: the others stand in the remarks."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cleaned:
    """What was written: items, of these how many `load` does not get, rows that are none, cells that were not read.

    `held_first` are the first of those that `load` does not get, by their numbers.

    `left_out` are lines that look like no item, such as totals, `others` the rows of other subjects than accessories,
    by subject: these are not written anew. `formulas` are the cells of what `load` takes that a spreadsheet would take
    for a formula: an apostrophe before them would be loaded too.
    """

    items: int
    held_back: int
    held_first: Sequence[str]
    bad_rows: int
    bad_cells: int
    left_out: int
    formulas: int
    others: dict[str, int]


def write_cleaned(
    path: Path,
    reader: FactReader,
    mapping: FileMapping,
    out: Path,
    first: list[Problem] | None = None,
    asked: Mapping[str, str] | None = None,
    doubted: Mapping[str, str] = _NONE,
) -> Cleaned:
    """Write a catalogue anew into a folder; what cannot be read is told in the remarks.

    `asked` is what is asked of some columns, by title: a row that says anything there and is not read is told so, too.
    `doubted` is why all figures of some columns may be others than they read as: it is told of each row that has one.
    The first problems are added to those given. ProblemsFound where the file cannot be read.
    """
    out.mkdir(parents=True, exist_ok=True)
    with (
        written(out / CATALOGUE) as clean,
        written(out / REMARKS) as remarks,
        written(out / TYPED) as typed,
        clean.open("w", encoding="utf-8", newline="") as catalogue,
        # A spreadsheet takes a text for UTF-8 by its mark alone.
        remarks.open("w", encoding="utf-8-sig", newline="") as told,
    ):
        writing = _Writing(
            path,
            reader,
            mapping,
            clean=csv.writer(catalogue),
            told=csv.writer(told),
            asked=asked or _NONE,
            doubted=doubted,
        )
        return writing.write(typed, first if first is not None else [])


class _Writing:
    """One catalogue on its way from the supplier's file to the three."""

    def __init__(
        self,
        path: Path,
        reader: FactReader,
        mapping: FileMapping,
        *,
        clean: Any,
        told: Any,
        asked: Mapping[str, str],
        doubted: Mapping[str, str],
    ) -> None:
        self._path, self._mapping, self._clean, self._told = path, mapping, clean, told
        self._known, self._named = reader.vocabulary.of("accessory"), reader.rulebook.named
        self._titles = titles_of(path, mapping.form) or list(next(read_chunks(path, [], {}, None, mapping.form)).cells)
        self._items = ItemReader(reader, mapping, str(path), self._titles, self._chunks)
        self._asked = {title: asks for title, asks in asked.items() if title not in self._items.header.columns}
        self._doubted = doubted
        self._held: dict[int, list[str]] = {}
        self._held_first: list[str] = []

    def _chunks(self) -> Iterator[Chunk]:
        items = self._items
        return read_chunks(self._path, items.problems, items.units(), None, self._mapping.form)

    def write(self, typed: Path, first: list[Problem]) -> Cleaned:
        """Write all of it."""
        items, count, held, rows, cells, formulas = self._items, 0, 0, 0, 0, 0
        facts = [one.name for one in items.header.columns.values() if one.name not in ("sku", "subject", "fits")]
        titles = ["subject", "sku", *facts]
        schema = pa.schema([(title, pa.string()) for title in titles[1:]] + [("fits", pa.string())])
        self._clean.writerow(titles)
        with pq.ParquetWriter(typed, schema, compression="zstd") as parquet:
            self._told.writerow([*self._titles, _COLUMN])
            for chunk in self._chunks():
                kept, claims = items.read(chunk)
                rows_of = {line: row for row, line in enumerate(chunk.lines)}
                lines = enumerate(kept.lines.tolist())
                places = [(place, rows_of[line]) for place, line in lines if line not in items.no_items]
                found = [self._facts(chunk, kept, place, row, facts) for place, row in places]
                claimed = [_claimed(claims[place]) for place, _ in places]
                loaded = [row for _, row in found if row is not None]
                self._clean.writerows(["accessory", *row] for row in loaded)
                columns = [list(column) for column in zip(*(row for row, _ in found), strict=True)]
                parquet.write_table(pa.table([*(columns or [[] for _ in titles[1:]]), claimed], schema=schema))
                held += len(found) - len(loaded)
                formulas += sum(safe_cell(cell) != cell for row in loaded for cell in row)
                first += self._remark(chunk)[: _FIRST - len(first)]
                count, cells = count + len(places), cells + len(items.bad_cells)
                rows += len({problem.line for problem in items.problems})
                items.problems.clear()
                items.bad_cells.clear()
        return Cleaned(
            items=count,
            held_back=held,
            held_first=self._held_first,
            bad_rows=rows,
            bad_cells=cells - len(items.no_items),
            left_out=len(items.no_items),
            formulas=formulas,
            others=items.other_subjects,
        )

    def _facts(
        self, chunk: Chunk, kept: Items, place: int, row: int, facts: Sequence[str]
    ) -> tuple[list[str], list[str] | None]:
        """One item as Parquet has it, and as it is loaded, if it can be: each fact as it reads."""
        typed, loaded, amiss = [kept.skus[place]], [kept.skus[place]], list[str]()
        for fact in facts:
            title = self._items.title(fact) or ""
            cell = chunk.cells[title][row] if title in chunk.cells else None
            plain = self._items.plain(title, cell)
            unread, named = kept.unread.get(f"accessory.{fact}"), f"accessory.{fact}" in self._named
            if unread is not None and unread[place]:
                typed.append(shown(cell))
                anything = _anything(self._known[fact]) if named else ""
                loaded.append(anything)
                amiss += [title] if named and not anything else []
            else:
                typed.append(plain)
                loaded.append(plain)
        if not amiss:
            return typed, loaded
        self._held[chunk.lines[row]] = amiss
        self._held_first += [kept.skus[place]] if len(self._held_first) < _NAMED else []
        return typed, None

    def _remark(self, chunk: Chunk) -> list[Problem]:
        """Write the supplier's rows of a chunk, in their order, each with what is wrong with it, which is returned."""
        remarks: dict[int, list[str]] = {}
        problems = [*self._items.problems, *(one.problem for one in self._items.bad_cells)]
        for problem in problems:
            remarks.setdefault(problem.line, []).append(_remark(problem))
        for line, amiss in self._held.items():
            of = ", ".join(f"`{title}`" for title in amiss)
            remarks.setdefault(line, []).append(f"left out of {CATALOGUE} until {of} is mended")
        self._held.clear()
        for title, question in self._asked.items():
            for line, cell in zip(chunk.lines, chunk.cells.get(title, ()), strict=False):
                if cell and cell.strip():
                    remarks.setdefault(line, []).append(f"{title}: not read: {question}")
        for title, words in self._doubted.items():
            for line, cell in zip(chunk.lines, chunk.cells.get(title, ()), strict=False):
                if cell and cell.strip():
                    remarks.setdefault(line, []).append(words)
        columns = [chunk.cells.get(title) for title in self._titles]
        rows = [
            (line, [cells[place] if cells else None for cells in columns]) for place, line in enumerate(chunk.lines)
        ]
        for line, cells in sorted([*rows, *chunk.lost], key=lambda row: row[0]):
            own = ["" if is_covered(cell) else safe_cell(shown(cell)) for cell in cells]
            self._told.writerow([*own, "; ".join(remarks.pop(line, []))])
        for line, told in sorted(remarks.items()):
            self._told.writerow([*[""] * len(self._titles), f"line {line}: {'; '.join(told)}"])
        return problems


def _anything(fact: Fact) -> str:
    """A figure of which no more is known than that it is plausible; nothing for what is no figure.

    It is told by its lower end alone: a figure told at most is doubted as that very figure would be, and none was told.
    """
    return f"at least {fact.range_text[0]}" if fact.range_text else ""


def _claimed(cell: Cell) -> Cell:
    """A cell of claims as text: a list's names behind each other."""
    if is_covered(cell):
        return shown(cell)
    return "; ".join(names_in(cell)) if cell and cell.startswith(WIRE) else cell


def _remark(problem: Problem) -> str:
    """What is wrong with a cell or a row, for whoever mends it."""
    of = f"{problem.pointer}: " if problem.pointer else ""
    return f"{of}{problem.message}" + (f" ({problem.help})" if problem.help else "")
