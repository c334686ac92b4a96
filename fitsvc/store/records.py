"""Reading and changing vehicles, receivers, mountings and accessories.

A record's facts change only through an observation in the same transaction. Every change locks
the record first, so that observations of one record are numbered in the order they take effect.
"""

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from itertools import islice
from typing import Any, TypeVar

from sqlalchemy import ColumnElement, Text, bindparam, cast, true, update
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Mapped, class_mapper, make_transient_to_detached
from sqlalchemy.orm.attributes import instance_dict, set_committed_value
from sqlalchemy.orm.util import identity_key
from sqlalchemy.sql.dml import ReturningUpdate
from sqlmodel import Session, col, select
from sqlmodel.sql.expression import SelectOfScalar

from fitsvc.document import Document, Json
from fitsvc.store.errors import Conflict, FieldProblem, InvalidValue, NotFound, StillReferenced, VersionConflict, called
from fitsvc.store.folding import current_facts, standing, taken_back
from fitsvc.store.observations import (
    SOLD_AS,
    Entered,
    Log,
    Provenance,
    TakingBack,
    append,
    law_of,
    log_of,
    parts_of,
    rigs_told_of,
)
from fitsvc.store.statements import ALL, RANK, SEEN, Laws, Said, plain
from fitsvc.store.tables import (
    KEY,
    LABEL,
    TABLES,
    Accessory,
    Mounting,
    Observation,
    Record,
    RigPart,
    SavedRig,
    ToldOf,
    Vehicle,
    columns_of,
    key_name,
    key_type,
    now,
)
from fitsvc.store.taking_back import NO_REQUEST, Request, taking_of
from fitsvc.store.validation import Checks, page_size
from fitsvc.subjects import RIG, SUBJECTS, SoldAs, Subject, Told, storable
from fitsvc.tongues import t

_T = TypeVar("_T")
_Known = TypeVar("_Known", bound=ToldOf)
_MOST_KEYS = 1000  # SQLite bounds the parameters of one statement
_MOST_WORDS = 8
_MOST_NEAR = 10
"""Keys before and behind one that is not stored."""
_MOST_NAMED = 6
_SEARCHED = (col(Accessory.label), col(Accessory.sku), col(Accessory.facts)["kind"].as_string())
_PUBLISHED = Provenance()


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """A record as a caller wants it: a mounting names its parts, an accessory what it is sold as."""

    key: str | None = None
    label: str = ""
    facts: Mapping[str, Json] = field(default_factory=dict)
    vehicle_id: str | None = None
    receiver_id: str | None = None
    sold_as: SoldAs = "accessory"

    def known_facts(self) -> Document:
        """Return the facts that are known: null is the same as absent."""
        return {name: value for name, value in self.facts.items() if value is not None}

    def check(self, subject: Subject, checks: Checks) -> None:
        """Note what of this cannot be stored."""
        checks.text("/label", self.label, LABEL)
        checks.facts(self.facts)
        checks.sold_as(self.sold_as)
        if subject != "accessory" and self.sold_as != "accessory":
            checks.refuse("/subject", t("a {subject} is not sold as anything", subject=called(subject)))
        for name, value in (("vehicle_id", self.vehicle_id), ("receiver_id", self.receiver_id)):
            if subject == "mounting":
                checks.text(f"/{name}", "" if value is None else value, KEY, required=True)
            elif value is not None:
                told = t("a {subject} does not name one; only a mounting does", subject=called(subject))
                checks.refuse(f"/{name}", told)

    def links(self, subject: Subject) -> dict[str, str]:
        """Return the columns that only this subject has."""
        if subject == "mounting":
            return {"vehicle_id": str(self.vehicle_id), "receiver_id": str(self.receiver_id)}
        return {"subject": self.sold_as} if subject == "accessory" else {}

    def columns(self, subject: Subject) -> dict[str, str]:
        """Return what stands beside the facts."""
        return {"label": self.label, **self.links(subject)}

    def stands_beside(self, subject: Subject, record: "Record") -> bool:
        """Tell whether what stands beside a record's facts is what this says."""
        return all(getattr(record, name) == value for name, value in self.columns(subject).items())


