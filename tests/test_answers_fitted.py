"""What a fitter wants told: what is asked first, what is never asked, and that each figure is the question's own."""

from dataclasses import replace
from math import inf
from typing import Any

import pytest
from demo_world import world
from judging import Facts, answer, answerer
from several import asked, bikes, boat
from test_rules_trade import BIKES, TOWED

from fitsvc.answers.answer import Answer, Next
from fitsvc.answers.phrases import texts
from fitsvc.answers.readings import grid_of
from fitsvc.answers.summary import told as said_of
from fitsvc.language.typed import Read
from fitsvc.language.types import NumberType
from fitsvc.service.speaking import spoken_tongues
from fitsvc.tongues import ENGLISH, speaking

RATINGS = ("vehicle.tow_rating", "vehicle.tongue_rating", "vehicle.gcwr", "vehicle.gvwr", "vehicle.placard_capacity")
BEHIND_TRAILER: Facts = {
    **{name: value for name, value in BIKES.items() if not name.startswith(("vehicle.", "load.occupants"))},
    "vehicle.body": "towed",
    "accessory.approved_behind_trailer": True,
}
EXTENSION: Facts = {
    "kind": "extension",
    "fits_opening": "2 in",
    "offers_opening": "2 in",
    "pin": "5/8 in",
    "pin_hole": "5/8 in",
    "pin_supplied": True,
    "tube_outside": "3 in",
    "adds_length": "8 in",
    "adds_rise": "0 in",
    "trailer_rating": "3500 lb",
    "tongue_rating": "350 lb",
    "weight": "12 lb",
}


def reason(found: Answer, rule: str) -> str:
    """What a finding says."""
    return next(one.reason for one in found.findings if one.rule == rule)


def without(facts: Facts, *names: str) -> dict[str, Any]:
    """The facts but for some."""
    return {name: value for name, value in facts.items() if name not in names}


def test_a_trailer_asks_first_what_its_vehicle_may_tow() -> None:
    """A vehicle whose rating nobody looked up is no near yes: it is read first, and the rest stands behind it."""
    for gone in (RATINGS[:1], RATINGS):
        found = answer(without(TOWED, *gone))
        assert (found.outcome, found.next[0].fact) == ("undetermined", "vehicle.tow_rating")
        # At most three times the GVWR, or five times what it weighs empty, where that is told.
        assert found.next[0].ask == "read" and found.next[0].works_if.startswith(("at least ", "3400 lb to 2"))
    assert {"vehicle.tongue_rating", "vehicle.gcwr"} <= {step.fact for step in found.next}


def test_nobody_rides_in_a_trailer() -> None:
    """Behind a trailer nobody is asked for people, placard or door spare, whoever is named for the towing vehicle."""
    found = answer(BEHIND_TRAILER)
    asked = {step.fact for step in found.next}
    assert not asked & {"load.occupants_weight", "vehicle.placard_capacity", "vehicle.spare_location", "vehicle.gvwr"}
    assert found.outcome == "conditional"
    (need,) = (one for one in found.needs if one["need"] == "weigh_the_tongue_again")
    assert need["because"].startswith("Weigh the trailer with it on")
    heavy = {**BEHIND_TRAILER, "vehicle.placard_capacity": "100 lb", "load.occupants_weight": "900 lb"}
    refused = answer(heavy)
    assert refused.outcome == "fails" and "trailer-bears-what-hangs-on-it" in {
        one.rule for one in refused.findings if one.result == "fails"
    }


def test_an_extension_whose_share_is_open_is_named_for_it() -> None:
    """Ratings told and the share not, it is the share that limit, finding and allowance wait for."""
    document = {
        "rig": {
            "receiver": {"facts": {"opening": "2 in", "tongue_rating": "500 lb"}},
            "vehicle": {"facts": {"tongue_rating": "500 lb"}},
            "adapters": [{"facts": EXTENSION}],
        },
        "accessory": {"facts": {"kind": "cargo_carrier", "weight": "60 lb", "capacity": "500 lb", "shank": "2 in"}},
    }
    found = answerer().answer(document)
    assert found.allowance and "share of the ratings" in found.allowance.told
    assert found.allowance.unknown[0] == "adapter.keeps_fraction"
    (limit,) = (one for one in found.limits if one.limit == "hanging_weight")
    assert limit.unknown == ["adapter.keeps_fraction"]


