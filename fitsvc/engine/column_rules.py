"""One rule or need over one catalogue: judged on the few distinct rows it can tell apart, kept as bitmaps.

Of each signature a rule sees some values only: those of the topmost parts that depend on items alone. Rows equal
in these are folded, in order, so that the result over them is a few runs; a run over the folded rows is a range
test over the signatures. Results are kept by what the rule reads of the rig, and by what they come to.
"""

from dataclasses import dataclass
from operator import itemgetter
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from fitsvc.engine.bitmaps import Words, pack
from fitsvc.engine.column_graph import Graph
from fitsvc.engine.column_islands import islands_of
from fitsvc.engine.column_programs import Member, Program
from fitsvc.engine.column_values import Cells, Evaluation, Fetched, both
from fitsvc.engine.signatures import Catalogue, Column, arrays_of, column_of, order_rows, ranks, taken, whole
from fitsvc.language.truth import NO, YES
from fitsvc.language.types import Type, Value
from fitsvc.rulebook.rules import Need

PASSES, FAILS, UNDETERMINED, NOT_APPLICABLE = range(4)
_MOST_RUNS: Final = 7
_BLOCK: Final = 8192
"""Rows judged at a time: few enough for what they pass through to stay in the processor's cache."""


@dataclass(frozen=True, slots=True)
class Entry:
    """A rule's results over a catalogue: by folded row, counted in items by result, and two bitmaps (None: no bit)."""

    by_row: NDArray[np.uint8]
    counts: tuple[int, int, int, int]
    fails: Words | None
    undetermined: Words | None

    @property
    def size(self) -> int:
        """The bytes it holds."""
        return self.by_row.nbytes + sum(words.nbytes for words in (self.fails, self.undetermined) if words is not None)


class ItemValues:
    """What depends on items alone, over the signatures of a catalogue: computed, and ranked, when first asked."""

    def __init__(self, program: Program, catalogue: Catalogue) -> None:
        self.graph, self.catalogue = program.graph, catalogue
        self._evaluation = Evaluation(self.graph, self._facts())
        self._whole: dict[int, Column] = {}
        self._ranks: dict[int, NDArray[np.int64]] = {}

    def _facts(self) -> dict[int, Cells]:
        known: dict[int, Cells] = {}
        count = self.catalogue.count
        for number, step in enumerate(self.graph.steps):
            if step.operands or not step.on_items:
                continue
            if hasattr(step.node, "subject"):
                present = self.catalogue.present.get(step.node.subject)
                known[number] = np.full(count, YES, np.uint8) if present is None else present.astype(np.uint8) * YES
            elif hasattr(step.node, "name"):
                found = self.catalogue.columns.get(step.node.name)
                known[number] = _everywhere(step.node.type, count) if found is None else found
        return known

    def of(self, number: int) -> Column:
        """The value of a part on every signature."""
        if number not in self._whole:
            with np.errstate(all="ignore"):
                cells = self._evaluation.of(number)
            self._whole[number] = whole(self.graph.steps[number].node.type, cells, self.catalogue.count)
        return self._whole[number]

    def ranks(self, number: int) -> NDArray[np.int64]:
        """The rank of a part's value on every signature among its distinct values."""
        if number not in self._ranks:
            self._ranks[number] = ranks(self.of(number))
        return self._ranks[number]


def _everywhere(kind: Type, count: int) -> Cells:
    """Nothing is known of any item."""
    return column_of(kind, [None] * count)


