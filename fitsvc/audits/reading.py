"""First stage of an audit: the catalogue read once, bad rows and cells told, items kept as blocks of typed columns."""

import csv
from collections.abc import Callable, Iterable, Iterator, Mapping
from itertools import count
from pathlib import Path
from typing import Any, Final

from fitsvc.audits.chunks import Chunk, as_cell
from fitsvc.audits.claims import ClaimReader, read_ball_claims
from fitsvc.audits.item_rows import BadCell, ItemReader
from fitsvc.audits.items import Items, ReadReport, joined
from fitsvc.audits.mapping import FileMapping
from fitsvc.audits.others import BALL
from fitsvc.audits.plain_rows import Cell
from fitsvc.audits.source import read_chunks, sheets_left, titles_of
from fitsvc.audits.spool import Spool
from fitsvc.facts import FactReader
from fitsvc.language.problems import Problem, ProblemsFound

_SHOWN: Final = 20
_CELL: Final = ("row", "sku", "column", "cell", "problem", "allowed")


def read_items(
    path: Path,
    reader: FactReader,
    mapping: FileMapping,
    claims: ClaimReader,
    spool: Spool,
    rows: int,
    tell: Callable[[int], None],
) -> tuple[ReadReport, dict[str, int]]:
    """Read a catalogue into blocks of so many rows; returns what came of it, and every item's place.

    `tell` is told how many rows were read, again and again. ProblemsFound when no row could be read.
    """

    def whole() -> Iterator[Chunk]:
        return read_chunks(path, [], items.units(), items.wanted(), mapping.form)

    items = ItemReader(reader, mapping, str(path), titles_of(path, mapping.form), whole)
    found = ReadReport()
    first: list[Problem] = []
    with (
        spool.bad_rows.open("w", encoding="utf-8", newline="") as bad,
        spool.bad_cells.open("w", encoding="utf-8", newline="") as cells,
        spool.bad_claims.open("w", encoding="utf-8", newline="") as bad_claims,
    ):
        bad_rows, wrong_claims = _writer(bad), _writer(bad_claims)
        bad_cells = csv.writer(cells, lineterminator="\n")
        bad_cells.writerow(_CELL)
        waiting: list[Items] = []
        of_balls: list[tuple[str, str, int]] = []
        read = 0
        for chunk in read_chunks(path, items.problems, items.units(), items.wanted(), mapping.form):
            read += len(chunk.lines)
            tell(read)
            start = len(items.places)
            block, claimed = items.read(chunk)
            found.claims_told |= items.title("fits") is not None
            title = items.title("fits") or "fits"
            told = zip(count(start), block.skus, claimed, block.lines.tolist(), strict=False) if any(claimed) else ()
            for place, sku, cell, line in told:
                for problem in claims.add(place, cell, line, title, {"sku": sku}):
                    found.bad_claims += _tell(wrong_claims, problem)
            for sku, cell, line in items.other_claims(chunk):
                if items.other_skus[sku] == BALL:
                    of_balls.append((sku, cell or "", line))
                    continue
                for problem in claims.add(sku, cell, line, title, {"sku": sku}):
                    found.bad_claims += _tell(wrong_claims, problem)
            _tell_all(bad_rows, items.problems, found, first)
            _tell_cells(bad_cells, items.bad_cells, found)
            waiting = _write_whole(spool, [*waiting, block], rows, found)
        _tell_all(bad_rows, items.problems, found, first)
        mounts, wrong = read_ball_claims(of_balls, items.places, str(path), items.title("fits") or "fits")
        found.bad_claims += sum(_tell(wrong_claims, problem) for problem in wrong)
        spool.keep_ball_claims(mounts)
        if waiting:
            _keep(spool, joined(waiting), found)
    if not found.items and not items.other_skus:
        nothing = Problem("no row could be read", "every row is bad, or there is none", file=str(path))
        raise ProblemsFound([*first[:_SHOWN], nothing])
    found.rows = found.items + found.bad_rows + sum(items.other_subjects.values())
    every = ((subject, one.items()) for subject, one in items.others.items())
    spool.keep_others({subject: others for subject, others in every if others})
    claims.balls = {sku for sku, subject in items.other_skus.items() if subject == BALL}
    claims.of_others |= {
        sku: set() for sku in items.other_skus if sku not in claims.of_others and sku not in claims.balls
    }
    read_of_others = {title for one in items.others.values() for title in one.titles()}
    found.passed_over = [title for title in items.header.passed_over if title not in read_of_others]
    found.sheets_left = sheets_left(path, mapping.form)
    found.ignored = [title for title in found.passed_over if title in mapping.columns]
    found.meant = items.meant(found.passed_over)
    found.other_subjects = items.other_subjects
    found.mapped_in_vain = items.mapped_in_vain()
    found.columns = {title: column.name for title, column in items.header.columns.items()}
    return found, items.places


