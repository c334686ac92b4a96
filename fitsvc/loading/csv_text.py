"""CSV text → rows of cells, each with the line it begins in."""

import csv
from collections.abc import Iterator, Sequence
from itertools import chain
from typing import Final

from fitsvc.language.problems import Problem
from fitsvc.loading.lines import LONGEST_LINE

LONGEST_ROW: Final = LONGEST_LINE
_LINE_ENDS: Final = "save it anew: a line ends with a line feed, with a carriage return before it or without"
_HELP: Final = 'put a cell that holds commas or quotes in `"`, its own quotes doubled'


_UNCLOSED: Final = 'a `"` may be missing at the end of a cell, or stand there for inches'
_SURE: Final = 4
"""So many cells no line of a text is likely to have by its commas."""


class RowTooLong(Exception):
    """A row goes on over so many lines that it is no row; the problem stands among the others."""


SEPARATORS: Final = (",", ";", "\t", "|")
"""What may stand between cells; of two that a header has as often, the first."""


def separator_of(header: str) -> str:
    """What parts the cells of a header: the separator that stands most often outside of quotes."""
    bare = "".join(header.split('"')[::2])
    return max(SEPARATORS, key=lambda one: (bare.count(one), -SEPARATORS.index(one)))


def read_cells(
    texts: Iterator[tuple[int, str]], file: str, problems: list[Problem], separator: str = ""
) -> Iterator[tuple[int, list[str]]]:
    """Yield the rows that hold anything, from numbered lines of which those that could not be read are left out.

    A row with such a line inside is left out too, since nobody knows what it said, and so is one that goes on over a
    line that looks like a row of its own. The first line tells what parts the cells, unless that is told.

    RowTooLong is raised where a row never ends.
    """
    lines: list[int] = []
    told: list[str] = []
    length = 0

    def of_row() -> Iterator[str]:
        nonlocal length
        for number, text in texts:
            lines.append(number)
            told.append(text)
            length += len(text)
            if length > LONGEST_ROW:
                help = 'a `"` may be missing at the end of one of its cells'
                message = f"the row is longer than {LONGEST_ROW:,} characters"
                problems.append(Problem(message, help, file=file, line=lines[0]))
                raise RowTooLong
            yield text

    first = next(texts, None)
    if first is None:
        return
    texts = chain((first,), texts)
    separator = separator or separator_of(first[1])
    reader = csv.reader(of_row(), strict=True, delimiter=separator)
    while True:
        lines.clear()
        told.clear()
        length = 0
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            line, last = (lines[0], lines[-1]) if lines else (0, 0)
            lost = f"; the lines {line} to {last} are in no row" if last > line else ""
            if "new-line character" in str(error):
                message = f"is not CSV: a carriage return stands where no line ends{lost}"
                problems.append(Problem(message, _LINE_ENDS, file=file, line=line))
                continue
            problems.append(Problem(f"is not CSV: {error}{lost}", _HELP, file=file, line=line))
            continue
        if joined := _joined(told, len(cells), separator):
            message = (
                f"the row goes on to line {lines[-1]}, and line {lines[joined]} looks like a row of its own; "
                f"the lines {lines[0]} to {lines[-1]} are in no row"
            )
            problems.append(Problem(message, f"{_UNCLOSED}: {_HELP}", file=file, line=lines[0]))
            continue
        whole = lines[-1] - lines[0] < len(lines)
        if whole and any(cell.strip() for cell in cells):
            yield lines[0], cells


def _joined(lines: Sequence[str], cells: int, separator: str) -> int:
    """Which line of a row, after its first, has as many cells as the row and so looks like one of its own; 0 if none.

    Of few cells it does where the first looks like an item's number: a text of several lines has commas too.
    """
    for place, line in enumerate(lines[1:], start=1):
        parts = line.split(separator)
        first = parts[0].strip()
        if len(parts) == cells > 1 and (cells >= _SURE or (" " not in first and any(map(str.isdigit, first)))):
            return place
    return 0
