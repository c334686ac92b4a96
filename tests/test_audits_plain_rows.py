"""Lines read many at once come to what reading them one by one does, whatever stands in them."""

import csv
import gzip
import io
import re
from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from fitsvc.audits import plain_rows, source
from fitsvc.audits.chunks import FileForm
from fitsvc.audits.plain_rows import CodedCells, Row
from fitsvc.audits.source import read_chunks
from fitsvc.language.problems import Problem, ProblemsFound

HEADER = b"sku,label,weight [lb]\n"
CELLS = st.sampled_from(["", " ", "A-1", "2 in", "caf\u00e9", '"a, b"', '"say ""so"""', '5" wide', '"1\n2"', "x" * 30])
LINES = [b"\n", b"\r\n", b" , ,\n", b",,\n", b"a,b\n", b"a,b,c,d\n", b"a,b,c,\n", b'a,"b"c,d\n', b"a\0,b,c\n"]
ODD = st.sampled_from([*LINES, b"\xff,b,c\n", b"a\rb,c,d\n", b'a,"b,c\n', b"a,b,c"])
PLAIN = st.tuples(CELLS, CELLS, CELLS).map(lambda row: (",".join(row) + "\n").encode())
FILES = st.lists(st.one_of(PLAIN, PLAIN, PLAIN, ODD), max_size=40).map(lambda rows: HEADER + b"".join(rows))


def _read(path: Path, at_once: bool, form: FileForm) -> tuple[list[Row], list[Problem], list[Problem]]:
    """The rows of a file, those that are lost too, what was noted, and what ended the reading."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(plain_rows, "_BYTES", 96)
        patch.setattr(plain_rows, "_MOST_ROWS", 5)
        patch.setattr(source, "_LEAST_APART", 1)
        if not at_once:
            patch.setattr(source, "plain_rows", lambda *_: None)
        rows, noted, ended = list[Row](), list[Problem](), list[Problem]()
        try:
            for chunk in read_chunks(path, noted, {}, None, form):
                told = zip(*chunk.cells.values(), strict=True)
                rows += sorted([*zip(chunk.lines, map(list, told), strict=True), *chunk.lost], key=lambda row: row[0])
        except ProblemsFound as found:
            ended = list(found.problems)
        return rows, sorted(noted, key=lambda one: one.line), ended


@given(written=FILES)
@example(written=HEADER + b"".join(b"%d,%d,\n" % (number, number % 3) for number in range(40)))
@example(written=HEADER + b'a,b,c\n"1\n2",b,c\na,b,c\nA,"b"c,c\na,b,c\n')
@example(written=HEADER)
def test_at_once_and_one_by_one_are_the_same(written: bytes, tmp_path_factory: pytest.TempPathFactory) -> None:
    """The same rows at the same lines, the same lost ones, and the same said of all that is odd."""
    path = tmp_path_factory.mktemp("plain") / "items.csv"
    path.write_bytes(written)
    assert _read(path, True, FileForm()) == _read(path, False, FileForm())


@pytest.mark.parametrize("ending", ["\n", "\r\n"])
@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
def test_plain_rows_are_read_at_once_as_the_csv_module_reads_them(tmp_path: Path, separator: str, ending: str) -> None:
    """Of a plain file, quotes around cells and all, every row comes as columns of distinct cells, as `csv` has them."""
    cells = [[f"A-{number}", f'{number % 4} "in", or so' if number % 2 else "bare", ""] for number in range(200)]
    text = io.StringIO()
    csv.writer(text, delimiter=separator, lineterminator=ending).writerows([["sku", "label", "note"], *cells])
    path = tmp_path / "items.txt"
    path.write_bytes(text.getvalue().encode())
    chunks = [chunk for chunk in read_chunks(path, [], {}) if chunk.lines]
    assert all(isinstance(column, CodedCells) for chunk in chunks for column in chunk.cells.values())
    read = [list(row) for chunk in chunks for row in zip(*chunk.cells.values(), strict=True)]
    assert read == list(csv.reader(io.StringIO(text.getvalue(), newline=""), delimiter=separator))[1:]
    assert [line for chunk in chunks for line in chunk.lines] == list(range(2, 202))
    packed = tmp_path / "items.txt.gz"
    packed.write_bytes(gzip.compress(path.read_bytes()))
    assert _read(packed, True, FileForm()) == _read(path, True, FileForm())


QUOTED = re.compile(r'(?:(?<=[,\n])|\A)"(?:[^"\n]|"")*"(?=,|\r?\n|\Z)')
"""A quoted cell as RFC 4180 has it, but for a line's end, which may not stand in one here."""


@given(said=st.lists(st.sampled_from(['"', '"', ",", "a", "\n", "\r\n"]), min_size=1, max_size=14).map("".join))
@example(said='"a""b","",""""\r\n')
@example(said='"a""",\n"b"')
@example(said='a"b",c"')
@example(said='"a\n",b')
def test_quotes_stand_around_cells_where_the_grammar_has_them(said: str) -> None:
    """A block is plain where each of its quotes belongs to a cell that the grammar's own words find."""
    block = np.frombuffer(said.encode(), np.uint8)
    told = plain_rows.quotes_stand_around_cells(block, np.flatnonzero(block == ord("\n")), ord(","))
    assert told == (said.count('"') == sum(found.count('"') for found in QUOTED.findall(said)))


@pytest.mark.parametrize("encoding", ["utf-16", "cp1252", "utf-8-sig"])
def test_other_encodings_are_read_line_by_line(tmp_path: Path, encoding: str) -> None:
    """A text in two-byte characters, or in a page of Windows, comes to the same rows."""
    text = "sku,label\n" + "".join(f"A-{number},caf\u00e9\n" for number in range(50))
    path, plain = tmp_path / "items.csv", tmp_path / "plain.csv"
    path.write_bytes(text.encode(encoding))
    plain.write_bytes(text.encode())
    told = FileForm(encoding="cp1252") if encoding == "cp1252" else FileForm()
    assert _read(path, True, told) == _read(plain, True, FileForm())
