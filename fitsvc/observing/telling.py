"""Many statements taken in one transaction: each record is locked and read once, and folded once at the end.

Only what states facts goes this way. What takes back, corrects, settles or was tried is recorded one by one, after what
was told before it.
"""

from collections.abc import Iterable, Mapping, Sequence

from sqlmodel import Session

from fitsvc.document import Document, Json
from fitsvc.facts import FactReader
from fitsvc.observing.evidence import Contradiction, contradictions
from fitsvc.observing.law import laws_of
from fitsvc.store.creation import insert_rows
from fitsvc.store.errors import Conflict, NotFound
from fitsvc.store.folding import current_facts, standing, told_in
from fitsvc.store.observations import (
    MOST_SAID,
    Entered,
    Provenance,
    ground_of,
    law_of,
    leant_on,
    observation_row,
    observations_of,
    sold_as,
    told_before,
    tried_in,
)
from fitsvc.store.records import lock_records, tell_leaning_on
from fitsvc.store.statements import RANK, SEEN, Said
from fitsvc.store.tables import Observation, Record, now
from fitsvc.store.validation import Checks
from fitsvc.subjects import Subject
from fitsvc.tongues import t


class RecordLog:
    """One locked record, with all that was said of it."""

    def __init__(self, session: Session, reader: FactReader, record: Record, earlier: Sequence[Entered]) -> None:
        self.record = record
        self._stored, self._new = earlier, list[Entered]()
        self.law = law_of(record, laws_of(reader))
        self.ground = ground_of(session, record, tried_in(earlier))
        self._known = reader.subjects[sold_as(record)]
        self._stands: dict[str, list[Said]] | None = None
        self._folded = 0

    def tell(self, row: Document) -> list[Contradiction]:
        """Add a statement, and return what cannot hold beside it; raises Conflict where it has too many."""
        if len(self._stored) + len(self._new) >= MOST_SAID:
            raise Conflict(
                t(
                    "`{key}` has {MOST_SAID} observations, as many as are kept of one record",
                    key=self.record.key,
                    MOST_SAID=MOST_SAID,
                )
            )
        if self._stands is None:
            self._stands = standing(self._stored, self.law, self.ground)
        one = Entered(**row)
        if RANK[one.kind] == SEEN and one.ground is None:
            one.ground = row["ground"] = leant_on(self.law, one.facts, self._own(one.facts) | one.facts, self.ground)
        found = told_in(one, self.law, len(self._stored) + len(self._new))
        for said in found:
            self._stands.setdefault(said.fact, []).append(said)
        self._new.append(one)
        told = {said.fact for said in found}
        return contradictions(self._known, {name: self._stands[name] for name in told}, one.id)

    def before(self, facts: Document, told: Provenance) -> bool:
        """Whether the very same was told before."""
        return told_before([*self._stored, *self._new], facts, None, told) is not None

    @property
    def told(self) -> int:
        """How many statements were added."""
        return len(self._new)

    def _own(self, names: Iterable[str]) -> Document:
        """The record's own facts, by all that was said so far where any of some facts leans on one."""
        own = self.law.whole("")
        if any(on.startswith(own) for name in names for on in self.law.fact(name).leans_on):
            self.fold()
        return self.record.facts

    def fold(self) -> None:
        """Bring the record's facts to what was said."""
        if self._folded < len(self._new):
            # What follows from a trial follows from all that is said; else what stands is at hand.
            stands = None if any(one.evidence for one in self._stored) else self._stands
            current = current_facts([*self._stored, *self._new], self.law, self.ground, stands)
            self.record.facts, self.record.provenance = current.facts, current.provenance
            self._folded = len(self._new)


class Telling:
    """The statements of one transaction, taken together."""

    def __init__(self, session: Session, reader: FactReader) -> None:
        self._session, self._reader = session, reader
        self._logs: dict[tuple[Subject, str], RecordLog] = {}
        self._rows: list[Document] = []

    def open(self, subject: Subject, keys: Iterable[str]) -> None:
        """Lock and read the records of one kind that are told of next, after what was told of others is stored."""
        self.finish()
        records = lock_records(self._session, subject, keys)
        said = observations_of(self._session, subject, list(records))
        self._logs = {
            (subject, key): RecordLog(self._session, self._reader, one, said[key]) for key, one in records.items()
        }

    def tell(
        self, subject: Subject, key: str, facts: Mapping[str, Json], told: Provenance
    ) -> list[Contradiction] | None:
        """Take a statement of an opened record, and return what cannot hold beside it.

        None where the very same was told before. NotFound when there is no such record, InvalidValue when it cannot be
        stored.
        """
        checks = Checks()
        checks.facts(facts)
        told.check(checks)
        checks.finish()
        log = self._logs.get((subject, key))
        if log is None:
            raise NotFound(subject, key)
        if log.before(dict(facts), told):
            return None
        row = observation_row(subject, key, facts, told, now())
        found = log.tell(row)
        self._rows.append(row)
        return found

    def finish(self) -> None:
        """Store what was told, and bring each record to it."""
        if self._rows:
            insert_rows(self._session, Observation, self._rows)
        changed = [log for log in self._logs.values() if log.told]
        for log in changed:
            log.fold()
            log.record.version, log.record.updated_at = log.record.version + log.told, now()
        self._session.flush()
        tell_leaning_on(self._session, [log.record for log in changed], laws_of(self._reader))
        self._logs, self._rows = {}, []
