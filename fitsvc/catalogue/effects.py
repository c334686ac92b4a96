"""Which saved rigs answer otherwise after a record's facts have changed.

A saved rig asks nothing by itself. So it is asked about every accessory on the shelf, without a load or a
trailer, and about the spare and the adapters it has; what tells a shop something is the outcomes that
changed. How many pairs are judged is bounded; what is left off is counted.
"""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from sqlmodel import Session

from fitsvc.answers.question import Records, read_question
from fitsvc.answers.shelf import Item
from fitsvc.engine.point import Outcome, Point
from fitsvc.facts import Case, FactReader
from fitsvc.language.problems import ProblemsFound
from fitsvc.store.rigs import rigs_using
from fitsvc.store.tables import Subject

MOST_RIGS: Final = 200
MOST_PAIRS: Final = 20_000
MOST_TOLD: Final = 20

RIG_ITSELF: Final = ""
"""Stands in the place of a SKU for the rig with the spare and adapters it has."""


@dataclass(frozen=True, slots=True)
class RigCase:
    """A saved rig as a case about an accessory of which nothing is known."""

    key: str
    name: str
    case: Case


@dataclass(frozen=True, slots=True)
class RigChange:
    """A rig that answers otherwise: how many accessories come to each outcome, and those that changed."""

    rig: str
    name: str
    before: Mapping[Outcome, int]
    after: Mapping[Outcome, int]
    changed: tuple[tuple[str, Outcome, Outcome], ...]


@dataclass(frozen=True, slots=True)
class Effects:
    """The rigs that changed, how many were judged, and what was left off."""

    changed: tuple[RigChange, ...]
    rigs: int
    rigs_left_off: int
    accessories_left_off: int


def rig_cases(session: Session, reader: FactReader, records: Records, subject: Subject, key: str) -> list[RigCase]:
    """The saved rigs that use a record, as they are now; one that cannot be read is left out."""
    found = []
    for rig in rigs_using(session, subject, key, limit=MOST_RIGS):
        document: dict[str, Any] = {"rig": rig.document, "accessory": {}}
        try:
            found.append(RigCase(rig.id, rig.name, read_question(document, reader, records).case))
        except ProblemsFound:
            continue
    return found


def effects(
    engine: Point, reader: FactReader, before: Sequence[RigCase], after: Sequence[RigCase], items: Sequence[Item]
) -> Effects:
    """Judge each rig as it was and as it is, with every accessory."""
    now = {one.key: one.case for one in after}
    pairs = [(one, now[one.key]) for one in before if one.key in now and now[one.key] != one.case]
    each = items[:MOST_PAIRS]
    most = max(1, MOST_PAIRS // max(1, len(each)))
    changed = [_change(engine, reader, one, case, each) for one, case in pairs[:most]]
    told = tuple(one for one in changed if one.changed)
    return Effects(told, len(pairs[:most]), len(pairs) - len(pairs[:most]), len(items) - len(each))


def _change(engine: Point, reader: FactReader, rig: RigCase, now: Case, items: Sequence[Item]) -> RigChange:
    before, after = Counter[Outcome](), Counter[Outcome]()
    changed = []
    for (sku, old), (_, new) in zip(_cases(reader, rig.case, items), _cases(reader, now, items), strict=True):
        was, is_now = engine.evaluate(old).outcome, engine.evaluate(new).outcome
        before[was] += 1
        after[is_now] += 1
        if was != is_now:
            changed.append((sku, was, is_now))
    return RigChange(rig.key, rig.name, dict(before), dict(after), tuple(changed))


def _cases(reader: FactReader, rig: Case, items: Sequence[Item]) -> Iterator[tuple[str, Case]]:
    """The questions asked about a rig: itself if it has anything to ask about, and each accessory."""
    alone = rig.present - {"accessory"}
    if rig.adapters or "spare" in alone:
        yield RIG_ITSELF, replace(rig, present=alone)
    for item in items:
        named = reader.named(item.values)
        yield item.sku, replace(rig, facts={**rig.facts, **item.values}, present=rig.present | named)
