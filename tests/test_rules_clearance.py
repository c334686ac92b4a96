"""Clearance, ground and spare rules as a counter meets them: silent until asked, honest when open, sure when known."""

from collections.abc import Mapping
from typing import Any

import pytest
from demo_world import answerer
from judging import answer
from test_rules_safety import CARRIER

from fitsvc.answers.answer import Answer, Finding
from fitsvc.language.forms.geometry import departure_angle, grade_of_angle

TOPICS = ("clearance", "ground", "spare")
PAST = ("closure-opens-past-accessory", "closure-opens-past-folded", "closure-opens-past-load")
VEHICLE = {
    "body": "suv",
    "wheelbase": "113 in",
    "rear_overhang": "43 in",
    "tyre_radius": "14-1/2 in",
    "rear_closure": "lift_gate",
    "closure_hinge_height": "70 in",
    "closure_length": "43 in",
    "closure_hinge_setback": "16 in",
    "spare_location": "underbody",
}
TRAY = {
    "kind": "bike_carrier",
    "front_setback": "8 in",
    "stow_setback": "5-1/2 in",
    "rear_extent": "32-1/2 in",
    "lowest_drop": "3 in",
    "top_height": "32 in",
    "stow_height": "38 in",
    "width": "62 in",
    "tilts_clear": False,
}
MOUNT = {"kind": "ball_mount", "length": "8 in", "tilts_clear": False}
PICKUP = {"body": "pickup", "rear_closure": "drop_tailgate", "closure_hinge_height": "35 in", "closure_length": "30 in"}


def _ask(load: Mapping[str, Any] | None = None, vehicle: Mapping[str, Any] = {}, **parts: Any) -> Answer:
    rig = {
        "vehicle": {"facts": {**VEHICLE, **vehicle}},
        "mounting": {"facts": {"height": "16-1/2 in", "pin_to_bumper": "3-1/2 in"}},
    }
    document = {"rig": rig, **{name: {"facts": facts} for name, facts in parts.items()}}
    if load is not None:
        document["load"] = {"facts": load}
    return answerer().answer(document)


def _told(answer: Answer) -> dict[str, Finding]:
    """The findings of the topics held here."""
    topics = {rule.id: rule.topic for rule in answerer().rulebook.rules}
    return {finding.rule: finding for finding in answer.findings if topics[finding.rule] in TOPICS}


def test_what_is_not_asked_is_not_told() -> None:
    """With bikes in the question but no grade and no closure, nothing is said of either, but for a usual driveway."""
    told = _told(_ask({"bikes": 2, "bike_weight": "40 lb"}, accessory=TRAY))
    assert set(told) == {
        "folded-clears-bumper",
        "folded-not-close-to-bumper",
        "in-use-clears-bumper",
        "above-the-ground",
        "well-above-the-ground",
        "takes-a-usual-driveway",
    }
    assert {finding.result for finding in told.values()} == {"passes"}


def test_null_does_not_open_a_topic() -> None:
    """A grade given as null is not named."""
    assert "clears-steepest-grade" not in _told(_ask({"steepest_grade": None}, accessory=TRAY))


@pytest.mark.parametrize(("grade", "result"), [("16 %", "passes"), ("17 %", "undetermined"), ("30 %", "undetermined")])
def test_a_grade_passes_by_the_rear_end_alone(grade: str, result: str) -> None:
    """With the lowest point anywhere up to the rear end, gentle grades pass and steeper ones stay open."""
    told = _told(_ask({"steepest_grade": grade, "rear_sag": "1-1/2 in"}, accessory=TRAY))
    assert told["clears-steepest-grade"].result == result
    taken = grade_of_angle(departure_angle(72.0, 12.0, 14.5))
    assert (float(grade.split(maxsplit=1)[0]) / 100.0 <= taken) == (result == "passes")


def test_a_grade_that_touches_fails_in_figures() -> None:
    """The reason names the grade, by how much it touches, what it takes, and what a short ramp may rise."""
    low = {**TRAY, "lowest_behind": "32-1/2 in"}
    answer = _ask({"steepest_grade": "25 %", "rear_sag": "1-1/2 in"}, accessory=low)
    finding = _told(answer)["clears-steepest-grade"]
    assert (answer.outcome, finding.result, finding.margin) == ("fails", "fails", "5-3/8 in")
    assert all(figure in finding.reason for figure in ("25 %", "5-3/8 in", "17 %", "18-7/8 in"))


