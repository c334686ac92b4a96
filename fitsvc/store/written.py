"""The log of what was written, which is only ever added to; and replies kept for requests that are sent again."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Final, Literal

from sqlalchemy import delete
from sqlmodel import Session, col, select

from fitsvc.document import Document
from fitsvc.store.tables import KeptReply, Written, now
from fitsvc.store.validation import page_size

KEPT_FOR: Final = timedelta(days=1)
"""How long a request may be repeated under its key: longer than anybody goes on trying."""
_MOST_DROPPED: Final = 100
Act = Literal[
    "creates",
    "replaces",
    "deletes",
    "observes",
    "remarks",
    "loads",
    "makes key",
    "revokes key",
    "rotates key",
    "publishes",
    "activates",
    "signs",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Write:
    """Who writes, by the name of a key or the shell's user, and the request it comes in by."""

    by: str
    request: str = ""


def log_write(
    session: Session,
    write: Write,
    act: Act,
    kind: str,
    key: str,
    before: Document | None = None,
    after: Document | None = None,
) -> None:
    """Note a write in the transaction that makes it: what there was, and what there is."""
    line = Written(by=write.by, request=write.request, act=act, kind=kind, key=key, before=before, after=after)
    session.add(line)
    session.flush()


def list_written(session: Session, *, after: int = 0, limit: int = 100) -> Sequence[Written]:
    """Return a page of the log, the oldest first."""
    query = select(Written).where(col(Written.sequence) > after).order_by(col(Written.sequence))
    return session.exec(query.limit(page_size(limit))).all()


def kept_reply(session: Session, by: str, token: str) -> KeptReply | None:
    """Return the reply to an earlier request under a key of its own, unless it was too long ago."""
    found = session.get(KeptReply, (by, token))
    return found if found is not None and found.made_at > now() - KEPT_FOR else None


def keep_reply(session: Session, reply: KeptReply) -> None:
    """Keep a reply in the transaction that it tells of, and drop some that are too old."""
    old = select(KeptReply.by, KeptReply.token).where(col(KeptReply.made_at) <= now() - KEPT_FOR)
    for by, token in session.exec(old.limit(_MOST_DROPPED)).all():
        session.exec(delete(KeptReply).where(col(KeptReply.by) == by, col(KeptReply.token) == token))
    session.add(reply)
    session.flush()
