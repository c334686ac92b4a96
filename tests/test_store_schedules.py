"""When a schedule is due, that one of several servers makes its run, and that nothing of it is forgotten."""

from contextlib import suppress
from datetime import UTC, datetime, timedelta
from threading import Barrier, Thread
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlmodel import col, func, select, update

from fitsvc.store import schedules as store
from fitsvc.store.database import Database
from fitsvc.store.errors import Conflict, InvalidValue, NotFound
from fitsvc.store.schedules import (
    LATE,
    Planned,
    ask_run,
    begin_run,
    create_schedule,
    delete_schedule,
    due_after,
    due_notice,
    end_run,
    finished_before,
    hold_notice,
    list_schedules,
    make_due_runs,
    missed_by,
    newest_runs,
    note_notice,
    runs_under_way,
)
from fitsvc.store.tables import Notice, Schedule, ScheduledRun, now
from fitsvc.store.webhooks import HELD_FOR, LONGEST_PAUSE, MOST_ATTEMPTS

ZONES = ("UTC", "Europe/Berlin", "America/New_York", "Australia/Lord_Howe", "Asia/Kathmandu", "Pacific/Apia")
INSTANTS = st.datetimes(datetime(2009, 1, 1), datetime(2030, 1, 1), timezones=st.just(UTC))  # of a zone
TIMES = st.times().map(lambda one: f"{one:%H:%M}")
NIGHT = datetime(2026, 11, 30, 2, 0, tzinfo=UTC)
TWO = ["https://shop.example/a", "mailto:buyers@shop.example"]


def planned(**told: Any) -> Planned:
    """A schedule of a file, every night at two in UTC unless told otherwise."""
    return Planned(**{"supplier": "thorn", "file": "thorn/list.csv", "at": "02:00", "created_by": "yard"} | told)


def made(database: Database, instant: datetime = NIGHT - timedelta(hours=1), **told: Any) -> str:
    """Keep a schedule, and return its id."""
    with database.session() as session:
        return create_schedule(session, planned(**told), instant).id


def _runs(database: Database, key: str) -> list[tuple[ScheduledRun, Any]]:
    with database.session() as session:
        return list(newest_runs(session, key))


def _due(database: Database, instant: datetime) -> None:
    with database.session() as session:
        make_due_runs(session, instant)


@pytest.mark.parametrize(
    ("at", "zone", "after", "due"),
    [
        ("02:00", "UTC", "2026-11-30T01:59:59+00:00", "2026-11-30T02:00:00+00:00"),
        ("02:00", "UTC", "2026-11-30T02:00:00+00:00", "2026-12-01T02:00:00+00:00"),
        ("02:00", "Europe/Berlin", "2026-07-01T00:00:00+00:00", "2026-07-02T00:00:00+00:00"),
        ("02:00", "Europe/Berlin", "2026-12-01T00:00:00+00:00", "2026-12-01T01:00:00+00:00"),
        # The clock goes from 2:00 to 3:00, so that 2:30 is as late as it would have been; and it goes back over 2:30.
        ("02:30", "Europe/Berlin", "2026-03-28T12:00:00+00:00", "2026-03-29T01:30:00+00:00"),
        ("02:30", "Europe/Berlin", "2026-10-24T12:00:00+00:00", "2026-10-25T00:30:00+00:00"),
        ("02:30", "Europe/Berlin", "2026-10-25T00:30:00+00:00", "2026-10-26T01:30:00+00:00"),
        ("23:30", "Asia/Kathmandu", "2026-11-30T00:00:00+00:00", "2026-11-30T17:45:00+00:00"),
    ],
)
def test_a_time_of_day_comes_when_the_clock_there_shows_it(at: str, zone: str, after: str, due: str) -> None:
    """By the dates on which clocks are changed, as the law there has them."""
    assert due_after(at, zone, datetime.fromisoformat(after)) == datetime.fromisoformat(due)


@given(at=TIMES, zone=st.sampled_from(ZONES), instant=INSTANTS)
def test_it_comes_once_a_day_and_never_at_once(at: str, zone: str, instant: datetime) -> None:
    """What follows is later, on a day of its own, and as the clock shows, but for an hour that the clock leaves out."""
    first = due_after(at, zone, instant)
    second = due_after(at, zone, first)
    assert instant < first < second
    there = [one.astimezone(ZoneInfo(zone)) for one in (first, second)]
    assert first - instant <= timedelta(hours=49), "a country may leave a day out, once"
    assert there[0].date() < there[1].date()
    shown = f"{there[0]:%H:%M}"
    assert shown == at or there[0].utcoffset() != (first - timedelta(hours=3)).astimezone(ZoneInfo(zone)).utcoffset()


