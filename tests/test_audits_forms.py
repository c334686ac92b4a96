"""What suppliers send: texts of every separator and encoding, packed or not, workbooks, Parquet and JSON."""

import gzip
import json
import zipfile
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path
from random import Random

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from audit_world import audit, found, pairs, rigs, summary
from demo_world import answerer
from workbooks import Error, Rows, write_ods, write_xlsx

from fitsvc.audits.chunks import PLAIN, FileForm
from fitsvc.audits.mapping import read_mapping
from fitsvc.audits.source import read_chunks
from fitsvc.cli import main
from fitsvc.language.problems import ProblemsFound

_ROWS = [["sku", "kind", "weight [lb]"], ["A-1", "ball_mount", "12.5"], ["Ä-2", "step", "30"]]
_COLUMNS = {"sku": ["A-1", "Ä-2"], "kind": ["ball_mount", "step"], "weight [lb]": ["12.5", "30"]}


def _columns(path: Path, form: FileForm = PLAIN) -> dict[str, list[str | None]]:
    """All cells of a file by column, its figures as texts."""
    cells: dict[str, list[str | None]] = {}
    for chunk in read_chunks(path, [], {"weight [lb]": "lb"}, None, form):
        for title, column in chunk.cells.items():
            cells.setdefault(title, []).extend(cell.removeprefix("\0") if cell else cell for cell in column)
    return cells


def _text(separator: str = ",") -> str:
    return "".join(separator.join(row) + "\n" for row in _ROWS)


@pytest.mark.parametrize(
    ("name", "separator", "encoding"),
    [
        ("a.csv", ";", "utf-8"),
        ("a.tsv", "\t", "utf-8-sig"),
        ("a.txt", "|", "utf-8"),
        ("a.csv", ",", "utf-16"),
        ("a.txt", "\t", "utf-16"),
    ],
)
@pytest.mark.parametrize("packed", ["", ".gz", ".zst"])
def test_texts_say_their_separator_and_encoding(
    tmp_path: Path, name: str, separator: str, encoding: str, packed: str
) -> None:
    """By their header and their first bytes, packed or not."""
    path, written = tmp_path / (name + packed), _text(separator).encode(encoding)
    made = {"": written, ".gz": gzip.compress(written), ".zst": pa.compress(written, codec="zstd", asbytes=True)}
    path.write_bytes(made[packed])
    assert _columns(path) == _COLUMNS


def test_a_mapping_says_what_a_text_does_not(tmp_path: Path) -> None:
    """Its encoding, the line of its titles, and a separator that stands in the titles less often than another."""
    text = "Prices\nof May\nsku;kind, as we call it, of all;weight [lb]\nA-1;ball_mount;12.5\nÄ-2;step;30\n"
    (tmp_path / "a.csv").write_bytes(text.encode("cp1252"))
    (tmp_path / "map.yaml").write_text("separator: semicolon\nencoding: cp1252\nheader: 3\ncolumns: {}")
    form = read_mapping(tmp_path / "map.yaml", answerer().rulebook.vocabulary).form
    assert list(_columns(tmp_path / "a.csv", form).values()) == list(_COLUMNS.values())
    (tmp_path / "map.yaml").write_text("separator: dot\nencoding: klingon\nheader: 0\ncolumns: {}")
    with pytest.raises(ProblemsFound) as told:
        read_mapping(tmp_path / "map.yaml", answerer().rulebook.vocabulary)
    assert [one.line for one in told.value.problems] == [1, 2, 3]


def test_workbooks(tmp_path: Path) -> None:
    """The one sheet that holds anything, or the one that is told, by both sorts of workbook, figures as figures."""
    rows: Rows = [_ROWS[0], ["A-1", "ball_mount", 12.5], ["Ä-2", "step", 30]]
    for name, write in (("a.xlsx", write_xlsx), ("a.ods", write_ods)):
        assert _columns(write(tmp_path / name, {"Items": rows, "Notes": []})) == _COLUMNS
        path = write(tmp_path / f"two-{name}", {"Terms": [["of", "sale"]], "Items": [["a list"], [], *rows]})
        assert _columns(path, FileForm(sheet="Items", header=3)) == _COLUMNS
        for form, message in (
            (PLAIN, "has the sheets `Terms`, `Items`"),
            (FileForm(sheet="Item"), "has no sheet `Item`"),
        ):
            with pytest.raises(ProblemsFound, match=message):
                _columns(path, form)
    with pytest.raises(ProblemsFound, match="is no workbook"):
        (tmp_path / "b.xlsx").write_bytes(b"PK\x03\x04 cut off")
        _columns(tmp_path / "b.xlsx")
    with zipfile.ZipFile(write_xlsx(tmp_path / "c.xlsx", {"Items": rows})) as whole:
        parts = {name: whole.read(name) for name in whole.namelist()}
    with zipfile.ZipFile(tmp_path / "c.xlsx", "w") as damaged:
        for name, part in parts.items():
            damaged.writestr(name, part.replace(b'r="A1"', b'r="[1"'))
    with pytest.raises(ProblemsFound, match="is no workbook"):
        _columns(tmp_path / "c.xlsx")


