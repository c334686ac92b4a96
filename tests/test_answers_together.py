"""Several things on one rig: each alone and all at once, weights summed by hand, and nothing works by an omission.

The sums are arithmetic on the figures of the question; that they are held against the receiver's and the dual
receiver's ratings is what their labels say, and common practice (no source).
"""

import re
from collections.abc import Iterator, Sequence
from copy import deepcopy
from itertools import permutations
from random import Random
from typing import Any

import pytest
from demo_world import World, answerer, world
from effort import EFFORT
from several import BIKES, DUAL, MOUNT, Part, asked, bikes, boat, rig, step, towbar

from fitsvc.answers import answering
from fitsvc.answers.answer import Answer, Spoiler, ThingAnswer
from fitsvc.answers.next_steps import next_steps
from fitsvc.answers.question import read_question
from fitsvc.answers.records import NoRecords, Stored
from fitsvc.answers.things import MOST_THINGS, read_things
from fitsvc.answers.together import MOST_TOGETHER, held_by_itself
from fitsvc.answers.trying import MOST_WORK
from fitsvc.drawing.several_view import several_view
from fitsvc.engine.verdict import Verdict
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.language.types import ListType
from fitsvc.rulebook.outcomes import OUTCOMES, Outcome

WEIGHT = "weight-on-one-receiver/opening.tongue_rating"


def answer(things: Sequence[Part], on: Part | None = None, **load: Any) -> Answer:
    """Answer about several things at once."""
    return answerer().answer(asked(things, on, **load))


def spoiler(found: Answer, rule: str) -> Spoiler | None:
    """Give what an answer says of a rule that stands against all at once."""
    return next((one for one in found.spoils if one.rule == rule), None)


def result(found: Answer, rule: str) -> str:
    """Give what a rule came to over all the things."""
    return next((one.result for one in found.findings if one.rule == rule), "not_applicable")


def problems(document: Part) -> list[Problem]:
    """Give what is wrong with a question."""
    with pytest.raises(ProblemsFound) as refused:
        answerer().answer(document)
    return list(refused.value.problems)


# sums by hand


def test_a_carrier_and_a_trailer_share_the_label_of_a_dual_receiver() -> None:
    """50 lb + 4 x 35 lb + 300 lb come to 490 lb, and the mount to 10 more: not on a label of 350 lb."""
    found = answer([bikes(), boat()])
    assert found.outcome == "fails" and found.summary.startswith("No, not together.")
    spoils = spoiler(found, WEIGHT)
    assert spoils and (spoils.result, spoils.between) == ("fails", ["bikes", "boat"])
    assert "500 lb" in spoils.reason and "350 lb: 150 lb too much" in spoils.reason
    assert all(one.alone != "fails" and one.answer.outcome == "fails" for one in found.together)


ALLOWED: Part = {"extension_allowed": True}
BY_LABEL: Part = {"bikes_max": 2, "bike_weight_max": "80 lb", **ALLOWED}


def unloaded(**facts: Any) -> Part:
    """A carrier for which no load is named."""
    return {**bikes(**BY_LABEL, **facts), "load": None}


def box() -> Part:
    """A carrier for goods, as the bike carrier in all else."""
    told = {name: value for name, value in BIKES.items() if name != "bikes_held_by"}
    return {**bikes(), "accessory": {"facts": {**told, **ALLOWED, "kind": "cargo_carrier"}}, "load": None}


@pytest.mark.parametrize("rack", [unloaded(), box()], ids=["bikes", "goods"])
@pytest.mark.parametrize(("tongue", "most"), [("130 lb", "160 lb"), ("131 lb", "159 lb"), ("200 lb", "90 lb")])
def test_with_no_load_named_it_is_told_how_much_it_may_be(rack: Part, tongue: str, most: str) -> None:
    """Of 350 lb a rack of 50 lb, a mount of 10 lb and 200 lb of tongue leave 90 lb; its own label allows 160 lb."""
    found = answer([rack, boat({**MOUNT, **ALLOWED}, gross_weight="1300 lb", tongue_weight=tongue)])
    told, trailer = (one.answer for one in found.together)
    assert result(found, WEIGHT) == "passes"
    assert told.allowance and (told.allowance.at_most, told.allowance.whole) == (most, most == "160 lb")
    assert result(found, "labels-borne-together") == ("passes" if most == "160 lb" else "fails")
    said = [one.told for one in trailer.to_see_to if "Say what is to be carried" in one.told]
    if most != "160 lb":
        assert told.outcome == "conditional" and said
        assert f"with at most {most} on it" in told.summary


AHEAD: Part = {**BIKES, **ALLOWED, "kind": "cargo_carrier", "allowed_at_front": True, "obscures_headlamps": False}


def box_ahead(**facts: Any) -> Part:
    """A carrier for goods in front, for which no load is named."""
    return {**front(), "accessory": {"facts": {**AHEAD, **facts}}, "load": None}


def may_carry(found: Answer) -> list[str]:
    """What each thing may carry, as far as that is told."""
    return [one.answer.allowance.at_most if one.answer.allowance else "" for one in found.together]


@pytest.mark.parametrize(
    ("payload", "most", "more"),
    [
        # Two carriers of 50 lb and a driver leave 320 lb, 160 lb on each, as their labels allow.
        ("570 lb", ["160 lb", "160 lb"], ""),
        ("569 lb", ["159 lb", "159 lb"], "160 lb"),
        ("411 lb", ["1 lb", "1 lb"], "160 lb"),
        ("275 lb", ["0 lb", "0 lb"], "25 lb"),
    ],
)
def test_front_and_rear_with_no_load_named_share_the_payload(payload: str, most: list[str], more: str) -> None:
    """What is told of one holds with all on the other that its label allows, and with it what holds with nothing."""
    vehicle = rig(DUAL, placard_capacity=payload, gawr_front="6000 lb", gawr_rear="6000 lb")
    found = answer([unloaded(), box_ahead()], vehicle)
    assert found.outcome == "conditional" and may_carry(found) == most
    assert re.search(r"This holds for the bikes with .+; the box with .+\.$", found.summary)
    allowances = [one.answer.allowance for one in found.together]
    said = f"or at most {more} with nothing on the rest"
    assert all(one is not None and (said in one.told) == bool(more) for one in allowances)


def test_what_the_load_in_front_alone_breaks_holds_down_no_load_behind() -> None:
    """Of 2480 lb the front axle bears 2300, a driver of 150 and 20 lb by the lever of 1.5, of which the box weighs 10.

    With the 400 lb of its own label the axle fails, however little is behind, which puts nothing on it.
    """
    vehicle = rig(DUAL, placard_capacity="1500 lb", gawr_front="2480 lb", gawr_rear="6000 lb")
    found = answer([unloaded(), box_ahead(weight="10 lb", capacity="400 lb")], vehicle)
    assert may_carry(found) == ["160 lb", "10 lb"]


