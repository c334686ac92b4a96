"""Suppliers over their deliveries: what the page says of them, and what is let go of old audits."""

import re
from pathlib import Path

import pytest
from audit_world import audit, pairs, rigs

from fitsvc.audits.results import tables_of
from fitsvc.audits.scorecard import let_go, page_of, read_deliveries, told_of
from fitsvc.cli.app import main
from fitsvc.language.problems import ProblemsFound

_ROWS = {
    "thorn-1": ("Thorn", "2026-11-01", "A,ball_mount,2-1/2 in,{rig}\nB,ball_mount,9 in,{rig}\n"),
    "thorn-2": ("Thorn", "2026-11-08", "A,ball_mount,2-1/2 in,\nB,ball_mount,2 in,{rig}\n"),
    "fell-1": ("Fell <& sons>", "2026-11-02", "A,ball_mount,3 in,{rig}\nB,step,3 in,{rig}\n"),
}


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The audits of three deliveries of two suppliers."""
    folder, rig = tmp_path_factory.mktemp("kept"), next(one for one in rigs() if one.key == "rig_farm_muckle")
    for name, (supplier, day, rows) in _ROWS.items():
        (folder / f"{name}.csv").write_text("sku,kind,shank,fits\n" + rows.format(rig=rig.key))
        against = folder / "thorn-1" if name == "thorn-2" else None
        audit(folder / f"{name}.csv", folder / name, [rig], supplier=supplier, day=day, against=against)
    return folder


def test_the_worst_stands_first_and_a_trend_is_told(kept: Path) -> None:
    """By the share of false claims in the last delivery; a supplier of two has what was and what is, in figures."""
    deliveries = read_deliveries(kept)
    assert [(one.supplier, one.day, one.false, one.claims) for one in deliveries] == [
        ("Thorn", "2026-11-01", 1, 2),
        ("Fell <& sons>", "2026-11-02", 2, 2),
        ("Thorn", "2026-11-08", 0, 1),
    ]
    assert told_of(deliveries) == "3 deliveries of 2 suppliers"
    text = page_of(deliveries)
    assert re.findall(r"<h3>(.*?)</h3>", text) == ["The last delivery of each", "Fell &lt;&amp; sons&gt;", "Thorn"]
    assert "Since 1 November 2026 fewer false claims: 1 of 2 (50.0%) then, 0 of 1 (0.0%) now." in text
    assert 'aria-label="1 November 2026 500, 8 November 2026 0"' in text
    assert not any(word in text for word in ("<script", "http:", "src=", "<link"))


def test_a_delivery_is_told_beside_the_earlier_one(kept: Path) -> None:
    """What both came to, side by side, on the page that the supplier gets."""
    text = (kept / "thorn-2" / "summary.html").read_text("utf-8")
    table = text.partition("Since the earlier delivery")[2].partition("</table>")[0]
    rows = re.findall(r'<td>([^<]+)</td><td class="n">([^<]+)</td><td class="n">([^<]+)</td>', table)
    assert '<th scope="col" class="n">1 November 2026</th>' in table
    assert {name: (then, now) for name, then, now in rows} == {
        "rows judged whole": ("1", "2"),
        "rows in all": ("2", "2"),
        "claims that are false": ("1", "0"),
        "claims that are open": ("1", "0"),
        "claims in all": ("2", "1"),
        "cells to mend": ("2", "0"),
    }
    assert "Since the earlier delivery" not in (kept / "thorn-1" / "summary.html").read_text("utf-8")


def test_old_pairs_are_let_go_of_and_figures_stay(
    kept: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """All but the newest of each supplier; the page is the same again, and no audit is compared with what is gone."""
    page = tmp_path / "page.html"
    assert main(["scorecard", str(kept), "-o", str(page), "--keep", "1"]) == 0
    assert "The pairs of 1 audit were let go of" in " ".join(capsys.readouterr().out.split())
    assert not (kept / "thorn-1" / "pairs.parquet").exists()
    assert not (kept / "thorn-1" / "facts").exists() and (kept / "thorn-2" / "facts").is_dir()
    assert "pairs" not in tables_of(kept / "thorn-1") and "pairs" in tables_of(kept / "thorn-2")
    assert pairs(kept / "thorn-2") and pairs(kept / "fell-1")
    before = page.read_text("utf-8")
    assert page_of(read_deliveries(kept)) == before
    assert let_go(read_deliveries(kept), 1) == 0
    with pytest.raises(ProblemsFound, match="without its pairs"):
        audit(kept / "thorn-2.csv", tmp_path / "out", against=kept / "thorn-1")
    assert main(["scorecard", str(tmp_path), "-o", str(page)]) == 2
