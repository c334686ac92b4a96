"""An audit's summary as one file: the face of the pages at the counter, and nothing that it would have to load."""

import csv
import re
import zipfile
from html import unescape
from pathlib import Path
from urllib.parse import parse_qsl, urlsplit

import pyarrow as pa
import pytest
from audit_world import audit, found, rigs, small_blocks
from demo_world import answerer
from hypothesis import given
from hypothesis import strategies as st
from python_calamine import CalamineWorkbook

from fitsvc.audits import fixes, layout
from fitsvc.audits.pairs import write_part
from fitsvc.audits.sheets import plain_cell, read_safe, safe_cell
from fitsvc.service.counter.links import read_fields
from fitsvc.service.counter.rendering import assets

TOKEN = re.compile(r"--([a-z]+): ?(#[0-9a-f]{6})")


def test_the_summary_has_the_colours_of_the_counter() -> None:
    """Each of its colours, by day and by night, is that of the pages of the same name; it asks no other file."""
    pages, own = (TOKEN.findall(text) for text in (assets()["counter.css"].decode(), layout.STYLE))
    assert len(own) == 10
    assert [one for one in own if one not in pages] == []
    assert "url(" not in layout.STYLE and "@import" not in layout.STYLE


@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """The page of a small catalogue with a bad row, a bad cell, an empty one, a formula, and a claim that is false."""
    folder, rig = tmp_path_factory.mktemp("page"), next(one for one in rigs() if one.key == "rig_farm_muckle")
    (folder / "fellside <spring>.csv").write_text(
        "sku,kind,shank,pin,weight [lb],fits\n"
        f"A,ball_mount,2-1/2 in,5/8 in,9.5,{rig.key}\nB,ball_mount,9 in,5/8 in,,\nC,ball_mount,2 in,5/8 in,,\n"
        f"C,step,,,,\n=1+1,ball_mount,1-1/4 in,1/2 in,,{rig.key} rig_far\nD,ball_mount,,5/8 in,,\n"
    )
    asked = {"supplier": "Fellside & Sons", "day": "2026-11-28", "counter": "https://counter.example/"}
    audit(folder / "fellside <spring>.csv", folder / "out", [rig], **asked)
    return folder / "out", (folder / "out" / "summary.html").read_text("utf-8")


def test_the_page_says_whose_file_it_is_and_what_to_mend(shown: tuple[Path, str]) -> None:
    """Supplier, file and day; rows that add up; rules, vehicles and facts in words; false claims with the reason."""
    out, text = shown
    for said in ("Fellside &amp; Sons", "fellside &lt;spring&gt;.csv", "28 November 2026"):
        assert f"<b>{said}</b>" in text
    assert "Of 6 rows 5 items were judged; 1 row could not be" in text
    claims = found(out, "claims")
    assert len(claims) == 3
    assert all(claim["reason"] in text for claim in claims)
    words = re.sub(r'href="[^"]*"', "", text)
    assert not any(code in words for code in ("shank-fits-opening", "ball_mount", "undetermined"))
    assert "2023 Brannoch Muckle, crew cab" in text
    assert "shank size" in text.casefold()


def test_the_page_links_to_files_that_are_there(shown: tuple[Path, str]) -> None:
    """Each table that it names lies beside it."""
    out, text = shown
    names = {name for name in re.findall(r'href="([^"]+)"', text) if not name.startswith("https:")}
    assert {"bad_rows.csv", "bad_cells.csv", "claims.csv", "fits_nothing.csv", "fix_list.xlsx"} <= names
    assert [name for name in names if not (out / name).is_file()] == []


def test_a_false_claim_opens_at_the_counter(shown: tuple[Path, str]) -> None:
    """The address asks of the same rig, with all that the catalogue tells of the item, and nothing else."""
    _, text = shown
    links = [unescape(one) for one in re.findall(r'href="(https:[^"]+)"', text)]
    assert len(links) == 2
    fields = dict(parse_qsl(urlsplit(links[0]).query))
    assert links[0].startswith("https://counter.example/answer?")
    asked = read_fields(fields, answerer().reader, "us")
    assert (asked.document["rig"], asked.problems) == ({"id": "rig_farm_muckle"}, ())
    told = {"kind": "ball_mount", "shank": "2-1/2 in", "pin": "5/8 in", "weight": "9.5 lb"}
    assert asked.document["accessory"] == {"facts": told}


def test_the_fix_list_is_sorted_by_what_each_cell_decides(shown: tuple[Path, str]) -> None:
    """As a table and as a workbook: rows and columns of the supplier's, what stands there, and what would be taken."""
    out, _ = shown
    rows = found(out, "fix_list")
    decides = [(int(row["pairs"]), int(row["claims"])) for row in rows]
    assert decides == sorted(decides, reverse=True)
    cells = {(row["row"], row["column"]): row for row in rows}
    assert cells["2", "fits"]["stands"] == "rig_farm_muckle"
    assert cells.keys() == {("2", "fits"), ("3", "shank"), ("5", "sku"), ("6", "fits"), ("7", "shank")}
    assert (cells["3", "shank"]["stands"], cells["3", "shank"]["pairs"]) == ("9 in", "1")
    assert "`2 in`" in cells["3", "shank"]["allowed"]
    assert (cells["7", "shank"]["stands"], cells["7", "shank"]["pairs"]) == ("", "1")
    assert cells["5", "sku"]["pairs"] == "1"
    titles, *sheet = CalamineWorkbook.from_path(out / "fix_list.xlsx").get_sheet_by_index(0).to_python()
    plain = [[plain_cell(cell) for name, cell in row.items() if name != "sort"] for row in rows]
    assert len(titles) == len(plain[0])
    assert [[str(int(cell)) if isinstance(cell, float) else cell for cell in row] for row in sheet] == plain


