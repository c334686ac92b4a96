"""Items of a catalogue that are no accessories, such as trailers and balls, read by the facts of their subject."""

from collections.abc import Iterable
from typing import Final

import numpy as np

from fitsvc.audits.cells import FactColumn, is_figure
from fitsvc.audits.chunks import Chunk
from fitsvc.audits.decimals import DecimalMarks
from fitsvc.audits.items import Flags, Items, joined
from fitsvc.audits.mapping import READ, FileMapping, Mapped, by_name
from fitsvc.engine.columns.signatures import Column, column_of
from fitsvc.facts import FactReader
from fitsvc.language.problems import Problem
from fitsvc.language.types import Type

ADAPTER: Final = "adapter"
JUDGED: Final = ("trailer", ADAPTER, "wiring_adapter")
"""The subjects that are judged with every rig beside accessories: what is towed, what goes into the opening or into the
vehicle's socket."""
BALL: Final = "ball"
"""The subject that is judged with the catalogue's own mounts, and with no rig."""
assert {*JUDGED, BALL} == set(READ)


class SubjectReader:
    """Reads the rows of one subject, chunk by chunk."""

    def __init__(self, subject: str, reader: FactReader, mapping: FileMapping, marks: DecimalMarks) -> None:
        self._subject, self._reader, self._mapping, self._marks = subject, reader, mapping, marks
        self.slots: dict[str, Type] = {
            name: kind for name, kind in reader.vocabulary.slots().items() if name.startswith(f"{subject}.")
        }
        self._columns: dict[str, FactColumn | None] = {}
        self._read: list[Items] = []

    def _column(self, title: str) -> FactColumn | None:
        """The column of a title that is a fact of the subject."""
        if title not in self._columns:
            column: Mapped = self._mapping.columns.get(title) or by_name(title)
            fact = self._reader.vocabulary.of(self._subject).get(column.name)
            told, unknown = self._mapping.told(column), self._mapping.unknown
            self._columns[title] = FactColumn(self._reader, fact, told, unknown, self._marks) if fact else None
        return self._columns[title]

    def is_of(self, title: str) -> bool:
        """Whether a column is a fact of the subject, should a row of it come."""
        column: Mapped = self._mapping.columns.get(title) or by_name(title)
        return column.name in self._reader.vocabulary.of(self._subject)

    def is_figure(self, title: str) -> bool:
        """Whether a column is a figure of the subject, should a row of it come."""
        column: Mapped = self._mapping.columns.get(title) or by_name(title)
        fact = self._reader.vocabulary.of(self._subject).get(column.name)
        return fact is not None and is_figure(fact)

    def titles(self) -> list[str]:
        """The titles of the columns that were read of its rows."""
        return [title for title, column in self._columns.items() if column is not None]

    def left(self) -> set[str]:
        """The facts of the subject of which there is no column; none where there is no row of it."""
        if not self._read:
            return set()
        return self._reader.vocabulary.of(self._subject).keys() - {
            one.fact.short for one in self._columns.values() if one
        }

    def read(self, chunk: Chunk, rows: list[int], skus: list[str]) -> Iterable[tuple[int, str, FactColumn, Problem]]:
        """Take some rows of a chunk; yields each cell that could not be read: its row, the SKU, the column and why."""
        columns: dict[str, Column] = {}
        unread, named = Flags(), Flags()
        for title, cells in chunk.cells.items():
            if (column := self._column(title)) is None:
                continue
            codes = column.codes([cells[row] for row in rows])
            columns |= column.columns(codes)
            unread |= column.unread(codes)
            named |= column.named(codes)
            for place in np.flatnonzero(column.wrong(codes)).tolist():
                yield rows[place], skus[place], column, column.problem(int(codes[place]))
        every = {
            name: columns[name] if name in columns else column_of(kind, [None] * len(rows))
            for name, kind in self.slots.items()
        }
        lines = np.array([chunk.lines[row] for row in rows], np.int64)
        self._read.append(Items(skus, lines, every, unread, named))

    def items(self) -> Items | None:
        """All of them; None where there are none."""
        return joined(self._read) if self._read else None
