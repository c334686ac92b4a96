"""What is known of the lengths, angles and choices that a drawing shows, by the rulebook's own names."""

from collections.abc import Mapping
from math import inf, isfinite
from typing import Final

from fitsvc.answers.phrases import UNKNOWN
from fitsvc.answers.wording import Wording
from fitsvc.facts import Case
from fitsvc.language.display import System, show
from fitsvc.language.intervals import Bounds
from fitsvc.language.quantities import LENGTH
from fitsvc.language.truth import YES
from fitsvc.language.typed import AnyTyped, Read
from fitsvc.language.types import ListType, NumberType, Type, Value

NAMES: Final = (
    "vehicle.rear_overhang", "vehicle.tyre_radius", "vehicle.tyre.diameter", "vehicle.departure_angle",
    "vehicle.rear_closure", "vehicle.closure_hinge_height", "vehicle.closure_length", "vehicle.closure_hinge_setback",
    "mounting.height", "mounting.pin_to_bumper", "opening.reach", "opening.height",
    "accessory.kind", "accessory.length", "accessory.rear_extent", "accessory.front_setback",
    "accessory.stow_setback", "accessory.stow_extent", "accessory.stow_height", "accessory.tilts_clear",
    "accessory.lowest_drop", "accessory.front_height", "accessory.top_height", "accessory.rise",
    "accessory.rise_lowest", "accessory.rise_highest", "ball.diameter", "trailer.coupler_height",
    "trailer.jack_behind_ball", "trailer.jack_height", "load.front_setback", "load.top_height", "load.steepest_grade",
    "load.parking_room", "load.rear_sag", "load.needs_closure_open", "spare.stowed_where", "spare.tyre.diameter",
    "spare.tyre.width",
    "vehicle.tyre.width", "kind.carries", "kind.tows", "clearance.folded", "clearance.in_use", "clearance.door_spare",
    "clearance.door_spare_reach", "clearance.ball_behind", "ground.behind_axle", "ground.lowest_empty",
    "ground.lowest_loaded", "ground.departure_angle", "ground.tyre_radius",
)  # fmt: skip
"""Facts, derived values and facts of the working opening that a side view reads; a rulebook may lack some."""


class Measures:
    """The values of `NAMES` in one case. Lengths are in mm, angles in degrees, each as bounds."""

    def __init__(self, wording: Wording, case: Case, system: System) -> None:
        self.wording, self.system = wording, system
        self.case = wording.engine.opened(case)
        slots = wording.rulebook.vocabulary.slots()
        nodes = {name: node for name in NAMES if (node := _node(wording, name, slots)) is not None}
        found = wording.engine.values(("drawing",), lambda: list(nodes.values())).of(self.case)
        self._nodes = nodes
        self._values: dict[str, Value] = dict(zip(nodes, found, strict=True))

    def of(self, name: str) -> Bounds:
        """The bounds of a number; without end where nothing is known."""
        value = self._values.get(name)
        return value if isinstance(value, tuple) else (-inf, inf)

    def known(self, name: str) -> Bounds | None:
        """The bounds of a number that is known from both sides."""
        bounds = self.of(name)
        return bounds if isfinite(bounds[0]) and isfinite(bounds[1]) else None

    def choice(self, name: str) -> str:
        """The one member that a list value is known to be; empty where several are possible."""
        node, value = self._nodes.get(name), self._values.get(name)
        if node is None or not isinstance(node.type, ListType) or not isinstance(value, int):
            return ""
        names = node.type.names(value)
        return names[0] if len(names) == 1 else ""

    def size(self, name: str) -> float | None:
        """The length of the one member that a size is known to be."""
        node, member = self._nodes.get(name), self.choice(name)
        if node is None or not isinstance(node.type, ListType) or not member or not node.type.sizes:
            return None
        return node.type.sizes[node.type.members.index(member)]

    def sure(self, name: str) -> bool:
        """Whether a yes/no is surely yes."""
        return self._values.get(name) == YES

    def present(self, subject: str) -> bool:
        """Whether the question is about a subject."""
        return subject in self.case.present

    def label(self, name: str) -> str:
        """A fact's or derived value's wording."""
        return self.wording.label(name)

    def text(self, name: str) -> str:
        """What is known of a number, in the user's units."""
        node = self._nodes.get(name)
        if node is None or not isinstance(node.type, NumberType):
            return UNKNOWN
        shown = self.wording.shown(Read(node.type, name))
        low, high = self.of(name)
        return show(low, high, node.type.dimension, shown.unit, self.system)

    def length_text(self, bounds: Bounds) -> str:
        """A length in the user's units."""
        return show(*bounds, LENGTH, "in", self.system)


def middle(bounds: Bounds) -> float:
    """The middle of finite bounds."""
    return bounds[0] + (bounds[1] - bounds[0]) / 2


def plus(*each: Bounds | None) -> Bounds | None:
    """The sum of finite bounds; None where one is not known."""
    known = [one for one in each if one is not None]
    return (sum(low for low, _ in known), sum(high for _, high in known)) if len(known) == len(each) else None


def minus(bounds: Bounds | None) -> Bounds | None:
    """The same, counted the other way."""
    return (-bounds[1], -bounds[0]) if bounds else None


def _node(wording: Wording, name: str, slots: Mapping[str, Type]) -> AnyTyped | None:
    rulebook = wording.rulebook
    if name in rulebook.derived:
        return rulebook.derived[name].node
    if name in rulebook.opening:
        return Read(rulebook.opening[name].type, name)
    return Read(slots[name], name) if name in slots else None
