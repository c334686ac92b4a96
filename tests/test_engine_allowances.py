"""What a carrier may carry: with exactly that on it the rig is as before, with a unit more it is not."""

import random
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from math import inf
from typing import Any

import pytest
from demo_world import answerer, world
from effort import EFFORT
from judging import answer, case, result

from fitsvc.answers.answer import AllowanceShown
from fitsvc.answers.question import read_question
from fitsvc.engine.verdict import Verdict
from fitsvc.facts import Case
from fitsvc.language.quantities import UNITS
from fitsvc.language.types import Value

LB = float(UNITS["lb"][1])
DRIVER = 150 * LB
CARGO = {
    "accessory.kind": "cargo_carrier",
    "accessory.weight": "60 lb",
    "accessory.capacity": "240 lb",
    "receiver.tongue_rating": "300 lb",
}
BIKES = {
    "accessory.kind": "bike_carrier",
    "accessory.weight": "40 lb",
    "accessory.capacity": "120 lb",
    "accessory.bikes_max": 2,
    "accessory.bike_weight_max": "60 lb",
    "receiver.tongue_rating": "300 lb",
}
AXLE = {
    "accessory.length": "14 in",
    "mounting.pin_to_bumper": "4 in",
    "vehicle.rear_overhang": "40 in",
    "vehicle.wheelbase": "120 in",
    "vehicle.curb_weight_rear": "2500 lb",
}


def told(facts: Mapping[str, Any], *adapters: Mapping[str, Any]) -> AllowanceShown | None:
    """What may be carried where these facts are told."""
    return answerer().allowances.told(answerer().engine.opened(case(facts, adapters)), "us")


@pytest.mark.parametrize(
    ("facts", "adapters", "at_most", "against"),
    [
        (CARGO, [], "240 lb", "load-on-accessory/accessory.capacity"),
        # By hand: the lowest rating, less the carrier's own 60 lb.
        ({**CARGO, "receiver.tongue_rating": "200 lb"}, [], "140 lb", "hanging-weight/opening.tongue_rating"),
        ({**CARGO, "vehicle.tongue_rating": "250 lb"}, [], "190 lb", "hanging-weight/hanging.vehicle_bears"),
        # An S value of 75 kg is 165 lb; 105 lb are left, rounded down.
        ({**CARGO, "receiver.vertical_rating": "75 kg"}, [], "105 lb", "hanging-weight/hanging.plate_bears"),
        # Half of 300 lb is left at the end of the extension, less its own 20 lb; not weighed, it may weigh 60 lb.
        (CARGO, [{"kind": "extension", "keeps_fraction": "50 %", "tongue_rating": "300 lb", "weight": "20 lb"}],
         "70 lb", "hanging-weight/opening.tongue_rating"),
        (CARGO, [{"kind": "extension", "keeps_fraction": "50 %", "tongue_rating": "300 lb"}], "30 lb",
         "hanging-weight/opening.tongue_rating"),
        # The extension is a lever on the vehicle's own rating too: half of 250 lb, less the 60 lb that it may weigh.
        ({**CARGO, "receiver.tongue_rating": "600 lb", "vehicle.tongue_rating": "250 lb"},
         [{"kind": "extension", "keeps_fraction": "50 %", "tongue_rating": "600 lb"}], "5 lb",
         "vehicle-bears-the-extension"),
        # 5000 lb less 4700 lb less a driver of 150 lb (the usual allowance a person) is 150 lb, with the carrier's own.
        ({**CARGO, "vehicle.gvwr": "5000 lb", "vehicle.curb_weight": "4700 lb"}, [], "90 lb",
         "people-and-luggage/payload.left_with_carrier"),
        ({**CARGO, "vehicle.placard_capacity": "300 lb"}, [], "90 lb", "people-and-luggage/payload.left_with_carrier"),
        # The published placard example: 1,400 lb less five of 150 lb leaves 650 lb, of which the receiver bears 300 lb.
        ({**CARGO, "vehicle.placard_capacity": "1400 lb", "load.occupants_weight": "750 lb"}, [], "240 lb",
         "load-on-accessory/accessory.capacity"),
        ({**CARGO, "vehicle.placard_capacity": "1000 lb", "load.occupants_weight": "750 lb"}, [], "190 lb",
         "people-and-luggage/payload.left_with_carrier"),
        # At 50 in behind the axle of a 120 in wheelbase a weight counts 17/12 of itself: 2926 - 2500 - 150 is 276 lb,
        # that is 194.8 lb of carrier and load.
        ({**CARGO, **AXLE, "vehicle.gawr_rear": "2926 lb"}, [], "134 lb", "rear-axle-with-carrier"),
        # 5/12 of the weight comes off the front axle, of which a tenth may: 100 lb are 240 lb behind.
        ({**CARGO, **AXLE, "vehicle.curb_weight_front": "1000 lb"}, [], "180 lb", "front-axle-with-carrier"),
        (BIKES, [], "120 lb", "load-on-accessory/accessory.capacity"),
        ({**BIKES, "receiver.tongue_rating": "133 lb"}, [], "93 lb", "hanging-weight/opening.tongue_rating"),
    ],
)  # fmt: skip
def test_the_lowest_of_all_that_bears_it_counts(
    facts: dict[str, Any], adapters: list[dict[str, Any]], at_most: str, against: str
) -> None:
    """Worked by hand from the ratings; whatever rule reads the load counts, named nowhere."""
    found = told(facts, *adapters)
    assert found and found.at_most == at_most and against in found.against


