"""Limits of a case: the lowest of the ratings that apply, who governs, and which ratings are not known."""

from collections.abc import Iterator
from dataclasses import dataclass
from math import inf

from fitsvc.engine.point import Point, Values
from fitsvc.facts import Case
from fitsvc.language.truth import NO
from fitsvc.language.typed import AnyTyped
from fitsvc.language.types import Value
from fitsvc.rulebook.rules import Limit, Rating


@dataclass(slots=True)
class Lowest:
    """The lowest rating in inside units (None where nothing is known), the rating that governs, and the unknown ones.

    A rating known in bounds counts at its low end. One of which only an upper end is known counts at that,
    and as unknown.
    """

    at_most: float | None
    governs: Rating | None
    unknown: list[str]


def limits_of(engine: Point, case: Case) -> dict[str, Lowest]:
    """Every limit that applies to a case, by the limit's id."""
    values = iter(values_of_limits(engine).of(case))
    found = ((limit.id, _lowest(limit, values, case.present)) for limit in engine.rulebook.limits)
    return {name: lowest for name, lowest in found if lowest is not None}


def limit_of(engine: Point, limit: Limit, case: Case) -> Lowest | None:
    """One of the engine's limits in a case; None where it does not apply."""
    return _lowest(limit, iter(values_of_limit(engine, limit).of(case)), case.present)


def values_of_limits(engine: Point) -> Values:
    """What limits are made of, compiled at the first call."""
    return engine.values("limits", lambda: [node for limit in engine.rulebook.limits for node in nodes_of(limit)])


def values_of_limit(engine: Point, limit: Limit) -> Values:
    """What one limit is made of, compiled at the first call."""
    return engine.values(("limit", limit.id), lambda: nodes_of(limit))


def nodes_of(limit: Limit) -> list[AnyTyped]:
    """Each rating's value, then its guard if it has one."""
    return [node for rating in limit.ratings for node in (rating.node, rating.guard) if node is not None]


def _lowest(limit: Limit, values: Iterator[Value], present: frozenset[str]) -> Lowest | None:
    """Take a limit's values in order; None where none of its ratings applies."""
    lowest, low, applies = Lowest(None, None, []), inf, False
    for rating in limit.ratings:
        bounds = next(values)
        guard = next(values) if rating.guard is not None else None
        if guard == NO or not present.issuperset(rating.subjects):
            continue
        applies = True
        assert isinstance(bounds, tuple)
        sure = bounds[0]
        if sure <= 0.0 and sure < bounds[1]:
            lowest.unknown.append(rating.name)
            sure = bounds[1]
        if sure < low:
            lowest.at_most = low = sure
            lowest.governs = rating
    return lowest if applies else None
