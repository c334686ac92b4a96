"""The values of a graph's parts over columns: numpy in place of the compiler's Python, with the same meaning.

A number is a pair of ends, a list value a mask, a truth 0, 1 or 2; each is an array with one row an item, or one
figure that holds for every row.
"""

import logging
from collections.abc import Callable
from functools import cache
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from fitsvc.engine.column_graph import Graph, Step
from fitsvc.language import column_forms as forms
from fitsvc.language import typed
from fitsvc.language.column_forms import Ends
from fitsvc.language.functions import Function
from fitsvc.language.intervals import SAME
from fitsvc.language.truth import NO, YES
from fitsvc.language.typed import join
from fitsvc.language.types import ListType, NumberType, TextType, Type, Value

Cells = Any
"""A value over columns, as the module says."""
_log: Final = logging.getLogger(__name__)


class Evaluation:
    """Computes parts of a graph from those already known, each once."""

    __slots__ = ("graph", "known")

    def __init__(self, graph: Graph, known: dict[int, Cells]) -> None:
        self.graph, self.known = graph, known

    def of(self, number: int) -> Cells:
        """The value of a part."""
        known = self.known
        if number not in known:
            step = self.graph.steps[number]
            known[number] = _FORMS[type(step.node)](self, step, *step.operands)
        return known[number]


def _constant(of: Evaluation, step: Step) -> Cells:
    assert isinstance(step.node, typed.Constant)
    return step.node.value


def _negative(of: Evaluation, step: Step, operand: int) -> Cells:
    low, high = of.of(operand)
    return (-high, -low)


def _arithmetic(of: Evaluation, step: Step, left: int, right: int) -> Cells:
    node = step.node
    assert isinstance(node, typed.Arithmetic) and isinstance(node.type, NumberType)
    a, b = of.of(left), of.of(right)
    if node.operator == "+":
        return (a[0] + b[0], a[1] + b[1])
    if node.operator == "-":
        return (a[0] - b[1], a[1] - b[0])
    if node.operator == "/":
        return forms.over(a, b)
    if not node.type.negative:
        return (a[0] * b[0], forms.product(a[1], b[1]))
    return forms.times(a, b)


def truth(yes: Any, no: Any) -> Cells:
    """Truth from what is surely so and what is surely not."""
    return np.add(yes, np.logical_not(no), dtype=np.uint8)


def _atmost(of: Evaluation, step: Step, left: int, right: int) -> Cells:
    a, b = of.of(left), of.of(right)
    return truth(a[1] <= b[0] + SAME, a[0] > b[1] + SAME)


def _equal(of: Evaluation, step: Step, left: int, right: int) -> Cells:
    a, b = of.of(left), of.of(right)
    apart = (a[0] > b[1] + SAME) | (b[0] > a[1] + SAME)
    return truth((a[1] <= b[0] + SAME) & (b[1] <= a[0] + SAME), apart)


def _samemember(of: Evaluation, step: Step, left: int, right: int) -> Cells:
    a, b = of.of(left), of.of(right)
    return truth((a == b) & (a & (a - 1) == 0), a & b == 0)


def _among(of: Evaluation, step: Step, operand: int) -> Cells:
    assert isinstance(step.node, typed.Among)
    kind, value = of.graph.steps[operand].node.type, of.of(operand)
    assert isinstance(kind, ListType)
    return truth(value & (kind.unknown & ~step.node.mask) == 0, value & step.node.mask == 0)


def _not(of: Evaluation, step: Step, operand: int) -> Cells:
    return 2 - of.of(operand)


def _all(of: Evaluation, step: Step, *operands: int) -> Cells:
    return _chain(of, operands, both, NO, YES)


def _some(of: Evaluation, step: Step, *operands: int) -> Cells:
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
    if found == decides:
        return decides
    for operand in late:
        found = pick(found, of.of(operand))
    return found


def _choice(of: Evaluation, step: Step, condition: int, then: int, otherwise: int) -> Cells:
    chosen = of.of(condition)
    if np.ndim(chosen) == 0:
        if chosen == YES:
            return of.of(then)
        if chosen == NO:
            return of.of(otherwise)
    a, b, yes, no = of.of(then), of.of(otherwise), np.equal(chosen, YES), np.equal(chosen, NO)
    if isinstance(step.node.type, NumberType):
        low, high = forms.smallest(a[0], b[0]), forms.largest(a[1], b[1])
        return (np.where(yes, a[0], np.where(no, b[0], low)), np.where(yes, a[1], np.where(no, b[1], high)))
    if isinstance(step.node.type, ListType):
        a, b = np.asarray(a, np.uint64), np.asarray(b, np.uint64)
        return np.where(yes, a, np.where(no, b, a | b))
    a, b = np.asarray(a, np.uint8), np.asarray(b, np.uint8)
    return np.where(yes, a, np.where(no, b, np.where(a == b, a, np.uint8(1))))


def _apply(of: Evaluation, step: Step, *arguments: int) -> Cells:
    assert isinstance(step.node, typed.Apply)
    form = step.node.function.columns or _row_by_row(step.node.function)
    return form(*(of.of(argument) for argument in arguments))


@cache
def _row_by_row(function: Function) -> Callable[..., Ends]:
    """A function without a form over columns, called once a row."""
    _log.warning("`%s` has no form over columns: it is computed row by row, slowly", function.name)

    def form(*columns: Ends) -> Ends:
        ends = np.broadcast_arrays(*(end for column in columns for end in column))
        rows = [function.over_bounds(*zip(row[::2], row[1::2], strict=True)) for row in zip(*ends, strict=True)]
        pairs: NDArray[np.float64] = np.array(rows, np.float64).reshape(-1, 2)
        return (pairs[:, 0], pairs[:, 1])

    return form


def _length(of: Evaluation, step: Step, operand: int) -> Cells:
    kind = of.graph.steps[operand].node.type
    assert isinstance(kind, ListType)
    return _by_member(step.node.type, of.of(operand), [(size, size) for size in kind.sizes])


def _lookupmember(of: Evaluation, step: Step, key: int) -> Cells:
    assert isinstance(step.node, typed.LookupMember)
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


def _lookupband(of: Evaluation, step: Step, key: int) -> Cells:
    assert isinstance(step.node, typed.LookupBand)
    tops, table = _bands(step.node.type, step.node.tops, step.node.values)
    low, high = of.of(key)
    found = table[np.searchsorted(tops, low), np.searchsorted(tops, high)]
    return (found[..., 0], found[..., 1]) if isinstance(step.node.type, NumberType) else found


@cache
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
    return np.array([top + SAME for top in tops]), np.array(rows, numeric)


def _known(of: Evaluation, step: Step, operand: int) -> Cells:
    value, kind = of.of(operand), of.graph.steps[operand].node.type
    if isinstance(kind, NumberType):
        return np.add((value[0] > -np.inf) & (value[1] < np.inf), 1, dtype=np.uint8)
    assert not isinstance(kind, TextType)
    return np.add(np.not_equal(value, kind.unknown), 1, dtype=np.uint8)


_FORMS: Final[dict[type, Callable[..., Cells]]] = {
    typed.Constant: _constant, typed.Negative: _negative, typed.Arithmetic: _arithmetic, typed.AtMost: _atmost,
    typed.Equal: _equal, typed.SameMember: _samemember, typed.Among: _among, typed.Length: _length, typed.Not: _not,
    typed.All: _all, typed.Some: _some, typed.Choice: _choice, typed.Apply: _apply,
    typed.LookupMember: _lookupmember, typed.LookupBand: _lookupband, typed.Known: _known,
}  # fmt: skip
