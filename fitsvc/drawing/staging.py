"""Which facts place what: from a case's measures to the scene, and what the rules say strikes what."""

from collections.abc import Iterator
from typing import Final

from fitsvc.drawing.measures import Measures, middle, minus, plus
from fitsvc.drawing.scene import Angle, Box, Closure, Mark, Scene
from fitsvc.language.intervals import Bounds

HERE: Final[Bounds] = (0.0, 0.0)
MARKS: Final = {
    "folded-clears-bumper": ("folded", "bumper"),
    "in-use-clears-bumper": ("in use", "bumper"),
    "enclosed-clears-bumper": ("in use", "bumper"),
    "load-clears-bumper": ("load", "bumper"),
    "folded-clears-door-spare": ("folded", "spare"),
    "in-use-clears-door-spare": ("in use", "spare"),
    "load-clears-door-spare": ("load", "spare"),
    "closure-opens-past-accessory": ("front", "closure"),
    "closure-opens-past-folded": ("folded", "closure"),
    "closure-opens-past-load": ("load", "closure"),
    "tailgate-clears-jack": ("jack", "closure"),
    "clears-steepest-grade": ("lowest", "ramp"),
    "vehicle-clears-steepest-grade": ("vehicle", "ramp"),
    "fits-where-it-is-parked": ("shortest", "wall"),
}
"""The rules whose findings a side view marks: which of the accessory's shapes they hold against what."""


def scene_of(measures: Measures) -> Scene:
    """Place everything that is known."""
    scene = Scene(measures=measures)
    _vehicle(scene)
    _receiver(scene)
    if measures.present("accessory") and measures.choice("accessory.kind") != "locking_pin":
        _accessory(scene)
    _towing(scene)
    _ground(scene)
    scene.marks = list(_marks(scene))
    return scene


def _vehicle(scene: Scene) -> None:
    m = scene.measures
    overhang = scene.need("vehicle.rear_overhang")
    scene.along("vehicle.rear_overhang", HERE, forward=True)
    radius = m.known("ground.tyre_radius")
    scene.need("vehicle.tyre_radius")
    if overhang is not None and radius is not None:
        scene.wheel = (-middle(overhang), radius)
        scene.above("vehicle.tyre_radius", minus(overhang), m.known("vehicle.tyre_radius"))
    kind = m.choice("vehicle.rear_closure")
    if kind and kind != "none":
        _closure(scene, kind)
    elif not kind:
        scene.missing.append(m.label("vehicle.rear_closure"))
    if m.sure("clearance.door_spare"):
        _door_spare(scene)


def _closure(scene: Scene, kind: str) -> None:
    m = scene.measures
    setback, height = scene.need("vehicle.closure_hinge_setback"), scene.need("vehicle.closure_hinge_height")
    length = scene.need("vehicle.closure_length")
    if setback is None or height is None or length is None:
        return
    word = m.wording.rulebook.vocabulary.words.get("rear_closure", {}).get(kind, kind)
    scene.closure = Closure(kind, word, -middle(setback), height, length)
    scene.above("vehicle.closure_hinge_height", minus(setback), height)
    scene.along("vehicle.closure_hinge_setback", HERE, forward=True)
    scene.along("vehicle.closure_length", minus(setback))


def _door_spare(scene: Scene) -> None:
    """The spare on the rear door; how high it hangs is no fact, so it stands on the height of the bumper."""
    m = scene.measures
    reach = scene.need("clearance.door_spare_reach")
    if reach is None:
        return
    scene.along("clearance.door_spare_reach", HERE)
    across = m.known("spare.tyre.diameter") or m.known("vehicle.tyre.diameter") or (700.0, 700.0)
    thick = m.known("spare.tyre.width") or m.known("vehicle.tyre.width") or (220.0, 220.0)
    foot = middle(scene.closure.z) + 100.0 if scene.closure and scene.closure.door else 750.0
    left = (reach[0] - middle(thick), reach[0] - middle(thick))
    scene.boxes["spare"] = Box(
        name="spare",
        label="spare on the rear door",
        left=left,
        right=reach,
        bottom=(foot, foot),
        top=(foot + middle(across),) * 2,
    )


def _receiver(scene: Scene) -> None:
    m = scene.measures
    scene.pin = minus(scene.need("mounting.pin_to_bumper"))
    scene.along("mounting.pin_to_bumper", HERE, forward=True)
    height = scene.need("mounting.height")
    scene.opening = height
    scene.seat = scene.pin
    if m.case.adapters:
        scene.along("opening.reach", scene.pin)
        scene.seat = plus(scene.pin, scene.need("opening.reach"))
        scene.opening = scene.need("opening.height")
    scene.above("opening.height" if m.case.adapters else "mounting.height", scene.seat, scene.opening)


