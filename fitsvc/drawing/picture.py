"""The picture of a side view: the scene's shapes in the drawing's units, back to front."""

from math import atan, cos, degrees, radians, sin, tan
from typing import Final

from fitsvc.drawing.ink import DASH, badge, element, line, number
from fitsvc.drawing.key import Key
from fitsvc.drawing.measures import middle
from fitsvc.drawing.placing import RIGHT, Frame, frame_of
from fitsvc.drawing.scene import Box, Mark, Scene
from fitsvc.language.forms.geometry import clearance_on_grade, grade_of_angle
from fitsvc.tongues import t

TALL: Final = 1000.0
"""How much of a door is drawn above its lower edge, which alone is known; mm."""


class Picture:
    """One scene being drawn: `parts` from back to front, `over` the badges above all, `clips` what cuts marks."""

    def __init__(self, scene: Scene, key: Key, prefix: str) -> None:
        self.scene, self.key, self.prefix = scene, key, prefix
        self.frame = frame_for(scene)
        self.parts: list[str] = []
        self.over: list[str] = []
        self.clips: list[str] = []

    def draw(self) -> None:
        """Draw everything."""
        self._ground()
        self._body()
        self._wheel()
        self._closure()
        self._wall()
        for box in self.scene.boxes.values():
            self._box(box)
        self._receiver()
        self._ball()
        self._angles()
        for mark in self.scene.marks:
            self._mark(self.key.mark(mark.reason, mark.result, mark.rule), mark)

    def _line(self, x1: float, z1: float, x2: float, z2: float, class_: str, dash: str | None = None) -> None:
        frame = self.frame
        self.parts.append(line(frame.x(x1), frame.y(z1), frame.x(x2), frame.y(z2), class_, dash))

    def _dot(self, x: float, z: float, class_: str) -> None:
        at = {"cx": self.frame.x(x), "cy": self.frame.y(z)}
        self.parts.append(element("circle", **at, r=3, fill="currentColor", class_=class_))

    def _circle(self, x: float, z: float, radius: float, class_: str, **more: str | float | None) -> None:
        at = {"cx": self.frame.x(x), "cy": self.frame.y(z), "r": radius * self.frame.scale}
        self.parts.append(element("circle", **at, fill="none", stroke="currentColor", class_=class_, **more))

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
            end = z + (TALL if closure.door else closure.length[0] if closure.up else -closure.length[0])
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
        for r, dash in ((radius[1], DASH if radius[0] != radius[1] else None), (radius[0], None)):
            if r > 0.0:
                self._circle(x, r, r, "d-wheel", stroke_width=2, stroke_dasharray=dash)
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
            return f"M{number(x0)} {number(y0)}h{number(r)}v{number(-TALL * frame.scale)}h{number(-r)}z"
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
        end = z + (TALL if closure.door else low if closure.up else -low)
        self._line(closure.x, z, closure.x, end, "d-closure")
        self._dot(closure.x, z, "d-hinge")
        self._badge(
            self.key.part(t("{label} and its sweep", label=closure.label)),
            self.frame.x(closure.x),
            self.frame.y(z),
            "d-part",
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
            "rect",
            x=frame.x(left),
            y=frame.y(top),
            width=(right - left) * frame.scale,
            height=(top - bottom) * frame.scale,
            class_=class_,
            **more,
        )

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
            left, right, bottom, top = box.sure
            if left == right or bottom == top:  # a rectangle without width or height is not rendered
                self._line(left, bottom, right, top, f"d-edge d-{box.name.replace(' ', '-')}")
        if box.name != "front":
            left, _, _, top = box.sure or box.widest
            self._badge(self.key.part(box.label), self.frame.x(left), self.frame.y(top), "d-part")

    def _receiver(self) -> None:
        scene = self.scene
        if scene.pin is None or scene.opening is None:
            return
        z, x = middle(scene.opening), middle(scene.pin)
        bare = scene.measures.known("receiver_height")
        level = middle(bare) if bare else z
        plain: dict[str, str | float | None] = {"fill": "none", "stroke": "currentColor"}
        self.parts.append(self._rect((x - 300.0, x + 60.0, level - 60.0, level + 10.0), "d-receiver", **plain))
        seat = middle(scene.seat) if scene.seat else x
        if scene.seat and seat > x:
            self.parts.append(self._rect((x, seat + 60.0, z - 60.0, z + 10.0), "d-adapter", **plain))
        box = scene.boxes.get("in use")
        if box:
            end = max(middle(box.left), seat) + 1.0
            self.parts.append(self._rect((seat - 120.0, end, z - 50.0, z), "d-shank", **plain))
        for at, pin in {x: level, seat: z}.items():
            self._dot(at, pin - 25.0, "d-pin")
        for known, height in ((scene.pin, level), (scene.seat, z)):
            if known and known[0] != known[1]:
                self._line(known[0], height - 25.0, known[1], height - 25.0, "d-range", DASH)

    def _ball(self) -> None:
        scene = self.scene
        if scene.ball is None:
            return
        x = middle(scene.ball)
        if scene.platform is not None:
            low, high = scene.platform
            for z in dict.fromkeys((low, high)):
                self._line(x - 40.0, z, x + 40.0, z, "d-platform", DASH if low != high else None)
            r = (scene.measures.size("ball_size") or 50.8) / 2
            self._circle(x, middle(scene.platform) + r, r, "d-ball")
        coupler = scene.measures.known("coupler_height")
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
            kind = "d-departure-vehicle" if one.bare else "d-departure"
            ends = [self._ramp(each, kind, DASH if low != high else "12 4") for each in dict.fromkeys((low, high))]
            self._name_line(f"{one.label}: {one.text}", ends[0])
        m, name = self.scene.measures, "steepest_grade"
        grades = dict.fromkeys(m.known(name) or ())
        ends = [self._ramp(degrees(atan(one)), "d-grade", "2 2") for one in grades]
        if ends:
            self._name_line(f"{m.label(name)}: {m.text(name)}", ends[0])
        if self.scene.lowest:
            (left, right), z = self.scene.lowest
            for x in (left, right):
                self._dot(x, middle(z), "d-lowest-point")
            self._line(left, middle(z), right, middle(z), "d-range", DASH)

    def _name_line(self, told: str, end: tuple[float, float] | None) -> None:
        """Badge a ramp's line where it leaves the picture; a line too level or steep to draw is in the key alone."""
        sign = self.key.number(told)
        if end:
            self._badge(sign, self.frame.x(end[0]), self.frame.y(end[1]))

    def _badge(self, sign: str, x: float, y: float, kind: str = "d-badge") -> None:
        """A badge beside a point, with a line to it; badges are drawn last, over everything."""
        spot = self.frame.place(x - 12.0, y - 12.0)
        self.over.append(line(x, y, *spot, "d-leader"))
        self.over.append(badge(*spot, sign, kind))

    def _mark(self, sign: str, mark: Mark) -> None:
        """Fill what strikes, or may, with its pattern; what is not drawn is told in the key alone."""
        if mark.shape == "lowest" and self.scene.lowest:
            (left, right), z = self.scene.lowest[0], self.scene.lowest_loaded or self.scene.lowest[1]
            reach = 60.0
            edges = ((left + right) / 2 - reach, (left + right) / 2 + reach, middle(z) - reach, middle(z) + reach)
            self._fill(sign, mark, edges)
            return
        shape = mark.shape
        if shape == "shortest":
            drawn = [name for name in ("folded", "in use") if name in self.scene.boxes]
            shape = min(drawn, key=lambda name: self.scene.boxes[name].right[1], default="")
        box = self.scene.boxes.get(shape)
        if box is not None:
            self._fill(sign, mark, (box.sure if mark.result == "fails" else None) or box.widest)

    def _fill(self, sign: str, mark: Mark, edges: tuple[float, float, float, float]) -> None:
        """A shape's part that is in the way; one without width or height becomes a strip."""
        scene, (left, right, bottom, top) = self.scene, edges
        least = 5.0 / self.frame.scale
        clip = None
        if mark.against == "closure":
            if scene.closure is None:
                return
            clip = f"{self.prefix}-clip-{sign}"
            self.clips.append(element("clipPath", element("path", d=self._sweep(scene.closure.length[1])), id=clip))
        elif mark.against == "wall":
            if scene.wall is None:
                return
            left = max(left, scene.wall[0])
        elif mark.against in ("beside", "spare") and mark.against not in scene.boxes:
            return
        elif mark.against in ("bumper", "spare"):
            right = min(right, scene.boxes["spare"].right[1] if mark.against == "spare" else 0.0)
        name = "strikes" if mark.result == "fails" else "open"
        more = {"fill": f"url(#{self.prefix}-{name})", "stroke": "currentColor", "data_region": mark.rule}
        region = self._rect((left, max(right, left + least), bottom, max(top, bottom + least)), f"d-{name}", **more)
        self.parts.append(element("g", region, clip_path=f"url(#{clip})") if clip else region)
        self._badge(sign, self.frame.x(left) + 3, self.frame.y(top) + 12, f"d-{name}")


def frame_for(scene: Scene) -> Frame:
    """The frame about everything that a scene places."""
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
        zs.append(scene.closure.z[1] + (reach if scene.closure.up else TALL if scene.closure.door else 0.0))
    if scene.pin:
        xs.append(scene.pin[0] - 300.0)
    return frame_of(xs, zs)
