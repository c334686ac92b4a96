"""Those of one process who write to a database do so in turn, and who waits for too long goes on without."""

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from threading import Barrier, Event

from sqlalchemy import create_engine
from sqlalchemy.engine import Connection, Engine
from sqlalchemy.pool import QueuePool
from waiting import LONGEST

from fitsvc.store.turns import Turns


@contextmanager
def engine_of(at_once: int, seconds: float) -> Iterator[Engine]:
    """An engine of which each connection has a database of its own: nothing but turns holds up anybody."""
    engine = create_engine("sqlite://", poolclass=QueuePool)
    Turns(engine, at_once, seconds)
    try:
        yield engine
    finally:
        engine.dispose()


def write(engine: Engine, then: Callable[[Connection], object], before: Callable[[], object] = bool) -> None:
    """Write something in a transaction, and do something else in it."""
    with engine.connect() as connection:
        connection.exec_driver_sql("CREATE TABLE IF NOT EXISTS told (number)")
        before()
        connection.exec_driver_sql("INSERT INTO told VALUES (1)")
        then(connection)
        connection.rollback()


def test_who_writes_waits_until_the_one_before_has_ended() -> None:
    """The other reads meanwhile, and writes once the first has given its connection back."""
    order, waits = list[str](), Event()

    def first(_: Connection) -> None:
        others.append(pool.submit(write, engine, lambda _: order.append("second"), waits.set))
        assert waits.wait(LONGEST)
        waits.wait(0.05)  # as long as it might take the other to write, if it did not wait
        order.append("first")

    with engine_of(1, LONGEST) as engine, ThreadPoolExecutor(1) as pool:
        others = list[object]()
        write(engine, first)
    assert order == ["first", "second"]


def test_as_many_write_at_once_as_there_are_turns() -> None:
    """Two who each wait for the other to have written both have."""
    both = Barrier(2)
    with engine_of(2, LONGEST) as engine, ThreadPoolExecutor(2) as pool:
        for one in [pool.submit(write, engine, lambda _: both.wait(LONGEST)) for _ in range(2)]:
            one.result()


def test_who_waits_too_long_goes_on_without_and_gives_back_nothing() -> None:
    """A turn that somebody has for long holds up nobody; later there are as many turns as before, and no more."""
    wrote = list[int]()

    def within(_: Connection) -> None:
        write(engine, lambda _: wrote.append(2))
        wrote.append(1)

    with engine_of(1, 0.0) as engine:
        for _ in range(2):
            write(engine, within)
    assert wrote == [2, 1, 2, 1]
