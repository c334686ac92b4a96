"""Workbooks (.xlsx and .ods): the rows of one sheet, each cell as the workbook has it."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path
from typing import Any, Final

from fitsvc.document import Json
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.loading.code_cells import code_cells
from fitsvc.loading.error_cells import error_cells
from fitsvc.loading.merged_cells import merged_cells, spread
from fitsvc.loading.sheet_extent import MOST_CELLS, too_large

ENDINGS: Final = (".xlsx", ".xlsm", ".ods")
_FAR: Final = "remove what stands far from the table, or export the table as CSV"
_PANIC: Final = "pyo3_runtime"
"""Where the error is from with which the reader's own code gives up, which is no Exception."""


def sheets_of(path: Path) -> list[str]:
    """The names of a workbook's sheets that hold anything; ProblemsFound where it cannot be read."""
    return list(sheet_sizes(path))


def sheet_sizes(path: Path) -> dict[str, int]:
    """The sheets of a workbook that hold anything, each with its rows from the first to the last that does.

    ProblemsFound where it cannot be read.
    """
    with _read(path):
        book = _workbook(path)
        return {name: rows for name in book.sheet_names if (rows := book.get_sheet_by_name(name).height)}


def sheet_rows(path: Path, sheet: str = "") -> Iterator[tuple[int, list[Json]]]:
    """The rows of a sheet that hold anything, by their numbers there: texts, figures, yes or no, None.

    Dates, errors and codes (`004711` by its format) are texts. Merged cells stand in each of their rows; where one
    covers others of its row, these begin with `COVERED`.

    ProblemsFound where the sheet is not there, or is not told of several.
    """
    names = sheets_of(path)
    listed = ", ".join(f"`{name}`" for name in names)
    if sheet and sheet not in names:
        raise _refused(path, f"has no sheet `{sheet}` that holds anything", f"it has {listed}")
    if not sheet and len(names) != 1:
        help = f"say which in a mapping, such as `sheet: {names[0]}`" if names else "fill one"
        raise _refused(path, f"has the sheets {listed}" if names else "has no sheet that holds anything", help)
    with _read(path):
        read = _workbook(path).get_sheet_by_name(sheet or names[0])
        if read.height * read.width > MOST_CELLS:
            raise _refused(path, f"has a sheet of {read.height:,} rows and {read.width:,} columns", _FAR)
        rows = read.to_python(skip_empty_area=False)
        size = len(rows), max(map(len, rows), default=0)
        errors = error_cells(path, read.name)
        codes = code_cells(path, read.name, *size)
        merged = merged_cells(path, read, *size)
    if errors is None:
        message = "may hold cells with an error, such as `#N/A`, that cannot be told from empty ones"
        raise _refused(path, message, "save it as `.xlsx`, or export it as CSV")
    if merged is None:
        raise _refused(path, "has merged cells that lie over each other", "save it again, or export it as CSV")
    shown = codes | errors
    typed = (_cells(number, row, shown) for number, row in enumerate(rows, start=1))
    for number, cells in enumerate(spread(typed, merged) if merged else typed, start=1):
        if any(cell is not None for cell in cells):
            yield number, cells


def merged_in(path: Path, sheet: str) -> bool:
    """Whether a sheet has merged cells; ProblemsFound where it cannot be read."""
    with _read(path):
        read = _workbook(path).get_sheet_by_name(sheet)
        return bool(merged_cells(path, read, read.total_height, read.total_width))


def _cells(number: int, row: list[Any], shown: Mapping[tuple[int, int], str]) -> list[Json]:
    """The cells of a row, those of which the value tells less than they show as they are shown."""
    cells = [_cell(value) for value in row]
    return [shown.get((number, place), cell) for place, cell in enumerate(cells, start=1)] if shown else cells


def _workbook(path: Path) -> Any:
    from python_calamine import load_workbook

    if why := too_large(path):
        raise _refused(path, why, _FAR)
    return load_workbook(str(path))


@contextmanager
def _read(path: Path) -> Iterator[None]:
    """Say of a workbook that is damaged, as a whole or in one sheet, or locked, that it cannot be read."""
    try:
        yield
    except ProblemsFound:
        raise
    except BaseException as error:
        # Damage has no end of forms: of the archive, its packing, the XML, what the XML says, and the reader's panics.
        is_damage = isinstance(error, Exception) and not isinstance(error, MemoryError)
        if not is_damage and type(error).__module__ != _PANIC:
            raise
        help = "save it again, or export it as CSV"
        raise _refused(path, f"is no workbook that can be read: {error}", help) from None


def _refused(path: Path, message: str, help: str) -> ProblemsFound:
    return ProblemsFound([Problem(message, help, file=str(path))])


def _cell(value: Any) -> Json:
    if isinstance(value, float):
        return int(value) if value.is_integer() and abs(value) < 1e15 else value
    if isinstance(value, datetime) and (value.hour, value.minute, value.second) == (0, 0, 0):
        return value.date().isoformat()
    if isinstance(value, date | datetime):
        return value.isoformat(sep=" ") if isinstance(value, datetime) else value.isoformat()
    if isinstance(value, bool | int | str) or value is None:
        return value if value != "" else None
    return str(value)