@pytest.mark.parametrize(
    ("trailer", "vehicle", "most"),
    [
        # A rack of 50 lb on a trailer of 1,900 lb: what is left to its own GVWR, and to what the vehicle may pull.
        ({"gvwr": "2000 lb"}, {}, "50 lb"),
        ({"gvwr": "5000 lb"}, {"tow_rating": "2010 lb"}, "60 lb"),
        ({"gvwr": "5000 lb", "brakes": "none"}, {"tow_rating_unbraked": "2020 lb"}, "70 lb"),
    ],
)
def test_a_rack_on_a_trailer_may_carry_what_all_that_pulls_it_bears(trailer: Part, vehicle: Part, most: str) -> None:
    """The trailer's label and the vehicle's ratings count; where the load alone is open, it is asked for."""
    told = {
        "gross_weight": "1900 lb",
        "tongue_weight": "330 lb",
        "weighed_with_all": False,
        "breakaway": True,
        **trailer,
    }
    ball = {
        "diameter": "2 in",
        "rating": "6000 lb",
        "shank_diameter": "1 in",
        "shank_length": "2-1/2 in",
        "bushed": False,
    }
    mount = {**MOUNT, "ball_hole": "1 in", "platform_thickness": "3/4 in", "pin_span": "4 in", "min_class": "none"}
    towed = {**boat(mount, **{"brakes": "electric", **told}), "ball": {"facts": ball}}
    rack = {**rack_on_trailer(), "accessory": {"facts": {**BIKES, **BY_LABEL}}, "load": None}
    on = rig(brake_controller=True, **vehicle)
    found = answer([towed, rack], on, occupants_weight="300 lb")
    assert found.outcome == "undetermined" and may_carry(found) == ["", most]
    assert f"Say what is to be carried: the rack with at most {most}" in found.summary
    assert {"load.bikes", "load.bike_weight"} <= {one.fact for one in found.together[1].answer.next}
    for weight in (most, f"{int(most.split(maxsplit=1)[0]) + 1} lb"):
        load = {"facts": {"bikes": 1, "bike_weight": weight}}
        assert (answer([towed, {**rack, "load": load}], on).outcome == "fails") == (weight != most)


def test_with_no_load_named_what_is_too_much_anyway_is_a_no() -> None:
    """A rack of 50 lb and a mount of 10 lb leave 290 lb of 350 lb for the tongue, with nothing on the rack."""
    for tongue, told in {"290 lb": "passes", "291 lb": "fails"}.items():
        assert result(answer([unloaded(), boat(gross_weight="2900 lb", tongue_weight=tongue)]), WEIGHT) == told


def test_two_carriers_with_no_load_named_share_what_is_left() -> None:
    """Of 350 lb two racks of 50 lb leave 250 lb: 90 lb on one with 160 lb on the other, and never 160 lb on each."""
    found = answer([unloaded(), unloaded()])
    assert result(found, "labels-borne-together") == "fails"
    assert [one.answer.allowance and one.answer.allowance.at_most for one in found.together] == ["90 lb", "90 lb"]


def test_whom_a_steps_label_takes_counts_beside_a_trailer() -> None:
    """Of 350 lb a step of 20 lb, a mount of 10 lb and 100 lb of tongue leave 220 lb, not the 300 lb of its label."""
    found = answer([step(**ALLOWED), boat(gross_weight="1000 lb", tongue_weight="100 lb")])
    assert result(found, "labels-borne-together") == "fails"
    allowance = found.together[0].answer.allowance
    assert allowance and allowance.at_most == "220 lb"


def test_it_is_said_first_what_can_be_asked() -> None:
    """The mount that nobody has weighed is asked for, and not the sum that it leaves open for the rack."""
    ball = {"diameter": "2 in", "rating": "6000 lb", "shank_diameter": "1 in", "bushed": False}
    light = {**MOUNT, **ALLOWED, "ball_hole": "1 in"}
    del light["weight"]
    trailer = boat(light, gross_weight="1000 lb", tongue_weight="100 lb") | {"ball": {"facts": ball}}
    found = answer([bikes(1, **BY_LABEL), trailer], occupants_weight="150 lb")
    rack, mount = (one.answer for one in found.together)
    assert rack.outcome == mount.outcome == "undetermined"
    assert "the accessory's own weight" in found.summary and found.summary.startswith("The boat: ")


def test_a_mount_nobody_has_weighed_does_not_save_it() -> None:
    """490 lb are too much whatever the mount weighs."""
    light = {name: value for name, value in MOUNT.items() if name != "weight"}
    assert result(answer([bikes(), boat(light)]), WEIGHT) == "fails"


@pytest.mark.parametrize(("tongue", "told"), [("150 lb", "passes"), ("151 lb", "fails")])
def test_the_sum_is_held_to_the_pound(tongue: str, told: str) -> None:
    """190 lb of bikes and a mount of 10 lb leave 150 lb for the tongue."""
    found = answer([bikes(), boat(gross_weight="1500 lb", tongue_weight=tongue)])
    assert result(found, WEIGHT) == told


@pytest.mark.parametrize(
    ("sum_of", "rule", "passes", "fails"),
    [
        ("500 lb on the vehicle's tongue rating", "weight-on-one-receiver/together.vehicle_rating", "500 lb", "499 lb"),
        ("4500 + 500 + 700 lb", "all-within-payload", "5700 lb", "5699 lb"),
        ("4500 + 700 + 190 + 10 + 2500 lb", "combination-with-all", "7900 lb", "7899 lb"),
    ],
)
def test_each_rating_of_the_vehicle_bears_all_of_it(sum_of: str, rule: str, passes: str, fails: str) -> None:
    """190 lb of bikes, 310 lb of mount and tongue and 700 lb of people, against what the vehicle is rated for."""
    fact = {"all-within-payload": "gvwr", "combination-with-all": "gcwr"}.get(rule, "tongue_rating")
    for figure, told in ((passes, "passes"), (fails, "fails")):
        found = answer([bikes(), boat()], rig(DUAL, **{fact: figure}), occupants_weight="700 lb")
        assert result(found, rule) == told, sum_of


@pytest.mark.parametrize(("gawr", "told"), [("3612 lb", "passes"), ("3611 lb", "undetermined"), ("2911 lb", "fails")])
def test_the_rear_axle_bears_all_of_it_by_its_leverage(gawr: str, told: str) -> None:
    """Bikes 40 - 4 + 1 + 20 = 57 in and ball 47 in behind the axle of a 120 in wheelbase (moments, statics).

    190 x 177/120 + 310 x 167/120 = 280.25 + 431.42 = 711.67 lb, with 2200 lb empty and none to all of 700 lb of
    people 2911.67 to 3611.67 lb.
    """
    found = answer([bikes(), boat()], rig(DUAL, gawr_rear=gawr), occupants_weight="700 lb")
    assert result(found, "rear-axle-with-all") == told


def test_bare_receivers_take_one_shank() -> None:
    """Two things in one opening is no, whatever they weigh, and yes in that respect with a dual receiver."""
    assert result(answer([step(), boat()], rig()), "an-opening-for-each") == "fails"
    assert result(answer([step(), boat()]), "an-opening-for-each") == "passes"
    assert result(answer([step(), boat(), bikes()]), "an-opening-for-each") == "fails"


def test_a_step_left_in_beside_a_trailer() -> None:
    """Its 20 lb count beside the tongue's 300 and the mount's 10, and who stands on it does too."""
    assert result(answer([step(), boat()]), WEIGHT) == "passes"
    standing = {**step(), "load": {"facts": {"person_weight": "20 lb"}}}
    assert result(answer([standing, boat()]), WEIGHT) == "passes"
    standing = {**step(), "load": {"facts": {"person_weight": "21 lb"}}}
    assert result(answer([standing, boat()]), WEIGHT) == "fails"
    assert result(answer([step(), boat()]), "labels-borne-together") == "fails", "not by everyone"


def test_one_pin_holds_one_of_them() -> None:
    """The pin that comes with the receiver is counted once: of two without a pin of their own, one more is wanted."""
    rule = "another_hitch_pin"
    for own, wanted in ((True, False), (False, True)):
        found = answer([step(pin_supplied=False), bikes(pin_supplied=own)])
        assert (rule in {need["need"] for one in found.together for need in one.answer.needs}) == wanted
        assert (rule in {need["need"] for need in found.needs}) == wanted


def test_one_socket_and_one_trailer() -> None:
    """A carrier's lamps and the trailer's plug want one socket; two trailers are never towed at once."""
    assert result(answer([bikes(plug="flat_4"), boat()]), "one-plug-in-the-socket") == "fails"
    assert result(answer([bikes(), boat()]), "one-plug-in-the-socket") == "passes"
    assert result(answer([boat(), {**boat(), "name": "other"}]), "one-trailer") == "fails"


