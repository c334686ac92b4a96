"""What hangs on the vehicle, drawn as what it is: receiver, carrier in its states, spare, closure, trailer and jack.

Every edge that decides is where the scene puts it; how a tray, a bicycle or a jack looks within it is a sketch.
"""

from collections.abc import Callable
from typing import Final

from fitsvc.drawing.measures import middle
from fitsvc.drawing.outline import turned_about
from fitsvc.drawing.panel import INCH, Panel
from fitsvc.drawing.scene import Box, Scene
from fitsvc.tongues import later, t

_DOOR: Final = 1000.0
"""How much of a door is drawn above its lower edge, which alone is known; mm."""
_SPARE_ACROSS: Final = 700.0
_SPARE_THICK: Final = 230.0
NOT_MEASURED: Final = later("not measured")
"""What is said where a receiver usually sits, as long as nobody has measured where it does."""
_TRAYS: Final = 6
"""So many bicycles are drawn at most; more would be a grey block."""

Edges = tuple[float, float, float, float]


def receiver(panel: Panel, scene: Scene, near: bool) -> None:
    """The tube with its opening and pin hole; where its place is not known, dotted where one usually sits."""
    m = scene.measures
    size = m.size("opening_size") or 2 * INCH
    known = scene.pin is not None and scene.opening is not None
    x = middle(scene.pin) if scene.pin else -3 * INCH
    bare = m.known("receiver_height") or scene.opening
    z = middle(bare) if bare else 16 * INCH
    end, wall = x + 2.4 * INCH, 0.5 * INCH
    kind = "v-steel" if known else "v-unknown"
    panel.rect(kind, (end - 13 * INCH, end, z - size - wall, z + wall), 8.0)
    if near and known:
        panel.rect("v-hole", (end - 12 * INCH, end, z - size, z))
    panel.rect(kind, (end - 0.9 * INCH, end, z - size - wall - 9, z + wall + 9), 5.0)
    if not known:
        panel.say(end + 3.5 * INCH, z - size, t(NOT_MEASURED), kind="v-soft")
    elif scene.seat and middle(scene.seat) > x:
        seat, high = middle(scene.seat), middle(scene.opening or (z, z))
        panel.path("v-steel", [(x - 60, z), (seat + 60, high), (seat + 60, high - size), (x - 60, z - size)])


def pins(panel: Panel, scene: Scene) -> None:
    """The pin hole, over all else: everything in the opening is counted from it."""
    if scene.pin is None or scene.opening is None:
        return
    size = scene.measures.size("opening_size") or 2 * INCH
    bare = scene.measures.known("receiver_height") or scene.opening
    panel.circle("v-pin", middle(scene.pin), middle(bare) - size / 2, max(8.0, 1.6 / panel.scale))


def shank(panel: Panel, scene: Scene, end: float) -> None:
    """The shank from within the opening as far as the accessory, which ends there in mm."""
    if scene.seat is None or scene.opening is None:
        return
    size = scene.measures.size("shank") or 2 * INCH
    top, x = middle(scene.opening) - 1.5, middle(scene.seat)
    panel.rect("v-steel", (x - 4 * INCH, max(end, x) + 60.0, top - size, top))


def carrier(panel: Panel, scene: Scene, box: Box, faint: bool = False) -> None:
    """A carrier in use: its trays with bicycles seen from their end, or a tray with a load."""
    left, right, bottom, top = box.sure or box.widest
    panel.rect("v-room v-faint" if faint else "v-room", (left, right, bottom, top), data_box=box.name)
    if faint or right - left < 2 * INCH:
        return
    shank(panel, scene, left)
    panel.rect("v-steel", (left, right, bottom, bottom + 45.0))
    panel.rect("v-steel", (left, left + 40.0, bottom, bottom + (top - bottom) * 0.7))
    count = _bikes(scene)
    for number in range(count):
        x = left + (right - left) * (number + 0.5) / count
        panel.rect("v-steel", (x - 60, x + 60, bottom + 45, bottom + 95), 12.0)
        _bike(panel, lambda x, z: (x, z), x, bottom + 70, top)
    if not count and (load := scene.boxes.get("load")):
        panel.rect("v-load", (max(load.left[1], left), right - 40, bottom + 45, load.top[0]), 25.0)