def get_record(session: Session, subject: Subject, key: str) -> Record:
    """Return one record by its id or SKU, or raise NotFound."""
    found = session.get(table_of(subject), key) if storable(key) else None
    if found is None:
        raise NotFound(subject, key)
    return found


def get_records(session: Session, subject: Subject, keys: Iterable[str]) -> dict[str, Record]:
    """Return those of many records that exist, by id or SKU, as they are now."""
    table, found = table_of(subject), dict[str, Record]()
    for chunk in chunks(filter(storable, keys), _MOST_KEYS):
        # Of a record that the session has read before, it would else give what it was then.
        query = select(table).where(key_column(table).in_(chunk)).execution_options(populate_existing=True)
        found |= {record.key: record for record in session.exec(query)}
    return found


def existing_keys(session: Session, subject: Subject, keys: Iterable[str]) -> set[str]:
    """Return those of many ids or SKUs that are stored."""
    column, found = key_column(table_of(subject)), set[str]()
    for chunk in chunks(filter(storable, keys), _MOST_KEYS):
        found.update(session.exec(select(column).where(column.in_(chunk))))
    return found


def keys_near(session: Session, subject: Told, key: str) -> list[str]:
    """Return the ids or SKUs just before and behind one that is not stored, in their order: a slip is often near."""
    if not storable(key):
        return []
    column = key_column(SavedRig if subject == "rig" else table_of(subject))
    before = session.exec(select(column).where(column < key).order_by(column.desc()).limit(_MOST_NEAR)).all()
    return [*before, *session.exec(select(column).where(column > key).order_by(column).limit(_MOST_NEAR)).all()]


def list_records(
    session: Session,
    subject: Subject,
    *,
    after: str | None = None,
    limit: int = 100,
    sold_as: SoldAs | None = None,
) -> Sequence[Record]:
    """Return a page of records ordered by id or SKU; `after` is the last one seen."""
    table = table_of(subject)
    query = select(table).order_by(key_column(table)).limit(page_size(limit))
    if sold_as is not None:
        checks = Checks()
        checks.sold_as(sold_as)
        checks.finish()
        query = query.where(Accessory.subject == sold_as)
    return session.exec(query.where(beyond(key_column(table), after))).all()


def find_mountings(
    session: Session,
    vehicle_id: str | None = None,
    receiver_id: str | None = None,
    *,
    after: str | None = None,
    limit: int = 100,
) -> Sequence[Mounting]:
    """Return a page of mountings, of one vehicle, of one receiver or of both."""
    query = select(Mounting).order_by(col(Mounting.id)).limit(page_size(limit))
    for column, value in ((col(Mounting.vehicle_id), vehicle_id), (col(Mounting.receiver_id), receiver_id)):
        if value is not None and not storable(value):
            return []
        query = query if value is None else query.where(column == value)
    return session.exec(query.where(beyond(col(Mounting.id), after))).all()


def replace_record(
    session: Session,
    subject: Subject,
    key: str,
    draft: Draft,
    *,
    expected_version: int | None = None,
    told: Provenance = _PUBLISHED,
    laws: Laws = plain,
    also_seen: bool = False,
) -> Record:
    """Make what one source says of a record what the draft says, and return the record.

    A fact with the value it already has keeps its provenance. What the same source told before and the draft does not
    say is taken back; what was seen on the part itself stays, unless `also_seen` gives it up too.
    """
    checks = Checks()
    draft.check(subject, checks)
    told.check(checks)
    if draft.key not in (None, key):
        checks.refuse("/sku" if subject == "accessory" else "/id", t("is not the record's own; leave it out"))
    check_links(session, subject, [("", draft)], checks)
    checks.finish()
    record = lock_record(session, subject, key, expected_version)
    beside = not draft.stands_beside(subject, record)
    _keep_in_place(session, subject, record, draft, laws)
    for name, value in draft.columns(subject).items():
        setattr(record, name, value)
    if not _retell(session, subject, record, draft.known_facts(), told, laws, also_seen=also_seen):
        if beside:
            # Those who follow changes by their observations see it too.
            append(session, subject, log_of(session, subject, record), {}, told, laws=laws)
        else:
            record.version, record.updated_at = record.version + 1, now()
            session.flush()
    tell_leaning(session, record, laws)
    return record


