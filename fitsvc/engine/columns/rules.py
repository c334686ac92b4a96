"""One rule or need over one catalogue: judged on the few distinct rows it can tell apart, kept as bitmaps.

Of each signature a rule sees some values only: those of the topmost parts that depend on items alone. Rows equal
in these are folded, in order, so that the result over them is a few runs; a run over the folded rows is a range
test over the signatures. Results are kept by what the rule reads of the rig, and by what they come to.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from operator import itemgetter
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from fitsvc.engine.columns.bitmaps import Words, pack
from fitsvc.engine.columns.boxes import Level, levels_of
from fitsvc.engine.columns.graph import Graph
from fitsvc.engine.columns.programs import Member, Program
from fitsvc.engine.columns.signatures import arrays_of, column_of, taken
from fitsvc.engine.columns.values import Cells, Evaluation, both
from fitsvc.engine.columns.views import ItemValues
from fitsvc.language.truth import NO, YES
from fitsvc.language.types import Value
from fitsvc.rulebook.rules import Need

PASSES, FAILS, UNDETERMINED, NOT_APPLICABLE = range(4)
_OPEN: Final = 4
"""Where two corners of a box come to different results."""
_MOST_RUNS: Final = 7
_TOGETHER: Final = 1 << 20
"""So many pairs of a rig and a row are judged together."""
_FEW: Final = 1024
KEY_BYTES: Final = 256
"""What it takes to keep by which values a rig came to its results, roughly: a tuple of a few numbers."""
_BLOCK: Final = 8192
"""Rows judged at a time: few enough for what they pass through to stay in the processor's cache."""


@dataclass(frozen=True, slots=True)
class RuleColumn:
    """A rule's results over a catalogue: by folded row, counted in items by result, and two bitmaps (None: no bit)."""

    by_row: NDArray[np.uint8]
    counts: tuple[int, int, int, int]
    fails: Words | None
    undetermined: Words | None

    @property
    def size(self) -> int:
        """The bytes it holds."""
        return self.by_row.nbytes + sum(words.nbytes for words in (self.fails, self.undetermined) if words is not None)


@dataclass(slots=True)
class Held:
    """How many bytes the judges of one catalogue keep in all, what is written out of it too."""

    bytes: int = 0


