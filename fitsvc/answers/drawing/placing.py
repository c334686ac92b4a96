"""From millimetres to the drawing's units, and places for badges and rows where none covers another."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from math import hypot
from typing import Final

from fitsvc.answers.drawing.ink import WIDTH

LEFT: Final = 8.0
RIGHT: Final = 318.0
"""The picture's own part of the width; the heights are told to its right."""
TALLEST: Final = 330.0
_APART: Final = 18.0


@dataclass(slots=True)
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
        steps = [(dx * 9.0, dy * 9.0) for dx in range(-34, 35) for dy in range(-36, 37)]
        for dx, dy in sorted(steps, key=lambda step: hypot(*step)):
            spot = (x + dx, y + dy)
            inside = LEFT + 9 <= spot[0] <= RIGHT - 9 and 11 <= spot[1] <= self.ground - 9
            if inside and all(hypot(spot[0] - a, spot[1] - b) >= _APART for a, b in self.taken):
                self.taken.append(spot)
                return spot
        return x, y


def frame_of(xs: Iterable[float], zs: Iterable[float]) -> Frame:
    """The frame that holds these points and the ground, with a margin about them."""
    across, high = list(xs), [0.0, *zs]
    left, right, top = min(across), max(across), max(max(high), 400.0)
    margin = max(right - left, top, 600.0) * 0.04
    left, right, top = left - margin, right + margin, top + margin
    scale = min((RIGHT - LEFT) / (right - left), TALLEST / top)
    spare = (RIGHT - LEFT) / scale - (right - left)
    return Frame(left - spare / 2, right + spare / 2, top, scale, top * scale + 6.0)


def spread(wanted: Sequence[float], sizes: Sequence[float], low: float, high: float) -> list[float]:
    """Middles for labels in a column, in the order wished for, as near to it as they can be without touching.

    Labels that touch are moved as one block about their common middle; where the column is too short for all,
    it grows past `high`.
    """
    order = sorted(range(len(wanted)), key=lambda i: (wanted[i], i))
    blocks: list[tuple[list[int], float, float]] = []
    for i in order:
        members, length, sum_ = [i], sizes[i], wanted[i] - sizes[i] / 2
        top = max(sum_, low)
        while blocks and blocks[-1][1] + blocks[-1][2] > top:
            before, _, size = blocks.pop()
            members, length = before + members, size + length
            middles = sum(wanted[k] for k in members) / len(members)
            top = max(min(middles - length / 2, high - length), low)
        blocks.append((members, top if length != sizes[i] else max(min(top, high - length), low), length))
    placed = [0.0] * len(wanted)
    end = low
    for members, top, _ in blocks:
        at = max(top, end)
        for k in members:
            placed[k] = at + sizes[k] / 2
            at += sizes[k]
        end = at
    return placed


def fits(x: float, width: float) -> bool:
    """Whether a text that starts at x ends on the drawing."""
    return x >= 0.0 and x + width <= WIDTH
