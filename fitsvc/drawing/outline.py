"""The vehicle's outline: a sketch of its body, hung on the few places that are facts; wheel and bumper to scale."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import sqrt

from fitsvc.drawing.measures import Measures, middle
from fitsvc.drawing.panel import INCH, Panel, Spot
from fitsvc.drawing.scene import Scene
from fitsvc.rulebook.rules import Body, BodyPoint


@dataclass(frozen=True, slots=True, kw_only=True)
class Outline:
    """A body on its places: x of each place and z of each height, in mm; `turned` where its front is drawn."""

    body: Body
    xs: Mapping[str, float]
    zs: Mapping[str, float]
    tyre: float
    axles: tuple[float, float]
    turned: bool

    @property
    def reach(self) -> tuple[float, float, float]:
        """Its foremost and rearmost x, and its highest z."""
        ends = [self.at(point)[0] for point in self.body.outline]
        return min(ends), max(*ends, 0.0), self.zs["roof"]

    def x(self, x: float) -> float:
        """An x as it is drawn: a front is drawn the other way round, its nose where a bumper's rear is."""
        return self.xs["nose"] - x if self.turned else x

    def at(self, point: BodyPoint) -> tuple[float, float, float]:
        """A point of the outline with its corner, in mm."""
        tail, front = self.xs["tail"], self.xs["front"]
        x = self.xs[point.place] if point.place else tail + point.share * (front - tail)
        z = self.zs[point.height] * point.times + point.above * INCH
        return self.x(x + point.behind * INCH), z, point.corner * INCH

    def draw(self, panel: Panel) -> None:
        """Body, glass, seams, wheels and bumper, back to front."""
        body = self.body
        panel.parts.append(f'<path class="v-body" d="{self._shell(panel)}"/>')
        for pane in body.glass:
            panel.path("v-glass", [(*self.at(point)[:2], 1.8 * INCH) for point in pane])
        for seam in body.seams:
            panel.path("v-seam", [self.at(point)[:2] for point in seam], close=False)
        for axle in self.axles:
            panel.circle("v-tyre", self.x(axle), self.tyre, self.tyre)
            panel.circle("v-seam", self.x(axle), self.tyre, self.tyre * 0.58)
            panel.circle("v-seam", self.x(axle), self.tyre, self.tyre * 0.12)
        self._bumper(panel)

    def _shell(self, panel: Panel) -> str:
        """The body's line, over the roof and back under the sill with an arch over each wheel."""
        sill, arch = self.zs["sill"], self.tyre + 2.6 * INCH
        half = sqrt(max(arch * arch - (sill - self.tyre) ** 2, 1.0))
        line = panel.way([self.at(point) for point in self.body.outline], close=False)
        r, sweep = arch * panel.scale, 0 if self.turned else 1
        for axle in sorted(self.axles):
            start, end = self.x(axle - half), self.x(axle + half)
            line += f"L{panel.at(start, sill)}A{r:.2f} {r:.2f} 0 1 {sweep} {panel.at(end, sill)}"
        return f"{line}L{panel.at(self.x(-7 * INCH), self.zs['foot'] + INCH)}Z"

    def _bumper(self, panel: Panel) -> None:
        """The bumper's rear edge is where everything is counted from."""
        foot, head, square = self.zs["foot"], self.zs["head"], self.body.square
        if self.turned:
            return
        if square:
            edge = [(0.0, foot, 30.0), (0.0, head - 38, 30.0), (-230.0, head - 38, 25.0), (-230.0, foot, 25.0)]
            panel.path("v-steel", edge)
        else:
            arch = self.axles[0] + self.tyre + 4 * INCH
            edge = [(0.0, foot, 55.0), (0.0, head, 65.0), (-300.0, head + 25, 25.0)]
            panel.path("v-body", [*edge, (min(arch, -320.0), foot + 5 * INCH, 25.0), (min(arch, -320.0), foot + 25)])
        top = head - 38.0 * square
        panel.path("v-rear", [(-75.0, foot, 0.0), (0.0, foot, 50.0), (0.0, top, 50.0), (-75.0, top, 0.0)], close=False)


def outline_of(scene: Scene) -> Outline | None:
    """The outline of a vehicle whose body is known; of a body that no data tells of there is none."""
    m = scene.measures
    bodies = m.wording.rulebook.bodies
    body = bodies.get(f"{m.choice('body')} {m.choice('closure')}") or bodies.get(m.choice("body"))
    if body is None:
        return None
    tyre = _known(m, "wheel_radius", body, "tyre")
    overhang, wheelbase = _known(m, "rear_overhang", body, "overhang"), _known(m, "wheelbase", body, "wheelbase")
    tail, front = -_known(m, "hinge_setback", body, "setback"), -overhang - wheelbase
    foot = (middle(scene.opening) if scene.opening else body.usual["opening"] * INCH) + 1.2 * INCH
    hinge, length = _known(m, "hinge_height", body, "hinge"), _known(m, "closure_length", body, "length")
    gate = hinge + length if m.sure("closure_swings_up") else hinge
    heights = {"ground": INCH, "sill": tyre * 0.92, "foot": foot, "head": foot + 8.5 * INCH}
    heights |= {"hinge": hinge, "gate": max(gate, foot + 14 * INCH)}
    roof = heights[body.roof.height] * body.roof.times + body.roof.above * INCH
    xs = {"tail": tail, "bumper": 0.0, "front": front, "nose": front - body.nose * INCH}
    return Outline(
        body=body, xs=xs, zs=heights | {"roof": roof}, tyre=tyre, axles=(-overhang, front), turned=m.sure("at_front")
    )


def _known(m: Measures, word: str, body: Body, usual: str) -> float:
    """What is known of a length, else what is usual of such a body; in mm."""
    bounds = m.known(word)
    return middle(bounds) if bounds else body.usual[usual] * INCH


def turned_about(pivot: Spot, angle_sine: float, point: Spot) -> Spot:
    """A point turned rearward and down about another, both in mm."""
    cosine = sqrt(1.0 - angle_sine**2)
    dx, dz = point[0] - pivot[0], point[1] - pivot[1]
    return pivot[0] + dx * cosine + dz * angle_sine, pivot[1] - dx * angle_sine + dz * cosine
