"""The working opening followed as one fact changes: only the figures that read it, and only as far as they move.

A pin tried in the first of four adapters moves a few figures of a hundred, and the others are left as they are.
"""

from collections.abc import Callable, Mapping
from functools import cached_property
from typing import TYPE_CHECKING, Final

from fitsvc.engine.support import Moves, Support, way
from fitsvc.facts import Case, seen_at
from fitsvc.language.compiler import compile_values
from fitsvc.language.typed import TOLD
from fitsvc.language.types import Value

if TYPE_CHECKING:
    from fitsvc.engine.point import Point

_Computed = Mapping[str, Callable[..., tuple[Value, ...]]]
Changes = list[dict[str, Value]]
"""What changes of what each adapter sees, in their order, and last of what the accessory sees."""


class OpeningFigures:
    """The figures of a rulebook's working opening, each by itself, and which of them read what."""

    def __init__(self, engine: "Point") -> None:
        opening = engine.rulebook.opening
        self._engine, self._derived, self.names = engine, engine.derived, tuple(opening)
        self._bare = {name: one.bare for name, one in opening.items()}
        self._each = {name: one.each for name, one in opening.items()}
        # One for each fact and number of adapters: the rulebook bounds them.
        self._ways: dict[tuple[str, int], Moves] = {}

    def prepare(self) -> None:
        """Compile what is compiled at its first use."""
        _ = self.bare, self.each, self.bare_readers, self.each_readers, self._bare_moves, self._each_moves

    @cached_property
    def bare(self) -> _Computed:
        """Each figure in the bare receiver."""
        return {name: compile_values([node], self._derived) for name, node in self._bare.items()}

    @cached_property
    def each(self) -> _Computed:
        """Each figure behind one more adapter."""
        return {name: compile_values([node], self._derived) for name, node in self._each.items()}

    @cached_property
    def bare_readers(self) -> Mapping[str, frozenset[str]]:
        """By fact, the figures of the bare receiver that read it."""
        return _readers({name: bare for name, (bare, _) in self._engine.opening_supports.items()})

    @cached_property
    def each_readers(self) -> Mapping[str, frozenset[str]]:
        """By fact or figure, the figures behind an adapter that read it."""
        return _readers({name: each for name, (_, each) in self._engine.opening_supports.items()})

    @cached_property
    def _bare_moves(self) -> Mapping[str, Moves]:
        return {name: self._engine.moves(node, adapted=True) for name, node in self._bare.items()}

    @cached_property
    def _each_moves(self) -> Mapping[str, Moves]:
        return {name: self._engine.moves(node, adapted=True) for name, node in self._each.items()}

    def ways(self, name: str, own: bool, adapters: int) -> Moves:
        """Which way each figure that the accessory sees moves with a fact, as `support.way` tells it.

        The fact is the rig's `own`, or one of the first of so many adapters.
        """
        found = self._ways.get((name, adapters))
        if found is None:
            ways = {name: 1}
            if own:
                ways |= self._moved_by(ways, self._bare_moves, self.bare_readers)
            for _ in range(adapters):
                ways = self._moved_by(ways, self._each_moves, self.each_readers) | ({name: 1} if own else {})
            self._ways[name, adapters] = found = ways
        return found

    def _moved_by(
        self, ways: Moves, moves: Mapping[str, Moves], readers: Mapping[str, frozenset[str]]
    ) -> dict[str, int]:
        figures = frozenset().union(*(readers.get(name, ()) for name in ways))
        found = {figure: way(moves[figure], ways) for figure in figures}
        return {figure: moves for figure, moves in found.items() if moves is not None}


class WorkingOpening:
    """One case's opening, level by level; `figures_made` counts the figures that were worked out."""

    def __init__(self, engine: "Point", case: Case) -> None:
        figures = engine.opening_figures
        self._case, self._figures = case, figures
        # What each level's figures are worked out by, which is what the adapter before it names: to try is not to name.
        self._present: Final = [case.present, *(seen_at(n, case.present) for n in range(1, len(case.adapters) + 1))]
        self._levels: Final = engine.levels(case)
        self.figures_made = len(self._levels) * len(figures.names)

    def changes(self, name: str, adapter: int | None, value: Value) -> Changes:
        """What a fact of the rig, or of one adapter, changes by having a value."""
        found: Changes = []
        told = {name: value, **self._told(name, adapter, value)}
        for place, level in enumerate(self._levels):
            change: dict[str, Value] = told.copy() if adapter is None or adapter == place else {}
            moved = self._moved(name, adapter, found)
            if moved:
                seen = {**self._levels[place - 1], **found[-1]} if place else {**level, **change}
                computed = self._figures.each if place else self._figures.bare
                for figure in moved:
                    (new,) = computed[figure](seen.get, self._present[place])
                    if new != level[figure]:
                        change[figure] = new
                self.figures_made += len(moved)
            found.append(change)
        return found

    def _told(self, name: str, adapter: int | None, value: Value) -> Mapping[str, Value]:
        """What is told of a fact with a value, where one end alone was told of it: that value, or as it was."""
        facts, slot = self._case.facts if adapter is None else self._case.adapters[adapter], f"{name}{TOLD}"
        return {slot: facts[slot] if value == facts.get(name) else value} if slot in facts else {}

    def change(self, changes: Changes) -> None:
        """Take changes as so from now on."""
        for level, change in zip(self._levels, changes, strict=True):
            level.update(change)

    @property
    def opened(self) -> dict[str, Value]:
        """The facts as the accessory sees them."""
        return self._levels[-1]

    def _moved(self, name: str, adapter: int | None, before: Changes) -> frozenset[str]:
        """The figures of the next level that may move."""
        if not before:
            return self._figures.bare_readers.get(name, frozenset()) if adapter is None else frozenset()
        readers = self._figures.each_readers
        return frozenset().union(*(readers.get(one, ()) for one in before[-1]))


def _readers(supports: Mapping[str, Support]) -> dict[str, frozenset[str]]:
    found: dict[str, set[str]] = {}
    for figure, support in supports.items():
        for read in support.leaves:
            found.setdefault(read.name, set()).add(figure)
    return {name: frozenset(figures) for name, figures in found.items()}
