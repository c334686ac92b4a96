"""Which saved rigs answer otherwise after a record's facts have changed.

A saved rig asks nothing by itself. So it is asked about every accessory of the store, by the index that
selections use, without a load or a trailer, and about the spare and the adapters it has; what tells a shop
something is the outcomes that changed. How many rigs are looked at is bounded; those left off are counted.
"""

import json
from collections import Counter
from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from typing import Final

from sqlmodel import Session

from fitsvc.answers.question import read_question
from fitsvc.answers.records import Records
from fitsvc.answers.shelf import Item
from fitsvc.document import Json
from fitsvc.engine.point import Point
from fitsvc.facts import Case, FactReader
from fitsvc.inventory.stored import StoreRecords
from fitsvc.language.problems import ProblemsFound
from fitsvc.rulebook.outcomes import Outcome
from fitsvc.selection.segments import BEST_FIRST, Snapshot, case_of, rig_key
from fitsvc.store.rigs import count_rigs, list_rigs, rigs_using, told_rig
from fitsvc.store.tables import SavedRig
from fitsvc.subjects import Told

MOST_RIGS: Final = 1_000
"""Saved rigs that are looked at; those of one sort are read and judged once."""
MOST_TOLD: Final = 20

RIG_ITSELF: Final = ""
"""Stands in the place of a SKU for the rig with the spare and adapters it has."""
Changed = tuple[str, Outcome, Outcome]
"""A SKU, and the outcomes it came to and comes to."""


@dataclass(frozen=True, slots=True)
class RigCase:
    """A saved rig as a case without anything asked about."""

    key: str
    name: str
    case: Case


@dataclass(frozen=True, slots=True, kw_only=True)
class RigChange:
    """A rig that answers otherwise: how many accessories come to each outcome, how many changed, and the first."""

    rig: str
    name: str
    before: Mapping[Outcome, int]
    after: Mapping[Outcome, int]
    count: int
    changed: tuple[Changed, ...]


@dataclass(frozen=True, slots=True)
class Effects:
    """The rigs that changed, how many were judged, and the accessories left off: those that cannot be read."""

    changed: tuple[RigChange, ...]
    rigs: int
    accessories_left_off: int


def rig_cases(session: Session, reader: FactReader, records: StoreRecords, subject: Told, key: str) -> list[RigCase]:
    """The saved rigs that use a record, or the very one, as they are now; one that cannot be read is left out."""
    return _cases(rigs_using(session, subject, key, limit=MOST_RIGS), reader, records)


def _cases(rigs: Sequence[SavedRig], reader: FactReader, records: StoreRecords) -> list[RigCase]:
    records.hold([rig.document for rig in rigs])
    # Many trucks of one sort are saved as the same parts: each sort is read once.
    read: dict[str, Case | None] = {}
    found = []
    for rig in rigs:
        document = told_rig(rig.document, rig.facts, rig.provenance)
        parts = json.dumps(document, sort_keys=True)
        if parts not in read:
            read[parts] = rig_case(document, reader, records)
        found.append((rig, read[parts]))
    return [RigCase(rig.id, rig.name, case) for rig, case in found if case is not None]


def rig_case(rig: Mapping[str, Json], reader: FactReader, records: Records) -> Case | None:
    """A rig as a case without anything asked about; None where a fact of it cannot be read."""
    try:
        case = read_question({"rig": rig, "accessory": {}}, reader, records).case
    except ProblemsFound:
        return None
    return replace(case, present=case.present - {"accessory"})


def effects(
    engine: Point, reader: FactReader, before: Sequence[RigCase], after: Sequence[RigCase], held: Callable[[], Snapshot]
) -> Effects:
    """Judge each rig as it was and as it is, with every accessory; these are asked for if there is any such rig."""
    now = {one.key: one.case for one in after}
    pairs = [(one, now[one.key]) for one in before if one.key in now and now[one.key] != one.case]
    if not pairs:
        return Effects((), 0, 0)
    all_, known, changed = held(), dict[Hashable, RigChange](), list[RigChange]()
    for one, case in pairs:
        key = (rig_key(one.case), rig_key(case))
        if key not in known:
            known[key] = _change(engine, reader, one, case, all_)
        changed.append(replace(known[key], rig=one.key, name=one.name))
    return Effects(tuple(one for one in changed if one.count), len(pairs), all_.unreadable)


