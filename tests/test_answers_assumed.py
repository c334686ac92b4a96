"""What the question does not say and would say if it were so: the answer tells what it takes in its place."""

from typing import Any

import pytest
from judging import Facts, answer

MOUNT: Facts = {
    "accessory.kind": "ball_mount",
    "trailer.gross_weight": "3000 lb",
    "trailer.tongue_weight": "350 lb",
    "receiver.tongue_rating": "500 lb",
    "load.occupants_weight": "300 lb",
    "trailer.weight_distribution": False,
    "receiver.place": "frame",
    "vehicle.body": "pickup",
    "trailer.coupler": "2 in",
    "trailer.coupler_kind": "ball_coupler",
    "trailer.gvwr": "3500 lb",
    "accessory.shank_ahead": "4 in",
}
CARRIER: Facts = {
    "accessory.kind": "cargo_carrier",
    "accessory.weight": "60 lb",
    "accessory.capacity": "240 lb",
    "accessory.length": "20 in",
    "receiver.tongue_rating": "400 lb",
    "vehicle.placard_capacity": "1000 lb",
    "load.occupants_weight": "300 lb",
    "load.cargo_weight": "100 lb",
    "receiver.place": "frame",
    "vehicle.exhaust_outlet": "aside",
    "load.front_setback": "8 in",
    "accessory.shank_ahead": "4 in",
}
DISTRIBUTION = "Weight distribution is not mentioned, so it is not used. The plain ratings count."
NEAR = "The load's middle is taken to lie within 24 in of the pin hole: farther out the receiver bears less."
FRAME = (
    "Nobody says what the receiver is fastened to, so it is taken to be on the frame at the rear, and not on a bumper, "
    "which bears less."
)
COUPLER = (
    "Nobody says what coupling the trailer has, so by its ball size it is taken for a coupler that closes over a ball "
    "behind the vehicle, and for no gooseneck."
)
MOTORHOME = (
    "Nobody says what body the vehicle has, so it is taken to be no motorhome. Behind the rear axle of one look under "
    "it for a lengthened frame, which may bear less than the receiver."
)
DRIVER = "Nobody is named who rides along, so a driver of 150 lb is counted, and no luggage."
UNWEIGHED = "Nobody has weighed what goes into the receiver, so up to 60 lb are counted for it beside the trailer."
LABEL = "No load is named, so the carrier is judged with what its own label allows on it."
EXHAUST = (
    "Nobody says which way the exhaust blows, so it is taken not to blow straight back at what is carried. Look: "
    "behind a tailpipe that does it wants 18 in."
)
BAND = (
    "Nobody has weighed the tongue, so a tenth to 15 % of the trailer's weight is taken to rest on it, "
    "as a trailer is loaded."
)


def without(facts: Facts, *names: str, **more: Any) -> Facts:
    """The facts but for some."""
    return {name: wire for name, wire in {**facts, **more}.items() if name not in names}


@pytest.mark.parametrize(
    ("facts", "told"),
    [
        (MOUNT, []),
        (without(MOUNT, "trailer.weight_distribution"), [DISTRIBUTION]),
        (without(MOUNT, "trailer.tongue_weight"), [BAND]),
        # Nobody asks for the payload, so no driver is counted against it; where it is told, one is.
        (without(MOUNT, "load.occupants_weight"), []),
        ({**without(MOUNT, "load.occupants_weight"), "vehicle.placard_capacity": "1000 lb"}, [DRIVER, UNWEIGHED]),
        (CARRIER, []),
        (without(CARRIER, "vehicle.exhaust_outlet"), [EXHAUST]),
        (without(CARRIER, "accessory.length"), []),
        ({**without(CARRIER, "accessory.length"), "receiver.tongue_rating": "239 lb"}, [NEAR]),
        (without(CARRIER, "load.cargo_weight"), [LABEL]),
        (without(CARRIER, "load.cargo_weight", "load.occupants_weight"), [DRIVER, LABEL]),
        # With a load named, who rides along is asked for: nobody is taken for granted.
        (without(CARRIER, "load.occupants_weight"), []),
        ({"accessory.kind": "locking_pin", "receiver.place": "frame"}, []),
        ({"accessory.kind": "locking_pin"}, [FRAME]),
        (without(MOUNT, "receiver.place"), [FRAME]),
        (without(CARRIER, "receiver.place"), [FRAME]),
        (without(MOUNT, "trailer.coupler_kind"), [COUPLER]),
        (without(MOUNT, "vehicle.body"), [MOTORHOME]),
    ],
)
def test_what_is_taken_for_granted_is_told(facts: Facts, told: list[str]) -> None:
    """Common practice, no source: a driver of 150 lb, plain ratings, a proper share on the tongue, a full carrier."""
    assert answer(facts).assumed == told


def test_what_is_assumed_is_no_caution_too() -> None:
    """Each is told once, among what is assumed."""
    found = answer(without(MOUNT, "trailer.weight_distribution"))
    assert not set(found.assumed) & set(found.cautions)


@pytest.mark.parametrize(
    ("bumper", "outcome"),
    [
        ({}, "not_applicable"),
        # Common practice, no source: a pickup's step bumper bears 3,500 lb or so, its receiver more.
        ({"vehicle.bumper_trailer_rating": "3500 lb"}, "passes"),
        ({"vehicle.bumper_trailer_rating": "2999 lb"}, "undetermined"),
        ({"vehicle.bumper_trailer_rating": "2999 lb", "receiver.place": "frame"}, "not_applicable"),
        ({"vehicle.bumper_trailer_rating": "2999 lb", "receiver.place": "bumper"}, "fails"),
    ],
)
def test_where_the_bumper_would_not_bear_it_the_place_is_asked_for(bumper: Facts, outcome: str) -> None:
    """A bumper's rating that is told makes the place no matter of course: it is asked for where it decides."""
    facts = {**without(MOUNT, "receiver.place"), **bumper}
    found = {one.rule: one for one in answer(facts).findings}.get("bumper-bears-the-trailer")
    assert (found.result if found else "not_applicable") == outcome
    assert not found or "receiver.place" in found.facts


@pytest.mark.parametrize("rating", ["trailer_rating", "tongue_rating"])
def test_the_place_that_decides_is_what_is_asked_for(rating: str) -> None:
    """Told too little for it, the bumper's rating is not asked for again: on the frame it works, and it says so."""
    found = answer({**without(MOUNT, "receiver.place"), f"vehicle.bumper_{rating}": "20 lb"})
    (place,) = [step for step in found.next if step.fact == "receiver.place"]
    assert place.works_if == "on the frame at the rear" and "on the bumper" in place.fails_if
    assert any("look what the receiver is fastened to" in one.reason for one in found.findings)
    assert not any("so it is taken to be on the frame" in one for one in found.assumed)
    assert any("what the receiver is fastened to" in one for one in found.assumed)
