"""Folding every record of a store anew, after the law by which statements become facts has changed."""

from typing import cast

from sqlalchemy import func, or_
from sqlmodel import Session, col, select

from fitsvc.store.database import Database
from fitsvc.store.folding import Laws, current_facts
from fitsvc.store.observations import Provenance, all_observations, append, ground_of, law_of
from fitsvc.store.records import existing_keys, lock_record
from fitsvc.store.tables import TABLES, Observation
from fitsvc.subjects import SUBJECTS, Subject


def refold(database: Database, laws: Laws) -> int:
    """Bring what is kept of each record to what its observations fold to now, and return how many differed.

    Each is a transaction of its own. What was published once says what it says by any law, so a catalogue that nobody
    has measured takes no time.
    """
    with database.session() as session:
        told = _told_of(session)
    return sum(_refolded(database, subject, key, laws) for subject, key in told)


def _told_of(session: Session) -> list[tuple[Subject, str]]:
    """The records of which anything but one published statement was told; last those that lean on others."""
    one, kind = (col(Observation.subject), col(Observation.record_id)), col(Observation.kind)
    many = or_(func.count() > 1, func.min(kind) != "published", func.max(kind) != "published")
    rows = session.exec(select(*one).group_by(*one).having(many)).all()
    named = [(cast(Subject, subject), key) for subject, key in rows]
    kept = {of: existing_keys(session, of, [key for subject, key in named if subject == of]) for of in TABLES}
    # What a mounting's facts come to rests on its vehicle's and its receiver's, which so are folded before it.
    named.sort(key=lambda one: bool(SUBJECTS[one[0]].links))
    return [(subject, key) for subject, key in named if key in kept[subject]]


def _refolded(database: Database, subject: Subject, key: str, laws: Laws) -> bool:
    with database.session() as session:
        record = lock_record(session, subject, key)
        said = all_observations(session, subject, key)
        current = current_facts(said, law_of(record, laws), ground_of(session, record, said))
        if (current.facts, current.provenance) == (record.facts, record.provenance):
            return False
        # An observation without facts, since those who follow changes see them by their observations.
        append(session, subject, record, {}, Provenance(note="folded anew"), laws=laws, earlier=said)
        record.version += 1
        return True
