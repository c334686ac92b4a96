"""The header of a CSV file, told alike whatever is read from it: what a title says, and what is wrong with it."""

import re
from collections.abc import Collection
from typing import Final

from fitsvc.language.problems import Problem
from fitsvc.language.quantities import DIMENSIONS, Dimension, QuantityError, parse_any, parse_quantity
from fitsvc.language.types import ListType
from fitsvc.loading.rows import quoted
from fitsvc.rulebook.vocabulary import Fact
from fitsvc.tongues import t

_UNIT: Final = re.compile(r"(?P<name>.*?)\s*\[(?P<unit>[^\[\]]*)\]\Z", re.DOTALL)


def read_title(title: str) -> tuple[str, str | None]:
    """`weight [lb]` as the name of a column and the unit of its bare figures; no unit where none is written."""
    title = title.strip()
    found = _UNIT.match(title)
    return (found["name"], found["unit"].strip()) if found else (title, None)


def dimension_of(fact: Fact) -> Dimension | None:
    """The dimension of the figures that a column of a fact may have the unit of; None for what takes no unit."""
    if isinstance(fact.type, ListType):
        return fact.type.dimension
    return DIMENSIONS.get(fact.kind) if fact.kind != "count" else None


def unit_problem(shown: str, name: str, unit: str, dimensions: Collection[Dimension]) -> Problem | None:
    """What is wrong with the unit of a column, as it is `shown`, of facts of this name and these dimensions."""
    if not dimensions:
        return Problem(f"column {quoted(shown)} has no unit", f"write `{name}`: it is not a quantity")
    try:
        _, found = parse_any(f"1 {unit}")
        if found not in dimensions:
            parse_quantity(f"1 {unit}", min(dimensions, key=str))
    except QuantityError as error:
        return Problem(f"column {quoted(shown)} cannot be in {quoted(unit)}: {error.message}", error.help)
    return None


def no_header(file: str) -> Problem:
    """A file that holds nothing."""
    return Problem("the file is empty: it has no header", "begin with a line of column names", file=file)


def nameless(number: int, file: str, line: int) -> Problem:
    """A column without a title."""
    return Problem(f"column {number} has no name", "give every column a name, or remove it", file=file, line=line)


def repeated(name: str, number: int, first: int, file: str, line: int) -> Problem:
    """A column that is there before."""
    return Problem(f"column {number} is {quoted(name)} again, as column {first}", "keep one", file=file, line=line)


def ragged(cells: int, titles: int, file: str, line: int, separator: str = ",") -> Problem:
    """A row that has not as many cells as the header; `separator` is what parts the cells, none in a sheet."""
    message = t(
        "the row has {count} cell, the header {titles}"
        if cells == 1
        else "the row has {count} cells, the header {titles}",
        count=cells,
        titles=titles,
    )
    return Problem(message, _whole_row(separator, short=cells < titles), file=file, line=line)


def _whole_row(separator: str, *, short: bool) -> str:
    """What to write for a row to have a cell for each title, in a file whose cells are parted so."""
    if separator == ",":
        return t("write empty cells as `,,`" if short else "put a cell with a comma in quotes")
    if separator == "\t":
        return t("write two tabs where a cell is empty" if short else "put a cell with a tab in quotes")
    if separator and short:
        return t("write empty cells as `{two}`", two=2 * separator)
    if separator:
        return t("put a cell with `{mark}` in quotes", mark=separator)
    return t("give the row a cell for each title")
