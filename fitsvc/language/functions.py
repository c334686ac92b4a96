"""The functions a rule may call: one table, each row with signature, directions and formula.

A row states in which direction the result moves with each argument (+1 up, -1 down), so that the
result over bounds is exact: its low end is the formula at the arguments' ends that make it lowest.
A row with `bounds` gives its own form over bounds instead; without directions it is not monotone.
`columns` is the same over whole columns of bounds; a row without it is applied row by row, which is slow.
Formulas are total: for any numbers, infinite ones too, they give a number.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

from fitsvc.language import column_forms as columns
from fitsvc.language.column_forms import Ends
from fitsvc.language.intervals import Bounds, over, plus, times
from fitsvc.language.quantities import LENGTH, MASS, Dimension

SAME_AS_FIRST: Final = None
"""In a signature: the dimension of the first argument, whatever it is."""


@dataclass(frozen=True, slots=True)
class Function:
    """One row of the table."""

    name: str
    arguments: tuple[Dimension | None, ...]
    result: Dimension | None
    directions: tuple[int, ...]
    doc: str
    formula: Callable[..., float] | None = field(default=None, compare=False)
    bounds: Callable[..., Bounds] | None = field(default=None, compare=False)
    columns: Callable[..., Ends] | None = field(default=None, compare=False)
    variadic: bool = False
    never_negative: bool = False
    source: str = "definition"

    def over_bounds(self, *arguments: Bounds) -> Bounds:
        """The function's value over bounds."""
        if self.bounds:
            return self.bounds(*arguments)
        assert self.formula
        directions = self.directions * len(arguments) if self.variadic else self.directions
        low = [a[0] if d > 0 else a[1] for a, d in zip(arguments, directions, strict=True)]
        high = [a[1] if d > 0 else a[0] for a, d in zip(arguments, directions, strict=True)]
        return (self.formula(*low), self.formula(*high))


def _magnitude(a: Bounds) -> Bounds:
    lo, hi = a
    if lo >= 0.0:
        return a
    return (-hi, -lo) if hi <= 0.0 else (0.0, max(-lo, hi))


def _span(a: Bounds, b: Bounds) -> Bounds:
    return (a[0], b[1]) if a[0] <= b[1] else (b[1], a[0])


def _above_zero(a: Bounds) -> Bounds:
    return (max(a[0], 0.0), max(a[1], 0.0))


def _front_axle_relief(weight: Bounds, behind: Bounds, wheelbase: Bounds) -> Bounds:
    """W d/L with nothing below zero; open above where the wheelbase may be nothing."""
    return times(_above_zero(weight), over(_above_zero(behind), _above_zero(wheelbase)))


def _rear_axle_share(weight: Bounds, behind: Bounds, wheelbase: Bounds) -> Bounds:
    return plus(weight, _front_axle_relief(weight, behind, wheelbase))


_STATICS = (MASS, LENGTH, LENGTH)
_AXLES = "moments about the other axle (statics); behind is counted from the rear axle, not below zero"

_ROWS = (
    Function("min", (SAME_AS_FIRST,), SAME_AS_FIRST, (1,), "the smallest", formula=min,
             columns=columns.least, variadic=True),
    Function("max", (SAME_AS_FIRST,), SAME_AS_FIRST, (1,), "the largest", formula=max,
             columns=columns.greatest, variadic=True),
    Function("abs", (SAME_AS_FIRST,), SAME_AS_FIRST, (), "the size without its sign", bounds=_magnitude,
             columns=columns.magnitude, never_negative=True),
    Function("span", (SAME_AS_FIRST, SAME_AS_FIRST), SAME_AS_FIRST, (),
             "some value between the two, such as a limit known by what fits and what does not; where the two "
             "contradict each other, anything between", bounds=_span, columns=columns.span),
    Function("rear_axle_share", _STATICS, MASS, (1, 1, -1),
             "what the rear axle carries of a weight hung behind it, W(L+d)/L", bounds=_rear_axle_share,
             columns=columns.rear_axle_share, source=_AXLES),
    Function("front_axle_relief", _STATICS, MASS, (1, 1, -1),
             "what a weight hung behind the rear axle takes off the front axle, W d/L", bounds=_front_axle_relief,
             columns=columns.front_axle_relief, never_negative=True, source=_AXLES),
)  # fmt: skip

FUNCTIONS: Final = {row.name: row for row in _ROWS}

SPECIAL_FORMS: Final = ("lookup", "known", "present")
"""Written like functions, but their argument is a name, not a value."""
