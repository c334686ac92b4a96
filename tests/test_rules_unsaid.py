"""What a question leaves out is asked for, seen to, or said to be assumed: leaving it out is no way to a plain yes."""

from typing import Final

import pytest
from judging import case
from working_rigs import BOOK, KINDS, MADE, Facts, has, plain_facts, works

from fitsvc.answers.cautions import Cautions

AT_FRONT: Final[Facts] = {
    "receiver.place": "front",
    "accessory.allowed_at_front": True,
    "accessory.obscures_headlamps": False,
}


def without(facts: Facts, *names: str) -> Facts:
    """The facts but for some."""
    return {name: told for name, told in facts.items() if name not in names}


@pytest.mark.parametrize("kind", [kind for kind in KINDS if has(kind, "recovers")])
def test_what_pulls_at_the_front_needs_leave_lamps_and_plate_as_a_basket_does(kind: str) -> None:
    """A winch or shackle in a receiver at the front works where its leave, lamps and plate are told, and only there."""
    facts = {**plain_facts(kind), **AT_FRONT}
    assert works(case(facts))
    for name in ("accessory.allowed_at_front", "accessory.obscures_headlamps", "accessory.obscures_plate"):
        assert not works(case(without(facts, name))), name
    assert not works(case({**facts, "accessory.width": "104 in"}))


def test_a_pin_at_the_front_is_asked_for_none_of_it() -> None:
    """A locking pin lies within the receiver and stands before nothing."""
    assert works(case(without({**plain_facts("locking_pin"), "receiver.place": "front"}, "accessory.obscures_plate")))


def assumed(facts: Facts) -> set[str]:
    """What an answer says that it assumes."""
    return set(Cautions(MADE.engine, BOOK, assumed=True).told(MADE.engine.opened(case(facts)), "us"))


@pytest.mark.parametrize(
    ("kind", "untold", "worse", "said"),
    [
        ("motorcycle_carrier", ("load.front_setback",), {"load.front_setback": "-30 in"}, "taken to stay clear"),
        ("cargo_carrier", ("load.front_setback",), {"load.front_setback": "-30 in"}, "taken to stay clear"),
        (
            "cargo_carrier",
            ("accessory.shank_ahead", "receiver.room_inside"),
            {"accessory.shank_ahead": "10 in", "receiver.room_inside": "6 in"},
            "taken to go in until the pin holes meet",
        ),
    ],
)
def test_what_would_refuse_and_is_not_told_is_assumed_aloud(
    kind: str, untold: tuple[str, ...], worse: Facts, said: str
) -> None:
    """A figure that would make it a no, and is not asked for, stands under what the answer assumes."""
    facts = without(plain_facts(kind), *untold)
    assert works(case(facts))
    assert MADE.engine.evaluate(case({**facts, **worse})).outcome == "fails"
    assert [told for told in assumed(facts) if said in told]
    assert not [told for told in assumed({**facts, **worse}) if said in told]


@pytest.mark.parametrize("kind", [kind for kind in KINDS if has(kind, "carries")])
def test_every_carrier_behind_a_trailer_has_its_rear_asked_for(kind: str) -> None:
    """What the rear of a trailer bears is asked of whatever hangs there, as of a step."""
    facts = without({**plain_facts(kind), "vehicle.body": "towed"}, "vehicle.tongue_rating")
    found = {
        one.id: told
        for one, told in zip(BOOK.rules, MADE.engine.evaluate(case(facts)).results(len(BOOK.rules)), strict=True)
    }
    asked = [rule for rule, told in found.items() if rule.endswith("hanging.vehicle_bears") and told == "undetermined"]
    assert asked or found["accessory-on-vehicle"] == "undetermined"


@pytest.mark.parametrize("kind", [kind for kind in KINDS if has(kind, "carries")])
def test_an_allowance_tells_that_the_load_is_to_be_tied_down(kind: str) -> None:
    """With no load named the answer promises one, and says of a carrier that does not hold it that it is tied down."""
    facts = {"accessory.kind": kind, "accessory.capacity": "300 lb"}
    needs = [BOOK.needs[number].id for number in MADE.engine.evaluate(case(facts)).open_needs]
    assert ("tie-downs" in needs) is not (has(kind, "secures_load") or kind == "bike_carrier")
