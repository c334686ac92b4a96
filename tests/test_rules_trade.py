"""The rest of the trade: unusual hitches, racks behind trailers, bikes of all sorts, wiring jobs, winches and bars.

Figures are common practice unless named. Each is asked with the answer a fitter would give written down first.
"""

from typing import Any

import pytest
from judging import Facts, answer, open_needs, result
from test_rules_safety import CARRIER
from test_rules_towing import WHOLE

BIKES: Facts = {
    **CARRIER,
    "load.bikes": 2,
    "load.bike_weight": "40 lb",
    "load.occupants_weight": "400 lb",
    "vehicle.placard_capacity": "1400 lb",
    "vehicle.gawr_rear": "4000 lb",
    "vehicle.curb_weight_rear": "2200 lb",
    "vehicle.curb_weight_front": "2600 lb",
    "vehicle.wheelbase": "115 in",
    "vehicle.rear_overhang": "42 in",
    "accessory.length": "20 in",
    "accessory.bikes_held_by": "wheels",
}
"""The complete rig with two bikes and four hundred pounds of people: a plain yes."""
TOWED: Facts = {
    **WHOLE,
    "trailer.breakaway": True,
    "load.occupants_weight": "400 lb",
    "load.jurisdiction": "texas",
    "vehicle.tow_rating_unbraked": "2000 lb",
    "accessory.lowest_drop": "4 in",
}


def reasons(facts: Facts, wanted: str) -> dict[str, str]:
    """The reasons of an answer's findings with a result, by rule."""
    return {one.rule: one.reason for one in answer(facts).findings if one.result == wanted}


def test_the_plain_rigs_are_a_yes() -> None:
    """Nothing of what follows cautions where nobody brought it up."""
    assert answer(BIKES).outcome == "works"
    assert answer(TOWED).outcome == "works"


# unusual hitches


@pytest.mark.parametrize("place", ["bumper", "step_bumper", "front", "bed"])
def test_no_unusual_hitch_is_a_plain_yes(place: str) -> None:
    """Said where the receiver sits and nothing more, neither the bikes nor the trailer are a plain yes there."""
    assert answer({**BIKES, "receiver.place": place}).outcome != "works"
    assert answer({**TOWED, "receiver.place": place}).outcome != "works"
    assert answer({**TOWED, "receiver.place": "frame"}).outcome == "works"


@pytest.mark.parametrize(
    ("changed", "rule", "outcome"),
    [
        ({"receiver.place": "bumper"}, "bumper-bears-the-weight", "undetermined"),
        ({"receiver.place": "bumper", "vehicle.bumper_tongue_rating": "100 lb"}, "bumper-bears-the-weight", "fails"),
        ({"receiver.place": "bumper", "vehicle.bumper_tongue_rating": "200 lb"}, "allowed-on-a-bumper", "undetermined"),
        (
            {
                "receiver.place": "bumper",
                "vehicle.bumper_tongue_rating": "200 lb",
                "accessory.allowed_on_bumper": False,
            },
            "allowed-on-a-bumper",
            "fails",
        ),
        (
            {"receiver.place": "bumper", "vehicle.bumper_tongue_rating": "200 lb", "accessory.allowed_on_bumper": True},
            None,
            "works",
        ),
        ({"receiver.place": "step_bumper"}, "no-opening-in-a-step-bumper", "fails"),
        ({"receiver.place": "front", "accessory.allowed_at_front": True}, "front-axle-bears-it", "conditional"),
        ({"receiver.place": "front", "vehicle.gawr_front": "2700 lb"}, "front-axle-bears-it", "fails"),
        ({"receiver.place": "bed"}, "bed-hitch-takes-no-shank", "fails"),
    ],
)
def test_bikes_on_an_unusual_hitch(changed: dict[str, Any], rule: str | None, outcome: str) -> None:
    """130 lb of rack and bikes: the bumper's own figure counts, its maker's word, and the front axle at the front."""
    facts = {**BIKES, **changed}
    told = {one.rule for one in answer(facts).findings if one.result != "passes"}
    assert (answer(facts).outcome, rule is None or rule in told) == (outcome, True)


