"""What stands behind the vehicle, as a fitter judges it: what opens past it, the last inch, the ground under it.

Figures are common practice unless named.
"""

from collections.abc import Mapping
from typing import Any

import pytest
from judging import Facts, answer, answerer, open_needs, result
from test_rules_safety import CARRIER

GATE: Facts = {
    "load.needs_closure_open": True,
    "accessory.kind": "bike_carrier",
    "accessory.tilts_clear": False,
    "accessory.front_setback": "10 in",
    "accessory.front_height": "34 in",
    "accessory.top_height": "34 in",
    "mounting.pin_to_bumper": "4 in",
    "mounting.height": "16 in",
    "vehicle.rear_closure": "lift_gate",
    "vehicle.closure_hinge_height": "66 in",
    "vehicle.closure_length": "44 in",
    "vehicle.closure_hinge_setback": "14 in",
}
"""A gate of 44 in over a carrier whose top is 16 in below its hinge and 20 in behind it."""
CLOSURES = ("lift_gate", "drop_tailgate", "trunk_lid", "side_hinged", "twin_doors")
DOOR: Facts = {
    "load.needs_closure_open": True,
    "accessory.kind": "bike_carrier",
    "accessory.front_setback": "19 in",
    "accessory.front_height": "34 in",
    "accessory.top_height": "34 in",
    "accessory.width": "62 in",
    "mounting.pin_to_bumper": "4 in",
    "mounting.height": "16 in",
    "vehicle.rear_closure": "side_hinged",
    "vehicle.closure_hinge_height": "25 in",
    "vehicle.closure_hinge_offset": "28 in",
    "vehicle.closure_length": "46 in",
    "vehicle.closure_hinge_setback": "5 in",
}
"""A door hinged at its side, with a rack across it."""
SPARE: Facts = {
    "accessory.kind": "bike_carrier",
    "accessory.stow_setback": "14 in",
    "accessory.front_setback": "14 in",
    "mounting.pin_to_bumper": "4 in",
    "vehicle.body": "suv",
    "vehicle.spare_location": "rear_door",
    "vehicle.spare_protrusion": "9 in",
}


def reason(facts: Facts, rule: str) -> str:
    """What the answer says of a rule."""
    return next(one.reason for one in answer(facts).findings if one.rule == rule)


def test_the_distance_told_is_the_distance_that_is_needed() -> None:
    """sqrt(44² - 16²) is 41 in behind the hinge; from 20 in that is 21 in more, and moved by 21 in the gate passes."""
    assert "21 in farther back" in reason(GATE, "closure-opens-past-accessory")
    moved = {**GATE, "accessory.front_setback": "31 in"}
    assert result("closure-opens-past-accessory", moved) == "passes"
    assert result("closure-opens-past-accessory", {**moved, "accessory.front_setback": "30-15/16 in"}) == "fails"


def test_folded_and_loaded_are_told_by_the_distance_needed_too() -> None:
    """The same figure of the folded carrier and of its load: 21 in each."""
    folded = {**GATE, "accessory.stow_setback": "10 in", "accessory.stow_height": "34 in"}
    assert "21 in too near" in reason(folded, "closure-opens-past-folded")
    loaded = {**GATE, "load.front_setback": "10 in", "load.top_height": "34 in"}
    assert "21 in too near" in reason(loaded, "closure-opens-past-load")


@pytest.mark.parametrize(
    ("closure", "tilts", "expected"),
    [
        ("lift_gate", True, "passes"),
        ("drop_tailgate", True, "passes"),
        ("trunk_lid", True, "passes"),
        ("side_hinged", True, "fails"),
        ("twin_doors", True, "fails"),
        ("side_hinged", False, "fails"),
        ("side_hinged", None, "fails"),
    ],
)
def test_a_tilt_frees_no_door_that_swings_sideways(closure: str, tilts: bool | None, expected: str) -> None:
    """What opens over a carrier passes when it tilts; a door at the side is judged by where the carrier stands."""
    facts = {**DOOR, "vehicle.rear_closure": closure, "accessory.tilts_clear": tilts}
    assert result("closure-opens-past-accessory", facts) == expected


