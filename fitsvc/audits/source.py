"""The catalogue to be audited as chunks of raw cells, whichever of the three formats it has.

What is wrong with one line is noted and the next is read; what ends the reading ends the audit, so that no
part of a file is passed over in silence.
"""

import json
import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from itertools import islice
from pathlib import Path
from typing import Any, Final

import pyarrow as pa
import pyarrow.parquet as pq

from fitsvc.audits.plain_rows import Cell, plain_rows
from fitsvc.document import Document, Json
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.loading.csv_text import RowTooLong, read_cells, separator_of
from fitsvc.loading.header import nameless, no_header, ragged, repeated
from fitsvc.loading.json_text import read_json
from fitsvc.loading.lines import NumberedLines, read_lines
from fitsvc.loading.workbooks import ENDINGS, sheet_rows

FORMATS: Final = {
    **dict.fromkeys((".csv", ".tsv", ".txt", ".psv"), "CSV"),
    **dict.fromkeys((".jsonl", ".ndjson"), "JSON Lines"),
    ".parquet": "Parquet",
    **dict.fromkeys(ENDINGS, "workbook"),
}
_PACKED: Final = (".gz", ".zst")
_ELSEWHERE: Final = re.compile(r"([A-Za-z][A-Za-z0-9+.-]+):/")
"""What begins an address; a drive of some systems has one letter alone."""
CHUNK: Final = 8_192
_LEAST_APART: Final = 256
"""Lines that are read one by one where not all of the next are plain, before that is tried again; each time twice."""
LARGEST_CHUNK: Final = 256_000_000
WIRE: Final = "\0"
"""Begins a cell that is no text but JSON: a list, an object or a figure. Text files cannot hold the character."""


@dataclass(frozen=True, slots=True)
class Chunk:
    """Some rows: where each stands in the file, and the cells by column title; None is an empty cell.

    `lost` are the rows beside them that have not as many cells as the header, with where they stand.
    """

    lines: list[int]
    cells: Mapping[str, Sequence[Cell]]
    lost: list[tuple[int, list[Cell]]] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class FileForm:
    """How a file is written, of what it does not say itself: separator, encoding, line of the titles, sheet."""

    separator: str = ""
    encoding: str = ""
    header: int = 1
    sheet: str = ""


PLAIN: Final = FileForm()


def format_of(path: Path) -> str:
    """The format of a file by its name, packed or not; empty where that tells none."""
    packed = path.suffix.lower() in _PACKED
    return FORMATS.get((path.with_suffix("") if packed else path).suffix.lower(), "")


def missing(path: Path) -> Problem:
    """Why there is no file to be read at a path."""
    if place := _ELSEWHERE.match(str(path)):
        help = "files of this machine are read: fetch it, and name the file that it is then"
        return Problem(f"is an address (`{place[1]}://`) and no file", help, file=str(path))
    return Problem("is not a file" if path.exists() else "does not exist", "check the path", file=str(path))


def read_chunks(
    path: Path,
    problems: list[Problem],
    units: Mapping[str, str],
    wanted: Collection[str] | None = None,
    form: FileForm = PLAIN,
) -> Iterator[Chunk]:
    """Yield the rows of a file; ProblemsFound when it cannot be read to its end.

    `units` names the unit of each column that is a bare figure, for formats that have numbers; "" where a unit
    is wanting. `wanted` names the columns that are read, of a format whose columns have types: others may be of any.
    """
    kind = format_of(path)
    if not path.is_file():
        raise ProblemsFound([missing(path)])
    if kind == "CSV":
        yield from _csv_chunks(path, problems, form)
    elif kind == "workbook":
        rows = ((line, row) for line, row in sheet_rows(path, form.sheet) if line >= form.header)
        yield from _table_chunks(((line, [as_cell(cell) for cell in row]) for line, row in rows), path, problems)
    elif kind == "JSON Lines":
        yield from _json_chunks(path, problems, form)
    elif kind == "Parquet":
        yield from _parquet_chunks(path, units, wanted)
    else:
        listed = ", ".join(f"`{ending}` ({name})" for ending, name in FORMATS.items())
        help = f"it ends in {listed}, and maybe in `.gz` or `.zst` behind that"
        problem = Problem("the format is not known by the file's name", help, file=str(path))
        raise ProblemsFound([problem])


