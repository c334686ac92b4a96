"""A trailer on a ball that no mount holds, beside all else on the rig: every sum is held to, and nothing is overlooked.

The sums are arithmetic on the figures of the question; that all that hangs on a vehicle is held against payload, axles
and combined rating together is what the placard and the makers' labels say (49 CFR 575.6, and common practice).
"""

from collections.abc import Mapping
from random import Random
from typing import Any, Final

import pytest
from effort import NIGHTLY
from judging import answer, case
from test_rules_hazards import HELD, is_about, tries
from test_rules_towbars import TOWBAR
from test_rules_trade import reasons
from working_rigs import Rig, works

BESIDE: Final[Mapping[str, Any]] = {
    "beside.hangs_on": "rear_receiver", "beside.things": 0, "beside.weight": "0 kg", "beside.adapters": "0 kg",
    "beside.on_vehicle": "0 kg", "beside.on_rear_axle": "0 kg", "beside.off_front_axle": "0 kg",
    "beside.on_front_axle": "0 kg", "beside.in_combination": "0 kg", "beside.on_trailer": "0 kg",
    "beside.leans_on_pin": False, "beside.loads_trailer": False, "beside.tows": False, "beside.uses_socket": False,
}  # fmt: skip
"""Nothing else on the rig, told by hand."""
STEP: Final[Mapping[str, Any]] = {
    **TOWBAR, "receiver.place": "step_bumper", "receiver.own_ball": None, "receiver.ball_hole": "1 in",
    "receiver.bumper_thickness": "5/16 in", "receiver.trailer_rating": "2200 kg", "receiver.tongue_rating": "220 kg",
    "receiver.chain_loop_opening": "2 in", "vehicle.bumper_trailer_rating": "2200 kg",
    "vehicle.bumper_tongue_rating": "220 kg", "vehicle.rear_closure": "none", "ball.diameter": "50 mm",
    "ball.shank_diameter": "1 in", "ball.shank_length": "2-1/8 in", "ball.rating": "2200 kg",
    "mounting.pin_to_bumper": "-100 mm", "trailer.jack_behind_ball": "600 mm", "trailer.jack_width": "100 mm",
    "trailer.jack_height": "600 mm",
}  # fmt: skip
"""The same trailer on a ball in a step bumper, which stands behind all else of the bumper."""
RIGS: Final[Mapping[str, Mapping[str, Any]]] = {
    "towball": {**TOWBAR, **BESIDE},
    "step_bumper": {name: value for name, value in {**STEP, **BESIDE}.items() if value is not None},
}


@pytest.mark.parametrize("place", RIGS)
def test_a_trailer_on_a_ball_in_place_works_beside_nothing(place: str) -> None:
    """What follows begins with a plain yes."""
    assert answer(RIGS[place]).outcome == "works"


@pytest.mark.parametrize("place", RIGS)
@pytest.mark.parametrize(
    ("told", "outcome", "rule"),
    [
        ({"beside.on_vehicle": "315 kg"}, "works", ""),
        ({"beside.on_vehicle": "316 kg"}, "fails", "all-within-payload"),
        ({"beside.on_rear_axle": "225 kg", "beside.on_vehicle": "225 kg"}, "works", ""),
        ({"beside.on_rear_axle": "440 kg"}, "fails", "rear-axle-with-all"),
        ({"beside.off_front_axle": "70 kg"}, "works", ""),
        ({"beside.off_front_axle": "80 kg"}, "conditional", "front-axle-with-all"),
        ({"beside.in_combination": "600 kg"}, "works", ""),
        ({"beside.in_combination": "601 kg"}, "fails", "combination-with-all"),
        ({"beside.uses_socket": True}, "conditional", "one-plug-in-the-socket"),
        ({"beside.tows": True}, "fails", "one-trailer"),
        ({"beside.things": 1, "beside.weight": "20 kg"}, "fails", "an-opening-for-each"),
        ({"beside.loads_trailer": True, "beside.on_trailer": "201 kg"}, "undetermined", ""),
        ({"load.bikes": 2, "load.bike_weight": "25 kg"}, "fails", "load-is-borne"),
        ({"load.cargo_weight": "1 kg"}, "fails", "load-is-borne"),
        ({"load.person_weight": "80 kg"}, "fails", "only-steps-are-stood-upon"),
        ({"vehicle.tow_rating": "0 kg", "trailer.gross_weight": None}, "fails", "vehicle-is-for-towing"),
        ({"receiver.trailer_rating": "0 kg", "trailer.gross_weight": None}, "fails", "receiver-is-for-towing"),
    ],
)
def test_all_else_on_the_rig_counts_beside_a_ball_in_place(
    place: str, told: Mapping[str, Any], outcome: str, rule: str
) -> None:
    """On it as on a mount: a payload of 600 kg bears 85 kg of tongue, 200 kg of people, and 315 kg more."""
    facts = {name: value for name, value in {**RIGS[place], **told}.items() if value is not None}
    assert answer(facts).outcome == outcome
    assert rule in {"", *reasons(facts, "fails")}


