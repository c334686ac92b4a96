"""What a workbook shows and its values do not say: merged cells, and codes of numbers by their format."""

import zipfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import pytest
from audit_recall import rows_of_text
from audit_world import audit, found, rigs
from workbooks import Formatted, Formula, Rows, write_ods, write_xlsx

from fitsvc.audits.cleaned import CATALOGUE, REMARKS
from fitsvc.cli import main
from fitsvc.language.problems import ProblemsFound
from fitsvc.loading.code_cells import shown_by
from fitsvc.loading.merged_cells import COVERED
from fitsvc.loading.workbooks import sheet_rows

Write = Callable[..., Path]
BOTH = pytest.mark.parametrize("write", [write_xlsx, write_ods])


def _name(write: Write) -> str:
    return "a.xlsx" if write is write_xlsx else "a.ods"


def _read(path: Path) -> list[tuple[int, list[object]]]:
    return [(number, list(cells)) for number, cells in sheet_rows(path)]


@BOTH
@pytest.mark.parametrize(
    ("rows", "merged", "read"),
    [
        # Downwards it is the cell of each row, a figure too; what is beside it stays.
        ([["A", "step", 9], ["B", None, None], ["C", None, 8]], [(1, 2, 3, 2), (1, 3, 2, 3)],
         [["A", "step", 9], ["B", "step", 9], ["C", "step", 8]]),
        # Across columns it speaks of its first; of the others that is not certain.
        ([["A", "on request", None, "x"]], [(1, 2, 1, 3)], [["A", "on request", f"{COVERED}on request", "x"]]),
        ([["A", 9, None, None], ["B", None, None, 1]], [(1, 2, 2, 3)],
         [["A", 9, f"{COVERED}9", None], ["B", 9, f"{COVERED}9", 1]]),
        # Alone in its row it is a heading; rows in which nothing else stands are none.
        ([["Steps", None, None], ["A", "step", 9]], [(1, 1, 1, 3)], [["Steps", None, None], ["A", "step", 9]]),
        ([["Steps", None], [None, None], ["A", "step"]], [(1, 1, 2, 2)], [["Steps", None], None, ["A", "step"]]),
        ([["A", "step"], [None, None], ["B", "step"]], [(1, 1, 2, 1), (1, 2, 2, 2)],
         [["A", "step"], None, ["B", "step"]]),
        # An empty merged cell says nothing; what is left beneath one and differs is not certain either.
        ([["A", None, None], ["B", None, "x"]], [(1, 2, 2, 3)], [["A", None, None], ["B", None, f"{COVERED}None"]]),
        ([["A", "step"], ["B", "step"], ["C", "winch"]], [(1, 2, 3, 2)],
         [["A", "step"], ["B", "step"], ["C", f"{COVERED}step"]]),
    ],
)  # fmt: skip
def test_merged_cells(
    tmp_path: Path, write: Write, rows: Rows, merged: Sequence[Any], read: list[list[object] | None]
) -> None:
    """What is merged downwards is said of each row, and what is covered in its row never looks empty."""
    path = write(tmp_path / _name(write), {"Items": rows}, merged)
    assert _read(path) == [(number, cells) for number, cells in enumerate(read, 1) if cells is not None]


def test_merged_cells_over_each_other_are_refused(tmp_path: Path) -> None:
    """However many of them there are, no more is looked at than the sheet has cells."""
    path = write_xlsx(tmp_path / "a.xlsx", {"Items": [["A", "step"], ["B", None]]}, [(1, 1, 2, 2)] * 2)
    with pytest.raises(ProblemsFound, match="lie over each other"):
        _read(path)


