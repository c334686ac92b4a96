"""Which saved rigs answer otherwise is what asking each accessory before and after tells, however they are held."""

from collections import Counter
from dataclasses import replace
from typing import Any

import pytest
from demo_world import answerer
from test_selection import Stocked, accessories, rigs, stocked

from fitsvc.answers.shelf import read_items
from fitsvc.facts import Case
from fitsvc.observing.effects import MOST_TOLD, RIG_ITSELF, RigCase, effects
from fitsvc.selection.segments import Snapshot, case_of

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