UNSURE = "how much it may carry is not sure until it is weighed as it is loaded"


def test_a_weaker_axle_is_never_promised_more() -> None:
    """Where 300 lb of people may sit over the axle or before it, a load that only then passes is not promised.

    2926 - 2500 - 300 lb by the lever of 17/12 are 88.9 lb of carrier and load; at 2870 lb less than the carrier's own
    60 lb is surely left, though the axle alone without the people would bear 201 lb on it.
    """
    people = {**CARGO, **AXLE, "load.occupants_weight": "300 lb"}
    found = [told({**people, "vehicle.gawr_rear": f"{gawr} lb"}) for gawr in range(3300, 2590, -12)]
    most = [pounds(one.at_most) if one and one.at_most else -1.0 for one in found]
    assert most == sorted(most, reverse=True) and most[0] > 100 * LB and most[-1] == -1.0
    assert [one.told for one in found if one and not one.at_most] == [UNSURE] * most.count(-1.0)
    near = told({**people, "vehicle.gawr_rear": "2926 lb"})
    assert near and near.at_most == "28 lb"


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        (CARGO, "with up to 240 lb on it by what is known, a driver alone aboard"),
        (
            {**CARGO, "receiver.tongue_rating": "200 lb"},
            "with at most 140 lb on it (its own label allows 240 lb) by what is known, a driver alone aboard",
        ),
        (BIKES, "with up to 2 bikes of 60 lb by what is known, a driver alone aboard"),
        ({**BIKES, "accessory.bikes_max": 1}, "with up to 1 bike of 60 lb by what is known, a driver alone aboard"),
        (
            {**BIKES, "accessory.bikes_max": 4},
            "with up to 4 bikes of 60 lb, 120 lb in all by what is known, a driver alone aboard",
        ),
        (
            {**BIKES, "receiver.tongue_rating": "40 lb"},
            "with nothing on it (its own label allows 120 lb) by what is known, a driver alone aboard",
        ),
        (
            {**CARGO, "receiver.tongue_rating": None},
            "what it may carry is not known until the receiver's tongue rating is known",
        ),
        (
            {**CARGO, "accessory.capacity": None},
            "what it may carry is not known until the accessory's capacity is known",
        ),
        (
            {**BIKES, "accessory.bike_weight_max": None},
            "what it may carry is not known until the bike weight the carrier allows is known",
        ),
    ],
)
def test_it_is_told_in_words(facts: dict[str, Any], words: str) -> None:
    """As a clerk reads it out, and what is not known is never a yes."""
    found = told({name: wire for name, wire in facts.items() if wire is not None})
    assert found and found.told == words


