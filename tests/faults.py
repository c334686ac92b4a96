"""The n-th call of a program to its database or its files fails, for tests that try every n."""

import errno
import fcntl
import io
import os
import sqlite3
from collections.abc import Callable
from typing import Any

import pyarrow as pa
import pytest
from sqlalchemy import event
from sqlalchemy.exc import OperationalError

from fitsvc.store.database import Database


class Faults:
    """Counts calls, and fails the one that is asked to: of a database each statement and each commit is one."""

    def __init__(self) -> None:
        self.at, self.calls = 0, 0

    def fail(self, at: int) -> None:
        """Let a call fail, counted from now on; none for 0."""
        self.at, self.calls = at, 0

    def fired(self) -> bool:
        """Whether it has failed; from now on none does."""
        found = 0 < self.at <= self.calls
        self.at = 0
        return found

    def call(self, *_: object) -> None:
        """Count a call, and fail if it is the one."""
        self.calls += 1
        if self.at and self.calls == self.at:
            raise self.error()

    def error(self) -> Exception:
        """What a driver says of a disk, or a line, that does not work."""
        return OperationalError("a statement", None, sqlite3.OperationalError("disk I/O error"))


def of_database(database: Database, monkeypatch: pytest.MonkeyPatch) -> Faults:
    """Let statements and commits fail before they are done; a transaction whose commit failed is left open."""
    faults, dialect = Faults(), database._engine.dialect
    commit: Callable[[Any], None] = dialect.do_commit

    def refused(connection: Any) -> None:
        faults.call()
        commit(connection)

    event.listen(database._engine, "before_cursor_execute", faults.call)
    monkeypatch.setattr(dialect, "do_commit", refused)
    return faults


def of_replies(database: Database, monkeypatch: pytest.MonkeyPatch) -> Faults:
    """Let the reply to a commit be lost: it is done, and whoever asked hears of a fault."""
    faults, dialect = Faults(), database._engine.dialect
    commit: Callable[[Any], None] = dialect.do_commit

    def lost(connection: Any) -> None:
        commit(connection)
        faults.call()

    monkeypatch.setattr(dialect, "do_commit", lost)
    return faults


def of_connections(database: Database, monkeypatch: pytest.MonkeyPatch) -> Faults:
    """Let connections fail to be made: each that is needed is a new one, as where none outlives its use."""
    faults = Faults()
    event.listen(database._engine, "checkin", lambda _, record: record.invalidate())
    event.listen(database._engine, "do_connect", faults.call)
    database._engine.dispose()
    return faults


def of_files(monkeypatch: pytest.MonkeyPatch, pieces: bool = False) -> Faults:
    """Let files fail: to be opened, made, locked, brought to the disk and renamed, as on a disk that is full.

    With `pieces` each piece that is read of one or written to it may fail too.
    """

    class Full(Faults):
        def error(self) -> Exception:
            return OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    faults = Full()

    def watched(real: Callable[..., Any]) -> Callable[..., Any]:
        def called(*given: Any, **named: Any) -> Any:
            faults.call()
            return real(*given, **named)

        return called

    places = [(os, name) for name in ("open", "mkdir", "fsync", "rename", "replace")]
    for owner, name in (*places, (fcntl, "flock"), (pa, "OSFile"), (pa, "memory_map")):
        monkeypatch.setattr(owner, name, watched(getattr(owner, name)))
    monkeypatch.setattr(io, "open", watched(in_pieces(faults) if pieces else io.open))
    return faults


def in_pieces(faults: Faults) -> Callable[..., Any]:
    """Return what opens files as `io.open` does, whose pieces each count as a call."""
    plain = io.open

    class Pieces(io.FileIO):
        def write(self, data: Any, /) -> int:
            faults.call()
            return super().write(data)

        def readinto(self, into: Any, /) -> int:
            faults.call()
            return super().readinto(into)

        def readall(self) -> bytes:
            faults.call()
            return super().readall()

    def opened(file: Any, mode: str = "r", buffering: int = -1, *text: Any, **named: Any) -> Any:
        if "+" in mode or buffering != -1:
            return plain(file, mode, buffering, *text, **named)
        raw = Pieces(file, mode.translate({ord("b"): None, ord("t"): None}))
        buffered = io.BufferedReader(raw) if "r" in mode else io.BufferedWriter(raw)
        return buffered if "b" in mode else io.TextIOWrapper(buffered, *text, **named)

    return opened
