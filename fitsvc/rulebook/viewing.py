"""What the side view takes from a rulebook: for each of the drawing's own words, the fact or condition it is drawn by.

`drawing.yaml` names a fact or derived value for every length, angle and size, and writes a condition for every yes or
no; `none` says that a rulebook has nothing of the sort. A rule says by `draws` which of the shapes its finding marks.
"""

from collections.abc import Mapping as Map
from typing import Final

from fitsvc.language.problems import nearest
from fitsvc.language.quantities import ANGLE, LENGTH, NUMBER, Dimension
from fitsvc.language.typed import Read
from fitsvc.language.types import TRUTH, ListType, NumberType, Type
from fitsvc.rulebook.bodies import BODY, read_bodies
from fitsvc.rulebook.expressions import Expressions
from fitsvc.rulebook.forms import EXPRESSION, Form, Kind, by_name, one_of
from fitsvc.rulebook.rules import Body, Draws, Taken
from fitsvc.rulebook.shape import Shape
from fitsvc.rulebook.yaml_text import Mapping, Node, Scalar

FILE: Final = "drawing.yaml"
NONE: Final = "none"

SIZE: Final = "size"
CHOICE: Final = "choice"
WANTED: Final[Map[str, Dimension | Type | str]] = {
    "rear_overhang": LENGTH,
    "wheel_radius": LENGTH,
    "tyre_radius": LENGTH,
    "tyre_diameter": LENGTH,
    "tyre_width": LENGTH,
    "departure_angle": ANGLE,
    "closure": CHOICE,
    "closes": TRUTH,
    "must_open": TRUTH,
    "closure_swings_up": TRUTH,
    "closure_swings_sideways": TRUTH,
    "hinge_height": LENGTH,
    "hinge_setback": LENGTH,
    "closure_length": LENGTH,
    "door_spare": TRUTH,
    "door_spare_reach": LENGTH,
    "spare_diameter": LENGTH,
    "spare_width": LENGTH,
    "spare_underneath": TRUTH,
    "body": CHOICE,
    "wheelbase": LENGTH,
    "at_front": TRUTH,
    "pin_to_bumper": LENGTH,
    "opening_size": SIZE,
    "shank": SIZE,
    "receiver_height": LENGTH,
    "adapters_reach": LENGTH,
    "opening_height": LENGTH,
    "stands_out": TRUTH,
    "front": LENGTH,
    "front_setback": LENGTH,
    "front_height": LENGTH,
    "rear_extent": LENGTH,
    "top_height": LENGTH,
    "lowest_drop": LENGTH,
    "lowest_behind_axle": LENGTH,
    "lowest_height": LENGTH,
    "lowest_height_loaded": LENGTH,
    "departure_angle_with_it": ANGLE,
    "tilts_clear": TRUTH,
    "tilts": TRUTH,
    "swings": TRUTH,
    "bikes": NUMBER,
    "bikes_most": NUMBER,
    "folds": TRUTH,
    "folded_front": LENGTH,
    "folded_setback": LENGTH,
    "folded_extent": LENGTH,
    "folded_height": LENGTH,
    "load_setback": LENGTH,
    "load_height": LENGTH,
    "tows": TRUTH,
    "mount_length": LENGTH,
    "mount_adjusts": TRUTH,
    "mount_rise": LENGTH,
    "mount_rise_lowest": LENGTH,
    "mount_rise_highest": LENGTH,
    "ball_behind": LENGTH,
    "ball_size": SIZE,
    "coupler_height": LENGTH,
    "jack_behind_ball": LENGTH,
    "jack_height": LENGTH,
    "steepest_grade": NUMBER,
    "parking_room": LENGTH,
    "beside_rear": LENGTH,
    "beside_underside": LENGTH,
    "beside_top": LENGTH,
}
"""The drawing's words, and what each is: a dimension, a yes or no, a size or a choice from any list."""

SHAPES: Final = ("in use", "front", "folded", "shortest", "load", "jack", "lowest", "vehicle")
AGAINST: Final = ("bumper", "spare", "closure", "wall", "ramp", "beside")
"""The shapes a rule may mark, and what they are held against."""
DRAWS: Final = Form("`draws`", {"shape": one_of(*SHAPES), "against": one_of(*AGAINST)})
_TAKEN: Final[Kind] = Form("the side view", dict.fromkeys(WANTED, EXPRESSION)).kind
DRAWING_FILE: Final = Form(FILE, {"side_view": _TAKEN}, {"bodies": by_name(BODY.kind)})


def read_draws(shape: Shape, entry: Mapping) -> Draws | None:
    """What a rule says that it draws."""
    node = entry.entries.get("draws")
    told = shape.form(node, DRAWS) if node is not None else None
    if told is None:
        return None
    return Draws(
        shape.one_of(told, "shape", SHAPES), shape.one_of(told, "against", AGAINST, what="what a shape is held against")
    )


def read_drawing(read: Expressions, tree: Node | None) -> tuple[dict[str, Taken], dict[str, Body]]:
    """What the side view takes, and the outlines of bodies, of a folder's `drawing.yaml`; nothing without the file."""
    top = read.shape.form(tree, DRAWING_FILE) if tree is not None else None
    if top is None:
        return {}, {}
    return _side_view(read, top), read_bodies(read.shape, top.entries.get("bodies"))


def _side_view(read: Expressions, top: Mapping) -> dict[str, Taken]:
    given = dict(read.shape.open_mapping(top.entries["side_view"], "`side_view`"))
    taken: dict[str, Taken] = {}
    meant = set[str | None]()
    for word, node in given.items():
        if word not in WANTED:
            near = nearest(word, WANTED)
            meant.add(near)
            known = ", ".join(f"`{one}`" for one in WANTED)
            help = f"did you mean `{near}`?" if near else f"it draws {known}"
            read.shape.complain(node, f"the side view draws no `{word}`", help)
        elif not (isinstance(node, Scalar) and node.value == NONE):
            one = _taken(read, word, node)
            taken |= {word: one} if one is not None else {}
    missing = [f"`{word}`" for word in WANTED if word not in given and word not in meant]
    if missing:
        help = f"name the fact or derived value that tells it, or write `{NONE}`: what rests on it is not drawn"
        read.shape.complain(top.entries["side_view"], f"the side view lacks {', '.join(missing)}", help)
    return taken


def _taken(read: Expressions, word: str, node: Node) -> Taken | None:
    """What a word is drawn by, held to what is wanted of it."""
    wanted = WANTED[word]
    expected = TRUTH if wanted is TRUTH else NumberType(wanted) if isinstance(wanted, Dimension) else None
    found = read.read_node(node, word, expected)
    if found is None or wanted is TRUTH:
        return Taken("", found) if found is not None else None
    if not isinstance(found, Read):
        read.shape.complain(node, f"`{word}` is a fact or a derived name", "give the expression a name in `derived`")
    elif expected is None and not (isinstance(found.type, ListType) and (wanted == CHOICE or found.type.sizes)):
        read.shape.complain(node, f"`{word}` is chosen from a list{' of sizes' * (wanted == SIZE)}")
    else:
        return Taken(found.name, found)
    return None