class Judge:
    """One rule or need over one catalogue."""

    def __init__(self, program: Program, member: Member, items: ItemValues) -> None:
        self.graph: Graph = program.graph
        self.member, self.catalogue = member, items.catalogue
        self._need = isinstance(member.of, Need)
        self._places = [(number, program.place[number]) for number in member.rig]
        # What a result is kept by: the values the rule reads of the rig.
        self.key: Any = itemgetter(*(place for _, place in self._places)) if self._places else lambda values: ()
        steps = self.graph.steps
        self._rig_gate = [number for number in member.gate if not steps[number].on_items]
        item_gate = [number for number in member.gate if steps[number].on_items and not steps[number].on_rig]
        self._project(items, item_gate)
        self._wide: NDArray[np.intp] | None = None
        self.nowhere = self._entry(np.full(len(self.weights), NOT_APPLICABLE, np.uint8))
        self.seen: dict[Any, Entry] = {}
        self._found: dict[bytes, Entry] = {}

    def _project(self, items: ItemValues, item_gate: list[int]) -> None:
        """Fold the signatures: those to which the rule cannot apply as row 0, the others by what the rule sees."""
        alive = np.ones(self.catalogue.count, np.bool_)
        for number in item_gate:
            alive &= items.of(number) != NO
        _, seen = self.graph.inputs(self._roots())
        rows = np.flatnonzero(alive)
        self._dead = int(len(rows) < self.catalogue.count)
        self._columns: dict[int, Cells] = {}
        ranked: list[NDArray[np.int64]] = []
        varied: list[int] = []
        for number in seen:
            rank = items.ranks(number)[rows]
            if len(rank) and rank.min() < rank.max():
                ranked.append(rank)
                varied.append(number)
            elif len(rank):
                self._columns[number] = _figure(taken(items.of(number), rows[:1]))
        self._fold(items, rows, varied, ranked)

    def _roots(self) -> list[int]:
        return [*self.member.gate, *([] if self.member.requires is None else [self.member.requires])]

    def _fold(
        self, items: ItemValues, rows: NDArray[np.intp], varied: list[int], ranked: list[NDArray[np.int64]]
    ) -> None:
        order = sorted(range(len(varied)), key=lambda i: int(ranked[i].max()))
        groups = order_rows([ranked[i] for i in order], len(rows))
        for number in varied:
            self._columns[number] = taken(items.of(number), rows[groups.first])
        self._islands = islands_of(
            self.graph, self._roots(), {number: self._columns[number] for number in varied},
            {number: rank[groups.first] for number, rank in zip(varied, ranked, strict=True)}, len(groups.first),
        )  # fmt: skip
        count = len(groups.first) + self._dead
        narrow = np.dtype(np.uint16 if count <= 1 << 16 else np.uint32)
        self.codes: NDArray[Any] = np.zeros(self.catalogue.count, narrow)
        self.codes[rows] = groups.group + self._dead
        self.weights = np.bincount(self.codes, self.catalogue.weights.astype(np.float64), minlength=count)

    def entry(self, values: tuple[Value, ...]) -> Entry:
        """The results for a rig whose own values are given; computed unless they are kept."""
        key = self.key(values)
        entry = self.seen.get(key)
        if entry is None:
            self.seen[key] = entry = self._judge(values)
        return entry

    def _judge(self, values: tuple[Value, ...]) -> Entry:
        known: dict[int, Cells] = {number: values[place] for number, place in self._places}
        evaluation = Evaluation(self.graph, known)
        if any(evaluation.of(number) == NO for number in self._rig_gate):
            return self.nowhere
        by_row = np.empty(len(self.weights), np.uint8)
        by_row[: self._dead] = NOT_APPLICABLE
        figures = known | {number: cells for number, cells in self._columns.items() if _is_figure(cells)}
        own = [(island, Evaluation(self.graph, {**figures, **island.columns})) for island in self._islands]
        for start in range(self._dead, len(by_row), _BLOCK):
            rows = slice(start - self._dead, start - self._dead + _BLOCK)
            block = known | {number: _sliced(cells, rows) for number, cells in self._columns.items()}
            block |= {island.number: Fetched(values, island.number, island.rows[rows]) for island, values in own}
            by_row[start : start + _BLOCK] = self._results(Evaluation(self.graph, block))
        kept = by_row.tobytes()
        if kept not in self._found:
            self._found[kept] = self._entry(by_row)
        return self._found[kept]

    def _results(self, evaluation: Evaluation) -> Cells:
        guard: Cells = YES
        for number in self.member.gate:
            guard = both(guard, evaluation.of(number))
        required = NO if self.member.requires is None else evaluation.of(self.member.requires)
        met, silent = np.equal(required, YES), np.equal(guard, NO)
        if self._need:
            return 3 - 2 * np.asarray(~(met | silent)).view(np.uint8)
        fails = np.equal(required, NO) & np.equal(guard, YES)
        result = 2 - 2 * np.asarray(met).view(np.uint8) - np.asarray(fails).view(np.uint8)
        return result | 3 * np.asarray(silent).view(np.uint8)

    def _entry(self, by_row: NDArray[np.uint8]) -> Entry:
        edges = np.flatnonzero(by_row[1:] != by_row[:-1]) + 1
        if len(edges) >= _MOST_RUNS:
            return self._spread(by_row)
        starts, ends = [0, *edges.tolist()], [*edges.tolist(), len(by_row)]
        runs = list(zip(by_row[starts].tolist(), starts, ends, strict=True)) if len(by_row) else []
        a, b, c, d = (round(count) for count in np.bincount(by_row, self.weights, minlength=4).tolist())
        return Entry(by_row, (a, b, c, d), self._bits(FAILS, runs), self._bits(UNDETERMINED, runs))

    def _spread(self, by_row: NDArray[np.uint8]) -> Entry:
        """A result in many runs: each signature fetches its own, and the bitmaps are counted."""
        if self._wide is None:
            self._wide = self.codes.astype(np.intp)
        by_signature = by_row.take(self._wide)
        counter = self.catalogue.counter
        passes, fails, undetermined = (
            pack(by_signature == result) if result in by_row else None for result in (PASSES, FAILS, UNDETERMINED)
        )
        a, b, c = counter.of(passes), counter.of(fails), counter.of(undetermined)
        return Entry(by_row, (a, b, c, counter.total - a - b - c), fails, undetermined)

    def _bits(self, result: int, runs: list[tuple[int, int, int]]) -> Words | None:
        """Where the result stands, as a bitmap over signatures."""
        found: NDArray[np.bool_] | None = None
        for of, start, end in runs:
            if of == result:
                # One unsigned comparison tests both ends: what is below the start wraps round to the far top.
                inside = self.codes - self.codes.dtype.type(start) < end - start if start else self.codes < end
                found = inside if found is None else found | inside
        return None if found is None else pack(found)

    def results(self, entry: Entry) -> NDArray[np.uint8]:
        """The result on every signature."""
        found: NDArray[np.uint8] = entry.by_row[self.codes]
        return found

    def forget(self) -> None:
        """Let go of all kept results."""
        self.seen.clear()
        self._found.clear()


def _sliced(cells: Cells, rows: slice) -> Cells:
    """Some rows of a column; a figure stays one."""
    if _is_figure(cells):
        return cells
    return (cells[0][rows], cells[1][rows]) if isinstance(cells, tuple) else cells[rows]


def _is_figure(cells: Cells) -> bool:
    return isinstance(cells[0] if isinstance(cells, tuple) else cells, int | float)


def _figure(cells: Cells) -> Cells:
    """A column of one row as the figure in it."""
    found = tuple(array[0].item() for array in arrays_of(cells))
    return found if len(found) == 2 else found[0]
