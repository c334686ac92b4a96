"""Merged cells of a workbook: what reads values hands over the first of them, and empty ones for the others.

A cell that is merged downwards is the cell of each of its rows: it says of each what it says of the first. Of which
columns it speaks where it is merged across several is not certain, but of its first: the cells beneath it are told to
be covered, so that none looks as if nothing were said. A merged cell that is alone in its row is a heading.
"""

import zipfile
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any, Final, NamedTuple

from fitsvc.document import Json
from fitsvc.loading.workbook_parts import is_open_document, open_document_cells

COVERED: Final = "\0\0"
"""Begins a cell that a merged one covers; behind it stands what that says."""


class MergedCells(NamedTuple):
    """The first and last row and the first and last column of a merged cell, from 1."""

    top: int
    left: int
    bottom: int
    right: int


def is_covered(cell: Any) -> bool:
    """Whether a cell is covered by a merged one that may speak of it or not."""
    return isinstance(cell, str) and cell.startswith(COVERED)


def merged_cells(path: Path, sheet: Any, rows: int, columns: int) -> list[MergedCells] | None:
    """The merged cells of a sheet as far as it has so many rows and columns; None where they lie over each other."""
    with zipfile.ZipFile(path) as archive:
        every = _of_open_document(archive, sheet.name, rows) if is_open_document(archive) else _of_sheet(sheet)
        found, cells = list[MergedCells](), 0
        for top, left, bottom, right in every:
            one = MergedCells(top, left, min(bottom, rows), min(right, columns))
            if one.top > one.bottom or one.left > one.right or one[:2] == one[2:]:
                continue
            cells += (one.bottom - one.top + 1) * (one.right - one.left + 1)
            if cells > rows * columns:
                return None
            found.append(one)
    return found


def _of_sheet(sheet: Any) -> Iterator[tuple[int, int, int, int]]:
    for (top, left), (bottom, right) in sheet.merged_cell_ranges or ():
        yield top + 1, left + 1, bottom + 1, right + 1


def _of_open_document(archive: zipfile.ZipFile, sheet: str, rows: int) -> Iterator[tuple[int, int, int, int]]:
    for cell in open_document_cells(archive, sheet):
        down, right = cell.spans()
        if down > 1 or right > 1:
            for row in range(cell.row, min(cell.row + cell.down, rows + 1)):  # a row that stands there several times
                yield row, cell.column, row + down - 1, cell.column + right - 1


def spread(rows: Iterable[Sequence[Json]], merged: Iterable[MergedCells]) -> Iterator[list[Json]]:
    """The rows of a sheet, from its first on, with what their merged cells say."""
    begins: dict[int, list[MergedCells]] = {}
    for one in merged:
        begins.setdefault(one.top, []).append(one)
    active: list[tuple[MergedCells, Json]] = []
    for number, cells in enumerate(rows, start=1):
        active = [(one, says) for one, says in active if one.bottom >= number]
        active += [(one, cells[one.left - 1]) for one in begins.get(number, ())]
        yield _with_merged(list(cells), number, active) if active else list(cells)


def _with_merged(cells: list[Json], number: int, active: Sequence[tuple[MergedCells, Json]]) -> list[Json]:
    """A row with what the cells say that are merged over it; nothing of a row in which nothing else stands."""
    covered = {place for one, _ in active for place in _covered(one, number)}
    own = [place for place, cell in enumerate(cells) if cell is not None and place not in covered]
    if not own:
        return [None] * len(cells)
    alone = own[0] if len(own) == 1 else None
    for one, says in active:
        first = one.left - 1
        for place in _covered(one, number):
            beneath = cells[place]
            if beneath not in (None, says):  # some programs leave it there, where nobody sees it
                cells[place] = f"{COVERED}{says}"
            elif place == first:
                cells[place] = says
            else:
                cells[place] = None if says is None or first == alone else f"{COVERED}{says}"
    return cells


def _covered(one: MergedCells, number: int) -> range:
    """The places in a row that a merged cell covers, from 0: not that in which it stands itself."""
    return range(one.left - (number > one.top), one.right)