@BOTH
def test_a_list_with_merged_cells_loses_nothing(tmp_path: Path, write: Write) -> None:
    """Titles in two rows, kinds over several rows, a heading, and one cell for two columns, by `intake` and audit."""
    rows: Rows = [
        ["Item", "Type", "Ratings", None, "Pin size"],
        [None, None, "Tongue rating (lb)", "Trailer rating (lb)", None],
        ["Light ones", None, None, None, None],
        ["MG-1", "Ball mount", 500, 5000, "5/8 in"],
        ["MG-2", None, 600, 6000, "5/8 in"],
        ["MG-3", None, 700, None, "5/8 in"],
    ]
    merged = [(1, 1, 2, 1), (1, 2, 2, 2), (1, 3, 1, 4), (1, 5, 2, 5), (3, 1, 3, 5), (4, 2, 6, 2), (6, 3, 6, 4)]
    path = write(tmp_path / _name(write), {"Items": rows}, merged)
    command = ["intake", str(path), "--supplier", "x", "--into", str(tmp_path), "-o", str(tmp_path / "clean")]
    assert main(command) == 0
    loaded = {row["sku"]: row for row in rows_of_text(tmp_path / "clean" / CATALOGUE)}
    assert [loaded[f"MG-{number}"]["kind"] for number in (1, 2, 3)] == ["Ball mount"] * 3
    ratings = [loaded[f"MG-{number}"]["trailer_rating"] for number in (1, 2, 3)]
    assert (ratings[:2], ratings[2].startswith("at least ")) == (["5000 lb", "6000 lb"], True)
    remarks = {row["Item"]: row["remarks"] for row in rows_of_text(tmp_path / "clean" / REMARKS)}
    assert (remarks["MG-1"], remarks["MG-2"]) == ("", "")
    assert "Trailer rating (lb): a merged cell covers it: whether `700` is said" in remarks["MG-3"]
    assert "looks like a heading" in remarks["Light ones"]
    audit(path, tmp_path / "out", rigs()[:1], mapping=tmp_path / "x.yaml")
    odd = [(row["row"], row["column"], row["cell"]) for row in found(tmp_path / "out", "bad_cells")]
    assert odd == [("3", "Item", "Light ones"), ("6", "Trailer rating (lb)", "700")]


@BOTH
def test_merged_cells_of_claims(tmp_path: Path, write: Write) -> None:
    """An item is claimed for each vehicle beside it; a cell over two columns of a name is no claim that is certain."""
    rig = rigs()[0]
    (tmp_path / "items.csv").write_text("sku,kind,shank\nA-1,ball_mount,2 in\n")
    rows: Rows = [
        ["sku", "rig"], ["A-1", rig.key], [None, "rig_of_nobody"],
    ]  # fmt: skip
    path = write(tmp_path / f"claims-{_name(write)}", {"Claims": rows}, [(2, 1, 3, 1)])
    audit(tmp_path / "items.csv", tmp_path / "out", [rig], claims=path)
    told = [(row["sku"], row["rig"]) for row in found(tmp_path / "out", "claims_checked")]
    assert told == [("A-1", rig.key), ("A-1", "rig_of_nobody")]
    named: Rows = [["sku", "make", "model"], ["A-1", "Brannoch", None]]
    path = write(tmp_path / f"named-{_name(write)}", {"Claims": named}, [(2, 2, 2, 3)])
    audit(tmp_path / "items.csv", tmp_path / "named", [rig], claims=path)
    (one,) = found(tmp_path / "named", "claims_checked")
    assert (one["verdict"], one["why"].partition(":")[0]) == ("unclear", "a merged cell covers it")
    fits: Rows = [["sku", "kind", "fits"], ["A-1", rig.key, None]]
    path = write(tmp_path / f"fits-{_name(write)}", {"Items": fits}, [(2, 2, 2, 3)])
    audit(path, tmp_path / "fits", [rig])
    assert [row["column"] for row in found(tmp_path / "fits", "bad_claims")] == ["fits"]


