"""What is confirmed to have been stored in a file is on the disk, and many who store at once wait for one flush."""

import os
import sqlite3
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from waiting import LONGEST

from fitsvc.store import database as store
from fitsvc.store.creation import create_record
from fitsvc.store.errors import Unreachable
from fitsvc.store.records import Draft, existing_keys


@pytest.fixture
def stored(tmp_path: Path) -> Iterator[tuple[store.Database, Path]]:
    """A database in a file, with its tables."""
    url = f"sqlite:///{tmp_path / 'told.db'}"
    store.upgrade(url)
    database = store.Database(url)
    yield database, tmp_path / "told.db"
    database.close()


def add(database: store.Database, key: str) -> None:
    """Store a vehicle."""
    with database.session() as session:
        create_record(session, "vehicle", Draft(key=key))


def flushes(monkeypatch: pytest.MonkeyPatch, then: Callable[[], None]) -> list[str]:
    """What is flushed from now on, by the names of the files; each time `then` is done before."""
    flushed, really = list[str](), os.fsync

    def noted(file: int) -> None:
        then()
        really(file)
        flushed.append(Path(f"/proc/self/fd/{file}").resolve().name)

    monkeypatch.setattr("fitsvc.store.flushing.os.fsync", noted)
    return flushed


def test_what_was_committed_is_flushed_before_it_is_confirmed(
    stored: tuple[store.Database, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    """While the log is flushed what it has to keep is committed, and who wrote it waits; reading flushes nothing."""
    (database, file), seen = stored, list[list[str]]()

    def look() -> None:
        with sqlite3.connect(file) as other:
            seen.append([key for (key,) in other.execute("SELECT id FROM vehicle ORDER BY id")])

    flushed = flushes(monkeypatch, look)
    for number, key in enumerate(("veh_1", "veh_2"), 1):
        add(database, key)
        assert flushed == ["told.db-wal"] * number
    assert seen == [["veh_1"], ["veh_1", "veh_2"]]
    with database.session() as session:
        assert existing_keys(session, "vehicle", ["veh_1"])
    assert len(flushed) == 2


def test_what_was_not_committed_is_not_flushed(
    stored: tuple[store.Database, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A transaction that ends in an error keeps nothing, and waits for no disk."""
    flushed = flushes(monkeypatch, lambda: None)
    with pytest.raises(KeyError), stored[0].session() as session:
        create_record(session, "vehicle", Draft(key="veh_1"))
        raise KeyError
    assert not flushed


def test_many_who_write_at_once_wait_for_one_flush(
    stored: tuple[store.Database, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Those who commit while a flush is under way are not covered by it: the next one is for all of them."""
    database, many = stored[0], 12
    under_way, go_on = threading.Event(), threading.Event()

    def hold_the_first() -> None:
        under_way.set()
        assert go_on.wait(LONGEST)

    flushed, told = flushes(monkeypatch, hold_the_first), list[str]()

    def write(number: int) -> None:
        add(database, f"veh_{number}")
        told.append(f"veh_{number}")

    with ThreadPoolExecutor(many + 1) as pool:
        first = pool.submit(write, 0)
        assert under_way.wait(LONGEST)
        others = [pool.submit(write, number) for number in range(1, many)]
        while database._flushed is not None and database._flushed._asked < many:
            threading.Event().wait(0.01)
        assert told == []
        go_on.set()
        for one in (first, *others):
            one.result(LONGEST)
    assert flushed == ["told.db-wal"] * 2
    assert len(told) == many


def test_a_disk_that_keeps_nothing_is_told_to_each(
    stored: tuple[store.Database, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where the log cannot be flushed nothing is confirmed, to nobody who waits; once it can be, writing goes on."""
    database, broken = stored[0], [True]

    def fail() -> None:
        if broken[0]:
            raise OSError(5, "Input/output error")

    flushes(monkeypatch, fail)
    for key in ("veh_1", "veh_2"):
        with pytest.raises(Unreachable, match="does not keep what is written: Input/output error"):
            add(database, key)
    broken[0] = False
    add(database, "veh_3")
