"""Cells of other people's texts in files that spreadsheets open: none of them is taken for a formula, none is lost.

A text that a spreadsheet would take for a formula gets an apostrophe before it, and so does one that begins with an
apostrophe: `plain_cell` of what is read gives back what was written.
"""

import csv
import re
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final

import pyarrow as pa
import xlsxwriter

_FORMULA: Final = re.compile(r"[=+@\t\r\n']|-(?!-*\Z|\d[\d.,/ -]*[A-Za-z%° ]*\Z)")
"""What a spreadsheet takes for a formula by its beginning; a minus begins figures too, which are left as they are."""
_LONGEST: Final = 2_000
_MADE: Final = datetime(2000, 1, 1)  # noqa: DTZ001  # the format knows no zones; one moment, so that bytes are the same
Cell = str | int


def safe_cell(cell: str) -> str:
    """A cell that no spreadsheet takes for a formula."""
    return f"'{cell}" if _FORMULA.match(cell) else cell


def plain_cell(cell: str) -> str:
    """What a safe cell was made of."""
    return cell[1:] if cell.startswith("'") and _FORMULA.match(cell[1:]) else cell


def safe_row(row: Iterable[Any]) -> list[Any]:
    """A row whose texts are safe; figures are as they are."""
    return [safe_cell(cell) if isinstance(cell, str) else cell for cell in row]


def safe_table(table: pa.Table) -> pa.Table:
    """A table whose texts are safe; other columns are as they are."""
    columns = [_safe_column(column) if pa.types.is_string(column.type) else column for column in table.columns]
    return pa.table(columns, names=table.column_names)


def _safe_column(column: pa.ChunkedArray) -> pa.ChunkedArray:
    """A column of texts made safe, each text once."""
    safe = [
        pa.array(map(safe_cell, part.dictionary.to_pylist()), pa.string()).take(part.indices)
        for part in (chunk.dictionary_encode() for chunk in column.chunks)
    ]
    return pa.chunked_array(safe, pa.string())


def read_safe(path: Path) -> Iterator[dict[str, str]]:
    """The rows of a file of findings, as they were before they were made safe."""
    with path.open(encoding="utf-8", newline="") as stream:
        for row in csv.DictReader(stream):
            yield {title: plain_cell(cell) for title, cell in row.items()}


def write_workbook(
    path: Path, sheet: str, titles: Sequence[str], widths: Sequence[int], rows: Iterable[Sequence[Cell]]
) -> None:
    """Write a workbook of one sheet, row by row; texts are texts and nothing else, whatever they begin with.

    `widths` are in characters. The same rows give the same bytes. Raises OSError where it cannot be written.
    """
    try:
        _write_sheet(path, sheet, titles, widths, rows)
    except xlsxwriter.exceptions.FileCreateError as fault:  # it is made of the system's fault, and is none
        raise OSError(f"{path} cannot be written: {fault}") from None


def _write_sheet(
    path: Path, sheet: str, titles: Sequence[str], widths: Sequence[int], rows: Iterable[Sequence[Cell]]
) -> None:
    with TemporaryDirectory(prefix="fitsvc-sheet-") as folder:
        book = xlsxwriter.Workbook(str(path), {"constant_memory": True, "in_memory": False, "tmpdir": folder})
        try:
            with book:
                _fill(book, sheet, titles, widths, rows)
        finally:  # where writing fails, the library leaves its file of rows open, and on the disk
            for page in book.worksheets():
                if page.row_data_fh:
                    page.row_data_fh.close()


def _fill(book: Any, sheet: str, titles: Sequence[str], widths: Sequence[int], rows: Iterable[Sequence[Cell]]) -> None:
    book.set_properties({"created": _MADE})
    page = book.add_worksheet(sheet)
    bold = book.add_format({"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"})
    wrapped = book.add_format({"text_wrap": True, "valign": "top"})
    for place, width in enumerate(widths):
        page.set_column(place, place, width, wrapped)
    page.freeze_panes(1, 0)
    page.set_landscape()
    page.repeat_rows(0)
    page.fit_to_pages(1, 0)
    count = 0
    for place, title in enumerate(titles):
        page.write_string(0, place, title, bold)
    for count, row in enumerate(rows, start=1):
        for place, cell in enumerate(row):
            if isinstance(cell, str):
                page.write_string(count, place, cell[:_LONGEST], wrapped)
            else:
                page.write_number(count, place, cell, wrapped)
    page.autofilter(0, 0, count, len(titles) - 1)
