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
from fitsvc.engine.column_views import ItemValues, blocks
from fitsvc.engine.signatures import arrays_of, taken
from fitsvc.language.truth import NO, YES
from fitsvc.language.types import Value
from fitsvc.rulebook.rules import Need

PASSES, FAILS, UNDETERMINED, NOT_APPLICABLE = range(4)
_MOST_RUNS: Final = 7


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


class Judge:
    """One rule or need over one catalogue."""

    def __init__(self, program: Program, member: Member, items: ItemValues) -> None:
        self.graph: Graph = program.graph
        self.member, self._counter = member, items.counter
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
        """Find what the rule sees: the values of the signatures to which it may apply, where these differ."""
        alive = np.ones(items.count, np.bool_)
        for number in item_gate:
            alive &= items.of(number) != NO
        _, seen = self.graph.inputs(self._roots())
        rows = np.flatnonzero(alive)
        varied: list[int] = []
        self._figures: dict[int, Cells] = {}
        for number in seen:
            rank = items.ranks(number)[rows]
            if len(rank) and rank.min() < rank.max():
                varied.append(number)
            elif len(rank):
                self._figures[number] = _figure(taken(items.of(number), rows[:1]))
        self._view = items.view(rows, varied)
        self.codes, self.weights, self._dead = self._view.codes, self._view.weights, self._view.dead
        self._islands = islands_of(
            self.graph, self._roots(), self._view.columns, self._view.ranked, len(self.weights) - self._dead
        )

    def _roots(self) -> list[int]:
        return [*self.member.gate, *([] if self.member.requires is None else [self.member.requires])]

    def entry(self, values: tuple[Value, ...]) -> Entry:
        """The results for a rig whose own values are given; computed unless they are kept."""
        key = self.key(values)
        entry = self.seen.get(key)
        if entry is None:
            self.seen[key] = entry = self._judge(values)
        return entry

    def _judge(self, values: tuple[Value, ...]) -> Entry:
        known: dict[int, Cells] = {number: values[place] for number, place in self._places}
        rig = Evaluation(self.graph, known)
        if any(rig.of(number) == NO for number in self._rig_gate):
            return self.nowhere
        by_row = np.empty(len(self.weights), np.uint8)
        by_row[: self._dead] = NOT_APPLICABLE
        known |= self._figures
        own = [(island, Evaluation(self.graph, {**known, **island.columns})) for island in self._islands]
        for rows, evaluation in blocks(self.graph, self._view):
            evaluation.known.update(known)
            for island, cells in own:
                evaluation.known.setdefault(island.number, Fetched(cells, island.number, island.rows[rows]))
            by_row[rows.start + self._dead : rows.stop + self._dead] = self._results(evaluation)
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
        counter = self._counter
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


def _figure(cells: Cells) -> Cells:
    """A column of one row as the figure in it."""
    found = tuple(array[0].item() for array in arrays_of(cells))
    return found if len(found) == 2 else found[0]
