"""What an audit says that a carrier may carry is what a question about the two says."""

from dataclasses import replace
from pathlib import Path

from audit_world import accessories, audit, facts_of, found, pair_of, rigs, small_blocks, write_csv
from demo_world import answerer


def test_every_claim_that_holds_says_what_may_be_carried(tmp_path: Path) -> None:
    """A row for each claimed pair of a carrier that works, or works on a condition, by the answer's own allowance."""
    rows, of = accessories()[::3], rigs()[:6]
    claimed = " ".join(rig.key for rig in of[::2])
    for row in rows:
        row["fits"] = claimed
    with small_blocks(rows=7, pairs=20):
        audit(write_csv(tmp_path / "catalogue.csv", rows), tmp_path / "out", of)
    told_of = {(row["sku"], row["rig"]): row for row in found(tmp_path / "out", "carried")}
    wanted = 0
    for rig in of[::2]:
        for row in rows:
            case = answerer().engine.opened(pair_of(rig, facts_of(row)))
            outcome = answerer().engine.evaluate(case).outcome
            one = answerer().allowances.told(case, "us") if outcome in ("works", "conditional") else None
            if one is not None:
                wanted += 1
                told = told_of[row["sku"], rig.key]
                times = "" if one.count is None else str(one.count)
                assert (told["outcome"], told["at_most"], told["times"]) == (outcome, one.at_most, times)
                assert (told["each"], told["by_label"], told["told"]) == (one.each, one.by_label, one.told)
                assert (told["whole"], told["unknown"].split()) == ("yes" if one.whole else "no", one.unknown)
    assert len(told_of) == wanted > 10


def test_of_a_load_that_is_named_nothing_is_told(tmp_path: Path) -> None:
    """Where every rig of an audit carries a load, that is what the claims are about."""
    rows, bikes = accessories()[:40], {"load.bikes": (2.0, 2.0)}
    named = replace(
        (rig := rigs()[0]).case,
        facts={**rig.case.facts, **bikes},
        present=rig.case.present | {"load"} | answerer().reader.named(bikes),
    )
    for row in rows:
        row["fits"] = rig.key
    audit(write_csv(tmp_path / "catalogue.csv", rows), tmp_path / "out", [replace(rig, case=named)])
    assert found(tmp_path / "out", "carried") == []
