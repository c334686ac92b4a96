"""A spool gives back what it was given, and only what is whole."""

from pathlib import Path

import numpy as np
import pytest

from fitsvc.audits.claims import Claims
from fitsvc.audits.items import Items, ReadReport, joined
from fitsvc.audits.parts import ClaimCarried, ClaimFate, PartCounts
from fitsvc.audits.spool import Spool
from fitsvc.engine.columns.signatures import Column


@pytest.fixture
def spool(tmp_path: Path) -> Spool:
    """Give the folder of an audit that has just begun."""
    return Spool(tmp_path / "out", {"catalogue": "sha256:1"})


def items(*weights: tuple[float, float]) -> Items:
    """Some items with a number, a list value and a yes or no each."""
    low, high = (np.array([weight[end] for weight in weights]) for end in (0, 1))
    count = len(weights)
    columns: dict[str, Column] = {
        "accessory.weight": (low, high),
        "accessory.kind": np.full(count, 4, np.uint64),
        "accessory.pin_supplied": np.full(count, 2, np.uint8),
    }
    return Items(
        [f"A-{number}" for number in range(count)],
        np.arange(2, 2 + count),
        columns,
        {},
        {"accessory.weight": np.array([weight == (0.0, np.inf) for weight in weights])},
    )


def test_blocks_are_given_back(spool: Spool) -> None:
    """Every column as it was, ends that are open too."""
    kept = items((1.0, 2.0), (0.0, np.inf), (-0.0, 5.5))
    spool.keep_block(3, kept)
    found = spool.block(3)
    assert found.skus == spool.skus(3) == kept.skus
    assert found.columns.keys() == kept.columns.keys()
    np.testing.assert_equal(found, kept)


def test_parts_of_blocks_joined_are_the_whole() -> None:
    """Items cut anywhere and put together are as they were."""
    whole = items((1.0, 2.0), (3.0, 3.0), (0.0, np.inf))
    for cut in range(4):
        again = joined([whole.part(slice(0, cut)), whole.part(slice(cut, None))])
        np.testing.assert_equal(again, whole)


def test_the_reading_is_done_once_its_report_is_there(spool: Spool) -> None:
    """The report comes after the claims, so that whoever finds it finds both."""
    claims = Claims(np.array([0, 0, 1], np.int32), np.array([1, 2, 0], np.int32))
    assert spool.report() is None
    report = ReadReport(blocks=2, items=3, claims=3, claims_told=True, other_subjects={"ball": 1}, passed_over=["x"])
    spool.keep_report(report, claims)
    again = Spool(spool.out, spool.run)
    assert again.report() == report
    np.testing.assert_equal(again.all_claims(), claims)


def test_a_part_is_judged_once_its_counts_are_there(spool: Spool) -> None:
    """Counts come last, after what became of the claims; a part that was being kept is none."""
    counts = PartCounts(*(np.arange(4) + place for place in range(10)))
    fates = [ClaimFate(2, "A-0", "rig", "fails", "a-rule", "1 in", "It is too long.", "")]
    assert not spool.is_judged(0, 1)
    carried = [ClaimCarried(2, "A-0", "rig", "works", "120 lb", "2", "60 lb", "120 lb", "yes", "", "with up to 2")]
    spool.keep_part(0, 1, counts, fates, carried)
    assert spool.is_judged(0, 1) and not spool.is_judged(1, 0)
    np.testing.assert_equal(spool.counts(0, 1), counts)
    assert spool.fates(0, 1) == fates and spool.carried(0, 1) == carried
    assert not list(spool.folder.glob("*.part"))
