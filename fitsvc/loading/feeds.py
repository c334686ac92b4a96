"""What a feed told of and lists no more, and whose word there is on it beside."""

from collections.abc import Collection, Iterator, Sequence
from typing import Final

from sqlmodel import Session, col, func, select

from fitsvc.store.folding import taken_back
from fitsvc.store.observations import Entered, observations_of
from fitsvc.store.records import chunks, get_records
from fitsvc.store.statements import ALL
from fitsvc.store.tables import Observation

_SUBJECT: Final = "accessory"
_CHUNK: Final = 500
"""Items of which the logs are held at once."""
_DELETES: Final = "deletes"


def unlisted(session: Session, source: str, listed: Collection[str]) -> Iterator[tuple[str, bool]]:
    """The stored items that a feed told of and has no more, by SKU, and whether somebody else tells of each now.

    Of what the feed took back before, and of an earlier item of the same number, it tells no more.
    """
    mine, others = _told_of(session, source)
    for skus in chunks(sorted(mine.difference(listed)), _CHUNK):
        logs = observations_of(session, _SUBJECT, [sku for sku in skus if sku in others])
        for sku in get_records(session, _SUBJECT, skus):
            telling = _telling(logs[sku]) if sku in logs else {source}
            if source in telling:
                yield sku, bool(telling - {source})


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