@pytest.mark.parametrize(
    ("format", "number", "shown"),
    [
        ("000000", 4711, "004711"), ("000000", 0, "000000"), ("00", 1234, ""), ("000-000", 4711, "004-711"),
        ('"MG-"0000', 12, "MG-0012"), ('0000"-A"', 17, "0017-A"), ("\\A000", 5, "A005"), ("#", 0, ""),
        ("[$-407]00000", 77, "00077"), ("[Red]000;-000", 5, "005"), ("00000\\-0000", 123456789, "12345-6789"),
        ("###-###", 123456, "123-456"), ("(000) 000-0000", 5551234567, "(555) 123-4567"),
        # Formats of figures show no more than the number.
        ("General", 7, ""), ("0.00", 7, ""), ("#,##0", 1500, ""), ("0.0E+00", 7, ""), ("# ?/?", 0.5, ""), ("@", 7, ""),
        ("#,##0.0_);(#,##0.0)", -5, ""), ('_-* #,##0_-;-* #,##0_-;_-* "-"??_-', 0, ""), ("+0;-0", 5, ""),
        ("# ##0", 1200, ""), ("0;[Red]-0", -5, ""), (";;;", 5, ""),
        ('0"-"0', 12, "1-2"), ("yyyy", 7, ""), ("[<=99]00;000", 7, ""),
        # Units and words are what was written, and so is a bound.
        ('0" kg"', 9, "9 kg"), ('0.0" kg"', 9.5, "9.5 kg"), ('General" kg"', 50, "50 kg"),
        ('#,##0" lb"', 1500, "1500 lb"),
        ('0.0," t"', 1200, "1.2 t"), ("0.0,", 1200, "1.2"), ("0%", 0.42, "42%"), ("0.00%", 0.125, "12.5%"),
        ('"<"0', 120, "<120"), ("<0", 120, "<120"), ("~0", 120, "~120"), ('"max "0', 120, "max 120"),
        ("0+", 120, "120+"),
        ("0*-", 120, ""), ('0" per pair"', 120, "120 per pair"), ('"kg "0', 50, "kg 50"),
        ('0" kg net"', 50, "50 kg net"),
        ('"N/A"', 120, "N/A"), ('0;;"none"', 0, "none"), ('0;"below" 0', -3, "below 3"), ('0" stone"', 50, "50 stone"),
        # What is not certain is no figure.
        ('0"0"', 120, "1200"), ('[<100]0" g";0" kg"', 5, '5 ([<100]0" g";0" kg")'),
    ],
)  # fmt: skip
def test_a_format_shows_a_number(format: str, number: float, shown: str) -> None:
    """As ECMA-376 Part 1, 18.8.31 says of digits, literals and sections: what is shown beyond the number is told."""
    assert shown_by(format, float(number)) == shown


@BOTH
def test_codes_are_read_as_they_show(tmp_path: Path, write: Write) -> None:
    """A part number keeps its zeros and its dashes; a figure stays a figure, whatever thousands it shows."""
    rows: Rows = [
        ["sku", "weight [lb]", "capacity [lb]", "bikes_max"],
        [Formatted(4711, "000000", "004711"), Formatted(9, '0" kg"', "9 kg"), Formatted(1500, "# ##0", "1 500"), 2],
        [Formatted(123456, "###-###", "123-456"), Formatted(9.5, "00.00", "09.50"), 40, Formatted(4, "00", "04")],
        [4711, Formatted(1500, "#,##0", "1,500"), Formatted(0.5, "0%", "50%"), 2],
        [Formatted(47, "###-###", "-47"), Formatted(-9, "00", "-09"), 40, 2],
    ]
    path = write(tmp_path / _name(write), {"Items": rows})
    assert _read(path)[1:] == [
        (2, ["004711", "9 kg", 1500, 2]), (3, ["123-456", 9.5, 40, "04"]),
        (4, [4711, 1500, "50%", 2]), (5, ["-47", -9, 40, 2]),
    ]  # fmt: skip
    command = ["intake", str(path), "--supplier", "x", "--into", str(tmp_path), "-o", str(tmp_path / "clean")]
    assert main(command) == 0
    assert [row["sku"] for row in rows_of_text(tmp_path / "clean" / REMARKS)] == ["004711", "123-456", "4711", "-47"]
    loaded = {row["sku"]: row for row in rows_of_text(tmp_path / "clean" / CATALOGUE)}
    assert (loaded["123-456"]["bikes_max"], loaded["004711"]["weight"]) == ("4", "9 kg")


def test_cells_that_repeat_have_each_their_code(tmp_path: Path) -> None:
    """OpenDocument writes equal rows and cells once, with how often they stand there."""
    path = write_ods(tmp_path / "a.ods", {"Items": [["sku", "pin"], [Formatted(7, "000", "007"), "x"], ["B", "y"]]})
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    content = parts["content.xml"].replace(b'office:value="7"', b'office:value="7" table:number-columns-repeated="2"')
    content = content.replace(
        b'<table:table-row><table:table-cell office:value-type="float"',
        b'<table:table-row table:number-rows-repeated="3"><table:table-cell office:value-type="float"',
    )
    with zipfile.ZipFile(path, "w") as archive:
        for name, part in (parts | {"content.xml": content}).items():
            archive.writestr(name, part)
    assert _read(path)[1:] == [*((number, ["007", "007", "x"]) for number in (2, 3, 4)), (5, ["B", "y", None])]


