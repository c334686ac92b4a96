"""CSV files: a header of column names, then one record or one observation a row.

An empty cell is an unknown fact of a record, and nothing said of it in an observation.
"""

from collections.abc import Iterator, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Final

from fitsvc.document import Document
from fitsvc.language.problems import Problem, nearest
from fitsvc.loading.cells import BETWEEN, Column, read_cell
from fitsvc.loading.csv_text import RowTooLong, read_cells, separator_of
from fitsvc.loading.header import dimension_of, nameless, no_header, ragged, read_title, repeated, unit_problem
from fitsvc.loading.lines import read_lines
from fitsvc.loading.rows import Place, Row, field_of, quoted
from fitsvc.rulebook.vocabulary import Fact, Vocabulary
from fitsvc.subjects import SOLD, STORED, SUBJECTS
from fitsvc.written import Bounding

_RECORD: Final = ("sku", "id", "subject", "label", "vehicle", "receiver")
_EVIDENCE: Final = ("tyre", "stowed", "rubbed", "sku", "state", "result", "gap", "through")
OBSERVED: Final = (
    *("subject", "record", "kind", "by", "at", "note", "tool", "condition", "photo", "source"),
    *("leant_on", "retracts", "corrects", "settles", "reason", *(f"evidence_{name}" for name in _EVIDENCE)),
)
"""The columns of a file of observations beside those of facts; `record` tells it from a file of records."""
FACT: Final = "fact."
"""Before the name of a fact in a title, where the file has a column of its own of that name: `fact.kind`."""


def csv_rows(
    path: Path, file: str, problems: list[Problem], vocabulary: Vocabulary, words: Bounding | None
) -> Iterator[Row]:
    """Yield the records of a CSV file.

    `words` are those by which people bound a figure (`under 46`), which then has the unit of its column too.
    """
    of = [subject for subject in STORED if subject in vocabulary.subjects]
    facts = {subject: {**vocabulary.former(subject), **vocabulary.of(subject)} for subject in of}
    header = list[str]()
    rows = _cells(path, file, problems, header)
    first = next(rows, None)
    if first is None:
        problems += [] if problems else [no_header(file)]
        return
    line, titles = first
    observed = "record" in (title.strip() for title in titles)
    columns = _Header(file, line, facts, problems, OBSERVED if observed else _RECORD).columns(titles)
    named = {column.name for column in columns if column}
    if "subject" not in named or named.isdisjoint(("sku", "id", "record")):
        return  # every row would lack the same: it is said once, of the header
    told = _observation if observed else _document
    for line, cells in rows:
        if len(cells) != len(titles):
            problems.append(ragged(len(cells), len(titles), file, line, separator_of(header[0])))
            continue
        document = told(cells, columns, facts, words)
        yield Row(document, _place(file, line, columns), line)


def _cells(path: Path, file: str, problems: list[Problem], header: list[str]) -> Iterator[tuple[int, list[str]]]:
    """The rows of the file that hold anything; what ends the reading early stands among the problems.

    Its first line goes to `header`.
    """

    def lines() -> Iterator[tuple[int, str]]:
        for line, text in read_lines(path, file, problems):
            header.extend([] if header else [text])
            yield line, text

    with suppress(RowTooLong):
        yield from read_cells(lines(), file, problems)