def test_only_what_may_be_in_the_way_is_said_not_to_be_known() -> None:
    """A trailer without a mount asks for no kind of mount, and a label without an S value for none."""
    bare = answerer().answer({"rig": {}, "trailer": {"facts": {"gross_weight": "3000 lb"}}})
    assert "kind of accessory" not in " ".join(one.reason for one in bare.findings)
    assert "receiver.vertical_rating" not in {name for one in bare.limits for name in one.unknown}


@pytest.mark.parametrize(
    ("rule", "fact", "one", "other"),
    [
        ("two-chains", "load.jurisdiction", ("washington", "law of Washington"), ("virginia", "law of Virginia")),
        ("trailer-level-on-fixed-mount", "accessory.rise_turned_over", ("5 in", "it has 5 in"), ("6 in", "has 6 in")),
    ],
)
def test_a_text_tells_the_figures_of_its_own_question(
    rule: str, fact: str, one: tuple[str, str], other: tuple[str, str]
) -> None:
    """Two questions that differ only in what a text tells, and no result rests on, are told each its own."""
    base = {**TOWED, "trailer.chain_count": 1, "accessory.rise": "-4 in"}
    for value, words in (one, other):
        assert words in reason(answer({**base, fact: value}), rule)


def test_a_bound_is_told_once() -> None:
    """Of cargo that weighs at least so much, straps must hold at least half of it, and no `at least` stands twice."""
    cargo = {"load.cargo_weight": {"at_least": "100 lb"}, "load.tie_down_limit": "40 lb"}
    loose = answer({"accessory.kind": "cargo_carrier", **cargo})
    (straps,) = (need for need in loose.needs if "straps" in need["because"])
    assert "come to at least 50 lb together" in straps["because"] and "below 80 lb" in straps["because"]
    one = {**TOWED, "trailer.chain_count": 1, "trailer.chain_rating_each": "1500 lb"}
    assert "The safety chains, 1 of 1500 lb, hold" in reason(answer(one), "chains-together-strong-enough")


def test_where_every_plausible_reading_fails_it_is_asked_for_first_and_no_reading_is_told() -> None:
    """A door that no hinge in its place lets past a carrier is no unasked question: measured, it is a no.

    That it fails with all there can be says nothing of what to look for.
    """
    door = {"vehicle.rear_closure": "side_hinged", "load.needs_closure_open": True, "vehicle.closure_length": "60 in"}
    high = {"vehicle.closure_hinge_height": "26 in", "vehicle.closure_hinge_setback": "14 in"}
    mast = {"accessory.swings_away": False, "accessory.front_height": "30 in", "accessory.top_height": "30 in"}
    asked = {**BIKES, **door, **high, **mast}
    found = answer({name: wire for name, wire in asked.items() if name != "vehicle.overall_width"})
    step = next(one for one in found.next if one.fact == "vehicle.closure_hinge_offset")
    assert (step.works_if, step.fails_if) == ("", "")
    for told in ("0 in", "30 in", "60 in"):
        assert answer({**asked, step.fact: told}).outcome == "fails"


def test_a_hinge_stands_within_the_vehicle() -> None:
    """Where the vehicle's width is told, no place that its hinge can have lets the door past, and none is asked for."""
    door = {"vehicle.rear_closure": "side_hinged", "load.needs_closure_open": True, "vehicle.closure_length": "60 in"}
    high = {"vehicle.closure_hinge_height": "26 in", "vehicle.closure_hinge_setback": "14 in"}
    mast = {"accessory.swings_away": False, "accessory.front_height": "30 in", "accessory.top_height": "30 in"}
    found = answer({**BIKES, **door, **high, **mast, "vehicle.overall_width": "74 in"})
    assert (found.outcome, found.next) == ("fails", [])


def test_a_tongue_not_weighed_is_loaded_to_what_else_leaves() -> None:
    """Beside bikes in a dual receiver the need says how much of the rating is left for the tongue."""
    found = answerer().answer(asked([bikes(2), boat(gross_weight="1800 lb", tongue_weight=None)]))
    (need,) = (one for one in found.needs if one["need"] == "load_the_tongue")
    # 350 lb less 10 lb of mount, and 50 lb of carrier with 70 lb of bikes.
    assert (need["at_least"], need["at_most"]) == ("180 lb", "220 lb")
    results = {one.rule: one.result for one in found.findings}
    assert results["weight-on-one-receiver/opening.tongue_rating"] == "passes"


