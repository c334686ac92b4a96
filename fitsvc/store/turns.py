"""How many of one process write to its database at the same time: the others wait for their turn here.

A SQLite file takes one writer at a time, and who finds it taken looks again every few milliseconds; on PostgreSQL each
waits for the server. Many at once then mostly take the interpreter from each other, and all of them together get
through less than a few do. A turn is taken by the first change of a transaction and given back with its connection;
who waits for one that a long transaction has goes on without, as if there were none.
"""

from threading import BoundedSemaphore
from typing import Any, Final

from sqlalchemy import event
from sqlalchemy.engine import Connection, Engine
from sqlalchemy.pool import ConnectionPoolEntry

SECONDS: Final = 0.2
"""How long somebody waits for a turn: as long as some hundred statements take."""
_CHANGES: Final = ("INSERT", "UPDATE", "DELETE")
_LOCKS: Final = "FOR UPDATE"
_HELD: Final = "turn"
"""Under what name a connection keeps whose turn it has."""


class Turns:
    """The turns to write by one engine, of so many at once."""

    def __init__(self, engine: Engine, at_once: int, seconds: float = SECONDS) -> None:
        self._free, self._seconds = BoundedSemaphore(at_once), seconds
        event.listen(engine, "before_cursor_execute", self._take)
        event.listen(engine, "checkin", self._give)

    def _take(self, connection: Connection, _: Any, statement: str, *__: Any) -> None:
        """Wait for a turn before the first change of a transaction."""
        if not statement.startswith(_CHANGES) and not statement.endswith(_LOCKS):
            return
        held = connection.info
        if _HELD not in held:
            held[_HELD] = self._free.acquire(timeout=self._seconds)

    def _give(self, _: Any, record: ConnectionPoolEntry) -> None:
        """Give a turn back."""
        if record.info.pop(_HELD, False):
            self._free.release()
