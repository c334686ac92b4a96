"""Tables by points: a value on the straight line between the two points next to a number.

No engineering formula is meant by it: the maker or the law that gives the points has to say that what lies between may
be read off the line. Beyond the first and the last point nothing is known.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Sequence

from fitsvc.language import typed
from fitsvc.language.functions import FUNCTIONS
from fitsvc.language.intervals import TOLERANCE, Bounds
from fitsvc.language.quantities import NUMBER
from fitsvc.language.typed import AnyTyped, Arithmetic, Constant
from fitsvc.language.types import TRUTH, NumberType


def between(kind: NumberType, at: Sequence[float], values: Sequence[Bounds]) -> Callable[[float, float], Bounds]:
    """The value of a table by points, of the two ends of a number."""
    heights = [low for low, _ in values]

    def on_line(x: float) -> float:
        i = min(max(bisect_right(at, x) - 1, 0), len(at) - 2)
        share = (min(max(x, at[i]), at[i + 1]) - at[i]) / (at[i + 1] - at[i])
        return heights[i] + share * (heights[i + 1] - heights[i])

    def value(low: float, high: float) -> Bounds:
        if low < at[0] - TOLERANCE or high > at[-1] + TOLERANCE:
            return kind.unknown
        reached = [on_line(low), on_line(high), *heights[bisect_right(at, low) : bisect_left(at, high)]]
        return (min(reached), max(reached))

    return value


def spelt_out(node: typed.LookupBetween) -> AnyTyped:
    """The same in other nodes, a condition a line: for who has no form of its own for it."""
    key, kind = node.key, node.type
    assert isinstance(key.type, NumberType)
    unknown = Constant(kind, kind.unknown)
    found: AnyTyped = unknown
    for i in range(len(node.at) - 2, -1, -1):
        found = typed.Conditional(kind, _at_most(key, _figure(key.type, node.at[i + 1])), _line(node, i), found)
    return typed.Conditional(kind, _at_most(_figure(key.type, node.at[0]), key), found, unknown)


def _line(node: typed.LookupBetween, i: int) -> AnyTyped:
    """The value on one line, of the key held between its ends: the lower end, and no less than nothing added to it."""
    (first, last), (start, end) = (node.at[i : i + 2], [low for low, _ in node.values[i : i + 2]])
    of_key, kind = node.key.type, node.type
    assert isinstance(of_key, NumberType)
    ends = _figure(of_key, first), _figure(of_key, last)
    held = typed.Apply(of_key, FUNCTIONS["min"], (typed.Apply(of_key, FUNCTIONS["max"], (node.key, ends[0])), ends[1]))
    pair = (held, ends[0]) if start <= end else (ends[1], held)
    way = Arithmetic(NumberType(of_key.dimension, negative=False), "-", *pair)
    share = Arithmetic(NumberType(NUMBER, negative=False), "/", way, _figure(of_key, last - first))
    more = Arithmetic(NumberType(kind.dimension, negative=False), "*", share, _figure(kind, abs(end - start)))
    return Arithmetic(kind, "+", _figure(kind, min(start, end)), more)


def _at_most(left: AnyTyped, right: AnyTyped) -> AnyTyped:
    return typed.LessOrEqual(TRUTH, left, right)


def _figure(kind: NumberType, amount: float) -> Constant:
    return Constant(NumberType(kind.dimension, negative=amount < 0.0), (amount, amount))
