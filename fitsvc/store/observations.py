"""Observations: stored as they were said, and folded to a record's facts whenever one is added.

What is known of a record is kept beside it, since selections read a million of them, and is always what
`folding` makes of all that was said: adding a statement folds that record anew, by the same pure function that
answers what was known earlier.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import cache
from typing import Any, Final, cast

import msgspec
from sqlalchemy import Select, Text, Update, and_, bindparam, func, insert, literal_column, or_, update
from sqlalchemy import cast as cast_as
from sqlalchemy import select as select_columns
from sqlalchemy.engine import Connection, Result
from sqlalchemy.orm.attributes import set_committed_value
from sqlmodel import Session, col, select
from sqlmodel.sql.expression import SelectOfScalar

from fitsvc.document import Document, Json
from fitsvc.store.errors import Conflict, NotFound, called
from fitsvc.store.folding import current_facts, published_in, standing
from fitsvc.store.statements import PUBLISHED, RANK, SEEN, THING, Law, Laws, Said
from fitsvc.store.tables import (
    NAME,
    NOTE,
    PHOTO,
    Accessory,
    Act,
    Kind,
    Mounting,
    Observation,
    Receiver,
    RigPart,
    SavedRig,
    ToldOf,
    Vehicle,
    columns_of,
    key_name,
    key_type,
    now,
)
from fitsvc.store.validation import Checks, new_id, page_size
from fitsvc.subjects import OF_YARD, RIG, Subject, Told, storable
from fitsvc.tongues import t

MOST_SAID: Final = 10_000
"""Observations of one record; a measured part has some dozens, and all are read whenever one is added."""
AHEAD: Final = timedelta(hours=14)
"""How far ahead of here a day has begun somewhere; what is said to be seen later than that was not seen."""
MOST_NOTED: Final = 1_000
"""Observations of one rig up to which it is noted that it was saved: the rest is for what is told of it."""
SOLD_AS: Final = "accessory.subject"
"""What an accessory was sold as when it was deleted, among what the statement leans on that closes its log."""
TakesBack = Mapping[str, Sequence[str]]
"""Observations by the fact that is taken back of them, or under `*` where they are as a whole."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Provenance:
    """How facts come to be known: from a maker, a tape measure or a guess, by whom and when.

    `written_by` is the name of the key it came in by, `source` the feed; `tool`, `condition` (loaded, level, tyres) and
    `photo` say what a reader of it may ask. `leant_on` is what the facts leant on when they were seen, by whole names,
    where that is told: else it is what it is now.
    """

    kind: Kind = "published"
    by: str = ""
    at: datetime | None = None
    note: str = ""
    written_by: str = ""
    tool: str = ""
    condition: str = ""
    photo: str = ""
    source: str = ""
    leant_on: Mapping[str, Json] | None = None

    def check(self, checks: Checks) -> None:
        """Note what of this cannot be stored."""
        checks.kind(self.kind)
        for name, longest in TEXTS.items():
            checks.text(f"/{name}", getattr(self, name), longest)
        if self.at is not None:
            checks.instant("/at", self.at)
            if self.at.utcoffset() is not None and self.at > now() + AHEAD:
                checks.refuse("/at", t("is in the future; say when it was seen"), "implausible")


TEXTS: Final = {"by": NAME, "note": NOTE, "tool": NAME, "condition": NOTE, "photo": PHOTO, "source": NAME}


@dataclass(frozen=True, slots=True)
class TakingBack:
    """What an observation takes back of earlier ones, to what end, and for what reason."""

    act: Act = ""
    of: TakesBack | None = None
    reason: str = ""


class Entered(msgspec.Struct, kw_only=True):
    """An observation of the log, or on its way there: its columns, without an object of the session for each.

    One on its way has no place in the order yet. A structure, as those below are made by the dozen for each statement.
    """

    id: str
    subject: str
    record_id: str
    facts: Document
    kind: Kind
    by: str
    at: datetime
    note: str
    recorded_at: datetime
    evidence: Document | None
    written_by: str
    tool: str
    condition: str
    photo: str
    source: str
    act: str
    reason: str
    takes_back: dict[str, list[str]] | None
    ground: Document | None
    tried: str | None
    sequence: int | None = None