def titles_of(path: Path, form: FileForm = PLAIN) -> list[str] | None:
    """The column titles that stand in the file before any row; None for JSON Lines, which has none."""
    if format_of(path) == "Parquet" and path.is_file():
        return list(_parquet(path).schema_arrow.names)
    first = next(read_chunks(path, [], {}, None, form), None)
    return list(first.cells) if first and format_of(path) in ("CSV", "workbook") else None


def _texts(
    path: Path, problems: list[Problem], form: FileForm, lines: NumberedLines | None = None
) -> Iterator[tuple[int, str]]:
    """The lines of a text file, those that are left of `lines` where these are given.

    A line that is not text has a column; what has none ended the reading.
    """
    found: list[Problem] = []
    for line in read_lines(lines or path, str(path), found, form.encoding):
        problems += found
        found.clear()
        yield line
    if ended := [problem for problem in found if not problem.column]:
        raise ProblemsFound(ended)
    problems += found


def _table_chunks(rows: Iterator[tuple[int, list[Cell]]], path: Path, problems: list[Problem]) -> Iterator[Chunk]:
    """The chunks of rows of which the first has the titles."""
    titles = _titles(next(rows, (0, []))[1], path, problems)
    while some := list(islice(rows, CHUNK)):
        yield _whole_chunk(titles, some, path, problems)
    yield _table_chunk(titles, [], [])


def _titles(found: list[Cell], path: Path, problems: list[Problem]) -> list[str]:
    titles = [(title or "").removeprefix(WIRE).strip() for title in found]
    while len(titles) > 1 and not titles[-1]:
        titles.pop()
    if wrong := _bad_titles(titles, str(path)):
        raise ProblemsFound([*problems, *wrong])
    return titles


def _whole_chunk(titles: list[str], some: list[tuple[int, list[Cell]]], path: Path, problems: list[Problem]) -> Chunk:
    """A chunk of rows, of which those are lost that have not as many cells as there are titles."""
    if any(len(row) > len(titles) for _, row in some):
        some = [(line, _without_end(row, len(titles))) for line, row in some]
    lost = [(line, row) for line, row in some if len(row) != len(titles)]
    problems += [ragged(len(row), len(titles), str(path), line) for line, row in lost]
    return _table_chunk(titles, some if not lost else [one for one in some if len(one[1]) == len(titles)], lost)


def _without_end(row: list[Cell], count: int) -> list[Cell]:
    """A row without the empty cells that sheets leave behind their last column."""
    return row[:count] if not any(row[count:]) else row


def _table_chunk(titles: list[str], rows: list[tuple[int, list[Cell]]], lost: list[tuple[int, list[Cell]]]) -> Chunk:
    columns = [list(column) for column in zip(*(row for _, row in rows), strict=True)] or [[] for _ in titles]
    return Chunk([line for line, _ in rows], dict(zip(titles, columns, strict=True)), lost)


def _csv_chunks(path: Path, problems: list[Problem], form: FileForm) -> Iterator[Chunk]:
    """The rows of a text: those that are plain many at once, and the others one by one."""
    header = list[str]()
    with ExitStack() as opened:
        try:
            lines = opened.enter_context(NumberedLines(path))
        except OSError:  # which the rows tell
            lines = None
        rows = _csv_rows(_texts(path, problems, form, lines), header, path, problems, form)
        _, first = next(rows, (0, []))
        titles = _titles(first, path, problems)
        told = (len(first), len(titles), form.separator or separator_of(header[0]))
        stretch = _LEAST_APART
        while True:
            while lines and _may_be_plain(lines, form) and (plain := plain_rows(lines, *told)):
                yield Chunk(plain[0], dict(zip(titles, plain[1], strict=True)))
                stretch = _LEAST_APART
            some = list(islice(_until(rows, lines, stretch), CHUNK))
            if not some:
                break
            yield _whole_chunk(titles, some, path, problems)
            stretch = min(2 * stretch, CHUNK)
    yield _table_chunk(titles, [], [])