def delete_record(
    session: Session,
    subject: Subject,
    key: str,
    *,
    expected_version: int | None = None,
    by: str = "",
    laws: Laws = plain,
) -> None:
    """Delete a record; its observations stay, closed by one that takes all back.

    StillReferenced when something names it.
    """
    told = Provenance(by=by, note="record deleted")
    checks = Checks()
    told.check(checks)
    checks.finish()
    record = lock_record(session, subject, key, expected_version)
    if isinstance(record, Accessory):
        told = replace(told, leant_on={SOLD_AS: record.subject})
    if names := list(_referring(session, subject, key)):
        raise StillReferenced(subject, key, names)
    close_log(session, subject, record, told, laws)
    try:
        session.delete(record)
        session.flush()
    except IntegrityError as error:
        raise StillReferenced(subject, key, ["a record made at the same time"]) from error
    if isinstance(record, Accessory):
        tell_leaning(session, record, laws)


def close_log(session: Session, subject: Told, record: ToldOf, told: Provenance, laws: Laws) -> None:
    """Take back all that was said of a record that is deleted, so that another of its name starts with nothing."""
    log = log_of(session, subject, record)
    said = [one.id for one in log.earlier]
    closing = TakingBack("deletes", {ALL: said} if said else None)
    append(session, subject, log, dict.fromkeys(record.facts), told, laws=laws, taking=closing)


def add_observation(
    session: Session,
    subject: Told,
    key: str,
    facts: Mapping[str, Json],
    told: Provenance,
    *,
    expected_version: int | None = None,
    evidence: Mapping[str, Json] | None = None,
    laws: Laws = plain,
    request: Request = NO_REQUEST,
    log: Log | None = None,
) -> tuple[Entered, ToldOf]:
    """Store what was observed of a record, and return it with the record as it now stands.

    A null takes back what was told of its fact so far, by no better kind of telling than its own. What a request
    retracts, corrects or settles is taken back by the statement. `log` is all that was said of the record, for who has
    locked it and read that.
    """
    checks = Checks()
    checks.facts(facts)
    if evidence is not None:
        checks.document("/evidence", evidence)
    if not facts and evidence is None and request.act != "retracts":
        checks.refuse("/facts", t("is empty; give at least one fact"))
    told.check(checks)
    request.check(checks)
    checks.finish()
    if log is None:
        log = log_of(session, subject, lock(session, subject, key, expected_version), evidence)
    taking, told = taking_of(log.earlier, law_of(log.record, laws), facts, evidence, told, request, log.ground)
    observation = append(session, subject, log, facts, told, evidence, laws=laws, taking=taking)
    if log.told_rigs and not isinstance(log.record, SavedRig):
        tell_leaning(session, log.record, laws)
    return observation, log.record


def lock(session: Session, subject: Told, key: str, expected_version: int | None = None) -> ToldOf:
    """Return what something is told of, a record or a saved rig, and keep others from changing it, as `lock_record`."""
    if subject != "rig":
        return lock_record(session, subject, key, expected_version)
    # What is told of a rig leans on its records, which so cannot change meanwhile without seeing what is told.
    for part, named in sorted(parts_of(session, key).items(), key=lambda one: locked_in_order(one[0])):
        lock_record(session, part, named)
    return lock_rig(session, key, expected_version)


def locked_in_order(subject: Subject) -> int:
    """The place of a kind of record among those locked together: first those whose changes reach others."""
    return ("vehicle", "receiver", "accessory", "mounting").index(subject)


def lock_rig(session: Session, key: str, expected_version: int | None = None) -> SavedRig:
    """Return a saved rig as it is now and keep others from changing it, as `lock_record` does a record."""
    return _locked(session, SavedRig, RIG, key, expected_version)


def lock_record(session: Session, subject: Subject, key: str, expected_version: int | None = None) -> Record:
    """Return a record as it is now and keep others from changing it until this session ends.

    NotFound when there is none, VersionConflict when it is not the version expected.
    """
    return _locked(session, table_of(subject), subject, key, expected_version)