_TABLE: Final = columns_of(Observation)
_COLUMNS: Final = Entered.__struct_fields__
_ENTERED: Final[Select[Any]] = select_columns(*(_TABLE.c[name] for name in _COLUMNS)).order_by(_TABLE.c.sequence)
_OF_ONE: Final = _ENTERED.where(_TABLE.c.subject == bindparam("subject"), _TABLE.c.record_id == bindparam("key"))
"""Built once: every statement that is taken asks for those before it."""
_ADDED: Final = insert(_TABLE)
_NOTHING: Final = TakingBack()


def observation_row(
    subject: Told,
    key: str,
    facts: Mapping[str, Json],
    told: Provenance,
    recorded: datetime,
    evidence: Mapping[str, Json] | None = None,
    taking: TakingBack = _NOTHING,
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
        "written_by": told.written_by,
        "tool": told.tool,
        "condition": told.condition,
        "photo": told.photo,
        "source": told.source,
        "act": taking.act,
        "reason": taking.reason,
        "takes_back": {fact: list(ids) for fact, ids in taking.of.items()} if taking.of else None,
        "ground": dict(told.leant_on) if told.leant_on else None,
        "tried": (evidence or {}).get("sku"),
    }


@dataclass(frozen=True, slots=True)
class Log:
    """All that was said of a record that this session has locked, and what the record's facts lean on.

    `told_rigs` is whether anything may have been told of a saved rig that uses it, and so leans on it; `stands` is what
    stands of it once something was told.
    """

    record: ToldOf
    earlier: Sequence[Entered]
    ground: Document
    told_rigs: bool = True
    stands: dict[str, list[Said]] = field(default_factory=dict)


def log_of(session: Session, subject: Told, record: ToldOf, evidence: Json = None) -> Log:
    """The log of a locked record to which something is to be told, where `evidence` was tried too."""
    earlier = all_observations(session, subject, record.key)
    tried = tried_in(earlier) + (things_of(evidence) if isinstance(evidence, dict) else [])
    if not isinstance(record, Mounting):
        return Log(record, earlier, ground_of(session, record))
    around = _around_now(session, record)
    return Log(record, earlier, _ground_of_mounting(session, record, tried, around), around.told_rigs)


def tried_in(told: Iterable[Entered]) -> list[str]:
    """The SKUs of what was tried, and through what, in some observations."""
    return [sku for one in told if one.tried for sku in things_of(one.evidence or {})]


def things_of(evidence: Mapping[str, Json]) -> list[str]:
    """The SKUs of the accessory that was tried and of the adapters that it hung on, as far as there are such."""
    return [one for one in (evidence.get("sku"), *adapters_of(evidence)) if isinstance(one, str) and one]


def adapters_of(evidence: Mapping[str, Json]) -> list[Json]:
    """What is told of the adapters that something tried hung on, the one in the receiver first."""
    through = evidence.get("through")
    return through if isinstance(through, list) else [through] if through is not None else []


