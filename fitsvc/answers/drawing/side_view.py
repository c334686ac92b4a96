"""The side view to scale: the scene in millimetres, drawn, keyed, and told in sentences."""

from collections.abc import Mapping
from math import atan, cos, degrees, radians, sin, tan
from typing import Final

from fitsvc.answers.drawing import ink
from fitsvc.answers.drawing.ink import Drawing, badge, element, line, lines_of, number, text_at, width_of
from fitsvc.answers.drawing.measures import Measures, middle
from fitsvc.answers.drawing.placing import RIGHT, Frame, fits, frame_of, spread
from fitsvc.answers.drawing.scene import Box, Length, Mark, Scene, scene_of
from fitsvc.answers.wording import Wording, joined
from fitsvc.facts import Case
from fitsvc.language.display import System
from fitsvc.language.geometry import clearance_on_grade, grade_of_angle

DASH: Final = "5 4"
_TALL: Final = 1000.0
"""How much of a door is drawn above its lower edge, which alone is known; mm."""
_SMALL: Final = 11.0


def side_view(
    wording: Wording, case: Case, system: System = "us", prefix: str = "side", labels: Mapping[str, str] | None = None
) -> Drawing:
    """The rear of the rig from its left, to scale: what is known solid, what is known in bounds dashed.

    `labels` names the subjects as their records do; `prefix` starts every id, for several drawings on a page.
    """
    scene = scene_of(Measures(wording, case, system))
    title = _title(labels or {})
    return _View(scene, prefix).drawing(title)


def _title(labels: Mapping[str, str]) -> str:
    names = [labels[subject] for subject in ("accessory", "vehicle") if labels.get(subject)]
    return f"Side view to scale: {' on '.join(names)}" if names else "Side view to scale"


