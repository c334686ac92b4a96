"""What a store holds of facts under names that they had, brought under the names that they have.

What was said stays as it was said, only what a fact is called is another: in the log of observations, with what they
take back and lean on, and in the documents of saved rigs. What is known of a record is then folded anew from its log.
"""

from collections.abc import Iterable, Iterator, Mapping
from typing import Any, TypeVar, cast

from sqlalchemy import Text, or_
from sqlalchemy import cast as as_type
from sqlmodel import Session, col, select

from fitsvc.document import Document, Json
from fitsvc.facts import FactReader
from fitsvc.store.database import Database
from fitsvc.store.errors import NotFound
from fitsvc.store.observations import SOLD_AS, sold_as
from fitsvc.store.records import key_column, lock
from fitsvc.store.statements import THING
from fitsvc.store.tables import TABLES, Observation, SavedRig, ToldOf
from fitsvc.subjects import RIG, Told

T = TypeVar("T")


def rename_stored(database: Database, reader: FactReader) -> list[tuple[Told, str]]:
    """Bring what is stored under today's names, and return the records to be folded anew, by subject and key.

    Each is a transaction of its own, and a record counts for renamed until it has been folded, so that this may end
    in between.
    """
    names = {one: reader.names_today(one) for one in (*reader.subjects, RIG)}
    written = {was for of in names.values() for was in of}
    if not written:
        return []
    with database.session() as session:
        told, rigs = dict.fromkeys(_told_so(session, written)), list(_rigs_so(session, written))
    for key in rigs:
        with database.session() as session:
            rig = cast(SavedRig, lock(session, RIG, key))
            rig.document = _rig(rig.document, names)
    return [(subject, key) for subject, key in told if _renamed(database, subject, key, names)]


def _told_so(session: Session, written: Iterable[str]) -> Iterator[tuple[Told, str]]:
    """The records that may have a name that a fact had, anywhere in the text of an observation, or of what is known."""
    columns = (Observation.facts, Observation.takes_back, Observation.ground)
    named = or_(*(_has(column, one) for column in columns for one in written))
    rows = session.exec(select(Observation.subject, Observation.record_id).where(named).distinct()).all()
    yield from ((cast(Told, subject), key) for subject, key in rows)
    tables: list[tuple[Told, type[ToldOf]]] = [*TABLES.items(), (RIG, SavedRig)]
    for subject, table in tables:
        known = or_(*(_has(column, one) for column in (table.facts, table.provenance) for one in written))
        yield from ((subject, key) for key in session.exec(select(key_column(table)).where(known)))


def _rigs_so(session: Session, written: Iterable[str]) -> Iterator[str]:
    named = or_(*(_has(SavedRig.document, one) for one in written))
    yield from session.exec(select(SavedRig.id).where(named)).all()


def _has(column: Any, name: str) -> Any:
    return as_type(col(column), Text).contains(f'"{name}"', autoescape=True)


def _renamed(database: Database, subject: Told, key: str, names: Mapping[str, Mapping[str, str]]) -> bool:
    """Bring one record's observations under today's names; whether it is stored and has to be folded anew."""
    with database.session() as session:
        every = select(Observation).where(Observation.subject == subject, Observation.record_id == key)
        try:
            record = lock(session, subject, key)
        except NotFound:  # what was said of it is still told of the past
            said = session.exec(every).all()
            grounds = [one.ground or {} for one in said]
            closed = next((ground[SOLD_AS] for ground in grounds if SOLD_AS in ground), subject)
            _rename(said, names.get(closed, {}), names)
            return False
        own = names[sold_as(record)]
        known = own.keys().isdisjoint({**record.facts, **record.provenance})
        return _rename(session.exec(every).all(), own, names) or not known


def _rename(every: Iterable[Observation], own: Mapping[str, str], names: Mapping[str, Mapping[str, str]]) -> bool:
    """Bring observations under today's names, and whether any had another."""
    changed = False
    for one in every:
        was = (one.facts, one.takes_back, one.ground)
        facts, back = _called(one.facts, own), one.takes_back and _called(one.takes_back, own)
        now = (facts, back, one.ground and _ground(one.ground, names))
        if now != was:
            one.facts, one.takes_back, one.ground = now
            changed = True
    return changed


def _called(told: Mapping[str, T], names: Mapping[str, str]) -> dict[str, T]:
    return {names.get(name, name): value for name, value in told.items()}


def _ground(ground: Document, names: Mapping[str, Mapping[str, str]]) -> Document:
    """What facts leant on, by whole names; of accessories that were tried the facts of each."""
    return {
        names[RIG].get(name, name): _called(value, names["accessory"]) if name.startswith(THING) else value
        for name, value in ground.items()
    }


def _rig(document: Document, names: Mapping[str, Mapping[str, str]]) -> Document:
    """A saved rig's document: the facts of each part, and of each of its adapters."""
    found = {name: _part(part, names.get(name, {})) for name, part in document.items()}
    adapters = document.get("adapters")
    if isinstance(adapters, list):
        found["adapters"] = [_part(one, names.get("adapter", {})) for one in adapters]
    return found


def _part(part: Json, names: Mapping[str, str]) -> Json:
    facts = part.get("facts") if isinstance(part, dict) else None
    return {**part, "facts": _called(facts, names)} if isinstance(facts, dict) else part