def _locked(session: Session, table: type[_Known], subject: Told, key: str, expected_version: int | None) -> _Known:
    if not storable(key):
        raise NotFound(subject, key)
    session.flush()
    row = session.connection().execute(_locking(table), {"key": key}).mappings().one_or_none()
    if row is None:
        raise NotFound(subject, key)
    record = _of_row(session, table, key, row)
    if expected_version not in (None, record.version):
        raise VersionConflict(subject, key, expected=int(expected_version or 0), found=record.version)
    return record


@cache
def _locking(table: type[ToldOf]) -> ReturningUpdate[Any]:
    """A write that changes nothing: it locks the row on PostgreSQL and the file on SQLite. Built once, as all write."""
    own = columns_of(table)
    return update(own).where(own.c[key_name(table)] == bindparam("key")).values(version=own.c.version).returning(own)


def _of_row(session: Session, table: type[_Known], key: str, row: Mapping[Any, Any]) -> _Known:
    """The session's own object of a record, as a row has it; to have the session read it takes some times as long."""
    held: _Known | None = session.identity_map.get(identity_key(table, key))
    if held is not None:
        for name, value in row.items():
            set_committed_value(held, name, value)
        return held
    record: _Known = class_mapper(table).class_manager.new_instance()
    instance_dict(record).update(row)
    make_transient_to_detached(record)  # which takes for stored whatever it has
    session.add(record)
    return record


def lock_records(session: Session, subject: Subject, keys: Iterable[str]) -> dict[str, Record]:
    """Return those of some records that are stored, as they are now, and keep others from changing them.

    They are locked in the order of their keys, so that no two who lock many wait for each other.
    """
    table, wanted = table_of(subject), sorted(filter(storable, set(keys)))
    column = key_column(table)
    if session.connection().dialect.name == "sqlite":
        # There a write locks the file.
        lock = update(table).where(column.in_(wanted[:1])).values(version=col(table.version))
        session.exec(lock.execution_options(synchronize_session=False))
    query = select(table).where(column.in_(wanted)).order_by(column).with_for_update()
    return {one.key: one for one in session.exec(query.execution_options(populate_existing=True))}


def check_links(session: Session, subject: Subject, numbered: Sequence[tuple[str, Draft]], checks: Checks) -> None:
    """Note which of some mountings, each with its pointer, name vehicles or receivers that are not stored."""
    for target in SUBJECTS[subject].links:
        named = {prefix: getattr(draft, f"{target}_id") for prefix, draft in numbered}
        named = {prefix: key for prefix, key in named.items() if key and isinstance(key, str)}
        stored = existing_keys(session, target, set(named.values()))
        for checks.prefix, key in named.items():
            if key not in stored:
                checks.refuse(
                    f"/{target}_id", t("{error}; store it first", error=NotFound(target, key)), "missing record"
                )


def table_of(subject: Subject) -> type[Record]:
    """Return the table of a kind of record."""
    checks = Checks()
    checks.subject(subject)
    checks.finish()
    return TABLES[subject]


def key_column(table: type[ToldOf]) -> Mapped[str]:
    """Return a table's primary key as a column."""
    return col(getattr(table, key_name(table)))


def beyond(column: Mapped[str], after: str | None) -> ColumnElement[bool]:
    """Return the condition for what comes after a key, or for everything; InvalidValue when it can be no key."""
    if after is not None and not storable(after):
        raise InvalidValue([FieldProblem("/after", t("is not a key that could be stored"))])
    return true() if after is None else column > after


def chunks(items: Iterable[_T], size: int) -> Iterator[list[_T]]:
    """Yield the items in lists of a size."""
    source = iter(items)
    while chunk := list(islice(source, size)):
        yield chunk


def _retell(
    session: Session,
    subject: Subject,
    record: Record,
    wanted: Document,
    told: Provenance,
    laws: Laws,
    *,
    also_seen: bool,
) -> bool:
    """Tell anew what a source says of a record where that differs, and whether any did."""
    log = log_of(session, subject, record)
    changed, gone = _retelling(log.earlier, record, wanted, told, laws, also_seen=also_seen)
    if gone or changed:
        facts, taking = dict.fromkeys(gone) | changed, TakingBack("replaces", gone)
        append(session, subject, log, facts, told, laws=laws, taking=taking)
    return bool(gone or changed)


