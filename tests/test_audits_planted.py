"""Faults planted in a clean catalogue: an audit finds each of them, and no other."""

import csv
from collections import Counter
from pathlib import Path
from random import Random
from typing import NamedTuple

import pytest
from audit_world import Rows, accessories, audit, found, pairs, rigs, small_blocks, summary, write_csv

_RANDOM = 20
_WEIGHT = "34"
"""What each of the dozen variants weighs in pounds, give or take two."""


class Planted(NamedTuple):
    """The audits of the clean and of the faulty catalogue, and of that with one weight put right; what was planted."""

    clean: Path
    faulty: Path
    righted: Path
    bad: set[tuple[int, str]]
    contradicted: set[tuple[str, str]]
    undecided: set[tuple[str, str]]
    nowhere: set[tuple[int, str]]
    light: str
    blanked: set[str]
    misfit: str


@pytest.fixture(scope="module")
def planted(tmp_path_factory: pytest.TempPathFactory) -> Planted:
    """Audit the demo's accessories, plant faults, audit again."""
    folder, random = tmp_path_factory.mktemp("planted"), Random(_RANDOM)
    rows = _rows()
    with small_blocks():
        audit(write_csv(folder / "clean.csv", rows), folder / "clean")
        outcomes = {(row["sku"], row["rig"]): row["outcome"] for row in pairs(folder / "clean")}
        fails, open_, works = (
            random.sample([pair for pair, outcome in outcomes.items() if outcome == wanted], count)
            for wanted, count in (("fails", 7), ("undetermined", 5), ("works", 30))
        )
        claims = [*fails, *open_, *works]
        for row in rows:
            row["fits"] = "; ".join(rig for sku, rig in claims if sku == row["sku"])
        nowhere = _unknown_rig(rows, random)
        light, blanked, misfit = _figures(rows)
        bad = _bad_rows(rows, {sku for sku, _ in claims} | {light, misfit} | blanked, random)
        audit(write_csv(folder / "faulty.csv", rows), folder / "faulty")
        righted = [{**row, "weight [lb]": _WEIGHT} if row["sku"] == light else row for row in rows]
        audit(write_csv(folder / "righted.csv", righted), folder / "righted")
    contradicted = set(fails) | {(sku, rig) for sku, rig in claims if sku == misfit}
    return Planted(
        folder / "clean",
        folder / "faulty",
        folder / "righted",
        bad,
        contradicted,
        set(open_),
        nowhere,
        light,
        blanked,
        misfit,
    )


def _rows() -> Rows:
    """The demo's accessories, and a dozen colours of one of them, all but equal in weight."""
    rows = accessories()
    model = next(row for row in rows if row["kind"] == "winch_mount")
    return [*rows, *({**model, "sku": f"VARIANT-{n}", "weight [lb]": str(int(_WEIGHT) + n % 3)} for n in range(12))]


def _unknown_rig(rows: Rows, random: Random) -> set[tuple[int, str]]:
    place = random.randrange(len(rows))
    rows[place]["fits"] = f"{rows[place]['fits']} rig_nowhere".strip()
    return {(place + 2, "fits")}


def _figures(rows: Rows) -> tuple[str, set[str], str]:
    """A weight in kilograms among pounds, setbacks nobody measured, and an item that no rig has the opening for."""
    light = next(row for row in rows if row["sku"].startswith("VARIANT") and not row["fits"])
    light["weight [lb]"] = f"{float(_WEIGHT) * 0.45359237:.2f}"
    carriers = [row for row in rows if row["kind"] == "bike_carrier" and row["stow_setback"] and not row["fits"]]
    for row in carriers[:3]:
        row["stow_setback"] = ""
    misfit = next(row for row in rows if row["kind"] == "cargo_carrier" and not row["fits"])
    misfit["shank"] = "3 in"
    return light["sku"], {row["sku"] for row in carriers[:3]}, misfit["sku"]


def _bad_rows(rows: Rows, used: set[str], random: Random) -> set[tuple[int, str]]:
    """Cells that cannot be read, of items that nothing else was planted in, and a row that stands there twice."""
    free = [place for place, row in enumerate(rows) if row["sku"] not in used]
    bad = set()
    for place, (title, cell) in zip(
        random.sample(free, 5),
        (
            ("weight [lb]", "heavy"),
            ("shank", "50 mm"),
            ("kind", "bal_mount"),
            ("weight [lb]", "-4"),
            ("tilts_clear", "perhaps"),
        ),
        strict=True,
    ):
        rows[place][title] = cell
        bad.add((place + 2, title))
    rows.append({**rows[0], "fits": ""})
    return bad | {(len(rows) + 1, "sku")}


def test_the_clean_catalogue_has_no_fault(planted: Planted) -> None:
    """Before anything is planted, nothing is found."""
    assert set(summary(planted.clean)["faults"].values()) == {0}
    assert (
        found(planted.clean, "bad_rows") == found(planted.clean, "bad_claims") == found(planted.clean, "claims") == []
    )


def test_bad_rows_are_found_and_no_other(planted: Planted) -> None:
    """Each bad cell is told by row and column with what is allowed; every other row is audited."""
    told = found(planted.faulty, "bad_rows")
    told += found(planted.faulty, "bad_cells")
    assert {(int(row["row"]), row["column"]) for row in told} == planted.bad
    assert len(told) == len(planted.bad)
    assert all(row["problem"] and row["allowed"] for row in told)
    assert {row["sku"] for row in found(planted.faulty, "items")} == {row["sku"] for row in _rows()}