def append(
    session: Session,
    subject: Told,
    log: Log,
    facts: Mapping[str, Json],
    told: Provenance,
    evidence: Mapping[str, Json] | None = None,
    *,
    laws: Laws,
    taking: TakingBack = _NOTHING,
) -> Entered:
    """Store an observation of a record that this session has locked, and what the record comes to by it.

    Its facts are folded anew, and it is of another version. Conflict when it has as many observations as are kept of
    one.
    """
    record, earlier, ground = log.record, log.earlier, log.ground
    if len(earlier) >= MOST_SAID:
        raise Conflict(
            t(
                "{subject} `{key}` has {most} observations, as many as are kept of one record",
                subject=called(subject),
                key=record.key,
                most=MOST_SAID,
            )
        )
    row, law = observation_row(subject, record.key, facts, told, now(), evidence, taking), law_of(record, laws)
    if row["ground"] is None and (RANK[told.kind] == SEEN or evidence):
        names = [*facts, *(law.teaches(evidence) if evidence else ())]
        row["ground"] = leant_on(law, names, {**record.facts, **facts}, ground)
    session.flush()
    connection = session.connection()
    added = connection.execute(_ADDED, row)
    observation = Entered(**row, sequence=(added.inserted_primary_key or (None,))[0])
    log.stands.update(standing([*earlier, observation], law, ground))
    current = current_facts([*earlier, observation], law, ground, log.stands)
    facts, provenance = current.facts, current.provenance
    _store(connection, record, facts=facts, provenance=provenance, version=record.version + 1, updated_at=now())
    return observation


def _store(connection: Connection, record: ToldOf, **columns: Any) -> None:
    """Store columns of a record; by the session's own way it takes some times as long, for each that is told."""
    connection.execute(_storing(type(record)), {"key": record.key, **columns})
    for name, value in columns.items():
        set_committed_value(record, name, value)


@cache
def _storing(table: type[ToldOf]) -> Update:
    """Built once, as all write."""
    own = columns_of(table)
    return update(own).where(own.c[key_name(table)] == bindparam("key"))


def note_saved(session: Session, rig: SavedRig) -> None:
    """Store that a rig was saved, for those who follow changes by observations; it says nothing of the rig.

    Of one that was saved very often it is no longer stored: such a rig is told with what is written next.
    """
    session.flush()
    of_it = _TABLE.c.subject == RIG, _TABLE.c.record_id == rig.id
    if session.connection().execute(select_columns(func.count()).where(*of_it)).scalar_one() < MOST_NOTED:
        row = observation_row(RIG, rig.id, {}, Provenance(note="rig saved"), now())
        session.connection().execute(_ADDED, row)


def leant_on(law: Law, names: Iterable[str], own: Document, ground: Document) -> Document | None:
    """What some facts of a record lean on, as it is now: of its own facts and of its ground; None where nothing is."""
    leans = {on for name in names for on in law.fact(name).leans_on}
    if not leans:
        return None
    now_ = {**ground, **{law.whole(name): value for name, value in own.items()}}
    return {on: now_[on] for on in leans & now_.keys()} or None


def ground_of(
    session: Session,
    record: ToldOf,
    tried: Iterable[str] = (),
    known: Callable[[ToldOf], Document] | None = None,
    said: Callable[[ToldOf], Sequence["Entered"]] | None = None,
) -> Document:
    """What a record's own facts may lean on: of a mounting the facts of its vehicle, by whole names.

    Where anything was seen of the vehicle, what is published of it stands beside, under `PUBLISHED` and its name. Where
    accessories were `tried` on it, by their SKUs, those of its receiver too, and what is known of each of them,
    under `THING` and its SKU. What is told of a saved rig leans on all that its records say. `known` tells the facts of
    another record, and `said` what was said of it, if not as they are now.
    """
    if isinstance(record, SavedRig):
        return _ground_of_rig(session, record, known)
    if not isinstance(record, Mounting):
        return {}
    if known is None:
        return _ground_of_mounting(session, record, tried, _around_now(session, record))
    vehicle = session.get(Vehicle, record.vehicle_id)
    around = _Around() if vehicle is None else _Around(known(vehicle), said(vehicle) if said is not None else ())
    return _ground_of_mounting(session, record, tried, around, known)


@dataclass(frozen=True, slots=True)
class _Around:
    """What is around a mounting: its vehicle's facts, all that was said of the vehicle where anything was seen of it,
    and whether anything was told of a saved rig that uses the mounting.
    """

    vehicle: Document | None = None
    said: Sequence[Entered] = ()
    told_rigs: bool = True


