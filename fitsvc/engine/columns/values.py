"""The values of a graph's parts over columns: numpy in place of the compiler's Python, with the same meaning.

A number is a pair of ends, a list value a mask, a truth 0, 1 or 2; each is an array with one row an item, or one
figure that holds for every row.
"""

import logging
from collections.abc import Callable
from functools import lru_cache
from math import inf
from typing import Any, Final, NamedTuple, assert_never

import numpy as np
from numpy.typing import NDArray

from fitsvc.engine.columns.graph import Graph, Step
from fitsvc.language import typed
from fitsvc.language.forms import interval_columns as forms
from fitsvc.language.forms.column_forms import COLUMN_FORMS
from fitsvc.language.forms.interval_columns import ByEnds, Ends
from fitsvc.language.functions import Function
from fitsvc.language.intervals import TOLERANCE
from fitsvc.language.truth import NO, UNKNOWN, YES
from fitsvc.language.typed import AnyTyped, join
from fitsvc.language.types import ListType, NumberType, Type, Value

Cells = Any
"""A value over columns, as the module says."""
_MOST_ROW_BY_ROW: Final = 32
"""Functions without a form over columns: so many, and their warning has been given often enough."""
_MOST_BANDS: Final = 64
"""Banded tables laid out: those of a few rulebooks; an old rulebook's go when others come."""
_log: Final = logging.getLogger(__name__)


class Evaluation:
    """Computes parts of a graph from those already known, each once, and of a number only the end that is needed."""

    __slots__ = ("_ends", "graph", "known")

    def __init__(self, graph: Graph, known: dict[int, Cells]) -> None:
        self.graph, self.known = graph, known
        self._ends: dict[tuple[int, int], Cells] = {}

    def of(self, number: int) -> Cells:
        """The value of a part."""
        known = self.known
        if number not in known:
            step = self.graph.steps[number]
            forms = _FORMS.get(type(step.node)) or _take_up(step.node)
            known[number] = forms.whole(self, step, *step.operands)
        return known[number]

    def end(self, number: int, end: int) -> Cells:
        """One end of a number: 0 the low one, 1 the high one."""
        key = (number, end)
        if key in self._ends:
            return self._ends[key]
        step = self.graph.steps[number]
        form = (_FORMS.get(type(step.node)) or _take_up(step.node)).end
        if form is None or number in self.known:
            return self.of(number)[end]
        self._ends[key] = found = form(self, step, end, *step.operands)
        return found


def _by_ends(of: Evaluation, step: Step[AnyTyped], *operands: int) -> Cells:
    return (of.end(step.number, 0), of.end(step.number, 1))


def _given(of: Evaluation, step: Step[AnyTyped]) -> Cells:
    raise AssertionError(f"{step.node} is known from the start, or the graph has another subject's facts")


def _constant(of: Evaluation, step: Step[typed.Constant]) -> Cells:
    return step.node.value


def _negative(of: Evaluation, step: Step[AnyTyped], end: int, operand: int) -> Cells:
    return -of.end(operand, 1 - end)


def _arithmetic(of: Evaluation, step: Step[typed.Arithmetic], end: int, left: int, right: int) -> Cells:
    node = step.node
    if node.operator == "+":
        return _sum(of, end, left, right, end)
    if node.operator == "-":
        return _sum(of, end, left, right, 1 - end)
    if node.operator == "*" and not node.type.negative:
        return forms.product(of.end(left, end), of.end(right, end))
    form = forms.over if node.operator == "/" else forms.times
    of.known[step.number] = found = form(of.of(left), of.of(right))
    return found[end]


def _sum(of: Evaluation, end: int, left: int, right: int, other_end: int) -> Cells:
    """One end of a sum or difference; one that is open for every row needs no look at the other operand."""
    first, second, open_ = (left, end), (right, other_end), _OPEN[end]
    plus = other_end == end
    if of.graph.steps[left].on_items and not of.graph.steps[right].on_items:
        b = of.end(*second)
        if isinstance(b, float) and (b if plus else -b) == open_:
            return open_
        return of.end(*first) + b if plus else of.end(*first) - b
    a = of.end(*first)
    if isinstance(a, float) and a == open_:
        return open_
    return a + of.end(*second) if plus else a - of.end(*second)


