"""Rows of a catalogue → its items: which rows name one, what each cell says, and what could not be read."""

import re
from array import array
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fitsvc.audits.cells import NOTHING, FactColumn, is_figure
from fitsvc.audits.chunks import Chunk, name_in, shown
from fitsvc.audits.decimals import DecimalMarks
from fitsvc.audits.items import Flags, Items
from fitsvc.audits.mapping import KEYS, READ, FileMapping, Header, close_by, folded, needs_unit, read_header
from fitsvc.audits.others import SubjectReader
from fitsvc.audits.plain_rows import Cell
from fitsvc.engine.columns.signatures import Column, column_of
from fitsvc.facts import FactReader
from fitsvc.language.problems import Problem
from fitsvc.language.spreadsheets import damage_of
from fitsvc.language.types import Type
from fitsvc.loading.rows import quoted
from fitsvc.tongues import t

_TOTALS: Final = frozenset(
    ("total", "totals", "grand total", "subtotal", "sum", "suma", "total general", "summe", "gesamt", "gesamtsumme")
)
"""What the last line of a sheet says in place of a number: in English, Spanish and German."""
_ERROR: Final = re.compile(
    r"#(?:N/A|GETTING_DATA|ERROR|(?:VALUE|REF|DIV/0|NUM|NULL|SPILL|CALC)!|NAME\?)", re.IGNORECASE
)
"""What a sheet shows in place of a value (ECMA-376 Part 1, 18.17.3; the later ones from memory)."""
_FLOATED: Final = re.compile(r"-?\d\.\d+e\+\d+|-?\de\+\d+|-?\d{16}\.0")
"""A whole number of more digits than a sheet holds (15; IEEE 754 binary64), as it is handed over."""
_BY_SHEET: Final = re.compile(
    r"-?\d[.,]\d+E[+-]?\d{1,3}|-?\dE\+\d{1,3}|\d{1,2}[-/. ]+[A-Z][a-zä]{2}|[A-Z][a-zä]{2}[-/. ]+\d{1,4}"
)
"""A number as a sheet shows it that took it for a figure or a day: `1.23457E+11`, `12-May`; people write none so."""
_MADE_BY_SHEET: Final = re.compile(
    r"-?\d[.,]\d+E[+-]?\d{1,3}|-?\dE\+\d{1,3}"
    r"|(?:19|20)\d\d-(?:0[1-9]|1[0-2])-(?:0[1-9]|[12]\d|3[01])(?:[ T]\d\d:\d\d(?::\d\d)?)?"
    r"|\d{1,2}[/.]\d{1,2}[/.](?:19|20)\d\d|[Tt]rue|[Ff]alse|TRUE|FALSE|(?=\d{12,15}\Z)\d+?0{5,}"
)
"""What nobody needs to look at twice: a figure cut to its power of ten, a day, a yes or no, and in a number of twelve
digits or more so many zeros at its end as only such a power leaves (an estimate)."""
_AS_A_FIGURE: Final = re.compile(f"{_FLOATED.pattern}|{_BY_SHEET.pattern}|{_MADE_BY_SHEET.pattern}")


class BadCell(NamedTuple):
    """A cell that could not be read, of a row that is judged without it: the row's number, the cell, what is wrong."""

    sku: str
    cell: str
    problem: Problem