@given(at=TIMES, zone=st.sampled_from(ZONES), instant=INSTANTS, days=st.integers(0, 9), minutes=st.integers(0, 1439))
def test_missed_are_the_times_that_passed(at: str, zone: str, instant: datetime, days: int, minutes: int) -> None:
    """As many as are found by going from one to the next, those of the last minutes left out, which are in time."""
    due = due_after(at, zone, instant)
    seen, one, then = 0, due, due + timedelta(days=days, minutes=minutes)
    while one < then - LATE:
        seen, one = seen + 1, due_after(at, zone, one)
    if zone != "Pacific/Apia":  # which left a day out in 2011
        assert missed_by(at, zone, due, then) == seen


def test_a_run_is_made_when_it_is_due_and_once(database: Database) -> None:
    """Not before, not twice for one time, and again the next day."""
    key = made(database)
    _due(database, NIGHT - timedelta(seconds=1))
    assert _runs(database, key) == []
    for _ in range(2):
        _due(database, NIGHT + timedelta(seconds=1))
    ((run, _),) = _runs(database, key)
    assert (run.due_at, run.missed, run.state, run.asked_by) == (NIGHT, 0, "waiting", "")
    with database.session() as session:
        (schedule,) = list_schedules(session)
    assert schedule.due_at == NIGHT + timedelta(days=1)
    _due(database, NIGHT + timedelta(days=1))
    assert [one.due_at for one, _ in _runs(database, key)] == [NIGHT + timedelta(days=1), NIGHT]


def test_what_was_missed_is_run_once_and_counted(database: Database) -> None:
    """Three nights without a server are one run that says so, and the next is the night after."""
    key = made(database)
    _due(database, NIGHT + timedelta(days=2, hours=9))
    ((run, _),) = _runs(database, key)
    assert (run.due_at, run.missed) == (NIGHT, 3)
    with database.session() as session:
        assert list_schedules(session)[0].due_at == NIGHT + timedelta(days=3)