def folded(panel: Panel, box: Box, scene: Scene, faint: bool = False) -> None:
    """A carrier folded up against the vehicle."""
    left, right, bottom, top = box.sure or box.widest
    low = bottom - 3 * INCH
    panel.rect("v-room v-faint" if faint else "v-room", (left, right, bottom, top), data_box=box.name)
    if faint or right - left < 3 * INCH:
        return
    shank(panel, scene, left)
    count = max(_bikes(scene), 1)
    for number in range(count + 1):
        x = left + (right - left - 40) * number / count
        panel.rect("v-steel", (x, x + 40, bottom + (60 if number else 0), top - (0 if number else 40)), 10.0)
    panel.rect("v-steel", (left, right, max(low, bottom - 45), bottom))


def tilted(panel: Panel, scene: Scene, box: Box) -> None:
    """The same carrier tilted back about its lower front corner, as far as the ground lets it: no fact says how far."""
    left, right, bottom, top = box.sure or box.widest
    sine = min(max((bottom - 75.0) / max(right - left, 1.0), 0.2), 0.62)

    def turn(x: float, z: float) -> tuple[float, float]:
        return turned_about((left, bottom), sine, (x, z))

    corners = [(left, bottom), (right, bottom), (right, top), (left, top)]
    panel.path("v-room v-dash", [turn(*corner) for corner in corners])
    shank(panel, scene, left)
    panel.path("v-steel", [turn(*at) for at in (*corners[:2], (right, bottom + 45), (left, bottom + 45))])
    count = _bikes(scene)
    for number in range(count):
        _bike(panel, turn, left + (right - left) * (number + 0.5) / count, bottom + 70, top)
    x, z = turn(right, top)
    panel.say(x, z + 60, "tilted", "middle")


def swung(panel: Panel, scene: Scene, box: Box) -> None:
    """A carrier swung aside: seen from the side only its arm stays behind the vehicle."""
    left, right, bottom, top = box.sure or box.widest
    shank(panel, scene, left)
    panel.rect("v-room v-dash", (left, right, bottom, top))
    panel.rect("v-steel", (left, left + 60.0, bottom, bottom + 120.0))
    panel.say((left + right) / 2, (bottom + top) / 2, "swung", "middle")
    panel.say((left + right) / 2, (bottom + top) / 2 - 16 / panel.scale, "aside", "middle")


def _bikes(scene: Scene) -> int:
    found = scene.measures.known("bikes") or scene.measures.known("bikes_most")
    return min(int(found[1]), _TRAYS) if found else 0


def _bike(panel: Panel, turn: Callable[[float, float], tuple[float, float]], x: float, low: float, top: float) -> None:
    """A bicycle seen from its end: wheel, bar, saddle."""
    tall = max(top - low, 400.0)
    wheel = [(x - 28, low), (x + 28, low), (x + 28, low + 0.66 * tall), (x - 28, low + 0.66 * tall)]
    panel.path("v-thing", [(*turn(*at), 28.0) for at in wheel])
    post = ((x, low + 0.66 * tall), (x, low + 0.92 * tall))
    bar = ((x - 80, low + 0.93 * tall), (x + 80, low + 0.93 * tall))
    saddle = ((x - 40, low + 0.8 * tall), (x + 40, low + 0.8 * tall))
    for low_end, high_end in (post, bar, saddle):
        panel.path("v-stroke", [turn(*low_end), turn(*high_end)], close=False)


def sweep(panel: Panel, scene: Scene) -> str:
    """The path of what the rear closure sweeps, as the rules judge it."""
    closure = scene.closure
    assert closure is not None
    z, r = middle(closure.z), closure.length[1]
    x0, far = closure.x, closure.x + closure.length[1]
    if closure.door:
        return panel.way([(x0, z), (far, z), (far, z + _DOOR), (x0, z + _DOOR)])
    units, turn = f"{r * panel.scale:.3f}", 1 if closure.up else 0
    end = z + r if closure.up else z - r
    return f"M{panel.at(x0, z)}L{panel.at(x0, end)}A{units} {units} 0 0 {turn} {panel.at(far, z)}Z"


