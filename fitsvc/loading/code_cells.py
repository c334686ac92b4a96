"""The cells of a workbook that hold a number and show more: a unit, or a code as `004711` by the format `000000`.

What reads values hands over the number, and nobody who looks at the sheet knows it: what is shown is what was written.
Formats of figures, with decimals, thousands or a word that is no unit, show nothing that the number does not say.
"""

import re
import xml.etree.ElementTree as ET
import zipfile
from collections.abc import Iterator
from itertools import dropwhile, islice, takewhile
from pathlib import Path
from typing import Final

from fitsvc.language.quantities import QuantityError, parse_any
from fitsvc.loading.workbook_parts import (
    events_of,
    is_open_document,
    open_document_cells,
    placed_cells,
    sheet_part,
    styles_part,
    tag,
)

_TOKEN: Final = re.compile(
    r'"(?P<quoted>[^"]*)"|\\(?P<escaped>.)|_(?P<blank>.)|\*(?P<fill>.)|\[\$(?P<currency>[^\]-]*)(?:-[^\]]*)?\]'
    r"|(?P<colour>\[(?:[A-Z][a-z]+|Color ?\d+)\])|(?P<digit>[0#])|(?P<plain>[-+$()!^&'~{}<>=: ])"
    r"|(?P<end>;)|(?P<other>.)",
    re.DOTALL,
)
"""What a format is made of (ECMA-376 Part 1, 18.8.31); with what is `other` it shows no code."""
_BETWEEN: Final = re.compile(r"\d[^\d.,'\s]*(?:[-/_]|[^\W\d])[^\d.,'\s]*\d")
"""A sign between digits that parts no thousands and no decimals."""
_WORD_BEHIND: Final = re.compile(r"\s[^\W\d]+\.?\Z")
"""Such as a unit: what has one is a figure."""
_LITERAL: Final = ("quoted", "escaped")
_UNIT: Final = re.compile(r"[^\W\d_]+\.?|\"|'")
_LARGEST: Final = 10**15
"""From here on a binary64 is no longer every whole number."""


def code_cells(path: Path, sheet: str, rows: int, columns: int) -> dict[tuple[int, int], str]:
    """The codes, and figures with a unit, that a sheet of so many rows and columns shows, by row and column from 1."""
    with zipfile.ZipFile(path) as archive:
        if is_open_document(archive):
            return dict(_shown_codes(archive, sheet, rows, columns))
        formats = _formats(archive)
        part = sheet_part(archive, sheet)
        if part is None or not formats:
            return {}
        cells = placed_cells(events_of(archive, part))
        told = ((row, column, _told(cell, formats)) for row, column, cell in cells)
        return {(row, column): code for row, column, code in told if code}


def _formats(archive: zipfile.ZipFile) -> dict[str, str]:
    """The formats that may show a code, by the number of their style (ECMA-376 Part 1, 18.8.10 and 18.8.31)."""
    part = styles_part(archive)
    if part is None:
        return {}
    root = ET.fromstring(archive.read(part))  # noqa: S314  # as for all parts
    formats = {one.get("numFmtId"): one.get("formatCode", "") for one in root.iter() if tag(one) == "numFmt"}
    styles = next(([*one] for one in root.iter() if tag(one) == "cellXfs"), [])
    of = {str(number): formats.get(one.get("numFmtId"), "") for number, one in enumerate(styles)}
    return {style: format for style, format in of.items() if "0" in format or "#" in format}


def _told(cell: ET.Element, formats: dict[str, str]) -> str:
    """The code that a cell shows; empty where it shows none."""
    format = formats.get(cell.get("s", "0"), "")
    if not format or cell.get("t", "n") != "n":
        return ""
    if unit := _unit(_behind(format)):
        return _with_unit(_value(cell), unit)
    return _code(shown_by(format, value), value) if (value := _whole(_value(cell))) is not None else ""


def _tokens(format: str) -> list[tuple[str, str]]:
    """What a format shows a positive number by, or zero: the first of its sections, each token by kind and text."""
    found = ((one.lastgroup or "", one[one.lastgroup or 0] or "") for one in _TOKEN.finditer(format))
    return list(takewhile(lambda token: token[0] != "end", found))


def _behind(format: str) -> str:
    """What a format writes behind the digits of a positive number."""
    last = dropwhile(lambda token: token[0] != "digit" and token[1] != "?", reversed(_tokens(format)))
    digits = len(list(last))
    return "".join(text for kind, text in _tokens(format)[digits:] if digits and kind in _LITERAL)


def _unit(text: str) -> str:
    """A word that is a unit; empty of any other, which says nothing of the figure."""
    word = text.strip()
    if not _UNIT.fullmatch(word):
        return ""
    try:
        parse_any(f"1 {word}")
    except QuantityError:
        return ""
    return word


def _with_unit(value: str, unit: str) -> str:
    number = _number(value)
    return "" if number is None else f"{int(number) if number.is_integer() else number} {unit}"


def _value(cell: ET.Element) -> str:
    return next((one.text or "" for one in cell if tag(one) == "v"), "")


def _whole(text: str) -> int | None:
    """A whole number that is not negative, as a sheet holds it."""
    number = _number(text)
    return int(number) if number is not None and number.is_integer() and 0 <= number < _LARGEST else None


def _number(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None


def shown_by(format: str, number: int) -> str:
    """A whole number as a format of digits shows it; empty where the format has anything but digits and literals."""
    tokens = _tokens(format)
    first = next((place for place, (kind, _) in enumerate(tokens) if kind == "digit"), None)
    if first is None or any(kind == "other" for kind, _ in tokens):
        return ""
    left, shown = str(number) if number else "", list[str]()
    for place, (kind, text) in reversed(list(enumerate(tokens))):
        if kind == "digit":
            digit, left = (left[-1:], left[:-1]) if place != first else (left, "")
            shown.append(digit or (text if text == "0" else ""))
        elif kind in (*_LITERAL, "currency", "plain"):
            shown.append(text)
    return "".join(reversed(shown)).strip()


def _code(shown: str, number: int) -> str:
    """What is shown of a number where it is a code: with zeros before it or a sign between its digits."""
    digits = re.sub(r"\D", "", shown)
    if not digits or int(digits) != number or _WORD_BEHIND.search(shown):
        return ""
    return shown if (len(digits) > 1 and digits[0] == "0") or _BETWEEN.search(shown) else ""


def _shown_codes(
    archive: zipfile.ZipFile, sheet: str, rows: int, columns: int
) -> Iterator[tuple[tuple[int, int], str]]:
    """The codes of an OpenDocument sheet, whose cells say what they show."""
    for cell in open_document_cells(archive, sheet):
        if cell.told("value-type") != "float":
            continue
        shown, value = cell.shown().strip(), cell.told("value")
        number, unit = _whole(value), _unit(shown.rpartition(" ")[2])
        code = _with_unit(value, unit) if unit else _code(shown, number) if number is not None else ""
        if code:
            for row in islice(range(cell.row, rows + 1), cell.down):
                for column in islice(range(cell.column, columns + 1), cell.right):
                    yield (row, column), code