def test_what_stands_in_whose_way_is_looked_at_in_place() -> None:
    """The carrier's underside is 22 in up: a jack of 21 in goes under it and one of 23 in does not."""
    for jack, told in (("21 in", "passes"), ("23 in", "fails")):
        found = answer([bikes(), boat(jack_height=jack, jack_behind_ball="12 in", jack_width="8 in")])
        assert result(found, "jack-under-what-hangs-above") == told
    for drawbar, told in (("37 in", "passes"), ("36 in", "fails")):
        found = answer([bikes(), boat(drawbar_length=drawbar)])
        assert result(found, "trailer-behind-what-hangs-above") == told


# other receivers


def rack_on_trailer(weight: str = "50 lb") -> Part:
    """Give a rack on the trailer's own receiver, with two bikes of 25 lb."""
    own = {"receiver": {"facts": {"opening": "2 in", "tongue_rating": "200 lb"}}, "vehicle": {"facts": {}}}
    accessory = {"facts": {**BIKES, "weight": weight}}
    load = {"facts": {"bikes": 2, "bike_weight": "25 lb"}}
    return {"name": "rack", "hangs_on": "trailer", "rig": own, "accessory": accessory, "load": load}


def test_a_rack_on_the_trailer_counts_with_the_trailer() -> None:
    """100 lb on a trailer of 3,400 lb may be in its weight already or not; 3,500 lb of rating bear it either way."""
    rule = "trailer-with-what-hangs-on-it/towing.opening_trailer_rating"
    for gross, told in (("3400 lb", "passes"), ("3401 lb", "undetermined"), ("3501 lb", "fails")):
        assert result(answer([boat(gross_weight=gross), rack_on_trailer()]), rule) == told
    found = answer([boat(gross_weight="3400 lb"), rack_on_trailer()])
    assert result(found, "tongue-with-what-hangs-on-the-trailer") == "fails"
    assert result(found, WEIGHT) == "not_applicable"


def test_whether_a_trailer_was_weighed_with_its_rack_is_asked_for_where_it_decides() -> None:
    """3,401 lb with a rack of 100 lb on 3,500 lb: a no beside it, and no stop where the rack was on the scale."""
    rule = "trailer-with-what-hangs-on-it/towing.opening_trailer_rating"
    open_ = answer([boat(gross_weight="3401 lb"), rack_on_trailer()])
    asked = {step.fact: step for each in open_.together for step in each.answer.next}["trailer.weighed_with_all"]
    assert (asked.ask, asked.fails_if) == ("ask", "no")
    for weighed, told in ((True, "passes"), (False, "fails")):
        of = answer([boat(gross_weight="3401 lb", weighed_with_all=weighed), rack_on_trailer()])
        assert result(of, rule) == told
    light = answer([boat(gross_weight="3400 lb"), rack_on_trailer()])
    assert "trailer.weighed_with_all" not in {step.fact for each in light.together for step in each.answer.next}


def test_only_what_looks_at_all_else_stands_against_all_at_once() -> None:
    """A rule that asks a rack by itself where it hangs is told in its own answer alone."""
    found = answer([boat(), rack_on_trailer()])
    own = {one.rule for one in found.together[1].answer.findings if one.result != "passes"}
    assert "approved-behind-trailer" in own and spoiler(found, "approved-behind-trailer") is None
    assert spoiler(found, "tongue-with-what-hangs-on-the-trailer")


def test_what_hangs_on_the_trailer_is_no_payload_of_the_vehicle() -> None:
    """The tongue's 300 lb, the mount's 10 and the driver's 150: 460 lb of payload are enough, the rack apart."""
    for gvwr, told in (("4960 lb", "passes"), ("4959 lb", "fails")):
        assert result(answer([boat(), rack_on_trailer()], rig(DUAL, gvwr=gvwr)), "all-within-payload") == told


def test_the_trailers_rack_may_be_in_the_combination_already() -> None:
    """4,500 + 150 + 10 + 2,500 lb, and between none and all of the rack's 100 lb."""
    for gcwr, told in (("7260 lb", "passes"), ("7259 lb", "undetermined"), ("7159 lb", "fails")):
        assert result(answer([boat(), rack_on_trailer()], rig(DUAL, gcwr=gcwr)), "combination-with-all") == told


def front(weight: str = "100 lb") -> Part:
    """Give a cargo carrier in a front receiver of the same vehicle, with 100 lb on it."""
    own = rig()
    facts = {**BIKES, "kind": "cargo_carrier", "weight": weight}
    load = {"facts": {"cargo_weight": "100 lb"}}
    return {"name": "box", "hangs_on": "front_receiver", "rig": own, "accessory": {"facts": facts}, "load": load}


@pytest.mark.parametrize("again", [{}, {"vehicle": {"facts": {"body": "suv", "gvwr": None}}}, {"vehicle": {}}])
def test_the_vehicle_told_for_all_is_that_of_a_receiver_told_alone(again: Part) -> None:
    """Whatever hangs on the vehicle is on one: what a front thing's own rig does not tell of it, as told for all."""
    alone = front()
    alone["rig"] = {part: told for part, told in alone["rig"].items() if part != "vehicle"} | again
    for gvwr, told in (("5160 lb", "passes"), ("5159 lb", "fails")):
        assert result(answer([boat(), alone], rig(DUAL, gvwr=gvwr)), "all-within-payload") == told
    document = {"rig": rig(DUAL), "together": [boat(), alone]}
    for one in read_things(document, answerer().reader, NoRecords()):
        assert {f"vehicle.{name}" for name in rig(DUAL)["vehicle"]["facts"]} <= one.question.case.facts.keys()


def test_front_and_rear_share_the_payload_and_no_receiver() -> None:
    """200 lb in front and 310 behind, a driver of 150: 660 lb of payload; the rear label is the rear's alone."""
    for gvwr, told in (("5160 lb", "passes"), ("5159 lb", "fails")):
        found = answer([boat(), front()], rig(DUAL, gvwr=gvwr))
        assert result(found, "all-within-payload") == told
        assert result(found, WEIGHT) == "not_applicable"


def test_the_front_axle_bears_what_hangs_in_front() -> None:
    """200 lb in front weigh on the front axle once to one and a half times: 2,300 + 150 + 200..300 (estimate)."""
    for gawr, told in (("2750 lb", "passes"), ("2749 lb", "undetermined"), ("2499 lb", "fails")):
        found = answer([boat(), front()], rig(DUAL, gawr_front=gawr))
        assert result(found, "front-axle-under-what-hangs-in-front") == told


# what all of them come to


def test_the_summary_counts_what_is_to_be_seen_to_of_all() -> None:
    """Of several things each with something to see to, the sentence counts all of it, and not that of the first."""
    mount = {**MOUNT, "ball_hole": "1 in", "platform_thickness": "3/4 in", "extension_allowed": True}
    cart = boat(mount, gross_weight="900 lb", tongue_weight="120 lb", chain_rating_each="5000 lb")
    cart["ball"]["facts"] |= {"shank_diameter": "1 in", "shank_length": "2-1/8 in"}
    found = answer(
        [bikes(2, bikes_max=4, bike_weight_max="40 lb", extension_allowed=True), cart],
        rig(DUAL, tow_rating_unbraked="1000 lb"),
    )
    assert found.outcome == "conditional"
    each = [len(one.answer.to_see_to) for one in found.together]
    assert min(each) >= 1 and max(each) < len(found.to_see_to)
    assert found.summary.startswith(f"Only if you see to {len(found.to_see_to)} things. ")


