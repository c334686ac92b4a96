"""Recording what was observed of a record, with what it contradicts and the rigs as they were and are."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from sqlmodel import Session, col, select

from fitsvc.answers.shelf import Item, read_items
from fitsvc.document import Json
from fitsvc.engine.columns.kernel import Columns
from fitsvc.facts import FactReader
from fitsvc.inventory.stored import StoreRecords, stored, stored_so
from fitsvc.observing.effects import (
    MOST_RIGS,
    Effects,
    RigCase,
    effects,
    item_effects,
    items_effects,
    joined,
    rig_cases,
    saved_rigs,
)
from fitsvc.observing.evidence import Contradiction, contradictions, left_standing
from fitsvc.observing.law import facts_of, laws_of
from fitsvc.selection.segments import Snapshot
from fitsvc.store.errors import FieldProblem, InvalidValue, NotFound
from fitsvc.store.folding import current_facts, standing
from fitsvc.store.observations import (
    Entered,
    Provenance,
    adapters_of,
    log_of,
    observations_of,
    sold_as,
    told_before,
)
from fitsvc.store.records import add_observation, get_records, lock, lock_record
from fitsvc.store.rigs import count_using
from fitsvc.store.tables import Accessory, Observation, ToldOf
from fitsvc.store.taking_back import NO_REQUEST, Request
from fitsvc.subjects import Told
from fitsvc.tongues import later, t

MOST_ITEMS: Final = 1_000
"""Accessories that a file changes which are looked at, each on every saved rig: some seconds for a thousand of both."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Recorded:
    """An observation as it was recorded, and what it does; `repeated` where the very same had been told before."""

    observation: Entered
    record: ToldOf
    contradictions: list[Contradiction]
    touched: "Touched"
    repeated: bool = False


@dataclass(frozen=True, slots=True)
class ItemSeen:
    """An accessory of which something else is known, as it was and as it is, and saved rigs that it may go on."""

    was: Item
    now: Item
    rigs: list[RigCase]


@dataclass(frozen=True, slots=True, kw_only=True)
class Touched:
    """The saved rigs that a change may touch, as they were and as they are, and how many more than these there are.

    `items` are the accessories of which a file says something else than was known, as they were and as they are.
    """

    before: Sequence[RigCase] = ()
    after: Sequence[RigCase] = ()
    left_off: int = 0
    item: ItemSeen | None = None
    items: Sequence[tuple[Item, Item]] = ()
    items_left_off: int = 0


class Watch:
    """One record being changed, and the saved rigs that use it."""

    def __init__(self, session: Session, reader: FactReader, subject: Told, record: ToldOf) -> None:
        self._session, self._reader, self._about = session, reader, (subject, record.key)
        self._records, self._record = StoreRecords(session), record
        self._was = (
            stored(subject, record) if isinstance(record, Accessory) and sold_as(record) == "accessory" else None
        )
        self._before = self._rigs()

    def _rigs(self) -> list[RigCase]:
        return rig_cases(self._session, self._reader, self._records, *self._about)

    def touched(self) -> Touched:
        """What the change touches, once it is made."""
        if self._was is not None and not self._before:
            assert isinstance(self._record, Accessory)
            now = stored("accessory", self._record)
            found = read_items(self._reader, [self._was, now]) if self._was.facts != now.facts else ()
            if len(found) != 2:
                return Touched()
            rigs, left_off = saved_rigs(self._session, self._reader, self._records)
            return Touched(left_off=left_off, item=ItemSeen(found[0], found[1], rigs))
        left_off = max(count_using(self._session, *self._about) - MOST_RIGS, 0)
        return Touched(before=self._before, after=self._rigs(), left_off=left_off)


def effects_of(columns: Columns, reader: FactReader, touched: Touched, held: Callable[[], Snapshot]) -> Effects:
    """Which saved rigs answer otherwise; the items held are asked for only where a rig has changed."""
    engine = columns.engine
    if (item := touched.item) is not None:
        return item_effects(engine, reader, item.rigs, item.was, item.now)
    found = effects(columns, reader, touched.before, touched.after, held)
    if not touched.items:
        return found
    by_rig = {one.rig: [one] for one in found.changed}
    for one in items_effects(engine, reader, touched.after, touched.items):
        by_rig.setdefault(one.rig, []).append(one)
    return replace(found, changed=tuple(joined(several) for _, several in sorted(by_rig.items())))


def items_since(session: Session, reader: FactReader, sequence: int) -> tuple[list[tuple[Item, Item]], int]:
    """The accessories stored before an observation's number of which something else is known since, as they were and
    as they are; and how many more than are looked at.
    """
    told = select(Observation.record_id).where(Observation.subject == "accessory", col(Observation.sequence) > sequence)
    keys = sorted(set(session.exec(told)))
    records, law = get_records(session, "accessory", keys[:MOST_ITEMS]), laws_of(reader)("accessory")
    said = observations_of(session, "accessory", list(records))
    found: list[tuple[Item, Item]] = []
    for key, record in records.items():
        before = [one for one in said[key] if (one.sequence or 0) <= sequence]
        was, now = stored_so("accessory", record, current_facts(before, law)), stored("accessory", record)
        if before and now.subject == "accessory" and was.facts != now.facts:
            both = read_items(reader, [was, now])
            found += [(both[0], both[1])] if len(both) == 2 else []
    return found, max(len(keys) - MOST_ITEMS, 0)


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
    laws = laws_of(reader)
    # Before the mounting, as a change of the accessory reaches the mountings that it was tried on.
    _lock_tried(session, evidence)
    record = lock(session, subject, key)
    log, own = log_of(session, subject, record, evidence), sold_as(record)
    facts = dict(reader.today(own, document.get("facts") or {}))
    watch = Watch(session, reader, subject, record) if rigs else None
    again = None if request.act else told_before(log.earlier, facts, evidence, told)
    how: Any = {"evidence": evidence, "laws": laws, "request": request, "log": log}
    observation = again or add_observation(session, subject, key, facts, told, **how)[0]
    stands = log.stands
    if again is not None:
        others = [one for one in log.earlier if one.id != again.id]
        stands = standing([*others, again], laws(own), log.ground)
    known = facts_of(reader, own)
    against = contradictions(known, stands, observation.id) + left_standing(known, stands, facts, told.kind)
    return Recorded(
        observation=observation,
        record=record,
        contradictions=against,
        touched=watch.touched() if watch else Touched(),
        repeated=again is not None,
    )


def _lock_tried(session: Session, evidence: Json) -> None:
    """Keep what was tried, and adapters that it hung on, as they are; InvalidValue when one is not stored as such."""
    if not isinstance(evidence, dict) or "sku" not in evidence:
        return
    named = [(evidence["sku"], "sku"), *((sku, "through") for sku in adapters_of(evidence))]
    for sku, name in sorted(named):
        try:
            thing = lock_record(session, "accessory", sku)
        except NotFound as error:
            what = t("{error}; store it first", error=error)
            raise InvalidValue([FieldProblem(f"/evidence/{name}", what, "missing record")]) from error
        wanted = "accessory" if name == "sku" else "adapter"
        if sold_as(thing) != wanted:
            what = later("is sold as {kind}; an accessory is tried")
            what = what if name == "sku" else later("is sold as {kind}; it hangs on an adapter")
            raise InvalidValue([FieldProblem(f"/evidence/{name}", t(what, kind=sold_as(thing)), "other record")])