def test_a_workbook_is_audited_by_its_rows(tmp_path: Path) -> None:
    """A figure typed without its unit, and a date that was a fraction, are told by the row of the sheet."""
    title = ["Item", "Kind", "Wt", "Pin"]
    rows: Rows = [["Our items"], [], title, [1007, "ball_mount", 12.5, "8-May"], [1008, "step", 9, "5/8 in"]]
    write_xlsx(tmp_path / "a.xlsx", {"Items": rows})
    (tmp_path / "map.yaml").write_text(
        "header: 3\ncolumns: {Item: sku, Kind: kind, Wt: {fact: weight, unit: lb}, Pin: {fact: pin, unit: in}}"
    )
    audit(tmp_path / "a.xlsx", tmp_path / "out", rigs()[:1], mapping=tmp_path / "map.yaml")
    assert [row["sku"] for row in found(tmp_path / "out", "items")] == ["1007", "1008"]
    (odd,) = found(tmp_path / "out", "bad_cells")
    assert (odd["row"], odd["cell"]) == ("4", "8-May")
    assert "`5/8 in`" in odd["allowed"]


def test_parquet_of_any_type(tmp_path: Path) -> None:
    """Decimals are figures, lists candidates or claims, days texts that are told for what they are."""
    rig = rigs()[0]
    pq.write_table(
        pa.table(
            {
                "sku": pa.array(["A", "B"]).dictionary_encode(),
                "weight [lb]": pa.array([Decimal("12.500"), Decimal("9.000")], pa.decimal128(8, 3)),
                "shank": pa.array([["2 in", "2-1/2 in"], ["2 in"]], pa.list_(pa.string())),
                "pin": [date(2025, 8, 5), None],
                "listed": [datetime(2026, 1, 1), None],
                "fits": pa.array([[rig.key], []], pa.list_(pa.string())),
            }
        ),
        tmp_path / "a.parquet",
    )
    audit(tmp_path / "a.parquet", tmp_path / "out", [rig])
    assert [(row["sku"], row["column"]) for row in found(tmp_path / "out", "bad_cells")] == [("A", "pin")]
    assert summary(tmp_path / "out")["claims"]["claims"] == 1
    lines = [
        {"sku": "A", "weight": "12.5 lb", "shank": ["2 in", "2-1/2 in"], "pin": "2025-08-05", "fits": [rig.key]},
        {"sku": "B", "weight": "9 lb", "shank": ["2 in"], "fits": []},
    ]
    (tmp_path / "a.jsonl").write_text("".join(json.dumps(line) + "\n" for line in lines))
    audit(tmp_path / "a.jsonl", tmp_path / "lines", [rig])
    assert pairs(tmp_path / "lines") == pairs(tmp_path / "out")


@pytest.mark.parametrize(
    ("name", "written", "message"),
    [
        ("a.csv", b"PK\x03\x04.....", "is a workbook or an archive and no text"),
        ("a.csv", b"PAR1....", "is Parquet and no text"),
        ("a.csv.gz", gzip.compress(b"sku,kind\nA,step\n" * 99, mtime=0)[:-9], "cannot be read"),
        ("a.csv", "sku,kind\n".encode("utf-16")[:-1], "not UTF-16 text to its end"),
        ("a.doc", b"", "the format is not known"),
    ],
)
def test_what_is_not_what_its_name_says(tmp_path: Path, name: str, written: bytes, message: str) -> None:
    """A workbook under another name, and a file that was cut off, are refused in a line."""
    (tmp_path / name).write_bytes(written)
    with pytest.raises(ProblemsFound, match=message):
        _columns(tmp_path / name)