def test_what_is_kept_of_one_case_is_not_told_of_another() -> None:
    """The same facts are told again what they were told, others what they come to, in the units that are asked for."""
    words = answerer().allowances
    lower, higher = (case({**CARGO, "receiver.tongue_rating": rating}) for rating in ("200 lb", "250 lb"))
    told = [words.told(one, "us") for one in (lower, higher, lower)]
    assert [one and one.at_most for one in told] == ["140 lb", "190 lb", "140 lb"]
    metric = words.told(lower, "metric")
    assert metric and metric.at_most == "63 kg"


def test_a_rating_known_in_bounds_counts_at_its_low_end() -> None:
    """The allowance is at most what is surely allowed."""
    found = told({**CARGO, "receiver.tongue_rating": {"at_least": "200 lb", "at_most": "400 lb"}})
    assert found and (found.at_most, found.whole) == ("140 lb", False)


def test_with_a_load_named_or_nothing_to_carry_it_on_there_is_none() -> None:
    """The question is answered as it is asked, and a ball mount carries nothing."""
    assert told({**CARGO, "load.cargo_weight": "100 lb"}) is None
    assert told({"accessory.kind": "ball_mount", "receiver.tongue_rating": "300 lb"}) is None
    assert answer({**CARGO, "load.cargo_weight": "100 lb"}).allowance is None


def test_an_answer_that_is_no_allows_nothing() -> None:
    """What does not go on the rig carries nothing there."""
    found = answer({**CARGO, "accessory.shank": "2 in", "receiver.opening": "1-1/4 in"})
    assert (found.outcome, found.allowance) == ("fails", None)


@pytest.mark.parametrize(
    ("facts", "name"),
    [
        (CARGO, "accessory.capacity"),
        (BIKES, "accessory.capacity"),
        (BIKES, "accessory.bikes_max"),
        (BIKES, "accessory.bike_weight_max"),
        ({"accessory.kind": "step", "accessory.capacity": "300 lb"}, "accessory.capacity"),
    ],
)
def test_a_label_told_from_above_alone_is_no_label_read(facts: dict[str, Any], name: str) -> None:
    """What is at most so much may be nothing: the label is to be read, as where nobody tells it."""
    most = {"at_most": facts[name]}
    untold = {other: wire for other, wire in facts.items() if other != name}
    for told in (untold, {**untold, name: most}):
        assert result("label-tells-the-load", told) == "undetermined"
    assert result("label-tells-the-load", {**untold, name: {**most, "at_least": facts[name]}}) == "passes"


ASSUMED = "Nobody tells the placard's figure, so GVWR less curb weight counts as the payload."


def test_where_reading_the_placard_could_change_it_the_assumption_is_told() -> None:
    """Whatever gets worse by a placard that names less rests on GVWR less curb weight, and says so."""
    worse = 0
    pairs = {(rig, sku) for rig in world().rigs for sku in (one.key for one in world().of("accessory"))}
    for rig, sku in random.Random(3).sample(sorted(pairs), 60 * EFFORT):
        read = read_question({"rig": {"id": rig}, "accessory": {"sku": sku}}, answerer().reader, world()).case
        facts = {name: told for name, told in read.facts.items() if name != "vehicle.placard_capacity"}
        blank = replace(read, facts=facts, present=read.present - {"vehicle.placard_capacity"})
        little: dict[str, Value] = {**facts, "vehicle.placard_capacity": (LB, LB)}
        told_so = replace(read, facts=little, present=read.present | answerer().reader.named(little, read.adapters))
        judged = [answerer().engine.evaluate(one) for one in (blank, told_so)]
        if judged[0].outcome == "fails" or judged[0].outcome == judged[1].outcome:
            continue
        if {"vehicle.gvwr", "vehicle.curb_weight"} <= facts.keys():
            worse += 1
            opened = answerer().engine.opened(blank)
            assert any(one.startswith(ASSUMED) for one in answerer().assumptions.told(opened, "us")), (rig, sku)
    assert worse > 3


