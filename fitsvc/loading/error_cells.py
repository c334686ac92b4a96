"""The cells of a workbook that hold an error, such as `#N/A`: what reads its values hands them over as empty ones.

An empty cell says nothing of a fact, which asks less of an item than a cell that was to say something.
"""

import re
import xml.etree.ElementTree as ET
import zipfile
from pathlib import Path
from typing import Final

from fitsvc.loading.workbook_parts import (
    OPEN_DOCUMENT,
    events_of,
    is_open_document,
    placed_cells,
    sheet_part,
    tag,
)

_MAY_HOLD: Final = re.compile(rb"""\bt\s*=\s*["']e["']""")
_OPEN_DOCUMENT: Final = re.compile(
    rb"""value-type\s*=\s*["']error["']"""
    rb"""|(?:office:value|string-value)\s*=\s*["'][^"']*["'][^>]*>\s*<text:p[^>]*>\s*(?:#[A-Z/0]+[!?A]|Err:\d)"""
)
"""A cell of the type that LibreOffice has for it, or one that shows an error beside a value; from memory."""


def error_cells(path: Path, sheet: str) -> dict[tuple[int, int], str] | None:
    """The errors of a sheet by row and column, both from 1, each as it is shown; None where they cannot be told.

    Of OpenDocument it is told alone that there is none.
    """
    with zipfile.ZipFile(path) as archive:
        if is_open_document(archive):
            return None if _OPEN_DOCUMENT.search(archive.read(OPEN_DOCUMENT)) else {}
        part = sheet_part(archive, sheet)
        if part is None:
            return None
        if not _MAY_HOLD.search(archive.read(part)):
            return {}
        cells = placed_cells(events_of(archive, part))
        return {(row, column): _error(one) for row, column, one in cells if one.get("t") == "e"}


def _error(cell: ET.Element) -> str:
    return next((v.text for v in cell if tag(v) == "v" and v.text), "#ERROR")