def _conditional_end(of: Evaluation, _: Step[AnyTyped], end: int, condition: int, then: int, otherwise: int) -> Cells:
    chosen = of.of(condition)
    if np.ndim(chosen) == 0 and chosen != UNKNOWN:
        return of.end(then if chosen == YES else otherwise, end)
    a, b = of.end(then, end), of.end(otherwise, end)
    outer = forms.largest(a, b) if end else forms.smallest(a, b)
    return np.where(np.equal(chosen, YES), a, np.where(np.equal(chosen, NO), b, outer))


def _applied_end(of: Evaluation, step: Step[typed.Apply], end: int, *arguments: int) -> Cells:
    form = COLUMN_FORMS.get(step.node.function.name)
    if isinstance(form, ByEnds):
        sides = form.sides(end, len(arguments))
        ends = (of.end(argument, side) for argument, side in zip(arguments, sides, strict=True))
        return (form.high if end else form.low)(*ends)
    form = form or _row_by_row(step.node.function)
    of.known[step.number] = found = form(*(of.of(argument) for argument in arguments))
    return found[end]


def truth(yes: Any, no: Any) -> Cells:
    """Truth from what is surely so and what is surely not."""
    return np.add(yes, np.logical_not(no), dtype=np.uint8)


def _less_or_equal(of: Evaluation, step: Step[AnyTyped], left: int, right: int) -> Cells:
    yes, no = _within(of, left, right), _beyond(of, left, right)
    return UNKNOWN if yes is False and no is False else truth(yes, no)


def _within(of: Evaluation, left: int, right: int) -> Cells:
    """Where a number is surely at most another: nowhere, if either end that must tell is open for every row."""
    a, b = _pair(of, (left, 1), (right, 0), inf, -inf)
    return False if a is None else a <= b + TOLERANCE


def _beyond(of: Evaluation, left: int, right: int) -> Cells:
    a, b = _pair(of, (left, 0), (right, 1), -inf, inf)
    return False if a is None else a > b + TOLERANCE


def _pair(of: Evaluation, left: tuple[int, int], right: tuple[int, int], open_left: float, open_right: float) -> Cells:
    """Two ends, what is one figure first; nothing where one of them is open, unless the other may be as endless."""
    steps = of.graph.steps
    sides = ((left, open_left, right[0]), (right, open_right, left[0]))
    for place, open_, other in sorted(sides, key=lambda side: steps[side[0][0]].on_items):
        found = of.end(*place)
        if isinstance(found, float) and found == open_ and not steps[other].endless:
            return None, None
    return of.end(*left), of.end(*right)


def _equal(of: Evaluation, step: Step[AnyTyped], left: int, right: int) -> Cells:
    a, b = of.of(left), of.of(right)
    apart = (a[0] > b[1] + TOLERANCE) | (b[0] > a[1] + TOLERANCE)
    return truth((a[1] <= b[0] + TOLERANCE) & (b[1] <= a[0] + TOLERANCE), apart)


def _same_member(of: Evaluation, step: Step[AnyTyped], left: int, right: int) -> Cells:
    a, b = of.of(left), of.of(right)
    return truth((a == b) & (a & (a - 1) == 0), a & b == 0)


def _membership(of: Evaluation, step: Step[typed.Membership], operand: int) -> Cells:
    value = of.of(operand)
    return truth(value & step.node.others == 0, value & step.node.mask == 0)


def _not(of: Evaluation, step: Step[AnyTyped], operand: int) -> Cells:
    return 2 - of.of(operand)


def _all(of: Evaluation, step: Step[AnyTyped], *operands: int) -> Cells:
    return _chain(of, operands, both, NO, YES)


def _some(of: Evaluation, step: Step[AnyTyped], *operands: int) -> Cells:
    return _chain(of, operands, either, YES, NO)


