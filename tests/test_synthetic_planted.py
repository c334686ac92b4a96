"""A made-up catalogue with planted faults: an audit finds every one and no other, and other evaluators agree."""

import csv
from collections import Counter
from pathlib import Path

import pyarrow as pa
import pyarrow.csv as pc
import pytest
from audit_world import audit, facts_of, files, found, pair_of, pairs, small_blocks, summary
from demo_world import answerer

from fitsvc.audits.rigs import AuditRig, read_rigs
from fitsvc.cli import main
from fitsvc.engine.verdict import Verdict
from fitsvc.synthetic.planted import CATALOGUE, PLANTED, RIGS, SHOP, write_planted

_ITEMS = 700
Rows = list[dict[str, str]]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make a small catalogue, and audit it with pairs as CSV."""
    folder = tmp_path_factory.mktemp("made")
    write_planted(folder, answerer().rulebook, _ITEMS, lambda *_: None)
    with small_blocks(200, 3_000):
        audit(folder / CATALOGUE, folder / "audit", _rigs(folder), format="csv")
    return folder


def _rigs(folder: Path) -> list[AuditRig]:
    return read_rigs([folder / RIGS], answerer().reader)


def _read(path: Path) -> Rows:
    with path.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def _planted(folder: Path, *faults: str) -> Rows:
    rows = [row for row in _read(folder / PLANTED) if row["fault"] in faults]
    assert {row["fault"] for row in rows} == set(faults)
    return rows


def test_bad_rows(made: Path) -> None:
    """Every cell and row that cannot be read is told by its place, and no other."""
    rows = ("repeated_sku", "missing_sku", "ragged_row")
    for table, faults in (("bad_rows", rows), ("bad_cells", ("bad_cell",))):
        told = [(row["row"], row["column"]) for row in found(made / "audit", table)]
        assert sorted(told) == sorted((row["row"], row["column"]) for row in _planted(made, *faults))
    assert summary(made / "audit")["rows"]["items"] == _ITEMS - len(_planted(made, *rows))


def test_claims(made: Path) -> None:
    """The claims that fail, those that cannot be decided and those of no known rig are those planted.

    What a cell that cannot be read leaves open is told beside, of its item alone.
    """
    odd = _odd(made)
    told = [row for row in found(made / "audit", "claims") if row["sku"] not in odd or row["outcome"] == "fails"]
    for outcome, fault in (("fails", "false_claim"), ("undetermined", "undecided_claim")):
        of = {(row["row"], row["sku"], row["rig"]) for row in told if row["outcome"] == outcome}
        assert of == {(row["row"], row["sku"], row["rig"]) for row in _planted(made, fault)}
    nowhere = {(row["row"], row["column"]) for row in _planted(made, "unknown_rig")}
    assert {(row["row"], row["column"]) for row in found(made / "audit", "bad_claims")} == nowhere


def _odd(made: Path) -> set[str]:
    """The items with a cell that cannot be read: `tests/test_audits_unread.py` holds what is made of them."""
    return {row["sku"] for row in _planted(made, "bad_cell")}


def test_fits_that_nobody_claims(made: Path) -> None:
    """The items that fit a rig they are not claimed to fit are those whose claim was taken away."""
    told = Counter(
        {row["sku"]: int(row["works"]) + int(row["conditional"]) for row in found(made / "audit", "unclaimed")}
    )
    assert told == Counter(row["sku"] for row in _planted(made, "unclaimed"))


def test_what_looks_wrong_and_what_fits_nothing(made: Path) -> None:
    """The weights in kilograms among pounds look wrong and nothing else does; the odd shanks alone fit nothing."""
    told = {(row["sku"], row["fact"], row["guess"]) for row in found(made / "audit", "suspicious")}
    planted = _planted(made, "kilograms")
    assert told == {(row["sku"], "weight", "kilograms written as pounds") for row in planted}
    nothing = {row["sku"] for row in _planted(made, "fits_nothing")}
    assert {row["sku"] for row in found(made / "audit", "fits_nothing")} - _odd(made) == nothing


def test_two_evaluators_give_the_same_bytes(made: Path) -> None:
    """Pairs worked out one by one by the evaluator of single cases, written as CSV, are the audit's files."""
    items = {row["sku"]: row for row in _read(made / CATALOGUE) if row["sku"]}
    rigs, facts = {rig.key: rig for rig in _rigs(made)}, {sku: facts_of(row) for sku, row in _good(made, items).items()}
    odd = _odd(made)
    parts = sorted((made / "audit" / "pairs.csv").iterdir())
    assert len(parts) > 8
    for part in parts:
        columns: dict[str, list[object]] = {title: [] for title in _read(part)[0]}
        for row in _read(part):
            claimed = row["rig"] in items[row["sku"]]["fits"].split()
            if row["sku"] in odd:
                what = (row["outcome"], row["rules"])
            else:
                verdict = answerer().engine.evaluate(pair_of(rigs[row["rig"]], facts[row["sku"]]))
                what = (verdict.outcome, _deciding(verdict))
            told = (row["rig"], row["sku"], *what, claimed, answerer().rulebook.digest)
            for column, cell in zip(columns.values(), told, strict=True):
                column.append(cell)
        pc.write_csv(pa.table(columns), made / "by_point.csv")
        assert (made / "by_point.csv").read_bytes() == part.read_bytes()