def _writer(stream: Any) -> Any:
    rows = csv.writer(stream, lineterminator="\n")
    rows.writerow(["row", "column", "problem", "allowed"])
    return rows


def _tell(rows: Any, problem: Problem) -> int:
    rows.writerow([problem.line or "", problem.pointer, problem.message, problem.help])
    return 1


def _tell_all(rows: Any, problems: list[Problem], found: ReadReport, first: list[Problem]) -> None:
    """Write what is wrong with a chunk's rows, row by row, and let go of it."""
    problems.sort(key=lambda problem: problem.line)
    for problem in problems:
        found.problems += _tell(rows, problem)
    found.bad_rows += len({problem.line for problem in problems})
    first += problems[: _SHOWN - len(first)]
    problems.clear()


def _tell_cells(rows: Any, cells: list[BadCell], found: ReadReport) -> None:
    """Write the cells of a chunk that could not be read, row by row, and let go of them."""
    cells.sort(key=lambda cell: cell.problem.line)
    for sku, cell, problem in cells:
        rows.writerow([problem.line, sku, problem.pointer, cell, problem.message, problem.help])
    found.bad_cells += len(cells)
    found.rows_of_bad_cells += len({cell.problem.line for cell in cells})
    cells.clear()


def _write_whole(spool: Spool, waiting: list[Items], rows: int, found: ReadReport) -> list[Items]:
    """Write the blocks that are full; what is left waits."""
    if sum(len(block.skus) for block in waiting) < rows:
        return waiting
    whole = joined(waiting)
    while len(whole.skus) >= rows:
        _keep(spool, whole.part(slice(0, rows)), found)
        whole = whole.part(slice(rows, None))
    return [whole]


def _keep(spool: Spool, items: Items, found: ReadReport) -> None:
    """Keep the next block, if there are items for one."""
    if items.skus:
        spool.keep_block(found.blocks, items)
        found.blocks, found.items = found.blocks + 1, found.items + len(items.skus)


def items_of_columns(
    cells: Mapping[str, list[Any]], reader: FactReader, file: str
) -> tuple[Items, list[Cell], list[BadCell]]:
    """Items given as columns of raw values, the cell of each with its claims, and the cells that could not be read.

    ProblemsFound where a row has no number of its own.
    """
    rows = max(map(len, cells.values()), default=0)
    chunk = Chunk(list(range(1, rows + 1)), {name: [as_cell(one) for one in column] for name, column in cells.items()})
    items = ItemReader(reader, FileMapping(), file, list(cells), lambda: (chunk,))
    found, claims = items.read(chunk)
    if items.problems:
        raise ProblemsFound(items.problems)
    return found, claims, items.bad_cells


def append_problems(path: Path, problems: Iterable[Problem]) -> int:
    """Add rows to a file of problems; returns how many."""
    with path.open("a", encoding="utf-8", newline="") as stream:
        rows = csv.writer(stream, lineterminator="\n")
        return sum(_tell(rows, problem) for problem in problems)
