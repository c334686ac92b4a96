"""What a question leaves out is asked for, seen to, or said to be assumed: leaving it out is no way to a plain yes."""

from typing import Final

import pytest
from judging import case
from working_rigs import KINDS, Facts, has, plain_facts, works

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