def test_the_jack_that_meets_what_hangs_above_says_at_what_angle() -> None:
    """A jack of 8 in, 12 in behind the ball, that passes a carrier 5 in ahead of the ball: asin and acos by hand."""
    found = answer([bikes(), boat(jack_height="23 in", jack_behind_ball="12 in", jack_width="8 in")])
    told = next(one.reason for one in found.findings if one.rule == "jack-under-what-hangs-above")
    assert "when the vehicle has turned" in told and "against the trailer" in told


# two shanks and a pin


@pytest.mark.parametrize(
    ("above", "told"), [("1 in", "fails"), ("2-3/16 in", "fails"), ("2-1/4 in", "passes"), ("0 in", "not_applicable")]
)
def test_two_shanks_take_no_one_place(above: str, told: str) -> None:
    """Of 2 in openings the one above stands a shank and a wall higher; told at one height, it may be one adapter's."""
    upper = {"rig": {"adapters": [{"facts": {**DUAL, "adds_rise": above}}]}}
    found = answer([{**bikes(2), **upper}, boat(gross_weight="900 lb", tongue_weight="100 lb")])
    assert result(found, "openings-stand-apart") == told
    assert (found.outcome == "fails") == (told == "fails")


def pin(**facts: Any) -> Part:
    """Give a locking pin for the receiver."""
    told = {"kind": "locking_pin", "pin": "5/8 in", "pin_span": "3-1/2 in", **facts}
    return {"name": "pin", "hangs_on": "rear_receiver", "accessory": {"facts": told}}


def test_a_pin_asked_about_with_it_is_the_pin_that_holds_it() -> None:
    """What comes without a pin wants one: a pin among the things is that, of a wrong size it is refused itself."""
    bare = rig()
    bare["receiver"]["facts"] = {**bare["receiver"]["facts"], "pin_supplied": False}
    alone = answer([step(pin_supplied=False), front()], bare)
    assert "hitch_pin" in {need["need"] for need in alone.needs}
    held = answer([step(pin_supplied=False), pin()], bare)
    assert "hitch_pin" not in {need["need"] for need in held.needs}
    assert answer([step(pin_supplied=False), pin(pin="1/2 in")], bare).outcome == "fails"
    out = {**bare, "adapters": [{"facts": {**DUAL, "kind": "extension", "adds_length": "8 in"}}]}
    assert "hitch_pin" in {need["need"] for need in answer([step(pin_supplied=False), pin()], out).needs}


@pytest.mark.parametrize(
    ("outcome", "waits", "held"),
    [
        ("conditional", {"open_needs": [1]}, "works"),
        ("conditional", {"open_needs": [1], "doubts": [1]}, "conditional"),
        ("conditional", {"cautions": [1]}, "conditional"),
        ("undetermined", {"unknown": [1]}, "undetermined"),
        ("fails", {"fails": [1]}, "fails"),
    ],
)
def test_a_part_that_one_lacks_by_itself_holds_up_none(outcome: Outcome, waits: Part, held: Outcome) -> None:
    """What each comes to beside the others tells whether it is lacking still; all else counts by itself too."""
    lists: dict[str, list[int]] = {
        name: [] for name in ("fails", "unknown", "cautions", "doubts", "passes", "open_needs")
    }
    assert held_by_itself(Verdict(outcome, **{**lists, **waits})) == held


def test_one_pin_holds_no_two_things() -> None:
    """Two things without a pin and one pin: a pin for each of them is still a part to have."""
    bare = rig()
    bare["receiver"]["facts"] = {**bare["receiver"]["facts"], "pin_supplied": False}
    found = answer([step(pin_supplied=False), step(pin_supplied=False), pin()], bare)
    assert "another_hitch_pin" in {need["need"] for one in found.together for need in one.answer.needs}


# a ball that no mount holds


def boat_alone(**facts: Any) -> Part:
    """Give the trailer with the ball it goes on, and no mount."""
    ball = {"diameter": "2 in", "rating": "6000 lb", "shank_diameter": "1 in", "shank_length": "2-1/8 in"}
    named = {name: part for name, part in boat(**facts).items() if name not in ("accessory", "ball")}
    return {**named, "ball": {"facts": ball}}


@pytest.mark.parametrize("place", ["towball", "step_bumper"])
def test_a_trailer_on_a_ball_in_place_is_one_of_several_things(place: str) -> None:
    """200 lb in front, 300 on the ball and a driver of 150: 650 lb of payload; no mount is asked for, none counts."""
    for gvwr, told in (("5150 lb", "passes"), ("5149 lb", "fails")):
        own = towbar(place)
        own["vehicle"]["facts"]["gvwr"] = gvwr
        found = answer([boat_alone(), front()], own)
        assert result(found, "all-within-payload") == told
        assert (found.outcome == "fails") == (told == "fails")
        assert "towing_mount" not in {need["need"] for need in found.needs}
        assert [one.name for one in found.together] == ["boat", "box"]


def test_a_trailer_on_a_ball_in_place_is_judged_as_by_itself() -> None:
    """By itself it comes to what it comes to alone, and what hangs in its own place is refused."""
    own, part = towbar(), boat_alone()
    plain = {"rig": own, "trailer": part["trailer"], "ball": part["ball"]}
    for facts in ({}, {"tongue_weight": "501 lb"}, {"coupler": "2-5/16 in"}):
        part["trailer"]["facts"] |= facts
        assert answer([part, front()], own).together[0].alone == answerer().answer(plain).outcome
    found = answer([boat_alone(), bikes()], own)
    assert found.outcome == "fails" and spoiler(found, "an-opening-for-each")


def test_a_trailer_without_ball_or_mount_wants_a_mount() -> None:
    """On a receiver with an opening nothing is guessed: the mount is a need, and so it is no plain yes."""
    found = answer([boat_alone(), front()])
    assert found.together[0].alone == "conditional"
    assert "towing_mount" in {need["need"] for need in found.needs}
    below = answer([boat_alone(), bikes(1)])
    assert result(below, "coupler-under-what-hangs-above") == "undetermined"


def test_a_trailer_by_itself_has_a_name() -> None:
    """Nobody names it: it is called the trailer, as a carrier is by its kind."""
    nameless = {name: part for name, part in boat_alone().items() if name != "name"}
    assert [one.name for one in answer([nameless, front()], towbar()).together] == ["trailer", "box"]


# what is refused


def test_nothing_is_guessed() -> None:
    """It is said which receiver each hangs on and what it is; what is told is told of one place."""
    nowhere = {name: part for name, part in bikes().items() if name != "hangs_on"}
    (problem,) = problems(asked([nowhere, boat()]))
    assert problem.pointer == "/together/0/hangs_on" and "rear_receiver" in problem.help
    (problem,) = problems(asked([{**bikes(), "accessory": None}, boat()]))
    assert problem.pointer == "/together/0/accessory" and "towbar's own ball" in problem.help
    (problem,) = problems(asked([bikes(), {**boat(), "hangs_on": "front_receiver"}]))
    assert problem.pointer == "/together/1" and "`rig` of its own" in problem.help
    (problem,) = problems(asked([bikes(), {**boat(), "rig": rig(DUAL)}]))
    assert problem.pointer == "/together/1/rig"
    (problem,) = problems(asked([bikes(), boat()]) | {"accessory": {"facts": BIKES}})
    assert problem.pointer == "/accessory" and problem.meaning
    for things in ([bikes()], [bikes(), boat(), *[step()] * (MOST_THINGS - 1)]):
        (problem,) = problems(asked(things))
        assert problem.pointer == "/together"


def test_a_problem_is_told_at_its_place_and_once() -> None:
    """What is wrong with the rig is told of the rig, with a load for all of that, and with a thing of the thing."""
    wrong = asked([bikes(weight="heavy"), boat()], rig(DUAL, wheelbase="long"), occupants_weight="some")
    pointers = [problem.pointer for problem in problems(wrong)]
    assert sorted(pointers) == [
        "/load/facts/occupants_weight",
        "/rig/vehicle/facts/wheelbase",
        "/together/0/accessory/facts/weight",
    ]