def test_no_remedy_weighs_nothing() -> None:
    """Where the people alone are too many no part is told that would have to weigh 0 lb."""
    found = answer({**BIKES, "load.occupants_weight": "1399 lb"})
    assert found.outcome == "fails"
    assert not [one.because for one in found.remedies if " 0 lb" in one.because]


def test_a_lighter_trailer_is_loaded_anew() -> None:
    """A trailer kept to less keeps not its tongue weight, and a light tongue is mended by no lighter trailer."""

    def reduced(**facts: str) -> list[dict[str, Any]]:
        told = {f"trailer.{name}": value for name, value in facts.items()}
        remedies = answer({**TOWED, **told, "vehicle.tow_rating": "2500 lb"}).remedies
        return [one.question["trailer"]["facts"] for one in remedies if one.change == "reduce"]

    (lighter,) = reduced(gross_weight="3000 lb", tongue_weight="400 lb")
    assert (lighter["gross_weight"], lighter["tongue_weight"]) == ("2500 lb", None)
    assert reduced(gross_weight="2400 lb", tongue_weight="100 lb") == []


def test_a_length_below_zero_is_told_without_its_sign() -> None:
    """A distance of -4 in is told as 4 in the other way, and at most that as at least so much; both ways each apart."""
    fact = answerer().rulebook.vocabulary.facts["accessory.rise"]
    assert isinstance(fact.type, NumberType)
    slot = Read(fact.type, fact.name)
    shown = answerer().wording.shown(slot)
    grid = grid_of(slot.type, shown, fact.range, slot.type.unknown, "us", fact.below_zero)
    inch = round(25.4 / grid.step)
    ends = ((None, -4), (-4, None), (-4, -2), (-2, 1), (-3, -3), (None, 3), (2, None), (None, None))
    told = [grid.bounds(*(None if end is None else end * inch for end in pair)) for pair in ends]
    assert told == [
        "at least 4 in of drop",
        "at most 4 in of drop, or anything the other way",
        "2 in to 4 in of drop",
        "anything from 2 in of drop to 1 in the other way",
        "3 in of drop",
        "at most 3 in",
        "at least 2 in",
        "any reading",
    ]
    known = grid_of(slot.type, shown, fact.range, (-20 * 25.4, 3 * 25.4), "us", fact.below_zero)
    assert known.bounds(-4 * inch, None) == "anything from 4 in of drop to 3 in the other way"


def test_what_a_trial_left_of_a_distance_is_all_that_a_reading_is_praised_for() -> None:
    """The bumper stands no farther back than 8 in by what cleared there: 10 in is a no, and no reading that works."""
    front: Facts = {"accessory.stow_setback": "9 in", "accessory.front_setback": "9 in"}
    told: Facts = {**BIKES, **front, "mounting.pin_to_bumper": {"at_most": "8 in"}}
    (step,) = [one for one in answer(told).next if one.fact == "mounting.pin_to_bumper"]
    assert step.works_if.endswith(" to 8 in the other way")
    assert answer({**told, "mounting.pin_to_bumper": "10 in"}).outcome == "fails"


def test_a_figure_above_zero_is_told_as_such_beside_one_below() -> None:
    """A drop of 2 in beside a rise of 2 in: each says which it is; alone a rise goes by its name."""
    fact = answerer().rulebook.vocabulary.facts["accessory.rise"]
    assert isinstance(fact.type, NumberType) and fact.above_zero == "of rise"
    slot = Read(fact.type, fact.name)
    shown = replace(answerer().wording.shown(slot), below="of drop", above="of rise")
    told = {
        ((-2.0, -2.0), (2.0, 2.0)): ["2 in of drop", "2 in of rise"],
        ((1.0, 1.0), (2.0, 2.0)): ["1 in", "2 in"],
        ((-2.0, -2.0), (1.0, inf)): ["2 in of drop", "at least 1 in of rise"],
        ((-2.0, -2.0), (0.0, 0.0)): ["2 in of drop", "0 in"],
        ((-2.0, -2.0), (-inf, inf)): ["2 in of drop", "unknown"],
        ((-2.0, -2.0), (-1.0, 1.0)): ["2 in of drop", "1 in of drop to 1 in of rise"],
        ((-2.0, 1.0), (-1.0, -1.0)): ["2 in of drop to 1 in of rise", "1 in of drop"],
    }
    for pair, words in told.items():
        assert texts([((low * 25.4, high * 25.4), shown) for low, high in pair], "us") == words
    other = replace(shown, below="ahead of the pin hole", above="behind it")
    assert texts([((-50.8, -50.8), other), ((50.8, 50.8), shown)], "us") == ["2 in ahead of the pin hole", "2 in"]
    grid = grid_of(slot.type, shown, fact.range, slot.type.unknown, "us", fact.below_zero, fact.above_zero)
    inch = round(25.4 / grid.step)
    assert grid.bounds(-2 * inch, inch) == "anything from 2 in of drop to 1 in of rise"
    assert grid.bounds(inch, 2 * inch) == "1 in to 2 in"