LOADED = ("load-clears-door-spare", "carrier-takes-usual-tyres", "carrier-takes-usual-wheelbase")
"""What is asked of a load beyond what it weighs, once one is named."""
CARRIERS = [one.key for one in world().of("accessory") if "carrier" in str(one.facts["kind"])]
KG: Mapping[str, tuple[float, float]] = {
    "receiver.tongue_rating": (100, 700),
    "vehicle.tongue_rating": (100, 700),
    "receiver.vertical_rating": (100, 400),
    "accessory.weight": (20, 120),
    "accessory.capacity": (0, 600),
    "accessory.bike_weight_max": (20, 90),
    "vehicle.gvwr": (5000, 6500),
    "vehicle.curb_weight": (4000, 5500),
    "vehicle.placard_capacity": (200, 1500),
    "vehicle.gawr_rear": (2800, 3600),
    "vehicle.curb_weight_rear": (2000, 2900),
    "vehicle.curb_weight_front": (1000, 3000),
    "load.occupants_weight": (100, 900),
}
"""Ratings and weights to be drawn, in pounds, such that now this and now that governs."""


@cache
def fitting() -> tuple[Case, ...]:
    """Every pair of the demo's rigs and carriers that is not a no as it stands."""
    asked = [{"rig": {"id": rig}, "accessory": {"sku": sku}} for rig in sorted(world().rigs) for sku in CARRIERS]
    cases = (read_question(one, answerer().reader, world()).case for one in asked)
    return tuple(one for one in cases if answerer().engine.evaluate(one).outcome != "fails")


def drawn(chance: random.Random) -> Case:
    """One of the demo's rigs with one of its carriers, some figures drawn anew, some not known, some in bounds."""
    read = chance.choice(fitting())
    facts: dict[str, Value] = dict(read.facts)
    for name, (low, high) in KG.items():
        figure = chance.randint(int(low), int(high)) * LB
        match chance.randrange(12):
            case 0:
                facts.pop(name, None)
            case 1:
                facts[name] = (figure, figure * chance.choice((1.01, 1.5)))
            case 6:
                facts[name] = chance.choice(((0.0, figure), (figure, inf)))
            case 2 | 3 | 4 | 5:
                facts[name] = (figure, figure)
    if chance.random() < 0.3:
        facts["accessory.bikes_max"] = (count := float(chance.randint(1, 5)), count)
    adapters = read.adapters
    if chance.random() < 0.4:
        kind = answerer().rulebook.vocabulary.slots()["adapter.kind"]
        share, rating = chance.choice((0.4, 0.5, 1.0)), chance.randint(100, 600) * LB
        told: dict[str, Value] = {
            "adapter.kind": kind.mask(chance.choice(("extension", "dual_receiver"))),  # type: ignore[union-attr]  # the slot is a choice
            "adapter.adds_length": (200.0, 200.0),
            "adapter.tongue_rating": (rating, rating),
        }
        if chance.random() < 0.8:
            told["adapter.keeps_fraction"] = (share, share)
        adapters = (told,)
    present = frozenset(one for one in read.present if "." not in one) | {name.split(".")[0] for name in facts}
    return Case(facts, present | answerer().reader.named(facts, adapters), adapters, read.texts)


def loaded(one: Case, count: int | None, each: float) -> Verdict:
    """What the case comes to with a load named, and the driver counted, as the allowance does."""
    facts = dict(one.facts)
    facts |= (
        {"load.cargo_weight": (each, each)}
        if count is None
        else {"load.bikes": (float(count), float(count)), "load.bike_weight": (each, each)}
    )
    low, high = facts.get("load.occupants_weight", (DRIVER, DRIVER))  # type: ignore[misc]  # a number is told as a pair
    facts["load.occupants_weight"] = (max(low, DRIVER), max(high, DRIVER))
    present = one.present | {"load"} | answerer().reader.named(facts, one.adapters)
    return answerer().engine.evaluate(replace(one, facts=facts, present=present))


def amiss(verdict: Verdict) -> set[tuple[int, bool]]:
    """The rules that do not pass, and whether they surely fail."""
    fails, opens = [*verdict.fails, *verdict.cautions], [*verdict.unknown, *verdict.doubts]
    return {*((number, True) for number in fails), *((number, False) for number in opens)}


