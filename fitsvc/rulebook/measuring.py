"""Where the tape goes: the points that a fact's `measured_along` or `measured_up` may name.

It is a hint for the drawing beside `how_to_measure` and changes no meaning, so the digest leaves it out.
"""

from dataclasses import dataclass
from typing import Final, Literal

from fitsvc.language.problems import nearest
from fitsvc.rulebook.shape import Shape
from fitsvc.rulebook.yaml_text import Mapping, Scalar
from fitsvc.tongues import later

POINTS: Final = {
    "ground": later("ground"),
    "rear_axle": later("rear axle's centre"),
    "bumper": later("rearmost point of the bumper"),
    "hinge": later("closure's hinge"),
    "closure_edge": later("closure's far edge"),
    "door_spare": later("rearmost point of the spare on the door"),
    "wall": later("what stands behind the parked vehicle"),
    "pin_hole": later("pin hole's centre"),
    "opening_top": later("top inside face of the opening"),
    "shank_top": later("top of the shank"),
    "adapter_pin_hole": later("centre of the adapter's own pin hole"),
    "adapter_top": later("top inside face of the adapter's opening"),
    "front": later("accessory's foremost part"),
    "front_top": later("top of the accessory's foremost part"),
    "rear_end": later("accessory's rearmost point"),
    "top": later("accessory's highest point"),
    "lowest": later("accessory's lowest point"),
    "folded_front": later("folded accessory's foremost point"),
    "folded_rear": later("folded accessory's rearmost point"),
    "folded_top": later("folded accessory's highest point"),
    "load_front": later("load's foremost point"),
    "load_top": later("load's highest point"),
    "ball_hole": later("centre of the ball hole"),
    "platform_top": later("top of the ball platform"),
    "ball": later("centre of the ball"),
    "coupler": later("underside of the coupler"),
    "jack": later("foremost part of the jack"),
    "jack_top": later("top of the jack"),
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
