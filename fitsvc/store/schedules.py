"""Audits every day at a time of day: when each is due, who makes its run, and whom that is to be told.

A run is made by whoever moves its schedule's next time on, in the same transaction: of any number of servers one. What
a run came to is written down together with a notice for each address, so that none is ever forgotten.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import Final
from zoneinfo import ZoneInfo

from sqlalchemy import ColumnElement, CursorResult, Update, delete, func, or_, update
from sqlmodel import Session, col, select

from fitsvc.document import Document
from fitsvc.store.errors import Conflict, NotFound, shown
from fitsvc.store.records import beyond
from fitsvc.store.tables import ADDRESS, KEY, LABEL, NAME, Notice, Schedule, ScheduledRun, now
from fitsvc.store.validation import Checks, new_id, page_size
from fitsvc.store.webhooks import HELD_FOR, LONGEST_PAUSE, MOST_ATTEMPTS, pause_after
from fitsvc.subjects import storable
from fitsvc.tongues import t

LATE: Final = timedelta(minutes=10)
"""How much later than it was due a run still counts as in time: longer than a server takes to start anew."""
MOST_SCHEDULES: Final = 200
"""Suppliers that are audited nightly, one after the other: more do not get through a night."""
KEPT_RUNS: Final = 400
"""Runs of a schedule that are kept, a year and some."""
ENDED: Final = ("finished", "failed", "interrupted", "cancelled", "refused", "missing", "skipped")
"""What a run can come to."""
RUN_STATES: Final = ("waiting", "running", *ENDED)
_UNDER_WAY: Final = ("waiting", "running")
_AT: Final = re.compile(r"(?:[01][0-9]|2[0-3]):[0-5][0-9]")
_FARTHEST: Final = timedelta(days=2)
"""Farther off than any next time: what is due later comes of a clock that was set back."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Planned:
    """A schedule as it is made: whose file is audited, at which time of day in which time zone, and who says so."""

    supplier: str
    file: str
    at: str
    zone: str = "UTC"
    claims: str = ""
    language: str = "en"
    created_by: str = ""


@dataclass(frozen=True, slots=True)
class RunPlace:
    """A run with its schedule."""

    schedule: Schedule
    run: ScheduledRun


def due_after(at: str, zone: str, instant: datetime) -> datetime:
    """Return the first time after an instant at which a time of day comes in a time zone.

    It comes once on each of its days: where the clock goes forward over it as late as that is, where it goes back the
    first time.
    """
    where = zone_of(zone)
    day = instant.astimezone(where).date() - timedelta(days=1)
    while (found := _on(day, at, where)) <= instant:
        day += timedelta(days=1)
    return found


def missed_by(at: str, zone: str, due: datetime, instant: datetime) -> int:
    """Return how many times a time of day has passed unused at an instant, from one that was due on, that included."""
    last = instant - LATE
    if due >= last:
        return 0
    where = zone_of(zone)
    day = last.astimezone(where).date()
    return (day - due.astimezone(where).date()).days + (_on(day, at, where) < last)


def zone_of(name: str) -> tzinfo:
    """Return a time zone by its name; ValueError where there is none."""
    if name == "UTC":
        return UTC
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        raise ValueError(name) from None


def _on(day: date, at: str, where: tzinfo) -> datetime:
    return datetime.combine(day, time.fromisoformat(at), where).astimezone(UTC)


def create_schedule(session: Session, planned: Planned, instant: datetime | None = None) -> Schedule:
    """Keep a schedule, due the next time that its time of day comes; InvalidValue, or Conflict where there are enough.

    Of its file no more is looked at than that it is a text.
    """
    checks = Checks()
    checks.text("/supplier", planned.supplier, NAME, required=True)
    checks.text("/file", planned.file, ADDRESS, required=True)
    checks.text("/claims", planned.claims, ADDRESS)
    if not isinstance(planned.at, str) or not _AT.fullmatch(planned.at):
        told = shown(str(planned.at))
        checks.refuse("/at", t("`{told}` is no time of day: expected one of 24 hours, such as `02:00`", told=told))
    if not isinstance(planned.zone, str) or len(planned.zone) > KEY or not _is_zone(planned.zone):
        what = shown(str(planned.zone))
        told = t("`{told}` is no time zone: expected `UTC`, or a place such as `Europe/Berlin`", told=what)
        checks.refuse("/zone", told, "implausible")
    checks.finish()
    if session.exec(select(func.count()).select_from(Schedule)).one() >= MOST_SCHEDULES:
        told = t("there are {most} schedules, and no more are kept: end one that is not needed", most=MOST_SCHEDULES)
        raise Conflict(told)
    made = Schedule(
        id=new_id("schedule"),
        supplier=planned.supplier,
        file=planned.file,
        claims=planned.claims,
        at=planned.at,
        zone=planned.zone,
        language=planned.language,
        created_by=planned.created_by,
        due_at=due_after(planned.at, planned.zone, instant or now()),
    )
    session.add(made)
    session.flush()
    return made


