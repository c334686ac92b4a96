"""Remarks on rules: what somebody at the counter holds against one, kept for whoever keeps the rules."""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlmodel import Session, col, select

from fitsvc.document import Document
from fitsvc.store.errors import Conflict, NotFound
from fitsvc.store.records import beyond
from fitsvc.store.tables import NAME, NOTE, Remark, now
from fitsvc.store.validation import Checks, new_id, page_size
from fitsvc.subjects import storable
from fitsvc.tongues import t


@dataclass(frozen=True, slots=True, kw_only=True)
class Complaint:
    """A remark as it is made: the rule, the question and what came of it, what is wrong with that, and who says so."""

    rule: str
    text: str
    question: Document | None = None
    outcome: str = ""
    result: str = ""
    reason: str = ""
    by: str = ""
    written_by: str = ""
    digest: str = ""


def create_remark(session: Session, made: Complaint) -> Remark:
    """Keep a remark, and return it; InvalidValue where it says nothing or too much."""
    checks = Checks()
    checks.text("/text", made.text, NOTE, required=True)
    checks.text("/by", made.by, NAME)
    if made.question is not None:
        checks.document("/question", made.question)
    checks.finish()
    remark = Remark(
        id=new_id("remark"),
        rule=made.rule,
        text=made.text,
        question=made.question,
        outcome=made.outcome,
        result=made.result,
        reason=made.reason[:NOTE],
        by=made.by,
        written_by=made.written_by,
        digest=made.digest,
    )
    session.add(remark)
    session.flush()
    return remark


def close_remark(session: Session, key: str, because: str, by: str) -> Remark:
    """Say what came of a remark, once; NotFound, Conflict where that is said already, or InvalidValue."""
    checks = Checks()
    checks.text("/because", because, NOTE, required=True)
    checks.text("/by", by, NAME)
    checks.finish()
    remark = get_remark(session, key)
    if remark.closed_at is not None:
        raise Conflict(t("remark `{key}` is closed already, by {closed_by}", key=key, closed_by=remark.closed_by))
    remark.closed_at, remark.closed_by, remark.closed_because = now(), by, because
    session.add(remark)
    session.flush()
    return remark


def get_remark(session: Session, key: str) -> Remark:
    """Return one remark, or raise NotFound."""
    found = session.get(Remark, key) if storable(key) else None
    if found is None:
        raise NotFound("remark", key)
    return found


def list_remarks(
    session: Session, rule: str | None = None, *, after: str | None = None, limit: int = 100
) -> Sequence[Remark]:
    """Return a page of remarks ordered by id, those on one rule where it is named; `after` is the last id seen."""
    query = select(Remark).order_by(col(Remark.id)).limit(page_size(limit))
    if rule is not None:
        if not storable(rule):
            return []
        query = query.where(Remark.rule == rule)
    return session.exec(query.where(beyond(col(Remark.id), after))).all()


def newest_remarks(
    session: Session, rule: str | None = None, *, closed: bool = False, limit: int = 100
) -> Sequence[Remark]:
    """Return the newest remarks that are open, or closed, the latest first, those on one rule where it is named."""
    query = select(Remark).order_by(col(Remark.made_at).desc(), col(Remark.id)).limit(page_size(limit))
    query = query.where(col(Remark.closed_at).is_not(None) if closed else col(Remark.closed_at).is_(None))
    if rule is not None:
        if not storable(rule):
            return []
        query = query.where(Remark.rule == rule)
    return session.exec(query).all()