def _may_be_plain(lines: NumberedLines, form: FileForm) -> bool:
    """Whether a text is in UTF-8, as far as is known, and taken line by line."""
    return lines.line > 0 and form.encoding.lower().replace("_", "-") in ("", "utf-8", "utf8")


def _until(
    rows: Iterator[tuple[int, list[Cell]]], lines: NumberedLines | None, count: int
) -> Iterator[tuple[int, list[Cell]]]:
    """Rows until so many lines were taken for them."""
    last = lines.line + count if lines else 0
    for row in rows:
        yield row
        if lines and lines.line >= last:
            return


def _csv_rows(
    texts: Iterator[tuple[int, str]], header: list[str], path: Path, problems: list[Problem], form: FileForm
) -> Iterator[tuple[int, list[Any]]]:
    """The rows of a text; its line of titles goes to `header`."""
    try:
        yield from read_cells(_from_titles(texts, header, form), str(path), problems, form.separator)
    except RowTooLong:
        raise ProblemsFound([problems.pop()]) from None


def _from_titles(texts: Iterator[tuple[int, str]], header: list[str], form: FileForm) -> Iterator[tuple[int, str]]:
    for line in texts:
        if line[0] >= form.header:
            header.append(line[1])
            yield line
            break
    yield from texts


def _bad_titles(titles: list[str], file: str) -> list[Problem]:
    if not titles:
        return [no_header(file)]
    found = []
    for number, title in enumerate(titles, start=1):
        first = titles.index(title) + 1
        if not title:
            found.append(nameless(number, file, 1))
        elif first < number:
            found.append(repeated(title, number, first, file, 1))
    return found


def _json_chunks(path: Path, problems: list[Problem], form: FileForm) -> Iterator[Chunk]:
    rows: list[tuple[int, Document]] = []
    for number, text in _texts(path, problems, form):
        if not text.strip():
            continue
        try:
            document = read_json(text.rstrip(), str(path), number)
        except ProblemsFound as found:
            problems += found.problems
            continue
        if not isinstance(document, dict):
            help = 'write `{"sku": ..., "facts": {...}}`'
            problems.append(Problem("a record is one object", help, file=str(path), line=number))
            continue
        facts = document.get("facts")
        if twice := [key for key in document if isinstance(facts, dict) and key in facts]:
            listed = ", ".join(f"`{key}`" for key in twice)
            message = f"{listed} stands in `facts` and beside it"
            problems.append(Problem(message, "keep one of them", pointer=twice[0], file=str(path), line=number))
            continue
        if not isinstance(facts or {}, dict):
            help = 'write `{"weight": "30 lb", ...}`'
            problems.append(Problem("`facts` holds facts by their names", help, file=str(path), line=number))
            continue
        rows.append((number, _flat(document)))
        if len(rows) == CHUNK:
            yield _json_chunk(rows)
            rows = []
    yield _json_chunk(rows)


def _flat(document: Document) -> Document:
    """A record with its facts beside its other keys."""
    facts = document.get("facts")
    if not isinstance(facts, dict):
        return document
    return {**{key: value for key, value in document.items() if key != "facts"}, **facts}


def _json_chunk(rows: list[tuple[int, Document]]) -> Chunk:
    titles = dict.fromkeys(title for _, row in rows for title in row)
    cells = {title: [as_cell(row.get(title)) for _, row in rows] for title in titles}
    return Chunk([number for number, _ in rows], cells)


def as_cell(value: Json) -> str | None:
    """A value that may be no text as a cell."""
    if value is None or isinstance(value, str):
        return value
    return WIRE + json.dumps(value, ensure_ascii=False, default=_in_json)


