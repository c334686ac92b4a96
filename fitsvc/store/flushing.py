"""What was committed to a SQLite file is on the disk before anybody is told so: many commits by one flush.

A flush takes some milliseconds on many a disk, and is the same for one commit and for a hundred. So SQLite leaves its
log of writes with the system at each commit (`synchronous=NORMAL`), and flushes it only before it takes it into the
file; here the log is flushed before a commit is confirmed, and who commits meanwhile waits for the next flush together
with all others. PostgreSQL does the same by itself.
"""

import os
from pathlib import Path
from sqlite3 import Connection
from threading import Condition
from typing import Final

from sqlalchemy.pool import ConnectionPoolEntry
from sqlmodel import Session

from fitsvc.store.errors import Unreachable

_BEFORE: Final = "changes"
"""Under what name a connection keeps how many rows had been changed on it when it was taken from the pool."""


def note_changes(connection: Connection, record: ConnectionPoolEntry, _: object) -> None:
    """Have a connection of a SQLite file that is taken from the pool know what was changed on it before."""
    record.info[_BEFORE] = connection.total_changes


def has_written(session: Session) -> bool:
    """Whether a session on a SQLite file has changed anything."""
    if not session.in_transaction():
        return False
    taken = session.connection().connection
    driven: object = taken.dbapi_connection
    assert isinstance(driven, Connection)
    return driven.total_changes != int(taken.info[_BEFORE])


class Flushed:
    """A SQLite file's log of writes, and how much of it is on the disk, in commits of this process."""

    def __init__(self, log: Path) -> None:
        self._log, self._changing = log, Condition()
        self._asked, self._done, self._busy = 0, 0, False

    def wait(self) -> None:
        """Return once all that is committed now is on the disk; raises Unreachable where the disk cannot take it."""
        with self._changing:
            self._asked += 1
            mine = self._asked
            while self._busy and self._done < mine:
                self._changing.wait()
            if self._done >= mine:
                return
            self._busy, covered = True, self._asked
        try:
            self._flush()
        except OSError as error:
            covered = 0  # those who wait try it themselves, and are told by their own failure
            raise Unreachable(f"the disk of `{self._log}` does not keep what is written: {error.strerror}") from error
        finally:
            with self._changing:
                self._busy, self._done = False, max(self._done, covered)
                self._changing.notify_all()

    def _flush(self) -> None:
        """Flush the log; where SQLite has taken it in and removed it, the file has all and was flushed by SQLite."""
        try:
            found = os.open(self._log, os.O_RDWR)
        except FileNotFoundError:
            return
        try:
            os.fsync(found)
        finally:
            os.close(found)