def test_a_swing_away_frees_every_closure() -> None:
    """The accessory's own arm, or an adapter that swings with the accessory in it."""
    assert result("closure-opens-past-accessory", {**DOOR, "accessory.swings_away": True}) == "passes"
    arm = [{"kind": "extension", "adds_length": "12 in", "swings_away": True}]
    assert result("closure-opens-past-accessory", DOOR, arm) == "passes"
    assert result("closure-opens-past-accessory", DOOR, [{**arm[0], "swings_away": False}]) != "passes"


@pytest.mark.parametrize("kind", answerer().engine.rulebook.vocabulary.lists["accessory_kind"].members)
def test_only_a_carrier_frees_a_closure_by_its_own(kind: str) -> None:
    """Of each kind told to tilt and to swing: a mount, a step, recovery gear or a pin does neither."""
    facts = {**DOOR, "accessory.kind": kind, "accessory.tilts_clear": True, "accessory.swings_away": True}
    freed = {result("closure-opens-past-accessory", {**facts, "vehicle.rear_closure": each}) for each in CLOSURES}
    expected = {"passes"} if "carrier" in kind else {"not_applicable"} if kind == "locking_pin" else {"fails"}
    assert freed == expected


@pytest.mark.parametrize("length", ["0 in", "3 in", "12 in", None])
@pytest.mark.parametrize("kind", answerer().engine.rulebook.vocabulary.lists["adapter_kind"].members)
def test_only_an_arm_swings_clear(kind: str, length: str | None) -> None:
    """Of each kind and length told to swing away: only a long arm does, and a caution says so of the others."""
    adapter = {"kind": kind, "swings_away": True} | ({"adds_length": length} if length else {})
    facts = {**DOOR, "accessory.tilts_clear": False}
    arm = kind in ("extension", "size_adapter")
    freed, suits = (result(rule, facts, [adapter]) for rule in ("closure-opens-past-accessory", "swing-suits-adapter"))
    assert suits == ("fails" if not arm or length in ("0 in", "3 in") else "passes" if length else "undetermined")
    assert (freed == "passes") == (arm and length == "12 in")


@pytest.mark.parametrize("kind", answerer().engine.rulebook.vocabulary.lists["adapter_kind"].members)
def test_a_small_opening_bears_what_one_is_made_for_in_every_adapter(kind: str) -> None:
    """350 lb (class II) behind an opening of 1-1/4 in, whatever makes it, is told of it and stands behind it."""
    adapter = {
        "kind": kind,
        "adds_length": "0 in",
        "keeps_fraction": "100 %",
        "weight": "0 lb",
        "tongue_rating": "1000 lb",
    }
    facts = {"accessory.kind": "step", "accessory.weight": "351 lb", "receiver.tongue_rating": "1000 lb"}
    wide, narrow = ({**adapter, "offers_opening": size} for size in ("2 in", "1-1/4 in"))
    for stack, expected in (
        ([wide], "passes"),
        ([narrow], "fails"),
        ([narrow, wide], "fails"),
        ([wide, narrow], "fails"),
    ):
        assert result("accessory-on-receiver", facts, stack) == expected
    assert result("accessory-on-receiver", {**facts, "accessory.weight": "350 lb"}, [narrow]) == "passes"


@pytest.mark.parametrize(
    ("changed", "expected"),
    [
        ({}, "passes"),
        ({"accessory.front_setback": "13-15/16 in"}, "fails"),
        ({"accessory.stow_setback": "13 in"}, "fails"),
        ({"load.front_setback": "13 in"}, "fails"),
        ({"load.front_setback": "14 in"}, "passes"),
    ],
)
def test_the_last_inch_before_a_door_spare_is_told(changed: dict[str, Any], expected: str) -> None:
    """Room that is equal to the last inch is no plain yes: in use, folded up or loaded."""
    assert result("close-to-door-spare", {**SPARE, **changed}) == expected


def test_bikes_before_a_door_spare_are_asked_about() -> None:
    """How far their handlebars reach is measured, or the answer is no plain yes; told too near, it is a no."""
    bikes = {**SPARE, "load.bikes": 2}
    assert result("load-clears-door-spare", bikes) == "undetermined"
    assert result("load-clears-door-spare", {**bikes, "load.front_setback": "12 in"}) == "fails"
    opened = {"load.bikes": 2, "load.needs_closure_open": True, "vehicle.rear_closure": "lift_gate"}
    assert result("closure-opens-past-load", {**SPARE, **opened}) == "undetermined"