def _accessory(scene: Scene) -> None:
    m = scene.measures
    drop = scene.need("accessory.lowest_drop")
    bottom = plus(scene.opening, minus(drop)) if drop else scene.opening
    top = plus(scene.opening, scene.need("accessory.top_height"))
    _add_box(scene, "in use", "in use", "clearance.in_use", "accessory.rear_extent", bottom, top)
    scene.along("accessory.front_setback", scene.seat)
    scene.along("accessory.rear_extent", scene.seat)
    box = scene.boxes.get("in use")
    if box and top:
        scene.above("accessory.top_height", box.right, top, f"{m.label('accessory.top_height')}, above the ground")
    front = m.known("accessory.front_height")
    if box and front and scene.opening:
        height = plus(scene.opening, front)
        assert height is not None
        capped = (min(height[0], box.top[0]), min(height[1], box.top[1])) if top else height
        scene.boxes["front"] = Box(
            name="front",
            label="accessory's front",
            left=box.left,
            right=box.left,
            bottom=box.bottom,
            top=capped,
        )
    elif box:
        scene.boxes["front"] = Box(
            name="front",
            label="accessory's front",
            left=box.left,
            right=box.left,
            bottom=box.bottom,
            top=box.top,
            partial=True,
        )
    if m.sure("kind.carries") and m.choice("accessory.kind") != "enclosed_carrier":
        _folded(scene)
    if m.known("load.front_setback") and m.known("load.top_height") and scene.opening:
        x, high = scene.behind("load.front_setback"), plus(scene.opening, m.known("load.top_height"))
        if x and high:
            scene.boxes["load"] = Box(name="load", label="load", left=x, right=x, bottom=scene.opening, top=high)
            scene.along("load.front_setback", scene.seat)
            scene.above("load.top_height", x, high, f"{m.label('load.top_height')}, above the ground")


def _folded(scene: Scene) -> None:
    m = scene.measures
    top = plus(scene.opening, scene.need("accessory.stow_height"))
    _add_box(scene, "folded", "folded up", "clearance.folded", "accessory.stow_extent", scene.opening, top)
    scene.along("accessory.stow_setback", scene.seat)
    scene.along("accessory.stow_extent", scene.seat)
    if "folded" in scene.boxes and top:
        label = f"{m.label('accessory.stow_height')}, above the ground"
        scene.above("accessory.stow_height", scene.boxes["folded"].right, top, label)


def _add_box(
    scene: Scene, name: str, label: str, front: str, rear: str, bottom: Bounds | None, top: Bounds | None
) -> None:
    """Add a box; one whose rear end or top is not known is drawn as the line that is."""
    left, right = scene.measures.known(front), scene.behind(rear)
    if left is None or bottom is None or (right is None and top is None):
        scene.unplaced.append(f"the accessory {label}")
        return
    partial = right is None or top is None
    scene.boxes[name] = Box(
        name=name,
        label=f"accessory {label}",
        left=left,
        right=right or left,
        bottom=bottom,
        top=top or bottom,
        partial=partial,
    )


def _towing(scene: Scene) -> None:
    m = scene.measures
    if m.sure("kind.tows"):
        scene.along("accessory.length", scene.seat)
        scene.ball = m.known("clearance.ball_behind")
        fixed = m.choice("accessory.kind") in ("ball_mount", "pintle_mount")
        low, high = ("accessory.rise",) * 2 if fixed else ("accessory.rise_lowest", "accessory.rise_highest")
        lowest, highest = plus(scene.opening, scene.need(low)), plus(scene.opening, scene.need(high))
        if lowest and highest:
            scene.platform = (lowest[0], max(highest[1], lowest[0]))
            scene.above("accessory.rise", scene.ball, scene.platform, "height of the ball platform")
    if m.present("trailer"):
        height = scene.need("trailer.coupler_height")
        scene.above("trailer.coupler_height", scene.ball or HERE, height)
        jack, tall = plus(scene.ball, m.known("trailer.jack_behind_ball")), m.known("trailer.jack_height")
        if jack and tall:
            scene.boxes["jack"] = Box(name="jack", label="trailer's jack", left=jack, right=jack, bottom=HERE, top=tall)
            scene.along("trailer.jack_behind_ball", scene.ball)
            scene.above("trailer.jack_height", jack, tall)


def _ground(scene: Scene) -> None:
    m = scene.measures
    overhang = m.known("vehicle.rear_overhang")
    if m.known("load.parking_room") is not None:
        scene.wall = m.known("load.parking_room")
        scene.along("load.parking_room", HERE)
    low, behind = m.known("ground.lowest_empty"), m.known("ground.behind_axle")
    if "in use" in scene.boxes and low and behind and overhang:
        x = (behind[0] - overhang[0], behind[1] - overhang[1])
        scene.lowest = ((min(x), max(x)), low)
        scene.lowest_loaded = m.known("ground.lowest_loaded")
        scene.above("ground.lowest_empty", scene.lowest[0], low)
    if scene.wheel is None:
        return
    for name in ("vehicle.departure_angle", "ground.departure_angle"):
        bounds = m.known(name) if name.startswith("ground") and not scene.lowest else scene.need(name)
        if bounds and (name.startswith("vehicle") or scene.lowest):
            scene.angles.append(Angle(name, m.label(name), m.text(name), bounds))


def _marks(scene: Scene) -> Iterator[Mark]:
    """What the rules say of the shapes: each that fails, and each that is open over a shape that is drawn."""
    m = scene.measures
    told = m.wording.rules(bool(m.case.adapters))
    for number, rule in enumerate(m.wording.rulebook.rules):
        if rule.id not in MARKS:
            continue
        shape, against = MARKS[rule.id]
        result = m.wording.engine.judge(number, m.case)
        drawn = shape in scene.boxes and (against == "bumper" or (against == "closure" and scene.closure is not None))
        if result == "fails" or (result == "undetermined" and drawn):
            finding = told[number].finding(result, m.case, m.system)  # type: ignore[arg-type]
            yield Mark(rule.id, result, finding.reason, shape, against)