def _around_now(session: Session, record: Mounting) -> _Around:
    session.flush()
    asked = {"key": record.id, "vehicle": record.vehicle_id}
    vehicle, seen, told_rigs = session.connection().execute(_asking_around(), asked).one()
    said = all_observations(session, "vehicle", record.vehicle_id) if seen else ()
    return _Around(vehicle, said, bool(told_rigs))


@cache
def _asking_around() -> Select[Any]:
    """Asked at once, as every statement of a mounting has to know it; built once. Most vehicles are only published."""
    vehicle, own = bindparam("vehicle", type_=key_type()), columns_of(Vehicle)
    facts = select_columns(own.c.facts).where(own.c.id == vehicle).scalar_subquery()
    kinds = or_(*(_TABLE.c.kind == literal_column(f"'{kind}'") for kind, rank in RANK.items() if rank == SEEN))
    seen = select_columns(_TABLE.c.id).where(_TABLE.c.subject == "vehicle", _TABLE.c.record_id == vehicle, kinds)
    return select_columns(facts, seen.exists(), rigs_told_of(Mounting).exists())


def _ground_of_mounting(
    session: Session,
    record: Mounting,
    tried: Iterable[str],
    around: _Around,
    known: Callable[[ToldOf], Document] | None = None,
) -> Document:
    skus = sorted(set(tried))
    found = _whole("vehicle", around.vehicle) | _whole(f"{PUBLISHED}vehicle", published_in(around.said))
    found |= _whole("receiver", _facts(session, Receiver, record.receiver_id, known)) if skus else {}
    things = {f"{THING}{sku}": _facts(session, Accessory, sku, known) for sku in skus}
    return found | {name: facts for name, facts in things.items() if facts is not None}


@cache
def rigs_told_of(table: type[ToldOf]) -> SelectOfScalar[str]:
    """The saved rigs that were told of and use a vehicle, receiver or mounting, by name or through their mounting."""
    part, subject, key = col(RigPart.rig_id), table.__name__.lower(), bindparam("key", type_=key_type())
    named, found = (RigPart.subject == subject, col(RigPart.record_id) == key), select(RigPart.rig_id)
    # That a rig was saved is noted in the log too, and tells nothing of it.
    tells = or_(cast_as(col(Observation.facts), Text) != "{}", col(Observation.evidence).is_not(None))
    told_of = select(Observation.record_id).where(Observation.subject == RIG, tells)
    if table is Mounting:
        # Its rigs are few, and it is what is told of most: of these alone the log is looked into, a value of each being
        # what no database makes into a join of all rigs that were told of.
        told = told_of.where(col(Observation.record_id) == part).limit(1).scalar_subquery()
        return found.where(*named, told.is_not(None)).order_by(part)
    through = select(Mounting.id).where(col(getattr(Mounting, f"{subject}_id")) == key)
    through_it = and_(col(RigPart.subject) == "mounting", col(RigPart.record_id).in_(through))
    uses = or_(part.in_(found.where(*named)), through_it)
    # A vehicle or receiver may be under very many.
    return found.where(uses, part.in_(told_of)).distinct().order_by(part)


def _whole(subject: str, facts: Document | None) -> Document:
    return {f"{subject}.{name}": value for name, value in (facts or {}).items()}


def _facts(
    session: Session, table: type[ToldOf], key: str, known: Callable[[ToldOf], Document] | None
) -> Document | None:
    """The facts of a record; None where there is none. As they are now they come without an object for it."""
    if known is not None:
        record = session.get(table, key)
        return known(record) if record is not None else None
    session.flush()
    found: Document | None = session.connection().execute(_facts_by_key(table), {"key": key}).scalar()
    return found


@cache
def _facts_by_key(table: type[ToldOf]) -> Select[Any]:
    """Built once: every statement of a mounting asks for those of its vehicle."""
    own = columns_of(table)
    return select_columns(own.c.facts).where(own.c[key_name(table)] == bindparam("key"))