def _in_json(value: Any) -> Json:
    """A value of a typed column that JSON has not: a decimal as the figure that it is, a day or an instant as text."""
    if isinstance(value, Decimal):
        return float(value)
    return value.isoformat(sep=" ") if isinstance(value, datetime) else str(value)


def name_in(cell: str | None) -> str:
    """The name in a cell; a whole number is one too, as files of figures have them."""
    text = (cell or "").strip()
    return text.removeprefix(WIRE) if not text.startswith((f"{WIRE}[", f"{WIRE}{{")) else text


def _parquet(path: Path) -> Any:
    try:
        return pq.ParquetFile(path, memory_map=False)
    except (pa.ArrowException, OSError) as error:
        reason = str(error).splitlines()[0] if str(error) else "unknown reason"
        problem = Problem(f"is not Parquet that can be read: {reason}", "write the file again", file=str(path))
        raise ProblemsFound([problem]) from None


def _parquet_chunks(path: Path, units: Mapping[str, str], wanted: Collection[str] | None) -> Iterator[Chunk]:
    file = _parquet(path)
    read = [field for field in file.schema_arrow if wanted is None or field.name in wanted]
    places = [(place, name) for place, name in enumerate(file.schema_arrow.names) if name in {one.name for one in read}]
    problems = _bad_titles([name.strip() for name in file.schema_arrow.names], str(path))
    problems += [_wrong_type(path, field) for field in read if _kind(field.type) is None]
    problems += [
        Problem(
            f"column `{field.name}` holds figures without a unit",
            f"name it `{field.name} [lb]`, or map it",
            file=str(path),
        )
        for field in read
        if _kind(field.type) == "figure" and units.get(field.name) == ""
    ]
    problems += _too_large(path, file.metadata)
    if problems:
        raise ProblemsFound(problems)
    row = 1
    try:
        for batch in file.iter_batches(batch_size=CHUNK):
            cells = {name: [as_cell(value) for value in batch.column(place).to_pylist()] for place, name in places}
            yield Chunk(list(range(row, row + batch.num_rows)), cells)
            row += batch.num_rows
    except (pa.ArrowException, OSError, UnicodeDecodeError) as error:
        reason = str(error).splitlines()[0]
        problem = Problem(f"cannot be read past row {row - 1}: {reason}", "write the file again", file=str(path))
        raise ProblemsFound([problem]) from None


def _too_large(path: Path, metadata: Any) -> Iterator[Problem]:
    """Refuse what would have to be held at once however small the file is: a column's share of a group of rows."""
    first = 1
    for group in (metadata.row_group(number) for number in range(metadata.num_row_groups)):
        last = first + group.num_rows - 1
        for column in (group.column(number) for number in range(group.num_columns)):
            if column.total_uncompressed_size > LARGEST_CHUNK:
                size = f"{column.total_uncompressed_size / 1e6:,.0f} MB"
                yield Problem(
                    f"column `{column.path_in_schema}` has {size} in the rows {first} to {last}",
                    f"write groups of fewer rows, with at most {LARGEST_CHUNK / 1e6:,.0f} MB in a column",
                    file=str(path),
                    line=first,
                )
        first = last + 1


def _kind(kind: Any) -> str | None:
    if pa.types.is_dictionary(kind) or pa.types.is_list(kind) or pa.types.is_large_list(kind):
        kind = kind.value_type
    if pa.types.is_string(kind) or pa.types.is_large_string(kind) or pa.types.is_null(kind):
        return "text"
    if pa.types.is_date(kind) or pa.types.is_timestamp(kind):
        return "text"
    if pa.types.is_integer(kind) or pa.types.is_floating(kind) or pa.types.is_decimal(kind):
        return "figure"
    return "yes_no" if pa.types.is_boolean(kind) else None


def _wrong_type(path: Path, field: Any) -> Problem:
    help = "write it as text, figures, yes/no, or lists of these"
    return Problem(f"column `{field.name}` is of type {field.type}", help, file=str(path))
