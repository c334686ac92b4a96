"""What was taken of the releases that a source offers, how the last look there went, and whose turn the next one is."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from sqlalchemy import CursorResult, func, or_, update
from sqlmodel import Session, col, select

from fitsvc.store.errors import StoreError
from fitsvc.store.tables import NOTE, Pull, now

HELD_FOR: Final = timedelta(minutes=15)
"""How long one server may be at a source: to fetch, check and compare takes seconds, on a large store some minutes."""
LONGEST_PAUSE: Final = timedelta(days=1)
_LONGEST_AFTER_FAILURES: Final = timedelta(hours=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class TakenRelease:
    """A release that was taken: its rulebook, when it was made, and by what the offer is known again."""

    digest: str
    made_at: datetime
    tag: str = ""
    modified: str = ""


def begin_pull(session: Session, source: str) -> Pull:
    """What is kept of a source, which may be new."""
    found = session.get(Pull, source)
    if found is None:
        found = Pull(source=source)
        session.add(found)
        session.flush()
    return found


def last_pull(session: Session) -> Pull | None:
    """The source that was looked at last, or is to be next; None where nothing was ever pulled."""
    return session.exec(select(Pull).order_by(col(Pull.due_at).desc(), col(Pull.source)).limit(1)).first()


def newest_release(session: Session) -> tuple[datetime | None, str]:
    """When the newest release was made that was taken from any source, and the digest of its rulebook."""
    query = select(Pull.made_at, Pull.digest).where(col(Pull.made_at).is_not(None))
    return session.exec(query.order_by(col(Pull.made_at).desc()).limit(1)).first() or (None, "")


def hold_pull(session: Session, source: str) -> bool:
    """Take the turn to look at a source; false where another server has it, or it is not due yet.

    What is due in more than the longest pause comes of a clock that was set back, and is due now.
    """
    at = now()
    held, due = col(Pull.held_until), col(Pull.due_at)
    free = or_(held.is_(None), held <= at, held > at + 2 * HELD_FOR)
    same = (col(Pull.source) == source, free, or_(due <= at, due > at + LONGEST_PAUSE))
    done = session.execute(update(Pull).where(*same).values(held_until=at + HELD_FOR))
    assert isinstance(done, CursorResult)
    return done.rowcount == 1


def note_taken(session: Session, source: str, taken: TakenRelease) -> None:
    """Keep that a release was taken; StoreError where a newer one was meanwhile."""
    at = now()
    newest = session.exec(select(func.max(Pull.made_at))).one()
    if newest is not None and newest > taken.made_at:
        raise StoreError("another server has taken a newer release meanwhile")
    fields = {"tag": taken.tag, "modified": taken.modified, "digest": taken.digest, "made_at": taken.made_at}
    fields |= {"taken_at": at, "looked_at": at, "due_at": at, "attempts": 0, "failure": ""}
    session.execute(update(Pull).where(col(Pull.source) == source).values(**fields))


def note_unchanged(session: Session, source: str) -> None:
    """Keep that a source offers what it did."""
    at = now()
    fields = {"looked_at": at, "due_at": at, "attempts": 0, "failure": ""}
    session.execute(update(Pull).where(col(Pull.source) == source).values(**fields))


def note_failed_pull(session: Session, source: str, failure: str) -> None:
    """Keep that nothing could be taken, and why."""
    fields = {"attempts": col(Pull.attempts) + 1, "failure": failure[:NOTE], "due_at": now()}
    session.execute(update(Pull).where(col(Pull.source) == source).values(**fields))


def rest(session: Session, source: str, every: timedelta) -> Pull:
    """Give the turn back: the next is after a pause, which grows while nothing can be taken."""
    kept = session.get_one(Pull, source)
    session.refresh(kept)
    longer = min(every * 2 ** min(max(kept.attempts - 1, 0), 10), _LONGEST_AFTER_FAILURES)
    kept.due_at, kept.held_until = now() + min(max(every, longer), LONGEST_PAUSE), None
    session.add(kept)
    session.flush()
    return kept
