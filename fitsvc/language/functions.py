"""The functions a rule may call: one table, each row with signature, directions and formula.

A row states in which direction the result moves with each argument (+1 up, -1 down, 0 both or unsure), so that
the result over bounds is exact: its low end is the formula at the arguments' ends that make it lowest.
A row with `bounds` gives its own form over bounds instead; it moves with bounds whose ends both move.
The same over whole columns of bounds stands in `forms/column_forms.py`, which needs numpy; a function without such
a form is applied row by row, which is slow.
The result may be below zero where an argument may, unless the row says `never_negative` or `may_be_negative`.
Formulas are total: for any numbers, infinite ones too, they give a number.
"""

from collections.abc import Callable
from dataclasses import KW_ONLY, dataclass, field
from typing import Final

from fitsvc.language.forms import geometry, statics
from fitsvc.language.intervals import Bounds
from fitsvc.language.quantities import ANGLE, FORCE, LENGTH, MASS, NUMBER, Dimension

SAME_AS_FIRST: Final = None
"""In a signature: the dimension of the first argument, whatever it is."""


@dataclass(frozen=True, slots=True)
class Function:
    """One row of the table; one with a `pole` can be infinite, or beyond all floats, where no argument is.

    Its first five columns are read across a line of the table, so they go by position; the others by name.
    """

    name: str
    arguments: tuple[Dimension | None, ...]
    result: Dimension | None
    directions: tuple[int, ...]
    doc: str
    _: KW_ONLY
    formula: Callable[..., float] | None = field(default=None, compare=False)
    bounds: Callable[..., Bounds] | None = field(default=None, compare=False)
    variadic: bool = False
    never_negative: bool = False
    may_be_negative: bool = False
    pole: bool = False
    source: str = "definition"

    def moves(self, count: int) -> tuple[int, ...]:
        """The direction in which the result moves with each of so many arguments."""
        return self.directions * count if self.variadic else self.directions

    def over_bounds(self, *arguments: Bounds) -> Bounds:
        """The function's value over bounds."""
        if self.bounds:
            return self.bounds(*arguments)
        assert self.formula
        directions = self.moves(len(arguments))
        low = [a[0] if d > 0 else a[1] for a, d in zip(arguments, directions, strict=True)]
        high = [a[1] if d > 0 else a[0] for a, d in zip(arguments, directions, strict=True)]
        return (self.formula(*low), self.formula(*high))


def _magnitude(a: Bounds) -> Bounds:
    lo, hi = a
    if lo >= 0.0:
        return a
    return (-hi, -lo) if hi <= 0.0 else (0.0, max(-lo, hi))


def _span(low: Bounds, high: Bounds) -> Bounds:
    return (low[0], high[1]) if low[0] <= high[1] else (high[1], low[0])


_STATICS = (MASS, LENGTH, LENGTH)
_AXLES = "moments about the other axle (statics); behind is counted from the rear axle, not below zero"
_BEHIND = (LENGTH, LENGTH, LENGTH)
_TANGENT = "49 CFR 523.2: a line tangent to the rear tire static loaded radius arc, touching the underside behind"
_SECTOR = "the closure as a sector about its hinge, the accessory as a box"

