"""What each rule reads, of items and of rigs, and where that is not exactly known."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from fitsvc.engine.columns.signatures import Column
from fitsvc.engine.point import Point
from fitsvc.language.intervals import TOLERANCE
from fitsvc.language.truth import UNKNOWN
from fitsvc.language.types import ListType, Type


def exact_rows(kind: Type, column: Column) -> NDArray[np.bool_]:
    """In which rows of a column a fact is exactly known."""
    if isinstance(column, tuple):
        return np.less_equal(column[1] - column[0], TOLERANCE)
    if isinstance(kind, ListType):
        return np.less_equal(np.bitwise_count(column), 1)
    return np.asarray(column != UNKNOWN)


def read_by(engine: Point, number: int, adapted: bool) -> list[str]:
    """The facts that a rule reads; with adapters those behind the working opening in its place."""
    names = [leaf.name for leaf in engine.support(number, adapted).leaves]
    if any(name.startswith("opening.") for name in names):
        own, each = engine.opening_leaves
        names = [name for name in names if not name.startswith("opening.")]
        names += [leaf.name for leaf in (*own, *each)]
    return names


def leaving_open(engine: Point) -> Iterator[int]:
    """The rules that leave an answer undetermined where they are open, by their numbers."""
    yield from (number for number, rule in enumerate(engine.rulebook.rules) if rule.leaves_open)