@pytest.mark.parametrize(
    ("changed", "rule"),
    [
        ({"receiver.place": "front"}, "nothing-towed-at-the-front"),
        ({"receiver.place": "bumper", "vehicle.bumper_trailer_rating": "3000 lb"}, "bumper-bears-the-trailer"),
        ({"receiver.place": "bumper", "trailer.weight_distribution": True}, "no-bars-on-a-bumper"),
        ({"receiver.place": "step_bumper"}, "no-opening-in-a-step-bumper"),
        ({"trailer.coupler_kind": "gooseneck_coupler"}, "no-receiver-takes-a-gooseneck"),
        ({"trailer.coupler_kind": "fifth_wheel_pin"}, "no-receiver-takes-a-gooseneck"),
        ({"vehicle.body": "towed"}, "no-second-trailer"),
    ],
)
def test_what_is_never_towed_so(changed: dict[str, Any], rule: str) -> None:
    """A trailer of 3,400 lb at the front, on a weak bumper, by bars on a bumper, from a bed, behind a trailer: no."""
    facts = {**TOWED, **changed}
    assert answer(facts).outcome == "fails"
    assert rule in reasons(facts, "fails")


def test_a_step_bumper_tows_by_a_ball_of_its_own() -> None:
    """Its stamping is the rating; what it needs is a ball and no mount."""
    bumper = {name: wire for name, wire in TOWED.items() if not name.startswith(("accessory.", "ball."))}
    facts = {**bumper, "receiver.place": "step_bumper", "receiver.trailer_rating": "3500 lb"}
    assert "step-bumper-ball" in open_needs(facts)
    assert "towing-mount" not in open_needs(facts)
    assert answer({**facts, "trailer.gross_weight": "3501 lb"}).outcome == "fails"


def test_a_bed_hitch_names_what_to_see_instead() -> None:
    """Not judged here is no No and never a yes; where to look is said: 15 to 25 % on the truck (secondary)."""
    bare = {name: wire for name, wire in TOWED.items() if not name.startswith(("accessory.", "ball.", "trailer.cou"))}
    facts = {**bare, "receiver.place": "bed"}
    for kind in ("gooseneck_coupler", "fifth_wheel_pin", None):
        found = answer({**facts, "trailer.coupler_kind": kind})
        assert found.outcome == "undetermined"
        assert "is not judged here. Ask who fits bed hitches" in found.summary
        assert "15 to 25 % of the trailer rests on the truck" in found.summary
    assert answer({**facts, "trailer.coupler_kind": "ball_coupler"}).outcome == "fails"


@pytest.mark.parametrize(
    ("approved", "outcome"),
    [(None, "undetermined"), (False, "fails"), (True, "conditional")],
)
def test_a_rack_behind_a_trailer_wants_its_makers_word(approved: bool | None, outcome: str) -> None:
    """Never without approval, and with it the tongue is weighed again."""
    facts = {**BIKES, "vehicle.body": "towed", "accessory.approved_behind_trailer": approved}
    assert answer(facts).outcome == outcome
    assert "weigh-the-tongue-again" in open_needs(facts)


HOOK: Facts = {"accessory.kind": "pintle_mount", "accessory.hook_ball": "2 in", "accessory.hook_ball_rating": "6000 lb"}


@pytest.mark.parametrize(
    ("facts", "expected"),
    [
        ({"trailer.coupler": "2 in", "trailer.gross_weight": "5000 lb"}, "passes"),
        ({"trailer.coupler": "2 in", "trailer.gross_weight": "6001 lb"}, "fails"),
        ({"trailer.coupler": "2-5/16 in", "trailer.gross_weight": "5000 lb"}, "fails"),
        ({"trailer.ring_diameter": "3 in", "trailer.gross_weight": "12000 lb"}, "passes"),
        ({"trailer.coupler": "2 in", "trailer.gross_weight": "5000 lb", "accessory.hook_ball": None}, "fails"),
    ],
)
def test_a_combination_hook_takes_ring_and_ball(facts: Facts, expected: str) -> None:
    """A hook with a ball takes the coupler of its size up to the ball's own rating, and a ring on its pintle."""
    told = {
        result(rule, {**HOOK, **facts})
        for rule in ("pintle-takes-ring", "hook-has-a-ball", "hook-ball-fits-coupler", "hook-ball-bears-trailer")
    }
    worst = next(one for one in ("fails", "undetermined", "passes") if one in told)
    assert worst == expected
    by_ball = {**HOOK, "trailer.coupler_kind": "ball_coupler"}
    assert result("coupling-suits-mount", by_ball) == "passes"
    assert result("coupling-suits-mount", {**by_ball, "accessory.hook_ball": None}) == "fails"


