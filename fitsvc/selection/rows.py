"""The store's accessories as plain rows, read many at a time without an object for each."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from hashlib import blake2b
from typing import Any, Final, NamedTuple

from sqlalchemy import Text, cast
from sqlmodel import Session, col, select

from fitsvc.store.records import chunks
from fitsvc.store.tables import Accessory, Observation

SUBJECT: Final = "accessory"
_PAGE: Final = 20_000
_MOST_KEYS: Final = 500


class StoredAccessory(NamedTuple):
    """An accessory as it is stored: its facts are JSON, and `mark` tells it from what it was before."""

    sku: str
    label: str
    facts: str
    mark: int


def all_rows(session: Session) -> Iterator[list[StoredAccessory]]:
    """Give all accessories in pages, in the order of their SKUs."""
    query, after = _query().order_by(col(Accessory.sku)).limit(_PAGE), ""
    while found := [_row(*one) for one in session.connection().execute(query.where(col(Accessory.sku) > after))]:
        yield found
        after = found[-1].sku


def rows_of(session: Session, skus: Sequence[str]) -> list[StoredAccessory]:
    """Return those of some SKUs that are accessories, as they are now."""
    pages = (_query().where(col(Accessory.sku).in_(some)) for some in chunks(skus, _MOST_KEYS))
    return [_row(*one) for page in pages for one in session.connection().execute(page)]


def observation_id(session: Session, sequence: int) -> str | None:
    """Return the id of the observation with a number: two stores with different pasts have different ones."""
    return session.exec(select(Observation.id).where(Observation.sequence == sequence)).one_or_none()


def _query() -> Any:
    facts = cast(col(Accessory.facts), Text)
    columns = (col(Accessory.sku), col(Accessory.label), facts, col(Accessory.version), col(Accessory.created_at))
    return select(*columns).where(Accessory.subject == SUBJECT)  # type: ignore[call-overload]  # of a library that types four columns at most


def _row(sku: str, label: str, facts: str, version: int, created_at: datetime) -> StoredAccessory:
    """A record's row; the sum of the marks of all tells one catalogue from another on any machine."""
    text = f"{sku}\0{version}\0{created_at.isoformat()}"
    return StoredAccessory(sku, label, facts, int.from_bytes(blake2b(text.encode(), digest_size=8).digest()))
