"""Trailers and adapters of a catalogue: judged with every rig as a question of that rig and that thing is answered."""

import json
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from audit_world import accessories, audit, facts_of, found, pair_of, rigs, summary
from demo_world import SEED, answerer

from fitsvc.audits.goods import StoreGoods, goods_of
from fitsvc.audits.rescues import StockedAdapter
from fitsvc.audits.results import stream
from fitsvc.facts import Case
from fitsvc.language.types import Value
from fitsvc.rulebook.yaml_text import read_yaml_file, to_plain

Facts = dict[str, Any]


def _trailers() -> dict[str, Facts]:
    """The demo's trailers, their facts as they are written."""
    listed: Any = to_plain(read_yaml_file(SEED / "trailers.yaml"))
    return {one["sku"]: one["facts"] for one in listed["records"][:6]}


ADAPTERS: dict[str, Facts] = {
    "SLEEVE": {"kind": "reducer_sleeve", "fits_opening": "2-1/2 in", "offers_opening": "2 in", "weight": "6 lb",
               "trailer_rating": "16000 lb", "tongue_rating": "1600 lb", "adds_length": "0 in", "adds_rise": "-1/4 in"},
    "TWIN": {"kind": "reducer_sleeve", "fits_opening": "2-1/2 in", "offers_opening": "2 in", "weight": "6 lb",
             "trailer_rating": "16000 lb", "tongue_rating": "1600 lb", "adds_length": "0 in", "adds_rise": "-1/4 in"},
    "REACH": {"kind": "extension", "fits_opening": "2 in", "offers_opening": "2 in", "pin": "5/8 in", "weight": "12 lb",
              "adds_length": "8 in", "keeps_fraction": "50 %"},
    "SMUDGED": {"kind": "reducer_sleeve", "fits_opening": "2-1/2 in", "offers_opening": "2 in", "weight": "6 stone"},
}  # fmt: skip


