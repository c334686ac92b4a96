"""CSV text → rows of cells, each with the line it begins in."""

import csv
from collections.abc import Iterator
from typing import Final

from fitsvc.language.problems import Problem
from fitsvc.loading.lines import LONGEST_LINE

LONGEST_ROW: Final = LONGEST_LINE
_HELP: Final = 'put a cell that holds commas or quotes in `"`, its own quotes doubled'


class RowTooLong(Exception):
    """A row goes on over so many lines that it is no row; the problem stands among the others."""


def not_parted(titles: list[str], file: str, line: int) -> Problem | None:
    """What is wrong with a header whose columns are parted by something else than commas."""
    alone = titles[0].strip() if len(titles) == 1 else ""
    if not (parted := "tabs" if "\t" in alone else "`;`" if ";" in alone else ""):
        return None
    help = f"export the file with `,`, not with {parted}, between its cells"
    return Problem("separate the columns with commas", help, file=file, line=line)


def read_cells(texts: Iterator[tuple[int, str]], file: str, problems: list[Problem]) -> Iterator[tuple[int, list[str]]]:
    """Yield the rows that hold anything, from numbered lines of which those that could not be read are left out.

    A row with such a line inside is left out too, since nobody knows what it said.

    RowTooLong is raised where a row never ends.
    """
    lines: list[int] = []
    length = 0

    def of_row() -> Iterator[str]:
        nonlocal length
        for number, text in texts:
            lines.append(number)
            length += len(text)
            if length > LONGEST_ROW:
                help = 'a `"` may be missing at the end of one of its cells'
                message = f"the row is longer than {LONGEST_ROW:,} characters"
                problems.append(Problem(message, help, file=file, line=lines[0]))
                raise RowTooLong
            yield text

    reader = csv.reader(of_row(), strict=True)
    while True:
        lines.clear()
        length = 0
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            line, last = (lines[0], lines[-1]) if lines else (0, 0)
            lost = f"; the lines {line} to {last} are in no row" if last > line else ""
            problems.append(Problem(f"is not CSV: {error}{lost}", _HELP, file=file, line=line))
            continue
        whole = lines[-1] - lines[0] < len(lines)
        if whole and any(cell.strip() for cell in cells):
            yield lines[0], cells
