"""Whether a comma in figures parts thousands or decimals: told by a mapping or by the columns, never by the cell.

`1,250` is 1250 where people write `12.5`, and one and a quarter where they write `12,5`; `1.250` is the other way
round. Beside figures with a decimal comma, in any column of figures, both are asked about.
"""

import re
from collections.abc import Callable, Iterable, Sequence
from functools import cached_property
from typing import Final

from fitsvc.audits.chunks import Chunk
from fitsvc.audits.plain_rows import Cell, CodedCells
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.loading.rows import quoted
from fitsvc.tongues import t

_THOUSANDS: Final = 3
"""Digits behind a mark that may part thousands."""
_FIGURE: Final = re.compile(r"\d[\d.,]*", re.ASCII)
_WITH_COMMA: Final = re.compile(r"(?:\d+|\d{1,3}(?:\.\d{3})+)(?:,\d+)?\Z", re.ASCII)
_WITH_POINT: Final = re.compile(r"(?:\d+|[1-9]\d{0,2}(?:,\d{3})+)(?:\.\d+)?\Z", re.ASCII)
SURE_COMMA: Final = re.compile(r"(?<![\d.,])\d+(?:\.\d{3})*,(?:\d{1,2}|\d{4,})(?![\d.,])", re.ASCII)
"""A comma that parts no thousands."""
SURE_POINT: Final = re.compile(r"(?<![\d.,])\d+(?:,\d{3})*\.(?:\d{1,2}|\d{4,})(?![\d.,])", re.ASCII)
"""A point that parts no thousands."""
EITHER_COMMA: Final = re.compile(r"(?<![\d.,])[1-9]\d{0,2},\d{3}(?![\d.,])", re.ASCII)
EITHER: Final = re.compile(r"(?<![\d.,])[1-9]\d{0,2}[.,]\d{3}(?![\d.,])", re.ASCII)
EITHER_POINT: Final = re.compile(r"(?<![\d.,])[1-9]\d{0,2}\.\d{3}(?![\d.,])", re.ASCII)


class DecimalMarks:
    """Which columns of a catalogue have a figure with a decimal comma; the cells are looked through once, if at all.

    `figures` are the titles of its columns of figures, which whoever reads them adds before.
    """

    def __init__(self, chunks: Callable[[], Iterable[Chunk]]) -> None:
        self._chunks = chunks
        self.figures: dict[str, None] = {}

    @cached_property
    def _sure(self) -> dict[str, tuple[str, str]]:
        """By title the first cell that has a sure decimal comma, and the first with a sure decimal point."""
        found: dict[str, tuple[str, str]] = {}
        for chunk in self._chunks():
            for title, cells in chunk.cells.items():
                comma, point = found.get(title, ("", ""))
                if comma and point:
                    continue
                each = [cell for cell in _distinct(cells) if cell]
                comma = comma or next((cell for cell in each if SURE_COMMA.search(cell)), "")
                point = point or next((cell for cell in each if SURE_POINT.search(cell)), "")
                found[title] = comma, point
        return found

    def comma_beside(self, title: str) -> str:
        """A cell with a decimal comma in the column of a title, or in another column of figures; empty for none."""
        return next((comma for one in (title, *self.figures) if (comma := self._sure.get(one, ("", ""))[0])), "")

    def has_commas(self, title: str) -> bool:
        """Whether a column has a figure with a decimal comma."""
        return bool(self._sure.get(title, ("", ""))[0])

    def has_points(self, title: str) -> bool:
        """Whether a column has a figure with a decimal point."""
        return bool(self._sure.get(title, ("", ""))[1])

    def hold(self, title: str, cell: str) -> None:
        """Refuse a cell that says one thing with a decimal comma and another without, where such stand beside it."""
        comma = bool(EITHER_COMMA.search(cell))
        if not comma and (not EITHER_POINT.search(cell) or self.has_points(title)):
            return
        if other := self.comma_beside(title):
            help = t("say `decimal: comma` or `decimal: point` in a mapping: there is {other} too", other=quoted(other))
            message = (
                t("{what} has a comma that may part decimals or thousands", what=quoted(cell))
                if comma
                else t("{what} has a point that may part decimals or thousands", what=quoted(cell))
            )
            raise ProblemsFound([Problem(message, help)])


def _distinct(cells: Sequence[Cell]) -> Iterable[Cell]:
    """Each cell once, as they come: which of several is named is the same in every run."""
    return cells.texts if isinstance(cells, CodedCells) else dict.fromkeys(cells)


def with_point(cell: str, mark: str) -> str:
    """A cell whose decimals are parted by a mark, as it is read: with a point, and no mark of thousands.

    ProblemsFound where a figure in it is not written so.
    """
    pattern = _WITH_COMMA if mark == "," else _WITH_POINT
    for figure in _FIGURE.findall(cell):
        if not pattern.match(figure.rstrip(".,")):
            words = (
                t("{what} is not written with a decimal comma", what=quoted(cell))
                if mark == ","
                else t("{what} is not written with a decimal point", what=quoted(cell))
            )
            raise ProblemsFound([Problem(words, t("look at the column"))])
    return _FIGURE.sub(lambda found: _plain(found[0], mark), cell)


def _plain(figure: str, mark: str) -> str:
    """One figure, that reads as one thing alone: zeros at its end are left out, and three decimals have one behind."""
    whole, _, part = figure.rstrip(".,").replace("." if mark == "," else ",", "").partition(mark)
    behind = figure[len(figure.rstrip(".,")) :]
    part = part.rstrip("0")
    return whole + (f".{part}{'0' * (len(part) == _THOUSANDS)}" if part else "") + behind