@pytest.fixture(scope="module")
def out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Audit trailers and adapters, each claimed to fit the first two rigs, beside one accessory."""
    folder, claimed = tmp_path_factory.mktemp("others"), [rig.key for rig in rigs()[:2]]
    rows: list[Facts] = [{"sku": "BALL", "subject": "ball"}, {"sku": "A", "kind": "step", "shank": "2 in"}]
    rows += [{"sku": sku, "subject": "trailer", "fits": claimed, **facts} for sku, facts in _trailers().items()]
    rows += [{"sku": sku, "subject": "adapter", "fits": claimed, **facts} for sku, facts in ADAPTERS.items()]
    rows += [{"sku": "REACH", "subject": "adapter"}]
    path = folder / "items.jsonl"
    path.write_text("".join(json.dumps(row) + "\n" for row in rows))
    audit(path, folder / "out")
    return folder / "out"


@cache
def _outcome(subject: str, sku: str, place: int) -> str:
    """What a question of one rig and one trailer, or adapter in its opening, comes to by itself."""
    one, rig = answerer(), rigs()[place].case
    values: dict[str, Value] = {}
    facts = {**_trailers(), **ADAPTERS}[sku]
    one.reader.read(subject, facts, "", [], values, {})
    if subject == "adapter":
        case = one.reader.stacked(rig, [values])
    else:
        case = Case({**rig.facts, **values}, rig.present | {subject} | one.reader.named(values), rig.adapters)
    engine = one.engine
    return engine.evaluate(engine.opened(case)).outcome


def test_each_pair_is_as_its_question(out: Path) -> None:
    """Every pair comes to what its question does; a cell that could not be read is never a yes."""
    places = {rig.key: place for place, rig in enumerate(rigs())}
    told = found(out, "others")
    assert len(told) == (len(_trailers()) + len(ADAPTERS)) * len(rigs())
    for row in told:
        if row["sku"] == "SMUDGED":
            assert row["outcome"] in ("undetermined", "fails")
        else:
            assert row["outcome"] == _outcome(row["subject"], row["sku"], places[row["rig"]]), row
    of = {subject: {row["outcome"] for row in told if row["subject"] == subject} for subject in ("trailer", "adapter")}
    assert len(of["trailer"]) > 1
    assert "fails" in of["adapter"]


def test_their_claims_are_checked(out: Path) -> None:
    """A claim about a trailer or adapter that the rules contradict is told with its reason, and counts as a fault."""
    claimed = [row for row in found(out, "others") if row["claimed"] == "1"]
    assert {row["rig"] for row in claimed} == {rig.key for rig in rigs()[:2]}
    failing = [row for row in claimed if row["outcome"] == "fails"]
    assert failing
    for row in failing:
        assert row["rules"]
        assert row["why"].endswith(".")
    lines = b"".join(stream(out, "others", "jsonl")).splitlines()
    assert sum(json.loads(line)["claimed"] for line in lines) == len(claimed)
    told = summary(out)
    assert told["faults"]["contradicted_claims"] == len(failing)
    assert told["others"]["trailer"]["items"] == len(_trailers())
    assert sum(told["others"]["adapter"]["claimed"].values()) == 2 * len(ADAPTERS)
    assert told["rows"]["other_subjects"] == {"ball": 1}


LEADS: dict[str, Facts] = {
    "LEAD-7-4": {"plug": "blade_7", "socket": "flat_4"},
    "LEAD-4-7": {"plug": "flat_4", "socket": "blade_7"},
    "NO-PLUG": {"socket": "flat_4"},
    "SMUDGED-PLUG": {"plug": "seven", "socket": "flat_4"},
}


def test_wiring_adapters_are_judged_with_every_rig_and_their_claims(tmp_path: Path) -> None:
    """Each comes to what its question does, a plug not told or not read is never a yes, and false claims are told."""
    keys = [rig.key for rig in rigs()]
    rows: list[Facts] = [{"sku": "A", "kind": "step", "shank": "2 in"}]
    rows += [{"sku": sku, "subject": "wiring_adapter", "fits": keys, **facts} for sku, facts in LEADS.items()]
    path = tmp_path / "items.jsonl"
    path.write_text("".join(json.dumps(row) + "\n" for row in rows))
    told = audit(path, tmp_path / "out")
    one, places, outcomes = answerer(), {rig.key: rig.case for rig in rigs()}, set[str]()
    for row in found(tmp_path / "out", "others"):
        rig, values = places[row["rig"]], dict[str, Value]()
        facts = {name: told for name, told in LEADS[row["sku"]].items() if told != "seven"}
        one.reader.read("wiring_adapter", facts, "", [], values, {})
        present = rig.present | {"wiring_adapter"} | one.reader.named(values)
        case = one.engine.opened(Case({**rig.facts, **values}, present, rig.adapters))
        assert row["outcome"] == one.engine.evaluate(case).outcome, row
        assert (row["why"] != "") == (row["outcome"] in ("fails", "undetermined"))
        assert row["outcome"] not in _GOOD or "plug" in facts
        outcomes.add(row["outcome"])
    assert {"works", "undetermined", "fails"} <= outcomes
    assert told["others"]["wiring_adapter"]["items"] == len(LEADS)
    assert [(row["sku"], row["column"]) for row in found(tmp_path / "out", "bad_cells")] == [("SMUDGED-PLUG", "plug")]
    assert "4 wiring adapters" in (tmp_path / "out" / "summary.html").read_text()


def test_the_page_names_their_false_claims(out: Path) -> None:
    """Whoever reads that some claims are false finds each of them under that heading, whatever the item is."""
    page = (out / "summary.html").read_text()
    part = page.partition("<h3>False claims</h3>")[2].partition("<h3>")[0]
    false = {row["sku"] for row in found(out, "others") if row["claimed"] == "1" and row["outcome"] == "fails"}
    assert false
    assert all(sku in part for sku in false)
    assert "by what does not hold" not in page


def test_their_rows_and_cells_are_told(out: Path) -> None:
    """A cell that could not be read and a number that was there before are told as those of accessories are."""
    assert [(row["sku"], row["column"]) for row in found(out, "bad_cells")] == [("SMUDGED", "weight")]
    (row,) = found(out, "bad_rows")
    assert "stands in a row before" in row["problem"]


def test_a_trailer_that_every_rig_tows_is_the_only_one(tmp_path: Path) -> None:
    """Where every rig of an audit tows a trailer already, those of the catalogue are counted and not judged."""
    path = tmp_path / "items.jsonl"
    sku, facts = next(iter(_trailers().items()))
    rows: list[Facts] = [{"sku": "A", "kind": "step"}, {"sku": sku, "subject": "trailer", **facts}]
    path.write_text("".join(json.dumps(row) + "\n" for row in rows))
    rig = rigs()[0]
    towing = replace(rig, case=replace(rig.case, present=rig.case.present | {"trailer"}))
    told = audit(path, tmp_path / "out", [towing])
    assert (told["others"], told["rows"]["other_subjects"]) == ({}, {"trailer": 1})


def test_an_adapter_rescues_what_fails_in_the_opening_alone(tmp_path: Path) -> None:
    """Every false claim that comes out with one of the adapters, of catalogue or store, is told with it; no other."""
    one, listed = answerer(), [row for row in accessories() if row["kind"] in ("ball_mount", "step")][::6]
    keys = [rig.key for rig in rigs()]
    rows: list[Facts] = [{**{name: cell for name, cell in row.items() if cell}, "fits": keys} for row in listed]
    titles = {name: f"{name} [lb]" for name in ("weight", "trailer_rating", "tongue_rating")}
    for sku, facts in ADAPTERS.items():
        told_as = {titles.get(name, name): cell for name, cell in facts.items()}
        rows += [{"sku": sku, "subject": "adapter", **told_as}] if sku != "REACH" else []
    path = tmp_path / "items.jsonl"
    path.write_text("".join(json.dumps(row) + "\n" for row in rows))
    known: dict[str, dict[str, Value]] = {sku: {} for sku in ADAPTERS if sku != "SMUDGED"}
    for sku, values in known.items():
        one.reader.read("adapter", ADAPTERS[sku], "", [], values, {})
    stocked = (StockedAdapter("REACH", known["REACH"], "store"),)
    told = audit(path, tmp_path / "out", adapters=stocked)
    expected: dict[tuple[str, str, str], str] = {}
    for row in listed:
        for rig in rigs():
            case = pair_of(rig, facts_of(row))
            if one.engine.evaluate(one.engine.opened(case)).outcome == "fails" and len(rig.case.adapters) < 4:
                with_each = {sku: one.reader.stacked(case, [values]) for sku, values in known.items()}
                came_to = {sku: one.engine.evaluate(one.engine.opened(c)).outcome for sku, c in with_each.items()}
                expected |= {(row["sku"], rig.key, sku): what for sku, what in came_to.items() if what in _GOOD}
    found_ = {(row["sku"], row["rig"], row["adapter"]): row["outcome"] for row in found(tmp_path / "out", "rescued")}
    assert found_ == expected
    assert {"SLEEVE", "TWIN"} <= {adapter for _, _, adapter in expected}
    assert told["rescued"] == {"claims": len({pair[:2] for pair in expected}), "untried": 0}


def test_goods_of_a_store_are_kept_for_another_process() -> None:
    """What an audit takes from a store comes back from JSON as it was."""
    values: dict[str, Value] = {}
    answerer().reader.read("adapter", ADAPTERS["REACH"], "", [], values, {})
    goods = StoreGoods({("step", "weight"): 1.5}, (StockedAdapter("REACH", values, "store"),))
    assert goods_of(json.loads(json.dumps(goods.document()))) == goods


_GOOD = ("works", "conditional")


def test_a_file_of_trailers_alone(out: Path, tmp_path: Path) -> None:
    """It is audited as one beside accessories is, and what was read of its rows is not told as passed over."""
    rows = [{"sku": sku, "subject": "trailer", "colour": "red", **facts} for sku, facts in _trailers().items()]
    path = tmp_path / "trailers.jsonl"
    path.write_text("".join(json.dumps(row) + "\n" for row in rows))
    told = audit(path, tmp_path / "out")
    beside = {(row["sku"], row["rig"]): row["outcome"] for row in found(out, "others") if row["subject"] == "trailer"}
    assert {(row["sku"], row["rig"]): row["outcome"] for row in found(tmp_path / "out", "others")} == beside
    assert (told["rows"]["rows"], told["rows"]["items"], told["rows"]["passed_over"]) == (len(rows), 0, ["colour"])
    assert f"Of {len(rows)} rows {len(rows)} trailers were judged" in (tmp_path / "out" / "summary.html").read_text()


def test_what_is_wrong_of_them_is_handed_over(out: Path, tmp_path: Path) -> None:
    """Their false claims and bad cells stand in the fix list and the page, and hide none of an accessory behind."""
    told = found(out, "others")
    false = {row["sku"] for row in told if row["outcome"] == "fails" and row["claimed"] == "1"}
    assert false
    assert {row["sku"] for row in found(out, "fix_list") if row["sort"] == "false_claim"} == false
    checked = {row["sku"]: row for row in found(out, "claims_checked")}
    assert checked.keys() == {row["sku"] for row in told if row["claimed"] == "1"}
    for sku, line in checked.items():
        of = {row["rig"]: row for row in told if row["sku"] == sku and row["claimed"] == "1"}
        assert line["fails_on"] == "; ".join(rig for rig, row in of.items() if row["outcome"] == "fails")
        assert line["open_on"] == "; ".join(rig for rig, row in of.items() if row["outcome"] == "undetermined")
        assert (line["verdict"] == "contradicted") == (sku in false)
        assert line["why"] in {row["why"] for row in of.values()}
    claims = sum(row["claimed"] == "1" for row in told)
    assert f"Of {claims} claims" in (out / "summary.html").read_text()
    rows: list[Facts] = [{"sku": "SMUDGED", "subject": "adapter", **ADAPTERS["SMUDGED"]}]
    rows += [{"sku": "B", "kind": "ball_mount", "shank": "2 in", "pin": "8-May"}]
    (tmp_path / "a.jsonl").write_text("".join(json.dumps(row) + "\n" for row in rows))
    audit(tmp_path / "a.jsonl", tmp_path / "out", rigs()[:2])
    listed = {row["sku"]: row for row in found(tmp_path / "out", "fix_list") if row["sort"] == "bad_cell"}
    assert listed.keys() == {"SMUDGED", "B"}


def test_a_trailers_pair_that_unclear_lines_name_alone_does_not_hold(tmp_path: Path) -> None:
    """It is counted beside those that do, in the chart too."""
    sku, facts = next(iter(_trailers().items()))
    path, claims = tmp_path / "a.jsonl", tmp_path / "claims.csv"
    path.write_text(json.dumps({"sku": sku, "subject": "trailer", **facts}))
    line = f"{sku},2023-2024 Muckle\n"
    claims.write_text(f"sku,vehicle\n{line}")
    alone = audit(path, tmp_path / "out", claims=claims)["others"]["trailer"]["claimed"]
    told = [row["outcome"] for row in found(tmp_path / "out", "others") if row["claimed"] == "1"]
    holds = sum(outcome in _GOOD for outcome in told)
    assert (alone["unclear"], alone["works"] + alone["conditional"]) == (holds, 0)
    assert sum(alone.values()) == len(told)
    assert f"unclear: which vehicle is not told {holds}" in (tmp_path / "out" / "summary.html").read_text()
    claims.write_text(f"sku,vehicle\n{line}{sku},2023 Muckle long bed\n")
    clear = audit(path, tmp_path / "clear", claims=claims)["others"]["trailer"]["claimed"]
    assert (clear["unclear"] < holds) == (clear["works"] + clear["conditional"] > 0) == (holds > 0)


def test_what_stands_in_a_false_claim_is_told(tmp_path: Path) -> None:
    """The fix list tells what the cell says, of a ball, a trailer and an adapter as of an accessory."""
    (tmp_path / "a.csv").write_text(
        "sku,subject,kind,shank,ball_hole,shank_diameter,diameter,fits_opening,offers_opening,coupler_kind,fits\n"
        "M,accessory,ball_mount,2-1/2 in,1 in,,,,,,rig_farm_muckle\n"
        "B,ball,,,,1-1/4 in,2 in,,,,M\n"
        "T,trailer,,,,,,,,fifth_wheel_pin,rig_farm_muckle\n"
        "A,adapter,reducer_sleeve,,,,,2-1/2 in,2 in,,rig_farm_muckle\n"
    )
    audit(tmp_path / "a.csv", tmp_path / "out", [rig for rig in rigs() if rig.key == "rig_farm_muckle"])
    false = {row["sku"]: row["stands"] for row in found(tmp_path / "out", "fix_list") if row["sort"] == "false_claim"}
    assert false == {"M": "rig_farm_muckle", "B": "M", "T": "rig_farm_muckle", "A": "rig_farm_muckle"}
