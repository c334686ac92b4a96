"""What a feed told of and lists no more: whose word there is on it beside, and how the feed's own is taken back.

A feed owns what it says. An item that others tell of too stays as they tell it, without what the feed said.
"""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from sqlmodel import Session, col, func, select

from fitsvc.store.folding import taken_back
from fitsvc.store.observations import Entered, observations_of
from fitsvc.store.records import chunks, get_records, withdraw
from fitsvc.store.statements import ALL, Laws
from fitsvc.store.tables import Accessory, Observation

_SUBJECT: Final = "accessory"
_CHUNK: Final = 500
"""Items of which the logs are held at once."""
_DELETES: Final = "deletes"


@dataclass(frozen=True, slots=True)
class Unlisted:
    """A stored item that a feed told of and no longer lists; `shared` is whether somebody else tells of it now."""

    sku: str
    sold_as: str
    shared: bool


def unlisted(session: Session, source: str, listed: Collection[str]) -> Iterator[Unlisted]:
    """The stored items that a feed told of and has no more, in the order of their SKUs.

    Of what the feed took back before, and of an earlier item of the same number, it tells no more.
    """
    mine, others = _told_of(session, source)
    for skus in chunks(sorted(mine.difference(listed)), _CHUNK):
        logs = observations_of(session, _SUBJECT, [sku for sku in skus if sku in others])
        for sku, record in get_records(session, _SUBJECT, skus).items():
            assert isinstance(record, Accessory)
            telling = _telling(logs[sku]) if sku in logs else {source}
            if source in telling:
                yield Unlisted(sku, record.subject, bool(telling - {source}))


def take_back_unlisted(session: Session, source: str, sku: str, laws: Laws) -> list[str]:
    """Take back what a feed published or assumed of an item that it no longer lists; which facts it had told."""
    return withdraw(session, _SUBJECT, sku, source, "its feed no longer lists it", laws)


def _told_of(session: Session, source: str) -> tuple[set[str], set[str]]:
    """The SKUs that a source told of, and those that somebody else did, since they were deleted last.

    What was said before, and the deletion itself, is of another thing that had the number.
    """
    of_item = Observation.subject == _SUBJECT
    newest = func.max(Observation.sequence).label("newest")
    ended = select(Observation.record_id, newest).where(of_item, Observation.act == _DELETES)
    ends = ended.group_by(col(Observation.record_id)).subquery()
    told = select(Observation.record_id, col(Observation.source) == source).where(of_item).distinct()
    told = told.outerjoin(ends, col(Observation.record_id) == ends.c.record_id)
    pairs = session.exec(told.where(col(Observation.sequence) > func.coalesce(ends.c.newest, 0))).all()
    return {sku for sku, own in pairs if own}, {sku for sku, own in pairs if not own}


def _telling(log: Sequence[Entered]) -> set[str]:
    """The sources of which anything said of an item stands, be it that there is such an item; empty is no feed's."""
    dead = taken_back(log)
    return {one.source for one in log if one.act != _DELETES and (one.id, ALL) not in dead and _tells(one, dead)}


def _tells(one: Entered, dead: Collection[tuple[str, str]]) -> bool:
    """Whether an observation tells anything itself: what only takes back does not."""
    stands = any(value is not None and (one.id, name) not in dead for name, value in one.facts.items())
    return stands or bool(one.evidence) or not one.takes_back
