"""Whether a comma in figures parts thousands or decimals: told by a mapping or by the column, never by the cell.

`1,250` is 1250 where people write `12.5`, and one and a quarter where they write `12,5`.
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

_FIGURE: Final = re.compile(r"\d[\d.,]*", re.ASCII)
_WITH_COMMA: Final = re.compile(r"(?:\d+|\d{1,3}(?:\.\d{3})+)(?:,\d+)?\Z", re.ASCII)
_WITH_POINT: Final = re.compile(r"(?:\d+|[1-9]\d{0,2}(?:,\d{3})+)(?:\.\d+)?\Z", re.ASCII)
SURE_COMMA: Final = re.compile(r"(?<![\d.,])\d+(?:\.\d{3})*,(?:\d{1,2}|\d{4,})(?![\d.,])", re.ASCII)
"""A comma that parts no thousands."""
SURE_POINT: Final = re.compile(r"(?<![\d.,])\d+(?:,\d{3})*\.(?:\d{1,2}|\d{4,})(?![\d.,])", re.ASCII)
"""A point that parts no thousands."""
_EITHER: Final = re.compile(r"(?<![\d.,])[1-9]\d{0,2},\d{3}(?![\d.,])", re.ASCII)


class DecimalMarks:
    """In which columns of a catalogue some figure has a decimal comma; the cells are looked through once, if at all."""

    def __init__(self, chunks: Callable[[], Iterable[Chunk]]) -> None:
        self._chunks = chunks

    @cached_property
    def _commas(self) -> dict[str, str]:
        found: dict[str, str] = {}
        for chunk in self._chunks():
            for title, cells in chunk.cells.items():
                if title not in found and (
                    sure := next((cell for cell in _distinct(cells) if cell and SURE_COMMA.search(cell)), "")
                ):
                    found[title] = sure
        return found

    def hold(self, title: str, cell: str) -> None:
        """Refuse a cell that says one thing with a decimal comma and another without, where its column has them."""
        if _EITHER.search(cell) and (other := self._commas.get(title, "")):
            help = t(
                "say `decimal: comma` or `decimal: point` in a mapping: the column has {other} too", other=quoted(other)
            )
            message = t("{what} has a comma that may part decimals or thousands", what=quoted(cell))
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
    """One figure; zeros at its end are left out, so that `1.250` reads as one thing alone."""
    whole, _, part = figure.rstrip(".,").replace("." if mark == "," else ",", "").partition(mark)
    behind = figure[len(figure.rstrip(".,")) :]
    return whole + (f".{part.rstrip('0')}" if part.rstrip("0") else "") + behind
