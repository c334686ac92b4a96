"""Where the tape goes: the points that a fact's `measured_along` or `measured_up` may name.

It is a hint for the drawing beside `how_to_measure` and changes no meaning, so the digest leaves it out.
"""

from dataclasses import dataclass
from typing import Final, Literal

from fitsvc.language.problems import nearest
from fitsvc.rulebook.shape import Shape
from fitsvc.rulebook.yaml_text import Mapping, Scalar

POINTS: Final = {
    "ground": "ground",
    "rear_axle": "rear axle's centre",
    "bumper": "rearmost point of the bumper",
    "hinge": "closure's hinge",
    "closure_edge": "closure's far edge",
    "door_spare": "rearmost point of the spare on the door",
    "wall": "what stands behind the parked vehicle",
    "pin_hole": "pin hole's centre",
    "opening_top": "top inside face of the opening",
    "shank_top": "top of the shank",
    "adapter_pin_hole": "centre of the adapter's own pin hole",
    "adapter_top": "top inside face of the adapter's opening",
    "front": "accessory's foremost part",
    "front_top": "top of the accessory's foremost part",
    "rear_end": "accessory's rearmost point",
    "top": "accessory's highest point",
    "lowest": "accessory's lowest point",
    "folded_front": "folded accessory's foremost point",
    "folded_rear": "folded accessory's rearmost point",
    "folded_top": "folded accessory's highest point",
    "load_front": "load's foremost point",
    "load_top": "load's highest point",
    "ball_hole": "centre of the ball hole",
    "platform_top": "top of the ball platform",
    "ball": "centre of the ball",
    "coupler": "underside of the coupler",
    "jack": "foremost part of the jack",
    "jack_top": "top of the jack",
}
"""Each point on the rear of a rig, in words; the drawing knows where it lies."""

KEYS: Final = ("measured_along", "measured_up")


@dataclass(frozen=True, slots=True)
class Tape:
    """How the tape lies: along the ground or straight up, from one named point to another."""

    lies: Literal["along", "up"]
    start: str
    end: str


def read_tape(shape: Shape, entry: Mapping, kind: str) -> Tape | None:
    """The measuring points of one fact, if it names them."""
    given = [key for key in KEYS if key in entry.entries]
    if not given:
        return None
    key, node = given[0], entry.entries[given[0]]
    if kind != "length" or len(given) > 1:
        shape.complain(node, "measuring points are given once, of a length", "leave the other one out")
    items = shape.items(node, f"`{key}`")
    names = [item.value or "" if isinstance(item, Scalar) else "" for item in items]
    for name, item in zip(names, items, strict=True):
        if name not in POINTS:
            near = nearest(name, POINTS)
            help = f"did you mean `{near}`?" if near else "it is one of " + ", ".join(f"`{point}`" for point in POINTS)
            shape.complain(item, f"`{name}` is not a measuring point", help)
    if len(names) != 2 or len(set(names)) != 2:
        shape.complain(node, f"`{key}` names two points", f"write `{key}: [FROM, TO]`")
        return None
    return Tape("along" if key == "measured_along" else "up", names[0], names[1])
