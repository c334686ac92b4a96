"""Folding every record of a store anew, after the law by which statements become facts has changed."""

from collections.abc import Iterable
from typing import cast

from sqlalchemy import func, or_
from sqlmodel import Session, col, select

from fitsvc.store.database import Database
from fitsvc.store.folding import current_facts
from fitsvc.store.observations import Provenance, append, law_of, log_of
from fitsvc.store.records import existing_keys, lock
from fitsvc.store.statements import Laws
from fitsvc.store.tables import TABLES, Observation, SavedRig
from fitsvc.subjects import RIG, SUBJECTS, Told


def refold(database: Database, laws: Laws, renamed: Iterable[tuple[Told, str]] = ()) -> int:
    """Bring what is kept of each record to what its observations fold to now, and return how many differed.

    Each is a transaction of its own. What was published once says what it says by any law, so a catalogue that nobody
    has measured takes no time, but for the records of which facts were `renamed`.
    """
    with database.session() as session:
        told = _told_of(session, renamed)
    return sum(_refolded(database, subject, key, laws) for subject, key in told)


def _told_of(session: Session, renamed: Iterable[tuple[Told, str]]) -> list[tuple[Told, str]]:
    """The records of which anything but one published statement was told, and others; last those that lean on any."""
    one, kind = (col(Observation.subject), col(Observation.record_id)), col(Observation.kind)
    many = or_(func.count() > 1, func.min(kind) != "published", func.max(kind) != "published")
    rows = session.exec(select(*one).group_by(*one).having(many)).all()
    named = [*dict.fromkeys([*renamed, *((cast(Told, subject), key) for subject, key in rows)])]
    kept = {of: existing_keys(session, of, [key for subject, key in named if subject == of]) for of in TABLES}
    rigs = set(session.exec(select(SavedRig.id).where(col(SavedRig.id).in_(select(Observation.record_id)))))
    # What a mounting's facts come to rests on its vehicle's and its receiver's, which so are folded before it, and
    # what is told of a rig on all three.
    named.sort(key=lambda one: 2 if one[0] == RIG else bool(SUBJECTS[one[0]].links))
    return [(subject, key) for subject, key in named if key in (rigs if subject == "rig" else kept[subject])]


def _refolded(database: Database, subject: Told, key: str, laws: Laws) -> bool:
    with database.session() as session:
        record = lock(session, subject, key)
        log = log_of(session, subject, record)
        current = current_facts(log.earlier, law_of(record, laws), log.ground)
        if (current.facts, current.provenance) == (record.facts, record.provenance):
            return False
        # An observation without facts, since those who follow changes see them by their observations.
        append(session, subject, log, {}, Provenance(note="folded anew"), laws=laws)
        return True
