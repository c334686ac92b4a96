"""The records of a store as they were known at an earlier time: folded from what had been entered by then.

What is not kept as statements is as it is now: labels, saved rigs, and which vehicle and receiver a mounting has, which
cannot change once anything was seen of it. A record that has been deleted since is not there.
"""

from collections.abc import Mapping, Sequence
from datetime import datetime
from functools import partial
from typing import Final

from sqlmodel import Session

from fitsvc.answers.records import Stored
from fitsvc.caching import LruCache
from fitsvc.document import Document, Json
from fitsvc.inventory.stored import FindVehicles, StoreRecords, stored_rig, stored_so
from fitsvc.store.errors import NotFound
from fitsvc.store.folding import CurrentFacts, current_facts
from fitsvc.store.observations import SOLD_AS, Entered, all_observations, ground_of, kept_as, law_of, tried_in
from fitsvc.store.records import find_mountings, get_record
from fitsvc.store.rigs import get_rig, told_rig
from fitsvc.store.statements import Laws
from fitsvc.store.tables import Act, Record, ToldOf
from fitsvc.subjects import RIG, stored_as

_MOST_KNOWN: Final = 1_000
"""Records whose facts of then are kept while one question is answered: those of all rigs that a feed compares."""
DELETES: Final[Act] = "deletes"
"""What the statement does that closes the log of what is deleted."""


class EarlierRecords(StoreRecords):
    """The records of one session as of a time, for `read_question`."""

    earlier = True

    def __init__(self, session: Session, laws: Laws, as_of: datetime, vehicles: FindVehicles | None = None) -> None:
        super().__init__(session, vehicles)
        self._laws, self.as_of = laws, as_of
        self._known = LruCache[tuple[str, str], CurrentFacts](_MOST_KNOWN)

    def find(self, subject: str, key: str) -> Stored | None:
        """The record under an id or SKU as it was known then, or None where it was not stored yet."""
        try:
            record = get_record(self._session, stored_as(subject), key)
        except NotFound:
            return None
        return self._stored(subject, record)

    def keys_near(self, subject: str, key: str) -> list[str]:
        """The ids or SKUs that were stored then next to one that was not: no later one is meant."""
        stored = self.rig if subject == RIG else partial(self.find, subject)
        return [one for one in super().keys_near(subject, key) if stored(one) is not None]

    def mountings(self, vehicle: str | None, receiver: str) -> list[Stored]:
        """The mountings of a receiver on a vehicle, or whichever, that were stored then."""
        found = [self._stored("mounting", one) for one in find_mountings(self._session, vehicle, receiver)]
        return [one for one in found if one is not None]

    def rig(self, key: str) -> Mapping[str, Json] | None:
        """A saved rig's document as it is now, with what had been told of it; None where it was not saved yet."""
        try:
            rig = get_rig(self._session, key)
        except NotFound:
            return None
        if rig.created_at > self.as_of:
            return None
        known = self.known_then(rig)
        return told_rig(rig.document, known.facts, known.provenance)

    def rig_told(self, key: str) -> Stored:
        """What had been told of a saved rig by then."""
        rig = get_rig(self._session, key)
        return stored_rig(rig, self.known_then(rig))

    def deleted(self, sku: str) -> Stored | None:
        """What was known of what has been deleted under a SKU since, without its label; None where nothing was there.

        KeyError where what it was sold as is not kept, as of what an earlier version deleted.
        """
        every = all_observations(self._session, "accessory", sku)
        said = _by_then(every, self.as_of)
        closing = next((one for one in every[len(said) :] if one.act == DELETES), None)
        if closing is None or not said or said[-1].act == DELETES:
            return None
        subject = str((closing.ground or {})[SOLD_AS])
        known = current_facts(said, self._laws(subject))
        return Stored(subject=subject, key=sku, label="", facts=known.facts)

    def _stored(self, subject: str, record: Record) -> Stored | None:
        if record.created_at > self.as_of:
            return None
        return stored_so(subject, record, self.known_then(record))

    def known_then(self, record: ToldOf) -> CurrentFacts:
        """What was known of a record then, folded once for all rigs that have it."""
        key = (kept_as(record), record.key)
        return self._known.get(key, lambda: self._folded(record))

    def _folded(self, record: ToldOf) -> CurrentFacts:
        said = self._told_then(record)
        return current_facts(said, law_of(record, self._laws), self.ground(record, said))

    def ground(self, record: ToldOf, said: Sequence[Entered]) -> Document:
        """What a record's facts leant on then, of which so much had been entered."""
        return ground_of(
            self._session, record, tried_in(said), lambda other: self.known_then(other).facts, self._told_then
        )

    def _told_then(self, record: ToldOf) -> Sequence[Entered]:
        return told_by(self._session, record, self.as_of)


def known_then(session: Session, laws: Laws, record: ToldOf, as_of: datetime) -> CurrentFacts:
    """What was known of a record by what had been entered by then, of it and of what it leans on."""
    return EarlierRecords(session, laws, as_of).known_then(record)


def told_by(session: Session, record: ToldOf, as_of: datetime) -> Sequence[Entered]:
    """What had been entered of a record by then, with all that was entered before it: a clock may have been ahead."""
    return _by_then(all_observations(session, kept_as(record), record.key), as_of)


def _by_then(said: Sequence[Entered], as_of: datetime) -> Sequence[Entered]:
    return said[: max((count for count, one in enumerate(said, 1) if one.recorded_at <= as_of), default=0)]


def ground_then(
    session: Session, laws: Laws, record: ToldOf, said: Sequence[Entered], as_of: datetime
) -> Mapping[str, Json]:
    """What a record's facts leant on then."""
    return EarlierRecords(session, laws, as_of).ground(record, said)
