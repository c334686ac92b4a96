"""How far each address has been told what changed, and whose turn it is to tell it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from sqlalchemy import CursorResult, or_, update
from sqlmodel import Session, col, select

from fitsvc.store.tables import LABEL, Webhook, now

HELD_FOR: Final = timedelta(minutes=1)
"""How long one server may be at an address: longer than an attempt takes, so that two tell it the same but seldom."""
MOST_ATTEMPTS: Final = 10
"""With their pauses some three hours: what is not up again by then has somebody to look after it."""
_FIRST_PAUSE: Final = 5.0
LONGEST_PAUSE: Final = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class ToldUpTo:
    """How far somebody has been told: a revision of the store, and the digest of a rulebook."""

    revision: int
    rulebook: str


def list_webhooks(session: Session) -> Sequence[Webhook]:
    """Return every address that was ever told, in order."""
    return session.exec(select(Webhook).order_by(col(Webhook.address))).all()


def begin_webhook(session: Session, address: str, at: ToldUpTo) -> Webhook:
    """Return what is kept of an address; one that is new is told what changes from now on."""
    found = session.get(Webhook, address)
    if found is None:
        found = Webhook(address=address, revision=at.revision, rulebook=at.rulebook)
        session.add(found)
        session.flush()
    return found


def is_due(hook: Webhook, revision: int, at: datetime) -> bool:
    """Whether an address is to be told now: not before a pause is over, and when given up not before a new change.

    A pause that is twice as long as any comes of a clock that was set back, and is over; two servers'
    clocks differ by less.
    """
    if hook.attempts >= MOST_ATTEMPTS and revision <= hook.tried:
        return False
    return hook.due_at <= at or hook.due_at > at + 2 * LONGEST_PAUSE


def hold_webhook(session: Session, hook: Webhook) -> bool:
    """Take the turn to tell an address; false where another server has it, or has told it since it was read.

    A turn that lasts twice as long as any comes of a clock that was set back, and is over.
    """
    at = now()
    free = or_(
        col(Webhook.held_until).is_(None), col(Webhook.held_until) <= at, col(Webhook.held_until) > at + 2 * HELD_FOR
    )
    same = (col(Webhook.address) == hook.address, col(Webhook.revision) == hook.revision, free)
    done = session.execute(update(Webhook).where(*same).values(held_until=at + HELD_FOR))
    assert isinstance(done, CursorResult)
    return done.rowcount == 1


def note_told(session: Session, address: str, upto: ToldUpTo, at: datetime | None) -> None:
    """Keep that an address has been told; without an instant, that there was nothing to tell."""
    fields = {"revision": upto.revision, "rulebook": upto.rulebook, "tried": upto.revision, "attempts": 0}
    fields |= {"failure": "", "due_at": now(), "held_until": None} | ({"told_at": at} if at else {})
    session.execute(update(Webhook).where(col(Webhook.address) == address).values(**fields))


def pause_after(attempts: int) -> timedelta:
    """Return how long an address that has failed so many times in a row is left alone."""
    return min(timedelta(seconds=_FIRST_PAUSE * 2.0 ** (attempts - 1)), LONGEST_PAUSE)


def note_failure(session: Session, address: str, tried: ToldUpTo, failure: str) -> int:
    """Keep that an attempt failed, and when the next is due; returns how many have failed in a row."""
    hook = session.get_one(Webhook, address)
    hook.attempts = 1 if hook.attempts >= MOST_ATTEMPTS else hook.attempts + 1
    hook.due_at, hook.held_until = now() + pause_after(hook.attempts), None
    hook.tried, hook.failure = tried.revision, failure[:LABEL]
    session.add(hook)
    session.flush()
    return hook.attempts
