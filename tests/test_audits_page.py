"""An audit's summary as one file: the face of the pages at the counter, and nothing that it would have to load."""

import re
from pathlib import Path

import pytest
from audit_world import audit, found, rigs

from fitsvc.audits import page
from fitsvc.service.counter.rendering import assets

TOKEN = re.compile(r"--([a-z]+): ?(#[0-9a-f]{6})")


def test_the_summary_has_the_colours_of_the_counter() -> None:
    """Each of its colours, by day and by night, is that of the pages of the same name; it asks no other file."""
    pages, own = (TOKEN.findall(text) for text in (assets()["counter.css"].decode(), page._STYLE))
    assert len(own) == 10
    assert [one for one in own if one not in pages] == []
    assert "url(" not in page._STYLE and "@import" not in page._STYLE


@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """The page of a small catalogue with a bad row, a bad cell, and a claim that is false."""
    folder, rig = tmp_path_factory.mktemp("page"), next(one for one in rigs() if one.key == "rig_farm_muckle")
    (folder / "fellside <spring>.csv").write_text(
        f"sku,kind,shank,fits\nA,ball_mount,2-1/2 in,{rig.key}\nB,ball_mount,9 in,\nC,ball_mount,2 in,\nC,step,,\n"
    )
    audit(folder / "fellside <spring>.csv", folder / "out", [rig])
    return folder / "out", (folder / "out" / "summary.html").read_text("utf-8")


def test_the_page_says_whose_file_it_is_and_what_to_mend(shown: tuple[Path, str]) -> None:
    """The file's name, rows that add up, facts and rules in words, and the false claim with its reason."""
    out, text = shown
    assert "<b>fellside &lt;spring&gt;.csv</b>" in text
    assert "Of 4 rows 3 items were judged; 1 row could not be" in text
    (claim,) = found(out, "claims")
    assert claim["reason"] in text
    assert "shank-fits-opening" not in text
    assert "The accessory's shank size".casefold() in text.casefold() or "shank size" in text


def test_the_page_links_to_files_that_are_there(shown: tuple[Path, str]) -> None:
    """Each table that it names lies beside it."""
    out, text = shown
    names = set(re.findall(r'href="([^"]+)"', text))
    assert {"bad_rows.csv", "bad_cells.csv", "claims.csv", "fits_nothing.csv"} <= names
    assert [name for name in names if not (out / name).is_file()] == []


def test_its_charts_are_told_in_figures_too(shown: tuple[Path, str]) -> None:
    """Each bar has its figure beside it and in what is read aloud, and is told apart by its length, not its colour."""
    _, text = shown
    charts = re.findall(r'<svg class="bars".*?</svg>', text)
    assert len(charts) == 4
    for chart in charts:
        said = re.findall(r"([\d,]+)(?:, |\Z)", re.findall(r'aria-label="([^"]*)"', chart)[0])
        assert len(said) == len(re.findall(r"<rect ", chart)) == len(re.findall(r"<text ", chart)) / 2
        assert "fill=" not in chart
