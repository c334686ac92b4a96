"""Recording what was observed of a record, with what it contradicts and the rigs as they were and are."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlmodel import Session

from fitsvc.answers.question import Stored
from fitsvc.answers.shelf import Item, read_items
from fitsvc.document import Json
from fitsvc.facts import FactReader
from fitsvc.inventory.stored import StoreRecords, stored
from fitsvc.observing.effects import MOST_RIGS, RigCase, rig_cases, saved_rigs
from fitsvc.observing.evidence import Contradiction, contradictions
from fitsvc.observing.law import laws_of
from fitsvc.store.errors import FieldProblem, InvalidValue, NotFound
from fitsvc.store.folding import standing
from fitsvc.store.observations import Provenance, all_observations, ground_of, sold_as, told_before
from fitsvc.store.records import add_observation, lock_record
from fitsvc.store.rigs import count_using
from fitsvc.store.tables import Observation, Record
from fitsvc.store.taking_back import NO_REQUEST, Request


@dataclass(frozen=True, slots=True, kw_only=True)
class Recorded:
    """An observation as it was recorded, and what it does; `repeated` where the very same had been told before.

    The saved rigs that use the record are given as they were and as they are, and how many more than these there are.
    """

    observation: Observation
    record: Record
    contradictions: list[Contradiction]
    before: list[RigCase]
    after: list[RigCase]
    rigs_left_off: int
    repeated: bool = False
    item: "ItemSeen | None" = None


@dataclass(frozen=True, slots=True)
class ItemSeen:
    """An accessory that was observed, as it was and as it is; saved rigs it may go on, and how many more there are."""

    was: Item
    now: Item
    rigs: list[RigCase]
    left_off: int


def observe(
    session: Session,
    reader: FactReader,
    document: Mapping[str, Json],
    told: Provenance,
    request: Request = NO_REQUEST,
    *,
    rigs: bool = True,
) -> Recorded:
    """Record an observation that has been checked, and look at the saved rigs before and after.

    What was told word for word before is not stored again, as a file that is loaded twice would.
    """
    subject, key, evidence = document["subject"], document["record"], document.get("evidence")
    facts, laws = document.get("facts") or {}, laws_of(reader)
    # Before the mounting, as a change of the accessory reaches the mountings that it was tried on.
    _lock_tried(session, evidence)
    record = lock_record(session, subject, key)
    own, records = sold_as(record), StoreRecords(session)
    earlier = all_observations(session, subject, key)
    was = stored(subject, record) if rigs and own == "accessory" else None
    before = rig_cases(session, reader, records, subject, key) if rigs else []
    again = None if request.act else told_before(earlier, facts, evidence, told)
    how: Any = {"evidence": evidence, "laws": laws, "request": request, "locked": (record, earlier)}
    observation = again or add_observation(session, subject, key, facts, told, **how)[0]
    others = [one for one in earlier if one.id != observation.id]
    ground = ground_of(session, record, [*others, observation])
    stands = standing([*others, observation], laws(own), ground)
    against = contradictions(reader.subjects[own], stands, observation.id)
    after = rig_cases(session, reader, records, subject, key) if rigs else []
    left_off = max(count_using(session, subject, key) - MOST_RIGS, 0) if rigs else 0
    return Recorded(
        observation=observation,
        record=record,
        contradictions=against,
        before=before,
        after=after,
        rigs_left_off=left_off,
        repeated=again is not None,
        item=_item(session, reader, was, stored(subject, record)) if was and not before else None,
    )


def _lock_tried(session: Session, evidence: Json) -> None:
    """Keep an accessory that was tried as it is; InvalidValue when none is stored under its SKU."""
    sku = evidence.get("sku") if isinstance(evidence, dict) else None
    if sku is None:
        return
    try:
        thing = lock_record(session, "accessory", sku)
    except NotFound as error:
        raise InvalidValue([FieldProblem("/evidence/sku", f"{error}; store it first")]) from error
    if sold_as(thing) != "accessory":
        raise InvalidValue([FieldProblem("/evidence/sku", f"is sold as {sold_as(thing)}; an accessory is tried")])


def _item(session: Session, reader: FactReader, was: Stored, now: Stored) -> ItemSeen | None:
    """The accessory before and after, where both can be read."""
    found = read_items(reader, [was, now])
    if len(found) != 2:
        return None
    rigs, left_off = saved_rigs(session, reader, StoreRecords(session))
    return ItemSeen(found[0], found[1], rigs, left_off)