def test_a_question_of_several_is_no_plain_question() -> None:
    """Whoever reads one question refuses several, and reads `together: null` as one."""
    with pytest.raises(ProblemsFound):
        read_question(asked([bikes(), boat()]), answerer().reader, NoRecords())
    plain = {"rig": rig(), "accessory": {"facts": BIKES}}
    assert answerer().answer({**plain, "together": None}) == answerer().answer(plain)


# laws


def test_an_unknown_weight_is_unknown_in_every_sum() -> None:
    """Each weight left out of a sum that passes leaves it open, in the other thing's answer too."""
    whole = [bikes(1), boat(gross_weight="1500 lb", tongue_weight="150 lb")]
    rules = (WEIGHT, "all-within-payload", "rear-axle-with-all", "combination-with-all")
    told = answer(whole, occupants_weight="600 lb")
    assert [result(told, rule) for rule in rules] == ["passes"] * 4
    for number, part, fact in ((0, "accessory", "weight"), (0, "load", "bike_weight"), (1, "accessory", "weight")):
        things = deepcopy(whole)
        del things[number][part]["facts"][fact]
        found = answer(things, occupants_weight="600 lb")
        assert [result(found, rule) for rule in rules] == ["undetermined"] * 4, fact
        for one in found.together:
            told_of = {finding.rule: finding.result for finding in one.answer.findings}
            assert all(told_of[rule] == "undetermined" for rule in rules), (fact, one.name)


def test_nobody_is_asked_for_what_the_question_tells() -> None:
    """Each thing's own facts are asked for, never the sum over the others."""
    things = [bikes(1), boat(gross_weight="1500 lb", tongue_weight="150 lb")]
    del things[0]["accessory"]["facts"]["weight"]
    found = answer(things)
    asked_for = {step.fact for one in found.together for step in one.answer.next}
    assert not any(name.startswith("beside.") for name in asked_for)
    assert "accessory.weight" in {step.fact for step in found.together[0].answer.next}


def test_four_things_take_no_more_work_than_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """What may be spent on what to learn next is one account: each has its share of it, and what the others left."""
    shared, left = [], []

    def noted(*arguments: Any) -> Any:
        shared.append(arguments[4])
        left.append(arguments[4].left)
        return next_steps(*arguments)

    monkeypatch.setattr(answering, "next_steps", noted)
    found = answer([boat(), rack_on_trailer(), front(), step()])
    assert len(found.together) == len(shared) == MOST_THINGS
    spent = sum(had - max(0, after.left) for had, after in zip(left, shared, strict=True))
    assert 0 < spent <= MOST_TOGETHER < MOST_WORK
    assert min(left) >= MOST_TOGETHER // MOST_THINGS


def random_things(random: Random) -> list[Part]:
    """Things in a dual receiver, on the trailer and in front, with figures and gaps drawn at random."""
    tongue, gross = random.choice((100, 160, 200, 300)), random.choice((1500, 2500, 3400))
    pool = [
        bikes(random.randint(0, 4), weight=f"{random.choice((30, 50))} lb", plug=random.choice(("none", "flat_4"))),
        boat(gross_weight=f"{gross} lb", tongue_weight=f"{tongue} lb"),
        step(),
        rack_on_trailer(f"{random.choice((40, 90))} lb"),
        front(f"{random.choice((60, 160))} lb"),
    ]
    things = random.sample(pool, random.randint(2, MOST_THINGS))
    for thing in things:
        for part in ("accessory", "trailer", "load"):
            facts = thing.get(part, {}).get("facts", {})
            for name in [name for name in facts if name != "kind" and random.random() < 0.08]:
                del facts[name]
    return things


def drawn() -> Iterator[tuple[list[Part], Part]]:
    """Questions at random: things, and a rig for them."""
    random = Random(20)
    for _ in range(25 * EFFORT):
        label = f"{random.choice((200, 350, 500))} lb"
        adapters = [{**DUAL, "tongue_rating": label}] if random.random() < 0.9 else []
        yield random_things(random), rig(*adapters, gvwr=f"{random.choice((5200, 5700, 6500))} lb")


def rank(found: Answer) -> int:
    """How bad an outcome is, the best nought."""
    return OUTCOMES.index(found.outcome)


def test_one_thing_more_never_makes_it_better() -> None:
    """Leaving one out never gives a worse outcome, neither of the whole nor of a thing that stays."""
    for things, on in drawn():
        whole = answer(things, on)
        if len(things) > 2:
            for left_out in range(len(things)):
                less = answer([one for i, one in enumerate(things) if i != left_out], on)
                assert rank(less) <= rank(whole)
                outcomes = {one.name: one.answer for one in whole.together}
                assert all(rank(one.answer) <= rank(outcomes[one.name]) for one in less.together)


def unnamed(random: Random) -> tuple[list[Part], Part]:
    """Two or three things, one of them at least without a load, and a rig whose ratings lie near what they weigh."""

    def pounds(low: int, high: int) -> str:
        return f"{random.randint(low, high)} lb"

    label = {"weight": pounds(30, 90), "capacity": pounds(60, 400)}
    behind = {"load": None, "accessory": {"facts": {**BIKES, **BY_LABEL, **label, "bike_weight_max": "200 lb"}}}
    pool = [
        {**bikes(), **behind},
        {**box(), "accessory": {"facts": {**box()["accessory"]["facts"], **label}}, "name": "goods"},
        box_ahead(weight=pounds(30, 90), capacity=pounds(60, 400)),
        {**rack_on_trailer(), **behind},
        step(**ALLOWED, capacity=pounds(100, 300)),
    ]
    named = [
        boat(
            {**MOUNT, **ALLOWED},
            gross_weight="2000 lb",
            tongue_weight=pounds(200, 300),
            weighed_with_all=False,
            gvwr=pounds(2050, 2600),
        ),
        front(),
        bikes(2, **ALLOWED),
    ]
    things = [random.choice(pool), random.choice([*pool, *named])]
    behind_it = any(one["hangs_on"] == "rear_receiver" for one in things)
    things += [] if behind_it and random.random() < 0.6 else [random.choice((named[0], named[2]))]
    on = rig(
        {**DUAL, "tongue_rating": pounds(250, 700)},
        placard_capacity=pounds(400, 1200),
        gcwr=pounds(7000, 8000),
        gawr_rear=pounds(2500, 3600),
        gawr_front=pounds(2500, 3300),
        tow_rating=pounds(2000, 2600),
        tow_rating_unbraked=pounds(2000, 2600),
        tongue_rating=pounds(250, 700),
    )
    return [{**one, "name": f"{i}"} for i, one in enumerate(things)], on


def carrying(thing: Part, told: ThingAnswer) -> Part:
    """A thing with exactly the load that it is told to be allowed."""
    allowance = told.answer.allowance
    if allowance is None or not allowance.at_most:
        return thing
    most, count = allowance.at_most, allowance.count or 1
    load: Part = {"cargo_weight": most}
    if thing["accessory"]["facts"]["kind"] == "step":
        load = {"person_weight": most} if most != "0 lb" else {}
    elif thing["accessory"]["facts"]["kind"] == "bike_carrier":
        load = (
            {"bikes": count, "bike_weight": f"{float(most.split()[0]) / count} lb"} if most != "0 lb" else {"bikes": 0}
        )
    return {**thing, "load": {"facts": load}}