def test_an_unknown_sag_is_not_taken_for_none() -> None:
    """Empty it would clear; loaded it may not, so the answer asks for the sag, and knows when it touches empty."""
    low = {**TRAY, "lowest_behind": "32-1/2 in"}
    assert _told(_ask({"steepest_grade": "10 %"}, accessory=low))["clears-steepest-grade"].result == "undetermined"
    assert _told(_ask({"steepest_grade": "30 %"}, accessory=low))["clears-steepest-grade"].result == "fails"
    open_ = _told(_ask({"steepest_grade": "10 %"}, accessory=low))["clears-steepest-grade"].reason
    assert "how far the loaded rear sags" in open_
    assert "surely takes" not in open_, "what it takes is not sure while the sag is not known"
    grade = {"load.steepest_grade": "10 %", "vehicle.tyre_radius": "14-1/2 in", "vehicle.wheelbase": "113 in"}
    known = {
        **CARRIER,
        "vehicle.rear_overhang": "43 in",
        "accessory.rear_extent": "32-1/2 in",
        "accessory.lowest_behind": "32-1/2 in",
        "accessory.lowest_drop": "3 in",
        "mounting.height": "16-1/2 in",
        "mounting.pin_to_bumper": "3-1/2 in",
        **grade,
    }
    assert "load.rear_sag" in [step.fact for step in answer(known).next]


def test_an_open_grade_is_a_caution_only() -> None:
    """Whether it touches being open does not make the whole answer undetermined: the rule counts as a doubt."""
    rulebook = answerer().rulebook
    (rule,) = [one for one in rulebook.rules if one.id == "clears-steepest-grade"]
    assert (rule.severity, rule.if_unknown) == ("blocking", "caution")


@pytest.mark.parametrize(
    ("facts", "result"),
    [
        ({}, "undetermined"),
        ({"front_height": "32 in"}, "fails"),
        ({"front_height": "6 in"}, "undetermined"),
        ({"front_height": "6 in", "top_height": "6 in"}, "passes"),
        ({"tilts_clear": True}, "passes"),
    ],
)
def test_a_lift_gate_and_a_tray(facts: dict[str, Any], result: str) -> None:
    """A box that the gate strikes leaves it open; a high front decides it, a low carrier or one that tilts clears."""
    told = _told(_ask({"needs_closure_open": True}, accessory={**TRAY, **facts}))
    assert told["closure-opens-past-accessory"].result == result


def test_a_closure_that_need_not_open_is_not_judged() -> None:
    """Named and no, there is nothing to say of it."""
    assert not [rule for rule in _told(_ask({"needs_closure_open": False}, accessory=TRAY)) if "closure" in rule]


def test_a_tilting_carrier_settles_every_state() -> None:
    """In use, folded and loaded the closure opens, whatever is not known of hinge and load."""
    told = _told(_ask({"needs_closure_open": True, "bikes": 2}, accessory={**TRAY, "tilts_clear": True}))
    assert {told[rule].result for rule in PAST} == {"passes"}


@pytest.mark.parametrize("kind", ["drop_tailgate", "lift_gate", "side_hinged", "twin_doors", "trunk_lid"])
def test_a_plain_ball_mount_is_in_no_closures_way(kind: str) -> None:
    """Low and short, it clears closures hinged at the heights they are hinged at."""
    heights = {"drop_tailgate": "35 in", "lift_gate": "70 in", "trunk_lid": "41 in"}
    vehicle = {"rear_closure": kind, "closure_hinge_height": heights.get(kind, "28 in")}
    if kind == "trunk_lid":  # it ends over the bumper
        vehicle |= {"closure_hinge_setback": "22 in", "closure_length": "24 in"}
    low = {**MOUNT, "front_setback": "7 in", "top_height": "2 in", "width": "3 in"}
    told = _told(_ask({"needs_closure_open": True}, vehicle, accessory=low))
    assert told["closure-opens-past-accessory"].result == "passes"


def test_the_jack_is_judged_where_it_is_named() -> None:
    """Without the jack only the ball is held to the bumper; with it, its turn and the tailgate are told too."""
    vehicle = {**PICKUP, "closure_hinge_setback": "6 in"}
    plain = _told(_ask(None, vehicle, accessory=MOUNT, trailer={"gross_weight": "3000 lb"}))
    assert set(plain) == {"ball-behind-bumper", "ball-clears-bumper"}
    jack = {"jack_behind_ball": "10 in", "jack_width": "12 in", "jack_height": "40 in"}
    told = _told(_ask(None, vehicle, accessory=MOUNT, trailer=jack))
    assert told["turns-clear-of-jack"].result == told["tailgate-clears-jack"].result == "fails"
    assert "81.7 deg" in told["turns-clear-of-jack"].reason


