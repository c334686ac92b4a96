"""Which saved rigs answer otherwise after a record's facts have changed.

A saved rig asks nothing by itself. So it is asked about every accessory of the store, by the index that
selections use, without a load or a trailer, and about the spare and the adapters it has; what tells a shop
something is the outcomes that changed. How many rigs are looked at is bounded; those left off are counted.
"""

import json
from collections import Counter
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from sqlmodel import Session

from fitsvc.answers.question import read_question
from fitsvc.answers.records import Records
from fitsvc.answers.shelf import Item
from fitsvc.document import Json
from fitsvc.engine.columns.kernel import Columns
from fitsvc.engine.point import Point
from fitsvc.facts import Case, FactReader
from fitsvc.inventory.stored import StoreRecords
from fitsvc.language.problems import ProblemsFound
from fitsvc.rulebook.outcomes import Outcome
from fitsvc.selection.comparing import Changed, compare
from fitsvc.selection.segments import Snapshot, case_of, rig_key
from fitsvc.store.rigs import count_rigs, list_rigs, rigs_using, told_rig
from fitsvc.store.tables import SavedRig
from fitsvc.subjects import Told

MOST_RIGS: Final = 1_000
"""Saved rigs that are looked at; those of one sort are read and judged once."""
MOST_TOLD: Final = 20


@dataclass(frozen=True, slots=True)
class RigCase:
    """A saved rig as a case without anything asked about."""

    key: str
    name: str
    case: Case


@dataclass(frozen=True, slots=True, kw_only=True)
class RigChange:
    """A rig that answers otherwise: how many accessories come to each outcome, how many answers changed, and the first.

    An answer is about an accessory, or about the rig with the spare and adapters it has, which is none.
    """

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
    columns: Columns,
    reader: FactReader,
    before: Sequence[RigCase],
    after: Sequence[RigCase],
    held: Callable[[], Snapshot],
) -> Effects:
    """Judge each rig as it was and as it is, with every accessory; these items are asked for if there is such a rig."""
    now = {one.key: one.case for one in after}
    pairs = [(one, now[one.key]) for one in before if one.key in now and now[one.key] != one.case]
    if not pairs:
        return Effects((), 0, 0)
    all_, keys = held(), [(rig_key(one.case), rig_key(case)) for one, case in pairs]
    sorts = {key: (one.case, case) for key, (one, case) in zip(keys, pairs, strict=True)}
    known = dict(zip(sorts, compare(columns, reader, all_, list(sorts.values()), MOST_TOLD), strict=True))
    changed = tuple(
        RigChange(
            rig=one.key,
            name=one.name,
            before=dict(+told.before),
            after=dict(+told.after),
            count=told.count,
            changed=tuple(told.changed),
        )
        for (one, _), told in zip(pairs, map(known.__getitem__, keys), strict=True)
        if told.count
    )
    return Effects(changed, len(pairs), all_.unreadable)


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