def test_no_cell_of_a_supplier_is_a_formula(shown: tuple[Path, str]) -> None:
    """In no table and not in the workbook; what is read again is what the supplier wrote."""
    out, _ = shown
    for path in out.glob("*.csv"):
        with path.open(encoding="utf-8", newline="") as stream:
            assert not [cell for row in csv.reader(stream) for cell in row if cell[:1] in ("=", "+", "@")]
    assert {row["sku"] for row in read_safe(out / "items.csv")} >= {"=1+1"}
    with zipfile.ZipFile(out / "fix_list.xlsx") as book:
        sheets = [book.read(name).decode() for name in book.namelist() if "worksheets/" in name]
    assert sheets and not any("<f>" in sheet or "hyperlink" in sheet for sheet in sheets)


def test_pairs_as_csv_hold_no_formula(tmp_path: Path) -> None:
    """Nor do the pairs, whose texts are codes with names until they are written."""
    names = pa.DictionaryArray.from_arrays(pa.array([0, 1, 0]), pa.array(["=1+1", "A"]))
    write_part(tmp_path / "part.csv", pa.table({"sku": names, "claimed": pa.array([True, None, False])}))
    with (tmp_path / "part.csv").open(encoding="utf-8", newline="") as stream:
        assert list(csv.reader(stream)) == [["sku", "claimed"], ["'=1+1", "true"], ["A", ""], ["'=1+1", "false"]]


@given(st.text(max_size=12))
def test_a_safe_cell_can_be_read_back(text: str) -> None:
    """Whatever the text, it begins with nothing that a spreadsheet takes for a formula, and nothing of it is lost."""
    safe = safe_cell(text)
    assert plain_cell(safe) == text
    assert safe[:1] not in ("=", "+", "@", "\t", "\r")


def test_its_charts_are_told_in_figures_too(shown: tuple[Path, str]) -> None:
    """Each bar has its figure beside it and in what is read aloud, and is told apart by its length, not its colour."""
    _, text = shown
    charts = re.findall(r'<svg class="bars".*?</svg>', text)
    assert len(charts) >= 4
    for chart in charts:
        said = re.findall(r"([\d,]+)(?:, |\Z)", re.findall(r'aria-label="([^"]*)"', chart)[0])
        assert len(said) == len(re.findall(r"<rect ", chart)) == len(re.findall(r"<text ", chart)) / 2
        assert "fill=" not in chart


def test_a_cell_that_does_not_read_is_told_by_what_it_holds_up(tmp_path: Path) -> None:
    """A pin that does not read holds up what would pass with one, and so does a kind, written wrong or left out."""
    rig = next(one for one in rigs() if one.key == "rig_farm_muckle")
    cells = (("ball_mount", "5/8 in"), ("ball_mount", "8-May"), ("ballmount", "5/8 in"), ("", "5/8 in"))
    rows = (f"N-{place},{kind},2 in,{pin},9.5,{rig.key}\n" for place, (kind, pin) in enumerate(cells))
    (tmp_path / "a.csv").write_text("sku,kind,shank,pin,weight [lb],fits\n" + "".join(rows))
    audit(tmp_path / "a.csv", tmp_path / "out", [rig])
    told = {row["sku"]: row for row in found(tmp_path / "out", "fix_list") if row["column"] in ("pin", "kind")}
    assert {sku: row["sort"] for sku, row in told.items()} == {"N-1": "bad_cell", "N-2": "bad_cell", "N-3": "missing"}
    assert all((row["pairs"], row["claims"]) == ("1", "1") for row in told.values())


def test_of_more_cells_than_are_listed_those_that_decide_most_are(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """However many there are, and in whatever order they come: the first of the whole list, and all of them counted."""
    some = rigs()[:4]
    rows = (f"N-{n},ball_mount,{'2 in' if n % 3 else ''},{'' if n % 4 else '8-May'},\n" for n in range(60))
    (tmp_path / "a.csv").write_text("sku,kind,shank,pin,fits\n" + "".join(rows))
    whole = audit(tmp_path / "a.csv", tmp_path / "whole", some)
    monkeypatch.setattr(fixes, "MOST", 5)
    with small_blocks(8, 40):
        first = audit(tmp_path / "a.csv", tmp_path / "first", some)
    assert first["fixes"] == whole["fixes"] > 30
    assert found(tmp_path / "first", "fix_list") == found(tmp_path / "whole", "fix_list")[:5]
