"""Which saved rigs answer otherwise is what asking each accessory before and after tells, however they are held."""

import json
from collections import Counter
from dataclasses import replace
from functools import cache
from random import Random
from typing import Any

import pytest
from demo_world import answerer
from effort import EFFORT
from sqlalchemy import event
from test_selection import Stocked, accessories, rigs, stocked

from fitsvc.answers.shelf import Item, read_items
from fitsvc.facts import Case
from fitsvc.observing.effects import MOST_TOLD, RigCase, effects
from fitsvc.observing.recording import observe
from fitsvc.selection import comparing
from fitsvc.selection.comparing import RIG_ITSELF
from fitsvc.selection.folding import Folding, read_facts
from fitsvc.selection.rows import StoredAccessory
from fitsvc.selection.segments import Segment, Snapshot, case_of, whole
from fitsvc.store.creation import create_record
from fitsvc.store.database import Database
from fitsvc.store.observations import Provenance
from fitsvc.store.records import Draft
from fitsvc.store.rigs import create_rig

__all__ = ["stocked"]


def changed(case: Case, **facts: Any) -> Case:
    """The case of a rig with some of its mounting's facts told anew."""
    values = {f"mounting.{name}": (value, value) for name, value in facts.items()}
    return replace(case, facts={**case.facts, **values})


@pytest.mark.parametrize("loose", [0, 40, 1_000])
def test_effects_are_what_each_accessory_tells(stocked: Stocked, loose: int) -> None:
    """Counts before and after, how many change, and the first by SKU, whether folded or one by one."""
    reader = answerer().reader
    items, held = read_items(reader, accessories()), stocked(10).held()
    (part,) = held.parts
    some = part.without([row for row in range(len(part.alive)) if row < loose])
    held = Snapshot(
        revision="1",
        parts=(some,),
        loose=tuple(sorted(items, key=lambda item: item.sku)[:loose]),
        unreadable=2,
    )
    before, after = ([pair[side] for pair in moved()] for side in (0, 1))
    found = effects(answerer().columns, reader, before, after, lambda: held)
    wanted = {}
    for was, _ in moved():
        told = told_of_moved()[was.key]
        differ = [one for one in told if one[1] != one[2]]
        if differ:
            items_alone = [one for one in told if one[0] != RIG_ITSELF]
            counts = tuple(dict(Counter(outcomes)) for outcomes in list(zip(*items_alone, strict=True))[1:])
            wanted[was.key] = (*counts, len(differ), tuple(differ[:MOST_TOLD]))
    assert {one.rig: (one.before, one.after, one.count, one.changed) for one in found.changed} == wanted
    assert len(wanted) > 3
    assert (found.rigs, found.accessories_left_off) == (len(before), 2)


def moved() -> list[tuple[RigCase, RigCase]]:
    """Each of the demo's rigs before and after its receiver is told to sit elsewhere, which some answer otherwise."""
    cases = [RigCase(f"moved {number}", "", case) for number, (_, case) in enumerate(rigs())]
    return [(one, replace(one, case=changed(one.case, pin_to_bumper=350.0, height=250.0))) for one in cases]


READ = ("vehicle", "receiver", "mounting")


@cache
def told_of_moved() -> dict[str, list[tuple[str, Any, Any]]]:
    """What each accessory, and the rig itself, comes to on those before and after, by the rig."""
    engine, reader, found = answerer().engine, answerer().reader, dict[str, Any]()
    for was, now in moved():
        items = read_items(reader, accessories())
        asked = [(one.sku, [case_of(rig.case, one, reader) for rig in (was, now)]) for one in items]
        if was.case.adapters or "spare" in was.case.present:
            asked.append((RIG_ITSELF, [was.case, now.case]))
        found[was.key] = sorted((sku, *(engine.evaluate(case).outcome for case in pair)) for sku, pair in asked)
    return found


def drawn(random: Random, count: int) -> list[tuple[RigCase, RigCase]]:
    """The demo's rigs before and after a reading: a fact or two as of another rig, otherwise, or not known."""
    cases, rows = [case for _, case in rigs()], []
    for number in range(count):
        case, other = random.choice(cases), random.choice(cases).facts
        pair = [dict(case.facts), dict(case.facts)]
        names = sorted(name for name in case.facts.keys() | other.keys() if name.split(".")[0] in READ)
        for facts in random.choice((pair, pair[1:])):  # of many rigs something else is unlike too
            for name in random.sample(names, min(len(names), random.randint(1, 2))):
                value, nearly = other.get(name), facts.get(name)
                if isinstance(nearly, tuple) and random.random() < 0.5:
                    by = random.choice((0.25, 0.6, 0.9, 1.2, 2.0))
                    facts[name] = (nearly[0] * by, nearly[1] * by)
                elif value is None:
                    facts.pop(name, None)
                else:
                    facts[name] = value
        rows.append(tuple(RigCase(str(number), "", replace(case, facts=facts)) for facts in pair))
    return rows  # type: ignore[return-value]  # of two each


