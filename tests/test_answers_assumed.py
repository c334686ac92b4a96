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
}
CARRIER: Facts = {
    "accessory.kind": "cargo_carrier",
    "accessory.weight": "60 lb",
    "accessory.capacity": "240 lb",
    "receiver.tongue_rating": "400 lb",
    "vehicle.placard_capacity": "1000 lb",
    "load.occupants_weight": "300 lb",
    "load.cargo_weight": "100 lb",
}
DISTRIBUTION = "Weight distribution is not mentioned, so it is not used. The plain ratings count."
DRIVER = "Nobody is named who rides along, so a driver of 150 lb is counted, and no luggage."
UNWEIGHED = "Nobody has weighed what goes into the receiver, so up to 60 lb are counted for it beside the trailer."
LABEL = "No load is named, so the carrier is judged with what its own label allows on it."
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
        (without(CARRIER, "load.cargo_weight"), [LABEL]),
        (without(CARRIER, "load.cargo_weight", "load.occupants_weight"), [DRIVER, LABEL]),
        # With a load named, who rides along is asked for: nobody is taken for granted.
        (without(CARRIER, "load.occupants_weight"), []),
        ({"accessory.kind": "locking_pin"}, []),
    ],
)
def test_what_is_taken_for_granted_is_told(facts: Facts, told: list[str]) -> None:
    """Common practice, no source: a driver of 150 lb, plain ratings, a proper share on the tongue, a full carrier."""
    assert answer(facts).assumed == told


def test_what_is_assumed_is_no_caution_too() -> None:
    """Each is told once, among what is assumed."""
    found = answer(without(MOUNT, "trailer.weight_distribution"))
    assert not set(found.assumed) & set(found.cautions)
