"""Figures as catalogues print them: commas by the column, round sizes where the column says so, words about figures."""

from pathlib import Path

import pytest
from audit_world import audit, found, pairs, rigs
from demo_world import answerer

from fitsvc.audits.chunks import Chunk
from fitsvc.audits.decimals import DecimalMarks, with_point
from fitsvc.audits.intake import take_in
from fitsvc.language.problems import ProblemsFound
from fitsvc.loading.cells import read_cell
from fitsvc.loading.entries import wire_fact

_POUND = 0.45359237


@pytest.mark.parametrize(
    ("cell", "mark", "read"),
    [
        ("5,4", ",", "5.4"),
        ("1.250,50 kg", ",", "1250.5 kg"),
        ("1,250", ",", "1.25"),
        ("45,125 kg", ",", "45.1250 kg"),
        ("1.250", ",", "1250"),
        ("10,5-12,5 kg", ",", "10.5-12.5 kg"),
        ("1,250", ".", "1250"),
        ("1.250", ".", "1.25"),
        ("2.000 lb", ".", "2 lb"),
        ("2-1/2 in.", ".", "2-1/2 in."),
        ("2-1/2 in.", ",", "2-1/2 in."),
    ],
)
def test_a_comma_is_what_its_column_says(cell: str, mark: str, read: str) -> None:
    """Where the mark of decimals is told, what parts thousands goes, and every figure has one reading."""
    assert with_point(cell, mark) == read


@pytest.mark.parametrize(("cell", "mark"), [("12.5", ","), ("1,25", "."), ("1.25,5", ","), ("1,250,5", ",")])
def test_what_is_not_written_so_is_refused(cell: str, mark: str) -> None:
    """A figure that the told mark cannot have written is asked about."""
    with pytest.raises(ProblemsFound):
        with_point(cell, mark)


@pytest.mark.parametrize(
    ("fact", "cell", "unit", "bounds"),
    [
        ("weight", "12 lbs.", "", (12.0, 12.0)),
        ("weight", "12 lb 4 oz", "", (12.25, 12.25)),
        ("weight", "10-12 lb", "", (10.0, 12.0)),
        ("weight", "10-12", "lb", (10.0, 12.0)),
        ("weight", "up to 12 lb", "", (0.0, 12.0)),
        ("weight", "up to 12", "lb", (0.0, 12.0)),
        ("bike_weight_max", "35 max", "lb", (35.0, 35.0)),
        ("bike_weight_max", "up to 35", "lb", (35.0, 35.0)),
    ],
)
def test_weights_as_catalogues_print_them(fact: str, cell: str, unit: str, bounds: tuple[float, float]) -> None:
    """Ranges are bounds, and the most there may be is a bound of a weight and the figure of a rating."""
    reader = answerer().reader
    known = reader.vocabulary.of("accessory")[fact]
    (value,) = reader.value(known, wire_fact(known, read_cell(cell, known, unit))).values()
    assert value == pytest.approx(tuple(end * _POUND for end in bounds))


def _told(folder: Path, text: str, mapping: str = "columns: {}") -> tuple[dict[str, str], list[str]]:
    """The outcome of each item on one rig, and the cells that could not be read."""
    (folder / "a.csv").write_text(text, encoding="utf-8")
    (folder / "map.yaml").write_text(mapping, encoding="utf-8")
    rig = next(rig for rig in rigs() if rig.key == "rig_farm_muckle")
    out = folder / f"out{len(list(folder.iterdir()))}"
    audit(folder / "a.csv", out, [rig], mapping=folder / "map.yaml")
    return {row["sku"]: row["outcome"] for row in pairs(out)}, [row["cell"] for row in found(out, "bad_cells")]


def test_round_sizes_are_taken_where_the_column_says_so(tmp_path: Path) -> None:
    """`50 mm` is 2 in by `nominal: mm`; what is no size's round figure is not, and nothing is without it."""
    text = "sku,kind,Tube\nA,ball_mount,50 mm\nB,ball_mount,63\nC,ball_mount,40 mm\nD,ball_mount,2 in\n"
    outcomes, odd = _told(tmp_path, text, "columns: {Tube: {fact: shank, nominal: mm}}")
    assert odd == ["40 mm"]
    assert outcomes["A"] == outcomes["D"] != outcomes["B"] == "fails"
    _, odd = _told(tmp_path, text, "columns: {Tube: shank}")
    assert odd == ["50 mm", "63", "40 mm"]


