"""Which measures place what: from a case to the scene, and what the rules say strikes what."""

from collections.abc import Iterator
from typing import Final

from fitsvc.drawing.measures import Measures, middle, minus, plus
from fitsvc.drawing.scene import Angle, Box, Closure, Mark, Scene
from fitsvc.language.intervals import Bounds
from fitsvc.tongues import t

HERE: Final[Bounds] = (0.0, 0.0)


def scene_of(measures: Measures) -> Scene:
    """Place everything that is known."""
    scene = Scene(measures=measures)
    _vehicle(scene)
    _receiver(scene)
    if measures.present("accessory") and not measures.is_no("stands_out"):
        _accessory(scene)
    _beside(scene)
    _towing(scene)
    _ground(scene)
    scene.marks = list(_marks(scene))
    return scene


def _vehicle(scene: Scene) -> None:
    m = scene.measures
    overhang = scene.need("rear_overhang")
    scene.along("rear_overhang", HERE, forward=True)
    radius = m.known("wheel_radius")
    scene.need("tyre_radius")
    if overhang is not None and radius is not None:
        scene.wheel = (-middle(overhang), radius)
        scene.above("tyre_radius", minus(overhang), m.known("tyre_radius"))
    if not m.choice("closure"):
        scene.missing.append(m.label("closure"))
    elif m.sure("closes"):
        _closure(scene)
    if m.sure("door_spare"):
        _door_spare(scene)


def _closure(scene: Scene) -> None:
    m = scene.measures
    setback, height = scene.need("hinge_setback"), scene.need("hinge_height")
    length = scene.need("closure_length")
    if setback is None or height is None or length is None:
        return
    up, door = m.sure("closure_swings_up"), m.sure("closure_swings_sideways")
    scene.closure = Closure(label=m.word("closure"), x=-middle(setback), z=height, length=length, up=up, door=door)
    scene.above("hinge_height", minus(setback), height)
    scene.along("hinge_setback", HERE, forward=True)
    scene.along("closure_length", minus(setback))


def _door_spare(scene: Scene) -> None:
    """The spare on the rear door; how high it hangs is no fact, so it stands on the height of the bumper."""
    m = scene.measures
    reach = scene.need("door_spare_reach")
    if reach is None:
        return
    scene.along("door_spare_reach", HERE)
    across = m.known("spare_diameter") or m.known("tyre_diameter") or (700.0, 700.0)
    thick = m.known("spare_width") or m.known("tyre_width") or (220.0, 220.0)
    foot = middle(scene.closure.z) + 100.0 if scene.closure and scene.closure.door else 750.0
    left = (reach[0] - middle(thick), reach[0] - middle(thick))
    scene.boxes["spare"] = Box(
        name="spare",
        label=t("spare on the rear door"),
        left=left,
        right=reach,
        bottom=(foot, foot),
        top=(foot + middle(across),) * 2,
    )


def _receiver(scene: Scene) -> None:
    m = scene.measures
    scene.pin = minus(scene.need("pin_to_bumper"))
    scene.along("pin_to_bumper", HERE, forward=True)
    height = scene.need("receiver_height")
    scene.opening = height
    scene.seat = scene.pin
    if m.case.adapters:
        scene.along("adapters_reach", scene.pin)
        scene.seat = plus(scene.pin, scene.need("adapters_reach"))
        scene.opening = scene.need("opening_height")
    scene.above("opening_height" if m.case.adapters else "receiver_height", scene.seat, scene.opening)


def _accessory(scene: Scene) -> None:
    m = scene.measures
    drop = scene.need("lowest_drop")
    bottom = plus(scene.opening, minus(drop)) if drop else scene.opening
    top = plus(scene.opening, scene.need("top_height"))
    _add_box(scene, "in use", t("in use"), "front", "rear_extent", bottom, top)
    scene.along("front_setback", scene.seat)
    scene.along("rear_extent", scene.seat)
    box = scene.boxes.get("in use")
    if box and top:
        scene.above("top_height", box.right, top, t("{label}, above the ground", label=m.label("top_height")))
    if box:
        front, top_of_front = m.known("front_height"), box.top
        known = bool(front and scene.opening)
        if known:
            height = plus(scene.opening, front)
            assert height is not None
            top_of_front = (min(height[0], box.top[0]), min(height[1], box.top[1])) if top else height
        scene.boxes["front"] = Box(
            name="front",
            label=t("accessory's front"),
            left=box.left,
            right=box.left,
            bottom=box.bottom,
            top=top_of_front,
            partial=not known,
        )
    if m.sure("folds"):
        _folded(scene)
    if m.known("load_setback") and m.known("load_height") and scene.opening:
        x, high = scene.behind("load_setback"), plus(scene.opening, m.known("load_height"))
        if x and high:
            scene.boxes["load"] = Box(name="load", label=t("load"), left=x, right=x, bottom=scene.opening, top=high)
            scene.along("load_setback", scene.seat)
            scene.above("load_height", x, high, t("{label}, above the ground", label=m.label("load_height")))