@cache
def every_item() -> list[Item]:
    """The accessories of the shop that can be read, in the order of their SKUs."""
    reader = answerer().reader
    read = [(one.sku, read_facts(reader, one.facts)) for one in in_order()]
    return [replace(item, sku=sku) for sku, item in read if item is not None]


@cache
def in_order() -> list[StoredAccessory]:
    """The accessories as the store has them."""
    return sorted(StoredAccessory(one.key, one.label, json.dumps(one.facts), 0) for one in accessories())


@cache
def told_one_by_one(seed: int) -> tuple[list[tuple[RigCase, RigCase]], dict[str, Any]]:
    """Random rigs before and after, and by each whose answers differ what each item by itself comes to."""
    # Of those drawn none may answer otherwise; of these some do.
    rows = drawn(Random(seed), 40) + moved()
    engine, reader, every, wanted = answerer().columns.engine, answerer().reader, every_item(), dict[str, Any]()
    for was, now in rows:
        told = [
            (one.sku, *(engine.evaluate(case_of(rig.case, one, reader)).outcome for rig in (was, now)))
            for one in every[:30] + every[40:]
        ]
        if was.case.adapters or "spare" in was.case.present:
            told.insert(0, (RIG_ITSELF, *(engine.evaluate(rig.case).outcome for rig in (was, now))))
        differ = [one for one in told if one[1] != one[2]]
        if differ:
            items_alone = [one for one in told if one[0] != RIG_ITSELF]
            counts = tuple(dict(Counter(outcomes)) for outcomes in list(zip(*items_alone, strict=True))[1:])
            wanted[was.key] = (*counts, len(differ), tuple(differ[:MOST_TOLD]))
    return rows, wanted


@pytest.mark.parametrize("seed", range(3 * EFFORT))
@pytest.mark.parametrize("singly", [0, 10_000])
def test_what_is_judged_anew_alone_is_what_all_of_it_tells(
    seed: int, singly: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of random rigs, readings and items, folded, gone and loose: the same as each rig and item judged by itself."""
    monkeypatch.setattr(comparing, "_SINGLY", singly)
    monkeypatch.setattr(comparing, "_TOGETHER", 4)
    reader, columns, every = answerer().reader, answerer().columns, every_item()
    folding = Folding(columns, reader)
    folding.add(in_order()[:-20])
    part = whole(Segment(columns, reader, folding.tables())).without(range(10, 40))
    held = Snapshot(revision="1", parts=(part,), loose=tuple(every[10:30] + every[-20:]), unreadable=0)
    rows, wanted = told_one_by_one(seed)
    before, after = ([pair[side] for pair in rows] for side in (0, 1))
    found = effects(columns, reader, before, after, lambda: held)
    assert {one.rig: (one.before, one.after, one.count, one.changed) for one in found.changed} == wanted
    assert len(wanted) > 3


def test_nothing_is_read_for_rigs_that_stay_as_they_are() -> None:
    """The catalogue is not asked for where no rig has changed."""
    before = [RigCase("a", "", rigs()[0][1])]

    def held() -> Any:
        raise AssertionError("the catalogue was read")

    assert effects(answerer().columns, answerer().reader, before, before, held).changed == ()


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_the_records_of_all_rigs_are_read_at_once(database: Database) -> None:
    """However many mountings the rigs are on, a reading asks the database as often."""
    asked: list[str] = []
    event.listen(database._engine, "before_cursor_execute", lambda *call: asked.append(call[2]))
    with database.session() as session:
        create_record(session, "receiver", Draft(key="rcv_1"))
    counts = list[int]()
    for many in (2, 9):
        with database.session() as session:
            for n in range(many):
                key = f"{many}_{n}"
                create_record(session, "vehicle", Draft(key=f"veh_{key}"))
                links: dict[str, Any] = {"vehicle_id": f"veh_{key}", "receiver_id": "rcv_1"}
                create_record(session, "mounting", Draft(key=f"mnt_{key}", **links))
                create_rig(session, key, {"mounting": {"id": f"mnt_{key}"}}, f"rig_{key}")
        asked.clear()
        with database.session() as session:
            about = {"subject": "receiver", "record": "rcv_1", "facts": {"tongue_rating": f"{many}00 lb"}}
            seen = observe(session, answerer().reader, about, Provenance(kind="measured", by="Ann"))
        assert len(seen.touched.before) == len(seen.touched.after) >= many
        counts.append(len(asked))
    assert counts[0] == counts[1]