def test_a_number_that_a_sheet_made_is_told(tmp_path: Path) -> None:
    """A day, a yes or no, a power of ten: its item is judged and its number remarked; a word for nothing is none."""
    made = ["8-May", "1.23E+12", "1E+11", "2025-12-09", "9/12/2025", "TRUE", "False", "1234500000000"]
    own = ["A-1", "12-34-56", "2E5", "20251209", "4006381333931", "100000", "TRUE-1", "NADA", "1.5E"]
    nothing = ["N/A", "-", "tbd"]
    rows = [["sku", "kind"], *([sku, "step"] for sku in (*made, *own, *nothing))]
    (tmp_path / "a.csv").write_text("".join(",".join(row) + "\n" for row in rows))
    audit(tmp_path / "a.csv", tmp_path / "out", rigs()[:1])
    assert [row["sku"] for row in found(tmp_path / "out", "items")] == [*made, *own]
    assert [row["cell"] for row in found(tmp_path / "out", "bad_cells")] == made
    assert all("looks like what a spreadsheet makes" in row["problem"] for row in found(tmp_path / "out", "bad_cells"))
    told = [row["problem"] for row in found(tmp_path / "out", "bad_rows")]
    assert told == [f"`{one}` names no item: the row has no number of its own" for one in nothing]
    (tmp_path / "b.csv").write_text("".join(f"{sku},step\n" for sku in ["sku", *own]).replace("sku,step", "sku,kind"))
    audit(tmp_path / "b.csv", tmp_path / "plain", rigs()[:1])
    assert (found(tmp_path / "plain", "bad_cells"), found(tmp_path / "plain", "bad_rows")) == ([], [])
    (tmp_path / "map.yaml").write_text("unknown: [keine]\ncolumns: {}")
    (tmp_path / "c.csv").write_text("sku,kind\nKeine,step\nA,step\n")
    audit(tmp_path / "c.csv", tmp_path / "words", rigs()[:1], mapping=tmp_path / "map.yaml")
    assert [row["row"] for row in found(tmp_path / "words", "bad_rows")] == ["2"]


@pytest.mark.parametrize("pack", ["gz", "zst"])
def test_a_packed_file_that_is_cut_off_is_told_alike(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], pack: str
) -> None:
    """By whoever reads it first: `intake`, which looks how it is written, or an audit."""
    text = "".join(f"A-{number},step,{Random(number).random()}\n" for number in range(9_000))
    whole = f"sku,kind,of\n{text}".encode()
    packed = gzip.compress(whole, mtime=0) if pack == "gz" else pa.compress(whole, codec="zstd", asbytes=True)
    path = tmp_path / f"a.csv.{pack}"
    for size in (60, len(packed) // 2, len(packed) - 20):
        path.write_bytes(packed[:size])
        assert main(["intake", str(path), "--supplier", "x", "--into", str(tmp_path / "s")]) == 2
        words = " ".join(capsys.readouterr().err.split())
        assert "cannot be read: " in words and "it is damaged or not whole" in words and path.name in words
        with pytest.raises(ProblemsFound, match="cannot be read"):
            _columns(path)


def test_a_text_of_which_no_line_is_read_is_not_called_empty(tmp_path: Path) -> None:
    """Its own fault is told, and no other."""
    (tmp_path / "a.csv").write_bytes(b"sku,kind\rA-1,step\r")
    with pytest.raises(ProblemsFound) as told:
        _columns(tmp_path / "a.csv")
    assert [one.message for one in told.value.problems] == ["is not CSV: a carriage return stands where no line ends"]


def test_an_error_of_a_sheet_is_no_empty_cell(tmp_path: Path) -> None:
    """A claim whose item has an error for its pin stays open, as with the same text; as a number it names none."""
    rows: Rows = [
        ["sku", "kind", "shank", "pin", "fits"],
        ["A-1", "ball_mount", "2 in", Error("#N/A"), "rig_farm_muckle"],
        ["A-2", "ball_mount", "2 in", "#N/A", "rig_farm_muckle"],
        [],
        ["A-3", "ball_mount", Error("#REF!"), "5/8 in", Error("#VALUE!")],
        [Error("#N/A"), "ball_mount", "2 in", "5/8 in", None],
        [12345678901234567, "ball_mount", "2 in", "5/8 in", None],
        [1234567890123456, "ball_mount", "2 in", "5/8 in", None],
        [4006381333931, "ball_mount", "2 in", "5/8 in", None],
    ]
    audit(write_xlsx(tmp_path / "a.xlsx", {"Notes & such": [], "Items": rows}), tmp_path / "out", rigs())
    assert [row["sku"] for row in found(tmp_path / "out", "items")] == ["A-1", "A-2", "A-3", "4006381333931"]
    cells = [(row["row"], row["column"], row["cell"]) for row in found(tmp_path / "out", "bad_cells")]
    assert cells == [("2", "pin", "#N/A"), ("3", "pin", "#N/A"), ("5", "shank", "#REF!")]
    assert [row["row"] for row in found(tmp_path / "out", "bad_rows")] == ["6", "7", "8"]
    assert [row["row"] for row in found(tmp_path / "out", "bad_claims")] == ["5"]
    of = {(row["sku"], row["rig"]): row["outcome"] for row in pairs(tmp_path / "out")}
    for rig in rigs():
        assert of["A-1", rig.key] == of["A-2", rig.key] in ("undetermined", "fails")
    path = write_ods(tmp_path / "a.ods", {"Items": [["sku", "kind"], ["A-1", Error("#N/A")]]})
    with pytest.raises(ProblemsFound, match="may hold cells with an error"):
        _columns(path)
