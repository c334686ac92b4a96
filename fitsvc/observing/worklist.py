"""What to learn next of a whole yard: the few readings, on which vehicles, that decide most answers of the catalogue.

Each mounting is taken as a rig with every accessory. A reading may be of the mounting, of its vehicle or of its
receiver; one of a receiver counts for all vehicles that have it. A few are found together, as two readings may decide
only together.
"""

from collections import Counter
from collections.abc import Collection, Iterable
from itertools import combinations
from typing import Final, Literal, NamedTuple, cast

import msgspec
from sqlmodel import Session

from fitsvc.answers.next_steps import ASK
from fitsvc.facts import Case, FactReader
from fitsvc.inventory.stored import StoreRecords
from fitsvc.observing.effects import rig_case
from fitsvc.rulebook.vocabulary import EFFORTS
from fitsvc.selection.segments import Snapshot
from fitsvc.selection.waiting import MOST_FACTS, Waiting
from fitsvc.store.records import find_mountings, get_records
from fitsvc.store.tables import Mounting, Record
from fitsvc.subjects import OF_YARD, Subject
from fitsvc.wanted import still_wanted

AT_THE_VEHICLE: Final = ("label", "tape", "scales")
"""What a fitter learns with the vehicle at hand; what is asked or looked up takes nobody to the yard."""
MOST_MOUNTINGS: Final = 2_000
"""Mountings that are looked at: more than stand on a yard."""
MOST_JUDGED: Final = 2_000_000
"""Mountings, times the sorts of accessories that each is judged with: some 4 µs each of a yard whose mountings are all
unlike, so that a list that was never made takes seconds at the most."""
_MOST_PARTNERS: Final = 8
"""Readings that are looked at beside one which decides only together with others: those that decide most with it."""


class Place(NamedTuple):
    """A fact of one stored record."""

    subject: Subject
    record: str
    fact: str


Places = frozenset[Place]


class WorkReading(msgspec.Struct, kw_only=True):
    """One reading: of which record, how, how many answers it decides after those before it, on how many mountings.

    `state` is set where what was said of it is disputed, doubtful or stale.
    """

    subject: str
    record: str
    name: str
    fact: str
    label: str
    ask: str
    how: str
    decides: int
    mountings: int
    state: Literal["", "doubtful", "disputed", "stale"] = ""


class Waited(NamedTuple):
    """What the answers of a yard wait for, as far as it was looked at: how many for each set of readings.

    `of` says on how many mountings each reading is waited for.
    """

    sets: Counter[Places]
    of: Counter[Place]
    undetermined: int
    mountings: int
    more: bool


class WorkList(msgspec.Struct, kw_only=True):
    """What to read next on the yard, and how many answers are undetermined as it is.

    An answer is one accessory on one mounting, without a load. `mountings` were looked at; one of which a fact cannot
    be read is left out, and `more` says that there are more of them than are looked at.
    """

    readings: list[WorkReading]
    undetermined: int
    mountings: int
    more: bool