def _is_zone(name: str) -> bool:
    try:
        zone_of(name)
    except ValueError:
        return False
    return True


def get_schedule(session: Session, key: str) -> Schedule:
    """Return one schedule, or raise NotFound."""
    found = session.get(Schedule, key) if storable(key) else None
    if found is None:
        raise NotFound("schedule", key)
    return found


def list_schedules(session: Session, *, after: str | None = None) -> Sequence[Schedule]:
    """Return the schedules in the order of their ids, of which there are not many; `after` is the last id seen."""
    return session.exec(select(Schedule).where(beyond(col(Schedule.id), after)).order_by(col(Schedule.id))).all()


def delete_schedule(session: Session, key: str) -> None:
    """Let go of a schedule, its runs and what is still to be told of them; the audits stay. NotFound."""
    session.delete(get_schedule(session, key))
    session.flush()


def newest_runs(
    session: Session, key: str, *, before: int | None = None, limit: int = 100
) -> Sequence[tuple[ScheduledRun, Sequence[Notice]]]:
    """Return runs of a schedule, the newest first, each with its notices; `before` is the last sequence seen."""
    query = select(ScheduledRun).where(ScheduledRun.schedule_id == key).limit(page_size(limit))
    if before is not None:
        query = query.where(col(ScheduledRun.sequence) < before)
    runs = session.exec(query.order_by(col(ScheduledRun.sequence).desc())).all()
    told = select(Notice).where(col(Notice.run).in_([one.sequence for one in runs])).order_by(col(Notice.address))
    notices = session.exec(told).all()
    return [(one, [notice for notice in notices if notice.run == one.sequence]) for one in runs]


def make_due_runs(session: Session, instant: datetime) -> None:
    """Make the run of each schedule whose time has come, and move its next time on.

    What came and went while no server was there is run once, and counted as missed.
    """
    overdue = or_(col(Schedule.due_at) <= instant, col(Schedule.due_at) > instant + _FARTHEST)
    for one in session.exec(select(Schedule).where(overdue).order_by(col(Schedule.due_at), col(Schedule.id))).all():
        due, following = one.due_at, due_after(one.at, one.zone, instant)
        mine = (col(Schedule.id) == one.id, col(Schedule.due_at) == due)
        if _changed(session, update(Schedule).where(*mine).values(due_at=following)) and due <= instant:
            missed = missed_by(one.at, one.zone, due, instant)
            _make(session, ScheduledRun(schedule_id=one.id, due_at=due, missed=missed, state="waiting"))


def ask_run(session: Session, key: str, by: str) -> ScheduledRun:
    """Have a schedule run now, out of its time; NotFound, or Conflict where a run is under way already."""
    get_schedule(session, key)
    under = (ScheduledRun.schedule_id == key, col(ScheduledRun.state).in_(_UNDER_WAY))
    if session.exec(select(ScheduledRun.sequence).where(*under).limit(1)).first() is not None:
        raise Conflict(t("a run of it is under way; see what comes of it first"))
    return _make(session, ScheduledRun(schedule_id=key, due_at=now(), asked_by=by, state="waiting"))


def _make(session: Session, run: ScheduledRun) -> ScheduledRun:
    session.add(run)
    session.flush()
    seen = select(ScheduledRun.sequence).where(ScheduledRun.schedule_id == run.schedule_id)
    newest = session.exec(seen.order_by(col(ScheduledRun.sequence).desc()).offset(KEPT_RUNS).limit(1)).first()
    if newest is not None:
        old = (col(ScheduledRun.schedule_id) == run.schedule_id, col(ScheduledRun.sequence) <= newest)
        session.execute(delete(ScheduledRun).where(*old))
    return run