@pytest.mark.parametrize("place", RIGS)
@pytest.mark.parametrize("fact", sorted(BESIDE))
def test_what_is_untold_of_all_else_is_no_yes(place: str, fact: str) -> None:
    """An unknown never becomes a yes, but where nothing of a trailer at the rear hangs on it."""
    left = {name: value for name, value in RIGS[place].items() if name != fact}
    nothing_hangs_on_it = fact in {"beside.weight", "beside.on_trailer", "beside.leans_on_pin"}
    assert (answer(left).outcome == "works") == nothing_hangs_on_it


ABOUT = [(place, name) for place, facts in RIGS.items() for name, line in HELD.items() if is_about(line, case(facts))]


@pytest.mark.parametrize(("place", "name"), ABOUT)
def test_no_exceeded_rating_works_on_a_ball_in_place(place: str, name: str) -> None:
    """Whatever exceeds a rating is no plain yes without a mount either, and whatever is not told."""
    line, rng = HELD[name], Random(None if NIGHTLY else name)
    found = list(tries(rng, line, Rig("", case(RIGS[place]))))
    assert found, f"it is exceeded in no way: {line.text}"
    for one in found:
        assert not works(one), f"{line.text}, and it works: {sorted(one.facts.items())}"


GATE: Final[Mapping[str, Any]] = {
    **TOWBAR, "load.needs_closure_open": True, "vehicle.rear_closure": "lift_gate",
    "vehicle.closure_hinge_height": "1400 mm", "vehicle.closure_length": "1000 mm",
    "vehicle.closure_hinge_setback": "250 mm", "trailer.jack_behind_ball": "350 mm", "trailer.jack_height": "900 mm",
    "trailer.jack_width": "30 mm",
}  # fmt: skip
"""A lift gate that must open: the jack's top is 690 mm behind its hinge and 500 mm below, so 852 mm from it."""


@pytest.mark.parametrize(
    ("told", "outcome"),
    [
        ({}, "fails"),
        ({"vehicle.closure_length": "853 mm"}, "fails"),
        ({"vehicle.closure_length": "852 mm"}, "works"),
        ({"trailer.jack_height": "600 mm"}, "works"),
        ({"trailer.jack_behind_ball": "600 mm"}, "works"),
        ({"load.needs_closure_open": None}, "works"),
        ({"vehicle.rear_closure": None}, "conditional"),
        ({"vehicle.closure_hinge_height": None}, "conditional"),
        ({"vehicle.closure_length": None}, "conditional"),
        ({"vehicle.closure_hinge_setback": None}, "conditional"),
        ({"trailer.jack_height": None}, "conditional"),
        ({"trailer.jack_behind_ball": None}, "conditional"),
    ],
)
def test_a_lift_gate_that_must_open_clears_the_jack(told: Mapping[str, Any], outcome: str) -> None:
    """By the straight line from the hinge to the jack's top: what is not told of it is seen to at the vehicle."""
    facts = {name: value for name, value in {**GATE, **told}.items() if value is not None}
    assert answer(facts).outcome == outcome