def saved_rigs(session: Session, reader: FactReader, records: StoreRecords) -> tuple[list[RigCase], int]:
    """The first saved rigs as they are, and how many more there are."""
    rigs = list_rigs(session, limit=MOST_RIGS)
    return _cases(rigs, reader, records), max(count_rigs(session) - len(rigs), 0)


def item_effects(engine: Point, reader: FactReader, rigs: Sequence[RigCase], was: Item, now: Item) -> Effects:
    """Which saved rigs answer otherwise about one accessory, of which something else is known than before."""
    changed, known = list[RigChange](), dict[Hashable, tuple[Outcome, Outcome]]()
    for rig in rigs:
        key = rig_key(rig.case)
        if key not in known:
            before, after = (engine.evaluate(case_of(rig.case, item, reader)).outcome for item in (was, now))
            known[key] = (before, after)
        before, after = known[key]
        if before != after:
            one = (now.sku, before, after)
            changed.append(
                RigChange(rig=rig.key, name=rig.name, before={before: 1}, after={after: 1}, count=1, changed=(one,))
            )
    return Effects(tuple(changed), len(rigs), 0)


def items_effects(
    engine: Point, reader: FactReader, rigs: Sequence[RigCase], items: Sequence[tuple[Item, Item]]
) -> list[RigChange]:
    """Which saved rigs answer otherwise about some accessories, each as it was and as it is."""
    found: dict[str, list[RigChange]] = {}
    for was, now in items:
        for one in item_effects(engine, reader, rigs, was, now).changed:
            found.setdefault(one.rig, []).append(one)
    return [joined(several) for several in found.values()]


def joined(changes: Sequence[RigChange]) -> RigChange:
    """Several changes of one rig as one; an accessory that is in more than one of them is told once."""
    told: dict[str, Changed] = {}
    for sku, was, now in (each for one in changes for each in one.changed):
        told[sku] = (sku, told[sku][1] if sku in told else was, now)
    before, after = (
        sum((Counter(side) for side in sides), Counter()) for sides in zip(*map(_sides, changes), strict=True)
    )
    twice = sum(len(one.changed) for one in changes) - len(told)
    first = tuple(sorted(told.values())[:MOST_TOLD])
    count = sum(one.count for one in changes) - twice
    return replace(changes[0], before=dict(before), after=dict(after), count=count, changed=first)


def _sides(change: RigChange) -> tuple[Mapping[Outcome, int], Mapping[Outcome, int]]:
    return change.before, change.after


def _change(engine: Point, reader: FactReader, rig: RigCase, now: Case, held: Snapshot) -> RigChange:
    counts: tuple[Counter[Outcome], Counter[Outcome]] = Counter(), Counter()
    found, more = list[Changed](), 0
    held = held.apart({*rig.case.of_items, *now.of_items})
    for sku, was, is_now in _one_by_one(engine, reader, rig.case, now, held):
        counts[0][was] += 1
        counts[1][is_now] += 1
        found += [(sku, was, is_now)] if was != is_now else []
    for part in held.parts:
        outcomes = part.segment.outcome(rig.case), part.segment.outcome(now)
        for told, counter in zip(outcomes, counts, strict=True):
            counter.update(dict(zip(BEST_FIRST, part.counted(told).tolist(), strict=True)))
        count, rows = part.changed(outcomes[0], outcomes[1], MOST_TOLD)
        places = [one[part.segment.catalogue.signature_of[rows]].tolist() for one in outcomes]
        found += [
            (part.segment.skus[row], BEST_FIRST[a], BEST_FIRST[b]) for row, a, b in zip(rows, *places, strict=True)
        ]
        more += count - len(rows)
    first = tuple(islice(sorted(found), MOST_TOLD))
    return RigChange(
        rig=rig.key,
        name=rig.name,
        before=dict(+counts[0]),
        after=dict(+counts[1]),
        count=len(found) + more,
        changed=first,
    )


def _one_by_one(engine: Point, reader: FactReader, was: Case, now: Case, held: Snapshot) -> Iterator[Changed]:
    """The rig itself, if it has anything to ask about, and the accessories that changed lately."""
    if was.adapters or "spare" in was.present:
        yield RIG_ITSELF, engine.evaluate(was).outcome, engine.evaluate(now).outcome
    for item in held.loose:
        before, after = (engine.evaluate(case_of(rig, item, reader)).outcome for rig in (was, now))
        yield item.sku, before, after
