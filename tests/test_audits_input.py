"""What an audit reads: three formats, other people's columns, and files that are not what they seem."""

import errno
import gc
import gzip
import json
import os
import random
from contextlib import nullcontext
from datetime import date
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from audit_world import Rows, accessories, audit, files, found, pairs, rigs, small_blocks, summary, write_csv
from demo_world import answerer

from fitsvc.audits import parquet_chunks
from fitsvc.audits.chunks import FileForm
from fitsvc.audits.intake import take_in
from fitsvc.audits.source import read_chunks
from fitsvc.cli.audit_view import show as show_audit
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.loading.csv_rows import csv_rows
from fitsvc.loading.lines import NumberedLines

_FEW = 3


def _refused(path: Path, out: Path, **asked: Any) -> list[Problem]:
    """The problems of an audit that is refused."""
    with pytest.raises(ProblemsFound) as told:
        audit(path, out, rigs()[:_FEW], **asked)
    assert not (out / "summary.json").exists()
    return list(told.value.problems)


def _told(path: Path, out: Path, **asked: Any) -> list[tuple[int, str]]:
    """The bad rows and cells of an audit that goes on without them."""
    audit(path, out, rigs()[:_FEW], **asked)
    told = [*found(out, "bad_rows"), *found(out, "bad_cells")]
    return sorted((int(row["row"] or 0), row["column"]) for row in told)


def _typed(rows: Rows) -> pa.Table:
    """Rows as a Parquet table whose columns of bare figures are figures."""
    table = pa.Table.from_pylist([{title: cell or None for title, cell in row.items()} for row in rows])
    place = table.schema.get_field_index("trailer_rating [lb]")
    return table.set_column(place, "trailer_rating [lb]", table.column(place).cast(pa.float64()))