def test_thousands_are_not_read_beside_decimal_commas(tmp_path: Path) -> None:
    """`1,250` is taken in a column of points, asked about in one with `5,4`, and read by what a mapping says."""
    points = 'sku,kind,weight [kg]\nA,step,12.5\nB,step,"1,250"\n'
    assert _told(tmp_path, points)[1] == ["1,250"]  # 1250 kg, which is not plausible
    commas = 'sku,kind,trailer_rating [kg]\nA,ball_mount,"907,2"\nB,ball_mount,"1,250"\nC,ball_mount,2000\n'
    assert _told(tmp_path, commas)[1] == ["907,2", "1,250"]
    assert _told(tmp_path, commas, "decimal: comma\ncolumns: {}")[1] == []
    assert _told(tmp_path, commas.replace("907,2", "907"))[1] == []


@pytest.mark.parametrize(
    ("weight", "extent", "odd"),
    [
        ("18,5", "1.250", ["18,5", "1.250"]),
        ("18,5", "1,250", ["18,5", "1,250"]),
        ("18,5", "12.5", ["18,5"]),
        ("18.5", "1.250", []),
        ("18", "1.250", []),
        ("18", "1,250", []),
    ],
)
def test_thousands_are_asked_about_beside_the_commas_of_another_column(
    tmp_path: Path, weight: str, extent: str, odd: list[str]
) -> None:
    """What one column of figures says of commas counts for each that says nothing of them; a column of words does not.

    A column that has decimal points of its own says so, and a mapping says it of all.
    """
    text = f'sku,kind,weight [kg],rear_extent [mm]\nA,step,"{weight}","{extent}"\nB,step,9,980\n'
    assert _told(tmp_path, text)[1] == odd
    assert _told(tmp_path, text.replace("weight [kg]", "remark"))[1] == []
    assert _told(tmp_path, text + "C,step,9,20.25\n")[1] == [cell for cell in odd if cell != "1.250"]
    if "250" in extent:
        assert _told(tmp_path, text.replace("18.5", "18"), "decimal: comma\ncolumns: {}")[1] == []


@pytest.mark.parametrize(
    ("title", "cells", "taken", "share"),
    [
        ("capacity [lb]", ("1,250", "52,5", "1,100"), "", 0.0),  # 1250 lb and 1.25 lb are capacities both
        ("capacity [lb]", ("152,500", "52,5", "60,25"), ",", 1.0),  # no carrier takes 152,500 lb
        ("rear_extent [mm]", ("1.250", "980", "1.100"), "", 1 / 3),
        ("rear_extent [mm]", ("1.250,5", "980", "1.100"), ",", 1.0),
        ("rear_extent [mm]", ("12.5", "980", "1.100"), "", 1.0),
        ("capacity [kg]", ("52,500", "60,250", "45,125"), ",", 1.0),
    ],
)
def test_a_draft_guesses_no_decimals(
    tmp_path: Path, title: str, cells: tuple[str, ...], taken: str, share: float
) -> None:
    """Where a cell may be two figures of its fact the column is asked about, and such cells are told one by one."""
    rows = "".join(f"A-{number};step;18,5;{cell}\n" for number, cell in enumerate(cells))
    (tmp_path / "a.csv").write_text(f"sku;kind;weight [kg];{title}\n{rows}")
    found = take_in(tmp_path / "a.csv", answerer().reader, tmp_path, "x").columns
    one = next(one for one in found if one.title == title)
    assert one.taken is not None
    assert one.taken.decimal == taken
    assert one.share == pytest.approx(share)
    assert bool(one.question) == (share < 1.0)
    assert ("what parts decimals" in (tmp_path / "x.yaml").read_text("utf-8")) == (share < 1.0)


@pytest.mark.parametrize(
    "mapping",
    [
        "decimal: komma\ncolumns: {}",
        "columns: {Wt: {fact: weight, nominal: mm}}",
        "columns: {Wt: {fact: shank, nominal: st}}",
    ],
)
def test_marks_and_round_sizes_that_are_none(tmp_path: Path, mapping: str) -> None:
    """A mark that is neither, and round sizes of what is one of no sizes, are refused."""
    with pytest.raises(ProblemsFound):
        _told(tmp_path, "sku,Wt\nA,2 in\n", mapping)


def test_which_of_many_figures_is_named_is_the_same_in_every_run() -> None:
    """The first of the column, whatever the order in which a set of them would be walked."""
    sure = [f"{figure},5 kg" for figure in range(100, 300)]
    marks = DecimalMarks(lambda: [Chunk([1] * len(sure), {"weight": sure})])
    with pytest.raises(ProblemsFound, match="there is `100,5 kg` too"):
        marks.hold("weight", "1,250")
