"""Towbars with a ball of their own, told by the plate alone: D and S in the place of ratings, and no mount to sell."""

from collections.abc import Mapping
from itertools import product
from typing import Any, Final

import pytest
from judging import answer, answerer, case, open_needs
from test_rules_trade import TOWED, reasons

TOWBAR: Final[Mapping[str, Any]] = {
    "vehicle.body": "suv", "vehicle.curb_weight": "1900 kg", "vehicle.curb_weight_front": "1050 kg",
    "vehicle.curb_weight_rear": "850 kg", "vehicle.gvwr": "2500 kg", "vehicle.gawr_front": "1300 kg",
    "vehicle.gawr_rear": "1400 kg", "vehicle.gcwr": "4500 kg", "vehicle.placard_capacity": "600 kg",
    "vehicle.tow_rating": "2000 kg", "vehicle.tongue_rating": "90 kg", "vehicle.socket": "iso_13",
    "vehicle.wheelbase": "2800 mm", "vehicle.rear_overhang": "900 mm", "receiver.place": "towball",
    "receiver.own_ball": "50 mm", "receiver.d_value": "11 kN", "receiver.vertical_rating": "90 kg",
    "mounting.height": "405 mm", "mounting.pin_to_bumper": "-90 mm", "mounting.fitted": True,
    "trailer.body": "utility", "trailer.gross_weight": "1800 kg", "trailer.tongue_weight": "85 kg",
    "trailer.coupler": "50 mm", "trailer.coupler_rating": "2000 kg", "trailer.coupler_height": "420 mm",
    "trailer.brakes": "surge", "trailer.breakaway": True, "trailer.plug": "iso_13", "trailer.chain_count": 0,
    "trailer.weight_distribution": False, "load.occupants_weight": "200 kg", "load.jurisdiction": "great_britain",
}  # fmt: skip
"""A braked trailer on a fixed ball; nobody names a trailer rating of the towbar, since its plate has none."""
SPARE: Final[Mapping[str, Any]] = {
    "vehicle.spare_location": "rear_door", "vehicle.spare_protrusion": "300 mm",
    "vehicle.spare_bottom_height": "350 mm",
}  # fmt: skip
"""A spare on the door that reaches farther back than the ball and hangs lower than the coupler on it."""


def test_a_plate_with_d_and_s_is_enough() -> None:
    """D = 9.81 x 2.5 x 1.8 / 4.3 = 10.27 kN (UN Regulation 55): a yes, without a mount and with no rating to read."""
    found = answer(TOWBAR)
    assert (found.outcome, found.needs, found.next) == ("works", [], [])


LEFT_OUT: Final[Mapping[str, str]] = {
    "vehicle.body": "nobody takes a vehicle for a trailer",
    "vehicle.curb_weight": "both axles were weighed, and together they are it",
    "vehicle.placard_capacity": "GVWR and curb weight tell the payload",
    "vehicle.curb_weight_front": "the rear axle leaves it of the curb weight, and a twentieth less is still enough",
    "vehicle.gawr_front": "both axle ratings can do no more than contradict the payload",
    "vehicle.wheelbase": "the rear axle bears the tongue with any that a vehicle has",
    "receiver.place": "a ball of the towbar's own that is told is one",
    "trailer.chain_count": "a breakaway cable stands in for chains: with one none is asked for",
    "trailer.weight_distribution": "what is not mentioned is not used",
    "mounting.fitted": "a part to fit, told as a caution",
}
"""What may be left out of it, and why."""


@pytest.mark.parametrize("fact", sorted(TOWBAR))
def test_no_fact_left_out_leaves_a_yes(fact: str) -> None:
    """An unknown never becomes a yes: but for what is argued, each fact left out makes the answer less."""
    left = {name: value for name, value in TOWBAR.items() if name != fact}
    assert (answer(left).outcome == "works") == (fact in LEFT_OUT)