# the shank in the opening


@pytest.mark.parametrize(
    ("changed", "outcome"),
    [
        ({"accessory.play": "1/16 in"}, "works"),
        ({"accessory.play": "3/16 in"}, "conditional"),
        ({"accessory.play": "3/16 in", "accessory.anti_rattle": True}, "works"),
        ({"receiver.room_inside": "5 in", "accessory.shank_ahead": "5-1/2 in"}, "fails"),
        ({"receiver.room_inside": "5 in", "accessory.shank_ahead": "4-1/2 in"}, "works"),
        ({"receiver.room_inside": "5 in"}, "conditional"),
    ],
)
def test_a_shank_goes_home_and_sits_tight(changed: dict[str, Any], outcome: str) -> None:
    """A little play is usual, more wants a wedge; a shank that is stopped before its pin hole never fits."""
    assert answer({**BIKES, **changed}).outcome == outcome


# bikes


@pytest.mark.parametrize(
    ("changed", "outcome"),
    [
        ({"load.heaviest_bike": "40 lb"}, "works"),
        ({"load.heaviest_bike": "41 lb"}, "fails"),
        ({"load.heaviest_bike": "38 lb"}, "conditional"),
        ({"load.bike_tyre": "4 in", "accessory.bike_tyre_max": "3 in"}, "fails"),
        ({"load.bike_tyre": "4 in", "accessory.bike_tyre_max": "5 in"}, "works"),
        ({"load.bike_tyre": "4 in"}, "conditional"),
        ({"load.bike_wheelbase": "50 in", "accessory.bike_wheelbase_max": "48 in"}, "fails"),
        ({"load.bike_wheelbase": "48 in", "accessory.bike_wheelbase_max": "48 in"}, "works"),
        ({"load.bike_frame": "carbon", "accessory.bikes_held_by": "frame"}, "fails"),
        ({"load.bike_frame": "step_through", "accessory.bikes_held_by": "frame"}, "fails"),
        ({"load.bike_frame": "barred", "accessory.bikes_held_by": "frame"}, "works"),
        ({"load.bike_frame": None, "accessory.bikes_held_by": "frame"}, "conditional"),
        ({"load.bike_frame": "carbon", "accessory.bikes_held_by": None}, "undetermined"),
        ({"load.bike_frame": "carbon", "accessory.bikes_held_by": "wheels"}, "works"),
        ({"load.bike_frame": "closed", "accessory.bikes_held_by": "frame"}, "works"),
    ],
)
def test_each_bike_has_to_suit_the_carrier(changed: dict[str, Any], outcome: str) -> None:
    """The carrier takes 40 lb of each: the heaviest is held to that; tyres, wheelbase and frame where they are told."""
    assert answer({**BIKES, **changed}).outcome == outcome


# behind the vehicle


@pytest.mark.parametrize(
    ("changed", "outcome"),
    [
        ({"vehicle.exhaust_outlet": "straight_back"}, "conditional"),
        ({"vehicle.exhaust_outlet": "straight_back", "load.exhaust_distance": "14 in"}, "conditional"),
        ({"vehicle.exhaust_outlet": "straight_back", "load.exhaust_distance": "18 in"}, "works"),
        ({"vehicle.exhaust_outlet": "downward"}, "works"),
        ({"vehicle.exhaust_outlet": "none"}, "works"),
        ({"vehicle.reverse_braking": True}, "conditional"),
        ({"vehicle.reverse_braking": False}, "works"),
        ({"vehicle.rear_camera": True, "vehicle.rear_sensors": True}, "works"),
    ],
)
def test_what_watches_and_what_blows_behind(changed: dict[str, Any], outcome: str) -> None:
    """A rim melted 14 in behind a tailpipe (an owner's account); braking by itself in reverse is a thing to see to."""
    assert answer({**BIKES, **changed}).outcome == outcome