def test_contradicted_claims_are_found_and_no_other(planted: Planted) -> None:
    """The claims that fail are those planted, each with its rules, and the figure by which where there is one."""
    told = [row for row in found(planted.faulty, "claims") if row["outcome"] == "fails"]
    assert {(row["sku"], row["rig"]) for row in told} == planted.contradicted
    by_pair = {(row["sku"], row["rig"]): row["rules"].split() for row in pairs(planted.faulty) if row["claimed"]}
    for sku, rig in planted.contradicted:
        assert [row["rule"] for row in told if (row["sku"], row["rig"]) == (sku, rig)] == by_pair[sku, rig]
    assert all(row["reason"] for row in told)
    margins = {row["rule"]: row["margin"] for row in told}
    assert margins.keys() & {"shank-fits-opening"} <= {rule for rule, margin in margins.items() if not margin}


def test_undecided_claims_are_found_and_no_other(planted: Planted) -> None:
    """The claims that cannot be decided are those planted; most say which one fact would decide them."""
    told = [row for row in found(planted.faulty, "claims") if row["outcome"] == "undetermined"]
    assert {(row["sku"], row["rig"]) for row in told} == planted.undecided
    assert any(row["waits_for"] for row in told)


def test_claims_of_nothing_known_are_found(planted: Planted) -> None:
    """A claim that names neither a rig nor a vehicle is told by its row."""
    assert {(int(row["row"]), row["column"]) for row in found(planted.faulty, "bad_claims")} == planted.nowhere


def test_what_is_claimed_and_what_fits_unclaimed_add_up(planted: Planted) -> None:
    """Claims by outcome, and fits that nobody claims, are those of the pairs."""
    rows, told = pairs(planted.faulty), summary(planted.faulty)["claims"]
    for outcome in ("works", "conditional", "undetermined", "fails"):
        assert told[outcome] == sum(bool(row["claimed"]) for row in rows if row["outcome"] == outcome)
    fits = sum(row["outcome"] == "works" and not row["claimed"] for row in rows)
    assert told["unclaimed"]["works"] == fits == sum(int(row["works"]) for row in found(planted.faulty, "unclaimed"))
    by_rig = Counter(row["rig"] for row in rows if row["outcome"] == "works" and not row["claimed"])
    of_rigs = {row["rig"]: int(row["works"]) for row in found(planted.faulty, "unclaimed_of_rigs")}
    assert {rig: count for rig, count in of_rigs.items() if count} == by_rig


def test_kilograms_among_pounds_look_wrong(planted: Planted) -> None:
    """The weight written in kilograms is the one figure that looks wrong beside the same rows with it in pounds."""
    before = {(row["sku"], row["fact"]) for row in found(planted.righted, "suspicious")}
    told = {(row["sku"], row["fact"]): row["guess"] for row in found(planted.faulty, "suspicious")}
    assert told.keys() - before == {(planted.light, "weight")}
    assert told[planted.light, "weight"] == "kilograms written as pounds"


def test_blanked_facts_are_those_worth_measuring(planted: Planted) -> None:
    """The setbacks taken out are told as missing of these items, and of no further ones."""
    before, told = (
        {row["sku"] for row in found(out, "missing_of_items") if row["fact"] == "accessory.stow_setback"}
        for out in (planted.clean, planted.faulty)
    )
    assert told - before == planted.blanked
    (one,) = (one for one in summary(planted.faulty)["missing"] if one["fact"] == "accessory.stow_setback")
    rows = [row for row in found(planted.faulty, "missing_of_items") if row["fact"] == "accessory.stow_setback"]
    assert (one["items"], one["pairs"]) == (len(told), sum(int(row["pairs"]) for row in rows))


def test_what_fits_nothing_is_found(planted: Planted) -> None:
    """The item with a shank of its own fits no rig; what fits nothing is what has no pair that works."""
    fitting = {row["sku"] for row in pairs(planted.faulty) if row["outcome"] in ("works", "conditional")}
    every = {row["sku"] for row in found(planted.faulty, "items")}
    assert {row["sku"] for row in found(planted.faulty, "fits_nothing")} == every - fitting
    assert planted.misfit in every - fitting


def test_rigs_without_an_item_of_a_kind_are_found(planted: Planted) -> None:
    """A rig is told for each kind of which nothing fits it."""
    kinds = {row["sku"]: row["kind"] for row in _rows()}
    rows = pairs(planted.clean)
    fitting = {(row["rig"], kinds[row["sku"]]) for row in rows if row["outcome"] in ("works", "conditional")}
    every = {(rig.key, kind) for rig in rigs() for kind in kinds.values()}
    assert {(row["rig"], row["kind"]) for row in found(planted.clean, "rigs_without")} == every - fitting


def test_every_file_is_one_table(planted: Planted) -> None:
    """All files of findings are CSV whose rows are as long as their header."""
    names = sorted(path for path in planted.faulty.glob("*.csv"))
    assert len(names) >= 10
    for path in names:
        with path.open(encoding="utf-8", newline="") as stream:
            header, *rows = csv.reader(stream)
        assert all(len(row) == len(header) for row in rows)


def test_the_page_needs_nothing_else(planted: Planted) -> None:
    """The summary page loads nothing and runs nothing, and shows the figures."""
    page = (planted.faulty / "summary.html").read_text("utf-8")
    assert not any(word in page for word in ("<script", "http:", "https:", "src=", "@import", "<link"))
    assert "Facts worth measuring" in page
    assert "accessory.stow_setback" in page