def test_a_curb_weight_is_taken_from_both_axles_alone() -> None:
    """Left out it is what they add up to, neither less nor with one of them left out, and the answer says so."""
    untold = {name: value for name, value in TOWBAR.items() if name != "vehicle.curb_weight"}
    assert any("curb weight on the front axle" in one for one in answer(untold).assumed)
    for axle in ("vehicle.curb_weight_front", "vehicle.curb_weight_rear"):
        assert answer({name: value for name, value in untold.items() if name != axle}).outcome != "works"
    # 1,900 kg, a driver and companions of 200 kg, and 85 kg on the ball; nobody tells the label's payload.
    by_axles = {name: value for name, value in untold.items() if name != "vehicle.placard_capacity"}
    enough, less = (answer({**by_axles, "vehicle.gvwr": gvwr}).outcome for gvwr in ("2185 kg", "2184 kg"))
    assert (enough, less) == ("works", "fails")


@pytest.mark.parametrize(
    ("told", "rule"),
    [
        ({"receiver.d_value": "10.2 kN"}, "pull-within-d-value-alone"),
        ({"vehicle.gvwr": "3500 kg"}, "pull-within-d-value-alone"),
        ({"receiver.vertical_rating": "79 kg"}, "tongue-weight/towing.opening_tongue_rating"),
        ({"receiver.own_ball": "2 in"}, "own-ball-fits-coupler"),
        ({"trailer.coupler": "2 in"}, "own-ball-fits-coupler"),
        ({"receiver.own_ball": "1-7/8 in", "trailer.coupler": "1-7/8 in"}, "own-ball-large-enough"),
        ({"ball.diameter": "2 in"}, "one-ball-on-the-towbar"),
        ({"ball.diameter": "50 mm", "ball.rating": "1799 kg"}, "trailer-weight/ball.rating"),
        ({"mounting.height": "320 mm"}, "ball-in-place-near-the-couplers-height"),
        ({"vehicle.gawr_rear": "929 kg"}, "rear-axle-with-ball-in-place"),
        ({"mounting.pin_to_bumper": "0 mm"}, "own-ball-behind-bumper"),
        (SPARE, "coupler-clears-door-spare"),
        ({"trailer.weight_distribution": True}, "no-bars-on-a-bumper"),
        ({"trailer.coupler": None, "trailer.ring_diameter": "3 in"}, "ball-in-place-takes-no-ring"),
        ({"accessory.kind": "ball_mount", "accessory.shank": "2 in"}, "no-opening-beside-an-own-ball"),
        ({"accessory.kind": "bike_carrier", "accessory.shank": "2 in"}, "no-opening-beside-an-own-ball"),
    ],
)
def test_what_the_towbar_does_not_bear(told: Mapping[str, Any], rule: str) -> None:
    """Plate, ball, height, axle, spring bars, a ring, and whatever has a shank: each refused by name."""
    facts = {name: value for name, value in {**TOWBAR, **told}.items() if value is not None}
    assert answer(facts).outcome == "fails"
    assert rule in reasons(facts, "fails")


@pytest.mark.parametrize(
    ("fact", "told"),
    [
        ("receiver.vertical_rating", "no more than its S value, so read that"),
        ("receiver.d_value", "Read the D value on the receiver's plate"),
        ("vehicle.gvwr", "the GVWR of vehicle and trailer on their labels"),
    ],
)
def test_a_plate_half_read_is_no_yes(fact: str, told: str) -> None:
    """D without S, S without D, and D without the vehicle's mass: each is open, and it is said what to read."""
    found = answer({name: value for name, value in TOWBAR.items() if name != fact})
    assert found.outcome == "undetermined"
    assert any(told in one.reason for one in found.findings if one.result == "undetermined")


def test_a_mount_is_not_sold_for_a_ball_that_is_there() -> None:
    """Without the word that the ball is the towbar's own, a mount is asked for, and the answer says what it takes."""
    opened = {**TOWBAR, "receiver.place": "frame"}
    del opened["receiver.own_ball"]
    assert open_needs(opened) == {"towing-mount"}
    assert any("ball of its own" in one for one in answer(opened).assumed)


