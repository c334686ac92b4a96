"""Random rigs for drawings, with every fact a side view shows, and the drawing read back from its SVG."""

import random
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from xml.etree import ElementTree

import demo_world

from fitsvc.answers.question import read_question
from fitsvc.answers.things import Thing, read_things
from fitsvc.drawing.ink import Drawing
from fitsvc.drawing.side_view import side_view
from fitsvc.facts import Case
from fitsvc.language.display import System

SVG = "{http://www.w3.org/2000/svg}"
CARRIERS = ("bike_carrier", "cargo_carrier", "ski_carrier", "mobility_carrier")
TOWS = ("ball_mount", "adjustable_ball_mount")


@dataclass
class Read:
    """A drawing's elements, and lengths in it in mm."""

    root: ElementTree.Element

    @property
    def scale(self) -> float:
        """Units a mm."""
        return float(self.root.get("data-units-per-mm") or 0)

    def x(self, units: float) -> float:
        """Rearward from the bumper, mm."""
        return (units - float(self.root.get("data-bumper") or 0)) / self.scale

    def z(self, units: float) -> float:
        """Up from the ground, mm."""
        return (float(self.root.get("data-ground") or 0) - units) / self.scale

    def all(self, tag: str, **attributes: str) -> list[ElementTree.Element]:
        """The elements with these attributes; a class among others counts."""
        wanted = {key.rstrip("_").replace("_", "-"): value for key, value in attributes.items()}
        return [
            one
            for one in self.root.iter(f"{SVG}{tag}")
            if all(
                value in (one.get(key) or "").split() if key == "class" else one.get(key) == value
                for key, value in wanted.items()
            )
        ]

    def box(self, name: str) -> tuple[float, float, float, float]:
        """A box's left, right, bottom and top in mm, as it surely is."""
        (rect,) = [one for one in self.all("rect", data_box=name) if "d-range" not in (one.get("class") or "")]
        return self.rect(rect)

    def rect(self, rect: ElementTree.Element) -> tuple[float, float, float, float]:
        """A rectangle's left, right, bottom and top in mm."""
        x, y, wide, high = (float(rect.get(key) or 0) for key in ("x", "y", "width", "height"))
        return self.x(x), self.x(x + wide), self.z(y + high), self.z(y)

    def line(self, **attributes: str) -> tuple[float, float, float, float]:
        """The one line's x1, z1, x2, z2 in mm."""
        (found,) = self.all("line", **attributes)
        x1, y1, x2, y2 = (float(found.get(key) or 0) for key in ("x1", "y1", "x2", "y2"))
        return self.x(x1), self.z(y1), self.x(x2), self.z(y2)


def case_of(facts: dict[str, dict[str, Any]], adapters: list[dict[str, Any]] | None = None) -> Case:
    """A case of the real rulebook; numbers are mm, and degrees for an angle."""
    wire: dict[str, Any] = {name: {"facts": _wire(values)} for name, values in facts.items()}
    rig: dict[str, Any] = {
        name: wire.pop(name) for name in ("vehicle", "receiver", "mounting", "spare") if name in wire
    }
    rig["adapters"] = [{"facts": _wire(one)} for one in adapters or []]
    return read_question({"rig": rig, **wire}, demo_world.answerer().reader, demo_world.world()).case


def things_of(several: Sequence[tuple[dict[str, dict[str, Any]], list[dict[str, Any]]]]) -> list[Thing]:
    """What hangs in one receiver of the first one's rig, each in adapters of its own."""
    shared = {name: {"facts": _wire(several[0][0][name])} for name in ("vehicle", "receiver", "mounting")}
    # What holds for all that is on one rig is one thing's.
    known = demo_world.answerer().rulebook.vocabulary.facts
    journey = {name: told for name, told in several[0][0]["load"].items() if known[f"load.{name}"].serves == "shared"}
    together = [
        {
            "hangs_on": "rear_receiver",
            "rig": {"adapters": [{"facts": _wire(one)} for one in adapters]},
            "load": {"facts": _wire(facts["load"] | journey)},
            **{name: {"facts": _wire(facts[name])} for name in ("accessory", "trailer") if name in facts},
        }
        for facts, adapters in several
    ]
    document = {"rig": shared, "together": together}
    return read_things(document, demo_world.answerer().reader, demo_world.world())