@pytest.mark.parametrize("name", ["items.csv", "items.parquet"])
def test_a_disk_that_fails_is_no_fault_of_the_catalogue(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    """Who audits is told of the disk, not to write the file again; one that may not be read is told as that."""
    file, code = tmp_path / name, errno.EIO
    rigs()  # which are read once, and not from a disk that fails

    def fails(*_: object, **__: object) -> None:
        raise OSError(code, os.strerror(code))

    if name.endswith("csv"):
        write_csv(file, accessories())
        monkeypatch.setattr(NumberedLines, "_more", fails)
    else:
        pq.write_table(pa.Table.from_pylist([{"sku": "A"}]), file)
        monkeypatch.setattr(pq.ParquetFile, "iter_batches", fails)
    with pytest.raises(OSError, match=os.strerror(errno.EIO)):
        audit(file, tmp_path / "out", rigs()[:_FEW])
    code = errno.EACCES
    (problem,) = _refused(file, tmp_path / "again")
    assert "cannot be read" in problem.message and "permission denied" in problem.message.lower()


def test_three_formats_say_the_same(tmp_path: Path) -> None:
    """CSV, JSON Lines (flat, or with `facts`) and Parquet with figures give the same findings."""
    rows = accessories()
    write_csv(tmp_path / "a.csv", rows)
    told = []
    for number, row in enumerate(rows):
        facts = {title: cell for title, cell in row.items() if cell}
        sku = facts.pop("sku")
        told.append({"sku": sku, "facts": facts} if number % 2 else {"sku": sku, **facts})
    (tmp_path / "b.jsonl").write_text("\n".join(json.dumps(one) for one in told))
    pq.write_table(_typed(rows), tmp_path / "c.parquet")
    outcomes = []
    for name in ("a.csv", "b.jsonl", "c.parquet"):
        with small_blocks():
            audit(tmp_path / name, tmp_path / name[0], rigs()[:_FEW])
        outcomes.append([{k: v for k, v in row.items() if k != "claimed"} for row in pairs(tmp_path / name[0])])
        assert summary(tmp_path / name[0])["rows"]["bad_rows"] == 0
    assert outcomes[0] == outcomes[1] == outcomes[2]


def test_bounds_in_json_are_bounds(tmp_path: Path) -> None:
    """A JSON fact may have a tolerance or bounds, as everywhere; a bare figure without its unit is refused."""
    path = tmp_path / "a.jsonl"
    path.write_text(
        '{"sku": "A", "weight": {"value": "30 lb", "tolerance": "2 lb"}, "bikes_max": 2, "shank": ["2 in", "3 in"]}\n'
        '{"sku": "B", "weight": 30}\n{"sku": "C", "weight": {"value": "30 lb"}}\n[1]\n{"sku": "D", "weight": "31 lb"}\n'
    )
    assert _told(path, tmp_path / "out") == [(2, "weight"), (3, "weight"), (4, "")]
    assert [row["sku"] for row in found(tmp_path / "out", "items")] == ["A", "B", "C", "D"]


def test_a_figure_is_read_as_its_text_is(tmp_path: Path) -> None:
    """A bare figure has the same advice in JSON as in CSV, and its point parts decimals; several are told as such."""
    (tmp_path / "map.yaml").write_text("decimal: comma\ncolumns: {Wt: {fact: weight, unit: lb}}")
    (tmp_path / "a.jsonl").write_text('{"sku": "A", "shank": 2, "Wt": 12.5}\n{"sku": "B", "shank": 2.25, "Wt": 1.25}\n')
    write_csv(
        tmp_path / "a.csv", [{"sku": "A", "shank": "2", "Wt": "12,5"}, {"sku": "B", "shank": "2,25", "Wt": "1,25"}]
    )
    told = []
    for name in ("a.jsonl", "a.csv"):
        audit(tmp_path / name, tmp_path / name[2:], rigs()[:1], mapping=tmp_path / "map.yaml")
        told.append([(row["sku"], row["column"], row["allowed"]) for row in found(tmp_path / name[2:], "bad_cells")])
    assert told[0] == told[1]
    assert [(sku, column) for sku, column, _ in told[0]] == [("A", "shank"), ("B", "shank")]
    assert "`2 in`" in told[0][0][2]
    row = next(row for row in accessories() if (row["kind"], row["shank"]) == ("ball_mount", "2 in"))
    write_csv(
        tmp_path / "b.csv",
        [
            {**row, "shank": "2 in | 2-1/2 in", "trailer_rating [lb]": "4500 | 4800"},
            {**row, "sku": "B", "shank": "2 in | 2-1/2 in"},
        ],
    )
    audit(tmp_path / "b.csv", tmp_path / "b")
    (odd,) = found(tmp_path / "b", "bad_cells")
    assert odd["problem"].startswith("`4500 | 4800` is more than one figure")
    stands = {row["column"]: row["stands"] for row in found(tmp_path / "b", "fix_list") if row["sort"] == "missing"}
    assert stands["shank"] == "2 in | 2-1/2 in"


def test_other_peoples_columns(tmp_path: Path) -> None:
    """A mapping names their columns, the units of their figures and their words for ours."""
    rows = accessories()
    weights = {row["weight [lb]"] for row in rows if row["weight [lb]"].isdigit()}
    plain = [row for row in rows if row["weight [lb]"] in weights and row["kind"] in ("ball_mount", "bike_carrier")]
    theirs = {"sku": "Item No.", "weight [lb]": "Wt", "kind": "Sort"}
    words = {"ball_mount": "BM", "bike_carrier": "BC"}
    given = [
        {theirs.get(t, t): words.get(cell, cell) if t == "kind" else cell for t, cell in row.items()} for row in plain
    ]
    mapping = tmp_path / "map.yaml"
    mapping.write_text(
        "columns:\n  Item No.: sku\n  Wt: {fact: weight, unit: lb}\n  "
        "Sort: {fact: kind, values: {BM: ball_mount, BC: bike_carrier}}\n  Notes: ignore\n"
    )
    given = [{**row, "Notes": "x"} for row in given]
    audit(write_csv(tmp_path / "ours.csv", plain), tmp_path / "ours", rigs()[:_FEW])
    audit(write_csv(tmp_path / "theirs.csv", given), tmp_path / "theirs", rigs()[:_FEW], mapping=mapping)
    assert pairs(tmp_path / "theirs") == pairs(tmp_path / "ours")
    assert summary(tmp_path / "theirs")["rows"]["passed_over"] == ["Notes"]


@pytest.mark.parametrize(
    ("mapping", "message"),
    [
        ("columns: {sku: sku, Wt: wieght}", "which is no fact"),
        ("columns: {sku: sku, Wt: {fact: weight, unit: in}}", "cannot be in `in`"),
        ("columns: {sku: sku, Wt: {unit: lb}}", "says no fact"),
        ("columns: {sku: sku, Wt: {fact: weight, units: lb}}", "has no `units`"),
        ("columns: {Wt: sku}", "are all `sku`"),
        ("fields: {Wt: weight}", "a mapping file has `columns`"),
        ("columns: {sku: label}", "no column is `sku`"),
        ("columns: {sku: sku, Wt: {fact: kind, values: {BM: ballmount}}}", "which is no choice for `kind`"),
    ],
)
def test_a_mapping_that_is_wrong(tmp_path: Path, mapping: str, message: str) -> None:
    """A mapping with a wrong fact, unit or key is refused with what is wrong."""
    (tmp_path / "map.yaml").write_text(mapping)
    (tmp_path / "a.csv").write_text("sku,Wt\nA,30 lb\n")
    told = _refused(tmp_path / "a.csv", tmp_path / "out", mapping=tmp_path / "map.yaml")
    (problem,) = (problem for problem in told if message in problem.message)
    assert problem.file.endswith("a.csv" if "all `sku`" in message or "no column" in message else "map.yaml")
    assert problem.line == 1


def test_a_misspelt_column_is_told_with_what_was_meant(tmp_path: Path) -> None:
    """A title a letter or two off a fact's that is not read says which; one of another word, or to be ignored, none."""
    (tmp_path / "map.yaml").write_text("columns: {Labell: ignore}")
    (tmp_path / "a.csv").write_text("sku,Shnak [in],wieght [lb],weight [lb],Labell,Colour,pinn\nA,2,20,20,a,b,5/8 in\n")
    audit(tmp_path / "a.csv", tmp_path / "out", rigs()[:_FEW], mapping=tmp_path / "map.yaml")
    rows = summary(tmp_path / "out")["rows"]
    assert rows["passed_over"] == ["Shnak [in]", "wieght [lb]", "Labell", "Colour", "pinn"]
    assert rows["meant"] == {"Shnak [in]": "shank", "pinn": "pin"}
    page = (tmp_path / "out" / "summary.html").read_text("utf-8")
    assert "<code>Shnak [in]</code> is probably <code>shank</code>" in page


def test_a_misspelt_column_of_a_trailer_or_of_claims_is_told_too(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Of a subject of which no row is there no fact was meant; of a file of claims its own columns are."""
    rig, (claims, file) = rigs()[0], (tmp_path / "claims.csv", tmp_path / "a.csv")
    file.write_text("sku,subject,gros_weight [lb],ratin [lb]\nA,accessory,,\nT,trailer,900,\n")
    claims.write_text(f"sku,rig,modle,Remarks\nA,{rig.key},,new\n")
    audit(file, tmp_path / "out", [rig], claims=claims)
    told = summary(tmp_path / "out")
    assert (told["rows"]["passed_over"], told["rows"]["meant"]) == (
        ["gros_weight [lb]", "ratin [lb]"],
        {"gros_weight [lb]": "gross_weight"},
    )
    assert (told["claims"]["passed_over"], told["claims"]["meant"]) == (["modle", "Remarks"], {"modle": "model"})
    show_audit(told, tmp_path / "out")
    shown = " ".join(capsys.readouterr().out.split())
    assert "`modle` is not read: did you mean `model`? Rename it" in shown
    assert "did you mean `gross_weight`? Rename it, or map it" in shown


def test_a_mapping_of_columns_that_are_not_there(tmp_path: Path) -> None:
    """What a mapping names and the catalogue has not is told, since it may be a slip."""
    (tmp_path / "map.yaml").write_text("columns: {Wt: {fact: weight, unit: lb}, Lenght: length}")
    (tmp_path / "a.csv").write_text("sku,Wt,Length\nA,30,9 in\n")
    audit(tmp_path / "a.csv", tmp_path / "out", rigs()[:_FEW], mapping=tmp_path / "map.yaml")
    rows = summary(tmp_path / "out")["rows"]
    assert (rows["passed_over"], rows["mapped_in_vain"]) == (["Length"], ["Lenght"])
    assert "<code>Lenght</code>" in (tmp_path / "out" / "summary.html").read_text("utf-8")


def test_words_for_what_is_not_known(tmp_path: Path) -> None:
    """`n/a` is a bad cell that is told to be left empty, or to be listed; mapped to nothing, nothing is said of it."""
    (tmp_path / "a.csv").write_text("sku,kind,weight [lb]\nA,step,n/a\nB,n/a,30\nC,step,30\n")
    assert _told(tmp_path / "a.csv", tmp_path / "out") == [(2, "weight [lb]"), (3, "kind")]
    assert all(row["allowed"].startswith("leave the cell empty") for row in found(tmp_path / "out", "bad_cells"))
    (tmp_path / "map.yaml").write_text(
        "columns:\n"
        "  kind: {fact: kind, values: {n/a: ''}}\n"
        "  weight [lb]: {fact: weight, unit: lb, values: {n/a: ''}}\n"
    )
    assert _told(tmp_path / "a.csv", tmp_path / "mapped", mapping=tmp_path / "map.yaml") == []


def test_a_refused_catalogue_leaves_its_folder_free(tmp_path: Path) -> None:
    """Once mended, a catalogue of which no row could be read is audited into the same folder."""
    (tmp_path / "a.csv").write_text("sku,kind\n,step\n")
    _refused(tmp_path / "a.csv", tmp_path / "out")
    (tmp_path / "a.csv").write_text("sku,kind\nA,step\n")
    assert _told(tmp_path / "a.csv", tmp_path / "out") == []


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (b"", "has no header"),
        (b"sku,weight [lb]\n", "no row could be read"),
        (b"name,weight [lb]\nA,3\n", "no column is `sku`"),
        (b"sku,sku\nA,B\n", "column 2 is `sku` again"),
        (b"sku,weight [in]\nA,3\n", "cannot be in `in`"),
        (b"sku,kind [in]\nA,step\n", "has no unit"),
        (b"sku,weight\nA,3 lb\nB," + b"9" * 1_000_100 + b"\nC,3 lb\n", "longer than"),
        (b"sku,weight\nA,3 lb\nB," + b'"9\n",' * 300_000 + b"\nC,3 lb\n", "the row is longer than"),
    ],
)
def test_a_file_that_cannot_be_audited(tmp_path: Path, text: bytes, message: str) -> None:
    """A CSV file without what an audit needs, or whose rest cannot be read, is refused with what is wrong."""
    (tmp_path / "a.csv").write_bytes(text)
    assert any(message in problem.message for problem in _refused(tmp_path / "a.csv", tmp_path / "out"))


def test_bad_lines_do_not_hide_good_ones(tmp_path: Path) -> None:
    """Mixed encodings, a NUL, a ragged row and quotes that never close are told by line; the others are audited."""
    path = tmp_path / "a.csv"
    path.write_bytes(
        b'sku,kind\nA,step\nB\xe9,step\nC\0,step\nD,step,1\n,step\nA,step\nE,step\nF\x1b[31m,step\nG,"step\nH,step\n'
    )
    assert sorted(line for line, _ in _told(path, tmp_path / "out")) == [3, 4, 5, 6, 7, 9, 10]
    assert [row["sku"] for row in found(tmp_path / "out", "items")] == ["A", "E"]
    assert "\x1b" not in (tmp_path / "out" / "bad_rows.csv").read_text("utf-8")
    assert "the lines 10 to 11 are in no row" in found(tmp_path / "out", "bad_rows")[-1]["problem"]


def test_truncated_json(tmp_path: Path) -> None:
    """A file cut off in the middle of a record is told there."""
    path = tmp_path / "a.jsonl"
    path.write_text('{"sku": "A", "kind": "step"}\n{"sku": "B", "ki')
    assert [line for line, _ in _told(path, tmp_path / "out")] == [2]


@pytest.mark.parametrize(
    ("columns", "message"),
    [
        ({"sku": ["A"], "weight": [30.0]}, "figures without a unit"),
        ({"sku": ["A"], "kind": [[["step"]]]}, "is of type list"),
        ({"sku": [b"A"], "kind": ["step"]}, "is of type binary"),
        ({"kind": ["step"]}, "no column is `sku`"),
    ],
)
def test_parquet_with_wrong_types(tmp_path: Path, columns: dict[str, list[Any]], message: str) -> None:
    """A column whose type holds no facts, or figures without a unit, is refused by its name."""
    pq.write_table(pa.table(columns), tmp_path / "a.parquet")
    assert any(message in problem.message for problem in _refused(tmp_path / "a.parquet", tmp_path / "out"))


def test_items_named_by_numbers(tmp_path: Path) -> None:
    """Whole numbers name items as their digits do."""
    pq.write_table(pa.table({"sku": [1007, 1008], "kind": ["step", "step"]}), tmp_path / "a.parquet")
    assert _told(tmp_path / "a.parquet", tmp_path / "out") == []
    assert [row["sku"] for row in found(tmp_path / "out", "items")] == ["1007", "1008"]


def test_facts_that_are_none(tmp_path: Path) -> None:
    """A JSON record whose `facts` are no object is a bad row, not an item of which nothing is known."""
    (tmp_path / "a.jsonl").write_text('{"sku": "A", "facts": {"kind": "step"}}\n{"sku": "B", "facts": ["step"]}\n')
    assert [line for line, _ in _told(tmp_path / "a.jsonl", tmp_path / "out")] == [2]


def test_a_fact_that_stands_twice_in_a_record(tmp_path: Path) -> None:
    """Neither of two values is chosen where one stands in `facts` and one beside it."""
    (tmp_path / "a.jsonl").write_text(
        '{"sku": "A", "kind": "step"}\n{"sku": "B", "weight": "4 lb", "facts": {"weight": "5 lb"}}\n'
    )
    assert _told(tmp_path / "a.jsonl", tmp_path / "out") == [(2, "weight")]


def test_parquet_columns_that_are_not_read_may_be_of_any_type(tmp_path: Path) -> None:
    """Dates, lists and bytes of other people's columns are passed over as in a text file."""
    columns = {"sku": ["A"], "kind": ["step"], "listed": [date(2026, 3, 1)], "tags": [["x"]], "image": [b"x"]}
    pq.write_table(pa.table(columns), tmp_path / "a.parquet")
    pq.write_table(pa.table({"rig": [rigs()[0].key], "made": [date(2026, 3, 1)], "sku": ["A"]}), tmp_path / "c.parquet")
    audit(tmp_path / "a.parquet", tmp_path / "out", rigs()[:_FEW], claims=tmp_path / "c.parquet")
    told = summary(tmp_path / "out")
    assert (told["rows"]["items"], told["claims"]["claims"]) == (1, 1)
    assert told["rows"]["passed_over"] == ["listed", "tags", "image"]


def test_parquet_that_is_none(tmp_path: Path) -> None:
    """A Parquet file that is cut off, or was never one, is refused in a line."""
    pq.write_table(_typed(accessories()), tmp_path / "a.parquet")
    whole = (tmp_path / "a.parquet").read_bytes()
    for number, text in enumerate((whole[: len(whole) // 2], b"sku,kind\nA,step\n", b"")):
        (tmp_path / "b.parquet").write_bytes(text)
        (problem,) = _refused(tmp_path / "b.parquet", tmp_path / f"out{number}")
        assert "is not Parquet" in problem.message
        assert "\n" not in problem.message


def test_a_damaged_page_of_parquet(tmp_path: Path) -> None:
    """A Parquet file whose footer is whole but whose pages are not is refused, not half audited."""
    pq.write_table(_typed(accessories()), tmp_path / "a.parquet")
    text = bytearray((tmp_path / "a.parquet").read_bytes())
    text[4:3000] = bytes(255 - byte for byte in text[4:3000])
    (tmp_path / "a.parquet").write_bytes(text)
    assert "cannot be read past row 0" in _refused(tmp_path / "a.parquet", tmp_path / "out")[0].message


def test_a_column_that_could_not_be_held(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A small Parquet file whose one cell is huge is refused by what it says of itself, before it is unpacked."""
    monkeypatch.setattr(parquet_chunks, "LARGEST_CHUNK", 1_000_000)
    pq.write_table(
        pa.table({"sku": ["A", "B"], "shank": ["2 in", "2" * 2_000_000]}), tmp_path / "a.parquet", compression="zstd"
    )
    assert (tmp_path / "a.parquet").stat().st_size < 10_000
    (problem,) = _refused(tmp_path / "a.parquet", tmp_path / "out")
    assert "column `shank` has 2 MB in the rows 1 to 2" in problem.message


def test_a_cell_too_long_for_a_fact(tmp_path: Path) -> None:
    """Cells of thousands of characters are bad ones, whatever they hold, and are not kept to be compared."""
    path = tmp_path / "a.csv"
    path.write_text("sku,shank\nA,2 in\n" + "".join(f"B{n},{n}{'0' * 100_000}\n" for n in range(3)))
    assert _told(path, tmp_path / "out") == [(3, "shank"), (4, "shank"), (5, "shank")]
    assert {row["problem"] for row in found(tmp_path / "out", "bad_cells")} == {
        "the cell is longer than 2,000 characters"
    }


def test_claims_of_a_file(tmp_path: Path) -> None:
    """Claims may stand in a file of their own; unknown items and rigs in it are told by line."""
    rows, (one, two) = accessories()[:4], rigs()[:2]
    claims = tmp_path / "claims.csv"
    claims.write_text(
        f"sku,rig\n{rows[0]['sku']},{one.key}\nNONE,{one.key}\n{rows[1]['sku']},rig_none\n"
        f"{rows[2]['sku']},{two.vehicle}\n"
    )
    audit(write_csv(tmp_path / "a.csv", rows), tmp_path / "out", [one, two], claims=claims)
    claimed = {(row["sku"], row["rig"]) for row in pairs(tmp_path / "out") if row["claimed"]}
    assert claimed == {(rows[0]["sku"], one.key), (rows[2]["sku"], two.key)}
    assert [(row["row"], row["column"]) for row in found(tmp_path / "out", "bad_claims")] == [
        ("3", "sku"),
        ("4", "rig"),
    ]


def test_pairs_as_csv_and_json(tmp_path: Path) -> None:
    """Pairs as CSV and as JSON Lines hold the same rows as Parquet does."""
    catalogue = write_csv(tmp_path / "a.csv", accessories()[:20])
    for format in ("parquet", "csv", "jsonl"):
        audit(catalogue, tmp_path / format, rigs()[:_FEW], format=format)
    expected = [
        {name: value for name, value in row.items() if name != "claimed"} for row in pairs(tmp_path / "parquet")
    ]
    (part,) = (name for name in files(tmp_path / "jsonl") if name.startswith("pairs"))
    told = [json.loads(line) for line in (tmp_path / "jsonl" / part).read_text("utf-8").splitlines()]
    assert [{name: value for name, value in row.items() if name != "claimed"} for row in told] == expected
    (tmp_path / "pairs.csv").symlink_to(next((tmp_path / "csv" / "pairs.csv").iterdir()))
    assert [
        {name: value for name, value in row.items() if name != "claimed"} for row in found(tmp_path, "pairs")
    ] == expected


@pytest.mark.parametrize("rows", [["A,step"], []])
def test_the_collector_is_as_it_was_once_a_catalogue_is_read(
    tmp_path: Path, none_set_aside: None, rows: list[str]
) -> None:
    """Whether it could be read or not, nothing stays frozen and Python looks for cycles as often as before."""
    path, before = tmp_path / "a.csv", (gc.get_threshold(), gc.get_freeze_count())
    path.write_text("\n".join(["sku,kind", *rows]) + "\n")
    with pytest.raises(ProblemsFound) if not rows else nullcontext():
        audit(path, tmp_path / "out", rigs()[:1])
    assert (gc.get_threshold(), gc.get_freeze_count()) == before


def test_a_row_that_is_lost_says_for_what(tmp_path: Path) -> None:
    """A number that stood before says where, and that its claims go; one with what cannot be seen says that."""
    rows = [{"sku": one, "kind": "step", "fits": fits} for one, fits in (("A", ""), ("B", ""), ("A", "rig_a"))]
    rows += [{"sku": "B", "kind": "step", "fits": ""}, {"sku": "C\u200b", "kind": "step", "fits": ""}]
    audit(write_csv(tmp_path / "a.csv", rows), tmp_path / "out")
    told = {int(row["row"]): (row["problem"], row["allowed"]) for row in found(tmp_path / "out", "bad_rows")}
    assert told.keys() == {4, 5, 6}
    assert told[4][0] == "`A` stands in a row before this one: row 2" and "claims to fit is left out" in told[4][1]
    assert told[5] == ("`B` stands in a row before this one: row 3", "each item stands in one row")
    assert "a character that cannot be seen" in told[6][0]


def test_a_cell_under_the_empty_end_of_a_header_is_told_as_that(tmp_path: Path) -> None:
    """The column has no name; a row with more cells than the header has commas is told as before."""
    path = tmp_path / "a.csv"
    path.write_text("sku,kind,\nA,step,\nB,step,5\nC,step,5,6\n")
    audit(path, tmp_path / "out")
    told = {row["row"]: row["problem"] for row in found(tmp_path / "out", "bad_rows")}
    assert told == {"3": "column 3 has no name, and a cell here", "4": "the row has 4 cells, the header 2"}


def test_a_file_that_cannot_be_read_says_what_helps(tmp_path: Path) -> None:
    """Titles past its end, half of what was packed, and letters of another encoding."""
    text = "sku,kind\nA,step\nB,caf\u00e9\n"
    (tmp_path / "a.csv").write_text(text, encoding="cp1252")
    (tmp_path / "a.csv.gz").write_bytes(gzip.compress(random.Random(1).randbytes(5_000))[:2_000])
    for name, form, told, helps in (
        ("a.csv", FileForm(header=99), "ends before line 99", "`header: 3`"),
        ("a.csv.gz", FileForm(), "cannot be read", "sent anew"),
    ):
        with pytest.raises(ProblemsFound) as refused:
            list(read_chunks(tmp_path / name, [], {}, None, form))
        assert told in refused.value.problems[-1].message and helps in refused.value.problems[-1].help
    problems: list[Problem] = []
    list(read_chunks(tmp_path / "a.csv", problems, {}))
    assert "`encoding: cp1252`" in problems[0].help


@pytest.mark.parametrize(
    ("mark", "short", "long"),
    [
        (",", "`,,`", "a comma in quotes"),
        (";", "`;;`", "`;` in quotes"),
        ("|", "`||`", "`|` in quotes"),
        ("\t", "two tabs", "a tab in quotes"),
    ],
)
def test_a_row_is_made_whole_by_its_files_own_mark(tmp_path: Path, mark: str, short: str, long: str) -> None:
    """What to write where a row has too few cells, or too many, is told as that file writes them."""
    lines = ("sku,kind,weight [lb]", "A,step,20", "B,step", "C,step,20,30")
    (tmp_path / "a.csv").write_text("".join(line.replace(",", mark) + "\n" for line in lines))
    audit(tmp_path / "a.csv", tmp_path / "out", rigs()[:1])
    allowed = [row["allowed"] for row in found(tmp_path / "out", "bad_rows")]
    assert len(allowed) == 2 and short in allowed[0] and long in allowed[1]
    problems = list[Problem]()
    records = ("subject,sku,kind", "accessory,A,step", "accessory,B", "accessory,C,step,20")
    (tmp_path / "b.csv").write_text("".join(line.replace(",", mark) + "\n" for line in records))
    list(csv_rows(tmp_path / "b.csv", "b.csv", problems, answerer().rulebook.vocabulary, None))
    assert len(problems) == 2 and short in problems[0].help and long in problems[1].help


def test_columns_that_the_mapping_leaves_out_are_told_so(tmp_path: Path) -> None:
    """They may well be facts: the page and the list of what to mend lead to the mapping, and no day calls them new."""
    (tmp_path / "suppliers").mkdir()
    (tmp_path / "suppliers" / "a.yaml").write_text("columns: {Nr: sku, Art: kind, Stift: ignore}\n")
    (tmp_path / "a.csv").write_text("Nr,Art,Stift,Bestand\nA,step,5/8 in,3\n")
    told = audit(tmp_path / "a.csv", tmp_path / "out", rigs()[:1], mapping=tmp_path / "suppliers" / "a.yaml")
    assert (told["rows"]["passed_over"], told["rows"]["ignored"]) == (["Stift", "Bestand"], ["Stift"])
    page = (tmp_path / "out" / "summary.html").read_text()
    assert "no facts of accessories and were not read: <code>Bestand</code>." in page
    assert "The mapping says to pass over these columns, and they were not read: <code>Stift</code>." in page
    missing = [row for row in found(tmp_path / "out", "fix_list") if "no column for it" in row["wrong"]]
    assert missing and all(row["allowed"].startswith("say in the mapping if it is `Stift`, or add") for row in missing)
    taken = take_in(tmp_path / "a.csv", answerer().reader, tmp_path / "suppliers", "a")
    assert taken.drifted == ["`Bestand` is new, and not read"]