def test_a_closed_box_is_asked_for_no_load_before_it() -> None:
    """What is in a box stands behind its front."""
    box = {**GATE, "accessory.kind": "enclosed_carrier", "load.cargo_weight": "100 lb"}
    assert result("closure-opens-past-load", box) == "not_applicable"


@pytest.mark.parametrize("name", ["accessory.lowest_drop", "mounting.height"])
def test_room_to_the_ground_is_asked_for(name: str) -> None:
    """A carrier that nobody has measured downward, or a receiver as low as a coupé's, is no plain yes."""
    known = {**CARRIER, "accessory.lowest_drop": "3 in"}
    assert answer(known).outcome == "works"
    blank = {**known, name: None}
    assert (answer(blank).outcome, result("well-above-the-ground", blank)) == ("conditional", "undetermined")


def test_an_adjustable_mount_hangs_as_low_as_it_is_set() -> None:
    """13 in up and set 8 in down for a low trailer, 3 in are left, whatever the sheet says of its highest setting."""
    mount = {"accessory.kind": "adjustable_ball_mount", "accessory.lowest_drop": "4 in", "mounting.height": "13 in"}
    assert result("well-above-the-ground", mount) == "passes"
    assert result("well-above-the-ground", {**mount, "trailer.coupler_height": "5 in"}) == "fails"
    assert result("well-above-the-ground", {**mount, "trailer.coupler_height": "8 in"}) == "passes"


def test_a_drop_mount_is_held_to_the_ground_by_its_platform() -> None:
    """Nobody measures a ball mount downward: its rise less 2 in for platform and nut stands in for it."""
    mount = {"accessory.kind": "ball_mount", "accessory.rise": "-8 in"}
    assert result("well-above-the-ground", {**mount, "mounting.height": "16 in"}) == "passes"
    assert result("well-above-the-ground", {**mount, "mounting.height": "13 in"}) == "undetermined"


RAMP: Mapping[str, Any] = {
    "accessory.kind": "cargo_carrier",
    "accessory.lowest_drop": "4 in",
    "accessory.rear_extent": "36 in",
    "mounting.height": "16 in",
    "mounting.pin_to_bumper": "4 in",
    "vehicle.rear_overhang": "40 in",
    "vehicle.wheelbase": "115 in",
    "vehicle.tyre_radius": "14 in",
    "load.rear_sag": "2 in",
    "load.steepest_grade": "30 %",
}


def test_only_the_sure_end_of_a_ramp_is_told() -> None:
    """Where the lowest point is not measured, what it surely takes is told by the rear end, as one figure."""
    told = reason(RAMP, "clears-steepest-grade")
    assert "With its rear 2 in down it surely takes a ramp of 14.1 %." in told


def test_a_spare_that_stays_at_home_is_no_plain_yes() -> None:
    """Stowed nowhere, nothing is judged of it, and the answer says so."""
    home = {"spare.tyre": "245/75R16", "spare.stowed_where": "none"}
    assert (answer(home).outcome, result("spare-goes-somewhere", home)) == ("conditional", "fails")


def test_a_place_under_the_body_is_never_less_than_nothing() -> None:
    """Known only as not taking 31 in, it takes at most that, and no thousandth less than nothing is told."""
    facts = {
        "spare.tyre": "33X12.50R17LT",
        "spare.stowed_where": "underbody",
        "mounting.spare_blocked_from": {"at_least": "0 in", "at_most": "31 in"},
        "vehicle.spare_well_diameter": "60 in",
    }
    assert "0.001" not in reason(facts, "spare-stows-under-body")
    assert "at most 31 in" in reason(facts, "spare-stows-under-body")


def test_hidden_lamps_are_one_thing_to_see_to() -> None:
    """A lamp board is needed, and no second finding says the same."""
    hidden = {**CARRIER, "accessory.obscures_lamps": True}
    assert "lamp-board" in open_needs(hidden)
    assert [one.rule for one in answer(hidden).findings if one.result != "passes"] == []
    assert "lamp-board" in open_needs({**CARRIER, "accessory.obscures_lamps": None})