@pytest.mark.parametrize(("fact", "word"), [("rear_camera", "camera looks"), ("rear_sensors", "sensors see")])
def test_camera_and_sensors_are_told_where_they_are(fact: str, word: str) -> None:
    """Only where the vehicle has them, and of what stands behind it."""
    told = " ".join(answer({**BIKES, f"vehicle.{fact}": True}).cautions)
    assert word in told
    assert word not in " ".join(answer({**BIKES, f"vehicle.{fact}": False}).cautions)
    assert word not in " ".join(answer({**TOWED, f"vehicle.{fact}": True}).cautions)


def test_a_motorcycle_is_strapped_down() -> None:
    """A kind of its own: weighed like any carrier, its straps hold half the load, and there are four of them."""
    facts = {"accessory.kind": "motorcycle_carrier", "accessory.weight": "95 lb", "load.cargo_weight": "280 lb"}
    assert "tie-downs" in open_needs(facts)
    assert any("four straps" in text for text in answer(facts).cautions)
    assert "tie-downs" not in open_needs({**facts, "load.tie_down_limit": "140 lb"})
    assert result("hanging-weight", {**facts, "receiver.tongue_rating": "374 lb"}) == "fails"
    assert result("closure-opens-past-folded", {**facts, "load.needs_closure_open": True}) == "undetermined"


# wiring jobs

JOB: Facts = {"trailer.plug": "flat_4", "trailer.brakes": "none", "vehicle.socket": "none"}


@pytest.mark.parametrize(
    ("changed", "needs"),
    [
        ({"vehicle.turn_signals_apart": False, "vehicle.lamps_monitored": False}, {"trailer-socket"}),
        ({"vehicle.turn_signals_apart": True}, {"trailer-socket", "powered-converter"}),
        ({"vehicle.lamps_monitored": True}, {"trailer-socket", "powered-converter"}),
        ({"vehicle.turn_signals_apart": True, "vehicle.factory_connector": True}, {"trailer-socket"}),
        ({}, {"trailer-socket", "powered-converter"}),
        ({"vehicle.socket": "flat_4"}, set()),
        ({"vehicle.socket": None}, set()),
        ({"trailer.plug": "blade_7", "trailer.brakes": "electric", "vehicle.socket": "flat_4"}, {"brake-circuit"}),
    ],
)
def test_a_wiring_job_is_told_by_what_it_takes(changed: dict[str, Any], needs: set[str]) -> None:
    """No socket: a harness, with a converter where lamps are apart or watched; and told once, as what is needed."""
    facts = {**JOB, **changed}
    assert open_needs(facts) & {"trailer-socket", "powered-converter", "brake-circuit"} == needs
    if facts["vehicle.socket"] == "none":
        assert result("trailer-plug-fits-socket", facts) == "not_applicable"


def test_four_to_seven_wants_its_brake_lead() -> None:
    """An adapter from 4-way to 7-way gives a brake circuit only by a lead of its own."""
    facts = {**JOB, "trailer.plug": "blade_7", "trailer.brakes": "electric", "vehicle.socket": "flat_4"}
    (need,) = (one for one in answer(facts).needs if one["need"] == "brake_circuit")
    assert "brake lead" in str(need["because"])
    assert result("trailer-plug-fits-socket", facts) == "fails"


@pytest.mark.parametrize(("watched", "expected"), [(True, "fails"), (False, "passes"), (None, "undetermined")])
def test_led_lamps_and_a_watching_computer(watched: bool | None, expected: str) -> None:
    """LED lamps draw too little for a computer that watches bulbs."""
    facts = {**JOB, "trailer.led_lamps": True, "vehicle.lamps_monitored": watched}
    assert result("led-lamps-and-computer", facts) == expected
    assert result("led-lamps-and-computer", {**facts, "trailer.led_lamps": None}) == "not_applicable"