def test_the_plate_of_a_towbar_is_what_is_asked_for() -> None:
    """Of a towbar with a ball of its own nobody is sent for a label that it does not have: S and D are on its plate."""
    found = answer({name: wire for name, wire in TOWBAR.items() if name != "receiver.vertical_rating"})
    assert found.outcome == "undetermined"
    assert [(step.fact, step.works_if) for step in found.next] == [("receiver.vertical_rating", "at least 188 lb")]
    assert found.next[0].doubted_if == "more than 881 lb"
    pull = answer({name: wire for name, wire in TOWBAR.items() if name != "receiver.d_value"})
    assert (pull.next[0].fact, pull.next[0].works_if) == ("receiver.d_value", "at least 10.27 kN")


def test_where_a_breakaway_cable_stands_in_for_chains_none_are_asked_for() -> None:
    """UN Regulation 13, 5.2.2.9: a trailer that brakes when it breaks away needs no second coupling.

    Where nobody tells of the cable, it is what is asked for, before any chain.
    """
    uncounted = {name: wire for name, wire in TOWBAR.items() if name != "trailer.chain_count"}
    assert (answer(uncounted).outcome, answer(uncounted).next) == ("works", [])
    untold = answer({name: wire for name, wire in uncounted.items() if name != "trailer.breakaway"})
    assert untold.outcome != "works"
    assert [step.fact for step in untold.next][:1] == ["trailer.breakaway"]
    assert answer({**uncounted, "trailer.breakaway": False}).outcome != "works"


@pytest.mark.parametrize(
    ("place", "outcome"),
    [
        ("great_britain", "works"),
        ("european_union", "works"),
        ("other_european", "conditional"),
        ("elsewhere", "fails"),
    ],
)
def test_a_breakaway_cable_stands_in_for_chains_in_another_european_country_with_a_caution(
    place: str, outcome: str
) -> None:
    """UN Regulation 13; that Norway, Switzerland and Turkey go by it is from memory, so it is never a plain yes."""
    there = {**TOWBAR, "load.jurisdiction": place, "trailer.brakes": "surge", "trailer.breakaway": True}
    found = answer({**there, "trailer.chain_count": 0})
    assert found.outcome == outcome
    told = {one.rule for one in found.findings if one.result == "fails"}
    assert ("chains-spared-by-its-own-law" in told) == (place == "other_european")
    uncabled = answer({**there, "trailer.breakaway": False, "trailer.chain_count": 0})
    assert uncabled.outcome == "fails"


@pytest.mark.parametrize(
    ("hook", "loop", "outcome"),
    [
        ("40 mm", "40 mm", "conditional"),
        ("41 mm", "40 mm", "fails"),
        ("30 mm", "0 mm", "fails"),
        (None, "0 mm", "fails"),
        (None, "40 mm", "conditional"),
    ],
)
def test_a_chain_that_holds_alone_can_be_hooked_in(hook: str | None, loop: str, outcome: str) -> None:
    """Up to 1,500 kg a chain stands in the breakaway cable's place there; what cannot be hooked in holds nothing."""
    chain = {"trailer.gross_weight": "1400 kg", "trailer.breakaway": False, "trailer.chain_count": 1}
    strong = {"trailer.chain_rating_each": "4000 kg", "receiver.chain_loop_opening": loop}
    found = answer({**TOWBAR, **chain, **strong, **({} if hook is None else {"trailer.chain_hook_size": hook})})
    assert found.outcome == outcome
    refused = {one.rule for one in found.findings if one.result == "fails"}
    assert ("chain-that-holds-alone-hooks-in" in refused) == (outcome == "fails")


PLATED: Final[Mapping[str, Any]] = {
    **{name: wire for name, wire in TOWED.items() if name != "load.jurisdiction"},
    "receiver.d_value": "20 kN",
    "receiver.vertical_rating": "200 kg",
}
"""A trailer that a mount tows anywhere."""
HELD: Final[Mapping[str, tuple[Any, ...]]] = {
    "trailer.brakes": (None, "none", "surge", "electric"),
    "trailer.breakaway": (None, False, True),
    "trailer.chain_count": (None, 0, 1, 2),
    "trailer.chain_rating_each": (None, "500 kg", "9000 kg"),
}
"""What holds a trailer should it break away, untold and told: every way."""
_PLACES: Final = (
    "european_union", "great_britain", "other_european", "texas", "michigan", "illinois", "pennsylvania", "australia",
    "new_zealand", "elsewhere", ["european_union", "texas"], None,
)  # fmt: skip
_WEIGHTS: Final = (("650 kg", "700 kg"), ("650 kg", "1600 kg"), ("1200 kg", "1500 kg"), ("1200 kg", "1600 kg"),
                   ("1200 kg", None), ("1400 kg", "2000 kg"), ("1550 kg", "1600 kg"))  # fmt: skip
