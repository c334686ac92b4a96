"""Recording what was observed of a record, with what it contradicts and the rigs as they were and are."""

from collections.abc import Mapping
from dataclasses import dataclass

from sqlmodel import Session

from fitsvc.document import Json
from fitsvc.facts import FactReader
from fitsvc.inventory.stored import StoreRecords
from fitsvc.observing.effects import MOST_RIGS, RigCase, rig_cases
from fitsvc.observing.evidence import LATEST, Contradiction, conclude, contradictions
from fitsvc.store.observations import Provenance, latest_observations
from fitsvc.store.records import add_observation, lock_record
from fitsvc.store.rigs import count_using
from fitsvc.store.tables import Accessory, Observation, Record


@dataclass(frozen=True, slots=True, kw_only=True)
class Recorded:
    """An observation as it was recorded, and what it does.

    The saved rigs that use the record are given as they were and as they are, and how many more than these there are.
    """

    observation: Observation
    record: Record
    contradictions: list[Contradiction]
    before: list[RigCase]
    after: list[RigCase]
    rigs_left_off: int


def sold_as(record: Record) -> str:
    """Whose facts a record has: what an accessory is sold as, else its own subject."""
    return record.subject if isinstance(record, Accessory) else type(record).__name__.lower()


def observe(
    session: Session, reader: FactReader, document: Mapping[str, Json], told: Provenance, *, rigs: bool = True
) -> Recorded:
    """Record an observation that has been checked, and look at the saved rigs before and after."""
    subject, key, evidence = document["subject"], document["record"], document.get("evidence")
    record = lock_record(session, subject, key)
    own, records = sold_as(record), StoreRecords(session)
    concluded = conclude(reader, own, record, document.get("facts") or {}, evidence, told.kind)
    earlier = latest_observations(session, subject, key, LATEST)
    before = rig_cases(session, reader, records, subject, key) if rigs else []
    observation, record = add_observation(session, subject, key, concluded.facts, told, evidence=concluded.evidence)
    against = contradictions(reader, own, earlier, observation)
    after = rig_cases(session, reader, records, subject, key) if rigs else []
    left_off = max(count_using(session, subject, key) - MOST_RIGS, 0) if rigs else 0
    return Recorded(
        observation=observation,
        record=record,
        contradictions=against,
        before=before,
        after=after,
        rigs_left_off=left_off,
    )