class _View:
    """One scene being drawn."""

    def __init__(self, scene: Scene, prefix: str) -> None:
        self.scene, self.prefix = scene, prefix
        self.frame = _frame(scene)
        self.parts: list[str] = []
        self.over: list[str] = []
        self.key: list[tuple[str, str, str]] = []
        self.clips: list[str] = []

    def drawing(self, title: str) -> Drawing:
        """Draw everything, back to front."""
        scene, frame = self.scene, self.frame
        self._ground()
        self._body()
        self._wheel()
        self._closure()
        self._wall()
        for box in scene.boxes.values():
            self._box(box)
        self._receiver()
        self._ball()
        self._angles()
        for place, mark in enumerate(scene.marks):
            self._mark("ABCDEFGHIJKL"[place], mark)
        self.parts += self.over
        self._heights()
        bottom = self._lengths(frame.ground + 18.0)
        bottom = self._key(bottom + 8.0)
        description = describe(scene)
        defs = ink.patterns(self.prefix) + "".join(self.clips)
        svg = ink.document(
            self.prefix, title, description, bottom + 4.0, self.parts, defs,
            data_units_per_mm=f"{frame.scale:.9g}", data_ground=number(frame.ground), data_bumper=number(frame.x(0.0)),
        )  # fmt: skip
        return Drawing(svg, title, description)

    def _line(self, x1: float, z1: float, x2: float, z2: float, class_: str, dash: str | None = None) -> None:
        frame = self.frame
        self.parts.append(line(frame.x(x1), frame.y(z1), frame.x(x2), frame.y(z2), class_, dash))

    def _ground(self) -> None:
        y = self.frame.ground
        self.parts.append(line(0, y, RIGHT + 6, y, "d-ground", stroke_width="2"))

    def _body(self) -> None:
        """The vehicle's outline is a sketch but for bumper line and hinge: how its panels run is no fact."""
        frame, closure = self.frame, self.scene.closure
        low = (self.scene.opening[1] if self.scene.opening else 450.0) + 30.0
        high = low + 220.0
        outline = [(frame.left, low + 60.0), (-140.0, low + 60.0), (-140.0, low), (0.0, low), (0.0, high)]
        if closure:
            z = middle(closure.z)
            end = z + (_TALL if closure.door else closure.length[0] if closure.up else -closure.length[0])
            foot, roof = sorted((z, end))
            outline += [(-40.0, high), (closure.x, max(foot, high)), (closure.x, max(roof, high))]
            outline += [(frame.left, max(roof, high))]
        else:
            outline += [(-140.0, high)]
        points = " ".join(f"{number(frame.x(x))},{number(frame.y(z))}" for x, z in outline)
        self.parts.append(
            element("polyline", points=points, fill="none", stroke="currentColor", stroke_opacity=0.5, class_="d-body")
        )
        self._line(0.0, 0.0, 0.0, frame.top, "d-bumper-line", "8 3 2 3")

    def _wheel(self) -> None:
        if self.scene.wheel is None:
            return
        x, radius = self.scene.wheel
        frame = self.frame
        for r, dash in ((radius[1], DASH if radius[0] != radius[1] else None), (radius[0], None)):
            if r > 0.0:
                self.parts.append(
                    element(
                        "circle", cx=frame.x(x), cy=frame.y(r), r=r * frame.scale, fill="none", stroke="currentColor",
                        stroke_width=2, stroke_dasharray=dash, class_="d-wheel",
                    )
                )  # fmt: skip
            if radius[0] == radius[1]:
                break
        self._line(x - 30.0, radius[1], x + 30.0, radius[1], "d-wheel")
        self._line(x, radius[1] - 30.0, x, radius[1] + 30.0, "d-wheel")

    def _sweep(self, length: float) -> str:
        """The outline of what the closure sweeps, as the rules judge it."""
        closure, frame = self.scene.closure, self.frame
        assert closure is not None
        z = middle(closure.z)
        x0, y0, r = frame.x(closure.x), frame.y(z), length * frame.scale
        if closure.door:
            return f"M{number(x0)} {number(y0)}h{number(r)}v{number(-_TALL * frame.scale)}h{number(-r)}z"
        up, turn = (-r, 1) if closure.up else (r, 0)
        return f"M{number(x0)} {number(y0)}v{number(up)}a{number(r)} {number(r)} 0 0 {turn} {number(r)} {number(-up)}z"

    def _closure(self) -> None:
        closure = self.scene.closure
        if closure is None:
            return
        z, low, high = middle(closure.z), *closure.length
        if high != low:
            self.parts.append(self._outline(self._sweep(high), "d-sweep", DASH))
        self.parts.append(self._outline(self._sweep(low), "d-sweep", "1 3"))
        end = z + (_TALL if closure.door else low if closure.up else -low)
        self._line(closure.x, z, closure.x, end, "d-closure")
        frame = self.frame
        self.parts.append(
            element("circle", cx=frame.x(closure.x), cy=frame.y(z), r=3, fill="currentColor", class_="d-hinge")
        )
        if closure.z[0] != closure.z[1]:
            self._line(closure.x, closure.z[0], closure.x, closure.z[1], "d-range", DASH)

    def _outline(self, path: str, class_: str, dash: str | None) -> str:
        return element("path", d=path, fill="none", stroke="currentColor", stroke_dasharray=dash, class_=class_)

    def _wall(self) -> None:
        if self.scene.wall is None:
            return
        for x in dict.fromkeys(self.scene.wall):
            dash = None if self.scene.wall[0] == self.scene.wall[1] else DASH
            self._line(x, 0.0, x, self.frame.top, "d-wall", dash)

    def _rect(self, edges: tuple[float, float, float, float], class_: str, **more: str | float | None) -> str:
        left, right, bottom, top = edges
        frame = self.frame
        return element(
            "rect", x=frame.x(left), y=frame.y(top), width=(right - left) * frame.scale,
            height=(top - bottom) * frame.scale, class_=class_, **more,
        )  # fmt: skip

    def _box(self, box: Box) -> None:
        if box.name == "front" and box.partial:
            return
        class_ = f"d-box d-{box.name.replace(' ', '-')}"
        shape: dict[str, str | float | None] = {
            "fill": "none",
            "stroke": "currentColor",
            "stroke_width": 1.2 if box.name == "folded" else 2.0,
            "data_box": box.name,
        }
        if not box.exact:
            self.parts.append(self._rect(box.widest, f"{class_} d-range", stroke_dasharray=DASH, **shape))
        if box.sure:
            self.parts.append(self._rect(box.sure, class_, **shape))
        if box.name != "front":
            left, _, _, top = box.sure or box.widest
            self._badge(self._part(box.label), self.frame.x(left), self.frame.y(top), "d-part")

    def _receiver(self) -> None:
        scene, frame = self.scene, self.frame
        if scene.pin is None or scene.opening is None:
            return
        z, x = middle(scene.opening), middle(scene.pin)
        bare = scene.measures.known("mounting.height")
        level = middle(bare) if bare else z
        self.parts.append(
            self._rect(
                (x - 300.0, x + 60.0, level - 60.0, level + 10.0), "d-receiver", fill="none", stroke="currentColor"
            )
        )
        seat = middle(scene.seat) if scene.seat else x
        if scene.seat and seat > x:
            self.parts.append(
                self._rect((x, seat + 60.0, z - 60.0, z + 10.0), "d-adapter", fill="none", stroke="currentColor")
            )
        box = scene.boxes.get("in use")
        if box:
            end = max(middle(box.left), seat) + 1.0
            self.parts.append(
                self._rect((seat - 120.0, end, z - 50.0, z), "d-shank", fill="none", stroke="currentColor")
            )
        for at in dict.fromkeys((x, seat)):
            self.parts.append(
                element("circle", cx=frame.x(at), cy=frame.y(z - 25.0), r=3, fill="currentColor", class_="d-pin")
            )
        for known, height in ((scene.pin, level), (scene.seat, z)):
            if known and known[0] != known[1]:
                self._line(known[0], height - 25.0, known[1], height - 25.0, "d-range", DASH)

    def _ball(self) -> None:
        scene, frame = self.scene, self.frame
        if scene.ball is None:
            return
        x = middle(scene.ball)
        if scene.platform is not None:
            low, high = scene.platform
            for z in dict.fromkeys((low, high)):
                self._line(x - 40.0, z, x + 40.0, z, "d-platform", DASH if low != high else None)
            r = (scene.measures.size("ball.diameter") or 50.8) / 2
            self.parts.append(
                element("circle", cx=frame.x(x), cy=frame.y(middle(scene.platform) + r), r=r * frame.scale,
                        class_="d-ball", fill="none", stroke="currentColor")
            )  # fmt: skip
        coupler = scene.measures.known("trailer.coupler_height")
        if scene.measures.present("trailer") and coupler:
            for z in dict.fromkeys(coupler):
                self._line(x - 60.0, z, x + 160.0, z, "d-coupler", "2 3")

    def _ramp(self, steep: float, class_: str, dash: str | None) -> tuple[float, float] | None:
        """A line at an angle tangent to the rear tyre, in side view; where it leaves the picture."""
        scene, frame = self.scene, self.frame
        if scene.wheel is None or not 0.0 < steep < 89.0:
            return None
        axle, r = scene.wheel[0], scene.wheel[1][1]
        angle = radians(steep)

        def height(behind: float) -> float:
            return -clearance_on_grade(behind, 0.0, r, grade_of_angle(steep)) / cos(angle)

        start = r * sin(angle)
        reach = min(frame.right - axle, start + (frame.top - height(start)) / tan(angle))
        if reach <= start:
            return None
        self._line(axle + start, height(start), axle + reach, height(reach), class_, dash)
        return axle + reach, height(reach)

    def _angles(self) -> None:
        for one in self.scene.angles:
            low, high = one.degrees
            kind = "d-departure-vehicle" if one.name.startswith("vehicle") else "d-departure"
            ends = [self._ramp(each, kind, DASH if low != high else "12 4") for each in dict.fromkeys((low, high))]
            if ends[0]:
                self._badge(self._next(f"{one.label}: {one.text}"), self.frame.x(ends[0][0]), self.frame.y(ends[0][1]))
        grade = self.scene.measures.known("load.steepest_grade")
        if grade:
            name = "load.steepest_grade"
            for one_grade in dict.fromkeys(grade):
                end = self._ramp(degrees(atan(one_grade)), "d-grade", "2 2")
            if end:
                m = self.scene.measures
                self._badge(self._next(f"{m.label(name)}: {m.text(name)}"), self.frame.x(end[0]), self.frame.y(end[1]))
        if self.scene.lowest:
            (left, right), z = self.scene.lowest
            for x in (left, right):
                at = {"cx": self.frame.x(x), "cy": self.frame.y(middle(z))}
                self.parts.append(element("circle", **at, r=2.5, fill="currentColor", class_="d-lowest"))
            self._line(left, middle(z), right, middle(z), "d-range", DASH)

    def _part(self, told: str) -> str:
        sign = "abcdefgh"[sum(1 for _, _, one in self.key if one == "d-part")]
        self.key.append((sign, told, "d-part"))
        return sign

    def _next(self, told: str, kind: str = "d-badge") -> str:
        sign = str(sum(1 for _, _, one in self.key if one == "d-badge") + 1)
        self.key.append((sign, told, kind))
        return sign

    def _badge(self, sign: str, x: float, y: float, kind: str = "d-badge") -> None:
        """A badge beside a point, with a line to it; badges are drawn last, over everything."""
        spot = self.frame.place(x - 12.0, y - 12.0)
        self.over.append(line(x, y, *spot, "d-leader"))
        self.over.append(badge(*spot, sign, kind))

    def _mark(self, sign: str, mark: Mark) -> None:
        scene, frame = self.scene, self.frame
        kind = "d-strikes" if mark.result == "fails" else "d-open"
        fill = f"url(#{self.prefix}-{'strikes' if mark.result == 'fails' else 'open'})"
        self.key.insert(len([one for one in self.key if one[2] in ("d-strikes", "d-open")]), (sign, mark.reason, kind))
        if mark.against == "ramp":
            point = scene.lowest if mark.shape == "lowest" else None
            if point:
                z = scene.lowest_loaded or point[1]
                x, y = frame.x(middle(point[0])), frame.y(middle(z))
                self.parts.append(
                    element(
                        "circle", cx=x, cy=y, r=8, fill=fill, stroke="currentColor", class_=kind, data_rule=mark.rule
                    )
                )
                self._badge(sign, x, y, kind)
            return
        shape = mark.shape
        if shape == "shortest":
            shape = min((name for name in ("folded", "in use") if name in scene.boxes),
                        key=lambda name: scene.boxes[name].right[1], default="")  # fmt: skip
        box = scene.boxes.get(shape)
        if box is None:
            return
        edges = (box.sure if mark.result == "fails" else None) or box.widest
        region = self._region(edges, mark.against, fill, kind, mark.rule, sign)
        self.parts.append(region)
        self._badge(sign, frame.x(edges[0]) + 3, frame.y(edges[3]) + 12, kind)

    def _region(
        self, edges: tuple[float, float, float, float], against: str, fill: str, kind: str, rule: str, sign: str
    ) -> str:
        """The part of a shape that is in the way, or may be; a shape without width is drawn as a strip."""
        left, right, bottom, top = edges
        least = 5.0 / self.frame.scale
        right, top = max(right, left + least), max(top, bottom + least)
        more = {"fill": fill, "stroke": "currentColor", "data_rule": rule}
        if against == "closure" and self.scene.closure:
            clip = f"{self.prefix}-clip-{sign}"
            self.clips.append(
                element("clipPath", element("path", d=self._sweep(self.scene.closure.length[1])), id=clip)
            )
            return element("g", self._rect((left, right, bottom, top), kind, **more), clip_path=f"url(#{clip})")
        if against == "wall" and self.scene.wall:
            return self._rect((max(left, self.scene.wall[0]), right, bottom, top), kind, **more)
        plane = self.scene.boxes["spare"].right[1] if against == "spare" and "spare" in self.scene.boxes else 0.0
        return self._rect((left, max(min(right, plane), left + least), bottom, top), kind, **more)

    def _heights(self) -> None:
        """Heights above the ground as marks on a staff beside the picture, their labels kept apart."""
        frame, heights = self.frame, self.scene.heights
        rows = [_folded(one.text) for one in heights]
        sizes = [max(19.0, 13.0 * len(row) + 4) for row in rows]
        wanted = [frame.y(middle(one.z)) for one in heights]
        middles = spread(wanted, sizes, 4.0, frame.ground + 4.0)
        staff = RIGHT + 6.0
        self.parts.append(line(staff, frame.y(frame.top), staff, frame.ground, "d-staff"))
        for one, row, y in zip(heights, rows, middles, strict=True):
            sign = self._next(one.label)
            low, high = frame.y(one.z[0]), frame.y(one.z[1])
            data = {"data_fact": one.name, "data_height": "ground"}
            at = (low + high) / 2
            self.parts.append(line(frame.x(one.x), at, staff, at, "d-extension", "1 4"))
            self.parts.append(line(staff - 4, low, staff + 4, low, "d-tick", **data))
            if low != high:
                self.parts.append(line(staff, low, staff, high, "d-range", DASH, stroke_width="3", **data))
                self.parts.append(line(staff - 4, high, staff + 4, high, "d-tick"))
            self.parts.append(line(staff + 4, at, staff + 12, y, "d-leader"))
            self.parts.append(badge(staff + 20, y, sign))
            for i, text in enumerate(row):
                self.parts.append(text_at(staff + 31, y + 4 + (i - (len(row) - 1) / 2) * 12.5, text, _SMALL))

    def _lengths(self, y: float) -> float:
        """Lengths along the ground, each in a row of its own below the picture."""
        frame = self.frame
        for one in self.scene.lengths:
            sign = self._next(one.label)
            ends = sorted((one.reach[0], one.reach[1]), key=abs)
            x0, x1, x2 = (frame.x(one.start + each) for each in (0.0, *ends))
            low, high = min(x0, x1, x2), max(x0, x1, x2)
            width = 22.0 + width_of(one.text, _SMALL)
            at = high + 5 if fits(high + 5, width) else low - 5 - width
            if not fits(at, width):
                at, y = min(max(low, 0.0), ink.WIDTH - width), y + 16.0
                self._label(sign, one.text, at, y - 16.0)
            else:
                self._label(sign, one.text, at, y)
            self._span(one, x0, x1, x2, y)
            y += 20.0
        return y

    def _label(self, sign: str, text: str, x: float, y: float) -> None:
        self.parts.append(badge(x + 9, y, sign))
        self.parts.append(text_at(x + 20, y + 4, text, _SMALL))

    def _span(self, one: Length, x0: float, x1: float, x2: float, y: float) -> None:
        data = {"data_fact": one.name}
        for x in dict.fromkeys((x0, x1, x2)):
            self.parts.append(line(x, y - 4, x, y + 4, "d-tick"))
        self.parts.append(line(x0, y, x1, y, "d-length", **data))
        if x1 != x2:
            self.parts.append(line(x1, y, x2, y, "d-length d-range", DASH, **data))

    def _key(self, y: float) -> float:
        """What the badges stand for, one below the other."""
        for sign, told, kind in self.key:
            rows = lines_of(told, ink.WIDTH - 30.0, 12.0)
            self.parts.append(badge(10, y + 8, sign, kind))
            for i, row in enumerate(rows):
                self.parts.append(text_at(26, y + 12 + 15 * i, row, 12))
            y += 15.0 * len(rows) + 5.0
        return y