def runs_under_way(session: Session) -> Sequence[RunPlace]:
    """Return all runs that have not ended, each with its schedule: those at work first, then the oldest."""
    query = select(ScheduledRun, Schedule).join(Schedule, col(Schedule.id) == col(ScheduledRun.schedule_id))
    query = query.where(col(ScheduledRun.state).in_(_UNDER_WAY))
    found = session.exec(query.order_by(col(ScheduledRun.state), col(ScheduledRun.sequence))).all()
    return [RunPlace(schedule, run) for run, schedule in found]


def begin_run(session: Session, run: ScheduledRun, audit: str) -> bool:
    """Note that a run is at work as an audit; false where it waits no more."""
    mine = (col(ScheduledRun.sequence) == run.sequence, col(ScheduledRun.state) == "waiting")
    return _changed(session, update(ScheduledRun).where(*mine).values(state="running", audit=audit))


def end_run(session: Session, run: ScheduledRun, state: str, told: Document, addresses: Iterable[str]) -> bool:
    """Keep what a run came to, and that each address is to be told; false where it has ended already."""
    assert state in ENDED
    mine = (col(ScheduledRun.sequence) == run.sequence, col(ScheduledRun.state).in_(_UNDER_WAY))
    if not _changed(session, update(ScheduledRun).where(*mine).values(state=state, told=told, ended_at=now())):
        return False
    assert run.sequence is not None
    session.add_all([Notice(run=run.sequence, address=one) for one in dict.fromkeys(addresses)])
    session.flush()
    return True


def finished_before(session: Session, run: ScheduledRun) -> Sequence[ScheduledRun]:
    """Return the runs of the same schedule that were finished before one, the last first."""
    query = select(ScheduledRun).where(
        ScheduledRun.schedule_id == run.schedule_id,
        ScheduledRun.state == "finished",
        col(ScheduledRun.sequence) < run.sequence,
    )
    return session.exec(query.order_by(col(ScheduledRun.sequence).desc())).all()


def due_notice(session: Session, address: str, instant: datetime) -> tuple[Notice, ScheduledRun] | None:
    """Return the oldest notice that an address is to be told now, with its run; None where there is none.

    A pause that is twice as long as any comes of a clock that was set back, and is over.
    """
    due = or_(col(Notice.due_at) <= instant, col(Notice.due_at) > instant + 2 * LONGEST_PAUSE)
    open_ = (Notice.address == address, col(Notice.told_at).is_(None), col(Notice.attempts) < MOST_ATTEMPTS, due)
    query = select(Notice, ScheduledRun).join(ScheduledRun, col(ScheduledRun.sequence) == col(Notice.run))
    return session.exec(query.where(*open_).order_by(col(Notice.run)).limit(1)).first()


def hold_notice(session: Session, notice: Notice) -> bool:
    """Take the turn to tell a notice; false where another server has it, or has told it since it was read."""
    at = now()
    held = col(Notice.held_until)
    free = or_(held.is_(None), held <= at, held > at + 2 * HELD_FOR)
    same = (*_is(notice), col(Notice.attempts) == notice.attempts, col(Notice.told_at).is_(None), free)
    return _changed(session, update(Notice).where(*same).values(held_until=at + HELD_FOR))


def note_notice(session: Session, notice: Notice, failure: str) -> int:
    """Keep how an attempt went, which was taken when there is no failure; returns how many have failed."""
    attempts = notice.attempts + bool(failure)
    fields: dict[str, object] = {"held_until": None, "failure": failure[:LABEL], "attempts": attempts}
    fields |= {"due_at": now() + pause_after(attempts)} if failure else {"told_at": now()}
    session.execute(update(Notice).where(*_is(notice)).values(**fields))
    return attempts


def _is(notice: Notice) -> tuple[ColumnElement[bool], ColumnElement[bool]]:
    return col(Notice.run) == notice.run, col(Notice.address) == notice.address


def _changed(session: Session, statement: Update) -> bool:
    done = session.execute(statement)
    assert isinstance(done, CursorResult)
    return bool(done.rowcount == 1)
