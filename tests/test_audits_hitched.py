"""Which mount and ball of a catalogue tow the trailers that it claims to fit: each as the question of all three."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from audit_world import audit, found, rigs
from demo_world import SEED, answerer

from fitsvc.audits import hitched
from fitsvc.audits.rigs import AuditRig
from fitsvc.facts import Case
from fitsvc.language.types import Value
from fitsvc.rulebook.outcomes import OUTCOMES, Outcome
from fitsvc.rulebook.yaml_text import read_yaml_file, to_plain

Facts = dict[str, Any]
MOUNTS: dict[str, Facts] = {
    "MOUNT": {"kind": "ball_mount", "shank": "2 in", "pin": "5/8 in", "ball_hole": "1 in", "rise": "-2 in",
              "platform_thickness": "3/4 in", "trailer_rating": "7500 lb", "tongue_rating": "750 lb"},
    "BLURRED": {"kind": "ball_mount", "shank": "2 in", "pin": "8-May", "ball_hole": "1 in", "rise": "-2 in",
                "platform_thickness": "3/4 in", "trailer_rating": "7500 lb", "tongue_rating": "750 lb"},
    "STEP": {"kind": "step", "shank": "2 in"},
}  # fmt: skip
BALLS: dict[str, Facts] = {
    "BALL": {"diameter": "2 in", "shank_diameter": "1 in", "shank_length": "2-1/8 in", "rating": "8000 lb"},
    "LARGE": {"diameter": "2-5/16 in", "shank_diameter": "1 in", "shank_length": "2-1/8 in", "rating": "10000 lb"},
    "THIN": {"diameter": "2 in", "shank_diameter": "3/4 in", "shank_length": "1 in", "rating": "3500 lb"},
}
_GOOD = OUTCOMES[:2]


def _trailers() -> dict[str, Facts]:
    listed: Any = to_plain(read_yaml_file(SEED / "trailers.yaml"))
    return {one["sku"]: one["facts"] for one in listed["records"][:6]}


def _read(subject: str, facts: Facts) -> dict[str, Value]:
    values: dict[str, Value] = {}
    answerer().reader.read(subject, facts, "", [], values, {})
    return values


def _rigs() -> list[AuditRig]:
    """Some rigs, the first of them with a ball of its own that is too small for every coupler."""
    first, *others = rigs()[:5]
    ball = _read("ball", {"diameter": "1-7/8 in", "rating": "2000 lb"})
    case = replace(first.case, facts={**first.case.facts, **ball}, present=first.case.present | {"ball"})
    return [replace(first, case=case), *others]


def _audit(folder: Path, balls: dict[str, Facts] = BALLS) -> Facts:
    keys = [rig.key for rig in _rigs()]
    rows: list[Facts] = [{"sku": sku, **facts} for sku, facts in MOUNTS.items()]
    rows += [{"sku": sku, "subject": "ball", **facts} for sku, facts in balls.items()]
    rows += [{"sku": sku, "subject": "trailer", "fits": keys, **facts} for sku, facts in _trailers().items()]
    path = folder / "items.jsonl"
    path.write_text("".join(json.dumps(row) + "\n" for row in rows))
    told: Facts = audit(path, folder / "out", _rigs())
    return told


def _case(rig: AuditRig, trailer: str, mount: str, ball: str) -> Case:
    """The question of a rig, a trailer, a mount and a ball; a pin that could not be read is one of any size."""
    mount_facts = {name: cell for name, cell in MOUNTS[mount].items() if cell != "8-May"}
    told = {**_read("trailer", _trailers()[trailer]), **_read("accessory", mount_facts), **_read("ball", BALLS[ball])}
    own = {name: value for name, value in rig.case.facts.items() if not name.startswith("ball.")}
    unread = [] if len(mount_facts) == len(MOUNTS[mount]) else ["accessory.pin"]
    named = answerer().rulebook.named & {*own, *told, *unread}
    return replace(rig.case, facts={**own, **told}, present=rig.case.present | {"trailer", "accessory", "ball"} | named)


def test_each_is_as_the_question_of_all_three(tmp_path: Path) -> None:
    """Told are the best of what works, and no other; a rig's own ball makes place, and a bad cell makes no yes."""
    told, one = _audit(tmp_path), answerer()
    rows = found(tmp_path / "out", "hitched")
    alone = {(row["sku"], row["rig"]): row["outcome"] for row in found(tmp_path / "out", "others")}
    served = 0
    for rig in _rigs():
        for trailer in _trailers():
            expected: dict[tuple[str, str], Outcome] = {}
            for mount in MOUNTS:
                for ball in BALLS:
                    outcome = one.engine.evaluate(one.engine.opened(_case(rig, trailer, mount, ball))).outcome
                    if outcome in _GOOD and mount != "STEP":
                        expected[mount, ball] = outcome
            of = [row for row in rows if (row["trailer"], row["rig"]) == (trailer, rig.key)]
            came_to = {(row["mount"], row["ball"]): row["outcome"] for row in of}
            assert came_to.items() <= expected.items()
            assert sorted(came_to.values()) == sorted(
                sorted(expected.values(), key=lambda one: OUTCOMES.index(one))[:3]
            )
            assert {row["alone"] for row in of} <= {alone[trailer, rig.key]}
            served += bool(expected)
    assert served
    assert told["hitched"] == {"claims": served, "none": len(_rigs()) * len(_trailers()) - served, "untried": 0}
    assert any((row["rig"], row["alone"]) == (_rigs()[0].key, "fails") for row in rows)
    assert not any(row["mount"] == "BLURRED" and row["outcome"] == "works" for row in rows)
    assert "THIN" not in {row["ball"] for row in rows}


def test_without_a_ball_nothing_is_told_and_what_is_not_tried_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A catalogue without balls says nothing of mounts; where there are too many claims, the others are counted."""
    assert _audit(tmp_path, {})["hitched"] == {"claims": 0, "none": 0, "untried": 0}
    assert found(tmp_path / "out", "hitched") == []
    monkeypatch.setattr(hitched, "_MOST_TRIED", 0)
    again = tmp_path / "again"
    again.mkdir()
    assert _audit(again)["hitched"] == {"claims": 0, "none": 0, "untried": len(_rigs()) * len(_trailers())}