def test_a_figure_below_zero_stands_in_a_sentence_without_its_sign() -> None:
    """A rise of -2 in is a drop of 2 in, bounds turn about with the sign, and what is not known stays so."""
    fact = answerer().rulebook.vocabulary.facts["accessory.rise"]
    assert isinstance(fact.type, NumberType)
    shown = replace(answerer().wording.shown(Read(fact.type, fact.name)), below="of drop")
    told = {
        (-2.0, -2.0): "2 in of drop",
        (-3.0, -1.0): "2 in ± 1 in of drop",
        (-inf, -2.0): "at least 2 in of drop",
        (-2.0, inf): "at most 2 in of drop",
        (-2.0, 1.0): "2 in of drop to 1 in",
        (-2.0, 0.0): "0 in to 2 in of drop",
        (-inf, 2.0): "at most 2 in",
        (-inf, inf): "unknown",
        (1.0, inf): "at least 1 in",
        (0.0, 0.0): "0 in",
    }
    for (low, high), text in told.items():
        assert texts([((low * 25.4, high * 25.4), shown)], "us") == [text]


@pytest.mark.parametrize(("known", "ends"), [((195.0, 235.0), (195.0, 235.0)), ((2000.0, inf), (2000.0, 2000.0))])
def test_what_is_known_beyond_the_plausible_is_tried_as_it_is_known(
    known: tuple[float, float], ends: tuple[float, float]
) -> None:
    """A tyre's width, or a diameter that no tyre has, has readings: those that it is known to lie between."""
    slot = Read(answerer().rulebook.vocabulary.slots()["vehicle.tyre.width"], "vehicle.tyre.width")
    grid = grid_of(slot.type, answerer().wording.shown(slot), None, known)
    low, high = grid.value(grid.low), grid.value(grid.high)
    assert grid.low <= grid.high and isinstance(low, tuple) and isinstance(high, tuple)
    assert abs(low[0] - ends[0]) < 1.0 and abs(high[0] - ends[1]) < 1.0


@pytest.mark.parametrize(("fact", "used"), [("vehicle.placard_capacity", 800), ("vehicle.gcwr", 8950)])
def test_a_mount_that_is_not_weighed_weighs_something(fact: str, used: int) -> None:
    """Near payload or combination rating the mount's weight is asked for; far from it what is counted is told."""
    far, near, over = (answer({**TOWED, fact: f"{used + left} lb"}) for left in (60, 20, -1))
    assert (far.outcome, near.outcome, over.outcome) == ("works", "conditional", "fails")
    counted = "up to 60 lb are counted"
    assert [one for one in far.assumed if counted in one]
    (step,) = near.next
    assert (step.fact, step.works_if, step.fails_if) == ("accessory.weight", "at most 20 lb", "at least 21 lb")
    close = {**TOWED, fact: f"{used + 20} lb"}
    weighed = [answer({**close, "accessory.weight": mount}) for mount in ("20 lb", "21 lb")]
    assert [one.outcome for one in weighed] == ["works", "fails"]
    assert not [one for found in weighed for one in found.assumed if counted in one]