def pounds(text: str) -> float:
    """A figure as it is told, in the unit inside."""
    number, unit = text.split()
    assert unit == "lb"
    return float(number) * LB


@pytest.mark.parametrize("seed", range(8))
def test_exactly_so_much_may_be_loaded(seed: int) -> None:
    """With the allowance on it a rig does as it does without a load named; with a pound more a rule is against it."""
    chance, ids = random.Random(seed), [rule.id for rule in answerer().rulebook.rules]
    seen = {"whole": 0, "less": 0, "open": 0}
    for _ in range(150 * EFFORT):
        one = drawn(chance)
        bare = answerer().engine.evaluate(one)
        found = answerer().allowances.told(answerer().engine.opened(one), "us")
        assert found
        if bare.outcome == "fails":
            continue
        if not found.at_most:
            seen["open"] += 1
            assert bare.outcome != "works" and (found.unknown or found.told == UNSURE)
            continue
        seen["whole" if found.whole else "less"] += 1
        count, most = found.count, pounds(found.at_most)
        times = count or 1
        within, beyond = (loaded(one, count, weight / times) for weight in (most, most + LB))
        if bare.outcome in ("works", "conditional"):
            assert within.outcome in ("works", "conditional"), found
        against = {ids[number] for number, _ in amiss(beyond) - amiss(within)}
        assert against == set(found.against) and against, found
        if any(ids[number] in against for number in (*beyond.fails, *beyond.unknown)):
            assert beyond.outcome in ("fails", "undetermined")
        if count is not None:
            each = pounds(found.each)
            alone, heavier = loaded(one, 1, each), loaded(one, 1, each + LB)
            assert not amiss(alone) - amiss(within) and amiss(heavier) - amiss(alone)
            assert amiss(loaded(one, count + 1, 0.0)) - amiss(within)
        # Held by what its label allows: a yes is never for an empty carrier, and an allowance that is less says so.
        bad = {ids[number] for number, _ in amiss(bare)}
        told_by = set(answerer().rulebook.allowances[0].told_by)
        if bare.outcome == "works":
            assert found.whole and "by what is known" not in found.told
            assert not {number for number, _ in amiss(within) if ids[number] not in LOADED}
        if not found.whole:
            assert bad & told_by, found
    assert min(seen.values()) > 9, seen


@pytest.mark.parametrize("seed", range(4))
def test_a_heavier_load_is_never_better(seed: int) -> None:
    """Which is why the largest can be found by halving: what refuses a load refuses every heavier one.

    From the lightest bike on: of one told lighter it is asked whether it was weighed.
    """
    chance = random.Random(100 + seed)
    for _ in range(60 * EFFORT):
        one, count = drawn(chance), chance.choice((None, 1, 3))
        before: set[tuple[int, bool]] = set()
        for weight in sorted(chance.randint(6, 700) * LB for _ in range(6)):
            after = amiss(loaded(one, count, weight))
            assert {number for number, _ in before} <= {number for number, _ in after}
            assert {one for one in before if one[1]} <= after
            before = after


def test_of_several_things_a_carrier_says_what_it_may_carry_too() -> None:
    """Several that work together are no bare yes either, where a carrier among them has no load named."""
    receiver = {
        "opening": "2 in",
        "pin_hole": "5/8 in",
        "tube_outside": "2-1/2 in",
        "pin_supplied": True,
        "tongue_rating": "500 lb",
    }
    pin = {"kind": "locking_pin", "pin": "5/8 in", "pin_span": "3 in", "weight": "1 lb"}
    found = answerer().answer(
        {
            "rig": {"id": "rig_farm_muckle"},
            "load": {"facts": {"occupants_weight": "300 lb"}},
            "together": [
                {"name": "rack", "hangs_on": "rear_receiver", "accessory": {"sku": "SPK-LAMP-2-7"}},
                {
                    "name": "pin",
                    "hangs_on": "front_receiver",
                    "rig": {"receiver": {"facts": receiver}},
                    "accessory": {"facts": pin},
                },
            ],
        },
        world(),
    )
    assert found.outcome == "works"
    assert found.summary.endswith("work on this rig together, the rack with up to 2 bikes of 66 lb.")
