"""Many ordinary questions, all facts exact, for benchmarks: varied figures around two invented rigs' questions."""

from random import Random
from typing import Any

_VEHICLE = {
    "body": "pickup",
    "wheelbase": "141 in",
    "rear_overhang": "48 in",
    "curb_weight": "4800 lb",
    "curb_weight_front": "2800 lb",
    "curb_weight_rear": "2000 lb",
    "gvwr": "6800 lb",
    "gawr_rear": "3900 lb",
    "gawr_front": "3700 lb",
    "gcwr": "14000 lb",
    "tow_rating": "7000 lb",
    "tow_rating_wd": "9000 lb",
    "tongue_rating": "700 lb",
    "tongue_rating_wd": "900 lb",
    "spare_location": "underbody",
    "spare_protrusion": "0 in",
    "socket": "blade_7",
    "brake_controller": True,
    "rear_closure": "drop_tailgate",
}
_RECEIVER = {
    "opening": "2 in",
    "pin_hole": "5/8 in",
    "tongue_rating": "600 lb",
    "trailer_rating": "6000 lb",
    "tongue_rating_wd": "800 lb",
    "trailer_rating_wd": "8000 lb",
    "weight_distribution_allowed": True,
    "hitch_class": "III",
    "tube_outside": "2-1/2 in",
    "pin_supplied": True,
    "chain_loop_opening": "1 in",
}
_CARRIER = {
    "kind": "bike_carrier",
    "shank": "2 in",
    "pin": "5/8 in",
    "weight": "55 lb",
    "capacity": "160 lb",
    "bikes_max": 4,
    "bike_weight_max": "40 lb",
    "stow_setback": "8 in",
    "front_setback": "8 in",
    "length": "20 in",
    "min_class": "III",
    "pin_supplied": True,
    "pin_span": "3 in",
    "obscures_plate": False,
    "obscures_lamps": False,
    "plug": "none",
    "extension_allowed": False,
    "rear_extent": "30 in",
    "width": "48 in",
    "lowest_drop": "2 in",
}
_MOUNT = {
    "kind": "ball_mount",
    "shank": "2 in",
    "pin": "5/8 in",
    "weight": "12 lb",
    "trailer_rating": "6000 lb",
    "tongue_rating": "600 lb",
    "ball_hole": "1 in",
    "rise": "-2 in",
    "platform_thickness": "5/8 in",
    "length": "10 in",
    "min_class": "none",
    "pin_supplied": True,
    "pin_span": "3 in",
    "extension_allowed": False,
    "lowest_drop": "3 in",
}
_BALL = {"diameter": "2 in", "shank_diameter": "1 in", "shank_length": "2 in", "rating": "6000 lb"}
_TRAILER = {
    "gross_weight": "3000 lb",
    "tongue_weight": "350 lb",
    "coupler": "2 in",
    "coupler_rating": "5000 lb",
    "coupler_height": "14 in",
    "brakes": "electric",
    "plug": "blade_7",
    "weight_distribution": False,
    "chain_count": 2,
    "chain_rating_each": "9000 lb",
    "chain_hook_size": "1/2 in",
    "body": "utility",
    "breakaway": True,
}
_SIZES = frozenset({"opening", "shank", "coupler", "diameter", "ball_hole", "shank_diameter"})
"""Facts whose figures come in sizes: another one would be another thing."""


def questions(count: int, seed: int = 1) -> list[dict[str, Any]]:
    """As many questions, half about a bike carrier, half about a trailer; some work, some fail."""
    random = Random(seed)
    return [_carrier(random) if i % 2 else _towing(random) for i in range(count)]


def unheard(count: int, seed: int = 1) -> list[dict[str, Any]]:
    """The same questions, each weight and length but sizes that goods come in another by less than a hundredth.

    A figure is one of a million, so that hardly one is ever told twice.
    """
    random = Random(seed)
    return [_unheard(random, one) for one in questions(count, seed)]


def _unheard(random: Random, one: Any) -> Any:
    if isinstance(one, dict):
        return {name: value if name in _SIZES else _unheard(random, value) for name, value in one.items()}
    figure, _, unit = one.partition(" ") if isinstance(one, str) else ("", "", "")
    if unit not in ("lb", "in") or not figure.removeprefix("-").isdigit() or figure == "0":
        return one
    return f"{int(figure) - random.randrange(1, 1_000_000) / 100_000_000:.8f} {unit}"


def _rig(random: Random) -> dict[str, Any]:
    vehicle = {**_VEHICLE, "gvwr": f"{random.randrange(6000, 7500, 50)} lb"}
    receiver = {**_RECEIVER, "tongue_rating": random.choice(["350 lb", "500 lb", "600 lb"])}
    mounting = {"pin_to_bumper": f"{random.randrange(2, 9)} in", "height": f"{random.randrange(14, 18)} in"}
    return {"vehicle": {"facts": vehicle}, "receiver": {"facts": receiver}, "mounting": {"facts": mounting}}


def _carrier(random: Random) -> dict[str, Any]:
    shank = random.choice(["2 in", "2 in", "2 in", "1-1/4 in"])
    carrier = {**_CARRIER, "weight": f"{random.randrange(30, 70)} lb", "shank": shank}
    load = {"bikes": random.randrange(1, 5), "bike_weight": f"{random.randrange(20, 42)} lb"}
    return {
        "rig": _rig(random),
        "accessory": {"facts": carrier},
        "load": {"facts": {**load, "occupants_weight": "600 lb"}},
    }


def _towing(random: Random) -> dict[str, Any]:
    gross = random.randrange(2400, 5600, 100)
    tongue = f"{round(gross * random.uniform(0.09, 0.14))} lb"
    trailer = {**_TRAILER, "gross_weight": f"{gross} lb", "tongue_weight": tongue}
    ball = {**_BALL, "diameter": random.choice(["2 in", "2 in", "2 in", "1-7/8 in"])}
    parts = {"accessory": {"facts": _MOUNT}, "ball": {"facts": ball}, "trailer": {"facts": trailer}}
    return {"rig": _rig(random), **parts, "load": {"facts": {"occupants_weight": "600 lb"}}}