@pytest.mark.parametrize("seed", range(4))
def test_all_that_is_allowed_may_be_carried_at_once(seed: int) -> None:
    """With each thing loaded with exactly what is told of it, all at once, no rule that holds them fails."""
    random, seen, several = Random(seed), 0, 0
    for _ in range(40 * EFFORT):
        things, on = unnamed(random)
        found = answer(things, on)
        if found.outcome == "fails":
            continue
        loaded = [carrying(thing, told) for thing, told in zip(things, found.together, strict=True)]
        after = answer(loaded, on)
        changed = sum(one is not other for one, other in zip(things, loaded, strict=True))
        seen, several = seen + (changed > 0), several + (changed > 1)
        assert after.outcome != "fails", (after.summary, found.summary)
        if found.outcome in ("works", "conditional"):
            assert after.outcome != "undetermined", (after.summary, found.summary)
    assert seen > 5 and several > 2, (seen, several)


def test_a_thing_that_fails_alone_fails_the_whole() -> None:
    """The whole is never better than any of it alone, nor is a thing with all else than by itself."""
    for things, on in drawn():
        whole = answer(things, on)
        for one in whole.together:
            assert OUTCOMES.index(one.alone) <= rank(one.answer) <= rank(whole)
        assert rank(whole) == max(rank(one.answer) for one in whole.together)


def test_more_knowledge_never_changes_what_is_settled() -> None:
    """What fails with some facts left out fails with all of them, and what works would work."""
    random = Random(7)
    for things, on in drawn():
        whole = answer(things, on)
        less = deepcopy(things)
        for thing in less:
            for part in ("accessory", "trailer"):
                facts = thing.get(part, {}).get("facts", {})
                for name in [name for name in facts if name in ("weight", "tongue_rating", "length", "shank")]:
                    facts[name] = None if random.random() < 0.3 else facts[name]
        known = answer(less, on)
        if known.outcome in ("works", "fails"):
            assert whole.outcome == known.outcome
        settled = {one.rule: one.result for one in known.findings if one.result != "undetermined"}
        told = {one.rule: one.result for one in whole.findings}
        assert all(told.get(rule, "not_applicable") in (result, "not_applicable") for rule, result in settled.items())


def test_the_order_does_not_matter() -> None:
    """Named in another order the things come to the same, each and together, and by the same rules."""
    for things, on in list(drawn())[:8]:
        seen = set()
        for order in list(permutations(things))[:6]:
            found = answer(order, on)
            each = tuple(sorted((one.name, one.alone, one.answer.outcome) for one in found.together))
            seen.add((found.outcome, each, tuple(sorted((one.rule, one.result) for one in found.spoils))))
        assert len(seen) == 1


def test_what_is_told_by_hand_is_what_is_made_of_the_others() -> None:
    """A carrier beside `beside` facts, as a selection asks, is judged as beside the trailer they were made of."""
    found = answer([bikes(), boat()])
    told = {"hangs_on": "rear_receiver", "things": 1, "weight": "310 lb", "tows": True}
    document = {"rig": rig(DUAL), "accessory": bikes()["accessory"], "load": bikes()["load"], "beside": {"facts": told}}
    single = {finding.rule: finding.result for finding in answerer().answer(document).findings}
    both = {finding.rule: finding.result for finding in found.together[0].answer.findings}
    assert single[WEIGHT] == both[WEIGHT] == "fails"
    assert single["all-within-payload"] == "undetermined"  # nobody has told what all else puts on the vehicle


def test_the_pair_is_named_that_spoils_it() -> None:
    """Of three, the two that are too much without the third; where no two are, all of them."""
    dual_twice = rig(DUAL, {**DUAL, "fits_opening": "2 in"})
    heavy = answer([bikes(), boat(), step()], dual_twice)
    found = spoiler(heavy, WEIGHT)
    assert found and found.between == ["bikes", "boat"]
    light = answer([bikes(0), boat(tongue_weight="160 lb"), step(weight="150 lb", capacity="150 lb")], dual_twice)
    found = spoiler(light, WEIGHT)
    assert found and found.result == "fails" and found.between == ["bikes", "boat", "step"]


def test_a_thing_nobody_names_is_called_by_its_kind() -> None:
    """Two alike are told apart by a number."""
    things = [{name: part for name, part in one.items() if name != "name"} for one in (bikes(), boat(), step(), step())]
    assert [one.name for one in answer(things).together] == [
        "bike carrier",
        "ball mount",
        "hitch step (1)",
        "hitch step (2)",
    ]


def test_each_thing_may_have_its_own_way_out_of_the_receiver() -> None:
    """The upper opening is 4 in higher than the lower, so the carrier stands 4 in higher."""
    upper = {**bikes(), "rig": {"adapters": [{"facts": {**DUAL, "adds_rise": "4 in"}}]}}
    for thing, told in ((bikes(), "fails"), (upper, "passes")):
        assert result(answer([thing, boat(coupler_height="18 in")]), "coupler-under-what-hangs-above") == told
    assert len(read_things(asked([upper, boat()]), answerer().reader, NoRecords())) == 2


def test_the_picture_of_a_trailer_on_a_ball_in_place() -> None:
    """It is drawn with what is told to hang in its place; of one thing alone in a place there is no such picture."""
    own = towbar()
    there = several_view(answerer(), read_things(asked([boat_alone(), bikes()], own), answerer().reader, NoRecords()))
    assert there and there.title == "Side view: trailer, bike carrier"
    things = read_things(asked([boat_alone(), front()], own), answerer().reader, NoRecords())
    assert several_view(answerer(), things) is None


# one vehicle


def in_front(told: Part | None) -> Part:
    """Give the question on a stored rig, with a carrier in front whose own rig tells this of its vehicle."""
    own = {"receiver": {"facts": {"place": "front", "opening": "2 in"}}, "vehicle": told}
    rack = {**front(), "rig": own}
    return {"rig": {"id": "rig_farm_muckle"}, "together": [bikes(2), rack]}


@pytest.mark.parametrize(
    ("told", "what"),
    [
        ({"id": "veh_tansy_2020"}, "`veh_tansy_2020`"),
        ({"facts": {"make": "Velmora", "model": "Tansy", "year": 2020}}, "the make is told otherwise"),
        ({"facts": {"body": "wagon"}}, "the body style is told otherwise"),
        ({"facts": {"gawr_front": "3000 lb"}}, "the front axle rating is told otherwise"),
    ],
)
def test_what_hangs_on_one_vehicle_tells_of_no_other(told: Part, what: str) -> None:
    """A rack in front is never judged on another vehicle than the bikes behind: it is refused, whichever says it."""
    document = in_front(told)
    for things in (document["together"], document["together"][::-1]):
        with pytest.raises(ProblemsFound) as refused:
            answerer().answer({**document, "together": things}, world())
        (problem,) = refused.value.problems
        number = next(i for i, one in enumerate(things) if one["name"] == "box")
        assert problem.pointer == f"/together/{number}/rig/vehicle" and problem.meaning
        assert what in problem.message and "tell the same of the vehicle" in problem.help


@pytest.mark.parametrize(
    "told",
    [
        {"id": "veh_muckle_2023_short"},
        {"facts": {"make": "brannoch", "model": "muckle", "year": 2023, "trim": "Crew 4x4 with tow package"}},
        {"facts": {"gawr_front": None}},
        {"facts": {}},
    ],
)
def test_the_same_vehicle_told_again_is_no_other(told: Part) -> None:
    """By its id, by its name or by nothing at all: what is not told is not known, and contradicts nothing."""
    assert answerer().answer(in_front(told), world()).outcome in ("undetermined", "conditional", "fails")


@pytest.mark.parametrize(
    ("part", "told"), [("receiver", {"tongue_rating": "300 lb"}), ("mounting", {"height": "9 in"})]
)
def test_a_receiver_told_for_all_has_a_thing_on_it(part: str, told: Part) -> None:
    """Where each thing is told to hang on another its lower rating would be held to nothing: it is refused."""
    both = [{**boat(), "rig": rig(DUAL)}, front()]
    for_all = {**rig(), part: {"facts": {**rig()[part]["facts"], **told}}}
    with pytest.raises(ProblemsFound) as refused:
        answer(both, for_all)
    (problem,) = refused.value.problems
    assert problem.pointer in ("/rig/receiver", "/rig/mounting") and problem.meaning
    assert "nothing hangs on the receiver that is told for all" in problem.message
    vehicle_alone = {"vehicle": rig()["vehicle"]}
    assert answer(both, vehicle_alone).outcome == answer(both, both[0]["rig"]).outcome