def test_of_several_servers_one_makes_the_run(database: Database) -> None:
    """Eight that find it due at the same moment make one run, and take one turn to tell of it."""
    key, together = made(database), Barrier(8)
    held = list[bool]()

    def at_once(work: Any) -> None:
        def one() -> None:
            together.wait()
            work()

        threads = [Thread(target=one) for _ in range(8)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()

    at_once(lambda: _quietly(lambda: _due(database, NIGHT)))
    ((run, _),) = _runs(database, key)
    with database.session() as session:
        assert end_run(session, run, "finished", {}, TWO[:1])
        assert not end_run(session, run, "failed", {}, TWO[:1]), "what has ended has ended"
        notice, _ = due_notice(session, TWO[0], now()) or (None, None)
    assert notice is not None

    def hold() -> None:
        with database.session() as session:
            held.append(hold_notice(session, notice))

    at_once(lambda: _quietly(hold))
    assert held.count(True) == 1


def _quietly(work: Any) -> None:
    """Do something that a database may refuse while others do the same, which is as good as too late."""
    with suppress(Conflict):
        work()


def test_a_clock_that_was_set_back_holds_nothing_up(database: Database) -> None:
    """What is due in years is due the next time, and is not run for it."""
    key = made(database, NIGHT + timedelta(days=900))
    _due(database, NIGHT)
    assert _runs(database, key) == []
    with database.session() as session:
        assert list_schedules(session)[0].due_at == NIGHT + timedelta(days=1)


def test_a_run_is_asked_for_once_at_a_time(database: Database) -> None:
    """While one is under way another is refused; those at work come before those that wait."""
    key, other = made(database), made(database)
    with database.session() as session:
        waits = ask_run(session, other, "till")
        run = ask_run(session, key, "yard")
        assert (run.asked_by, run.state) == ("yard", "waiting")
    with database.session() as session, pytest.raises(Conflict, match="under way"):
        ask_run(session, key, "yard")
    with database.session() as session:
        assert begin_run(session, run, "aud_one")
        assert not begin_run(session, run, "aud_two")
        places = runs_under_way(session)
    assert [(one.schedule.id, one.run.state) for one in places] == [(key, "running"), (other, "waiting")]
    assert places[1].run.sequence == waits.sequence
    with database.session() as session:
        assert end_run(session, run, "finished", {"why": ""}, [])
        again = ask_run(session, key, "yard")
        assert [one.sequence for one in finished_before(session, again)] == [run.sequence]


def test_each_address_is_told_until_it_takes_it_and_no_longer_than_is_sensible(database: Database) -> None:
    """The oldest first; a failure waits longer and longer, and the last is given up; one address waits for no other."""
    key = made(database)
    runs = []
    for _ in range(2):
        with database.session() as session:
            runs.append(ask_run(session, key, "yard"))
            end_run(session, runs[-1], "missing", {"why": "not there"}, [*TWO, *TWO])

    def due(address: str, at: datetime) -> Notice | None:
        with database.session() as session:
            found = due_notice(session, address, at)
        return found[0] if found else None

    first = due(TWO[0], now())
    assert first is not None and first.run == runs[0].sequence
    with database.session() as session:
        assert hold_notice(session, first)
        assert not hold_notice(session, first)
        note_notice(session, first, "")
    second = due(TWO[0], now())
    assert second is not None and second.run == runs[1].sequence
    for number in range(1, MOST_ATTEMPTS + 1):
        at = now() + number * LONGEST_PAUSE
        notice = due(TWO[0], at)
        assert notice is not None and notice.attempts == number - 1
        with database.session() as session:
            assert note_notice(session, notice, "x" * 1000) == number
        assert due(TWO[0], now()) is None, "there is a pause first"
    assert due(TWO[0], now() + 40 * LONGEST_PAUSE) is None
    other = due(TWO[1], now())
    assert other is not None and (other.run, other.attempts) == (runs[0].sequence, 0)
    with database.session() as session:
        session.execute(update(Notice).values(held_until=now() + HELD_FOR))
        assert not hold_notice(session, other)
        session.execute(update(Notice).values(held_until=now() + 3 * HELD_FOR))
        assert hold_notice(session, other), "so long nobody holds it: the clock was set back"


def test_a_schedule_takes_its_runs_with_it(database: Database) -> None:
    """Nothing of them stays to be told, and another schedule's do."""
    key, other = made(database), made(database)
    with database.session() as session:
        for one in (key, other):
            end_run(session, ask_run(session, one, "yard"), "missing", {}, TWO)
    with database.session() as session:
        delete_schedule(session, key)
    with database.session() as session:
        assert session.exec(select(func.count()).select_from(ScheduledRun)).one() == 1
        assert session.exec(select(func.count()).select_from(Notice)).one() == 2
        with pytest.raises(NotFound):
            delete_schedule(session, key)


def test_runs_and_schedules_are_bounded(database: Database, monkeypatch: pytest.MonkeyPatch) -> None:
    """Of runs the newest are kept, each with its notices, and one schedule more than so many is refused."""
    monkeypatch.setattr(store, "KEPT_RUNS", 3)
    monkeypatch.setattr(store, "MOST_SCHEDULES", 2)
    key, _ = made(database), made(database)
    seen = []
    for _ in range(5):
        with database.session() as session:
            run = ask_run(session, key, "yard")
            end_run(session, run, "missing", {}, TWO)
        seen.append(run.sequence)
    assert [one.sequence for one, notices in _runs(database, key) if len(notices) == 2] == seen[:1:-1]
    with database.session() as session:
        assert {one.run for one in session.exec(select(Notice)).all()} == set(seen[2:])
        before = newest_runs(session, key, before=seen[-1], limit=1)
    assert [one.sequence for one, _ in before] == [seen[-2]]
    with database.session() as session, pytest.raises(Conflict, match="no more are kept"):
        create_schedule(session, planned())


@pytest.mark.parametrize(
    ("told", "field"),
    [
        ({"at": "2:00"}, "/at"),
        ({"at": "24:00"}, "/at"),
        ({"at": "02:60"}, "/at"),
        ({"at": "02:00\n"}, "/at"),
        ({"at": 2}, "/at"),
        ({"zone": "Middle/Earth"}, "/zone"),
        ({"zone": "../../etc/passwd"}, "/zone"),
        ({"zone": "Europe"}, "/zone"),
        ({"zone": ""}, "/zone"),
        ({"zone": None}, "/zone"),
        ({"file": ""}, "/file"),
        ({"file": "a\0b"}, "/file"),
        ({"claims": 3}, "/claims"),
        ({"supplier": " "}, "/supplier"),
    ],
)
def test_what_is_no_schedule_is_refused(database: Database, told: dict[str, Any], field: str) -> None:
    """Each by its field, and nothing is kept."""
    with database.session() as session, pytest.raises(InvalidValue) as caught:
        create_schedule(session, planned(**told))
    assert [one.field for one in caught.value.problems] == [field]
    with database.session() as session:
        assert session.exec(select(Schedule).where(col(Schedule.id) != "")).all() == []
