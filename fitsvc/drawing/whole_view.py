"""The picture of an answer: the whole vehicle from its left, and below it, larger, the place that decides.

Anyone sees above what it is and where the thing hangs; below stand the few lengths that decide, at their lines and in
a clerk's words. Parts are to scale, the outline is a sketch. All measures, with none left out, are in `side_view`.
"""

from collections.abc import Mapping
from math import radians, tan
from typing import Final

from fitsvc.answers.wording import Wording
from fitsvc.drawing import ink, parts
from fitsvc.drawing.deciding import DecidingPlace, deciding
from fitsvc.drawing.ink import Drawing, element, number
from fitsvc.drawing.measures import Measures, middle
from fitsvc.drawing.outline import Outline, outline_of
from fitsvc.drawing.panel import INCH, WIDE, Panel, PanelWords, wide
from fitsvc.drawing.rows import draw_rows, ruler
from fitsvc.drawing.scene import Box, Mark, Scene
from fitsvc.drawing.shanks import shank_before_opening
from fitsvc.drawing.side_view import describe
from fitsvc.drawing.staging import scene_of
from fitsvc.facts import Case
from fitsvc.language.display import System
from fitsvc.tongues import t

_GAP: Final = 22.0
_LEAST: Final = 60.0 * INCH
_HEADROOM: Final = 22.0
"""What a thing that stands higher than the roof leaves above it for its words, in units."""


def whole_view(
    wording: Wording, case: Case, system: System = "us", prefix: str = "whole", labels: Mapping[str, str] | None = None
) -> Drawing | None:
    """The picture; None where nothing is known that could be drawn."""
    return picture_of(scene_of(Measures(wording, case, system)), prefix, _title(labels or {}))


def picture_of(scene: Scene, prefix: str, title: str, room: tuple[float, float] = (0.0, 0.0)) -> Drawing | None:
    """The picture of a scene, with whatever else is in the same receiver; None where nothing could be drawn.

    The vehicle stands in a window that leaves `room` behind the bumper and above the ground at least, in mm.
    """
    outline = outline_of(scene)
    if outline is None and scene.pin is None and not scene.boxes:
        return None
    about, words = deciding(scene), PanelWords()
    whole = _whole_panel(scene, outline, words, room)
    _draw(whole, scene, outline, about, prefix, near=False)
    apart = None if scene.others else shank_before_opening(scene, prefix, whole.foot + _GAP, words)
    if apart:
        drawn, foot = apart
    else:
        drawn, foot = _near(scene, outline, about, prefix, whole)
    description = " ".join(describe(one) for one in (scene, *scene.others))
    svg = _document(prefix, title, description, foot, [whole.svg(prefix), *drawn, *words.drawn])
    return Drawing(svg, title, description)


def _title(labels: Mapping[str, str]) -> str:
    names = [labels[subject] for subject in ("accessory", "vehicle") if labels.get(subject)]
    return t("Side view: {listed}", listed=t(" on ").join(names)) if names else t("Side view")


def _document(prefix: str, title: str, description: str, foot: float, body: list[str]) -> str:
    head = element("title", ink.words(title), id=f"{prefix}-title")
    head += element("desc", ink.words(description), id=f"{prefix}-desc")
    lines = element("path", d="M0 0V6", class_="v-hatch")
    hatch = element(
        "pattern",
        lines,
        id=f"{prefix}-strikes",
        width=6,
        height=6,
        patternUnits="userSpaceOnUse",
        patternTransform="rotate(45)",
    )
    return element(
        "svg",
        head + element("defs", hatch) + "".join(body),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {number(WIDE)} {number(foot)}",
        class_="view",
        role="img",
        id=prefix,
        aria_labelledby=f"{prefix}-title",
        aria_describedby=f"{prefix}-desc",
        font_family="inherit",
    )