def test_a_step_bumper_bears_what_is_told_of_it() -> None:
    """A ball in a step bumper: the bumper's own figures count beside those of the receiver that it is."""
    ball = {name: value for name, value in TOWED.items() if not name.startswith(("accessory.", "mounting."))}
    hole = without(ball, "receiver.opening", "receiver.pin_hole", "receiver.pin_supplied", "receiver.tube_outside")
    told = {
        **hole,
        "receiver.place": "step_bumper",
        "trailer.gross_weight": "2990 lb",
        "trailer.tongue_weight": "340 lb",
    }
    for rating, most in (("vehicle.bumper_tongue_rating", 340), ("vehicle.bumper_trailer_rating", 2990)):
        enough, less = (answer({**told, rating: f"{figure} lb"}) for figure in (most, most - 1))
        assert enough.outcome != "fails"
        assert [one.rule for one in less.findings if one.result == "fails"] == [
            "bumper-bears-the-weight" if "tongue" in rating else "bumper-bears-the-trailer"
        ]


SLEEVE: Facts = {
    "kind": "reducer_sleeve",
    "adds_length": "0 in",
    "trailer_rating": "9000 lb",
    "tongue_rating": "900 lb",
}
DOOR_SPARE: Facts = {"vehicle.spare_location": "rear_door", "vehicle.spare_protrusion": "20 in"}


NO_DOOR: Facts = {**DOOR_SPARE, "vehicle.body": "sedan", "vehicle.spare_protrusion": "0 in"}
LARGER: Facts = {"receiver.opening": "2-1/2 in"}
TWO_PINS: Facts = {
    "receiver.pin_supplied": True,
    "accessory.pin_supplied": True,
    "accessory.pin_span": "3-3/4 in",
    "accessory.extension_allowed": True,
}
WHOLE_EXTENSION: Facts = {**EXTENSION, "keeps_fraction": "80 %"}


@pytest.mark.parametrize(
    ("changed", "adapter", "outcome", "rule"),
    [
        ({}, {**SLEEVE, "fits_opening": "2 in", "offers_opening": "2 in"}, "fails", "sleeve-makes-smaller"),
        (LARGER, {**SLEEVE, "fits_opening": "2-1/2 in", "offers_opening": "2 in"}, "works", ""),
        ({**DOOR_SPARE, "vehicle.body": "pickup"}, None, "fails", "folded-clears-door-spare"),
        ({**DOOR_SPARE, "vehicle.body": "sedan"}, None, "fails", "folded-clears-door-spare"),
        (NO_DOOR, None, "conditional", "door-spare-has-a-door"),
        ({"vehicle.body": "pickup"}, None, "works", ""),
        (TWO_PINS, {**WHOLE_EXTENSION, "tube_outside": "4 in"}, "conditional", "pin-spans-receiver"),
        ({**TWO_PINS, "accessory.pin_supplied": False}, {**WHOLE_EXTENSION, "tube_outside": "4 in"}, "conditional", ""),
        (TWO_PINS, WHOLE_EXTENSION, "works", ""),
        ({"load.exhaust_distance": "6 in"}, None, "conditional", "load-clear-of-exhaust"),
        ({"load.exhaust_distance": "20 in"}, None, "works", ""),
        ({"accessory.shank_ahead": "8 in"}, None, "conditional", "shank-goes-home"),
        ({"accessory.bike_tyre_max": "1-1/2 in"}, None, "conditional", "carrier-takes-usual-tyres"),
        ({"accessory.bike_wheelbase_max": "44 in"}, None, "conditional", "carrier-takes-usual-wheelbase"),
        ({"accessory.bike_tyre_max": "3 in", "accessory.bikes_held_by": "frame"}, None, "conditional", ""),
    ],
)
def test_what_is_told_is_judged(changed: Facts, adapter: Facts | None, outcome: str, rule: str) -> None:
    """No body, pin or silence of another fact switches off a rule whose own figures are told."""
    found = answer({**BIKES, **changed}, [adapter] if adapter else ())
    assert found.outcome == outcome
    assert not rule or rule in {one.rule for one in found.findings if one.result in ("fails", "undetermined")}