class ItemReader:
    """Reads one catalogue; what is wrong goes to `problems` and `bad_cells`, to be taken from there.

    A row is lost for its number alone: what else cannot be read of it is not known of its item.
    """

    def __init__(
        self,
        reader: FactReader,
        mapping: FileMapping,
        file: str,
        titles: list[str] | None,
        chunks: Callable[[], Iterable[Chunk]],
    ) -> None:
        """`chunks` are all the cells, for what a whole column decides."""
        self._marks = DecimalMarks(chunks)
        self._reader, self._mapping, self._file = reader, mapping, file
        self._facts = reader.vocabulary.of("accessory")
        self.slots: dict[str, Type] = {
            name: kind for name, kind in reader.vocabulary.slots().items() if name.startswith("accessory.")
        }
        self._titles: dict[str, None] = {}
        self._columns: dict[str, FactColumn] = {}
        self.header = Header({}, ())
        self.places: dict[str, int] = {}
        self._lines = array("q")
        """Where the item of each place stands."""
        self._lines_of_others: dict[str, int] = {}
        self.problems: list[Problem] = []
        self.bad_cells: list[BadCell] = []
        self.no_items: set[int] = set()
        self._lost: dict[str, int] = {}
        self.other_subjects: dict[str, int] = {}
        self.others = {one: SubjectReader(one, reader, mapping, self._marks) for one in READ}
        self.other_skus: dict[str, str] = {}
        self._known(titles or [])

    def _known(self, titles: list[str]) -> None:
        """Learn what further columns are."""
        if all(title in self._titles for title in titles):
            return
        self._titles |= dict.fromkeys(titles)
        self.header = read_header(self._titles, self._mapping.columns, self._reader.vocabulary, self._file)
        if self.title("subject") is not None:
            of_others = (title for title in titles if any(one.is_figure(title) for one in self.others.values()))
            self._marks.figures |= dict.fromkeys(of_others)
        for title, column in self.header.columns.items():
            fact = self._facts.get(column.name)
            if fact is not None and title not in self._columns:
                told = self._mapping.told(column)
                self._marks.figures |= dict.fromkeys([title] if is_figure(fact) else [])
                self._columns[title] = FactColumn(self._reader, fact, told, self._mapping.unknown, self._marks)

    def units(self) -> dict[str, str]:
        """The unit of each column that is a quantity."""
        return {title: column.column.unit for title, column in self._columns.items() if needs_unit(column.fact)}

    def wanted(self) -> set[str]:
        """The columns that are read of any row: what items of another subject have stands in columns of its own."""
        of_others = (title for title in self._titles if any(one.is_of(title) for one in self.others.values()))
        return {*self.header.columns, *of_others}

    def plain(self, title: str, cell: str | None) -> str:
        """A cell of a column in the form in which files are loaded."""
        column = self._columns.get(title)
        return column.plain(cell) if column else name_in(cell)

    def meant(self, passed_over: Sequence[str]) -> dict[str, str]:
        """What columns that are not read were probably to be; not of those that the mapping says to pass over."""
        left = {*self._facts, *KEYS}.difference(column.name for column in self.header.columns.values())
        left = left.union(*(one.left() for one in self.others.values()))
        return close_by([one for one in passed_over if one not in self._mapping.columns], left)

    def mapped_in_vain(self) -> list[str]:
        """The columns that the mapping names and no row had."""
        return [title for title in self._mapping.columns if title not in self._titles]

    def title(self, name: str) -> str | None:
        """The title of the column that is a key or a fact."""
        return next((title for title, column in self.header.columns.items() if column.name == name), None)

    def read(self, chunk: Chunk) -> tuple[Items, list[Cell]]:
        """The good rows of a chunk, and the cell of each that says what it is claimed to fit."""
        self._known(list(chunk.cells))
        read = {
            title: column.codes(chunk.cells[title]) for title, column in self._columns.items() if title in chunk.cells
        }
        subjects = self._subjects(chunk)
        rows, skus = self._named(chunk, np.array([subject == "accessory" for subject in subjects], np.bool_))
        for subject, others in self.others.items():
            self._read_others(chunk, subject, others, np.array([one == subject for one in subjects], np.bool_))
        columns: dict[str, Column] = {}
        unread, named = Flags(), Flags()
        for title, codes in read.items():
            column, of = self._columns[title], codes[rows]
            columns |= column.columns(of)
            unread |= column.unread(of)
            named |= column.named(of)
            for place in np.flatnonzero(column.wrong(of)).tolist():
                self._wrong_cell(chunk, int(rows[place]), skus[place], column, int(of[place]))
        cells = chunk.cells.get(self.title("fits") or "", [])
        claims = [cells[row] if cells else None for row in rows]
        lines = np.array(chunk.lines, np.int64)[rows]
        every = {name: self._column(columns, name, len(rows)) for name in self.slots}
        return Items(skus, lines, every, unread, named), claims

    def _column(self, columns: Mapping[str, Column], name: str, rows: int) -> Column:
        if name in columns:
            return columns[name]
        return column_of(self.slots[name], [None] * rows)

    def _subjects(self, chunk: Chunk) -> list[str]:
        """What each row is; one that says nothing of its subject is an accessory."""
        cells = chunk.cells.get(self.title("subject") or "")
        if cells is None:
            return ["accessory"] * len(chunk.lines)
        subjects = [(cell or "").strip() or "accessory" for cell in cells]
        for row, subject in enumerate(subjects):
            if subject not in self._reader.subjects:
                message = t("{what} is not a subject", what=quoted(shown(subject)))
                help = t("it is one of {listed}", listed=", ".join(f"`{one}`" for one in ("accessory", *READ)))
                self._complain(chunk, row, "subject", message, help)
        for one in subjects:
            if one != "accessory" and one in self._reader.subjects:
                self.other_subjects[one] = self.other_subjects.get(one, 0) + 1
        return subjects

    def _read_others(self, chunk: Chunk, subject: str, others: SubjectReader, of: NDArray[np.bool_]) -> None:
        """Read the rows of another subject that is read."""
        if not of.any():
            return
        cells = chunk.cells.get(self.title("sku") or "")
        rows, skus = list[int](), list[str]()
        for row in np.flatnonzero(of).tolist():
            sku = name_in(cells[row]) if cells else ""
            if not self._has_own_number(chunk, row, sku):
                continue
            self.other_skus[sku] = subject
            self._lines_of_others[sku] = chunk.lines[row]
            rows.append(row)
            skus.append(sku)
            self._remark_number(chunk, row, sku)
        for row, sku, column, found in others.read(chunk, rows, skus):
            self._tell_wrong(chunk, row, sku, column, found)

    def other_claims(self, chunk: Chunk) -> Iterator[tuple[str, Cell, int]]:
        """Of the rows of a chunk that are no accessories the SKU, the cell with claims, and the line."""
        skus, cells = (chunk.cells.get(self.title(name) or "") for name in ("sku", "fits"))
        if skus and cells and self.other_skus:
            for sku, cell, line in zip(skus, cells, chunk.lines, strict=True):
                if cell and name_in(sku) in self.other_skus:
                    yield name_in(sku), cell, line

    def _named(self, chunk: Chunk, accessories: NDArray[np.bool_]) -> tuple[NDArray[np.intp], list[str]]:
        """The rows with a number of their own, and their numbers; one that was there before, read or not, is not."""
        rows = list[int]()
        self._note_lost(chunk)
        cells = chunk.cells.get(self.title("sku") or "")
        if cells and accessories.all() and self._are_plain(chunk, skus := [cell or "" for cell in cells]):
            self.places.update(zip(skus, range(len(self.places), len(self.places) + len(skus)), strict=True))
            self._lines.extend(chunk.lines)
            return np.arange(len(skus), dtype=np.intp), skus
        skus = list[str]()
        for row in np.flatnonzero(accessories).tolist():
            sku = name_in(cells[row]) if cells else ""
            if self._has_own_number(chunk, row, sku):
                self.places[sku] = len(self.places)
                self._lines.append(chunk.lines[row])
                skus.append(sku)
                rows.append(row)
                self._remark_number(chunk, row, sku)
                if like := self._no_item(chunk, row, sku):
                    self._tell_no_item(chunk.lines[row], sku, like)
        return np.array(rows, np.intp), skus

    def _are_plain(self, chunk: Chunk, skus: list[str]) -> bool:
        """Whether of none of these numbers anything can be said: no blank in it, not there before, no line of totals.

        It is looked through together what `_has_own_number` and `_no_item` look at one by one.
        """
        whole, title = "".join(skus), self.title("sku") or ""
        if not all(skus) or not whole.isprintable() or " " in whole or "#" in whole or self._lost:
            return False
        if len({*skus}) < len(skus) or not self.other_skus.keys().isdisjoint(skus):
            return False
        if not self.places.keys().isdisjoint(skus) or any(map(_AS_A_FIGURE.fullmatch, skus)):
            return False
        said = {sku.strip(":").casefold() for sku in skus}
        if not said.isdisjoint(NOTHING) or not said.isdisjoint(self._mapping.unknown):
            return False
        return said.isdisjoint(_TOTALS) and said.isdisjoint(("sku", title.casefold()))

    def _has_own_number(self, chunk: Chunk, row: int, sku: str) -> bool:
        """Whether a row names an item that no row before it does; where not, that is told."""
        if not sku:
            message = t("the row has no number of its own")
            self._complain(chunk, row, "sku", message, t("every row has its own `sku`"))
            return False
        if folded(sku) in NOTHING or folded(sku) in self._mapping.unknown:
            message = t("{what} names no item: the row has no number of its own", what=quoted(sku))
            self._complain(chunk, row, "sku", message, t("every row has its own `sku`"))
            return False
        if not sku.isprintable():
            message = t("{what} has a character that cannot be seen", what=quoted(sku))
            self._complain(chunk, row, "sku", message, t("write the number anew, in characters that show"))
            return False
        if _ERROR.fullmatch(sku):
            message = t("{what} is an error of a sheet", what=quoted(sku))
            self._complain(chunk, row, "sku", message, t("write the item's own number"))
            return False
        if _FLOATED.fullmatch(sku):
            message = t("{what} is a figure of which the sheet holds 15 digits and no more", what=quoted(sku))
            self._complain(chunk, row, "sku", message, t("write the number as text, from where it came"))
            return False
        if (line := self._line_before(sku, chunk.lines[row])) is not None:
            message = t("{what} stands in a row before this one: row {line}", what=quoted(sku), line=line)
            cells = chunk.cells.get(self.title("fits") or "")
            with_claims = t(
                "each item stands in one row: what this one claims to fit is left out; name all of it in the first, or "
                "a row for each vehicle in a file for `--claims`"
            )
            self._complain(
                chunk, row, "sku", message, with_claims if cells and cells[row] else t("each item stands in one row")
            )
            return False
        return True

    def _line_before(self, sku: str, line: int) -> int | None:
        """Where a number stands in a row before a line, whatever of that was read; None where it does not."""
        if sku in self.places:
            return self._lines[self.places[sku]]
        if sku in self.other_skus:
            return self._lines_of_others[sku]
        return lost if (lost := self._lost.get(sku, line)) < line else None

    def _note_lost(self, chunk: Chunk) -> None:
        """Keep the numbers of rows that have not as many cells as the header."""
        place = next((place for place, title in enumerate(chunk.cells) if title == self.title("sku")), None)
        for line, cells in chunk.lost:
            if place is not None and place < len(cells):
                self._lost.setdefault(name_in(cells[place]), line)

    def _no_item(self, chunk: Chunk, row: int, sku: str) -> str:
        """What a line looks like that is no item; nothing where it looks like one."""
        title, said = self.title("sku") or "", sku.strip(" :").casefold()
        if said in _TOTALS:
            return t("looks like a line of totals and not like an item")
        if said in ("sku", title.casefold()):
            return t("looks like the line of titles and not like an item")
        others = [cells[row] for name, cells in chunk.cells.items() if name != title] if " " in sku else []
        if len(others) > 1 and not any((cell or "").strip() for cell in others):
            return t("looks like a heading or a note and not like an item")
        return ""

    def _tell_no_item(self, line: int, sku: str, like: str) -> None:
        self.no_items.add(line)
        help = t("take the line out, if it is one")
        self.bad_cells.append(BadCell(sku, sku, Problem(like, help, pointer=self.title("sku") or "sku", line=line)))

    def _remark_number(self, chunk: Chunk, row: int, sku: str) -> None:
        """Tell of a number that looks like what a sheet makes of numbers; its item is judged as any other."""
        if _MADE_BY_SHEET.fullmatch(sku) or (_BY_SHEET.fullmatch(sku) and damage_of(sku)):
            told = t("{what} looks like what a spreadsheet makes of a number", what=quoted(sku))
            help = t("where the item's own number is another, format the column as text and write it again")
            told_of = Problem(told, help, pointer=self.title("sku") or "sku", line=chunk.lines[row])
            self.bad_cells.append(BadCell(sku, sku, told_of))

    def _complain(self, chunk: Chunk, row: int, name: str, message: str, help: str) -> None:
        title = self.title(name) or name
        self.problems.append(Problem(message, help, pointer=title, file=self._file, line=chunk.lines[row]))

    def _wrong_cell(self, chunk: Chunk, row: int, sku: str, column: FactColumn, code: int) -> None:
        self._tell_wrong(chunk, row, sku, column, column.problem(code))

    def _tell_wrong(self, chunk: Chunk, row: int, sku: str, column: FactColumn, found: Problem) -> None:
        cell = chunk.cells[column.column.title][row] or ""
        told = replace(found, file=self._file, line=chunk.lines[row])
        self.bad_cells.append(BadCell(sku, quoted(shown(cell))[1:-1], told))