"""What the trailer weighs, and what its own label allows."""


def _told(**facts: Any) -> dict[str, Any]:
    return {f"{name.replace('__', '.')}": wire for name, wire in facts.items() if wire is not None}


@pytest.mark.parametrize("place", _PLACES, ids=str)
def test_nothing_untold_of_what_holds_a_trailer_is_a_yes_that_a_value_of_it_is_not(place: Any) -> None:
    """Over brakes, breakaway, chains and their strength, each untold or told: a yes holds for whatever is untold.

    Without brakes nothing is there that a breakaway cable could set: both told are a contradiction, and no value.
    """
    towed = {name: wire for name, wire in PLATED.items() if name not in HELD}
    yes = 0
    for weighs, label in _WEIGHTS:
        whole = {**towed, "trailer.gross_weight": weighs, "trailer.tongue_weight": "80 kg"}
        whole |= _told(trailer__gvwr=label, load__jurisdiction=place)
        found: dict[tuple[Any, ...], str] = {}
        for ways in product(*HELD.values()):
            told = {name: wire for name, wire in zip(HELD, ways, strict=True) if wire is not None}
            found[ways] = answerer().engine.evaluate(case({**whole, **told})).outcome
        for ways in (ways for ways, outcome in found.items() if outcome == "works"):
            yes += 1
            for at, values in enumerate(HELD.values()):
                others = [(*ways[:at], value, *ways[at + 1 :]) for value in values if ways[at] is None]
                worse = [
                    other for other in others if found[other] != "works" and (other[0], other[1]) != ("none", True)
                ]
                assert not worse, (weighs, label, ways, worse)
    assert yes


def test_a_cable_that_nobody_tells_of_is_asked_for_beside_a_chain() -> None:
    """Up to 1,500 kg by what it weighs, and by its own label, a chain may stand in for a breakaway cable in Europe."""
    chain = {"trailer.chain_count": 1, "trailer.chain_rating_each": "9000 kg", "trailer.chain_hook_size": "30 mm"}
    light = {**TOWBAR, **chain, "receiver.chain_loop_opening": "40 mm", "trailer.gross_weight": "1200 kg"}
    for place, label in product(("european_union", "great_britain", "other_european"), ("1600 kg", "1200 kg", None)):
        there = {**light, "load.jurisdiction": place, **_told(trailer__gvwr=label)}
        assert answer(there).outcome == "works"
        del there["trailer.breakaway"]
        untold = answer(there)
        assert untold.outcome == "conditional"
        assert [step.fact for step in untold.next][:1] == ["trailer.breakaway"]
        assert answer({**there, "trailer.breakaway": False}).outcome == "conditional"


@pytest.mark.parametrize(
    ("place", "outcome"),
    [("european_union", "conditional"), ("great_britain", "conditional"), ("texas", "fails"), (None, "fails")],
)
def test_a_weak_chain_beside_a_breakaway_cable_is_refused_only_where_chains_are_asked_for(
    place: str | None, outcome: str
) -> None:
    """A trailer that may go without a chain is not refused for one that is too weak; nobody counts it or not."""
    weak = {name: wire for name, wire in PLATED.items() if name != "trailer.chain_count"}
    weak |= {"trailer.brakes": "surge", "trailer.chain_rating_each": "500 lb", **_told(load__jurisdiction=place)}
    assert answer({**weak, "trailer.chain_count": 1}).outcome == outcome
    assert answer(weak).outcome == "conditional"
    told = reasons({**weak, "trailer.chain_count": 1}, "fails")
    assert ("chain-beside-the-breakaway-cable" in told) == (outcome == "conditional")
    assert ("chains-together-strong-enough" in told) == (outcome == "fails")
    if outcome == "conditional":
        assert answer({**weak, "trailer.chain_count": 0}).outcome == "works"