def _folded(scene: Scene) -> None:
    m = scene.measures
    top = plus(scene.opening, scene.need("folded_height"))
    _add_box(scene, "folded", t("folded up"), "folded_front", "folded_extent", scene.opening, top)
    scene.along("folded_setback", scene.seat)
    scene.along("folded_extent", scene.seat)
    if "folded" in scene.boxes and top:
        label = t("{label}, above the ground", label=m.label("folded_height"))
        scene.above("folded_height", scene.boxes["folded"].right, top, label)


def _beside(scene: Scene) -> None:
    """What else is in the same receiver, as far as it is told: from the pin hole to its end, between its heights."""
    m = scene.measures
    right = plus(scene.pin, m.known("beside_rear"))
    bottom, top = m.known("beside_underside"), m.known("beside_top")
    if scene.pin is None or right is None or bottom is None or top is None:
        return
    label = t("other thing in the receiver")
    scene.boxes["beside"] = Box(name="beside", label=label, left=scene.pin, right=right, bottom=bottom, top=top)


def _add_box(
    scene: Scene, name: str, label: str, front: str, rear: str, bottom: Bounds | None, top: Bounds | None
) -> None:
    """Add a box; one whose rear end or top is not known is drawn as the line that is."""
    left, right = scene.measures.known(front), scene.behind(rear)
    if left is None or bottom is None or (right is None and top is None):
        scene.unplaced.append(t("the accessory {label}", label=label))
        return
    partial = right is None or top is None
    scene.boxes[name] = Box(
        name=name,
        label=t("accessory {label}", label=label),
        left=left,
        right=right or left,
        bottom=bottom,
        top=top or bottom,
        partial=partial,
    )


def _towing(scene: Scene) -> None:
    m = scene.measures
    if m.sure("tows"):
        scene.along("mount_length", scene.seat)
        scene.ball = m.known("ball_behind")
        low, high = ("mount_rise",) * 2 if m.is_no("mount_adjusts") else ("mount_rise_lowest", "mount_rise_highest")
        lowest, highest = plus(scene.opening, scene.need(low)), plus(scene.opening, scene.need(high))
        if lowest and highest:
            scene.platform = (lowest[0], max(highest[1], lowest[0]))
            scene.above("mount_rise", scene.ball, scene.platform, t("height of the ball platform"))
    if m.present("trailer"):
        height = scene.need("coupler_height")
        scene.above("coupler_height", scene.ball or HERE, height)
        jack, tall = plus(scene.ball, m.known("jack_behind_ball")), m.known("jack_height")
        if jack and tall:
            scene.boxes["jack"] = Box(
                name="jack", label=t("trailer's jack"), left=jack, right=jack, bottom=HERE, top=tall
            )
            scene.along("jack_behind_ball", scene.ball)
            scene.above("jack_height", jack, tall)


def _ground(scene: Scene) -> None:
    m = scene.measures
    overhang = m.known("rear_overhang")
    if m.known("parking_room") is not None:
        scene.wall = m.known("parking_room")
        scene.along("parking_room", HERE)
    low, behind = m.known("lowest_height"), m.known("lowest_behind_axle")
    if "in use" in scene.boxes and low and behind and overhang:
        x = (behind[0] - overhang[0], behind[1] - overhang[1])
        scene.lowest = ((min(x), max(x)), low)
        scene.lowest_loaded = m.known("lowest_height_loaded")
        scene.above("lowest_height", scene.lowest[0], low)
    if scene.wheel is None or m.sure("at_front"):
        return  # what hangs in front takes nothing of the angle behind
    words = ["departure_angle", "departure_angle_with_it"] if scene.lowest else ["departure_angle"]
    for word in words:
        bounds = scene.need(word)
        if bounds:
            scene.angles.append(Angle(m.label(word), m.text(word), bounds, bare=word == "departure_angle"))


def _marks(scene: Scene) -> Iterator[Mark]:
    """What the rules say of the shapes: each that fails, and each that is open over a shape that is drawn."""
    m = scene.measures
    told = m.wording.rules(bool(m.case.adapters))
    for number, rule in enumerate(m.wording.rulebook.rules):
        if rule.draws is None:
            continue
        shape, against = rule.draws.shape, rule.draws.against
        result = m.wording.engine.judge(number, m.case)
        there = {"bumper": True, "beside": "beside" in scene.boxes, "closure": scene.closure is not None}
        drawn = shape in scene.boxes and there.get(against, False)
        if result == "fails" or (result == "undetermined" and drawn):
            finding = told[number].finding(result, m.case, m.system)
            yield Mark(rule.id, result, finding.reason, shape, against)