class Judge:
    """One rule or need over one catalogue; what it keeps is added to what is `held` in all."""

    def __init__(self, program: Program, member: Member, items: ItemValues, held: Held) -> None:
        self.graph: Graph = program.graph
        self.member, self._counter = member, items.counter
        self.of_need = isinstance(member.of, Need)
        self._places = [(number, program.place[number]) for number in member.rig]
        # What a result is kept by: the values the rule reads of the rig.
        self.key: Any = itemgetter(*(place for _, place in self._places)) if self._places else lambda values: ()
        steps = self.graph.steps
        self._rig_gate = [program.place[number] for number in member.gate if not steps[number].on_items]
        item_gate = [number for number in member.gate if steps[number].on_items and not steps[number].on_rig]
        self._project(items, item_gate)
        self._wide: NDArray[np.intp] | None = None
        self.nowhere = self._entry(np.full(len(self.weights), NOT_APPLICABLE, np.uint8))
        self.seen: dict[Any, RuleColumn] = {}
        self._found: dict[tuple[int, bytes], RuleColumn] = {}
        self._held = held

    def _project(self, items: ItemValues, item_gate: list[int]) -> None:
        """Find what the rule sees: the values of the signatures to which it may apply, where these differ."""
        alive = np.ones(items.count, np.bool_)
        for number in item_gate:
            alive &= items.of(number) != NO
        roots = [*self.member.gate, *([] if self.member.requires is None else [self.member.requires])]
        _, seen = self.graph.inputs(roots)
        rows = np.flatnonzero(alive)
        varied: list[int] = []
        self._figures: dict[int, Cells] = {}
        for number in seen:
            rank = items.ranks(number)[rows]
            if len(rank) and rank.min() < rank.max():
                varied.append(number)
            elif len(rank):
                self._figures[number] = _figure(taken(items.of(number), rows[:1]))
        view = items.view(rows, varied)
        self.codes, self.weights, self._dead = view.codes, view.weights, view.dead
        self._levels = levels_of(self.graph, roots, view)

    def entry(self, values: tuple[Value, ...]) -> RuleColumn:
        """The results for one rig, given by its own values; computed unless they are kept."""
        key, found = self.key(values), None
        while found is None:  # another thread may let go of all that is kept at any time
            found = self.seen.get(key) or self.learn([values]).get(key)
        return found

    def learn(self, rigs: Sequence[tuple[Value, ...]]) -> dict[Any, RuleColumn]:
        """The results, by their keys, for those rigs for which none are kept; they are computed, and kept."""
        new = {key: values for values in rigs if (key := self.key(values)) not in self.seen}
        found = {key: self.nowhere for key, values in new.items() if self._has_no_say(values)}
        left, together = [key for key in new if key not in found], max(1, _TOGETHER // max(len(self.weights), 1))
        for start in range(0, len(left), together):
            keys = left[start : start + together]
            found.update(zip(keys, self._judge([new[key] for key in keys]), strict=True))
        self.seen.update(found)
        self._held.bytes += len(found) * KEY_BYTES
        return found

    def where_open(self, column: RuleColumn) -> Words | None:
        """Where its rule or need is open: a need that is not surely met is told as one that fails."""
        return column.fails if self.of_need else column.undetermined

    def _has_no_say(self, values: tuple[Value, ...]) -> bool:
        """Whether it applies to no item, whatever the items are."""
        return len(self.weights) == self._dead or any(values[place] == NO for place in self._rig_gate)

    def _judge(self, rigs: Sequence[tuple[Value, ...]]) -> list[RuleColumn]:
        """The results for some rigs: on boxes first, and on smaller boxes, or rows, where these leave them open."""
        own: dict[int, Cells] = {}
        for number, place in self._places:
            values = [rig[place] for rig in rigs]
            same = all(value == values[0] for value in values)
            own[number] = values[0] if same else column_of(self.graph.steps[number].node.type, values)
        entries, left = [self.nowhere] * len(rigs), np.arange(len(rigs))
        found: NDArray[np.uint8] = np.full((len(rigs), self._levels[0].count), _OPEN, np.uint8)
        for depth, level in enumerate(self._levels):
            # Few parts cost no less than some more: then the boxes are passed over.
            if level.corners == 2 and len(left) * self._levels[depth + 1].count <= _FEW:
                found = found.take(level.box_of, axis=1)
                continue
            self._settle(found, left, level, own)
            still = (found == _OPEN).any(axis=1)
            for at in np.flatnonzero(~still).tolist():
                entries[left[at]] = self._kept(depth, found[at])
            if not still.any():
                break
            found, left = found[still].take(level.box_of, axis=1), left[still]
        return entries

    def _settle(self, found: NDArray[np.uint8], rigs: NDArray[np.intp], level: Level, own: Mapping[int, Cells]) -> None:
        """Put in the results for those pairs of a rig and a box, or row, of a level that are open."""
        left = found == _OPEN
        if (
            level.corners * level.count <= _BLOCK
            and all(map(_is_figure, own.values()))
            and len(left) == 1
            and left.all()
        ):
            found[0] = self._results(Evaluation(self.graph, {**self._figures, **own, **level.columns}), level.corners)
            return
        lines, places = np.nonzero(left)
        for start in range(0, len(lines), _BLOCK):
            line, place = lines[start : start + _BLOCK], places[start : start + _BLOCK]
            rows, columns = rigs[line], place
            if level.corners == 2:
                rows, columns = np.concatenate((rows, rows)), np.concatenate((place, place + level.count))
            known = {number: cells if _is_figure(cells) else taken(cells, rows) for number, cells in own.items()}
            known |= {number: taken(cells, columns) for number, cells in level.columns.items()}
            found[line, place] = self._results(Evaluation(self.graph, known | self._figures), level.corners)

    def _kept(self, depth: int, found: NDArray[np.uint8]) -> RuleColumn:
        """The results that are told by those on the boxes, or rows, of a level; made unless they are kept."""
        key = (depth, found.tobytes())
        entry = self._found.get(key)
        if entry is None:
            if self._levels[depth].corners == 2:
                entry = self._kept(depth + 1, found.take(self._levels[depth].box_of))
            else:
                by_row = np.full(len(self.weights), NOT_APPLICABLE, np.uint8)
                by_row[self._dead :] = found
                entry = self._entry(by_row)
                self._held.bytes += entry.size
            self._found[key] = entry
            self._held.bytes += len(key[1])
        return entry

    def _results(self, evaluation: Evaluation, corners: int) -> Cells:
        """The result on each row, or box; open where its two corners do not come to the same."""
        guard: Cells = YES
        for number in self.member.gate:
            guard = both(guard, evaluation.of(number))
        required: Cells = NO if self.member.requires is None else evaluation.of(self.member.requires)
        if corners == 1:
            return self._result(guard, required)
        (guard, top_guard), (required, top_required) = _halves(guard), _halves(required)
        same = np.equal(guard, top_guard) & (np.equal(required, top_required) | np.equal(guard, NO))
        return np.where(same, self._result(guard, required), _OPEN)

    def _result(self, guard: Cells, required: Cells) -> Cells:
        """What a guard and a requirement come to."""
        met, silent = np.equal(required, YES), np.equal(guard, NO)
        if self.of_need:
            return 3 - 2 * np.asarray(~(met | silent)).view(np.uint8)
        fails = np.equal(required, NO) & np.equal(guard, YES)
        result = 2 - 2 * np.asarray(met).view(np.uint8) - np.asarray(fails).view(np.uint8)
        return result | 3 * np.asarray(silent).view(np.uint8)

    def _entry(self, by_row: NDArray[np.uint8]) -> RuleColumn:
        edges = np.flatnonzero(by_row[1:] != by_row[:-1]) + 1
        if len(edges) >= _MOST_RUNS:
            return self._spread(by_row)
        starts, ends = [0, *edges.tolist()], [*edges.tolist(), len(by_row)]
        runs = list(zip(by_row[starts].tolist(), starts, ends, strict=True)) if len(by_row) else []
        a, b, c, d = (round(count) for count in np.bincount(by_row, self.weights, minlength=4).tolist())
        return RuleColumn(by_row, (a, b, c, d), self._bits(FAILS, runs), self._bits(UNDETERMINED, runs))

    def _spread(self, by_row: NDArray[np.uint8]) -> RuleColumn:
        """A result in many runs: each signature fetches its own, and the bitmaps are counted."""
        if self._wide is None:
            self._wide = self.codes.astype(np.intp)
        by_signature = by_row.take(self._wide)
        counter = self._counter
        passes, fails, undetermined = (
            pack(by_signature == result) if result in by_row else None for result in (PASSES, FAILS, UNDETERMINED)
        )
        a, b, c = counter.of(passes), counter.of(fails), counter.of(undetermined)
        return RuleColumn(by_row, (a, b, c, counter.total - a - b - c), fails, undetermined)

    def _bits(self, result: int, runs: list[tuple[int, int, int]]) -> Words | None:
        """Where the result stands, as a bitmap over signatures."""
        found: NDArray[np.bool_] | None = None
        for of, start, end in runs:
            if of == result:
                # One unsigned comparison tests both ends: what is below the start wraps round to the far top.
                inside = self.codes - self.codes.dtype.type(start) < end - start if start else self.codes < end
                found = inside if found is None else found | inside
        return None if found is None else pack(found)

    def results(self, entry: RuleColumn) -> NDArray[np.uint8]:
        """The result on every signature."""
        found: NDArray[np.uint8] = entry.by_row[self.codes]
        return found

    def forget(self) -> None:
        """Let go of all kept results."""
        self.seen.clear()
        self._found.clear()


def _halves(cells: Cells) -> tuple[Cells, Cells]:
    """What stands at the lowest corners, and at the highest."""
    return (cells[: len(cells) // 2], cells[len(cells) // 2 :]) if np.ndim(cells) else (cells, cells)


def _is_figure(cells: Cells) -> bool:
    """Whether it is one figure that stands for every row."""
    return isinstance(cells, int) or (isinstance(cells, tuple) and isinstance(cells[0], float))


def _figure(cells: Cells) -> Cells:
    """A column of one row as the figure in it."""
    found = tuple(array[0].item() for array in arrays_of(cells))
    return found if len(found) == 2 else found[0]
