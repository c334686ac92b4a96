"""Balls of a catalogue with its mounts: judged by what the two decide, whatever the rig is and whatever is towed."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from audit_world import audit, found, rigs, summary
from demo_world import answerer

from fitsvc.facts import Case
from fitsvc.language.problems import ProblemsFound
from fitsvc.rulebook.outcomes import OUTCOMES

Facts = dict[str, Any]
MOUNTS: dict[str, Facts] = {
    "MOUNT": {"kind": "ball_mount", "shank": "2 in", "ball_hole": "1 in", "platform_thickness": "3/4 in"},
    "THICK": {"kind": "ball_mount", "shank": "2 in", "ball_hole": "1 in", "platform_thickness": "1-1/4 in"},
    "SMALL": {"kind": "ball_mount", "shank": "2 in", "ball_hole": "3/4 in", "platform_thickness": "5/8 in"},
    "HEAD": {"kind": "weight_distribution_head", "shank": "2 in", "ball_hole": "1-1/4 in"},
    "UNTOLD": {"kind": "ball_mount", "shank": "2 in"},
    "SMUDGED": {"kind": "ball_mount", "shank": "2 in", "ball_hole": "1 inch wide", "platform_thickness": "3/4 in"},
    "STEP": {"kind": "step", "shank": "2 in"},
}
BALLS: dict[str, Facts] = {
    "ONE": {"diameter": "2 in", "shank_diameter": "1 in", "shank_length": "2-1/8 in", "rating": "8000 lb"},
    "THIN": {"diameter": "2 in", "shank_diameter": "3/4 in", "shank_length": "2-3/8 in", "rating": "3500 lb"},
    "SHORT": {"diameter": "2 in", "shank_diameter": "3/4 in", "shank_length": "1-1/2 in", "rating": "3500 lb"},
    "NAMELESS": {"diameter": "2 in"},
    "TORN": {"diameter": "2 in", "shank_diameter": "an inch?", "shank_length": "2-1/8 in"},
}
CLAIMED = {"ONE": "MOUNT; SMALL", "THIN": "STEP", "NAMELESS": "MOUNT, rig_farm_muckle", "TORN": "MOUNT"}
OF_PAIRS = ("ball-shank-enters-hole", "ball-shank-fills-hole", "ball-shank-long-enough", "something-takes-the-ball")
BUSHING = "ball_bushing"


@pytest.fixture(scope="module")
def out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Audit some balls, which stand before the mounts that they are claimed to fit."""
    folder = tmp_path_factory.mktemp("balls")
    rows: list[Facts] = [{"sku": sku, "subject": "ball", "fits": CLAIMED.get(sku), **of} for sku, of in BALLS.items()]
    rows += [{"sku": sku, **of} for sku, of in MOUNTS.items()]
    (folder / "items.jsonl").write_text("".join(json.dumps(row) + "\n" for row in rows))
    audit(folder / "items.jsonl", folder / "out", rigs()[:2])
    return folder / "out"


def _case(ball: str, mount: str) -> Case:
    one, values, texts = answerer(), dict[str, Any](), dict[str, str]()
    one.reader.read("ball", BALLS[ball], "", [], values, texts)
    one.reader.read("accessory", MOUNTS[mount], "", [], values, texts)
    return Case(values, frozenset({"accessory", "ball"}) | one.reader.named(values))


def _outcome(ball: str, mount: str) -> str:
    """What the rules of the pair, named here, come to in a question that tells ball and mount and nothing else."""
    one = answerer()
    verdict = one.engine.evaluate(_case(ball, mount))
    results = dict(zip((rule.id for rule in one.rulebook.rules), verdict.results(len(one.rulebook.rules)), strict=True))
    open_needs = {one.rulebook.needs[number].name for number in verdict.open_needs}
    brought = {"conditional"} if BUSHING in open_needs else {"works"}
    for rule in one.rulebook.rules:
        if rule.id in OF_PAIRS:
            result = results[rule.id]
            lenient = rule.severity == "caution" or (result == "undetermined" and rule.if_unknown == "caution")
            brought |= {"conditional" if lenient else result} if result in ("fails", "undetermined") else set()
    return max(brought, key=list[str](OUTCOMES).index)


def test_each_pair_is_as_the_rules_of_the_two_come_to(out: Path) -> None:
    """Every ball with every mount that takes one; of what could not be read nothing better than open is told."""
    told = {(row["ball"], row["mount"]): row["outcome"] for row in found(out, "balls")}
    unread = {pair for pair in told if "TORN" in pair or "SMUDGED" in pair}
    takers = MOUNTS.keys() - {"STEP"}
    assert told.keys() == {(ball, mount) for ball in BALLS for mount in takers} | {("THIN", "STEP")}
    whole = {pair: outcome for pair, outcome in told.items() if pair not in unread and pair[1] != "STEP"}
    assert whole == {pair: _outcome(*pair) for pair in whole}
    assert set(whole.values()) == {"works", "conditional", "undetermined", "fails"}
    assert all(told[pair] in ("undetermined", "fails") for pair in unread)