def both(a: Cells, b: Cells) -> Cells:
    """And; one figure stays a plain int, so that it does not widen a column it meets."""
    return min(a, b) if isinstance(a, int) and isinstance(b, int) else np.minimum(a, b)


def either(a: Cells, b: Cells) -> Cells:
    """Or."""
    return max(a, b) if isinstance(a, int) and isinstance(b, int) else np.maximum(a, b)


def _chain(of: Evaluation, operands: tuple[int, ...], pick: Callable[..., Cells], decides: int, found: Cells) -> Cells:
    """`and` and `or`: what is one figure first, for it may spare the columns."""
    late = []
    for operand in operands:
        if of.graph.steps[operand].on_items and not np.isscalar(of.known.get(operand)):
            late.append(operand)
        else:
            found = pick(found, of.of(operand))
    if np.ndim(found) == 0 and found == decides:
        return decides
    for operand in late:
        found = pick(found, of.of(operand))
    return found


def _conditional(of: Evaluation, step: Step[AnyTyped], condition: int, then: int, otherwise: int) -> Cells:
    if isinstance(step.node.type, NumberType):
        return _by_ends(of, step)
    chosen = of.of(condition)
    if np.ndim(chosen) == 0:
        if chosen == YES:
            return of.of(then)
        if chosen == NO:
            return of.of(otherwise)
    a, b, yes, no = of.of(then), of.of(otherwise), np.equal(chosen, YES), np.equal(chosen, NO)
    if isinstance(step.node.type, ListType):
        a, b = np.asarray(a, np.uint64), np.asarray(b, np.uint64)
        return np.where(yes, a, np.where(no, b, a | b))
    a, b = np.asarray(a, np.uint8), np.asarray(b, np.uint8)
    return np.where(yes, a, np.where(no, b, np.where(a == b, a, np.uint8(1))))


@lru_cache(_MOST_ROW_BY_ROW)
def _row_by_row(function: Function) -> Callable[..., Ends]:
    """A function without a form over columns, called once a row."""
    _log.warning("`%s` has no form over columns: it is computed row by row, slowly", function.name)

    def form(*columns: Ends) -> Ends:
        ends = np.broadcast_arrays(*(end for column in columns for end in column))
        rows = [function.over_bounds(*zip(row[::2], row[1::2], strict=True)) for row in zip(*ends, strict=True)]
        pairs: NDArray[np.float64] = np.array(rows, np.float64).reshape(-1, 2)
        return (pairs[:, 0], pairs[:, 1])

    return form


def _lookup_member(of: Evaluation, step: Step[typed.LookupMember], key: int) -> Cells:
    return _by_member(step.node.type, of.of(key), step.node.values)


def _by_member(kind: Type, mask: Cells, values: Any) -> Cells:
    """A value for each possible member, joined."""
    ends = [value if isinstance(value, tuple) else (value, value) for value in values]
    possible = [np.asarray(mask >> i & 1, np.bool_) for i in range(len(ends))]
    if isinstance(kind, ListType):
        found = np.zeros_like(mask, np.uint64)
        for chosen, (member, _) in zip(possible, ends, strict=True):
            found = found | np.where(chosen, np.uint64(member), np.uint64(0))
        return found
    low, high = np.full(np.shape(mask), np.inf), np.full(np.shape(mask), -np.inf)
    for chosen, (least, most) in zip(possible, ends, strict=True):
        low = np.where(chosen, np.minimum(low, least), low)
        high = np.where(chosen, np.maximum(high, most), high)
    return (low, high) if isinstance(kind, NumberType) else np.where(low == high, low, 1).astype(np.uint8)


def _lookup_band(of: Evaluation, step: Step[typed.LookupBand], key: int) -> Cells:
    tops, table = _bands(step.node.type, step.node.tops, step.node.values)
    low, high = of.of(key)
    found = table[np.searchsorted(tops, low), np.searchsorted(tops, high)]
    return (found[..., 0], found[..., 1]) if isinstance(step.node.type, NumberType) else found


