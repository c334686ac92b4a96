"""Records as people look for them: by words of their labels and keys, and by what is not known of them."""

from collections.abc import Collection, Sequence

from sqlalchemy import ColumnElement, func, or_
from sqlmodel import Session, col, select

from fitsvc.store.records import beyond, key_column, table_of
from fitsvc.store.tables import Accessory, Mounting, Receiver, Record, SavedRig, Vehicle
from fitsvc.store.validation import page_size
from fitsvc.subjects import Subject, storable

MOST_WORDS = 8


def search_records(
    session: Session,
    subject: Subject,
    text: str = "",
    *,
    lacking: str = "",
    sold_as: Collection[str] = (),
    after: str | None = None,
    limit: int = 50,
) -> Sequence[Record]:
    """Return a page of records, ordered by id or SKU, whose label or key has every word of a text in it.

    A mounting is found by its vehicle's and its receiver's labels too. `lacking` is a fact of which nothing is known,
    `sold_as` what an accessory is to be sold as.
    """
    table = table_of(subject)
    query = select(table).where(beyond(key_column(table), after)).order_by(key_column(table)).limit(page_size(limit))
    for word in text.split()[:MOST_WORDS]:
        if not storable(word):
            return []
        query = query.where(_bearing(table, word))
    if sold_as:
        query = query.where(col(Accessory.subject).in_(sold_as))
    if lacking:
        query = query.where(col(table.facts)[lacking].as_string().is_(None))
    return session.exec(query).all()


def search_rigs(session: Session, text: str = "", *, after: str | None = None, limit: int = 50) -> Sequence[SavedRig]:
    """Return a page of saved rigs, ordered by id, whose name or id has every word of a text in it."""
    query = select(SavedRig).where(beyond(col(SavedRig.id), after)).order_by(col(SavedRig.id)).limit(page_size(limit))
    for word in text.split()[:MOST_WORDS]:
        if not storable(word):
            return []
        columns = (col(SavedRig.name), col(SavedRig.id))
        query = query.where(or_(*(column.icontains(word, autoescape=True) for column in columns)))
    return session.exec(query).all()


def count_records(session: Session, subject: Subject) -> int:
    """Return how many records of a kind are stored."""
    return session.exec(select(func.count()).select_from(table_of(subject))).one()


def _bearing(table: type[Record], word: str) -> ColumnElement[bool]:
    """The condition that a word stands in a record's label or key, or of a mounting in the labels of its parts."""
    columns = (col(table.label), key_column(table))
    found = or_(*(column.icontains(word, autoescape=True) for column in columns))
    if table is Mounting:
        for link, part in ((col(Mounting.vehicle_id), Vehicle), (col(Mounting.receiver_id), Receiver)):
            named = select(key_column(part)).where(col(part.label).icontains(word, autoescape=True))
            found |= link.in_(named)
    return found