def _folded(text: str) -> list[str]:
    """A value in the narrow column: a range on two lines."""
    for sign in (" ± ", " to "):
        if sign in text:
            first, rest = text.split(sign, 1)
            return [first, f"{sign.strip()} {rest}"]
    return [text]


def _frame(scene: Scene) -> Frame:
    xs, zs = [-500.0, 200.0], [700.0]
    for box in scene.boxes.values():
        left, right, _, top = box.widest
        xs += [left, right]
        zs.append(top)
    for length in scene.lengths:
        xs += [length.start, length.start + length.reach[0], length.start + length.reach[1]]
    zs += [height.z[1] for height in scene.heights]
    if scene.wheel:
        x, radius = scene.wheel
        xs += [x - radius[1], x + radius[1]]
        zs.append(radius[1] * 2)
    if scene.closure:
        reach = scene.closure.length[1]
        xs += [scene.closure.x, scene.closure.x + reach]
        zs.append(scene.closure.z[1] + (reach if scene.closure.up else _TALL if scene.closure.door else 0.0))
    if scene.pin:
        xs.append(scene.pin[0] - 300.0)
    return frame_of(xs, zs)


def describe(scene: Scene) -> str:
    """All that the drawing shows, in sentences: what strikes first, then the dimensions, then what is left out."""
    told = [f"{mark.reason}" for mark in scene.marks]
    told += [f"{_capital(one.label)}: {one.text}." for one in scene.heights]
    told += [f"{_capital(one.label)}: {one.text}." for one in scene.lengths]
    told += [f"{_capital(one.label)}: {one.text}." for one in scene.angles]
    grade = "load.steepest_grade"
    if scene.measures.known(grade) is not None:
        told.append(f"{_capital(scene.measures.label(grade))}: {scene.measures.text(grade)}.")
    if scene.closure:
        told.append(f"The rear closure is a {scene.closure.label}, drawn shut and with its sweep.")
    if scene.measures.sure("accessory.tilts_clear"):
        told.append("The accessory tilts clear of the rear closure.")
    if scene.missing:
        told.append(f"Not known, and left out: {joined(scene.missing)}.")
    if scene.unplaced:
        told.append(f"For want of that, not drawn: {joined(scene.unplaced)}.")
    told.append("The vehicle's outline is a sketch; only what is measured is to scale.")
    return " ".join(told)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