@lru_cache(_MOST_BANDS)
def _bands(
    kind: Type, tops: tuple[float, ...], values: tuple[Value, ...]
) -> tuple[NDArray[np.float64], NDArray[np.generic]]:
    """The tops of the bands with what counts as equal, and the joined value from each band to each later one."""
    unknown = join(kind, values)
    rows = [
        [join(kind, values[first : last + 1]) if first <= last else unknown for last in range(len(values))]
        for first in range(len(values))
    ]
    numeric = np.float64 if isinstance(kind, NumberType) else np.uint64 if isinstance(kind, ListType) else np.uint8
    return np.array([top + TOLERANCE for top in tops]), np.array(rows, numeric)


def _lookup_between(of: Evaluation, step: Step[typed.LookupBetween], key: int) -> Cells:
    node = step.node
    at, heights = np.array(node.at), np.array([low for low, _ in node.values])

    def on_line(x: Cells) -> NDArray[np.float64]:
        i = np.clip(np.searchsorted(at, x, "right") - 1, 0, len(at) - 2)
        share = (np.clip(x, at[i], at[i + 1]) - at[i]) / (at[i + 1] - at[i])
        found: NDArray[np.float64] = heights[i] + share * (heights[i + 1] - heights[i])
        return found

    low, high = of.of(key)
    ends = on_line(low), on_line(high)
    least, most = np.minimum(*ends), np.maximum(*ends)
    for x, y in zip(at[1:-1], heights[1:-1], strict=True):
        crossed = (low < x) & (x < high)
        least, most = np.where(crossed, np.minimum(least, y), least), np.where(crossed, np.maximum(most, y), most)
    inside = (low >= at[0] - TOLERANCE) & (high <= at[-1] + TOLERANCE)
    return np.where(inside, least, node.type.unknown[0]), np.where(inside, most, node.type.unknown[1])


def _known(of: Evaluation, step: Step[AnyTyped], operand: int) -> Cells:
    value, kind = of.of(operand), of.graph.steps[operand].node.type
    if isinstance(kind, NumberType):
        return np.add((value[0] > -np.inf) & (value[1] < np.inf), 1, dtype=np.uint8)
    return np.add(np.not_equal(value, kind.unknown), 1, dtype=np.uint8)


class _Forms(NamedTuple):
    """How a kind of node is computed: as a whole, and one end of a number by itself where that can be."""

    whole: Callable[..., Cells]
    end: Callable[..., Cells] | None = None


_FORMS: Final[dict[type, _Forms]] = {}
"""The forms by kind of node, each put in when the first such node is met: one look-up a part has to do."""


def _take_up(node: AnyTyped) -> _Forms:
    _FORMS[type(node)] = found = _forms_of(node)
    return found


def _forms_of(node: AnyTyped) -> _Forms:
    match node:
        case typed.Constant():
            return _Forms(_constant)
        case typed.Read() | typed.Present():
            return _Forms(_given)
        case typed.Negative():
            return _Forms(_by_ends, _negative)
        case typed.Arithmetic():
            return _Forms(_by_ends, _arithmetic)
        case typed.Apply():
            return _Forms(_by_ends, _applied_end)
        case typed.LessOrEqual():
            return _Forms(_less_or_equal)
        case typed.Equal():
            return _Forms(_equal)
        case typed.SameMember():
            return _Forms(_same_member)
        case typed.Membership():
            return _Forms(_membership)
        case typed.Not():
            return _Forms(_not)
        case typed.All():
            return _Forms(_all)
        case typed.Some():
            return _Forms(_some)
        case typed.Conditional():
            return _Forms(_conditional, _conditional_end)
        case typed.LookupMember():
            return _Forms(_lookup_member)
        case typed.LookupBand():
            return _Forms(_lookup_band)
        case typed.LookupBetween():
            return _Forms(_lookup_between)
        case typed.Known():
            return _Forms(_known)
        case _:
            assert_never(node)


_OPEN: Final = (-inf, inf)
