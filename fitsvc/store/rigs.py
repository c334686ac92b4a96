"""Saved rigs: the `rig` object of a question, kept under a name."""

from collections.abc import Iterator, Mapping, Sequence
from typing import cast, get_args

from sqlalchemy import ColumnElement, delete, func
from sqlmodel import Session, col, select
from sqlmodel.sql.expression import SelectOfScalar

from fitsvc.document import Document, Json
from fitsvc.store.errors import AlreadyExists, Conflict, NotFound
from fitsvc.store.observations import Provenance, note_saved, parts_of
from fitsvc.store.records import beyond, close_log, find_mountings, get_record, lock_record, lock_rig, locked_in_order
from fitsvc.store.statements import plain
from fitsvc.store.tables import LABEL, Mounting, RigPart, SavedRig, ToldOf, now
from fitsvc.store.validation import PREFIXES, Checks, new_id, page_size
from fitsvc.subjects import OF_YARD, RIG, Subject, Told, storable
from fitsvc.tongues import t

BY_PREFIX: dict[str, Subject] = {PREFIXES[subject]: subject for subject in get_args(Subject) if subject in PREFIXES}

Part = tuple[Subject, str]
_MOST_NAMED = 6


def told_as(key: str) -> Told:
    """What something is told of as, by how its id begins; a SKU begins as it likes."""
    return RIG if key.startswith(PREFIXES[RIG]) else BY_PREFIX.get(key[:4], "accessory")


def create_rig(session: Session, name: str, document: Mapping[str, Json], key: str | None = None) -> SavedRig:
    """Store a rig whose records, named in it by `id` or `sku`, are stored; return it, or raise AlreadyExists."""
    checks = _checked(name, document)
    if key is not None:
        checks.key("rig", key)
    checks.finish()
    if key is not None and session.get(SavedRig, key) is not None:
        raise AlreadyExists("rig", [key])
    parts = _lock_parts(session, document, checks)
    rig = SavedRig(id=key or new_id("rig"), name=name, document=dict(document))
    session.add(rig)
    session.flush()
    _keep_parts(session, rig, parts)
    note_saved(session, rig)
    return rig


def get_rig(session: Session, key: str) -> SavedRig:
    """Return one saved rig, or raise NotFound."""
    found = session.get(SavedRig, key) if storable(key) else None
    if found is None:
        raise NotFound("rig", key)
    return found


def get_known(session: Session, subject: Told, key: str) -> ToldOf:
    """Return what something is told of, a record or a saved rig, or raise NotFound."""
    return get_rig(session, key) if subject == "rig" else get_record(session, subject, key)


def list_rigs(session: Session, *, after: str | None = None, limit: int = 100) -> Sequence[SavedRig]:
    """Return a page of saved rigs ordered by id; `after` is the last one seen."""
    query = select(SavedRig).order_by(col(SavedRig.id)).limit(page_size(limit))
    return session.exec(query.where(beyond(col(SavedRig.id), after))).all()


def count_rigs(session: Session) -> int:
    """Return how many rigs are saved."""
    return session.exec(select(func.count()).select_from(SavedRig)).one()


def rigs_using(session: Session, subject: Told, key: str, *, limit: int = 100) -> Sequence[SavedRig]:
    """Return the saved rigs that use a record, by naming it or what brings it along, or the very rig of an id.

    A mounting comes along with its vehicle and receiver, and they with it.
    """
    found = select(SavedRig).where(_using(session, subject, key))
    return session.exec(found.order_by(col(SavedRig.id)).limit(page_size(limit))).all()


def parts_used(session: Session, key: str) -> set[tuple[Told, str]]:
    """What is told of a saved rig is told of: itself, the records that it names, and those that come along with them.

    Those that `rigs_using` finds it by.
    """
    named = session.exec(select(RigPart.subject, RigPart.record_id).where(RigPart.rig_id == key)).all()
    found = {(cast(Told, subject), record) for subject, record in named}
    yard = parts_of(session, key)
    if "mounting" not in yard and "receiver" in yard and "vehicle" in yard:
        both = find_mountings(session, yard["vehicle"], yard["receiver"])
        found |= {("mounting", one.id) for one in both}
    return found | {*yard.items(), ("rig", key)}


def count_using(session: Session, subject: Told, key: str) -> int:
    """Return how many saved rigs use a record."""
    return session.exec(select(func.count()).select_from(SavedRig).where(_using(session, subject, key))).one()