def test_a_rack_on_the_trailer_is_on_another_vehicle() -> None:
    """Its own rig tells of the trailer as its vehicle, which is no other name for the one that tows."""
    rack = rack_on_trailer()
    rack["rig"]["vehicle"] = {"facts": {"body": "towed"}}
    assert answer([boat(), rack]).together[1].hangs_on == "trailer"


def test_a_saved_rig_told_for_all_has_a_thing_on_it() -> None:
    """Where each thing has a rig of its own the saved one would be held to nothing: it is refused, by its id."""
    both = [{**boat(), "rig": rig(DUAL)}, front()]
    with pytest.raises(ProblemsFound) as refused:
        answerer().answer({"rig": {"id": "rig_farm_muckle"}, "together": both}, world())
    (problem,) = refused.value.problems
    assert problem.pointer == "/rig/id" and problem.meaning
    assert "nothing hangs on the receiver that is told for all" in problem.message


def test_the_place_told_for_all_is_no_other_for_one_thing() -> None:
    """Its law would be held to nothing, unseen: refused, unless the same is told again or a place among those told."""
    both = [bikes(), {**boat(), "load": {"facts": {"jurisdiction": "texas"}}}]
    document = {**asked(both, rig(DUAL)), "load": {"facts": {"jurisdiction": "california"}}}
    with pytest.raises(ProblemsFound) as refused:
        answerer().answer(document)
    (problem,) = refused.value.problems
    assert problem.pointer == "/together/1/load/facts/jurisdiction" and problem.meaning
    assert "told otherwise for all: california" in problem.message
    for places in ("texas", ["california", "texas"]):
        answerer().answer({**document, "load": {"facts": {"jurisdiction": places}}})


def test_what_hangs_on_a_trailer_without_brakes_is_held_with_it() -> None:
    """2,900 lb and a rack of 100 lb are the 3,000 lb that the maker allows without brakes; 2,901 lb are more."""
    on, rule = rig(DUAL, tow_rating_unbraked="3000 lb"), "unbraked-with-what-hangs-on-it"
    for gross, weighed, told in (
        ("2900 lb", False, "passes"),
        ("2901 lb", False, "fails"),
        ("2901 lb", True, "passes"),
    ):
        things = [boat(gross_weight=gross, brakes="none", weighed_with_all=weighed), rack_on_trailer()]
        assert result(answer(things, on), rule) == told


@pytest.mark.parametrize(
    ("rule", "trailer", "vehicle", "receiver"),
    [
        # Two chains of 1,500 lb hold 3,000 lb together.
        ("chains-together-strong-enough", {"chain_count": 2, "chain_rating_each": "1500 lb"}, {}, {}),
        # 9.81 x 2.268 x 1.3608 / (2.268 + 1.3608) = 8.343 kN, and with 10 lb more 8.361.
        ("pull-within-d-value", {}, {"gvwr": "5000 lb"}, {"d_value": "8.35 kN"}),
        # The empty vehicle, a driver of 150 lb, the mount and 3,000 lb.
        ("combination-with-all", {}, {"gcwr": "7660 lb"}, {}),
    ],
)
def test_what_hangs_on_a_trailer_is_pulled_with_it(rule: str, trailer: Part, vehicle: Part, receiver: Part) -> None:
    """2,900 lb and a rack of 100 lb are within what chains, plate and combination bear; 10 lb more are not."""
    on = rig(DUAL, **vehicle)
    on["receiver"] = {"facts": {**on["receiver"]["facts"], **receiver}}
    for weight, told in (("50 lb", "passes"), ("60 lb", "fails")):
        things = [boat(gross_weight="2900 lb", weighed_with_all=False, **trailer), rack_on_trailer(weight)]
        assert result(answer(things, on), rule) == told


JOURNEY = {
    "jurisdiction": "california",
    "occupants_weight": "900 lb",
    "needs_closure_open": True,
    "steepest_grade": "40 %",
    "parking_room": "20 in",
}
"""What holds for all that is on one rig."""
ANOTHER = {
    "jurisdiction": "texas",
    "occupants_weight": "100 lb",
    "needs_closure_open": False,
    "steepest_grade": "2 %",
    "parking_room": "100 in",
}


def test_the_journey_is_all_that_holds_for_all() -> None:
    """Each fact that is said to be of the whole rig, and so what is asked once at the counter."""
    shared = answerer().rulebook.vocabulary.serving("shared")
    assert {f"load.{name}" for name in JOURNEY} == {*shared} > {*answerer().rulebook.words.for_all}


@pytest.mark.parametrize("name", JOURNEY)
@pytest.mark.parametrize("teller", [0, 1])
def test_what_one_thing_tells_of_the_journey_holds_for_all(name: str, teller: int) -> None:
    """There is one driveway, and one place: left out of the other thing it would be held to nothing there."""
    things = in_front({"id": "veh_muckle_2023_short"})["together"][:2]
    loads = [{"facts": dict((thing.get("load") or {}).get("facts", {}))} for thing in things]
    for told in loads:
        told["facts"].pop(name, None)
    rig = {"id": "rig_farm_muckle"}
    bare = [{**thing, "load": told} for thing, told in zip(things, loads, strict=True)]
    for_all = {"rig": rig, "load": {"facts": {name: JOURNEY[name]}}, "together": bare}
    facts = {**loads[teller]["facts"], name: JOURNEY[name]}
    one = [{**thing, "load": {"facts": facts}} if i == teller else thing for i, thing in enumerate(bare)]
    asked_of = [
        [each.question.case for each in read_things(document, answerer().reader, world())]
        for document in (for_all, {"rig": rig, "together": one})
    ]
    assert asked_of[0] == asked_of[1] and all(f"load.{name}" in case.facts for case in asked_of[0])


@pytest.mark.parametrize("shared", [True, False])
def test_the_closest_that_is_told_of_the_place_holds_for_all(shared: bool) -> None:
    """California told for all, or by another thing, is not made open again by one that tells California or Texas."""
    things = in_front({"id": "veh_muckle_2023_short"})["together"][:2]
    close, wide = ({"facts": {"jurisdiction": told}} for told in ("california", ["california", "texas"]))
    both = [things[0] if shared else {**things[0], "load": close}, {**things[1], "load": wide}]
    document = {"rig": {"id": "rig_farm_muckle"}, "together": both, **({"load": close} if shared else {})}
    cases = [each.question.case for each in read_things(document, answerer().reader, world())]
    kind = answerer().reader.vocabulary.slots()["load.jurisdiction"]
    assert isinstance(kind, ListType)
    assert {case.facts["load.jurisdiction"] for case in cases} == {kind.mask("california")}


def test_what_of_the_journey_cannot_be_read_is_a_problem_of_the_thing_that_tells_it() -> None:
    """It is told once, where it stands."""
    things = in_front({"id": "veh_muckle_2023_short"})["together"][:2]
    both = [things[0], {**things[1], "load": {"facts": {"steepest_grade": "steep"}}}]
    with pytest.raises(ProblemsFound) as refused:
        answerer().answer({"rig": {"id": "rig_farm_muckle"}, "together": both}, world())
    assert [one.pointer for one in refused.value.problems] == ["/together/1/load/facts/steepest_grade"]


