"""What rules see of a catalogue: the values of parts that depend on items alone, folded where they are equal."""

from dataclasses import dataclass
from hashlib import blake2b
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from fitsvc.engine.columns.bitmaps import Counter, pack
from fitsvc.engine.columns.programs import Program
from fitsvc.engine.columns.signatures import (
    Catalogue,
    Column,
    Presence,
    column_of,
    order_rows,
    ranks,
    taken,
    told_in,
    whole,
)
from fitsvc.engine.columns.values import Cells, Evaluation
from fitsvc.language import typed
from fitsvc.language.truth import YES
from fitsvc.language.types import Type

_NARROW: Final = 1 << 20
"""Rows up to which a rank takes half the memory: with ten bits behind it, too, it is less than two to the 31."""


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """The signatures as some rules see them: folded, in order, those that cannot matter as row 0 (if `dead`).

    `columns` and `ranked` are over the folded rows without row 0; `codes` is each signature's row, `weights` the
    items of each row.
    """

    columns: dict[int, Column]
    ranked: dict[int, NDArray[np.int64] | NDArray[np.int32]]
    codes: NDArray[Any]
    weights: NDArray[np.float64]
    dead: int

    @property
    def count(self) -> int:
        """How many rows are to be judged."""
        return len(self.weights) - self.dead


class ItemValues:
    """What depends on items alone, over the signatures of a catalogue: computed, and ranked, when first asked."""

    def __init__(self, program: Program, catalogue: Catalogue) -> None:
        self.graph, self.count = program.graph, catalogue.count
        self.weights, self.counter = catalogue.weights, catalogue.counter
        self._given = self._facts(catalogue)
        self._evaluation = Evaluation(self.graph, dict(self._given))
        self._whole: dict[int, Column] = {}
        self._ranks: dict[int, NDArray[np.int64] | NDArray[np.int32]] = {}
        self._views: dict[tuple[bytes, tuple[int, ...]], View] = {}

    def let_go(self) -> None:
        """Keep nothing of what was computed; it is computed again when it is asked for."""
        self._evaluation = Evaluation(self.graph, dict(self._given))
        for kept in (self._whole, self._ranks, self._views):
            kept.clear()

    def _facts(self, catalogue: Catalogue) -> dict[int, Cells]:
        known: dict[int, Cells] = {}
        count = self.count
        for number, step in enumerate(self.graph.steps):
            if step.operands or not step.on_items:
                continue
            if isinstance(step.node, typed.Present):
                present = catalogue.present.get(step.node.name)
                known[number] = np.full(count, YES, np.uint8) if present is None else _truths(present)
            elif isinstance(step.node, typed.Read):
                found = catalogue.columns.get(step.node.name)
                told = found if found is None or not step.node.told else told_in(step.node.type, found)
                known[number] = _everywhere(step.node.type, count) if told is None else told
        return known

    def of(self, number: int) -> Column:
        """The value of a part on every signature."""
        found = self._whole.get(number)
        if found is None:
            with np.errstate(all="ignore"):
                cells = self._evaluation.of(number)
            found = self._whole[number] = whole(self.graph.steps[number].node.type, cells, self.count)
        return found

    def ranks(self, number: int) -> NDArray[np.int64] | NDArray[np.int32]:
        """The rank of a part's value on every signature among its distinct values."""
        found = self._ranks.get(number)
        if found is None:
            wide = ranks(self.of(number))
            found = self._ranks[number] = wide.astype(np.int32) if self.count <= _NARROW else wide
        return found

    def view(self, rows: NDArray[np.intp], varied: list[int]) -> View:
        """Fold some signatures by the parts that differ among them."""
        among = np.zeros(self.count, np.bool_)
        among[rows] = True
        key = (blake2b(pack(among).tobytes()).digest(), tuple(sorted(varied)))
        found = self._views.get(key)
        if found is None:
            found = self._views[key] = self._fold(rows, varied)
        return found

    def _fold(self, rows: NDArray[np.intp], varied: list[int]) -> View:
        ranked = {number: self.ranks(number)[rows] for number in varied}
        order = sorted(varied, key=lambda number: (int(ranked[number].max()), number))
        groups = order_rows([ranked[number] for number in order], len(rows))
        dead = int(len(rows) < self.count)
        count = len(groups.first) + dead
        codes: NDArray[Any] = np.zeros(self.count, np.uint16 if count <= 1 << 16 else np.uint32)
        codes[rows] = groups.group + dead
        return View(
            {number: taken(self.of(number), rows[groups.first]) for number in varied},
            {number: ranked[number][groups.first] for number in varied},
            codes,
            np.bincount(codes, self.weights, minlength=count).astype(np.float64),
            dead,
        )


class SomeItems(ItemValues):
    """Some signatures of a catalogue with one fact supposed to have a value: what does not rest on it is known."""

    def __init__(self, items: ItemValues, rows: NDArray[np.intp], name: str, column: Column) -> None:
        self.graph, self.count, self._items, self._rows = items.graph, len(rows), items, rows
        self.weights = items.weights[rows]
        self.counter = Counter(self.weights)
        self._resting = self.graph.resting_on(name)
        self._given = dict.fromkeys(self.graph.readings(name), column)
        self._whole: dict[int, Column] = dict(self._given)
        self._ranks, self._views = {}, {}
        self._evaluation = Evaluation(self.graph, dict(self._given))

    def let_go(self) -> None:
        """Keep nothing of what was computed, or taken from all."""
        super().let_go()
        self._whole |= self._given

    def of(self, number: int) -> Column:
        """The value of a part on every one of these signatures."""
        found = self._whole.get(number)
        if found is not None:
            return found
        if number not in self._resting:
            return self._whole.setdefault(number, taken(self._items.of(number), self._rows))
        for operand in self._read_by(number):
            self._evaluation.known[operand] = self.of(operand)
        return super().of(number)

    def _read_by(self, number: int) -> set[int]:
        """The topmost parts that a part reads of the items and that do not rest on the fact."""
        found, ways, seen = set[int](), [number], set[int]()
        while ways:
            operands = self.graph.steps[ways.pop()].operands
            found.update(one for one in operands if self.graph.steps[one].on_items and one not in self._resting)
            ways += self._resting.intersection(operands) - seen
            seen.update(operands)
        return found

    def ranks(self, number: int) -> NDArray[np.int64] | NDArray[np.int32]:
        """The rank of a part's value on every one of these signatures."""
        return super().ranks(number) if number in self._resting else self._items.ranks(number)[self._rows]


def _truths(present: Presence) -> NDArray[np.uint8]:
    """Whether something is in the question, as truths."""
    return np.asarray(present if present.dtype == np.uint8 else present.astype(np.uint8) * YES, np.uint8)


def _everywhere(kind: Type, count: int) -> Cells:
    """Nothing is known of any item."""
    return column_of(kind, [None] * count)
