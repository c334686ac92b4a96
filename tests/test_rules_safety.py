"""Answers that must never be a plain yes: each was once, or came near it. Figures are common practice unless named."""

from collections.abc import Mapping, Sequence
from typing import Any

import pytest
from demo_world import answerer
from judging import Facts, answer, result

CARRIER: Facts = {
    "receiver.opening": "2 in", "receiver.pin_hole": "5/8 in", "receiver.pin_supplied": True,
    "receiver.tongue_rating": "600 lb", "receiver.hitch_class": "III", "vehicle.tongue_rating": "600 lb",
    "vehicle.body": "suv", "vehicle.spare_location": "underbody", "vehicle.overall_width": "75 in",
    "mounting.pin_to_bumper": "4 in", "mounting.height": "16 in", "accessory.kind": "bike_carrier",
    "accessory.shank": "2 in", "accessory.pin": "5/8 in", "accessory.weight": "50 lb", "accessory.capacity": "160 lb",
    "accessory.bikes_max": 4, "accessory.bike_weight_max": "40 lb", "accessory.min_class": "none",
    "accessory.bikes_held_by": "wheels",
    "accessory.front_setback": "10 in", "accessory.stow_setback": "6 in", "accessory.rear_extent": "40 in",
    "accessory.width": "60 in", "accessory.obscures_plate": False, "accessory.obscures_lamps": False,
    "accessory.plug": "none", "accessory.approved_behind_motorhome": False, "accessory.lowest_drop": "2 in",
    "accessory.length": "30 in", "vehicle.placard_capacity": "1000 lb", "vehicle.wheelbase": "120 in",
    "vehicle.rear_overhang": "40 in", "vehicle.curb_weight_front": "2500 lb", "vehicle.curb_weight_rear": "2100 lb",
    "vehicle.gawr_rear": "4500 lb",
}  # fmt: skip
"""A complete rig with a bike carrier that works on it."""


def _rules(facts: Facts, wanted: str) -> set[str]:
    return {finding.rule for finding in answer(facts).findings if finding.result == wanted}


def test_a_complete_rig_works() -> None:
    """Nothing here is a blanket caution: the complete rig is a plain yes."""
    assert answer(CARRIER).outcome == "works"


@pytest.mark.parametrize(
    "unknown", ["vehicle.tongue_rating", "vehicle.placard_capacity", "vehicle.gawr_rear", "vehicle.curb_weight_front"]
)
def test_a_carrier_without_a_load_is_no_plain_yes_by_what_nobody_looked_up(unknown: str) -> None:
    """What its label's load weighs on is a thing to check where it is not known, as with the load named."""
    assert answer({**CARRIER, unknown: None}).outcome == "conditional"


@pytest.mark.parametrize(
    ("changed", "rule", "outcome"),
    [
        (
            {
                "vehicle.spare_location": "rear_door",
                "vehicle.spare_protrusion": "7 in",
                "accessory.top_height": "32 in",
                "accessory.stow_setback": "12 in",
            },
            "in-use-clears-door-spare",
            "fails",
        ),
        ({"load.front_setback": "3 in"}, "load-clears-bumper", "fails"),
        ({"load.front_setback": "4-1/2 in"}, "load-not-close-to-bumper", "conditional"),
        ({"accessory.lowest_drop": "16 in"}, "above-the-ground", "fails"),
        ({"accessory.lowest_drop": "11 in"}, "well-above-the-ground", "conditional"),
        ({"accessory.min_class": "IV"}, "class-asked-for", "fails"),
        (
            {"vehicle.tyre": "245/75R16", "mounting.spare_blocked_from": "30 in"},
            "standard-spare-still-stows",
            "conditional",
        ),
        ({"vehicle.curb_weight": "6000 lb", "vehicle.gvwr": "5000 lb"}, "curb-weight-within-gvwr", "fails"),
        ({"accessory.rear_extent": "9 in"}, "ends-behind-its-front", "conditional"),
        (
            {"mounting.spare_fits_up_to": "31 in", "mounting.spare_blocked_from": "30 in"},
            "spare-evidence-agrees",
            "conditional",
        ),
    ],
)
def test_one_fact_changed_is_no_longer_a_yes(changed: dict[str, Any], rule: str, outcome: str) -> None:
    """The complete rig with one thing wrong is told by the rule that is there for it."""
    facts = {**CARRIER, **changed}
    assert (answer(facts).outcome, rule in _rules(facts, "fails")) == (outcome, True)