@BOTH
def test_a_unit_that_a_format_shows_is_read(tmp_path: Path, write: Write) -> None:
    """Kilograms by their format are kilograms, whatever the title says; words that are no unit read as if typed."""
    rows: Rows = [
        ["sku", "kind", "weight [lb]", "bikes_max"],
        ["A", "bike_carrier", Formatted(20.5, '0.0" kg"', "20.5 kg"), Formatted(2, '0 "St."', "2 St.")],
        ["B", "bike_carrier", Formatted(45, "0.0\\ \\l\\b", "45.0 lb"), Formatted(4, "0", "4")],
        ["C", "bike_carrier", Formatted(1.5, '0.00" pcs"', "1.50 pcs"), 3],
    ]
    path = write(tmp_path / _name(write), {"Items": rows})
    read = [cells[2:] for _, cells in _read(path)][1:]
    assert read == [["20.5 kg", "2 St."], ["45 lb", 4], ["1.5 pcs", 3]]
    audit(path, tmp_path / "out", rigs()[:1])
    assert [row["cell"] for row in found(tmp_path / "out", "bad_cells")] == ["2 St.", "1.5 pcs"]


@BOTH
def test_words_about_a_figure_are_never_dropped(tmp_path: Path, write: Write) -> None:
    """A bound by a format is one, as if typed; what tells no figure is a bad cell, and never the bare number."""
    shown = {'"max "0': "max 120", '0"+"': "120+", '"<"0': "<120", '"N/A"': "N/A", '0" per pair"': "120 per pair",
             "0%": "12000%", '0" stone"': "120 stone", '"kg "0': "kg 120", '0"0"': "1200"}  # fmt: skip
    each: Rows = [[f"A{n}", "step", Formatted(120, format, text)] for n, (format, text) in enumerate(shown.items())]
    rows: Rows = [["sku", "kind", "weight [lb]"], *each]
    path = write(tmp_path / _name(write), {"Items": rows})
    command = ["intake", str(path), "--supplier", "x", "--into", str(tmp_path), "-o", str(tmp_path / "clean")]
    assert main(command) == 0
    weights = [row["weight"] for row in rows_of_text(tmp_path / "clean" / CATALOGUE)]
    none = "at least 1/4 lb"  # told and open: the least that any may be
    assert weights == [none, "at least 120 lb", "at most 120 lb", "", *[none] * 4, "1200 lb"]
    remarks = [row["remarks"] for row in rows_of_text(tmp_path / "clean" / REMARKS)]
    assert [bool(one) for one in remarks] == [one == none for one in weights]


@BOTH
def test_a_formula_that_nobody_worked_out_is_no_empty_cell(tmp_path: Path, write: Write) -> None:
    """Whoever opens the file sees a figure there, or a demand of the maker's, which is not lost in silence."""
    rows: Rows = [
        ["sku", "kind", "weight [lb]", "min_class", "extension_allowed"],
        ["A", "bike_carrier", Formula("30+2"), Formula('"V"'), Formula("TRUE()")],
        ["B", "bike_carrier", 30, None, None],
    ]
    path = write(tmp_path / _name(write), {"Items": rows})
    audit(path, tmp_path / "out", rigs()[:1])
    odd = [(row["row"], row["cell"], row["problem"]) for row in found(tmp_path / "out", "bad_cells")]
    assert [one[:2] for one in odd] == [("2", "'=30+2"), ("2", '\'="V"'), ("2", "'=TRUE()")]
    assert all("a formula without its result" in one[2] for one in odd)


@BOTH
def test_a_share_is_the_percentage_that_is_shown(tmp_path: Path, write: Write) -> None:
    """With words about it too: 0.42 is 42 %, whatever stands beside it."""
    cells = [Formatted(0.42, '"max "0%', "max 42%"), Formatted(0.42, "0%", "42%")]
    assert _read(write(tmp_path / _name(write), {"Items": [["a", "b"], cells]}))[1:] == [(2, ["max 42%", "42%"])]