def test_what_a_hand_would_find(out: Path) -> None:
    """A shank of 1 in goes into no hole of 3/4 in; one of 3/4 in wants a bushing in 1 in; some are too short."""
    told = {(row["ball"], row["mount"]): (row["outcome"], row["rules"]) for row in found(out, "balls")}
    assert told["ONE", "MOUNT"] == ("works", "")
    assert told["ONE", "SMALL"] == ("fails", "ball-shank-enters-hole")
    assert told["ONE", "THICK"] == ("fails", "ball-shank-long-enough")
    assert told["ONE", "UNTOLD"][0] == "undetermined"
    assert told["THIN", "MOUNT"] == ("conditional", BUSHING)
    assert told["SHORT", "SMALL"] == ("works", "")
    assert told["NAMELESS", "SMALL"][0] == "undetermined"


def test_no_question_about_the_two_is_better_than_their_pair(out: Path) -> None:
    """On every rig of the shop a ball on a mount that fails by the two alone fails, whatever else is there."""
    engine = answerer().engine
    failing = [row for row in found(out, "balls") if row["outcome"] == "fails" and row["mount"] != "STEP"]
    assert failing
    for row in failing:
        case = _case(row["ball"], row["mount"])
        for rig in rigs():
            asked = replace(rig.case, facts={**rig.case.facts, **case.facts}, present=rig.case.present | case.present)
            assert engine.evaluate(asked).outcome == "fails"


def test_their_claims_are_checked(out: Path) -> None:
    """Of a mount that does not take the ball, of what is no mount, of one not decided, of what is no item."""
    claimed = {(row["ball"], row["mount"]): row for row in found(out, "balls") if row["claimed"] == "1"}
    assert {pair: row["outcome"] for pair, row in claimed.items()} == {
        ("ONE", "MOUNT"): "works",
        ("ONE", "SMALL"): "fails",
        ("THIN", "STEP"): "fails",
        ("NAMELESS", "MOUNT"): "undetermined",
        ("TORN", "MOUNT"): "undetermined",
    }
    assert "1 in shank; the hole in the platform is 3/4 in" in claimed["ONE", "SMALL"]["why"]
    assert "takes one" in claimed["THIN", "STEP"]["why"]
    assert claimed["ONE", "MOUNT"]["why"] == ""
    (bad,) = found(out, "bad_claims")
    assert "rig_farm_muckle" in bad["problem"]
    told = summary(out)
    assert told["faults"]["contradicted_claims"] == 2
    assert told["balls"]["items"] == len(BALLS)
    assert told["rows"]["other_subjects"] == {}
    false = [row for row in found(out, "fix_list") if row["sort"] == "false_claim"]
    assert {row["sku"] for row in false} == {"ONE", "THIN"}
    page = (out / "summary.html").read_text("utf-8")
    assert "Of 5 claims that a ball stands on a mount, <b>2 are false</b>" in page
    assert "Balls with the mounts of the file" in page


def test_their_columns_are_mapped_as_any(tmp_path: Path) -> None:
    """A title of the supplier's may stand for a fact of a ball, with its unit; one that no subject has is refused."""
    (tmp_path / "items.csv").write_text("sku,subject,kind,Loch,Zapfen\nB,ball,,,25.4\nM,,ball_mount,1 in,\n")
    mapping = tmp_path / "mapping.yaml"
    mapping.write_text("columns: {Loch: ball_hole, Zapfen: {fact: shank_diameter, unit: mm}}\n")
    audit(tmp_path / "items.csv", tmp_path / "out", rigs()[:1], mapping=mapping)
    (row,) = found(tmp_path / "out", "balls")
    assert (row["outcome"], row["rules"]) == ("conditional", "ball-shank-long-enough")
    mapping.write_text("columns: {Loch: ball_hole, Zapfen: shank_diametre}\n")
    with pytest.raises(ProblemsFound, match="did you mean `shank_diameter`"):
        audit(tmp_path / "items.csv", tmp_path / "again", rigs()[:1], mapping=mapping)


def test_a_file_of_claims_is_told_where_those_of_balls_stand(tmp_path: Path) -> None:
    """A line there about a ball names a rig, which a ball does not fit: it says where its mounts are named."""
    (tmp_path / "items.csv").write_text("sku,subject,kind,shank_diameter\nB,ball,,1 in\nM,,ball_mount,\n")
    (tmp_path / "claims.csv").write_text(f"sku,rig\nB,{rigs()[0].key}\n")
    audit(tmp_path / "items.csv", tmp_path / "out", rigs()[:1], claims=tmp_path / "claims.csv")
    (row,) = found(tmp_path / "out", "bad_claims")
    assert "is a ball" in row["problem"]
    assert "in the ball's own row" in row["allowed"]