def test_a_reading_that_another_rule_refuses_lower_down_is_told_from_there_on() -> None:
    """A plate of D 10 kN: D is 9.81 T R / (T + R) (UN Regulation 55), so with 3,400 lb a GVWR of 6,628 lb is the most.

    The least is what the vehicle, people, tongue and a mount of at most 60 lb weigh: 5,150 + 300 + 400 + 60 lb.
    """
    facts = {**without(TOWED, "vehicle.gvwr"), "receiver.d_value": "10 kN", "load.occupants_weight": "300 lb"}
    found = answer(facts)
    (step,) = [one for one in found.next if one.fact == "vehicle.gvwr"]
    assert (step.works_if, step.leaves_open) == ("5910 lb to 6628 lb", 0)
    for gvwr, fits in (("5909 lb", False), ("5910 lb", True), ("6628 lb", True), ("6629 lb", False)):
        settled = answer({**facts, "vehicle.gvwr": gvwr})
        rules = {one.rule for one in settled.findings if one.result != "passes"}
        assert rules.isdisjoint({"pull-within-d-value", "people-and-luggage/payload.left_with_trailer"}) == fits


def test_a_reading_of_which_any_does_is_not_asked_for() -> None:
    """Whatever the wheelbase is, the axles bear it: nobody is sent to measure it."""
    found = answer(without(BIKES, "vehicle.wheelbase"))
    assert (found.outcome, found.next) == ("works", [])


def test_a_reading_of_which_any_does_is_told_as_such() -> None:
    """A step that any reading settles praises no one reading, in whichever language it is told."""
    found = answer(BIKES)
    for code, any_, told in (
        ("en", "any reading", "it is in order with any plausible reading, told as near as it can be measured"),
        (
            "es",
            "cualquier lectura",
            "está en orden con cualquier lectura plausible, dicha tan cerca como se pueda medir",
        ),
    ):
        with speaking(spoken_tongues(None).get(code, ENGLISH)):
            step = Next(fact="vehicle.wheelbase", ask="measure", how="", works_if=any_)
            assert said_of(step, found, None) == [told]


def test_a_tyre_is_told_by_the_part_that_decides() -> None:
    """Of a spare on the door its width decides: no tyre is told to fail as one of any diameter would."""
    spare = {"stowed_where": "rear_door"}
    rig = {"vehicle": {"id": "veh_mossback_2021_four"}, "receiver": {"id": "rcv_hookaby_tuck_3"}}

    def found(**facts: str) -> Answer:
        document = {"rig": {**rig, "spare": {"facts": {**spare, **facts}}}, "accessory": {"sku": "LLH-MESH-48"}}
        return answerer().answer(document, world())

    step = next(one for one in found().next if one.fact == "spare.tyre")
    assert (step.works_if, step.fails_if) == ("a width of at most 10-3/4 in", "a width of at least 10-13/16 in")
    for tyre in ("P155/80R13", "22x7R12", "245/75R16"):
        assert found(tyre=tyre).outcome == "conditional"
    for tyre in ("33X12.50R17LT", "37x12.5R17"):
        assert found(tyre=tyre).outcome == "fails"


IN_BED: Facts = {
    "receiver.place": "bed",
    "receiver.trailer_rating": "20000 lb",
    "receiver.tongue_rating": "5000 lb",
    "vehicle.placard_capacity": "4000 lb",
    "trailer.coupler_kind": "gooseneck_coupler",
    "trailer.gross_weight": "14000 lb",
    "trailer.tongue_weight": "2800 lb",
    "load.jurisdiction": "texas",
}


@pytest.mark.parametrize("told", [{}, {"load.occupants_weight": "300 lb"}, {"trailer.brakes": "electric"}])
def test_what_is_not_judged_is_said_first_and_no_reading_is_promised(told: Facts) -> None:
    """Of a hitch in the bed nothing that is learnt makes a yes: only what may yet refuse it is asked for."""
    found = answer({**IN_BED, **told})
    assert found.outcome == "undetermined"
    assert found.summary.startswith("Not sure yet. What couples in the bed, over the rear axle, is not judged here.")
    assert found.to_see_to[0].rules == ["bed-hitch-not-judged"]
    assert all(step.fails_if and not step.works_if and not step.leaves_open for step in found.next)
    refused = [
        answer({**IN_BED, **told, "trailer.gross_weight": "20001 lb"}),
        answer({**IN_BED, **told, "trailer.tongue_weight": "5001 lb"}),
    ]
    assert [one.outcome for one in refused] == ["fails", "fails"]
    assert all("by its own label" in one.summary for one in refused)


def test_a_place_that_may_be_the_bed_is_asked_for() -> None:
    """What could be told to settle it is asked for as ever."""
    found = answer({**TOWED, "receiver.place": ["frame", "bed"]})
    assert [step.fact for step in found.next][:1] == ["receiver.place"] and found.next[0].works_if