def _wire(values: dict[str, Any]) -> dict[str, Any]:
    units = {"departure_angle": "deg", "steepest_grade": "%"}
    return {
        name: f"{value!r} {units.get(name, 'mm')}" if isinstance(value, float) else value
        for name, value in values.items()
    }


def draw(case: Case, system: System = "us", **more: Any) -> tuple[Drawing, Read]:
    """The drawing and what is read back from it."""
    drawing = side_view(demo_world.answerer().wording, case, system, **more)
    return drawing, Read(ElementTree.fromstring(drawing.svg))


def random_facts(seed: int) -> tuple[dict[str, dict[str, Any]], list[dict[str, Any]]]:
    """Every fact a side view shows, drawn so that about as much strikes as clears."""
    chance = random.Random(seed)

    def mm(low: float, high: float) -> float:
        return round(chance.uniform(low, high), 1)

    tows = chance.random() < 0.4
    closure = chance.choice(("drop_tailgate", "drop_tailgate", "lift_gate", "side_hinged", "twin_doors", "trunk_lid"))
    hinge = {"lift_gate": (1100, 2000)}.get(closure, (760, 1000))
    vehicle = {
        "body": chance.choice(("suv", "pickup", "van")),
        "rear_overhang": mm(500, 3000),
        "tyre": "245/75R16",
        "tyre_radius": mm(280, 385),
        "departure_angle": mm(8, 40),
        "rear_closure": closure,
        "closure_hinge_height": mm(*hinge),
        "closure_length": mm(500, 1400),
        "closure_hinge_setback": mm(0, 400),
        "closure_hinge_offset": mm(300, 900),
        "spare_location": chance.choice(("rear_door", "underbody")),
        "spare_protrusion": mm(0, 300),
    }
    height, bumper, front = mm(300, 700), mm(-100, 250), mm(0, 400)
    accessory = {
        "kind": chance.choice(TOWS if tows else CARRIERS),
        "length": front + mm(10, 300),
        "front_setback": front,
        "rear_extent": front + mm(310, 1500),
        "stow_setback": mm(0, 400),
        "stow_extent": mm(410, 800),
        "stow_height": mm(100, 2000),
        "lowest_drop": mm(0, 250),
        "lowest_behind": mm(100, front + 310),
        "top_height": mm(60, 2000),
        "front_height": mm(50, 2000),
        "width": mm(100, 1800),
        "tilts_clear": chance.random() < 0.2,
        "rise": mm(-200, 150),
        "rise_lowest": mm(-300, -50),
        "rise_highest": mm(0, 200),
    }
    load: dict[str, Any] = {
        "needs_closure_open": not tows or seed % 2 == 0,
        "steepest_grade": mm(5, 60),
        "rear_sag": mm(0, 60),
        "parking_room": mm(100, 1500),
        "front_setback": mm(0, 400),
        "top_height": mm(100, 2200),
    }
    facts: dict[str, dict[str, Any]] = {
        "vehicle": vehicle,
        "receiver": {"opening": "2 in"},
        "mounting": {"height": height, "pin_to_bumper": bumper},
        "accessory": accessory,
        "load": load,
    }
    if not tows and seed % 3 == 0:
        load["cargo_weight"] = "100 lb"
    if tows:
        facts["trailer"] = {
            "coupler_height": mm(300, 700),
            "jack_behind_ball": mm(100, 800),
            "jack_height": mm(600, 1500),
        }
    adapters = [{"kind": "extension", "adds_length": mm(100, 400), "adds_rise": mm(-50, 100)}]
    return facts, adapters if chance.random() < 0.3 else []