@pytest.mark.parametrize("named", [{"load.jurisdiction": "texas"}, {"load.steepest_grade": None}])
def test_naming_no_load_asks_for_none(named: dict[str, Any]) -> None:
    """A place named, or a fact given as null, does not make the answer ask for bikes: the limit is told instead."""
    found = answer({**CARRIER, **named})
    assert (found.outcome, found.next) == ("works", [])
    assert {"weight_of_each_bike", "number_of_bikes"} <= {limit.limit for limit in found.limits}


def test_people_alone_are_held_to_the_payload() -> None:
    """People named and no bikes: judged with the carrier empty, and no reading of bikes is asked for."""
    known = {**CARRIER, "vehicle.gvwr": "6000 lb", "vehicle.curb_weight": "4600 lb", "vehicle.placard_capacity": None}
    for people, outcome in (("1190 lb", "works"), ("1191 lb", "conditional"), ("1350 lb", "conditional")):
        found = answer({**known, "load.occupants_weight": people})
        assert (found.outcome, found.next) == (outcome, []), "with less room than its label's 160 lb, only with less"
    assert answer({**known, "load.occupants_weight": "1351 lb"}).outcome == "fails"


def test_a_driver_counts_where_only_a_place_is_named() -> None:
    """49 CFR 575.6(a)(4), secondary: the tongue weight and a driver of 150 lb, whatever else the load names."""
    facts = {"trailer.tongue_weight": "1251 lb", "vehicle.gvwr": "6000 lb", "vehicle.curb_weight": "4600 lb"}
    assert result("driver-within-payload", facts) == "fails"
    assert result("driver-within-payload", {**facts, "load.jurisdiction": "texas"}) == "fails"


@pytest.mark.parametrize("kind", ["size_adapter", "dual_receiver", "extension"])
def test_what_adds_length_is_an_extension(kind: str) -> None:
    """By whatever name, an adapter with length of its own is held to what holds for extensions."""
    arm = [{"kind": kind, "adds_length": "6 in"}]
    assert result("extension-allowed", {"accessory.kind": "step", "accessory.extension_allowed": False}, arm) == "fails"
    spring_bars = {"trailer.weight_distribution": True, "receiver.weight_distribution_allowed": True}
    assert result("weight-distribution-allowed", spring_bars, arm) == "fails"
    assert result("extensions-not-stacked", {"accessory.kind": "step"}, [*arm, *arm]) == "fails"


def test_a_sleeve_is_no_extension_unless_it_adds_length() -> None:
    """A sleeve adds an inch at most, told or not, and stays out of the extension rules; told to add 6 in it fails."""
    facts = {"accessory.kind": "step", "accessory.extension_allowed": False}
    assert result("extension-allowed", facts, [{"kind": "reducer_sleeve"}]) == "not_applicable"
    assert result("sleeve-adds-no-length", facts, [{"kind": "reducer_sleeve"}]) == "passes"
    assert result("sleeve-adds-no-length", facts, [{"kind": "reducer_sleeve", "adds_length": "6 in"}]) == "fails"


