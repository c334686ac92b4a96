"""What several statements of a fact allow: whether they can hold together, and what they leave."""

from collections.abc import Sequence
from functools import reduce
from math import inf
from typing import Final, Literal

from fitsvc.language.intervals import TOLERANCE, Bounds

Span = Bounds | frozenset[str]
"""What a statement allows: a range in the inside unit, or members of a list, designations, `yes` and `no`."""

State = Literal["", "doubtful", "disputed", "stale"]
LEAST_SHARED: Final = 1 / 3
"""The share of the narrower of two readings that they must have in common to count as agreeing; an estimate: two
honest readings of one length, each held within its tolerance, seldom share less."""


def joined(spans: Sequence[Span]) -> tuple[Span, State]:
    """What all statements allow; where they cannot all hold, everything that those which agree allow."""
    if any(isinstance(one, frozenset) for one in spans):
        return _joined_members([one for one in spans if isinstance(one, frozenset)])
    return _joined_ranges([one for one in spans if isinstance(one, tuple)])


def _joined_ranges(spans: Sequence[Bounds]) -> tuple[Bounds, State]:
    """The range between the two statements that stand farthest apart, each narrowed by those that agree with it.

    Where these two agree, that is what all have in common, since all others reach over it.
    """
    left = min(spans, key=lambda one: (one[1], -one[0]))
    right = max(spans, key=lambda one: (one[0], -one[1]))
    low = max(one[0] for one in spans if one == left or agree(one, left))
    high = min(one[1] for one in spans if one == right or agree(one, right))
    state: State = "" if agree(left, right) else "disputed" if apart(left, right) else "doubtful"
    return (min(low, high), max(low, high)), state


def _joined_members(spans: Sequence[frozenset[str]]) -> tuple[frozenset[str], State]:
    """The members that as many statements allow as any other does that is allowed by the same ones."""
    common = reduce(frozenset.intersection, spans)
    if common:
        return common, ""
    by = {member: frozenset(i for i, one in enumerate(spans) if member in one) for member in frozenset().union(*spans)}
    return frozenset(member for member, of in by.items() if not any(of < other for other in by.values())), "disputed"


def apart(one: Span, other: Span) -> bool:
    """Whether two statements cannot both hold."""
    if isinstance(one, tuple) and isinstance(other, tuple):
        return one[0] > other[1] + TOLERANCE or other[0] > one[1] + TOLERANCE
    assert isinstance(one, frozenset) and isinstance(other, frozenset)
    return not one & other


def agree(one: Span, other: Span) -> bool:
    """Whether two statements share enough to be readings of one thing."""
    if apart(one, other):
        return False
    if isinstance(one, frozenset) or isinstance(other, frozenset):
        return True
    narrower = min(one[1] - one[0], other[1] - other[0])
    shared = min(one[1], other[1]) - max(one[0], other[0])
    # A bound alone (`at least 4 in`) has no width to share a part of.
    return narrower == inf or shared >= narrower * LEAST_SHARED - TOLERANCE


def _close(one: float, other: float) -> bool:
    return one == other or abs(one - other) <= TOLERANCE  # an end that is not told is infinite


def same(one: Span | None, other: Span | None) -> bool:
    """Whether two spans are the same."""
    if one == other:
        return True
    if isinstance(one, tuple) and isinstance(other, tuple):
        return _close(one[0], other[0]) and _close(one[1], other[1])
    return False
