"""What a derived value comes to with all it reads: never itself, and bounded, since rules are compiled with it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from graphlib import CycleError, TopologicalSorter
from typing import Final

from fitsvc.language import typed
from fitsvc.language.typed import AnyTyped, Read

MOST_PARTS: Final = 2_000
DEEPEST: Final = 50
_MOST_CIRCLES: Final = 20


@dataclass(frozen=True, slots=True)
class Extent:
    """The number of nodes and of levels of an expression in which derived values are written out."""

    parts: int
    levels: int

    @property
    def excess(self) -> str:
        """What is too much of it, for people; empty when nothing is."""
        if self.parts > MOST_PARTS:
            return f"comes to {self.parts} parts with all it reads; at most {MOST_PARTS} are allowed"
        if self.levels > DEEPEST:
            return f"is {self.levels} levels deep with all it reads; at most {DEEPEST} are allowed"
        return ""


def reads_of(nodes: Mapping[str, AnyTyped]) -> dict[str, list[str]]:
    """Which of some named expressions each of them reads."""
    return {name: [read for read in typed.reads(node) if read in nodes] for name, node in nodes.items()}


def circles(reads: Mapping[str, Sequence[str]]) -> list[list[str]]:
    """Ways from a name back to itself, no two with a name in common, each from the name that is declared first."""
    order = {name: i for i, name in enumerate(reads)}
    left, found = dict(reads), list[list[str]]()
    while len(found) < _MOST_CIRCLES:
        try:
            TopologicalSorter(left).prepare()
            break
        except CycleError as error:
            way = error.args[1][:0:-1]
            start = way.index(min(way, key=order.__getitem__))
            found.append([*way[start:], *way[:start], way[start]])
            left = {n: [r for r in rs if r not in way] for n, rs in left.items() if n not in way}
    return found


def extents(nodes: Mapping[str, AnyTyped]) -> dict[str, Extent]:
    """The extent of each named expression; names must not depend on themselves."""
    found: dict[str, Extent] = {}
    for name in TopologicalSorter(reads_of(nodes)).static_order():
        found[name] = _extent(nodes[name], found)
    return found


def _extent(node: AnyTyped, known: Mapping[str, Extent]) -> Extent:
    if isinstance(node, Read) and node.name in known:
        below = [known[node.name]]
    else:
        below = [_extent(part, known) for part in typed.parts(node)]
    return Extent(1 + sum(one.parts for one in below), 1 + max((one.levels for one in below), default=0))
