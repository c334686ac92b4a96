"""The pairs of an audit against the evaluator of single cases."""

import json
from dataclasses import replace
from pathlib import Path

import pyarrow as pa
import pytest
from audit_world import Rows, accessories, audit, facts_of, files, found, pair_of, pairs, rigs, small_blocks, write_csv
from demo_world import answerer

from fitsvc.answers.records import Doubt
from fitsvc.audits.blocks import PAIRS, judge_block
from fitsvc.audits.reading import items_of_columns
from fitsvc.audits.rigs import rigs_of_table, rigs_table
from fitsvc.engine.point import Point
from fitsvc.engine.verdict import Verdict
from fitsvc.facts import Case
from fitsvc.language.problems import ProblemsFound
from fitsvc.language.truth import NO, YES
from fitsvc.language.types import ListType, Value, is_exact
from fitsvc.rulebook.vocabulary import Fact


@pytest.fixture(scope="module")
def point() -> Point:
    """The evaluator of single cases."""
    return answerer().engine


@pytest.fixture(scope="module")
def audited(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Audit the demo's accessories in small blocks."""
    folder = tmp_path_factory.mktemp("audit")
    with small_blocks():
        audit(write_csv(folder / "items.csv", accessories()), folder / "out")
    return folder / "out"


@pytest.fixture(scope="module")
def cases() -> dict[tuple[str, str], Case]:
    """Every pair as a question reads it: the facts of the row, the facts of the rig."""
    found: dict[tuple[str, str], Case] = {}
    for row in accessories():
        facts = facts_of(row)
        found |= {(rig.key, row["sku"]): pair_of(rig, facts) for rig in rigs()}
    return found


def _deciding(point: Point, verdict: Verdict) -> set[str]:
    rules, needs = point.rulebook.rules, point.rulebook.needs
    if verdict.outcome == "fails":
        return {rules[number].id for number in verdict.fails}
    if verdict.outcome == "undetermined":
        return {rules[number].id for number in verdict.left("unknown")}
    minded = {rules[number].id for number in (*verdict.left("cautions"), *verdict.left("doubts"))}
    return minded | {needs[number].name for number in verdict.left("open_needs")}


def test_every_pair_is_as_the_single_case(audited: Path, point: Point, cases: dict[tuple[str, str], Case]) -> None:
    """Outcome and deciding rules of each pair are those of the case made of that rig and that item."""
    rows = pairs(audited)
    assert len(rows) == len(cases) == len({(row["rig"], row["sku"]) for row in rows})
    for row in rows:
        verdict = point.evaluate(cases[row["rig"], row["sku"]])
        assert row["outcome"] == verdict.outcome
        assert set(row["rules"].split()) == _deciding(point, verdict)
        assert row["rulebook"] == point.rulebook.digest


def test_missing_facts_are_those_that_pairs_wait_for(
    audited: Path, point: Point, cases: dict[tuple[str, str], Case]
) -> None:
    """An item's figure is the number of its pairs whose open rules read one fact alone that is not known."""
    counted: dict[tuple[str, str], int] = {}
    for (rig, sku), case in cases.items():
        verdict = point.evaluate(case)
        if verdict.outcome == "undetermined" and len(waits := _waits(point, verdict, case)) == 1:
            fact = waits.pop()
            key = (sku if fact.startswith("accessory.") else rig, fact)
            counted[key] = counted.get(key, 0) + 1
    told = {(row["sku"], row["fact"]): int(row["pairs"]) for row in found(audited, "missing_of_items")}
    told |= {(row["rig"], row["fact"]): int(row["pairs"]) for row in found(audited, "missing_of_rigs")}
    assert told == counted
    assert len({fact for _, fact in told}) >= 3


def test_the_one_missing_fact_decides(point: Point, cases: dict[tuple[str, str], Case]) -> None:
    """A pair that waits for one fact is undetermined no more once it is known, whatever it is found to be."""
    facts, decided = point.rulebook.vocabulary.facts, 0
    for case in cases.values():
        verdict = point.evaluate(case)
        if verdict.outcome != "undetermined" or len(waits := _waits(point, verdict, case)) != 1:
            continue
        name = waits.pop()
        for value in _readings(facts[name]):
            if name.startswith("adapter."):
                known = replace(case, adapters=tuple({**adapter, name: value} for adapter in case.adapters))
            else:
                known = replace(case, facts={**case.facts, name: value})
            assert point.evaluate(known).outcome != "undetermined"
            decided += 1
    assert decided > 100


def _readings(fact: Fact) -> list[Value]:
    """Some of the values that a fact may be found to have."""
    if isinstance(fact.type, ListType):
        return [fact.type.member(place) for place in range(len(fact.type.members))]
    if fact.range is None:
        return [NO, YES]
    low, high = fact.range
    return [(low, low), (high, high), ((low + high) / 2, (low + high) / 2)]


def _waits(point: Point, verdict: Verdict, case: Case) -> set[str]:
    kinds, waits = point.rulebook.vocabulary.slots(), set()
    own, each = point.opening_leaves
    for number in verdict.unknown:
        names = {read.name for read in point.support(number, bool(case.adapters)).leaves}
        if any(name.startswith("opening.") for name in names):
            names = {name for name in names if not name.startswith("opening.")} | {read.name for read in (*own, *each)}
        for name in names:
            holders = case.adapters if name.startswith("adapter.") else (case.facts,)
            waits |= {name for facts in holders if name not in facts or not is_exact(kinds[name], facts[name])}
    return waits


def test_the_size_of_blocks_changes_no_finding(audited: Path, tmp_path: Path) -> None:
    """Findings of one large block are byte for byte those of many small ones; so are the pairs, put in order."""
    audit(write_csv(tmp_path / "items.csv", accessories()), tmp_path / "out")
    small, large = files(audited), files(tmp_path / "out")
    assert sum(name.startswith("pairs") for name in small) > 10
    told = {name: text for name, text in large.items() if not name.startswith("pairs")}
    assert len(told) > 10
    assert {name: text for name, text in small.items() if not name.startswith("pairs")} == told
    assert _sorted(pairs(audited)) == _sorted(pairs(tmp_path / "out"))


def _sorted(rows: Rows) -> Rows:
    return sorted(rows, key=lambda row: (row["rig"], row["sku"]))


def test_arrow_in_arrow_out_gives_the_same_pairs(audited: Path) -> None:
    """`judge_block` on items as a table of texts gives the pairs of the audit, by the documented schema."""
    rows = [{title: cell or None for title, cell in row.items()} for row in accessories()]
    table = judge_block(pa.Table.from_pylist(rows), rigs_table(rigs()))
    assert table.schema == PAIRS
    assert _sorted(table.to_pylist()) == _sorted(pairs(audited))


def test_arrow_items_that_cannot_be_read_are_told() -> None:
    """An item without a number ends the block with its row; a cell that cannot be read costs its fact alone."""
    items = pa.table({"sku": ["A", ""], "weight [lb]": ["12", "heavy"]})
    with pytest.raises(ProblemsFound) as told:
        judge_block(items, rigs_table(rigs()[:1]))
    assert [(problem.line, problem.pointer) for problem in told.value.problems] == [(2, "sku")]
    odd = pa.table({"sku": ["A", "B"], "weight [lb]": ["12", "heavy"]})
    assert len(judge_block(odd, rigs_table(rigs()[:1]))) == 2


def test_rigs_survive_arrow() -> None:
    """A table of rigs gives the same rigs back: bounds, adapters and all; and doubts as an earlier version wrote."""
    assert rigs_of_table(rigs_table(rigs())) == rigs()
    said = (("17 in", "Ann", "2026-11-01T09:00:00+00:00"),)
    stale = replace(rigs()[0], doubts={"mounting.height": Doubt("stale", said, ("vehicle.ride_height",))})
    table = rigs_table([stale])
    assert rigs_of_table(table) == [stale]
    earlier = pa.array([json.dumps({"mounting.height": ["stale", *said]})])
    (found,) = rigs_of_table(table.set_column(table.column_names.index("doubts"), "doubts", earlier))
    assert found.doubts == {"mounting.height": Doubt("stale", said)}


def test_items_of_figures_are_those_of_texts() -> None:
    """Figures, yes/no and text in Arrow columns are read as the same facts as their texts."""
    figures, _, _ = items_of_columns(
        {"sku": ["A"], "weight [lb]": [12.5], "bikes_max": [3], "tilts_clear": [True]}, answerer().reader, "items"
    )
    texts, _, _ = items_of_columns(
        {"sku": ["A"], "weight [lb]": ["12.5"], "bikes_max": ["3"], "tilts_clear": ["yes"]}, answerer().reader, "items"
    )
    for name, column in texts.columns.items():
        assert [array.tolist() for array in column] == [array.tolist() for array in figures.columns[name]]
