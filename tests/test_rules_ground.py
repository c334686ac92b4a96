"""What an accessory takes off the departure angle is told with both figures, and decides nothing by itself."""

from typing import Any, Final

import pytest
from judging import Facts, answer, open_needs, result
from test_rules_trade import BIKES

# 1000 mm behind the axle, 300 mm up, tyre radius 380 mm: 17.68 deg, by asin(r/sqrt(x2 + (r-h)2)) - atan((r-h)/x),
# the tangent of 49 CFR 523.2 (wording from memory).
FACTS = {
    "accessory.kind": "cargo_carrier",
    "accessory.lowest_drop": "100 mm",
    "accessory.lowest_behind": "500 mm",
    "accessory.rear_extent": "900 mm",
    "mounting.height": "400 mm",
    "mounting.pin_to_bumper": "100 mm",
    "vehicle.rear_overhang": "600 mm",
    "vehicle.tyre_radius": "380 mm",
    "vehicle.departure_angle": "22 deg",
}


def told(facts: dict[str, Any]) -> list[str]:
    """What is said of the departure angle."""
    return [caution for caution in answer(facts).cautions if "departure angle" in caution]


def test_both_angles_are_told() -> None:
    """A clerk hears what the angle was and what it is now."""
    (text,) = told(FACTS)
    assert "is 22 deg without the accessory and 17.7 deg with the cargo carrier" in text


@pytest.mark.parametrize(("own", "count"), [("18.7 deg", 1), ("18.6 deg", 0), ("10 deg", 0)])
def test_less_than_a_degree_is_not_told(own: str, count: int) -> None:
    """Nor where the vehicle touches first. A degree is common practice, no source."""
    assert len(told({**FACTS, "vehicle.departure_angle": own})) == count


NOT_NEEDED: Final = {"vehicle.tyre_radius", "accessory.lowest_behind", "accessory.rear_extent"}
"""Of the last two one is enough: the lowest point is where it was told, or at the end at the farthest."""


@pytest.mark.parametrize("name", sorted(FACTS.keys() - NOT_NEEDED))
def test_nothing_is_told_of_unknown_figures(name: str) -> None:
    """Without a figure there is no sentence with a hole in it."""
    assert told({**FACTS, name: None}) == []
    assert told({**FACTS, "accessory.lowest_behind": None, "accessory.rear_extent": None}) == []


def test_it_decides_nothing() -> None:
    """The answer is the same whether the vehicle's own angle is known or not."""
    known, unknown = answer(FACTS), answer({**FACTS, "vehicle.departure_angle": None})
    assert (known.outcome, known.findings) == (unknown.outcome, unknown.findings)


MEASURED: Final = ("accessory.lowest_drop", "vehicle.rear_overhang", "vehicle.tyre_radius", "mounting.height")
"""Measures without which no ramp is judged, of what a carrier's question tells."""


@pytest.mark.parametrize("gone", MEASURED)
def test_what_no_caution_could_look_at_is_told(gone: str) -> None:
    """With every measure a low carrier is told to scrape; without one, that ramps are not judged, and never nothing."""
    low = {**BIKES, "mounting.height": "11 in", "accessory.lowest_drop": "5 in", "vehicle.tyre_radius": "14 in"}

    def unjudged(facts: Facts) -> list[str]:
        return [text for text in answer(facts).cautions if "it is not judged how steep" in text]

    assert result("takes-a-usual-driveway", low) == "fails"
    assert unjudged(low) == []
    less = {name: value for name, value in low.items() if name != gone}
    assert result("takes-a-usual-driveway", less) == "not_applicable"
    assert len(unjudged(less)) == 1
    assert unjudged({**less, "load.steepest_grade": "8 %"}) == []


def test_a_receiver_is_said_to_be_taken_for_fitted() -> None:
    """What fitting takes is told only of one that is not fitted: where nobody says, the answer says what it takes."""
    told = "Nobody says whether the receiver is on the vehicle already"
    drilled = {**BIKES, "mounting.drilling": True}
    assert any(text.startswith(told) for text in answer(drilled).assumed)
    assert not any(text.startswith(told) for text in answer(BIKES).assumed)
    for fitted in (True, False):
        assert not any(text.startswith(told) for text in answer({**drilled, "mounting.fitted": fitted}).assumed)
    assert {"fitting", "drilling"} <= open_needs({**drilled, "mounting.fitted": False})
