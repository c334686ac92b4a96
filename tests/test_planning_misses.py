"""What a plan tells as nearest to serving is nearest of all there is, by trying each and by the rules as written.

By how much a rule is broken is worked out here from its text (`interpreter`), and by the planner from compiled rules,
for all that are alike at once.
"""

from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from random import Random
from typing import Any

import pytest
from demo_world import answerer, stock, world
from effort import EFFORT
from interpreter import Reading, Texts, read_texts, tree
from test_planning import VEHICLES, WISHES, _kinds, plan, scarce

from fitsvc.answers.question import read_question
from fitsvc.answers.shelf import Item, Stock
from fitsvc.engine.verdict import Verdict
from fitsvc.facts import Case
from fitsvc.language import syntax
from fitsvc.language.quantities import LENGTH, MASS
from fitsvc.paths import data_dir
from fitsvc.planning.parts import with_items
from fitsvc.planning.plan import Plan, PlanMiss

AS_MUCH = {MASS: 10.0, LENGTH: 25.4}
"""Kilograms and millimetres that count alike; anything else counts as it is."""
OTHER_PART = 100.0
"""What a rule counts that compares no figures: it takes another part."""
HOLDS = ("works", "conditional")


@cache
def texts() -> Texts:
    """The shipped rules as they are written."""
    return read_texts(data_dir("rules"))


@cache
def requirements() -> dict[str, syntax.AnyNode]:
    """What each rule requires, by its id."""
    return {rule["id"]: tree(rule["requires"]) for rule in texts().rules}


def far(case: Case, verdict: Verdict) -> tuple[int, float]:
    """How many rules refuse a case, and by how much they are broken together at the least."""
    reading, rules = Reading(texts(), case), answerer().rulebook.rules
    return len(verdict.fails), sum(_broken(reading, rules[number]) for number in verdict.fails)


def _broken(reading: Reading, rule: Any) -> float:
    if rule.margin is None:
        return OTHER_PART
    node = requirements()[rule.id]
    assert isinstance(node, syntax.Comparison)
    (low, high), (least, most) = reading.number(node.left), reading.number(node.right)
    return min(abs(low - most), abs(high - least)) / AS_MUCH.get(rule.margin.dimension, 1.0)


def compared(found: Plan, miss: PlanMiss, shelf: Stock, wish: Any) -> Iterator[tuple[Item, Case, Verdict]]:
    """Each accessory that a wish is after, bare on the receiver of a miss, but for those that the best set serves."""
    assert miss.question is not None
    asked = {name: part for name, part in miss.question.items() if name not in ("accessory", "ball")}
    case = read_question({**asked, "accessory": {}}, answerer().reader, world()).case
    case = replace(case, present=case.present - {"accessory"})
    rig = found.best.wishes[miss.wish].question["rig"] if found.best else {}
    same = rig.get("receiver") == miss.question["rig"].get("receiver")
    held = {one["sku"] for one in rig.get("adapters", ())} if same else set()
    adapters = tuple(item.values for item in shelf.items("adapter") if item.sku in held)
    for item in shelf.items("accessory"):
        assert isinstance(item.kind, int)
        if item.kind & ~_kinds(wish):
            continue
        with_it = with_items(case, answerer().reader, item)
        if adapters and answerer().engine.evaluate(replace(with_it, adapters=adapters)).outcome in HOLDS:
            continue
        yield item, with_it, answerer().engine.evaluate(with_it)


@pytest.mark.parametrize("seed", range(12 * EFFORT))
def test_f17_no_miss_is_nearer_than_that_told(seed: int) -> None:
    """Of all that a wish is after none breaks fewer rules, or as few by less, whatever stands on the shelf."""
    random = Random(seed)
    shelf = scarce(random) if seed % 2 else stock()
    vehicle, wishes = random.choice(VEHICLES), random.sample(WISHES, 2)
    found = plan(vehicle, *wishes, shelf=shelf)
    for miss in found.misses:
        if miss.question is None or "accessory" not in miss.question:
            continue
        every = list(compared(found, miss, shelf, wishes[miss.wish]))
        away = {item.sku: far(case, of) for item, case, of in every if of.outcome not in HOLDS}
        told = away.get(miss.question["accessory"]["sku"])
        if told is None:  # it fits, and a ball or pin for it is not to be had
            assert len(away) < len(every)
            continue
        fails, by = min(away.values())
        assert told[0] == fails and told[1] == pytest.approx(by), (vehicle, miss.parts, away)


def test_what_only_waits_to_be_known_is_told_before_what_is_refused() -> None:
    """Four bikes of no told weight go behind a sleeve on a carrier for four, if they weigh no more than it says.

    What it says to find out first serves, told as it says.
    """
    wish: dict[str, Any] = {"name": "bikes", "load": {"facts": {"bikes": 4}}}
    found = plan("veh_oxter_2024", wish, parts_at_most=6)
    assert found.best is None and found.misses[0].outcome == "undetermined"
    assert [miss.outcome for miss in found.misses[1:]] == ["fails"] * (len(found.misses) - 1)
    assert "surely serves" in found.summary and "First find out the weight of each bike" in found.summary
    assert "at most 40 lb" in found.summary and "No." not in found.summary
    told = {**wish, "load": {"facts": {"bikes": 4, "bike_weight": "40 lb"}}}
    served = plan("veh_oxter_2024", told, parts_at_most=6).best
    assert served is not None and {*found.misses[0].parts} == {*served.wishes[0].parts}