_SLEEVE: Facts = {
    "kind": "reducer_sleeve", "fits_opening": "2-1/2 in", "offers_opening": "2 in",
    "trailer_rating": "10000 lb", "tongue_rating": "1000 lb",
}  # fmt: skip
"""What a sleeve's label tells."""
_LENGTHENED: Facts = {
    "kind": "extension", "pin": "5/8 in", "pin_hole": "5/8 in", "pin_supplied": True, "tube_outside": "2-3/4 in",
    "weight": "12 lb", "adds_length": "8 in", "adds_rise": "0 in", "trailer_rating": "3500 lb",
    "tongue_rating": "350 lb", "keeps_fraction": "50 %", "swings_away": False,
    "fits_opening": "2 in", "offers_opening": "2 in",
}  # fmt: skip
"""An extension told whole, with all that nobody can read on a sleeve."""
_IN_TURN: Mapping[str, Sequence[Facts]] = {
    "sleeve, extension": (_SLEEVE, _LENGTHENED),
    "extension, sleeve": ({**_LENGTHENED, "fits_opening": "2-1/2 in", "offers_opening": "2-1/2 in"}, _SLEEVE),
    "sleeve, dual": (_SLEEVE, {**_LENGTHENED, "kind": "dual_receiver"}),
}
_WIDE: Facts = {
    **CARRIER, "receiver.opening": "2-1/2 in", "receiver.tube_outside": "3 in", "accessory.extension_allowed": True,
    "load.bikes": 2, "load.bike_weight": "30 lb",
}  # fmt: skip


@pytest.mark.parametrize("adapters", _IN_TURN.values(), ids=_IN_TURN)
def test_a_sleeve_is_asked_for_no_more_beside_another_adapter_than_alone(adapters: Sequence[Facts]) -> None:
    """Nobody can read a share, a pin or a pin hole on a sleeve, so none is asked for; what it is has to be told."""
    assert answer(_WIDE, [_SLEEVE]).outcome in ("works", "conditional")
    found = answer(_WIDE, adapters)
    assert found.outcome in ("works", "conditional")
    assert not [step.fact for step in found.next if step.adapter == 1 + adapters.index(_SLEEVE)]
    of_some_kind = [{**one, "kind": None} if one is _SLEEVE else one for one in adapters]
    assert answer(_WIDE, of_some_kind).outcome == "undetermined"


@pytest.mark.parametrize("kind", ["extension", "size_adapter", "dual_receiver"])
def test_what_a_sleeve_may_leave_out_is_missed_on_any_other_adapter(kind: str) -> None:
    """Beside an adapter that names all, one that stands out and names no share, and no pin, is asked for both."""
    silent, named = {**_SLEEVE, "kind": kind, "adds_length": "4 in"}, {**_LENGTHENED, **_SLEEVE, "adds_length": "0 in"}
    for adapters in ([silent], [silent, named], [named, silent]):
        assert result("hanging-weight", _WIDE, adapters) == "undetermined"
        assert result("adapter-pins-fit-holes", _WIDE, adapters) == "undetermined"
    assert result("hanging-weight", _WIDE, [named]) == result("adapter-pins-fit-holes", _WIDE, [named]) == "passes"


@pytest.mark.parametrize("kind", ["winch_mount", "recovery_shackle"])
def test_recovery_gear_is_never_a_plain_yes_unrated(kind: str) -> None:
    """Without the receiver's maker's word a recovery pull is a caution; through an adapter it is a no."""
    facts = {"accessory.kind": kind}
    assert result("rated-for-recovery", facts) == "undetermined"
    assert result("no-adapter-in-a-recovery", facts, [{"kind": "reducer_sleeve"}]) == "fails"


def test_a_small_ball_is_too_small_above_class_3() -> None:
    """COMAR 11.13.08.10 Table 1 asks 2 in from class 2 on; 2-5/16 in above 8,000 lb is common practice."""
    heavy = {"trailer.gross_weight": "9000 lb"}
    found = {
        size: (
            result("ball-large-enough-for-class", {**heavy, "ball.diameter": size}),
            result("ball-usual-for-heavy-trailers", {**heavy, "ball.diameter": size}),
        )
        for size in ("1-7/8 in", "2 in", "2-5/16 in")
    }
    assert found == {"1-7/8 in": ("fails", "fails"), "2 in": ("passes", "fails"), "2-5/16 in": ("passes", "passes")}


def test_contradictions_are_silent_where_nothing_is_told() -> None:
    """No rule of the agreement topic speaks of a fact that the question does not name."""
    topic = {rule.id for rule in answerer().rulebook.rules if rule.topic == "agreement"}
    assert len(topic) >= 5
    bare = {"accessory.kind": "bike_carrier", "trailer.coupler": "2 in"}
    assert {result(rule, bare) for rule in topic} == {"not_applicable"}