def withdraw(session: Session, subject: Subject, key: str, source: str, reason: str, laws: Laws) -> list[str]:
    """Take back all that a feed published or assumed of a record, also that there is such, and return the facts it was.

    What was seen on the part stays, and whatever anybody else says: the feed's own taking back of earlier words of its
    stays too, or these would stand again. NotFound when there is no such record.
    """
    record = lock_record(session, subject, key)
    log = log_of(session, subject, record)
    dead, of, names = taken_back(log.earlier), dict[str, list[str]](), dict[str, None]()
    for one in log.earlier:
        if one.source != source or RANK[one.kind] >= SEEN or one.evidence or (one.id, ALL) in dead:
            continue
        told = [name for name, value in one.facts.items() if value is not None and (one.id, name) not in dead]
        names |= dict.fromkeys(told)
        for name in told if one.takes_back else [ALL]:
            of.setdefault(name, []).append(one.id)
    if of:
        taking = TakingBack("replaces", of, reason)
        append(session, subject, log, dict.fromkeys(names), Provenance(source=source), laws=laws, taking=taking)
        tell_leaning(session, record, laws)
    return sorted(names)


def differs(
    subject: Subject,
    record: Record,
    draft: Draft,
    earlier: Sequence[Entered],
    *,
    told: Provenance,
    laws: Laws,
    also_seen: bool = False,
) -> bool:
    """Tell whether a record is anything but what a draft says, as far as the draft's source has a say.

    `earlier` are the record's observations.
    """
    if not draft.stands_beside(subject, record):
        return True
    return any(_retelling(earlier, record, draft.known_facts(), told, laws, also_seen=also_seen))


def _retelling(
    earlier: Sequence[Entered], record: Record, wanted: Document, told: Provenance, laws: Laws, *, also_seen: bool
) -> tuple[Document, dict[str, list[str]]]:
    """The facts that a source tells anew, and the observations by fact that it takes back."""
    said = standing(earlier, law_of(record, laws), and_settled=True)
    owned = {
        name: [one for one in of if also_seen or _owns(told, one)]
        for name, of in said.items()
        if not _as_it_came(name, record, wanted, of)
    }
    gone = {
        name: [one.observation for one in of if name not in wanted or not _same(one.value, wanted[name])]
        for name, of in owned.items()
    }
    held = {name: [record.facts.get(name), *(one.value for one in owned.get(name, ()))] for name in wanted}
    changed = {n: value for n, value in wanted.items() if not any(_same(value, one) for one in held[n])}
    return changed, {name: ids for name, ids in gone.items() if ids}


def _as_it_came(name: str, record: Record, wanted: Document, said: Sequence[Said]) -> bool:
    """Whether a fact is written back as it is known, of several statements of which none says just that: so it is told
    by nobody, and takes back none of those that it follows from.
    """
    known = record.facts.get(name)
    return (
        known is not None
        and name in wanted
        and _same(wanted[name], known)
        and not any(_same(one.value, known) for one in said)
    )


def _owns(told: Provenance, one: Said) -> bool:
    """Whether a source may take back a statement: what it published or assumed itself, and what the same person saw.

    Without a feed that is who tells, and what came without a name, which is the record's own word.
    """
    if one.source != told.source:
        return False
    if RANK[one.kind] < SEEN:
        return bool(told.source) or one.person in ("", _named(told))
    return RANK[told.kind] == SEEN and one.by == told.by and one.kind == told.kind


def _named(told: Provenance) -> str:
    """Who tells, where it is not only the key's name."""
    return told.by if told.by != told.written_by else ""


def _keep_in_place(session: Session, subject: Subject, record: Record, draft: Draft, laws: Laws) -> None:
    """Refuse to put another vehicle or receiver under what was seen on a mounting, or under a rig that names it."""
    if not isinstance(record, Mounting) or draft.links("mounting") == {
        "vehicle_id": record.vehicle_id,
        "receiver_id": record.receiver_id,
    }:
        return
    rigs = list(session.exec(select(RigPart.rig_id).where(RigPart.subject == subject, RigPart.record_id == record.key)))
    log = log_of(session, subject, record)
    said = standing(log.earlier, law_of(record, laws), log.ground)
    seen = sorted(name for name, of in said.items() if any(RANK[one.kind] == SEEN for one in of))
    if rigs or seen:
        held = ", ".join(f"`{name}`" for name in [*seen, *rigs][:_MOST_NAMED])
        raise Conflict(
            t(
                "mounting `{key}` was measured and used with the vehicle and receiver that it has ({held}): another "
                "part under it is another mounting; store a new one, and take over what still holds "
                "(`fitsvc observe NEW FACT... --from OLD`)",
                key=record.key,
                held=held,
            )
        )


