"""The cells of a workbook that hold an error, such as `#N/A`, or a formula that nobody worked out.

What reads its values hands them over as empty ones. A program that writes workbooks may leave a formula's result to the
spreadsheet, which shows one to whoever opens it.

An empty cell says nothing of a fact, which asks less of an item than a cell that was to say something.
"""

import re
import xml.etree.ElementTree as ET
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from fitsvc.loading.workbook_parts import (
    OPEN_DOCUMENT,
    events_of,
    is_open_document,
    open_document_cells,
    placed_cells,
    sheet_part,
    tag,
)

_MAY_HOLD: Final = re.compile(rb"""\bt\s*=\s*["']e["']|<(?:\w+:)?f[\s/>]""")
_OPEN_DOCUMENT: Final = re.compile(
    rb"""value-type\s*=\s*["']error["']"""
    rb"""|(?:office:value|string-value)\s*=\s*["'][^"']*["'][^>]*>\s*<text:p[^>]*>\s*(?:#[A-Z/0]+[!?A]|Err:\d)"""
)
"""A cell of the type that LibreOffice has for it, or one that shows an error beside a value; from memory."""


def error_cells(path: Path, sheet: str) -> dict[tuple[int, int], str] | None:
    """The errors of a sheet by row and column, both from 1, each as it is shown; None where they cannot be told.

    Of OpenDocument it is told alone that there is none, and what formulas there are without a result.
    """
    with zipfile.ZipFile(path) as archive:
        if is_open_document(archive):
            content = archive.read(OPEN_DOCUMENT)
            if _OPEN_DOCUMENT.search(content):
                return None
            return dict(_not_worked_out(archive, sheet)) if b"formula=" in content else {}
        part = sheet_part(archive, sheet)
        if part is None:
            return None
        if not _MAY_HOLD.search(archive.read(part)):
            return {}
        cells = placed_cells(events_of(archive, part))
        return {(row, column): error for row, column, one in cells if (error := _error(one))}


def _error(cell: ET.Element) -> str:
    """The error that a cell holds, or its formula where that has no result; else nothing."""
    value = next((v.text for v in cell if tag(v) == "v" and v.text), "")
    if cell.get("t") == "e":
        return value or "#ERROR"
    formula = next((one for one in cell if tag(one) == "f"), None)
    # Of the type `str` it is worked out, and comes to no text.
    return f"={formula.text or '...'}" if formula is not None and not value and cell.get("t") != "str" else ""


def _not_worked_out(archive: zipfile.ZipFile, sheet: str) -> Iterator[tuple[tuple[int, int], str]]:
    """The formulas of an OpenDocument sheet whose cells have no value (`table:formula` of OpenDocument 1.3 Part 3)."""
    for cell in open_document_cells(archive, sheet):
        formula = cell.told("formula").removeprefix("of:")
        if formula and not cell.told("value-type") and not cell.shown():
            yield (cell.row, cell.column), formula