def _using(session: Session, subject: Told, key: str) -> ColumnElement[bool]:
    if subject == "rig":
        return col(SavedRig.id) == key
    part = col(RigPart.rig_id)
    found: ColumnElement[bool] = col(SavedRig.id).in_(_naming(subject, key))
    mounting = session.get(Mounting, key) if subject == "mounting" else None
    if mounting is not None:
        both = _naming("receiver", mounting.receiver_id).where(part.in_(_naming("vehicle", mounting.vehicle_id)))
        found |= col(SavedRig.id).in_(both)
    elif subject in ("vehicle", "receiver"):
        of_it = select(Mounting.id).where(col(getattr(Mounting, f"{subject}_id")) == key)
        named = select(RigPart.rig_id).where(RigPart.subject == "mounting", col(RigPart.record_id).in_(of_it))
        found |= col(SavedRig.id).in_(named)
    return found


def _naming(subject: Subject, key: str) -> SelectOfScalar[str]:
    return select(RigPart.rig_id).where(RigPart.subject == subject, RigPart.record_id == key)


def replace_rig(
    session: Session, key: str, name: str, document: Mapping[str, Json], *, expected_version: int | None = None
) -> SavedRig:
    """Give a saved rig a new name and document, and return it."""
    checks = _checked(name, document)
    checks.finish()
    rig = lock_rig(session, key, expected_version)
    _keep_in_place(rig, document)
    parts = _lock_parts(session, document, checks)
    rig.name, rig.document = name, dict(document)
    rig.version, rig.updated_at = rig.version + 1, now()
    session.exec(delete(RigPart).where(col(RigPart.rig_id) == key))
    _keep_parts(session, rig, parts)
    note_saved(session, rig)
    return rig


def _keep_in_place(rig: SavedRig, document: Mapping[str, Json]) -> None:
    """Refuse to put other records under what was told of one very rig."""
    now_, then = (set(named_parts({name: of.get(name) for name in OF_YARD})) for of in (document, rig.document))
    if rig.provenance and now_ != then:
        held = ", ".join(f"`{name}`" for name in sorted(rig.provenance)[:_MOST_NAMED])
        raise Conflict(
            t(
                "rig `{id}` was told of with the vehicle, receiver and mounting that it has ({held}): with others it "
                "is another rig; save a new one, and tell of it what still holds",
                id=rig.id,
                held=held,
            )
        )


def told_rig(document: Mapping[str, Json], facts: Mapping[str, Json], provenance: Mapping[str, Json]) -> Document:
    """A saved rig's document with what was told of this very one among the facts of its parts.

    What was told and comes to nothing usable is not known of it, whatever its records say.
    """
    told = dict(document)
    for name in provenance:
        subject, _, short = name.partition(".")
        part = told.get(subject) or {}
        told[subject] = {**part, "facts": {**(part.get("facts") or {}), short: facts.get(name)}}
    return told


def delete_rig(session: Session, key: str, *, expected_version: int | None = None) -> None:
    """Delete a saved rig; what was told of it stays, closed by an observation that takes all back."""
    rig = lock_rig(session, key, expected_version)
    close_log(session, RIG, rig, Provenance(note="rig deleted"), plain)
    session.delete(rig)
    session.flush()


def named_parts(value: object, pointer: str = "") -> Iterator[tuple[str, str, str]]:
    """Yield `id` or `sku`, its text and its place, wherever a rig's document names a stored record."""
    if isinstance(value, Mapping):
        for name, inner in value.items():
            if name in ("id", "sku") and isinstance(inner, str):
                yield name, inner, f"{pointer}/{name}"
            elif name != "facts":
                yield from named_parts(inner, f"{pointer}/{name}")
    elif isinstance(value, list | tuple):
        for number, inner in enumerate(value):
            yield from named_parts(inner, f"{pointer}/{number}")


def _checked(name: str, document: Mapping[str, Json]) -> Checks:
    checks = Checks()
    checks.text("/name", name, LABEL, required=True)
    checks.document("/document", document)
    return checks


def _lock_parts(session: Session, document: Mapping[str, Json], checks: Checks) -> list[Part]:
    """Keep the records that a rig names from being deleted before the rig is stored."""
    places: dict[Part, str] = {}
    for name, key, pointer in named_parts(document, "/document"):
        subject = "accessory" if name == "sku" else BY_PREFIX.get(key[:4])
        if subject is None:
            known = ", ".join(f"`{PREFIXES[s]}`" for s in BY_PREFIX.values())
            checks.refuse(
                pointer, t("is not the id of a part of a rig: expected one that begins with {known}", known=known)
            )
        else:
            places.setdefault((subject, key), pointer)
    # One order for all, or two could wait for each other.
    for (subject, key), pointer in sorted(places.items(), key=lambda one: (locked_in_order(one[0][0]), one[0])):
        try:
            lock_record(session, subject, key)
        except NotFound as error:
            checks.refuse(pointer, t("{error}; store it first", error=error), "missing record")
    checks.finish()
    return list(places)


def _keep_parts(session: Session, rig: SavedRig, parts: Sequence[Part]) -> None:
    session.add_all(RigPart(rig_id=rig.id, subject=subject, record_id=key) for subject, key in parts)
    session.flush()