def _same(one: Json, other: Json) -> bool:
    """Tell whether two wire values are the same text, so that true is not 1."""
    return json.dumps(one, sort_keys=True) == json.dumps(other, sort_keys=True)


def tell_leaning(session: Session, changed: ToldOf, laws: Laws) -> None:
    """Fold anew what leans on a record as it is now: mountings seen or tried on, then rigs that were told of."""
    if not isinstance(changed, Mounting):
        for key in _leaning_on(session, changed):
            _folded_anew(session, "mounting", lock_record(session, "mounting", key), changed, laws)
    if not isinstance(changed, Accessory):
        # Not by the session, which takes as long again to tell its objects: every statement asks for these.
        told_of = session.connection().execute(rigs_told_of(type(changed)), {"key": changed.key})
        for key in told_of.scalars().all():
            _folded_anew(session, RIG, lock_rig(session, key), changed, laws)


def tell_leaning_on(session: Session, changed: Sequence[ToldOf], laws: Laws) -> None:
    """The same for many: whether anything leans on accessories is asked for all of them at once."""
    alone = {one.key: one for one in changed if isinstance(one, Accessory) and one.subject != "adapter"}
    tried = set[str | None]()
    for some in chunks(alone, _MOST_KEYS):
        tried |= set(session.exec(select(Observation.tried).where(col(Observation.tried).in_(some)).distinct()))
    for one in changed:
        if one.key in tried or one is not alone.get(one.key):
            tell_leaning(session, one, laws)


def _folded_anew(session: Session, subject: Told, record: ToldOf, changed: ToldOf, laws: Laws) -> None:
    log = log_of(session, subject, record)
    current = current_facts(log.earlier, law_of(record, laws), log.ground)
    if (current.facts, current.provenance) != (record.facts, record.provenance):
        told = Provenance(note=f"the {type(changed).__name__.lower()} changed")
        append(session, subject, log, {}, told, laws=laws)


def _leaning_on(session: Session, changed: ToldOf) -> Sequence[str]:
    """The mountings of a vehicle, those of a receiver that were tried on, or those an accessory was tried on."""
    if isinstance(changed, Accessory) and changed.subject != "adapter":
        # As told of above; most that is told is told of these.
        return session.connection().execute(_tried_alone(), {"key": changed.sku}).scalars().all()
    found, tried = select(Mounting.id).order_by(col(Mounting.id)), select(Observation.record_id)
    if isinstance(changed, Vehicle):
        return session.exec(found.where(Mounting.vehicle_id == changed.id)).all()
    # Of a receiver nothing is leant on but by what was tried; an adapter is named by what was tried through it.
    some = tried.where(col(Observation.tried).is_not(None))
    if isinstance(changed, Accessory):
        named = cast(col(Observation.evidence), Text).contains(json.dumps(changed.sku), autoescape=True)
        return session.exec(found.where(col(Mounting.id).in_(some.where(named)))).all()
    return session.exec(found.where(Mounting.receiver_id == changed.key, col(Mounting.id).in_(some))).all()


@cache
def _tried_alone() -> SelectOfScalar[str]:
    """The mountings that an accessory was tried on by itself, by its SKU."""
    on = select(Observation.record_id).where(col(Observation.tried) == bindparam("key", type_=key_type()))
    return select(Mounting.id).where(col(Mounting.id).in_(on)).order_by(col(Mounting.id))


def _referring(session: Session, subject: Subject, key: str) -> Iterator[str]:
    if subject in ("vehicle", "receiver"):
        column = col(getattr(Mounting, f"{subject}_id"))
        yield from session.exec(select(Mounting.id).where(column == key).limit(10))
    parts = select(RigPart.rig_id).where(RigPart.subject == subject, RigPart.record_id == key)
    yield from session.exec(parts.limit(10))