def _good(made: Path, items: dict[str, dict[str, str]]) -> dict[str, dict[str, str]]:
    """The rows that were audited; of two with one SKU the first."""
    first: dict[str, dict[str, str]] = {}
    for row in _read(made / CATALOGUE):
        first.setdefault(row["sku"], row)
    items |= first
    return {row["sku"]: first[row["sku"]] for row in found(made / "audit", "items") if row["sku"] not in _odd(made)}


def _deciding(verdict: Verdict) -> str:
    """The rules that make the outcome what it is, in the rulebook's order."""
    rules, needs = answerer().rulebook.rules, answerer().rulebook.needs
    if verdict.outcome in ("fails", "undetermined"):
        numbers = verdict.fails if verdict.outcome == "fails" else verdict.left("unknown")
        return " ".join(rules[number].id for number in sorted(numbers))
    minded = [rules[number].id for number in sorted((*verdict.left("cautions"), *verdict.left("doubts")))]
    return " ".join([*minded, *(needs[number].name for number in sorted(verdict.left("open_needs")))])


def test_three_runs_give_the_same_bytes(made: Path, tmp_path: Path) -> None:
    """Made and audited three times, catalogue and findings are the same bytes."""
    for name in ("second", "third"):
        folder = tmp_path / name
        folder.mkdir()
        write_planted(folder, answerer().rulebook, _ITEMS, lambda *_: None)
        with small_blocks(200, 3_000):
            audit(folder / CATALOGUE, folder / "audit", _rigs(folder), format="csv")
        written = {key: text for key, text in files(made).items() if key != "by_point.csv"}
        assert files(folder) == written


def test_a_made_catalogue_repeats_its_models(made: Path) -> None:
    """Items outnumber what differs in them, some facts are unknown, and some are known within a tolerance."""
    rows = _read(made / SHOP)
    assert len(rows) == _ITEMS
    assert len({tuple(row.values())[3:] for row in rows}) < _ITEMS / 4
    assert any(not row["weight [lb]"] for row in rows)
    assert any("±" in cell for row in rows for cell in row.values())


def test_the_demo_of_a_size(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`demo --size` makes files and a store; what it says to try works, and finds as many faults as it planted."""
    folder = tmp_path / "demo"
    assert main(["demo", "--size", "500", "--into", str(folder)]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "500 made-up items and 40 rigs" in told
    url = f"sqlite:///{folder / 'demo.db'}"
    out = folder / "audit"
    assert main(["audit", str(folder / CATALOGUE), "--rigs", str(folder / RIGS), "-o", str(out)]) == 0
    assert main(["select", "--rig", "rig_002", "--database", url]) == 0
    assert "Of all 500:" in capsys.readouterr().out
    assert main(["audit", str(folder / CATALOGUE), "--database", url, "-o", str(folder / "stored")]) == 0
    stored, of_file = ({(r["rig"], r["sku"]): r["outcome"] for r in pairs(one)} for one in (folder / "stored", out))
    assert stored == of_file
    planted = Counter(row["fault"] for row in _read(folder / PLANTED))
    assert summary(out)["faults"]["contradicted_claims"] == planted["false_claim"]


@pytest.mark.parametrize(
    ("given", "message"),
    [
        (["--size", "20"], "at least 500"),
        (["--size", "500", "--keep"], "is kept anyway"),
        (["--size", "500", "--into", "."], "exists already"),
    ],
)
def test_a_size_that_cannot_be(given: list[str], message: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Too few items, a folder that exists, a contradiction: told, and 2."""
    assert main(["demo", *given]) == 2
    assert message in capsys.readouterr().err