# winches, bars and sway


@pytest.mark.parametrize(("rating", "expected"), [("9500 lb", "passes"), ("9499 lb", "fails"), (None, "undetermined")])
def test_a_winch_is_held_to_a_rating_for_its_pull(rating: str | None, expected: str) -> None:
    """A trailer rating says nothing of a recovery pull."""
    facts = {
        "accessory.kind": "winch_mount",
        "accessory.line_pull": "9500 lb",
        "receiver.recovery_rating": rating,
        "receiver.trailer_rating": "12000 lb",
    }
    assert result("line-pull-within-rating", facts) == expected


PULLED: Facts = {
    **{name: wire for name, wire in CARRIER.items() if not name.startswith("accessory.")},
    "accessory.pin": "5/8 in",
    "accessory.kind": "recovery_shackle",
    "accessory.shank": "2 in",
    "accessory.weight": "12 lb",
    "accessory.min_class": "none",
    "accessory.front_setback": "6 in",
    "accessory.lowest_drop": "3 in",
    "accessory.top_height": "1 in",
    "accessory.line_pull": "9000 lb",
    "accessory.capacity": "10000 lb",
    "receiver.recovery_allowed": True,
    "receiver.recovery_rating": "12000 lb",
}
"""A shackle in a receiver that its maker rates for more than is to be pulled: a plain yes."""
ON_A_BUMPER: Facts = {
    "receiver.place": "bumper",
    "accessory.allowed_on_bumper": True,
    "vehicle.bumper_tongue_rating": "350 lb",
    "vehicle.bumper_trailer_rating": "9000 lb",
}


@pytest.mark.parametrize(
    ("changed", "rule", "outcome"),
    [
        ({}, None, "works"),
        (ON_A_BUMPER, "no-recovery-from-a-bumper", "fails"),
        ({"receiver.place": "step_bumper"}, "no-recovery-from-a-bumper", "fails"),
        ({"receiver.place": "frame"}, None, "works"),
        ({"receiver.recovery_rating": None}, "recovery-rating-is-told", "undetermined"),
        ({"accessory.line_pull": None}, "line-pull-within-rating", "undetermined"),
        ({"accessory.capacity": None}, "gear-bears-the-pull", "undetermined"),
        ({"accessory.capacity": "8999 lb"}, "gear-bears-the-pull", "fails"),
        ({"receiver.recovery_rating": None, "accessory.line_pull": None}, "recovery-rating-is-told", "undetermined"),
        ({"receiver.recovery_allowed": None}, "rated-for-recovery", "undetermined"),
        ({"receiver.recovery_allowed": False}, "rated-for-recovery", "fails"),
        ({"receiver.recovery_allowed": False, "receiver.recovery_rating": None}, "rated-for-recovery", "fails"),
    ],
)
@pytest.mark.parametrize("kind", ["recovery_shackle", "winch_mount"])
def test_a_recovery_pull_wants_frame_word_and_figure(
    kind: str, changed: dict[str, Any], rule: str | None, outcome: str
) -> None:
    """Never from a bumper nor against the maker's word, whatever figure is told; and never a yes without a figure."""
    found = answer({**PULLED, "accessory.kind": kind, "accessory.rear_extent": "10 in", **changed})
    told = {one.rule for one in found.findings if one.result != "passes"}
    assert (found.outcome, rule is None or rule in told) == (outcome, True)
    if outcome == "fails":
        assert found.next == [], "no figure to find out would make it work"


def test_rating_and_pull_are_both_asked_for() -> None:
    """The maker's word that recovery is allowed is no figure."""
    found = answer({**PULLED, "receiver.recovery_rating": None, "accessory.line_pull": None})
    assert {step.fact for step in found.next} == {"receiver.recovery_rating", "accessory.line_pull"}