def waited(session: Session, reader: FactReader, waiting: Waiting, held: Snapshot) -> Waited:
    """Judge each mounting with every accessory; what it takes rests on the store alone, so that it can be kept."""
    sorts = sum(part.segment.catalogue.count for part in held.parts) + len(held.loose)
    rigs, more = _rigs(session, reader, min(MOST_MOUNTINGS, MOST_JUDGED // max(sorts, 1) or 1))
    facts = learnable(reader, AT_THE_VEHICLE)
    sets, of, undetermined = Counter[Places](), Counter[Place](), 0
    for mounting, case in rigs:
        still_wanted()
        waits = waiting.of(held, case, facts)
        undetermined += waits.outcomes["undetermined"]
        found = {frozenset(_place(mounting, name) for name in names): count for names, count in waits.sets.items()}
        sets.update(found)
        of.update(frozenset[Place]().union(*found))
    return Waited(sets, of, undetermined, len(rigs), more)


def work_list(session: Session, reader: FactReader, found: Waited, most: int = MOST_FACTS) -> WorkList:
    """The readings that decide most, so many at the most, those first that decide more."""
    told = [_reading(session, reader, place, count, found.of[place]) for place, count in chosen(found.sets, most)]
    # A record may be deleted between the two looks into the store.
    readings = [one for one in told if one]
    return WorkList(readings=readings, undetermined=found.undetermined, mountings=found.mountings, more=found.more)


def learnable(reader: FactReader, efforts: Collection[str] = EFFORTS) -> frozenset[str]:
    """The facts of a vehicle, of its receiver and of the two together that are learnt by some efforts."""
    facts = reader.vocabulary.facts.values()
    return frozenset(fact.name for fact in facts if fact.subject in OF_YARD and fact.effort in efforts)


def _rigs(session: Session, reader: FactReader, most: int) -> tuple[list[tuple[Mounting, Case]], bool]:
    """So many mountings at the most, each as a rig, and whether there are more."""
    mountings = find_mountings(session, limit=most + 1)
    more, mountings = len(mountings) > most, mountings[:most]
    # Read together; the session then has each at hand when a question asks for it.
    _kept = [_records(session, subject, mountings) for subject in ("vehicle", "receiver")]
    records = StoreRecords(session)
    found = [(one, rig_case({"mounting": {"id": one.id}}, reader, records)) for one in mountings]
    return [(one, case) for one, case in found if case is not None], more


def _records(session: Session, subject: Subject, mountings: Iterable[Mounting]) -> dict[str, Record]:
    return get_records(session, subject, {_link(one, subject) for one in mountings})


def _link(mounting: Mounting, subject: str) -> str:
    return {"vehicle": mounting.vehicle_id, "receiver": mounting.receiver_id, "mounting": mounting.id}[subject]


def _place(mounting: Mounting, name: str) -> Place:
    subject, _, short = name.partition(".")
    return Place(cast(Subject, subject), _link(mounting, subject), short)


def chosen(sets: Counter[Places], most: int) -> list[tuple[Place, int]]:
    """The readings that decide most, a few at a time, each with how many it decides after those before it."""
    chosen: list[tuple[Place, int]] = []
    while len(chosen) < most and (some := best_readings(sets, min(most - len(chosen), MOST_FACTS))):
        before = frozenset[Place]()
        for place in sorted(some, key=lambda one: (-_decided(sets, frozenset({one})), one)):
            chosen.append((place, _decided(sets, before | {place}) - _decided(sets, before)))
            before |= {place}
        left = Counter[Places]()
        for places, count in sets.items():
            left[places - some] += count
        sets = Counter({places: count for places, count in left.items() if places})
    return chosen


def best_readings(sets: Counter[Places], room: int) -> Places:
    """So many readings, or fewer, that decide most: of those that hang together, and of what is apart from these."""
    pieces = sorted(((_decided(sets, one), sorted(one)) for one in _pieces(sets, room)), reverse=True)
    best: list[list[tuple[int, list[Place]]]] = [[] for _ in range(room + 1)]
    for piece in pieces:
        # Two pieces of a size at the most are in the way of a third.
        best[len(piece[1])] += [piece] if len(best[len(piece[1])]) < room else []
    some = [piece for of_size in best for piece in of_size]
    found, top = frozenset[Place](), 0
    for count in range(1, room + 1):
        for those in combinations(some, count):
            places = frozenset(place for _, piece in those for place in piece)
            decided = _decided(sets, places) if len(places) <= room else 0
            if decided > top:
                found, top = places, decided
    return found


def _pieces(sets: Counter[Places], room: int) -> set[Places]:
    """The sets of readings that something waits for, and those joined that share a reading."""
    fit = {one for one in sets if len(one) <= room}
    found, by_place = set(fit), dict[Place, list[Places]]()
    for one in fit:
        for place in one if len(one) > 1 else ():
            by_place.setdefault(place, []).append(one)
    for those in by_place.values():
        most = sorted(those, key=lambda one: (-_decided(sets, one), sorted(one)))[:_MOST_PARTNERS]
        found |= {one | other for one, other in combinations(most, 2) if len(one | other) <= room}
    return found


def _decided(sets: Counter[Places], some: Places) -> int:
    """How many answers wait for nothing but some readings."""
    below = (frozenset(one) for count in range(1, len(some) + 1) for one in combinations(some, count))
    return sum(sets.get(one, 0) for one in below)


def _reading(session: Session, reader: FactReader, place: Place, decides: int, mountings: int) -> WorkReading | None:
    record = get_records(session, place.subject, [place.record]).get(place.record)
    if record is None:
        return None
    fact = reader.subjects[place.subject][place.fact]
    return WorkReading(
        subject=place.subject,
        record=place.record,
        name=record.label,
        fact=place.fact,
        label=fact.label,
        ask=ASK[fact.effort],
        how=fact.how_to_measure,
        decides=decides,
        mountings=mountings,
        state=record.provenance.get(place.fact, {}).get("state", ""),
    )
