"""Rows of a catalogue as raw cells: the form in which every format is handed on."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from typing import Any, Final

from fitsvc.audits.plain_rows import Cell
from fitsvc.document import Json
from fitsvc.language.problems import Problem
from fitsvc.loading.header import nameless, no_header, repeated
from fitsvc.loading.merged_cells import COVERED, is_covered
from fitsvc.tongues import later, t

CHUNK: Final = 8_192
WIRE: Final = "\0"
"""Begins a cell that is no text but JSON: a list, an object or a figure. Text files cannot hold the character."""
_PART_IT: Final = later("part the merged cells of the sheet, and write in each what it says")


@dataclass(frozen=True, slots=True)
class Chunk:
    """Some rows: where each stands in the file, and the cells by column title; None is an empty cell.

    `lost` are the rows beside them that have not as many cells as the header, with where they stand.
    """

    lines: list[int]
    cells: Mapping[str, Sequence[Cell]]
    lost: list[tuple[int, list[Cell]]] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class FileForm:
    """How a file is written, of what it does not say itself: separator, encoding, line of the titles, sheet."""

    separator: str = ""
    encoding: str = ""
    header: int = 1
    sheet: str = ""


PLAIN: Final = FileForm()


def as_cell(value: Json) -> str | None:
    """A value that may be no text as a cell."""
    if value is None or isinstance(value, str):
        return value
    return WIRE + json.dumps(value, ensure_ascii=False, default=_in_json)


def _in_json(value: Any) -> Json:
    """A value of a typed column that JSON has not: a decimal as the figure that it is, a day or an instant as text."""
    if isinstance(value, Decimal):
        return float(value)
    return value.isoformat(sep=" ") if isinstance(value, datetime) else str(value)


def shown(cell: Cell) -> str:
    """A cell as who made the file sees it: what is no text as JSON, of a covered one what covers it."""
    return (cell or "").removeprefix(COVERED).removeprefix(WIRE)


def covered_problem(cell: str, pointer: str = "") -> Problem:
    """What is wrong with a cell that a merged one covers."""
    message = t("a merged cell covers it: whether `{said}` is said of this column is not certain", said=shown(cell))
    return Problem(message, t(_PART_IT), pointer=pointer)


def name_in(cell: str | None) -> str:
    """The name in a cell, none in a covered one; a whole number is one too, as files of figures have them."""
    if is_covered(cell):
        return ""
    text = (cell or "").strip()
    return text.removeprefix(WIRE) if not text.startswith((f"{WIRE}[", f"{WIRE}{{")) else text


def bad_titles(titles: list[str], file: str) -> list[Problem]:
    """What is wrong with the titles of a file's columns."""
    if not titles:
        return [no_header(file)]
    found = []
    for number, title in enumerate(titles, start=1):
        first = titles.index(title) + 1
        if not title:
            found.append(nameless(number, file, 1))
        elif first < number:
            found.append(repeated(title, number, first, file, 1))
    return found
