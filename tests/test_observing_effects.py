"""Which saved rigs answer otherwise is what asking each accessory before and after tells, however they are held."""

from collections import Counter
from dataclasses import replace
from typing import Any

import pytest
from demo_world import answerer
from sqlalchemy import event
from test_selection import Stocked, accessories, rigs, stocked

from fitsvc.answers.shelf import read_items
from fitsvc.facts import Case
from fitsvc.observing.effects import MOST_TOLD, RIG_ITSELF, RigCase, effects
from fitsvc.observing.recording import observe
from fitsvc.selection.segments import Snapshot, case_of
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
    engine, reader = answerer().engine, answerer().reader
    items, held = read_items(reader, accessories()), stocked(10).held()
    (part,) = held.parts
    some = part.without([row for row in range(len(part.alive)) if row < loose])
    held = Snapshot(
        revision="1",
        parts=(some,),
        loose=tuple(sorted(items, key=lambda item: item.sku)[:loose]),
        unreadable=2,
    )
    before = [RigCase(str(number), "", case) for number, (_, case) in enumerate(rigs())]
    after = [replace(one, case=changed(one.case, pin_to_bumper=350.0, height=250.0)) for one in before]
    found = effects(engine, reader, before, after, lambda: held)
    wanted = {}
    for was, now in zip(before, after, strict=True):
        asked = [(item.sku, [case_of(one.case, item, reader) for one in (was, now)]) for item in items]
        if was.case.adapters or "spare" in was.case.present:
            asked.append((RIG_ITSELF, [was.case, now.case]))
        told = sorted((sku, *(engine.evaluate(case).outcome for case in pair)) for sku, pair in asked)
        differ = [one for one in told if one[1] != one[2]]
        if differ:
            counts = tuple(dict(Counter(outcomes)) for outcomes in list(zip(*told, strict=True))[1:])
            wanted[was.key] = (*counts, len(differ), tuple(differ[:MOST_TOLD]))
    assert {one.rig: (one.before, one.after, one.count, one.changed) for one in found.changed} == wanted
    assert len(wanted) > 3
    assert (found.rigs, found.accessories_left_off) == (len(before), 2)


def test_nothing_is_read_for_rigs_that_stay_as_they_are() -> None:
    """The catalogue is not asked for where no rig has changed."""
    before = [RigCase("a", "", rigs()[0][1])]

    def held() -> Any:
        raise AssertionError("the catalogue was read")

    assert effects(answerer().engine, answerer().reader, before, before, held).changed == ()


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