def _ground_of_rig(session: Session, rig: SavedRig, known: Callable[[ToldOf], Document] | None) -> Document:
    """The facts of the records that a saved rig names, and of the vehicle and receiver that its mounting brings."""
    named, found = parts_of(session, rig.id), dict[str, Json]()
    for table in (Vehicle, Receiver, Mounting):
        name = cast(Subject, table.__name__.lower())
        found |= _whole(name, _facts(session, table, named[name], known)) if name in named else {}
    return found


def parts_of(session: Session, rig: str) -> dict[Subject, str]:
    """The vehicle, receiver and mounting of a saved rig, by its id: those it names, and what its mounting brings."""
    parts = session.exec(select(RigPart.subject, RigPart.record_id).where(RigPart.rig_id == rig)).all()
    named = {subject: key for subject, key in parts if subject in OF_YARD}
    mounting = session.get(Mounting, named["mounting"]) if "mounting" in named else None
    brought: dict[Subject, str] = {}
    if mounting is not None:
        brought = {"vehicle": mounting.vehicle_id, "receiver": mounting.receiver_id}
    return brought | named


def law_of(record: ToldOf, laws: Laws) -> Law:
    """The law of a record's facts, by what it is sold as."""
    return laws(sold_as(record))


def kept_as(record: ToldOf) -> Told:
    """What a record is told of as."""
    return RIG if isinstance(record, SavedRig) else cast(Told, type(record).__name__.lower())


def sold_as(record: ToldOf) -> str:
    """Whose facts a record has: what an accessory is sold as, else its own subject."""
    return record.subject if isinstance(record, Accessory) else kept_as(record)


def all_observations(session: Session, subject: Told, key: str) -> Sequence[Entered]:
    """Return everything said of one record, in the order it was recorded."""
    session.flush()
    return _entered(session.connection().execute(_OF_ONE, {"subject": subject, "key": key}))


def _entered(rows: Result[Any]) -> list[Entered]:
    """Observations from their rows; that a row knows the names of its columns costs as much as all else of it."""
    return [Entered(**dict(zip(_COLUMNS, row, strict=True))) for row in rows.all()]


def told_before(earlier: Sequence[Entered], facts: Document, evidence: Json, told: Provenance) -> Entered | None:
    """The observation that said the very same: the same facts by the same person, at the same time where one is told.

    What was taken back is told anew, and so is a null, what is told to lean on something else, and without a time what
    the same person has told otherwise since: it is their last word again.
    """
    if None in facts.values():
        return None
    gone = {key for one in earlier for ids in (one.takes_back or {}).values() for key in ids}
    for place, one in enumerate(earlier):
        same_time = one.at == told.at if told.at else one.at == one.recorded_at
        if not same_time or one.id in gone or (told.leant_on and told.leant_on != one.ground):
            continue
        said = (one.facts, one.evidence, one.kind, one.by, one.note, one.source)
        if said == (facts, evidence, told.kind, told.by, told.note, told.source):
            since = [] if told.at else [each for each in earlier[place + 1 :] if each.id not in gone]
            if not any(_told_otherwise(one, each) for each in since):
                return one
    return None


def _told_otherwise(one: Entered, later: Entered) -> bool:
    """Whether the same person, or feed, has later told a fact of a statement as another, or tried something else."""
    if (later.by, later.source) != (one.by, one.source) or later.at < one.at:
        return False
    other = any(later.facts[name] != one.facts[name] for name in later.facts.keys() & one.facts.keys())
    return other or bool(one.evidence and later.evidence and later.evidence != one.evidence)


def observations_of(session: Session, subject: Told, keys: Sequence[str]) -> dict[str, list[Entered]]:
    """Return everything said of some records, each in the order it was recorded."""
    query = _ENTERED.where(_TABLE.c.subject == subject, _TABLE.c.record_id.in_(keys))
    found: dict[str, list[Entered]] = {key: [] for key in keys}
    for one in _entered(session.execute(query)):
        found[one.record_id].append(one)
    return found


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
    subject: Told | None = None,
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
