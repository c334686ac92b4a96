"""The cells of a workbook that hold a number and show more: a unit, words, or a code as `004711` by `000000`.

What reads values hands over the number, and nobody who looks at the sheet knows it: what is shown is what was written,
so that `max 120` and `N/A` are no 120. Formats of figures, with decimals or thousands, show nothing that the number
does not say.
"""

import re
import xml.etree.ElementTree as ET
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import islice, takewhile
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
    r"|(?P<colour>\[(?:[A-Z][a-z]+|Color ?\d+)\])|(?P<condition>\[[<>=][^\]]*\])|(?P<general>General|@)"
    r"|(?P<digit>[0#?])|(?P<point>[.,])|(?P<percent>%)|(?P<exponent>E[-+])|(?P<date>\[[hmsHMS]+\]|[ymdhsYMDHS])"
    r"|(?P<plain>[-+$()!^&'~{}<>=: ])|(?P<end>;)|(?P<other>.)",
    re.DOTALL,
)
"""What a format is made of (ECMA-376 Part 1, 18.8.31)."""
_SHOWN: Final = ("quoted", "escaped", "currency", "plain", "percent")
"""What is shown as it stands there."""
_SILENT: Final = ("blank", "fill", "colour")
_PERCENT: Final = {"9": "0%", "10": "0.00%"}
"""The formats that every workbook has and that show more than the number (18.8.30)."""
_BETWEEN: Final = re.compile(r"\d[^\d.,'\s]*(?:[-/_]|[^\W\d])[^\d.,'\s]*\d")
"""A sign between digits that parts no thousands and no decimals."""
_WORD_BEHIND: Final = re.compile(r"\s[^\W\d]+\.?\Z")
"""Such as a unit: what has one is a figure."""
_UNIT: Final = re.compile(r"[^\W\d_]+\.?|\"|'")
_RUN: Final = re.compile(r"\d(?:[\d.,'’/\s]*\d)?(?:E[-+]?\d+)?")
"""A figure as it is shown: with its decimals and thousands, as a fraction or with an exponent."""
_PARTED: Final = re.compile(r"\d(?:[\d.,'’\s]*\d)?")
_FIGURES: Final = ("float", "percentage", "currency")
"""The types of cells that hold a number (`office:value-type` of OpenDocument 1.3 Part 3)."""
_DASHES: Final = ("-", "\N{EN DASH}", "\N{EM DASH}")
_OF_ZERO: Final = 2
_MOST_FORMATS: Final = 256
_DECIMALS: Final = re.compile(r"[.,](\d+)\Z")
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
    """The formats of a workbook by the number of their style (ECMA-376 Part 1, 18.8.10 and 18.8.31)."""
    part = styles_part(archive)
    if part is None:
        return {}
    root = ET.fromstring(archive.read(part))  # noqa: S314  # as for all parts
    formats = {one.get("numFmtId", ""): one.get("formatCode", "") for one in root.iter() if tag(one) == "numFmt"}
    styles = next(([*one] for one in root.iter() if tag(one) == "cellXfs"), [])
    of = {str(number): (_PERCENT | formats).get(one.get("numFmtId", ""), "") for number, one in enumerate(styles)}
    return {style: format for style, format in of.items() if format}


def _told(cell: ET.Element, formats: dict[str, str]) -> str:
    """What a cell shows beyond its number; empty where it shows no more."""
    format, number = formats.get(cell.get("s", "0"), ""), _number(_value(cell))
    if not format or number is None or cell.get("t", "n") != "n":
        return ""
    return shown_by(format, number)


@dataclass(frozen=True)
class _Section:
    """What a format shows a number by: its tokens by kind and text, and where among them the digits begin and end."""

    tokens: tuple[tuple[str, str], ...]
    first: int
    end: int

    @property
    def words(self) -> tuple[str, str]:
        """What is shown before and behind the digits."""
        before, behind = self.tokens[: self.first], self.tokens[self.end :]
        ahead, after = ("".join(text for kind, text in some if kind in _SHOWN) for some in (before, behind))
        return ahead, after

    @property
    def thousands(self) -> int:
        """By how many thousands a number is shown smaller: a comma each, right behind the digits."""
        return len(list(takewhile(lambda token: token == ("point", ","), self.tokens[self.end :])))

    def has(self, kind: str) -> bool:
        """Whether a token of a kind is among them."""
        return any(one == kind for one, _ in self.tokens)


@lru_cache(_MOST_FORMATS)
def _sections(format: str) -> tuple[_Section, ...]:
    """The parts of a format; read once for all cells that have it."""
    found: list[list[tuple[str, str]]] = [[]]
    for one in _TOKEN.finditer(format):
        if one.lastgroup == "end":
            found.append([])
        else:
            found[-1].append((one.lastgroup or "", one[one.lastgroup or 0] or ""))
    sections = []
    for some in found:
        digits = [n for n, (kind, _) in enumerate(some) if kind in ("digit", "general")] or [len(some) - 1]
        sections.append(_Section(tuple(some), digits[0], digits[-1] + 1))
    return tuple(sections)