def reach_of(scene: Scene) -> tuple[float, float]:
    """How far back of the bumper, and how high, what hangs on the vehicle reaches, in mm."""
    right, top = [0.0], [0.0]
    for box in scene.boxes.values():
        right.append(box.widest[1])
        top.append(box.widest[3])
    if scene.closure and (scene.measures.sure("must_open") or _closes(scene)):
        right.append(scene.closure.x + scene.closure.length[1])
        top.append(scene.closure.z[1] + scene.closure.length[1] * (1.0 if scene.closure.up else 0.3))
    if scene.ball and scene.measures.present("trailer"):
        right.append(scene.ball[1] + 60 * INCH)
    if scene.wall:
        right.append(scene.wall[1])
    for other in scene.others:
        far, high = reach_of(other)
        right.append(far)
        top.append(high)
    return max(right), max(top)


def _room_for(text: str, start: float, left: float) -> float:
    """How far back a window that begins at the left has to reach, for words from the start on to stand in it; mm."""
    across = wide(text) + 4.0
    return (start * WIDE - left * across) / (WIDE - across)


def _closes(scene: Scene) -> bool:
    return any(mark.against == "closure" for mark in scene.marks)


def _whole_panel(scene: Scene, outline: Outline | None, words: PanelWords, room: tuple[float, float]) -> Panel:
    right, top = map(max, reach_of(scene), room)
    left, rear, roof = outline.reach if outline else (-70 * INCH, 0.0, 50 * INCH)
    left, right = left - 5 * INCH, max(right, rear) + 8 * INCH
    if scene.pin is None or scene.opening is None:
        right = max(right, _room_for(t(parts.NOT_MEASURED), (middle(scene.pin) if scene.pin else 0.0) + 5 * INCH, left))
    return Panel(
        name="far",
        left=left,
        right=right,
        low=-1.5 * INCH,
        high=max(max(roof, _LEAST) + 5 * INCH, top + _HEADROOM * (right - left) / WIDE),
        top=0.0,
        words=words,
    )


def _near(
    scene: Scene, outline: Outline | None, about: DecidingPlace, prefix: str, whole: Panel
) -> tuple[list[str], float]:
    """The window onto the place that decides, its frame, the ruler and the rows; and where they end."""
    if scene.opening is None and not about.rows:
        return [], whole.foot + 2.0
    panel = _window(scene, about, whole)
    _draw(panel, scene, outline, about, prefix, near=True)
    ticks, y = ruler(panel, scene.measures.system)
    rows, foot = draw_rows(panel, about.rows, y + 12.0)
    frame = element("rect", x=0.5, y=panel.top, width=WIDE - 1, height=panel.foot - panel.top, class_="v-panel")
    return [_corners(whole, panel), panel.svg(prefix), frame, *rows, *ticks], foot


def _window(scene: Scene, about: DecidingPlace, whole: Panel) -> Panel:
    """As little of the side as holds all that decides."""
    xs = [x for row in about.rows for x in (row.start, row.end)]
    level = middle(scene.opening) if scene.opening else 16 * INCH
    left, right = min(-13 * INCH, *xs, 0.0) - INCH, max(24 * INCH, *xs, 0.0) + 2 * INCH
    if scene.measures.sure("spare_underneath") and not scene.boxes:
        left, right = -52 * INCH, 10 * INCH
    low = max(level - 9 * INCH, -2 * INCH)
    if about.whole:
        right = max(right, reach_of(scene)[0] + 4 * INCH)
        low, high = -2 * INCH, max(reach_of(scene)[1], level + 20 * INCH) + 3 * INCH
    else:
        high = low + (right - left) * 0.5
        if (spare := scene.boxes.get("spare")) and about.state in scene.boxes:
            high = max(high, spare.widest[2] + 8 * INCH)
        if jack := scene.boxes.get("jack"):
            high = max(high, jack.widest[3] + 4 * INCH)
    return Panel(name="near", left=left, right=right, low=low, high=high, top=whole.foot + _GAP, words=whole.words)


def _corners(whole: Panel, near: Panel) -> str:
    """Where the window is on the whole: its four corners, and lines from them to it."""
    x0, x1 = whole.x(near.left), min(whole.x(near.right), WIDE - 1)
    y0, y1, k = min(whole.y(max(near.low, 0.0)), whole.foot), max(whole.y(near.high), 1.0), 6.0
    way = "".join(
        f"M{number(x)} {number(y + dy * k)}V{number(y)}H{number(x + dx * k)}"
        for x, dx in ((x0, 1), (x1, -1))
        for y, dy in ((y1, 1), (y0, -1))
    )
    links = f"M{number(x0)} {number(y0)}L1 {number(near.top)}M{number(x1)} {number(y0)}L359 {number(near.top)}"
    return element("path", d=way, class_="v-frame") + element("path", d=links, class_="v-link")