def closure(panel: Panel, scene: Scene) -> None:
    """The rear closure open, and the way it takes."""
    found = scene.closure
    if found is None:
        return
    panel.parts.append(f'<path class="v-sweep" d="{sweep(panel, scene)}"/>')
    z, far = middle(found.z), found.x + middle(found.length)
    if found.door:
        panel.rect("v-leaf", (found.x, far, z, z + _DOOR), 35.0)
    elif found.up:
        panel.rect("v-leaf", (found.x, far, z - 30, z))
    else:
        panel.path("v-leaf", [(found.x, z), (far, z + 0.2 * middle(found.length))], close=False)
    panel.circle("v-hinge", found.x, z, 28.0)
    high = z + (_DOOR if found.door else 0.25 * middle(found.length)) + 30
    panel.say(far, high, t("{label} open", label=found.label), "end", "v-soft")


def door_spare(panel: Panel, box: Box) -> Edges:
    """The spare on the rear door, seen from its edge: its rear face is the fact, how high it hangs a sketch."""
    left, right, bottom, top = box.widest
    panel.rect("v-tyre", (left, right, bottom, top), 60.0, data_box=box.name)
    for share in (0.34, 0.66):
        x = left + (right - left) * share
        panel.path("v-seam", [(x, bottom + 25), (x, top - 25)], close=False)
    return left, right, bottom, top


def under_spare(panel: Panel, scene: Scene) -> None:
    """The spare under the body, lying flat before the receiver; where it hangs is no fact, so it is dashed."""
    m = scene.measures
    across = middle(m.known("spare_diameter") or m.known("tyre_diameter") or (_SPARE_ACROSS,) * 2)
    thick = middle(m.known("spare_width") or m.known("tyre_width") or (_SPARE_THICK,) * 2) * 0.9
    right = (middle(scene.pin) if scene.pin else -75.0) - 9 * INCH
    high = (middle(scene.opening) if scene.opening else 420.0) + 50.0
    panel.rect("v-tyre v-dash", (right - across, right, high - thick, high), 55.0)
    if right - across > panel.left:
        panel.say(right - across / 2, high - thick / 2 - 40, "spare", "middle")


def trailer(panel: Panel, scene: Scene) -> None:
    """Mount, ball, coupler, tongue and jack."""
    if scene.ball is None or scene.seat is None or scene.opening is None:
        return
    m, x, seat, high = scene.measures, middle(scene.ball), middle(scene.seat), middle(scene.opening)
    size = m.size("shank") or 2 * INCH
    top = middle(scene.platform) if scene.platform else high - size / 2
    upper = [(seat - 100, high - 1), (seat + 115, high - 1), (x - 56, top), (x + 43, top)]
    under = [(x + 43, top - 28), (x - 66, top - 28), (seat + 100, high - size), (seat - 100, high - size)]
    panel.path("v-steel", [*upper, *under])
    r = (m.size("ball_size") or 50.8) / 2
    coupler = m.known("coupler_height")
    panel.rect("v-steel", (x - 12, x + 12, top, top + r))
    if coupler is not None and m.present("trailer"):
        _tongue(panel, scene, x, middle(coupler))
    panel.circle("v-ball", x, top + r, r)


def _tongue(panel: Panel, scene: Scene, x: float, z: float) -> None:
    """The coupler with its underside at z, the tongue behind it, and the jack."""
    shell = [(x - 50, z, 20.0), (x - 50, z + 50, 40.0), (x + 75, z + 76, 25.0), (x + 310, z + 76, 20.0)]
    panel.path("v-thing", [*shell, (x + 310, z - 10, 12.0), (x + 50, z - 10, 12.0)])
    panel.rect("v-thing", (x + 280, x + 1600, z - 15, z + 74))
    if jack := scene.boxes.get("jack"):
        at, tall = middle(jack.left), middle(jack.top)
        panel.rect("v-steel", (at, at + 60, z - 90, tall - 38), 12.0)
        panel.rect("v-steel", (at + 12, at + 48, z - 200, z - 90))
        panel.rect("v-steel", (at - 30, at + 90, z - 225, z - 200))
        panel.path("v-stroke", [(at + 30, tall - 38), (at + 30, tall), (at + 110, tall)], close=False)
