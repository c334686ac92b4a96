"""Looking at a supplier's file before it is read: how it is written, and in which line its titles stand."""

import codecs
import re
import unicodedata
from collections.abc import Collection, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path
from typing import Final

from fitsvc.audits.chunks import PLAIN, FileForm, as_cell, shown
from fitsvc.audits.source import format_of
from fitsvc.files import of_the_machine
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.loading.csv_text import SEPARATORS, RowTooLong, read_cells, separator_of
from fitsvc.loading.lines import DAMAGE, opened, read_lines, unreadable
from fitsvc.loading.merged_cells import is_covered
from fitsvc.loading.workbooks import merged_in, sheet_rows, sheets_of
from fitsvc.tongues import later, t

_SAMPLE: Final = 1 << 20
"""Bytes that are looked at for the encoding, and lines for titles: a price list has its letterhead, and no more."""
_LINES: Final = 40
_UNIT: Final = re.compile(r"[\[(]\s*(?P<inside>[^\])]*?)\s*[\])]|,\s*(?P<behind>[^\s,]+)\s*\Z|(?P<quote>[\"″])\s*\Z")
_BETWEEN_CELLS: Final = {
    ",": later("commas between cells"),
    ";": later("semicolons between cells"),
    "\t": later("tabs between cells"),
    "|": later("bars between cells"),
}
Cells = Sequence[str | None]


@dataclass(frozen=True, slots=True)
class Looked:
    """How a file is written: what a mapping has to say of it, and that in words.

    `alike` are the sheets of a workbook that look like lists of items too, beside the one that is taken.
    """

    form: FileForm
    words: tuple[str, ...]
    alike: tuple[str, ...] = ()


def plain_title(title: str) -> str:
    """A title by its letters and figures alone, without what stands in brackets."""
    bare = re.sub(r"[\[(][^\])]*[\])]", " ", title)
    return " ".join("".join(c if c.isalnum() else " " for c in unicodedata.normalize("NFC", bare).casefold()).split())


def unit_in(title: str) -> str:
    """What a title says in brackets, behind a comma or by a sign of inches: maybe its unit."""
    found = _UNIT.search(title.strip())
    return (found["inside"] or found["behind"] or found["quote"] or "").strip(" .") if found else ""


def look(path: Path, known: Collection[str]) -> Looked:
    """How a file is written; `known` are the titles by which the line of titles is known, in their plain form.

    ProblemsFound where it cannot be read.
    """
    kind = format_of(path)
    if kind == "workbook":
        return _workbook(path, known)
    if kind != "CSV":
        return Looked(PLAIN, (kind or t("an unknown format"),))
    encoding = _encoding(path)
    lines = list(islice(read_lines(path, str(path), [], encoding), _LINES))
    separator = _separator([text for _, text in lines])
    rows: list[tuple[int, Cells]] = []
    problems: list[Problem] = []
    with suppress(RowTooLong):
        rows += islice(read_cells(iter(lines), str(path), problems, separator), _LINES)
    header = _header(rows, known)
    of_header = next((text for number, text in lines if number == header), "")
    told = separator if separator_of(of_header) != separator else ""
    words = (
        encoding or t("UTF-8 or UTF-16"),
        t(_BETWEEN_CELLS[separator]),
        t("titles in line {line}", line=header),
    )
    return Looked(FileForm(told, encoding, header), words)


def _encoding(path: Path) -> str:
    """The encoding that has to be told; empty for UTF-8, and for UTF-16 that says so itself."""
    try:
        with opened(path) as stream:
            sample = stream.read(_SAMPLE)
    except DAMAGE as error:
        if of_the_machine(error):
            raise
        raise ProblemsFound([unreadable(error, str(path))]) from None
    if sample.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return ""
    if sample[1:200:2].count(0) > len(sample[1:200:2]) / 2:
        return "utf-16-le"
    cut = sample if len(sample) < _SAMPLE else sample[: sample.rfind(b"\n") + 1]
    for encoding in ("utf-8", "cp1252"):
        try:
            cut.decode(encoding)
        except UnicodeDecodeError:
            continue
        return "" if encoding == "utf-8" else encoding
    return "latin-1"


def _separator(lines: Sequence[str]) -> str:
    """What parts the cells: what stands as often in most lines as in any, and most often."""
    counts = {one: sorted(_bare(line).count(one) for line in lines if line.strip()) for one in SEPARATORS}
    if not any(counts[","]) and not any(map(any, counts.values())):
        return ","
    usual = {one: found[len(found) // 2] for one, found in counts.items() if found}
    same = {one: sum(count == usual[one] for count in counts[one]) for one in usual if usual[one]}
    return max(same, key=lambda one: (same[one], usual[one]), default=",")


def _bare(line: str) -> str:
    return "".join(line.split('"')[::2])


def _header(rows: Sequence[tuple[int, Cells]], known: Collection[str]) -> int:
    """The line of the titles: the one with most of those known, the first of several; else the first line."""
    scores = {line: sum(plain_title(cell or "") in known for cell in cells) for line, cells in rows}
    best = max(scores, key=lambda line: (scores[line], -line), default=1)
    return best if scores.get(best, 0) > 1 else next(iter(scores), 1)


def _workbook(path: Path, known: Collection[str]) -> Looked:
    sheets = sheets_of(path)
    found: list[tuple[int, str, int]] = []
    for name in sheets:
        rows = [
            (n, ["" if is_covered(c) else shown(as_cell(c)) for c in row])
            for n, row in islice(sheet_rows(path, name), _LINES)
        ]
        header = _header(rows, known)
        titles = next((cells for line, cells in rows if line == header), [])
        found.append((sum(plain_title(cell) in known for cell in titles), name, header))
    _, sheet, header = max(found, key=lambda one: one[0], default=(0, "", 1))
    form = replace(PLAIN, header=header, sheet=sheet if len(sheets) > 1 else "")
    words: tuple[str, ...] = (t("workbook"), t("sheet `{name}`", name=sheet), t("titles in row {line}", line=header))
    if sheet and merged_in(path, sheet):
        words = (*words, t("merged cells, each said of all its rows"))
    return Looked(form, words, tuple(name for score, name, _ in found if name != sheet and score > 1))