@pytest.mark.parametrize(("sag", "expected"), [(None, "passes"), ("0 in", "passes"), ("2 in", "fails")])
def test_the_sag_of_the_loaded_rear_moves_the_ball(sag: str | None, expected: str) -> None:
    """A mount that is level behind the empty vehicle is 2 in too low when the rear comes down so far."""
    facts = {
        "accessory.kind": "ball_mount",
        "accessory.rise": "-2 in",
        "mounting.height": "20 in",
        "trailer.coupler_height": "18 in",
        "load.rear_sag": sag,
    }
    assert result("trailer-level-on-fixed-mount", facts) == expected


def test_a_mount_turned_over_is_told_as_what_may_help() -> None:
    """Its rise the other way round, by its sheet, stands beside what is needed."""
    facts = {
        "accessory.kind": "ball_mount",
        "accessory.rise": "-2 in",
        "accessory.rise_turned_over": "3/4 in",
        "mounting.height": "16 in",
        "trailer.coupler_height": "17 in",
    }
    assert "Turned over it has 3/4 in of rise." in reason(facts, "trailer-level-on-fixed-mount")
    (rule,) = (one for one in answerer().rulebook.rules if one.id == "trailer-level-on-fixed-mount")
    assert rule.remedy.startswith("this mount turned over")


def test_people_are_asked_for_beside_a_trailer_as_beside_a_carrier() -> None:
    """Unknown people are a doubt behind either; 49 CFR 575.6(a)(4): 1,400 lb less 500 lb leave 900 lb."""
    trailer = {"trailer.tongue_weight": "500 lb", "vehicle.placard_capacity": "1400 lb"}
    assert result("people-beside-the-tongue", trailer) == "undetermined"
    assert "900 lb is left" in reason(trailer, "people-beside-the-tongue")
    assert result("people-and-luggage", {**trailer, "load.occupants_weight": "900 lb"}) == "passes"
    carrier = {
        "accessory.kind": "bike_carrier",
        "accessory.weight": "50 lb",
        "load.bikes": 2,
        "load.bike_weight": "40 lb",
        "vehicle.placard_capacity": "1400 lb",
    }
    assert result("people-and-luggage", carrier) == "undetermined"


def test_tyres_that_bear_less_than_the_axle_are_told() -> None:
    """Load index 98 stands for 750 kg (ISO 4000-1, as two published charts print it): two bear 1,500 kg."""
    rear = {"vehicle.tyre": "225/60R16 98H"}
    assert result("tyres-bear-the-rear-axle", {**rear, "vehicle.gawr_rear": "1500 kg"}) == "passes"
    assert result("tyres-bear-the-rear-axle", {**rear, "vehicle.gawr_rear": "1501 kg"}) == "fails"


@pytest.mark.parametrize("rule", ["adapters-fit-each-other", "adapter-pins-fit-holes"])
def test_adapters_are_judged_where_one_is(rule: str) -> None:
    """A question about a spare alone is not told that its adapters fit."""
    assert result(rule, {"spare.tyre": "245/75R16", "spare.stowed_where": "inside"}) == "not_applicable"
    assert result(rule, {"receiver.opening": "2 in"}, [{"kind": "extension"}]) == "undetermined"


HOLES: Mapping[str, Facts] = {
    "payload": {"vehicle.curb_weight": "5000 lb", "vehicle.gvwr": "5100 lb", "trailer.coupler": "2 in"},
    "GCWR": {"vehicle.gcwr": "5000 lb", "vehicle.curb_weight": "5000 lb", "trailer.coupler": "2 in"},
    "spare": {
        **SPARE,
        "vehicle.spare_protrusion": None,
        "accessory.front_setback": "3 in",
        "accessory.stow_setback": "3 in",
    },
    "load": {**SPARE, "vehicle.spare_protrusion": None, "load.front_setback": "3 in"},
}


@pytest.mark.parametrize("case", HOLES)
def test_no_text_says_unknown(case: str) -> None:
    """Where a side of a comparison is not known and the other settles it all the same, the text has no hole."""
    found = answer(HOLES[case])
    assert not [one.rule for one in found.findings if "unknown" in one.reason]
