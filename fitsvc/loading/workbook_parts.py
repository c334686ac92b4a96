"""The parts of a workbook that are read beside its values: a sheet's, its styles', and the cells of .ods."""

import re
import xml.etree.ElementTree as ET
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from posixpath import join, normpath
from typing import Final

OPEN_DOCUMENT: Final = "content.xml"
"""The part of an OpenDocument file that holds its sheets."""
_PLACE: Final = re.compile(r"([A-Z]{1,3})(\d+)")
_CELLS: Final = ("table-cell", "covered-table-cell")


def is_open_document(archive: zipfile.ZipFile) -> bool:
    """Whether a workbook is OpenDocument."""
    return OPEN_DOCUMENT in archive.namelist()


def sheet_part(archive: zipfile.ZipFile, sheet: str) -> str | None:
    """The part of a workbook that holds a sheet (ECMA-376 Part 1, 18.2.19 and Part 2, 9.3)."""
    # Expat bounds what entities unfold to (2.4.1 and later), and the parts were measured unpacked before.
    book = ET.fromstring(archive.read("xl/workbook.xml"))  # noqa: S314  # see above
    targets = {id: target for id, _, target in _relations(archive)}
    for one in book.iter():
        if tag(one) == "sheet" and one.get("name") == sheet:
            found = [value for key, value in one.attrib.items() if key.endswith("}id")]
            return _part(archive, targets.get(found[0], "")) if found else None
    return None


def styles_part(archive: zipfile.ZipFile) -> str | None:
    """The part of a workbook that holds its styles (ECMA-376 Part 1, 12.3.20); None where it has none."""
    targets = [target for _, kind, target in _relations(archive) if kind.endswith("/styles")]
    return _part(archive, targets[0]) if targets else None


def _relations(archive: zipfile.ZipFile) -> Iterator[tuple[str, str, str]]:
    """The id, type and target of each relation of the workbook."""
    relations = ET.fromstring(archive.read("xl/_rels/workbook.xml.rels"))  # noqa: S314  # as above
    for one in relations.iter():
        yield one.get("Id", ""), one.get("Type", ""), one.get("Target", "")


def _part(archive: zipfile.ZipFile, target: str) -> str | None:
    part = normpath(join("/xl", target)).lstrip("/")
    return next((name for name in archive.namelist() if name.lower() == part.lower()), None)


def events_of(archive: zipfile.ZipFile, part: str) -> Iterator[tuple[str, ET.Element]]:
    """The starts and ends of a part's elements; whoever reads them lets go of what was read."""
    with archive.open(part) as stream:
        yield from ET.iterparse(stream, ("start", "end"))  # noqa: S314  # as above


def tag(one: ET.Element) -> str:
    """The name of an element without its namespace."""
    return one.tag.rpartition("}")[2]


def placed_cells(events: Iterator[tuple[str, ET.Element]]) -> Iterator[tuple[int, int, ET.Element]]:
    """The cells of a sheet with their rows and columns, from 1 (ECMA-376 Part 1, 18.3.1.4).

    A row or a cell without its place follows the one before.
    """
    row = column = 0
    for event, one in events:
        name = tag(one)
        if event == "start" and name == "row":
            row, column = int(one.get("r", row + 1)), 0
        elif event == "end" and name == "c":
            place = _PLACE.fullmatch(one.get("r", "").upper())
            row, column = (int(place[2]), _number(place[1])) if place else (row, column + 1)
            yield row, column, one
        elif event == "end" and name == "row":
            one.clear()


def _number(letters: str) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - ord("A") + 1
    return number


@dataclass(frozen=True, slots=True)
class PlacedCell:
    """A cell of an OpenDocument sheet: its row and column, from 1, and how often it stands there each way."""

    row: int
    column: int
    down: int
    right: int
    element: ET.Element

    def told(self, name: str) -> str:
        """An attribute by its name without its namespace; empty where it has none."""
        return _of(self.element, name)

    def spans(self) -> tuple[int, int]:
        """Over how many rows and columns it is merged."""
        return _count(self.told("number-rows-spanned")), _count(self.told("number-columns-spanned"))

    def shown(self) -> str:
        """What the cell shows."""
        return "\n".join("".join(one.itertext()) for one in self.element if tag(one) == "p")


def open_document_cells(archive: zipfile.ZipFile, sheet: str) -> Iterator[PlacedCell]:
    """The cells of a sheet, covered ones too (OpenDocument 1.3 Part 3, 9.1)."""
    inside = row = down = column = 0  # inside: how many tables deep in the one that is looked for
    for event, one in events_of(archive, OPEN_DOCUMENT):
        name, is_start = tag(one), event == "start"
        if name == "table":
            if is_start and (inside or _of(one, "name") == sheet):
                inside += 1
            elif not is_start and inside == 1:
                return
            elif not is_start:
                inside = max(inside - 1, 0)
                one.clear()
        elif inside == 1 and name == "table-row" and is_start:
            row, down, column = row + 1, _count(_of(one, "number-rows-repeated")), 1
        elif inside == 1 and name == "table-row":
            row += down - 1
            one.clear()
        elif inside == 1 and name in _CELLS and not is_start:
            right = _count(_of(one, "number-columns-repeated"))
            yield PlacedCell(row, column, down, right, one)
            column += right


def _of(one: ET.Element, name: str) -> str:
    return next((value for key, value in one.attrib.items() if key.rpartition("}")[2] == name), "")


def _count(text: str) -> int:
    return max(int(text), 1) if text.isdigit() else 1