@pytest.mark.parametrize("shared", [True, False])
@pytest.mark.parametrize("name", JOURNEY)
def test_one_things_load_tells_no_other_journey_than_that_of_all(name: str, shared: bool) -> None:
    """A place without that law, or fewer people, would pass what is not so: refused, whichever of them tells it."""
    told, other = ({"facts": {name: one[name]}} for one in (JOURNEY, ANOTHER))
    things = in_front({"id": "veh_muckle_2023_short"})["together"]
    first, last = things[0], things[1]
    facts = {**(first.get("load") or {}).get("facts", {})}
    mine = {"facts": {**facts, **told["facts"]}}
    both = [first if shared else {**first, "load": mine}, {**last, "load": other}]
    document = {"rig": {"id": "rig_farm_muckle"}, "together": both, **({"load": told} if shared else {})}
    with pytest.raises(ProblemsFound, match="is told otherwise for all") as refused:
        answerer().answer(document, world())
    (problem,) = refused.value.problems
    assert problem.pointer == f"/together/1/load/facts/{name}" and problem.meaning
    again = [both[0], {**last, "load": told}]
    assert answerer().answer({**document, "together": again}, world()).together


@pytest.mark.parametrize("name", JOURNEY)
def test_a_field_left_empty_in_one_thing_un_tells_nothing_of_all(name: str) -> None:
    """A program that sends every field sends what it has none for as null: what is told for all holds."""
    first, last = in_front({"id": "veh_muckle_2023_short"})["together"][:2]
    facts = (first.get("load") or {}).get("facts", {})
    empty = {**first, "load": {"facts": {**facts, name: None}}}
    told = {"rig": {"id": "rig_farm_muckle"}, "load": {"facts": {name: JOURNEY[name]}}}
    asked_of = [
        read_things({**told, "together": [one, last]}, answerer().reader, world())[0].question.case
        for one in (empty, {**first, "load": {"facts": facts}})
    ]
    assert asked_of[0] == asked_of[1] and f"load.{name}" in asked_of[0].facts


FRONT: Part = {
    "receiver": {
        "facts": {
            "place": "front",
            "opening": "2 in",
            "pin_hole": "5/8 in",
            "pin_supplied": True,
            "tongue_rating": "300 lb",
            "hitch_class": "III",
            "tube_outside": "3 in",
        }
    },
    "mounting": {"facts": {"height": "18 in"}},
}
BOX: Part = {
    "kind": "cargo_carrier",
    "shank": "2 in",
    "pin": "5/8 in",
    "pin_supplied": True,
    "weight": "50 lb",
    "capacity": "300 lb",
    "min_class": "none",
    "length": "20 in",
    "rear_extent": "30 in",
    "front_setback": "6 in",
    "stow_setback": "6 in",
    "stow_extent": "17 in",
    "top_height": "14 in",
    "lowest_drop": "0 in",
    "width": "60 in",
    "allowed_at_front": True,
    "obscures_headlamps": False,
    "obscures_lamps": False,
    "plug": "none",
}


def boxed(pin: str = "", **box: Any) -> Answer:
    """A box in front beside a trailer of which something is open, as it comes when the bumper's place is told."""
    ahead = {"facts": {**FRONT["mounting"]["facts"], **({"pin_to_bumper": pin} if pin else {})}}
    one: Part = {"name": "box", "hangs_on": "front_receiver", "rig": {"vehicle": {}, **FRONT, "mounting": ahead}}
    one |= {"accessory": {"facts": {**BOX, **box}}, "load": {"facts": {"cargo_weight": "200 lb"}}}
    whole = rig(brake_controller=True)
    rear = {"rig": {"receiver": whole.pop("receiver"), "mounting": whole.pop("mounting")}}
    told = asked([{**boat(gross_weight="1500 lb", tongue_weight="160 lb"), **rear}, one], {"vehicle": whole["vehicle"]})
    told["load"]["facts"] = {"occupants_weight": "300 lb", "jurisdiction": "texas"}
    return answerer().answer(told)


def test_the_readings_of_a_thing_are_its_own_whatever_is_open_of_the_others() -> None:
    """How far the bumper may stand out follows from the box: told at both ends it goes, and past them it fails."""
    found = boxed()
    boat_, box = (one.answer for one in found.together)
    assert boat_.next and boat_.outcome != "works", "the trailer leaves something open"
    (step_,) = [one for one in box.next if one.fact == "mounting.pin_to_bumper"]
    assert (step_.works_if, step_.fails_if) == ("at most 6 in", "at least 6-1/16 in")
    for pin in ("-5 in", "-2-1/4 in", "0 in", "6 in"):
        assert boxed(pin).together[1].answer.outcome != "fails", pin
    assert boxed("6-1/16 in").together[1].answer.outcome == "fails"


READ = {"placard_capacity": "700 lb", "gawr_front": "3900 lb"}


class Read(World):
    """A world in which a placard, and a front axle rating above its record, were read on every saved rig's vehicle."""

    __slots__ = ()

    def rig(self, key: str) -> Part | None:
        """The saved rig with what was read."""
        saved = super().rig(key)
        return None if saved is None else {**saved, "vehicle": {**saved["vehicle"], "facts": READ}}

    def rig_told(self, key: str) -> Stored:
        """What was read."""
        return Stored(subject="rig", key=key, label="", facts={f"vehicle.{name}": told for name, told in READ.items()})


@pytest.mark.parametrize("again", [{"facts": {"gawr_front": None}}, {"facts": {}}, {"facts": {"gvwr": None}}, None])
def test_a_saved_rigs_vehicle_is_that_of_what_hangs_in_front(again: Part | None) -> None:
    """With what was read of it there, and whether or not the thing in front tells a part of it again."""
    here, reader = Read(world().records, world().rigs), answerer().reader
    behind, ahead = (one.question for one in read_things(in_front(again), reader, here))
    cases = [one.case.facts for one in (behind, ahead)]
    facts = [{name: value for name, value in one.items() if name.startswith("vehicle.")} for one in cases]
    assert facts[0] == facts[1] and "receiver.tongue_rating" not in ahead.case.facts
    assert facts[0]["vehicle.placard_capacity"] == pytest.approx((317.51, 317.51), abs=0.01)
    assert ahead.labels["vehicle"] == behind.labels["vehicle"]


def test_a_reading_that_works_for_one_spoils_no_other() -> None:
    """Two that stand behind one bumper: what the rack alone would bear is told no farther than the step bears it, too.

    Each reading that is told to work is asked again: with it no thing fails.
    """
    step = {
        "kind": "step",
        "shank": "2 in",
        "pin": "5/8 in",
        "weight": "10 lb",
        "capacity": "300 lb",
        "extension_allowed": True,
        "front_setback": "2 in",
        "rear_extent": "8 in",
    }

    def asked(pin_to_bumper: Any) -> Answer:
        bikes = {"facts": {"bikes": 2, "bike_weight": "30 lb"}}
        rack = {"sku": "SPK-TRUG-2", "facts": {"extension_allowed": True}}
        return answerer().answer(
            {
                "rig": {
                    "id": "rig_farm_muckle",
                    "mounting": {"facts": {"pin_to_bumper": pin_to_bumper}},
                    "adapters": [{"sku": "BTX-TWIN-2"}],
                },
                "load": {"facts": {"occupants_weight": "150 lb"}},
                "together": [
                    {"name": "rack", "hangs_on": "rear_receiver", "accessory": rack, "load": bikes},
                    {"name": "step", "hangs_on": "rear_receiver", "accessory": {"facts": step}},
                ],
            },
            world(),
        )

    found = {one.name: one.answer.next for one in asked({"at_least": "2 in", "at_most": "28 in"}).together}
    steps = {name: {step.fact: step for step in told}["mounting.pin_to_bumper"] for name, told in found.items()}
    assert [steps[name].works_if for name in ("rack", "step")] == ["at most 11 in", "at most 11 in"]
    assert asked("11 in").outcome != "fails"
    assert asked("12 in").outcome == "fails"