@pytest.mark.parametrize(
    ("mounting", "result", "figure"),
    [
        ({"spare_blocked_from": "32 in"}, "fails", "at most 32 in"),
        ({"spare_fits_up_to": "33 in"}, "passes", ""),
        ({"spare_fits_up_to": "32 in", "spare_blocked_from": "33-1/4 in"}, "undetermined", "32 in to 33-1/4 in"),
        ({}, "undetermined", "Try it, or measure the room"),
    ],
)
def test_a_spare_under_the_body(mounting: dict[str, Any], result: str, figure: str) -> None:
    """A spare of 32.6 in stows, does not, or is between what is known: the reason says which."""
    spare = {"facts": {"tyre": "265/70R18", "stowed_where": "underbody"}}
    rig = {"vehicle": {"facts": VEHICLE}, "mounting": {"facts": mounting}, "spare": spare}
    finding = _told(answerer().answer({"rig": rig}))["spare-stows-under-body"]
    assert finding.result == result
    assert figure in finding.reason


def test_every_rule_here_says_what_it_rests_on() -> None:
    """Every estimate says why, every published source what to look up, and memory is owned to.

    Of the federal sections cited here the words of 49 CFR 523.2 alone have been read.
    """
    for rule in answerer().rulebook.rules:
        if rule.topic in TOPICS:
            source = rule.source
            assert source.kind == "common_practice" or source.because or source.cite, rule.id
            owned = any(word in source.cite for word in ("memory", "secondary", "49 CFR 523.2"))
            assert "CFR" not in source.cite or owned, rule.id


def test_questions_may_name_grades_within_bounds() -> None:
    """A grade known to be at most so much is named, and judged by the steepest it may be."""
    load = {"steepest_grade": {"at_most": "12 %"}, "rear_sag": {"at_most": "2 in"}}
    answer = _ask(load, accessory=TRAY)
    assert _told(answer)["clears-steepest-grade"].result == "passes"
    assert _told(answer)["clears-steepest-grade"].facts["load.steepest_grade"] == "0 % to 12 %"


def test_a_closure_that_opens_by_the_tilt_says_so() -> None:
    """A carrier that tilts clear passes, and the customer hears that it has to be tilted; no other carrier's does."""
    facts = {"accessory.kind": "bike_carrier", "vehicle.rear_closure": "lift_gate", "load.needs_closure_open": True}

    def told(**more: object) -> list[str]:
        named = {name.replace("__", "."): value for name, value in more.items()}
        return [text for text in answer({**facts, **named}).cautions if text.startswith("To open the")]

    assert told(accessory__tilts_clear=True)[0].startswith("To open the lift gate, first tilt the bike carrier")
    assert told(accessory__tilts_clear=False) == told() == []
    assert told(accessory__tilts_clear=True, load__needs_closure_open=False) == []
    assert told(accessory__tilts_clear=True, vehicle__rear_closure="none") == []


BLOCKED = {"mounting.spare_blocked_from": "32 in"}
ROOM = {"vehicle.spare_well_diameter": "34 in", "mounting.spare_room_taken": "2 in"}


@pytest.mark.parametrize(
    ("known", "told"),
    [
        ({"mounting.spare_fits_up_to": "33 in", **BLOCKED}, "33 in across, by others 0 in to 32 in"),
        ({"mounting.spare_fits_up_to": "31 in", **BLOCKED}, ""),
        ({"mounting.spare_fits_up_to": "31 in"}, ""),
        ({"mounting.spare_fits_up_to": "33 in", **ROOM}, "is 33 in across, by others 0 in to 32 in"),
        ({"mounting.spare_fits_up_to": "32 in", **ROOM}, ""),
    ],
)
def test_evidence_that_contradicts_itself_is_told(known: Mapping[str, Any], told: str) -> None:
    """An answer that rests on what stowed and what did not says where the two cannot both be."""
    found = answer({"spare.tyre": "245/75R16", "spare.stowed_where": "underbody", **known}).cautions
    said = [text for text in found if "contradicts itself" in text]
    assert (told in said[0]) if told else said == []


def test_a_load_that_keeps_the_rear_shut_is_told_though_nobody_asked() -> None:
    """Handlebars in the hatch's way are a thing to see to where they are measured, else a sentence to keep in mind."""
    vehicle = {f"vehicle.{name}": value for name, value in VEHICLE.items()}
    carrier = {f"accessory.{name}": value for name, value in TRAY.items()}
    rig = {**vehicle, **carrier, "mounting.pin_to_bumper": "4 in", "mounting.height": "16 in", "load.bikes": 2}
    near = {"load.front_setback": "10 in", "load.top_height": "44 in"}

    def kept(found: Answer) -> list[str]:
        return [text for text in found.cautions if text.startswith("Loaded, a carrier often keeps the lift gate shut")]

    assert len(kept(answer(rig))) == 1
    told = answer({**rig, **near})
    assert kept(told) == []
    assert _told(told)["load-lets-closure-open"].result == "fails"
    assert (
        "With the load on, the rear closure (lift gate) does not open" in _told(told)["load-lets-closure-open"].reason
    )
    far = answer({**rig, **near, "load.front_setback": "40 in"})
    assert _told(far)["load-lets-closure-open"].result == "passes"
    assert kept(answer({**rig, "load.needs_closure_open": False})) == []