_ROWS = (
    Function("min", (SAME_AS_FIRST,), SAME_AS_FIRST, (1,), "the smallest", formula=min, variadic=True),
    Function("max", (SAME_AS_FIRST,), SAME_AS_FIRST, (1,), "the largest", formula=max, variadic=True),
    Function("abs", (SAME_AS_FIRST,), SAME_AS_FIRST, (0,), "the size without its sign", bounds=_magnitude,
             never_negative=True),
    Function("span", (SAME_AS_FIRST, SAME_AS_FIRST), SAME_AS_FIRST, (1, 1),
             "some value between the two, such as a limit known by what fits and what does not; where the two "
             "contradict each other, anything between", bounds=_span),
    Function("rear_axle_share", _STATICS, MASS, (1, 1, -1),
             "what the rear axle carries of a weight hung behind it, W(L+d)/L", bounds=statics.rear_axle_share,
             pole=True, source=_AXLES),
    Function("front_axle_relief", _STATICS, MASS, (1, 1, -1),
             "what a weight hung behind the rear axle takes off the front axle, W d/L",
             bounds=statics.front_axle_relief, never_negative=True, pole=True, source=_AXLES),
    Function("scaled_tongue_weight", _STATICS, MASS, (1, -1, 1),
             "the tongue weight by a small scale, S(a+b)/a: the scale's reading, the coupler's distance a from the "
             "beam's support and b from the scale", bounds=statics.scaled_tongue_weight, never_negative=True, pole=True,
             source="moments about the support (statics)"),
    Function("d_value", (MASS, MASS), FORCE, (1, 1),
             "the force between vehicle and trailer of these masses, g T R/(T+R)", formula=statics.d_value,
             never_negative=True, source="UN Regulation 55, as quoted in secondary sources"),
    Function("departure_angle", _BEHIND, ANGLE, (-1, 1, 1),
             "the steepest ramp at which a point behind the rear axle, so high, clears the ground behind tyres of so "
             "large a loaded radius", formula=geometry.departure_angle, never_negative=True, source=_TANGENT),
    Function("angle_of_grade", (NUMBER,), ANGLE, (1,), "the angle of a grade, rise over run",
             formula=geometry.angle_of_grade),
    Function("grade_of_angle", (ANGLE,), NUMBER, (1,), "the grade of an angle, rise over run",
             formula=geometry.grade_of_angle, pole=True),
    Function("touching_rise", (*_BEHIND, LENGTH), LENGTH, (-1, 1, 1, 1),
             "how high the front wheels stand above the rear ones when a point behind the axle touches: behind, "
             "height, radius, wheelbase", formula=geometry.touching_rise, never_negative=True, source=_TANGENT),
    Function("clearance_on_grade", (*_BEHIND, NUMBER), LENGTH, (-1, 1, 1, 0),
             "what is left under a point behind the axle when the rear wheels meet a ramp of a grade: behind, "
             "height, radius, grade; below zero it touches", formula=geometry.clearance_on_grade,
             bounds=geometry.clearance_on_grade_within, may_be_negative=True, source=_TANGENT),
    Function("swing_clearance", _BEHIND, LENGTH, (1, 1, -1),
             "what a closure that swings leaves free of a corner so far behind its hinge and so far below or beside "
             "it; below zero it strikes", formula=geometry.swing_clearance, may_be_negative=True, source=_SECTOR),
    Function("swing_reach", (LENGTH, LENGTH), LENGTH, (-1, 1),
             "how far behind its hinge a closure that swings reaches at a corner so far below or beside it",
             formula=geometry.swing_reach, never_negative=True, source=_SECTOR),
    Function("drop_clearance", _BEHIND, LENGTH, (1, -1, -1),
             "what a tailgate that drops level leaves free of an accessory whose front is so far behind the hinge and "
             "whose top so far above it; below zero it strikes", formula=geometry.drop_clearance,
             may_be_negative=True, source=_SECTOR),
    Function("turning_angle", _BEHIND, ANGLE, (1, 1, -1),
             "how far the vehicle turns before a part of the trailer meets the bumper, at most a right angle: ball "
             "behind the bumper, part behind the ball, half the part's width", formula=geometry.turning_angle,
             never_negative=True),
)  # fmt: skip

FUNCTIONS: Final = {row.name: row for row in _ROWS}

SPECIAL_FORMS: Final = {
    "lookup": (
        "`lookup(table, key)`",
        "the table's value for a member, for the band a number is in, or on the line through its points",
    ),
    "known": ("`known(x)`", "yes when `x` is known within bounds, else unknown; never no"),
    "present": (
        "`present(subject)` `present(subject.fact)`",
        "whether the question is about that subject, or names that fact: yes or no, see below",
    ),
}
"""Written like functions, but their argument is a name, not a value: how each is written, and what it gives."""
