"""Several things for one rig, in figures that are easily summed: bikes, a trailer and a step in a dual receiver."""

from collections.abc import Mapping, Sequence
from typing import Any

DUAL = {
    "kind": "dual_receiver",
    "fits_opening": "2 in",
    "offers_opening": "2 in",
    "pin": "5/8 in",
    "pin_hole": "5/8 in",
    "pin_supplied": True,
    "tube_outside": "3 in",
    "adds_length": "1 in",
    "keeps_fraction": "100 %",
    "adds_rise": "0 in",
    "trailer_rating": "3500 lb",
    "tongue_rating": "350 lb",
    "weight": "0 lb",
}
VEHICLE = {
    "body": "suv",
    "tongue_rating": "500 lb",
    "tow_rating": "5000 lb",
    "gvwr": "6500 lb",
    "curb_weight": "4500 lb",
    "gcwr": "11000 lb",
    "gawr_rear": "3600 lb",
    "gawr_front": "3300 lb",
    "curb_weight_rear": "2200 lb",
    "curb_weight_front": "2300 lb",
    "wheelbase": "120 in",
    "rear_overhang": "40 in",
    "socket": "blade_7",
    "rear_closure": "lift_gate",
    "spare_location": "inside",
}
RECEIVER = {
    "opening": "2 in",
    "hitch_class": "III",
    "pin_hole": "5/8 in",
    "pin_supplied": True,
    "tube_outside": "3 in",
    "trailer_rating": "5000 lb",
    "tongue_rating": "500 lb",
    "chain_loop_opening": "1 in",
}
BIKES = {
    "kind": "bike_carrier",
    "shank": "2 in",
    "pin": "5/8 in",
    "pin_supplied": True,
    "weight": "50 lb",
    "capacity": "160 lb",
    "length": "20 in",
    "rear_extent": "40 in",
    "front_setback": "10 in",
    "stow_setback": "8 in",
    "lowest_drop": "-4 in",
    "top_height": "40 in",
    "plug": "none",
    "obscures_lamps": False,
    "bikes_held_by": "wheels",
}
MOUNT = {
    "kind": "ball_mount",
    "shank": "2 in",
    "pin": "5/8 in",
    "pin_supplied": True,
    "weight": "10 lb",
    "rise": "0 in",
    "length": "10 in",
    "rear_extent": "12 in",
    "lowest_drop": "3 in",
    "top_height": "4 in",
    "trailer_rating": "5000 lb",
    "tongue_rating": "500 lb",
}
TRAILER = {
    "gross_weight": "2500 lb",
    "tongue_weight": "300 lb",
    "coupler": "2 in",
    "coupler_rating": "5000 lb",
    "brakes": "none",
    "plug": "flat_4",
    "chain_count": 2,
    "coupler_height": "17 in",
}

Part = dict[str, Any]
"""A part of a question."""


def rig(*adapters: Mapping[str, Any], **vehicle: Any) -> Part:
    """Give the rig with these adapters in the opening."""
    return {
        "vehicle": {"facts": {**VEHICLE, **vehicle}},
        "receiver": {"facts": RECEIVER},
        "mounting": {"facts": {"height": "18 in", "pin_to_bumper": "4 in", "fitted": True}},
        "adapters": [{"facts": dict(one)} for one in adapters],
    }


def towbar(place: str = "towball") -> Part:
    """Give the rig with a ball of the towbar's own, or one that goes into a step bumper."""
    own = rig()
    ball = {"own_ball": "2 in"} if place == "towball" else {"ball_hole": "1 in", "bumper_thickness": "5/16 in"}
    own["receiver"]["facts"] = {
        "place": place,
        "trailer_rating": "5000 lb",
        "tongue_rating": "500 lb",
        "chain_loop_opening": "1 in",
        **ball,
    }
    own["mounting"]["facts"] |= {"pin_to_bumper": "-4 in"}
    return own


def bikes(number: int = 4, **facts: Any) -> Part:
    """Give a bike carrier with bikes of 35 lb."""
    load = {"facts": {"bikes": number, "bike_weight": "35 lb"}}
    return {"name": "bikes", "hangs_on": "rear_receiver", "accessory": {"facts": {**BIKES, **facts}}, "load": load}


def boat(mount: Mapping[str, Any] = MOUNT, **facts: Any) -> Part:
    """Give a trailer on its mount."""
    return {
        "name": "boat",
        "hangs_on": "rear_receiver",
        "accessory": {"facts": dict(mount)},
        "ball": {"facts": {"diameter": "2 in", "rating": "6000 lb"}},
        "trailer": {"facts": {**TRAILER, **facts}},
    }


def step(**facts: Any) -> Part:
    """Give a step of 20 lb that takes 300 lb."""
    told = {"kind": "step", "shank": "2 in", "pin": "5/8 in", "pin_supplied": True, "weight": "20 lb"}
    told |= {
        "capacity": "300 lb",
        "length": "8 in",
        "rear_extent": "10 in",
        "lowest_drop": "2 in",
        "top_height": "1 in",
    }
    return {"name": "step", "hangs_on": "rear_receiver", "accessory": {"facts": {**told, **facts}}}


def asked(things: Sequence[Part], on: Part | None = None, **load: Any) -> Part:
    """Give the question about several things; what hangs in front is told to be on the vehicle of the rig."""
    whole = on or rig(DUAL)
    told = [
        {**one, "rig": {**one["rig"], "vehicle": whole["vehicle"]}}
        if one.get("hangs_on") == "front_receiver" and "vehicle" in one.get("rig", {})
        else one
        for one in things
    ]
    return {"rig": whole, "load": {"facts": load}, "together": told}
