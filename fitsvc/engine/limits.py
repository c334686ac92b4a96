"""Limits of a case: the lowest of the ratings that apply, who governs, and which ratings are not known."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from math import inf

from fitsvc.engine.point import Point, Values
from fitsvc.facts import Case
from fitsvc.language.truth import NO
from fitsvc.language.typed import AnyTyped
from fitsvc.rulebook.rules import Limit, Rating


@dataclass(frozen=True, slots=True)
class Lowest:
    """The lowest known rating in inside units (None where none is known), its part, and the unknown ones."""

    at_most: float | None
    governed_by: str
    rating: Rating | None
    unknown: tuple[str, ...]


def lowest(engine: Point, limit: Limit, case: Case) -> Lowest | None:
    """A limit of a case; None where none of its ratings applies. 

    A rating known in bounds counts at its low end. One of which only an upper end is known counts at that,
    and as unknown.
    """
    low, governing = inf, None
    unknown: list[str] = []
    applies = False
    for rating, values in _compiled(engine, limit):
        if set(rating.subjects) - case.present:
            continue
        found = values.of(case)
        if len(found) > 1 and found[1] == NO:
            continue
        applies = True
        bounds = found[0]
        assert isinstance(bounds, tuple)
        sure = bounds[0]
        if sure <= 0.0:
            unknown.append(rating.name)
            sure = bounds[1]
        if sure < low:
            low, governing = sure, rating
    if not applies:
        return None
    return Lowest(None if governing is None else low, governing.name if governing else "", governing, tuple(unknown))


def _compiled(engine: Point, limit: Limit) -> list[tuple[Rating, Values]]:
    """Each rating with its value and guard compiled."""
    return [(r, engine.values(("limit", limit.id, r.name), partial(_nodes, r))) for r in limit.ratings]


def _nodes(rating: Rating) -> list[AnyTyped]:
    return [rating.node] if rating.guard is None else [rating.node, rating.guard]


def limits_of(engine: Point, case: Case) -> Mapping[str, Lowest]:
    """Every limit that applies to a case, by the limit's id."""
    found = {limit.id: lowest(engine, limit, case) for limit in engine.rulebook.limits}
    return {name: low for name, low in found.items() if low is not None}