@pytest.mark.parametrize("kind", ["ball_mount", "pintle_mount", "cargo_carrier", "step", "locking_pin"])
def test_nothing_is_pulled_by_what_is_not_made_for_it(kind: str) -> None:
    """A ball that a strap is hung on breaks and flies, in a receiver that allows recovery as well."""
    facts = {**PULLED, "accessory.kind": kind}
    assert result("pulled-by-recovery-gear-only", facts) == "fails"
    assert result("pulled-by-recovery-gear-only", {**facts, "accessory.line_pull": None}) == "not_applicable"


@pytest.mark.parametrize(
    ("facts", "told", "rule", "outcome"),
    [
        (PULLED, {"accessory.obscures_lamps": True}, "lamp-board", "conditional"),
        (PULLED, {"accessory.obscures_plate": True}, "plate-in-sight", "conditional"),
        (TOWED, {"accessory.obscures_plate": True}, "plate-in-sight", "conditional"),
        (TOWED, {"accessory.approved_behind_motorhome": False}, "approved-behind-motorhome", "fails"),
        (TOWED, {**ON_A_BUMPER, "accessory.allowed_on_bumper": False}, "allowed-on-a-bumper", "fails"),
        (TOWED, {"trailer.ring_diameter": "3 in"}, "one-coupling", "undetermined"),
        (
            TOWED,
            {"trailer.ring_diameter": "3 in", "trailer.coupler_kind": "ball_coupler"},
            "coupling-agrees-with-its-kind",
            "conditional",
        ),
    ],
)
def test_what_is_told_of_a_kind_is_heeded_though_it_is_not_asked(
    facts: Facts, told: Facts, rule: str, outcome: str
) -> None:
    """A maker's no, hidden lamps or a hidden plate, a second coupling: not asked for, and no yes where told."""
    if rule == "approved-behind-motorhome":
        facts = {**facts, "vehicle.body": "motorhome"}
    untold = {name: wire for name, wire in told.items() if name.startswith(("receiver.", "vehicle."))}
    assert rule not in {one.rule for one in answer({**facts, **untold}).findings if one.result != "passes"}
    found = answer({**facts, **told})
    seen = {*(one.rule for one in found.findings if one.result != "passes"), *open_needs({**facts, **told})}
    assert (found.outcome, rule in seen) == (outcome, True)


@pytest.mark.parametrize("place", [None, "frame", "bumper", "front"])
@pytest.mark.parametrize("facts", [TOWED, BIKES])
def test_what_hangs_on_the_front_receiver_is_judged_there(facts: Facts, place: str | None) -> None:
    """A receiver at the front is bolted to the frame as well: said so, it is one at the front still."""
    told = {"beside.hangs_on": "front_receiver", "beside.things": 0, "accessory.allowed_at_front": False}
    there = {**facts, **told, "receiver.place": place}
    assert answer(there).outcome == "fails"
    wanted = "nothing-towed-at-the-front" if facts is TOWED else "allowed-at-the-front"
    assert result(wanted, there) == "fails"
    agrees = {"frame": "fails", "bumper": "fails", "front": "passes", None: "not_applicable"}[place]
    assert result("hangs-where-its-receiver-is", there) == agrees


AT_FRONT: Facts = {
    **CARRIER,
    "accessory.kind": "motorcycle_carrier",
    "accessory.capacity": "500 lb",
    "load.cargo_weight": "250 lb",
    "load.tie_down_limit": "1200 lb",
    "load.occupants_weight": "300 lb",
    "receiver.place": "front",
    "vehicle.gawr_front": "4000 lb",
    "accessory.rear_extent": "30 in",
    "accessory.allowed_at_front": True,
    "accessory.obscures_headlamps": False,
}


