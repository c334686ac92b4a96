"""Work beside the event loop: how much of each kind at a time.

Threads of one process share one interpreter, and the loop has to wait for its turn among those that compute: fewer of
them answer as many questions, and let the loop through sooner. What computes for long has places of its own, so that
it holds up neither what is answered soon nor what looks into the store; health has one that nothing else takes.
"""

from dataclasses import dataclass, field
from typing import Final

from anyio import CapacityLimiter

THREADS: Final = 8
"""What looks into the store, reads and writes: it waits for the database more than it computes."""
ANSWERS: Final = 4
"""Single questions of what is stored: each bounded, and on a database that is far away waiting half of its time."""
INLINE: Final = 1
"""Questions that take nothing from the store: a second thread answers none the sooner, and the loop waits for both."""
SEARCHES: Final = 2
"""Plans, selections and matrices: each computes all the time it takes."""
LISTS: Final = 1
"""Lists of what to measure: over every mounting, the longest work that only reads, so that one is made at a time."""
HEALTH: Final = 1


@dataclass(frozen=True, slots=True)
class Threads:
    """Places for the work of one service, beside the `THREADS` that all else has."""

    answers: CapacityLimiter = field(default_factory=lambda: CapacityLimiter(ANSWERS))
    inline: CapacityLimiter = field(default_factory=lambda: CapacityLimiter(INLINE))
    searches: CapacityLimiter = field(default_factory=lambda: CapacityLimiter(SEARCHES))
    lists: CapacityLimiter = field(default_factory=lambda: CapacityLimiter(LISTS))
    health: CapacityLimiter = field(default_factory=lambda: CapacityLimiter(HEALTH))
