"""Observations, and the current facts that follow from them.

In the order they were recorded: measured beats published beats assumed; within the same rank
the latest wins; a null takes back everything said about that fact before.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Protocol

from sqlmodel import Session, col, select

from fitsvc.document import Document, Json
from fitsvc.store.errors import NotFound
from fitsvc.store.tables import NAME, NOTE, Kind, Observation, Record, now
from fitsvc.store.validation import Checks, new_id, page_size, storable
from fitsvc.subjects import Subject

_RANK = {"assumed": 0, "published": 1, "measured": 2}


class Statement(Protocol):
    """What the fold needs of an observation."""

    @property
    def id(self) -> str:
        """Its id."""

    @property
    def kind(self) -> str:
        """How its facts are known."""

    @property
    def facts(self) -> Mapping[str, Json]:
        """The facts told, null for one taken back."""


@dataclass(frozen=True, slots=True)
class Provenance:
    """How facts come to be known: from a maker, a tape measure or a guess, by whom and when."""

    kind: Kind = "published"
    by: str = ""
    at: datetime | None = None
    note: str = ""

    def check(self, checks: Checks) -> None:
        """Note what of this cannot be stored."""
        checks.kind(self.kind)
        checks.text("/by", self.by, NAME)
        checks.text("/note", self.note, NOTE)
        if self.at is not None:
            checks.instant("/at", self.at)


@dataclass(frozen=True, slots=True)
class CurrentFacts:
    """What holds of a record, and for each fact how and from which observation it is known."""

    facts: Document = field(default_factory=dict)
    provenance: dict[str, dict[str, str]] = field(default_factory=dict)


def current_facts(observations: Iterable[Statement]) -> CurrentFacts:
    """Return what follows from a record's observations, given oldest first."""
    current = CurrentFacts()
    for observation in observations:
        _add(current, observation)
    return current


def outranked(kind: str, by: str) -> bool:
    """Tell whether a fact known one way gives way to nothing told the other way."""
    return _RANK[kind] < _RANK[by]


def observation_row(
    subject: Subject,
    key: str,
    facts: Mapping[str, Json],
    told: Provenance,
    recorded: datetime,
    evidence: Mapping[str, Json] | None = None,
) -> Document:
    """Return the columns of a new observation; its place in the order comes with storing it."""
    return {
        "id": new_id("observation"),
        "subject": subject,
        "record_id": key,
        "facts": dict(facts),
        "kind": told.kind,
        "by": told.by,
        "at": told.at or recorded,
        "note": told.note,
        "recorded_at": recorded,
        "evidence": None if evidence is None else dict(evidence),
    }


def append(
    session: Session,
    subject: Subject,
    record: Record,
    facts: Mapping[str, Json],
    told: Provenance,
    evidence: Mapping[str, Json] | None = None,
) -> Observation:
    """Store an observation of a record that this session has locked, and bring its facts up to date."""
    observation = Observation(**observation_row(subject, record.key, facts, told, now(), evidence))
    current = CurrentFacts(dict(record.facts), dict(record.provenance))
    _add(current, observation)
    record.facts, record.provenance = current.facts, current.provenance
    session.add(observation)
    session.flush()
    return observation


def get_observation(session: Session, key: str) -> Observation:
    """Return one observation, or raise NotFound."""
    found = None
    if storable(key):
        found = session.exec(select(Observation).where(Observation.id == key)).first()
    if found is None:
        raise NotFound("observation", key)
    return found


def list_observations(
    session: Session,
    subject: Subject | None = None,
    key: str | None = None,
    *,
    after: str | None = None,
    limit: int = 100,
) -> Sequence[Observation]:
    """Return a page of observations in order, of one record or of all; `after` is the last id seen.

    Those of a deleted record stay, the last of them taking all its facts back. While others
    write, a page over all records can miss one that is recorded but not yet committed.
    """
    query = select(Observation).order_by(col(Observation.sequence)).limit(page_size(limit))
    if subject is not None:
        query = query.where(Observation.subject == subject)
    if key is not None:
        if not storable(key):
            return []
        query = query.where(Observation.record_id == key)
    if after is not None:
        query = query.where(col(Observation.sequence) > get_observation(session, after).sequence)
    return session.exec(query).all()


def latest_observations(session: Session, subject: Subject, key: str, limit: int) -> list[Observation]:
    """Return the latest observations of one record, oldest of them first."""
    query = select(Observation).where(Observation.subject == subject, Observation.record_id == key)
    return list(session.exec(query.order_by(col(Observation.sequence).desc()).limit(page_size(limit))))[::-1]


def _add(current: CurrentFacts, observation: Statement) -> None:
    for fact, value in observation.facts.items():
        known = current.provenance.get(fact)
        if value is None:
            current.facts.pop(fact, None)
            current.provenance.pop(fact, None)
        elif known is None or not outranked(observation.kind, known["kind"]):
            current.facts[fact] = value
            current.provenance[fact] = {"kind": observation.kind, "observation": observation.id}