def _draw(
    panel: Panel, scene: Scene, outline: Outline | None, about: DecidingPlace, prefix: str, *, near: bool
) -> None:
    """All of it, back to front: what decides in ink, what only helps to see it light."""
    m = scene.measures
    if panel.low <= 0.0:
        panel.path("v-ground", [(panel.left, 0.0), (panel.right, 0.0)], close=False)
    if outline:
        outline.draw(panel)
    if m.sure("spare_underneath"):
        parts.under_spare(panel, scene)
    if spare := scene.boxes.get("spare"):
        parts.door_spare(panel, spare)
        panel.say(spare.widest[0] - 2 * INCH, min(spare.widest[3], panel.high) - 2 * INCH, t("spare"), "end")
    if (m.sure("must_open") and not near) or _closes(scene):
        parts.closure(panel, scene)
    _accessory(panel, scene, about, near)
    if not near or scene.pin is not None:
        parts.receiver(panel, scene, near)
    parts.trailer(panel, scene)
    if scene.others:
        _several(panel, scene, about, near)
    elif "beside" in scene.boxes:
        beside = scene.boxes["beside"].widest
        panel.rect("v-room v-dash", beside, data_box="beside")
        panel.say(beside[0], beside[3] + 40, t("other thing"), "start", "v-soft")
    if scene.wall:
        panel.path("v-rear", [(middle(scene.wall), 0.0), (middle(scene.wall), panel.high)], close=False)
    _ground(panel, scene, about)
    for one in (scene, *scene.others):
        for mark in one.marks:
            _strike(panel, one, mark, prefix)
    if near:
        _edges(panel, scene, about)
    parts.pins(panel, scene)


def _several(panel: Panel, scene: Scene, about: DecidingPlace, near: bool) -> None:
    """All else in the same receiver, each as it is drawn alone, and the name of each thing beside it."""
    for other in scene.others:
        _accessory(panel, other, about, near)
        parts.trailer(panel, other)
    for one in (scene, *scene.others) if near else ():
        box = one.boxes.get("in use")
        if one.ball is not None and one.opening is not None:
            panel.say(middle(one.ball) + 8 * INCH, middle(one.opening) - 10 * INCH, one.name)
        elif box is not None:
            panel.say((box.widest[0] + box.widest[1]) / 2, box.widest[3] + 90, one.name, "middle")


def _accessory(panel: Panel, scene: Scene, about: DecidingPlace, near: bool) -> None:
    """The carrier as it is asked about: in use above, and near by in the state that decides."""
    use, stowed, m = scene.boxes.get("in use"), scene.boxes.get("folded"), scene.measures
    if scene.ball is not None:
        return
    if near and about.state == "folded" and stowed:
        parts.folded(panel, stowed, scene)
        panel.say(stowed.widest[1] + 25, min(stowed.widest[3], panel.high) - 4 * INCH, t("folded up"))
        return
    if use is None:
        return
    opened = m.sure("must_open") and not any(mark.against == "closure" for mark in scene.marks)
    if opened and m.sure("tilts"):
        parts.carrier(panel, scene, use, faint=True)
        parts.tilted(panel, scene, use)
    elif opened and m.sure("swings"):
        parts.swung(panel, scene, use)
    else:
        parts.carrier(panel, scene, use)
        if not scene.name and (near or about.state != "in use"):
            panel.say((use.widest[0] + use.widest[1]) / 2, use.widest[3] + 90, t("in use"), "middle", "v-soft")
    if not near and about.state == "folded" and stowed:
        parts.folded(panel, stowed, scene, faint=True)


