"""Whether what is being worked out is still wanted: long work asks between its steps, and ends when nobody waits.

Who starts the work says so with `wanted_until`; where nobody has, work is always wanted.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from threading import Event
from typing import Final

_LEFT: Final[ContextVar[Event | None]] = ContextVar("left", default=None)


class NotWanted(Exception):
    """Whoever asked for the work has left."""


@contextmanager
def wanted_until(left: Event) -> Iterator[None]:
    """Work begun inside, in this thread or one that is given its context, is wanted until the event is set."""
    before = _LEFT.set(left)
    try:
        yield
    finally:
        _LEFT.reset(before)


def still_wanted() -> None:
    """Raise NotWanted when nobody waits any more."""
    left = _LEFT.get()
    if left is not None and left.is_set():
        raise NotWanted