@pytest.mark.parametrize(
    ("changed", "outcome"),
    [
        ({}, "conditional"),
        ({"accessory.allowed_at_front": None}, "undetermined"),
        ({"accessory.allowed_at_front": False}, "fails"),
        ({"accessory.obscures_headlamps": None}, "conditional"),
        ({"accessory.obscures_headlamps": True}, "fails"),
    ],
)
@pytest.mark.parametrize("kind", ["motorcycle_carrier", "enclosed_carrier", "cargo_carrier", "mobility_carrier"])
def test_a_carrier_at_the_front_is_never_a_plain_yes(kind: str, changed: dict[str, Any], outcome: str) -> None:
    """It wants its maker's word, the headlamps free, and somebody who sees to view and cooling."""
    facts = {**AT_FRONT, "accessory.kind": kind, **changed}
    assert (answer(facts).outcome, "front-seen-to" in open_needs(facts)) == (outcome, True)


@pytest.mark.parametrize(
    ("place", "each", "outcome"),
    [
        ("texas", "1000 lb", "fails"),
        ("texas", "1700 lb", "conditional"),
        ("texas", None, "conditional"),
        ("new_zealand", "1000 lb", "conditional"),
        ("new_hampshire", "3399 lb", "fails"),
        ("interstate_commerce", "1700 lb", "conditional"),
        ("interstate_commerce", "1699 lb", "fails"),
    ],
)
def test_chains_too_weak_by_every_rule_are_a_no(place: str, each: str | None, outcome: str) -> None:
    """Two behind 3,400 lb: FMCSA guidance counts them together, RSA 266:63 each; New Zealand asks from 2,000 kg on."""
    assert answer({**TOWED, "load.jurisdiction": place, "trailer.chain_rating_each": each}).outcome == outcome


@pytest.mark.parametrize("coupler", ["gooseneck_coupler", "fifth_wheel_pin"])
def test_what_couples_in_the_bed_is_told_so_first(coupler: str) -> None:
    """No ball behind the vehicle is asked for, and no loading by 10 to 15 %."""
    heavy = {**TOWED, "trailer.coupler_kind": coupler, "trailer.gross_weight": "12000 lb"}
    facts = {name: heavy[name] for name in heavy if not name.startswith(("ball.", "trailer.tongue"))}
    assert answer(facts).findings[0].rule == "no-receiver-takes-a-gooseneck"
    assert not {"ball", "load-the-tongue", "load-the-tongue-to-its-rating"} & set(open_needs(facts))


@pytest.mark.parametrize(
    ("gross", "needs"),
    [
        ("4999 lb", {"load-the-tongue"}),
        ("5000 lb", {"load-the-tongue-to-its-rating"}),
        ("5001 lb", set()),
        ("0 lb", set()),
        (None, {"load-the-tongue"}),
    ],
)
def test_a_tongue_is_loaded_between_two_figures_or_to_one(gross: str | None, needs: set[str]) -> None:
    """Under a rating of 500 lb: no range that is empty, and where a tenth is all that may rest there, one figure."""
    facts = {"trailer.gross_weight": gross, "trailer.coupler": "2 in", "receiver.tongue_rating": "500 lb"}
    assert {need for need in open_needs(facts) if need.startswith("load-the-tongue")} == needs


@pytest.mark.parametrize(("tongue", "expected"), [("600 lb", "passes"), ("599 lb", "fails")])
def test_spring_bars_have_a_lower_end(tongue: str, expected: str) -> None:
    """Bars of 600 to 1,000 lb under a light tongue ride hard."""
    facts = {
        "accessory.kind": "weight_distribution_head",
        "accessory.spring_bars_least": "600 lb",
        "trailer.tongue_weight": tongue,
        "trailer.weight_distribution": True,
    }
    assert result("spring-bars-not-too-stiff", facts) == expected


@pytest.mark.parametrize(
    ("body", "sway", "expected"),
    [
        ("camping", True, "passes"),
        ("camping", False, "fails"),
        ("camping", None, "undetermined"),
        ("utility", False, "not_applicable"),
        (None, None, "undetermined"),
    ],
)
def test_a_heavy_camper_wants_sway_control(body: str | None, sway: bool | None, expected: str) -> None:
    """Over 4,000 lb, by makers' trailering pages (secondary); a utility trailer is not asked about it."""
    facts = {"trailer.body": body, "trailer.sway_control": sway, "trailer.gross_weight": "5000 lb"}
    assert result("camper-has-sway-control", facts) == expected
