"""Many lines of a text read at once, column by column, where they are so plain that nothing can be said of them.

What is plain is read by Arrow to what the reader of single lines would make of it, each distinct cell once. Lines that
hold anything else (a quote within a cell, another number of cells, no text) are left to that reader, which tells it.
"""

import csv
import zlib
from collections.abc import Iterator, Sequence
from typing import Final, overload

import numpy as np
import pyarrow as pa
import pyarrow.csv as pc
from numpy.typing import NDArray

from fitsvc.files import of_the_machine
from fitsvc.loading.lines import LONGEST_LINE, NumberedLines

Cell = str | None
Row = tuple[int, list[Cell]]
"""A row of cells, and where it stands."""
_BYTES: Final = 2 << 20
"""What is looked at together: some thousand rows."""
_MOST_ROWS: Final = 32_768
_LONGEST: Final = min(LONGEST_LINE, csv.field_size_limit())
_NEWLINE: Final = ord("\n")
_RETURN: Final = ord("\r")
_QUOTE: Final = ord('"')
_SEPARATORS: Final = frozenset(",;\t|")


class CodedCells(Sequence[Cell]):
    """The cells of a column by rows, each distinct one once: `texts`, and of each row the place of its own."""

    def __init__(self, texts: list[Cell], places: NDArray[np.int32]) -> None:
        self.texts, self.places = texts, places

    def __len__(self) -> int:
        return len(self.places)

    @overload
    def __getitem__(self, row: int) -> Cell: ...
    @overload
    def __getitem__(self, row: slice) -> "CodedCells": ...
    def __getitem__(self, row: int | slice) -> "Cell | CodedCells":
        """One cell, or some."""
        return CodedCells(self.texts, self.places[row]) if isinstance(row, slice) else self.texts[self.places[row]]

    def __iter__(self) -> Iterator[Cell]:
        texts = self.texts
        return iter([texts[place] for place in self.places.tolist()])


def plain_rows(
    lines: NumberedLines, columns: int, titled: int, separator: str
) -> tuple[list[int], list[CodedCells]] | None:
    """Take the next lines if they are plain rows of so many columns: where each row stands, and the first columns.

    None where they are not, or where nothing is left; then nothing is taken. Only `titled` columns have a title: what
    stands past them has to be empty. Rows that say nothing are left out.
    """
    try:
        block = lines.ahead(_BYTES)
    except (OSError, EOFError, ValueError, zlib.error) as error:
        if of_the_machine(error):  # what was read before it may be lost: one by one it would be passed over
            raise
        return None  # which reading them one by one tells
    ends = np.flatnonzero(np.frombuffer(block, np.uint8) == _NEWLINE)
    if len(ends) > _MOST_ROWS:
        ends = ends[:_MOST_ROWS]
        block = block[: int(ends[-1]) + 1]
    count = len(ends) + (not block.endswith(b"\n"))
    if not block or separator not in _SEPARATORS or not _is_plain(block, ends, separator):
        return None
    cells = _parsed(block, columns, separator)
    if cells is None or len(cells[0]) != count:
        return None
    if any(text for column in cells[titled:] for text in column.texts):
        return None
    first = lines.line + 1
    lines.take(len(block), count)
    return _without_blank(np.arange(first, first + count), cells[:titled])


def _is_plain(block: bytes, ends: NDArray[np.intp], separator: str) -> bool:
    """Whether a block is lines of a usual length, its quotes around whole cells and no line's end within them."""
    if b"\0" in block or block.count(b"\r") != block.count(b"\r\n"):
        return False
    if np.diff(ends, prepend=-1, append=len(block)).max() > _LONGEST:
        return False
    return quotes_stand_around_cells(np.frombuffer(block, np.uint8), ends, ord(separator))


def quotes_stand_around_cells(block: NDArray[np.uint8], ends: NDArray[np.intp], separator: int) -> bool:
    """Whether every other quote opens a cell, and each between ends it in the same line.

    One doubled within a cell ends and opens it at once, which is as well.
    """
    quotes = np.flatnonzero(block == _QUOTE)
    if len(quotes) % 2:
        return False
    opens, closes = quotes[::2], quotes[1::2]
    doubled = closes[:-1] + 1 == opens[1:]
    before, after = block[opens - 1], block[np.minimum(closes + 1, len(block) - 1)]
    begins = (opens == 0) | (before == separator) | (before == _NEWLINE)
    begins[1:] |= doubled
    stops = (closes + 1 == len(block)) | (after == separator) | (after == _NEWLINE) | (after == _RETURN)
    stops[:-1] |= doubled
    in_one_line = np.searchsorted(ends, opens) == np.searchsorted(ends, closes)
    return bool((begins & stops & in_one_line).all())


def _parsed(block: bytes, columns: int, separator: str) -> list[CodedCells] | None:
    names = [str(place) for place in range(columns)]
    text = pa.dictionary(pa.int32(), pa.string())
    try:
        table = pc.read_csv(
            pa.py_buffer(block),
            pc.ReadOptions(use_threads=False, block_size=len(block) + 1, column_names=names),
            pc.ParseOptions(delimiter=separator, ignore_empty_lines=False),
            pc.ConvertOptions(column_types=dict.fromkeys(names, text), strings_can_be_null=False),
        ).combine_chunks()
    except pa.ArrowInvalid:
        return None
    return [_coded(column.chunk(0)) for column in table.columns] if table.num_rows else None


def _coded(column: pa.DictionaryArray) -> CodedCells:
    return CodedCells(column.dictionary.to_pylist(), column.indices.to_numpy())


def _without_blank(lines: NDArray[np.intp], cells: list[CodedCells]) -> tuple[list[int], list[CodedCells]]:
    """The rows in which a cell says something."""
    blank = np.ones(len(lines), np.bool_)
    for column in cells:
        blank &= np.array([not (text or "").strip() for text in column.texts], np.bool_)[column.places]
        if not blank.any():
            return lines.tolist(), cells
    return lines[~blank].tolist(), [CodedCells(column.texts, column.places[~blank]) for column in cells]
