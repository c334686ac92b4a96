"""The catalogue to be audited as chunks of raw cells, whichever of the three formats it has.

What is wrong with one line is noted and the next is read; what ends the reading ends the audit, so that no
part of a file is passed over in silence.
"""

import re
from collections.abc import Collection, Iterator, Mapping
from contextlib import ExitStack
from itertools import islice
from pathlib import Path
from typing import Any, Final

from fitsvc.audits.chunks import CHUNK, PLAIN, Chunk, FileForm, as_cell, bad_titles, shown
from fitsvc.audits.parquet_chunks import opened_parquet, parquet_chunks
from fitsvc.audits.plain_rows import Cell, plain_rows
from fitsvc.document import Document
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.loading.csv_text import RowTooLong, read_cells, separator_of
from fitsvc.loading.header import ragged
from fitsvc.loading.json_text import read_json
from fitsvc.loading.lines import NumberedLines, read_lines
from fitsvc.loading.merged_cells import is_covered
from fitsvc.loading.workbooks import ENDINGS, sheet_rows, sheet_sizes
from fitsvc.tongues import t

FORMATS: Final = {
    **dict.fromkeys((".csv", ".tsv", ".txt", ".psv"), "CSV"),
    **dict.fromkeys((".jsonl", ".ndjson"), "JSON Lines"),
    ".parquet": "Parquet",
    **dict.fromkeys(ENDINGS, "workbook"),
}
_PACKED: Final = (".gz", ".zst")
_ELSEWHERE: Final = re.compile(r"([A-Za-z][A-Za-z0-9+.-]+):/")
"""What begins an address; a drive of some systems has one letter alone."""
_LEAST_APART: Final = 256
"""Lines that are read one by one where not all of the next are plain, before that is tried again; each time twice."""


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
        yield from _table_chunks(((line, [as_cell(cell) for cell in row]) for line, row in rows), path, problems, form)
    elif kind == "JSON Lines":
        yield from _json_chunks(path, problems, form)
    elif kind == "Parquet":
        yield from parquet_chunks(path, units, wanted)
    else:
        listed = ", ".join(f"`{ending}` ({name})" for ending, name in FORMATS.items())
        help = f"it ends in {listed}, and maybe in `.gz` or `.zst` behind that"
        problem = Problem("the format is not known by the file's name", help, file=str(path))
        raise ProblemsFound([problem])


def sheets_left(path: Path, form: FileForm) -> dict[str, int]:
    """The sheets of a workbook that are not read, each with its rows; nothing of any other file."""
    if format_of(path) != "workbook" or not form.sheet:
        return {}
    return {name: rows for name, rows in sheet_sizes(path).items() if name != form.sheet}


def titles_of(path: Path, form: FileForm = PLAIN) -> list[str] | None:
    """The column titles that stand in the file before any row; None for JSON Lines, which has none."""
    if format_of(path) == "Parquet" and path.is_file():
        return list(opened_parquet(path).schema_arrow.names)
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


def _table_chunks(
    rows: Iterator[tuple[int, list[Cell]]], path: Path, problems: list[Problem], form: FileForm
) -> Iterator[Chunk]:
    """The chunks of rows of which the first has the titles."""
    _, first = next(rows, (0, []))
    titles = _titles(first, path, problems, form)
    while some := list(islice(rows, CHUNK)):
        yield _whole_chunk(titles, len(first), some, path, problems)
    yield _table_chunk(titles, [], [])


def _titles(found: list[Cell], path: Path, problems: list[Problem], form: FileForm) -> list[str]:
    if not found and form.header > 1:
        help = t("say in the mapping in which line the titles stand, such as `header: 3`")
        message = t("the file ends before line {line}, in which the titles are said to stand", line=form.header)
        raise ProblemsFound([*problems, Problem(message, help, file=str(path))])
    # Of a title that is merged across columns only the first has it: of the others it is not certain.
    titles = ["" if is_covered(title) else shown(title).strip() for title in found]
    while len(titles) > 1 and not titles[-1]:
        titles.pop()
    if wrong := bad_titles(titles, str(path)):
        # A file of which no line could be read is not empty: what is wrong with it was said.
        raise ProblemsFound([*problems, *(wrong if found or not problems else ())])
    return titles


def _whole_chunk(
    titles: list[str],
    columns: int,
    some: list[tuple[int, list[Cell]]],
    path: Path,
    problems: list[Problem],
    separator: str = "",
) -> Chunk:
    """A chunk of rows, of which those are lost that have not as many cells as there are titles.

    `columns` are those of the header, with what stands empty behind its last title; `separator` parts a text's cells.
    """
    if any(len(row) > len(titles) for _, row in some):
        some = [(line, _without_end(row, len(titles))) for line, row in some]
    lost = [(line, row) for line, row in some if len(row) != len(titles)]
    problems += [
        _untitled(row, len(titles), str(path), line)
        if len(titles) < len(row) <= columns
        else ragged(len(row), len(titles), str(path), line, separator)
        for line, row in lost
    ]
    return _table_chunk(titles, some if not lost else [one for one in some if len(one[1]) == len(titles)], lost)


def _untitled(row: list[Cell], titles: int, file: str, line: int) -> Problem:
    """A row with a cell under the end of a header that is empty there."""
    number = next(place for place, cell in enumerate(row, start=1) if place > titles and _says(cell))
    help = t("give every column a name, or remove it")
    return Problem(t("column {number} has no name, and a cell here", number=number), help, file=file, line=line)


def _without_end(row: list[Cell], count: int) -> list[Cell]:
    """A row without the empty cells that sheets leave behind their last column."""
    return row[:count] if not any(map(_says, row[count:])) else row


def _says(cell: Cell) -> bool:
    """Whether a cell that has no title says anything: one that is covered does not, but what covers it."""
    return bool(cell) and not is_covered(cell)


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
        titles = _titles(first, path, problems, form)
        told = (len(first), len(titles), form.separator or separator_of(header[0]))
        stretch = _LEAST_APART
        while True:
            while lines and _may_be_plain(lines, form) and (plain := plain_rows(lines, *told)):
                yield Chunk(plain[0], dict(zip(titles, plain[1], strict=True)))
                stretch = _LEAST_APART
            some = list(islice(_until(rows, lines, stretch), CHUNK))
            if not some:
                break
            yield _whole_chunk(titles, len(first), some, path, problems, told[-1])
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