def _section(format: str, number: float) -> _Section:
    """That part of a format by which a number is shown: there may be one for what is below zero, and one for zero."""
    sections = _sections(format)
    place = 1 if number < 0.0 and len(sections) > 1 else _OF_ZERO if number == 0.0 and len(sections) > _OF_ZERO else 0
    return sections[place]


def shown_by(format: str, number: float) -> str:
    """A number as a format shows it, where that says more than the number or something else; else nothing.

    What is not certain is told as it is written, which reads as no figure.
    """
    section = _section(format, number)
    if section.has("date") or not section.tokens:  # what reads values hands over days as such
        return ""
    if not any(kind == "general" or (kind == "digit" and text != "?") for kind, text in section.tokens):
        said = "".join(text for kind, text in section.tokens if kind in _SHOWN).strip()
        return "" if number == 0.0 and said in _DASHES else said  # a dash is how bookkeepers write nought
    whole = _whole(number)
    if whole is not None and (code := _code(_digits(section, whole), whole)):
        return code
    number /= 1000.0**section.thousands
    ahead, behind = (words.strip() for words in section.words)
    if number < 0.0 and ";" in format:
        number = number if "-" in ahead + behind or "(" in ahead else -number
        ahead, behind = ahead.lstrip("(-"), behind.rstrip(")-")
    ahead = ahead.lstrip("+")
    within = "".join(text for kind, text in section.tokens[section.first : section.end] if kind in _SHOWN).strip()
    if not (ahead or behind or within or section.thousands):
        return ""
    if within or section.has("condition"):
        return (_digits(section, whole) if whole is not None else "") or f"{_figure(number)} ({format})"
    if not ahead and _unit(behind):
        return f"{_figure(number)} {behind}"
    if section.has("other"):
        return f"{_figure(number)} ({format})"
    number *= 100.0 if section.has("percent") else 1.0
    return _beside(ahead, number, behind)


def _beside(ahead: str, number: float, behind: str) -> str:
    """A number with the words about it; signs stand right beside it."""
    first = " " if ahead[-1:].isalnum() else ""
    then = " " if behind[:1].isalpha() else ""
    return f"{ahead}{first}{_figure(number)}{then}{behind}"


def _figure(number: float) -> str:
    return str(int(number)) if number.is_integer() else f"{number:.12g}"


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


def _value(cell: ET.Element) -> str:
    return next((one.text or "" for one in cell if tag(one) == "v"), "")


def _whole(number: float | None) -> int | None:
    """A whole number that is not negative, as a sheet holds it."""
    return int(number) if number is not None and number.is_integer() and 0 <= number < _LARGEST else None


def _number(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None


def _digits(section: _Section, number: int) -> str:
    """A whole number as a section of digits shows it; empty where it has anything but digits and literals."""
    if any(kind not in (*_SHOWN, *_SILENT, "digit") for kind, _ in section.tokens) or section.has("percent"):
        return ""
    left, shown = str(number) if number else "", list[str]()
    for place, (kind, text) in reversed(list(enumerate(section.tokens))):
        if kind == "digit":
            digit, left = (left[-1:], left[:-1]) if place != section.first else (left, "")
            shown.append(digit or (text if text == "0" else ""))
        elif kind in _SHOWN:
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
        number = _number(cell.told("value"))
        if cell.told("value-type") not in _FIGURES or number is None:
            continue
        if shown := _beyond(cell.shown().strip(), number):
            for row in islice(range(cell.row, rows + 1), cell.down):
                for column in islice(range(cell.column, columns + 1), cell.right):
                    yield (row, column), shown


def _beyond(shown: str, number: float) -> str:
    """What is shown beyond a number; empty where it is that number, in whatever way digits are parted."""
    before, found, behind = shown.partition(run[0]) if (run := _RUN.search(shown)) else ("", "", shown)
    before, behind = before.strip().lstrip("+(-" if number < 0.0 else "+"), behind.strip()
    behind = behind.removesuffix(")") if "(" in shown else behind
    if not found:
        return "" if number == 0.0 and behind in _DASHES else behind
    if _PARTED.fullmatch(found) is None or _same(found, number):
        whole = _whole(number)
        code = _code(shown, whole) if whole is not None else ""
        if not before and behind in ("", "%"):
            return code or (f"{_figure(100.0 * number)}%" if behind else "")
        return code or _beside(before, 100.0 * number if behind[:1] == "%" else number, behind)
    return shown


def _same(found: str, number: float) -> bool:
    """Whether digits are those of a number, rounded to any place."""
    digits, decimals = re.sub(r"\D", "", found).lstrip("0"), _DECIMALS.search(found)
    places = (0, len(decimals[1])) if decimals else (0,)
    of_percent = (abs(number), 100.0 * abs(number))
    return any(f"{one:.{count}f}".replace(".", "").lstrip("0") == digits for one in of_percent for count in places)
