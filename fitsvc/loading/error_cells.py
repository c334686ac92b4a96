"""The cells of a workbook that hold an error, such as `#N/A`: what reads its values hands them over as empty ones.

An empty cell says nothing of a fact, which asks less of an item than a cell that was to say something.
"""

import re
import xml.etree.ElementTree as ET
import zipfile
from collections.abc import Iterator
from pathlib import Path
from posixpath import join, normpath
from typing import Final

_MAY_HOLD: Final = re.compile(rb"""\bt\s*=\s*["']e["']""")
_OPEN_DOCUMENT: Final = re.compile(
    rb"""value-type\s*=\s*["']error["']"""
    rb"""|(?:office:value|string-value)\s*=\s*["'][^"']*["'][^>]*>\s*<text:p[^>]*>\s*(?:#[A-Z/0]+[!?A]|Err:\d)"""
)
"""A cell of the type that LibreOffice has for it, or one that shows an error beside a value; from memory."""
_PLACE: Final = re.compile(r"([A-Z]{1,3})(\d+)")


def error_cells(path: Path, sheet: str) -> dict[tuple[int, int], str] | None:
    """The errors of a sheet by row and column, both from 1, each as it is shown; None where they cannot be told.

    Of OpenDocument it is told alone that there is none.
    """
    with zipfile.ZipFile(path) as archive:
        if "content.xml" in archive.namelist():
            return None if _OPEN_DOCUMENT.search(archive.read("content.xml")) else {}
        part = _part_of(archive, sheet)
        if part is None:
            return None
        if not _MAY_HOLD.search(archive.read(part)):
            return {}
        with archive.open(part) as stream:
            # Expat bounds what entities unfold to (2.4.1 and later), and the parts were measured unpacked before.
            events = ET.iterparse(stream, ("start", "end"))  # noqa: S314  # see above
            return {(row, column): text for row, column, text in _errors(events)}


def _part_of(archive: zipfile.ZipFile, sheet: str) -> str | None:
    """The part of a workbook that holds a sheet (ECMA-376 Part 1, 18.2.19 and Part 2, 9.3)."""
    book = ET.fromstring(archive.read("xl/workbook.xml"))  # noqa: S314  # as above
    relations = ET.fromstring(archive.read("xl/_rels/workbook.xml.rels"))  # noqa: S314  # as above
    targets = {one.get("Id"): one.get("Target", "") for one in relations.iter()}
    for one in book.iter():
        if _tag(one) == "sheet" and one.get("name") == sheet:
            found = [value for key, value in one.attrib.items() if key.endswith("}id")]
            part = normpath(join("/xl", targets.get(found[0], ""))).lstrip("/") if found else ""
            return next((name for name in archive.namelist() if name.lower() == part.lower()), None)
    return None


def _errors(events: Iterator[tuple[str, ET.Element]]) -> Iterator[tuple[int, int, str]]:
    """The cells of type `e` (ECMA-376 Part 1, 18.18.11); a row or a cell without its place follows the one before."""
    row = column = 0
    for event, one in events:
        tag = _tag(one)
        if event == "start" and tag == "row":
            row, column = int(one.get("r", row + 1)), 0
        elif event == "end" and tag == "c":
            place = _PLACE.fullmatch(one.get("r", "").upper())
            row, column = (int(place[2]), _number(place[1])) if place else (row, column + 1)
            if one.get("t") == "e":
                yield row, column, next((v.text for v in one if _tag(v) == "v" and v.text), "#ERROR")
        elif event == "end" and tag == "row":
            one.clear()


def _number(letters: str) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - ord("A") + 1
    return number


def _tag(one: ET.Element) -> str:
    return one.tag.rpartition("}")[2]
