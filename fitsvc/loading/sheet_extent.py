"""How large a workbook is before it is read: unpacked, and by the cells of its sheets, empty ones between them too.

What reads a sheet makes a place for every cell up to the farthest one, and ends the whole process where there is no
memory for them: two cells in opposite corners are enough. What the file says of its own sizes is not believed.
"""

import re
import zipfile
from collections.abc import Iterator
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Final

LARGEST: Final = 1 << 29
"""Bytes that a workbook may have unpacked: a sheet is held as a whole while it is read."""
MOST_CELLS: Final = 1 << 25
"""Cells that a sheet may have up to its farthest one: more than its bytes could tell, at 16 for each."""
_MOST_ROWS, _MOST_COLUMNS = 1_048_576, 16_384
"""What a sheet may have: of Excel 2007 and later, from memory."""
_PART: Final = 1 << 24
_ROW: Final = re.compile(rb"<(?:row|\w+:row)\b(?:[^>]*?\s(r)\s*=)?")
_CELL: Final = re.compile(rb"<(?:c|\w+:c)\b(?:[^>]*?\s(r)\s*=)?")
_PLACE: Final = re.compile(rb"""<(?:c|row|\w+:c|\w+:row)\s(?:[^>]*?\s)?r\s*=\s*["']\s*([A-Za-z]*)(\d*)""")
"""Of a row or a cell its place (ECMA-376 Part 1, 18.3.1.4 and 18.3.1.73); where none is told it follows the last."""


def too_large(path: Path) -> str:
    """Why a workbook is too large to be read; empty where it is not. zipfile's errors where it is none."""
    found = path.stat()
    return _too_large(path, found.st_mtime_ns, found.st_size)


@lru_cache(maxsize=8)
def _too_large(path: Path, _changed: int, _size: int) -> str:
    left = LARGEST
    with zipfile.ZipFile(path) as archive:
        for part in archive.infolist():
            part.file_size = left + 2  # what it says may be false, and the reader stops there
            with archive.open(part) as stream:
                data = stream.read(left + 1)
            left -= len(data)
            if left < 0:
                return f"has more than {LARGEST / 1e6:,.0f} MB unpacked"
            if path.suffix.lower() != ".ods" and part.filename.lower().endswith(".xml") and (why := _too_far(data)):
                return why
    return ""


def _too_far(data: bytes) -> str:
    """Why a sheet reaches too far; empty where it does not, or is no sheet."""
    rows = columns = untold = in_row = 0
    for part in _parts(data):
        for letters, digits in set(_PLACE.findall(part)):
            rows, columns = max(rows, int(digits[:9] or 0)), max(columns, _column(letters))
        begins = list(_ROW.finditer(part))
        rows += sum(not row[1] for row in begins)
        for first, end in pairwise([0, *(row.start() for row in begins), len(part)]):
            in_row = (0 if first else in_row) + sum(not told for told in _CELL.findall(part, first, end))
            untold = max(untold, in_row)
    columns += untold
    if rows > _MOST_ROWS or columns > _MOST_COLUMNS:
        return "has a cell beyond the last that a sheet can have"
    if rows * columns > MOST_CELLS:
        return f"has a sheet of {rows:,} rows and {columns:,} columns up to its farthest cell"
    return ""


def _parts(data: bytes) -> Iterator[bytes]:
    """Pieces of a sheet, each of which begins with a tag or is the first."""
    start = 0
    while start < len(data):
        end = data.find(b"<", start + _PART)
        end = end if end >= 0 else len(data)
        yield data[start:end]
        start = end


def _column(letters: bytes) -> int:
    number = 0
    for letter in letters[:7].upper():
        number = number * 26 + letter - 64
    return number
