"""A window in millimetres on the page: what is drawn through it is to one scale and cut off at its edges.

x is counted rearward from the bumper, z up from the ground. Words stand outside of the cut, each where it is wished for
or as near to it as no other word stands.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final

from fitsvc.drawing.ink import element, number, text_at

WIDE: Final = 360.0
"""A picture's width in its own units: at a phone's width a unit is a little less than a pixel."""
TEXT: Final = 13.0
"""The size of its words; 8 pt on paper where the picture is 80 mm wide."""
_EM: Final = 0.56
"""Width of a letter of the pages' faces as a share of its size; bold ones are a little wider."""
_STEP: Final = 4.0
_STEPS: Final = 120
INCH: Final = 25.4

Spot = tuple[float, float]


def wide(text: str) -> float:
    """How wide words may come out, in units."""
    return len(text) * TEXT * _EM


@dataclass(slots=True)
class PanelWords:
    """The words of a picture: none covers another, and none leaves it to the sides."""

    drawn: list[str] = field(default_factory=list)
    taken: list[tuple[float, float, float, float]] = field(default_factory=list)

    def say(
        self, x: float, y: float, text: str, anchor: str = "start", kind: str = "", between: Spot = (0, 9e9)
    ) -> float:
        """Set words with their foot at y in units, or as near above or below as there is room; where they stand."""
        across = wide(text) * (1.07 if "v-strong" in kind else 1.0)
        left = x - across * {"start": 0.0, "middle": 0.5, "end": 1.0}[anchor]
        left = min(max(left, 2.0), max(WIDE - 2.0 - across, 2.0))
        low, high = between
        for shift in _shifts():
            foot = y + shift
            box = (left - 2.0, foot - TEXT, left + across + 2.0, foot + 4.0)
            if low + TEXT <= foot <= high - 4.0 and not any(_meet(box, other) for other in self.taken):
                self.taken.append(box)
                self.drawn.append(text_at(left, foot, text, TEXT, class_=f"v-text {kind}".strip()))
                return foot
        return y


def _shifts() -> Iterator[float]:
    yield 0.0
    for step in range(1, _STEPS):
        yield from (step * _STEP, -step * _STEP)


def _meet(a: Sequence[float], b: Sequence[float]) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


@dataclass(slots=True, kw_only=True)
class Panel:
    """One window: `left` to `right` and `low` to `high` in mm, its upper edge at `top` in units."""

    name: str
    left: float
    right: float
    low: float
    high: float
    top: float
    words: PanelWords
    parts: list[str] = field(default_factory=list)
    defs: list[str] = field(default_factory=list)

    @property
    def scale(self) -> float:
        """Units a mm."""
        return WIDE / (self.right - self.left)

    @property
    def foot(self) -> float:
        """Its lower edge in units."""
        return self.top + (self.high - self.low) * self.scale

    def x(self, mm: float) -> float:
        """Across, in units."""
        return (mm - self.left) * self.scale

    def y(self, mm: float) -> float:
        """Down, in units."""
        return self.top + (self.high - mm) * self.scale

    def path(self, kind: str, points: Sequence[tuple[float, ...]], close: bool = True) -> None:
        """A line through points in mm; a third figure of a point rounds its corner."""
        self.parts.append(element("path", d=self.way(points, close), class_=kind))

    def way(self, points: Sequence[tuple[float, ...]], close: bool = True) -> str:
        """The path's text."""
        rounded = (self._corner(points, i, close) for i in range(len(points)))
        return "M" + "L".join(rounded) + ("Z" if close else "")

    def _corner(self, points: Sequence[tuple[float, ...]], i: int, close: bool) -> str:
        x, z, *rest = points[i]
        corner = rest[0] if rest else 0.0
        if not corner or (not close and i in (0, len(points) - 1)):
            return self.at(x, z)
        start, end = (_toward((x, z), points[k % len(points)], corner) for k in (i - 1, i + 1))
        return f"{self.at(*start)}Q{self.at(x, z)} {self.at(*end)}"

    def at(self, x: float, z: float) -> str:
        """A point of a path."""
        return f"{number(self.x(x))} {number(self.y(z))}"

    def rect(
        self, kind: str, edges: tuple[float, float, float, float], corner: float = 0.0, **more: str | None
    ) -> None:
        """A rectangle: left, right, bottom, top in mm."""
        left, right, bottom, top = edges
        look: dict[str, float | str | None] = {
            "x": self.x(left),
            "y": self.y(top),
            "width": max(right - left, 0.0) * self.scale,
            "height": max(top - bottom, 0.0) * self.scale,
            "rx": corner * self.scale or None,
        }
        self.parts.append(element("rect", **look, class_=kind, **more))

    def circle(self, kind: str, x: float, z: float, radius: float) -> None:
        """A circle in mm."""
        self.parts.append(element("circle", cx=self.x(x), cy=self.y(z), r=radius * self.scale, class_=kind))

    def say(self, x: float, z: float, text: str, anchor: str = "start", kind: str = "") -> None:
        """Words at a point in mm, kept within the window's height."""
        self.words.say(self.x(x), self.y(z), text, anchor, kind, (self.top, self.foot))

    def svg(self, prefix: str) -> str:
        """All of it, cut off at the window's edges."""
        name = f"{prefix}-{self.name}"
        cut = element("rect", x=0, y=self.top, width=WIDE, height=self.foot - self.top)
        clip = element("clipPath", cut, id=name)
        drawn = element(
            "g",
            "".join(self.parts),
            clip_path=f"url(#{name})",
            data_panel=self.name,
            data_units_per_mm=f"{self.scale:.9g}",
            data_bumper=f"{self.x(0.0):.6f}",
            data_ground=f"{self.y(0.0):.6f}",
        )
        return clip + "".join(self.defs) + drawn


def _toward(corner: Spot, other: tuple[float, ...], far: float) -> Spot:
    """The point so far from a corner on the way to another point, at most half of it."""
    dx, dz = other[0] - corner[0], other[1] - corner[1]
    length = (dx * dx + dz * dz) ** 0.5 or 1.0
    part = min(far, length / 2.0) / length
    return corner[0] + dx * part, corner[1] + dz * part