def _ground(panel: Panel, scene: Scene, about: DecidingPlace) -> None:
    """The ramps behind the rear tyre, where the ground is what decides."""
    if about.mark is None or about.mark.against != "ramp" or scene.wheel is None:
        return
    axle, radius = scene.wheel[0], scene.wheel[1][1]
    for angle in scene.angles:
        slope = _slope(middle(angle.degrees))
        start = axle + radius * slope / (1.0 + slope * slope) ** 0.5
        far = panel.right
        panel.path("v-sweep" if angle.bare else "v-edge", [(start, 0.0), (far, (far - start) * slope)], close=False)
        panel.say(far - 2 * INCH, (far - start) * slope - 3 * INCH, angle.text, "end")


def _slope(degrees: float) -> float:
    return tan(radians(min(max(degrees, 0.0), 80.0)))


def _edges(panel: Panel, scene: Scene, about: DecidingPlace) -> None:
    """The edges that decide, bold; one known in bounds as a band from the one to the other."""
    box = scene.boxes.get(about.state)
    if box is None or scene.ball:
        return
    low, high = box.widest[2], min(box.widest[3], panel.high)
    if box.left[0] == box.left[1]:
        panel.path("v-edge", [(box.left[0], low), (box.left[0], high)], close=False)
    else:
        panel.rect("v-band", (box.left[0], box.left[1], low, high))
    if spare := scene.boxes.get("spare"):
        panel.path("v-edge", [(spare.right[1], spare.widest[2] + 25), (spare.right[1], spare.widest[3])], close=False)


def _strike(panel: Panel, scene: Scene, mark: Mark, prefix: str) -> None:
    """Hatch what two things would both need."""
    if mark.result != "fails":
        return
    edges = _region(scene, mark)
    if edges is None:
        return
    left, right, bottom, top = edges
    least = 4.0 / panel.scale
    panel.rect(
        "v-hit",
        (left, max(right, left + least), bottom, max(top, bottom + least)),
        fill=f"url(#{prefix}-strikes)",
        data_region=mark.rule,
        clip_path=_cut(panel, scene, mark, prefix),
    )


def _cut(panel: Panel, scene: Scene, mark: Mark, prefix: str) -> str | None:
    """A closure takes only what it sweeps."""
    if mark.against != "closure" or scene.closure is None:
        return None
    name = f"{prefix}-{panel.name}-{len(panel.defs)}"
    panel.defs.append(element("clipPath", element("path", d=parts.sweep(panel, scene)), id=name))
    return f"url(#{name})"


def _region(scene: Scene, mark: Mark) -> tuple[float, float, float, float] | None:
    """What a shape takes of the room of what it strikes."""
    if mark.shape == "lowest" and scene.lowest:
        (left, right), z = scene.lowest[0], middle(scene.lowest_loaded or scene.lowest[1])
        return ((left + right) / 2 - 50, (left + right) / 2 + 50, z - 50, z + 50)
    box = _shape(scene, mark)
    if box is None:
        return None
    left, right, bottom, top = box.sure or box.widest
    spare = scene.boxes.get("spare")
    if mark.against == "bumper":
        right = min(right, 0.0)
    elif mark.against == "spare" and spare:
        right, bottom, top = min(right, spare.right[1]), max(bottom, spare.widest[2]), min(top, spare.widest[3])
    elif mark.against == "wall" and scene.wall:
        left = max(left, scene.wall[0])
    elif mark.against == "beside" and "beside" in scene.boxes:
        left, right, bottom, top = _shared((left, right, bottom, top), scene.boxes["beside"].widest)
    elif mark.against == "closure" and scene.closure is None:
        return None
    return left, right, bottom, top


def _shared(one: parts.Edges, other: parts.Edges) -> parts.Edges:
    """What two boxes have in common; all of the one where they do not meet, for a rule may have found more."""
    left, right = max(one[0], other[0]), min(one[1], other[1])
    bottom, top = max(one[2], other[2]), min(one[3], other[3])
    return (left, right, bottom, top) if left <= right and bottom <= top else one


def _shape(scene: Scene, mark: Mark) -> Box | None:
    if mark.shape != "shortest":
        return scene.boxes.get(mark.shape)
    drawn = [scene.boxes[name] for name in ("folded", "in use") if name in scene.boxes]
    return min(drawn, key=lambda box: box.right[1], default=None)
