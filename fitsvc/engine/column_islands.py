"""Numbers within a rule that see fewer of the items' values than the rule does, and so have fewer distinct rows.

Such a number is computed on its own rows, and fetched from there for the rule's: of `accessory.length + reach` a
few hundred, where the rule that also weighs the accessory has tens of thousands.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fitsvc.engine.column_graph import Graph
from fitsvc.engine.column_values import Cells
from fitsvc.engine.signatures import Column, order_rows, taken
from fitsvc.language.types import NumberType

_LEAST_ROWS = 4096
_FOLDED = 3
"""A rule with fewer rows, or a number with not so many times fewer, is not worth the fetching."""


@dataclass(frozen=True, slots=True)
class Island:
    """A number of the graph, what it sees on its own rows, and the row each of the rule's rows has there."""

    number: int
    columns: Mapping[int, Cells]
    rows: NDArray[np.intp]


def islands_of(
    graph: Graph, roots: Sequence[int], columns: Mapping[int, Column], ranked: Mapping[int, NDArray[np.int64]],
    count: int,
) -> list[Island]:  # fmt: skip
    """The topmost islands below some roots; `columns` and `ranked` are what the rule sees, over its rows."""
    found: list[Island] = []
    done: set[int] = set()
    ways = list(roots) if count >= _LEAST_ROWS else []
    while ways:
        number = ways.pop()
        step = graph.steps[number]
        if number in done or not (step.on_rig and step.on_items):
            continue
        done.add(number)
        seen = [part for part in graph.inputs([number])[1] if part in ranked]
        if isinstance(step.node.type, NumberType) and 0 < len(seen) < len(ranked):
            groups = order_rows([ranked[part] for part in seen], count)
            if len(groups.first) * _FOLDED <= count:
                own = {part: taken(columns[part], groups.first) for part in seen}
                found.append(Island(number, own, groups.group))
                continue
        ways += step.operands
    return found
