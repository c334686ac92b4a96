"""Each function says of a column what it says of every row alone."""

from collections.abc import Iterable
from math import inf, isclose
from random import Random

import numpy as np
import pytest

from fitsvc.language.forms.column_forms import COLUMN_FORMS
from fitsvc.language.functions import FUNCTIONS, Function
from fitsvc.language.intervals import Bounds

FIGURES = (
    -inf,
    -1e9,
    -100.0,
    -2.5,
    -1e-7,
    -1e-150,
    -0.0,
    0.0,
    1e-150,
    1e-7,
    0.5,
    1.0,
    2.5,
    30.0,
    90.0,
    100.0,
    1e9,
    inf,
)
ANGLES = {"departure_angle", "angle_of_grade", "grade_of_angle", "touching_rise", "clearance_on_grade", "turning_angle"}
"""What takes sines and arc tangents, whose last digits the two sources of them do not share."""
ROWS = 3_000


def pair(rng: Random) -> Bounds:
    """Two ends in order, often the same; an open end is open outward, as in a case."""
    a, b = (rng.choice(FIGURES) if rng.random() < 0.7 else rng.uniform(-200.0, 200.0) for _ in range(2))
    low, high = (min(a, b), max(a, b)) if rng.random() < 0.6 else (a, a)
    return (-1e9 if low == inf else low, 1e9 if high == -inf else high)


def same(row: Function, a: float, b: float, arguments: Iterable[Bounds]) -> bool:
    """The very same figure, unless the function takes angles."""
    return near(a, b, arguments) if row.name in ANGLES else a == b


def near(a: float, b: float, arguments: Iterable[Bounds]) -> bool:
    """Equal, but for the last digits of sines and arc tangents, which count by the largest argument."""
    largest = max((abs(end) for pair in arguments for end in pair if abs(end) < inf), default=0.0)
    return a == b or isclose(a, b, rel_tol=1e-12, abs_tol=1e-9 + 1e-15 * largest)


def test_every_form_is_of_a_function() -> None:
    """No form over columns stands under a name that is no function's."""
    assert COLUMN_FORMS.keys() <= FUNCTIONS.keys()


@pytest.mark.parametrize("row", FUNCTIONS.values(), ids=FUNCTIONS.keys())
def test_columns_agree_with_rows(row: Function) -> None:
    """The form over columns gives each row's own bounds, open ones and zeros included."""
    rng = Random(row.name)
    assert row.name in COLUMN_FORMS, f"`{row.name}` has no form over columns"
    count = 3 if row.variadic else len(row.arguments)
    rows = [[pair(rng) for _ in range(count)] for _ in range(ROWS)]
    columns = [tuple(np.array([one[i][end] for one in rows]) for end in (0, 1)) for i in range(count)]
    with np.errstate(all="ignore"):
        low, high = COLUMN_FORMS[row.name](*columns)
    for i, one in enumerate(rows):
        wanted, found = row.over_bounds(*one), (float(low[i]), float(high[i]))  # type: ignore[index]  # a column of numbers
        agree = all(same(row, a, b, one) for a, b in zip(found, wanted, strict=True))
        assert agree, f"{row.name}{one}: {found}, row by row {wanted}"


@pytest.mark.parametrize("row", FUNCTIONS.values(), ids=FUNCTIONS.keys())
def test_one_figure_stands_for_every_row(row: Function) -> None:
    """An argument given as one figure counts as a column of it."""
    rng = Random(row.name)
    count = 3 if row.variadic else len(row.arguments)
    for _ in range(50):
        first, *others = [pair(rng) for _ in range(count)]
        column = (np.full(4, first[0]), np.full(4, first[1]))
        with np.errstate(all="ignore"):
            low, high = COLUMN_FORMS[row.name](column, *others)
        wanted = row.over_bounds(first, *others)
        for ends, end in ((low, wanted[0]), (high, wanted[1])):
            assert all(same(row, float(found), end, [first, *others]) for found in np.broadcast_to(ends, 4))


@pytest.mark.parametrize("row", FUNCTIONS.values(), ids=FUNCTIONS.keys())
def test_bounds_move_as_the_directions_say(row: Function) -> None:
    """Where both ends of an argument move up, both ends of the result move as the table says, or stay."""
    rng = Random(row.name)
    count = 3 if row.variadic else len(row.arguments)
    moves = row.moves(count)
    assert len(moves) == count and set(moves) <= {-1, 0, 1}
    for _ in range(ROWS):
        lower, other = [pair(rng) for _ in range(count)], [pair(rng) for _ in range(count)]
        for place, move in enumerate(moves):
            if not move:
                continue
            upper = list(lower)
            upper[place] = (max(lower[place][0], other[place][0]), max(lower[place][1], other[place][1]))
            for below, above in zip(row.over_bounds(*lower), row.over_bounds(*upper), strict=True):
                moved = above >= below if move > 0 else above <= below
                assert moved or near(below, above, [*lower, *upper]), f"{row.name}{lower} to {upper[place]}"