class _Header:
    """The header being read: what each column is, and everything wrong with it."""

    def __init__(
        self,
        file: str,
        line: int,
        facts: Mapping[str, Mapping[str, Fact]],
        problems: list[Problem],
        own: tuple[str, ...],
    ) -> None:
        self.file, self.line, self.facts, self.problems, self.own = file, line, facts, problems, own
        self.names = {name for known in facts.values() for name in known}

    def columns(self, titles: list[str]) -> list[Column | None]:
        """The columns; None for one that is not known, whose cells are passed over."""
        columns = [self._column(number, title) for number, title in enumerate(titles, start=1)]
        seen: dict[str, int] = {}
        for number, column in enumerate(columns, start=1):
            if column and seen.setdefault(column.name, number) != number:
                self.problems.append(repeated(column.name, number, seen[column.name], self.file, self.line))
        if "record" in self.own:
            pass
        elif not {"sku", "id"} & seen.keys():
            self._complain("the header has neither `sku` nor `id`", "add the column that names each record")
        elif {"sku", "id"} <= seen.keys():
            self._complain("the header has both `sku` and `id`", "keep one column; it names each record")
        if "subject" not in seen:
            self._complain("the header has no `subject`", f"add the column; it holds {', '.join(STORED)}")
        return columns

    def _column(self, number: int, title: str) -> Column | None:
        name, unit = read_title(title)
        if not name:
            self.problems.append(nameless(number, self.file, self.line))
            return None
        if name in self.own:
            if unit is not None:
                self._complain(f"column `{name}` has no unit", f"write `{name}`")
            return Column(title.strip(), name)
        if name.removeprefix(FACT) not in self.names:
            near = nearest(name, [*self.names, *self.own])
            help = f"did you mean `{near}`?" if near else f"it is one of {', '.join(self.own)}, or the name of a fact"
            self._complain(f"column {quoted(name)} is not known", help)
            return None
        if unit is not None:
            short = name.removeprefix(FACT)
            facts = [known[short] for known in self.facts.values() if short in known]
            dimensions = {dimension for fact in facts if (dimension := dimension_of(fact))}
            if wrong := unit_problem(name, name, unit, dimensions):
                self._complain(wrong.message, wrong.help)
                return None
        return Column(title.strip(), name, unit or "")

    def _complain(self, message: str, help: str) -> None:
        self.problems.append(Problem(message, help, file=self.file, line=self.line))


def _document(
    cells: list[str],
    columns: list[Column | None],
    facts: Mapping[str, Mapping[str, Fact]],
    words: Bounding | None,
) -> Document:
    """The row as a record: the same keys as in the other formats."""
    record, found = _sorted(cells, columns, _RECORD)
    subject = record.get("subject", "")
    key = record.pop("sku", None) or record.pop("id", None)
    if key:
        record[SUBJECTS[subject].key if subject in STORED else "id"] = key
    record["facts"] = _facts(found, facts.get(subject, {}), words)
    return record


def _observation(
    cells: list[str],
    columns: list[Column | None],
    facts: Mapping[str, Mapping[str, Fact]],
    words: Bounding | None,
) -> Document:
    """The row as an observation; what its record is sold as tells which facts it may have, so any is read here."""
    row, found = _sorted(cells, columns, OBSERVED)
    subject = row.get("subject", "")
    kinds = SOLD if subject == "accessory" else (subject,)
    known = {name: fact for kind in reversed(kinds) for name, fact in facts.get(kind, {}).items()}
    evidence = {name: row.pop(f"evidence_{name}") for name in _EVIDENCE if f"evidence_{name}" in row}
    if BETWEEN in evidence.get("through", ""):
        evidence["through"] = evidence["through"].split(BETWEEN)
    return row | {"observed": True, "facts": _facts(found, known, words)} | ({"evidence": evidence} if evidence else {})


def _sorted(
    cells: list[str], columns: list[Column | None], own: tuple[str, ...]
) -> tuple[Document, list[tuple[Column, str]]]:
    """A row's own columns by name, and its cells of facts."""
    row: Document = {}
    found: list[tuple[Column, str]] = []
    for column, cell in zip(columns, cells, strict=True):
        if column is None:
            continue
        if column.name not in own:
            if cell:
                found.append((column, cell))
        elif text := cell.strip():
            row[column.name] = text
    return row, found


def _facts(found: list[tuple[Column, str]], known: Mapping[str, Fact], words: Bounding | None) -> Document:
    told = ((column, column.name.removeprefix(FACT), cell) for column, cell in found)
    return {
        name: value
        for column, name, cell in told
        if (value := read_cell(cell, known.get(name), column.unit, words)) is not None
    }


def _place(file: str, line: int, columns: list[Column | None]) -> Place:
    def place(pointer: str, message: str, help: str) -> Problem:
        field = field_of(pointer)
        name = field.split(",")[0]
        title = next((column.title for column in columns if column and column.name == name), name)
        return Problem(message, help, pointer=title + field[len(name) :], file=file, line=line)

    return place
