"""From millimetres to the drawing's units, and places for badges and rows where none covers another."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from math import hypot
from typing import Final

from fitsvc.drawing.ink import WIDTH

LEFT: Final = 8.0
RIGHT: Final = 284.0
"""The picture's own part of the width; the heights are told to its right."""
TALLEST: Final = 330.0
_APART: Final = 18.0
_STEPS: Final = sorted(
    ((dx * 9.0, dy * 9.0) for dx in range(-34, 35) for dy in range(-36, 37)), key=lambda step: hypot(*step)
)
"""Where else a badge may go, nearest first."""


@dataclass(slots=True, kw_only=True)
class Frame:
    """Where x and z in mm fall in the drawing, to one scale (units a mm) for both."""

    left: float
    right: float
    top: float
    scale: float
    ground: float
    taken: list[tuple[float, float]] = field(default_factory=list)

    def x(self, mm: float) -> float:
        """Across."""
        return LEFT + (mm - self.left) * self.scale

    def y(self, mm: float) -> float:
        """Down."""
        return self.ground - mm * self.scale

    def place(self, x: float, y: float) -> tuple[float, float]:
        """A free place for a badge, as near as there is to the one wished for."""
        x, y = min(max(x, LEFT + 9), RIGHT - 9), min(max(y, 11.0), self.ground - 9)
        for dx, dy in _STEPS:
            spot = (x + dx, y + dy)
            inside = LEFT + 9 <= spot[0] <= RIGHT - 9 and 11 <= spot[1] <= self.ground - 9
            if inside and all(hypot(spot[0] - a, spot[1] - b) >= _APART for a, b in self.taken):
                self.taken.append(spot)
                return spot
        return x, y


def frame_of(xs: Iterable[float], zs: Iterable[float]) -> Frame:
    """The frame that holds these points and the ground, with a margin about them."""
    across, high = list(xs), [0.0, *zs]
    left, right, top = min(across), max(across), max(*high, 400.0)
    margin = max(right - left, top, 600.0) * 0.04
    left, right, top = left - margin, right + margin, top + margin
    scale = min((RIGHT - LEFT) / (right - left), TALLEST / top)
    spare = (RIGHT - LEFT) / scale - (right - left)
    return Frame(left=left - spare / 2, right=right + spare / 2, top=top, scale=scale, ground=top * scale + 6.0)


def spread(wanted: Sequence[float], sizes: Sequence[float], low: float, high: float) -> list[float]:
    """Middles for labels in a column, in the order wished for and near to it, none touching, none above `low`.

    They end at `high` where there is room for all.

    Labels that would touch become one block about the middle of their wishes.
    """
    order = sorted(range(len(wanted)), key=lambda i: (wanted[i], i))
    placed = [0.0] * len(wanted)
    blocks: list[tuple[list[int], float]] = []
    for i in order:
        blocks.append(_block([i], wanted, sizes, low, high))
        while len(blocks) > 1 and blocks[-2][1] + sum(sizes[k] for k in blocks[-2][0]) > blocks[-1][1] + 1e-9:
            (members, _), (before, _) = blocks.pop(), blocks.pop()
            blocks.append(_block(before + members, wanted, sizes, low, high))
    for members, top in blocks:
        for k in members:
            placed[k] = top + sizes[k] / 2
            top += sizes[k]
    return placed


def _block(
    members: list[int], wanted: Sequence[float], sizes: Sequence[float], low: float, high: float
) -> tuple[list[int], float]:
    """Labels one below the other about the middle of where they wish to be, and the block's top."""
    height, middle = sum(sizes[k] for k in members), sum(wanted[k] for k in members) / len(members)
    return members, max(min(middle - height / 2, high - height), low)


def fits(x: float, width: float) -> bool:
    """Whether a text that starts at x ends on the drawing."""
    return x >= 0.0 and x + width <= WIDTH
