"""Pruning by monotone bounds: a rule's rows in boxes, each judged by its two corners before any of its rows is.

Of two bounds one is lower if neither of its ends is above the other's. Where a rule's truth moves one way only with
each number that it sees of the items (the functions table says in which), the truth on every row of a box lies
between those on the box's lowest and highest corners; where these are the same, no row need be looked at. Rows
whose other values differ, or of which one number is open and another's is not, never share a box.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from fitsvc.engine.columns.graph import Graph
from fitsvc.engine.columns.signatures import Column, arrays_of, taken
from fitsvc.engine.columns.views import View
from fitsvc.language import typed
from fitsvc.language.types import NumberType

_SIZES: Final = (32, 1 << 40)
"""The most rows of a box of each level, from the finest to the coarsest; each size goes into the next."""
_LEAST_ROWS: Final = 64
_WORTH: Final = 4
"""Boxes are made of so many rows or more, and if each holds so many of the next level's on the average."""


@dataclass(frozen=True, slots=True)
class Level:
    """Boxes of one size, or rows: what is seen at their lowest corners, then at their highest (rows have one only).

    `box_of` is the box here of each box, or row, of the next level.
    """

    columns: Mapping[int, Column]
    count: int
    corners: int
    box_of: NDArray[np.intp]


def directions(graph: Graph, roots: Sequence[int]) -> dict[int, int]:
    """Which way the roots' truth moves with each topmost part that depends on items alone; 0: both or unsure."""
    ways: dict[int, set[int]] = {}
    seen = {(root, 1) for root in roots}
    left = list(seen)
    while left:
        number, way = left.pop()
        step = graph.steps[number]
        if step.on_rig:
            moves = typed.moves(step.node, [graph.steps[part].node.type for part in step.operands])
            below = {(part, way * move) for part, move in zip(step.operands, moves, strict=True)}
            left += below - seen
            seen |= below
        elif step.on_items:
            ways.setdefault(number, set()).add(way)
    return {number: found.pop() if len(found) == 1 else 0 for number, found in ways.items()}


def levels_of(graph: Graph, roots: Sequence[int], view: View) -> list[Level]:
    """The boxes of a view, coarse ones first, where they hold enough rows to be worth it; and last its rows."""
    levels = [Level(view.columns, view.count, 1, np.zeros(0, np.intp))]
    if view.count < _LEAST_ROWS:
        return levels
    ways = directions(graph, roots)
    moving = {n: ways[n] for n in view.columns if ways[n] and isinstance(graph.steps[n].node.type, NumberType)}
    apart = [view.ranked[number] for number in view.columns if number not in moving]
    apart += [np.isinf(end).astype(np.int64) for number in moving for end in arrays_of(view.columns[number])]
    order = np.lexsort([_winding([view.ranked[number] for number in moving], view.count), *apart])
    edges = np.flatnonzero(
        sum((key[order[1:]] != key[order[:-1]] for key in apart), np.zeros(view.count - 1, np.bool_))
    )
    first = np.empty_like(order)
    first[order] = np.arange(view.count)
    for size in _SIZES:
        starts = _cut([0, *(edges + 1).tolist()], view.count, size)
        if len(starts) * _WORTH <= levels[0].count:
            columns = {n: _corners(column, order, starts, moving.get(n, 0)) for n, column in view.columns.items()}
            levels.insert(0, Level(columns, len(starts), 2, np.searchsorted(starts, first, "right") - 1))
            first = starts
    return levels


def _cut(edges: Sequence[int], count: int, size: int) -> NDArray[np.intp]:
    """Where boxes of at most so many rows start, if none is to reach across an edge."""
    return np.array([start for first, end in pairwise([*edges, count]) for start in range(first, end, size)], np.intp)


def _corners(column: Column, order: NDArray[np.intp], starts: NDArray[np.intp], way: int) -> Column:
    """The values at the lowest corners of boxes, then at the highest."""
    if not way or not isinstance(column, tuple):
        return taken(column, np.tile(order[starts], 2))
    picks = (np.minimum, np.maximum) if way > 0 else (np.maximum, np.minimum)
    low, high = (np.concatenate([pick.reduceat(end[order], starts) for pick in picks]) for end in column)
    return low, high


def _winding(ranked: Sequence[NDArray[np.int64] | NDArray[np.int32]], count: int) -> NDArray[np.int64]:
    """Places on a curve (Morton's) along which rows that are close in all ranks are close to each other."""
    digits = min(10, 60 // max(len(ranked), 1))
    scaled = [(rank << digits) // (int(rank.max(initial=0)) + 1) for rank in ranked]
    place = np.zeros(count, np.int64)
    for digit in reversed(range(digits)):
        for each in scaled:
            place = place << 1 | (each >> digit & 1)
    return place
