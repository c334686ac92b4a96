"""The side view in millimetres: where each part stands, what strikes what, and what is not known.

x is counted rearward from the bumper's rearmost point, z up from the ground; a position is bounds. Positions come
from the facts and the derived values the rules judge by; what strikes what is what the rules say and nothing else.
"""

from dataclasses import dataclass, field

from fitsvc.answers.phrases import UNKNOWN
from fitsvc.drawing.measures import Measures, middle, minus, plus
from fitsvc.language.intervals import Bounds
from fitsvc.tongues import t


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A shape seen from the side: its four edges, each as bounds; `partial` where one of them is not known."""

    name: str
    label: str
    left: Bounds
    right: Bounds
    bottom: Bounds
    top: Bounds
    partial: bool = False

    @property
    def widest(self) -> tuple[float, float, float, float]:
        """x and z of all it may fill: left, right, bottom, top."""
        return (self.left[0], max(self.right[1], self.left[0]), self.bottom[0], max(self.top[1], self.bottom[0]))

    @property
    def sure(self) -> tuple[float, float, float, float] | None:
        """What it surely fills; None where nothing."""
        left, right, bottom, top = self.left[1], self.right[0], self.bottom[1], self.top[0]
        return (left, right, bottom, top) if right >= left and top >= bottom else None

    @property
    def exact(self) -> bool:
        """Whether every edge is known exactly."""
        return self.sure == self.widest


@dataclass(frozen=True, slots=True)
class Length:
    """A dimension along the ground, from a point rearward (negative: forward) as far as its bounds say."""

    name: str
    label: str
    text: str
    start: float
    reach: Bounds


@dataclass(frozen=True, slots=True)
class Height:
    """A height above the ground, told beside the drawing, of a point at x."""

    name: str
    label: str
    text: str
    x: float
    z: Bounds


@dataclass(frozen=True, slots=True)
class Angle:
    """A ramp's line behind the rear tyre, tangent to it; `bare` is the vehicle's own."""

    label: str
    text: str
    degrees: Bounds
    bare: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Closure:
    """The rear closure: its hinge, how long it is, and how it swings.

    `up` says that it is judged as what swings above its hinge's level (a lift gate swings below it), `door` that it
    swings sideways: seen from the side it is a strip above its lower edge.
    """

    label: str
    x: float
    z: Bounds
    length: Bounds
    up: bool
    door: bool


@dataclass(frozen=True, slots=True)
class Mark:
    """What a rule found to strike, or to be open: the rule's result and reason, the shape and what it strikes."""

    rule: str
    result: str
    reason: str
    shape: str
    against: str


@dataclass(slots=True, kw_only=True)
class Scene:
    """Everything a side view shows, and the labels of what it leaves out because it is not known.

    `others` are the scenes of what else is in the same receiver, each with its own `name`; alone a thing needs none.
    """

    measures: Measures
    name: str = ""
    others: list["Scene"] = field(default_factory=list)
    boxes: dict[str, Box] = field(default_factory=dict)
    lengths: list[Length] = field(default_factory=list)
    heights: list[Height] = field(default_factory=list)
    angles: list[Angle] = field(default_factory=list)
    marks: list[Mark] = field(default_factory=list)
    missing: list[str] = field(default_factory=list)
    unplaced: list[str] = field(default_factory=list)
    pin: Bounds | None = None
    seat: Bounds | None = None
    opening: Bounds | None = None
    ball: Bounds | None = None
    platform: Bounds | None = None
    wheel: tuple[float, Bounds] | None = None
    closure: Closure | None = None
    wall: Bounds | None = None
    lowest: tuple[Bounds, Bounds] | None = None
    lowest_loaded: Bounds | None = None

    def need(self, name: str) -> Bounds | None:
        """A number that the drawing needs; noted as missing where it is not known from both sides."""
        found = self.measures.known(name)
        if found is None:
            text = self.measures.text(name)
            label = self.measures.label(name)
            told = label if text == t(UNKNOWN) else f"{label} ({text})"
            if told not in self.missing:
                self.missing.append(told)
        return found

    def along(self, name: str, start: Bounds | None, forward: bool = False) -> None:
        """Note a dimension along the ground, where its start is placed and it is known."""
        bounds = self.need(name)
        if bounds is not None and start is not None:
            reach = minus(bounds) if forward else bounds
            assert reach is not None
            measures = self.measures
            self.lengths.append(
                Length(measures.name(name), measures.label(name), measures.text(name), middle(start), reach)
            )

    def above(self, name: str, x: Bounds | None, z: Bounds | None, label: str = "") -> None:
        """Note a height above the ground."""
        if x is not None and z is not None:
            told = label or self.measures.label(name)
            self.heights.append(Height(self.measures.name(name), told, self.measures.length_text(z), middle(x), z))

    def behind(self, name: str) -> Bounds | None:
        """A fact counted from the accessory's own pin hole, behind the bumper."""
        return plus(self.seat, self.need(name))
