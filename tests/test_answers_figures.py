"""Figures as they are told: in the units asked for, never more than a limit allows, and every one that may be true."""

from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest
from demo_world import answerer
from judging import case

from fitsvc.answers.answer import encode
from fitsvc.answers.answering import Answerer
from fitsvc.answers.governing import governing_fact
from fitsvc.answers.readings import grid_of
from fitsvc.audits.outliers import CatalogueFigures, suspicious
from fitsvc.audits.spool import Spool
from fitsvc.engine.limits import limits_of
from fitsvc.language.display import System, show_down, step
from fitsvc.language.quantities import parse_any
from fitsvc.language.types import ListType
from fitsvc.planning.telling import PlanTelling
from fitsvc.subjects import KIND

SYSTEMS: tuple[System, ...] = ("us", "metric")


@pytest.mark.parametrize("system", SYSTEMS)
@pytest.mark.parametrize("unit", ["in", "ft", "lb", "deg", "kN", "ft-lb"])
def test_a_limit_is_told_at_most_as_high_as_it_is(unit: str, system: System) -> None:
    """Rounded down, to a figure of the unit: never more than the limit, and less than a step of display below it."""
    by = step(unit, system)
    for steps in (0.0, 0.25, 0.5, 0.96, 1.0, 7.4, 7.6, 119.999, 599.6):
        told = parse_any(show_down(steps * by, unit, system))[0]
        assert steps * by - by < told <= steps * by + 1e-6, (steps, show_down(steps * by, unit, system))


def test_a_question_asked_in_both_units_is_answered_in_each() -> None:
    """What was worked out for one system of units is not told in the other, in whichever order they are asked."""
    receiver = {"opening": "2 in", "pin_hole": "5/8 in", "tongue_rating": "500 lb"}
    carrier = {"kind": "cargo_carrier", "shank": "2 in", "pin": "5/8 in", "rear_extent": "40 in", "lowest_drop": "6 in"}
    asked = {"rig": {"receiver": {"facts": receiver}}, "accessory": {"facts": carrier}}
    rulebook = answerer().rulebook
    first = Answerer(rulebook)
    us, metric = (encode(first.answer(asked, system=system)) for system in SYSTEMS)
    second = Answerer(rulebook)
    assert (encode(second.answer(asked, system="metric")), encode(second.answer(asked))) == (metric, us)
    assert b" mm" in metric and b" mm" not in us


def test_the_readings_of_a_fact_reach_beyond_what_may_be_true() -> None:
    """They end at whole steps outside of what is known, or at the end of what is plausible."""
    engine = answerer().engine
    fact = engine.rulebook.vocabulary.facts["mounting.pin_to_bumper"]
    slot = next(read for read in engine.support(_number("ball-clears-bumper"), False).leaves if read.name == fact.name)
    shown = engine.rulebook.shown(slot, fact.shown_in)
    for system in SYSTEMS:
        for low, high in ((100.3, 101.9), (-3.2, 250.7), (25.4, 25.4)):
            grid = grid_of(slot.type, shown, fact.range, (low, high), system)
            assert grid.low * grid.step <= low + 1e-6 and high - 1e-6 <= grid.high * grid.step, grid


def _number(id: str) -> int:
    return next(number for number, rule in enumerate(answerer().rulebook.rules) if rule.id == id)


def test_a_rating_known_in_bounds_governs_by_the_fact_it_is() -> None:
    """It counts at its low end, and the label to look at is told, not the name of the computation."""
    engine = answerer().engine
    bounds = {"at_least": "300 lb", "at_most": "500 lb"}
    told = case({"accessory.kind": "cargo_carrier", "receiver.tongue_rating": bounds})
    low = limits_of(engine, told)["hanging-weight"]
    assert low.governs is not None and low.at_most is not None
    assert round(low.at_most / 0.45359237) == 300
    assert governing_fact(engine, low.governs, low.at_most, told) == "receiver.tongue_rating"


def test_a_set_that_only_adds_to_a_better_one_is_not_told() -> None:
    """Of sets in their order, one that holds all of an earlier one is left out; others are told."""
    planner = cast(Any, SimpleNamespace(_set=lambda one: one.skus))
    sets = [SimpleNamespace(skus=frozenset(skus)) for skus in ("ab", "abc", "cd", "abd", "bc")]
    told: list[Any] = list(PlanTelling._sets(planner, cast(Any, sets)))
    assert ["".join(sorted(one)) for one in told] == ["ab", "cd", "bc"]


def test_a_figure_in_bounds_is_not_taken_for_one_that_stands_apart() -> None:
    """Of a weight that is known exactly it is told that it lies far off; of one between two figures nothing is."""
    vocabulary = answerer().rulebook.vocabulary
    kinds = vocabulary.facts[KIND].type
    assert isinstance(kinds, ListType)
    low = np.array([*np.linspace(10.0, 14.0, 30), 900.0, 900.0])
    high = low.copy()
    high[-1] = 950.0
    columns = {KIND: np.full(len(low), np.uint64(kinds.mask("ball_mount"))), "accessory.weight": (low, high)}
    items = SimpleNamespace(skus=range(len(low)), columns=columns)
    spool = cast(Spool, SimpleNamespace(block=lambda _: items, skus=lambda _: range(len(low))))
    slots = {"accessory.weight": vocabulary.slots()["accessory.weight"]}
    found = list(suspicious(CatalogueFigures(spool, 1, slots, [*kinds.members, "not known"], vocabulary), {}))
    assert [one.item for one in found] == [len(low) - 2]
