"""The tongue weight worked out from where axle and cargo stand, against published figures and formulas of beams."""

import random

import pytest
from judging import Facts, answer, open_needs, result, value

from fitsvc.language.quantities import UNITS

LB = float(UNITS["lb"][1])
LAID: Facts = {
    "trailer.gross_weight": "2500 lb", "trailer.empty_tongue_weight": "80 lb", "trailer.cargo_weight": "1700 lb",
    "trailer.coupler_to_axle": "100 in", "trailer.coupler_to_cargo": "88 in",
}  # fmt: skip


def tongue(empty: float, cargo: float, axle: float, lies: float) -> float:
    """The tongue weight in pounds; lengths in inches."""
    facts = {
        "trailer.empty_tongue_weight": f"{empty!r} lb", "trailer.cargo_weight": f"{cargo!r} lb",
        "trailer.coupler_to_axle": f"{axle!r} in", "trailer.coupler_to_cargo": f"{lies!r} in",
    }  # fmt: skip
    low, high = value("towing.tongue_by_moments", facts)  # type: ignore[misc]
    assert low == pytest.approx(high)
    return float(low / LB)


def test_the_published_example_comes_out() -> None:
    """Trailer/Body Builders on the use of a tongue weight calculator, read 2026: 284 lb of 2500 lb."""
    assert tongue(80, 1700, 100, 88) == pytest.approx(284)
    assert result("tongue-weight-not-too-light", LAID) == result("tongue-weight-not-too-heavy", LAID) == "passes"


@pytest.mark.parametrize(
    ("load", "span", "from_left", "reaction"),
    [
        # AISC Steel Construction Manual, table 3-23, case 8 (from memory): a load at any point, R1 = P b / l.
        (1000.0, 200.0, 50.0, 1000 * 150 / 200),
        (1000.0, 200.0, 100.0, 500.0),
        # Case 26 (from memory; seen so in tables of beam formulas): a load on the overhang, R1 = - P a / l.
        (1000.0, 200.0, 240.0, -1000 * 40 / 200),
    ],
)
def test_the_coupler_carries_what_the_end_of_a_beam_does(
    load: float, span: float, from_left: float, reaction: float
) -> None:
    """Coupler and axle are the two supports of a beam, and the cargo is the load on it."""
    assert tongue(0, load, span, from_left) == pytest.approx(reaction)


def test_cargo_moved_forward_weighs_more_on_the_tongue() -> None:
    """By its weight times the way it was moved, over the distance to the axle; the axle bears so much less."""
    chance = random.Random(7)
    for _ in range(50):
        empty, cargo = chance.uniform(0, 300), chance.uniform(0, 5000)
        axle, lies, moved = chance.uniform(60, 300), chance.uniform(30, 320), chance.uniform(0, 30)
        more = tongue(empty, cargo, axle, lies - moved) - tongue(empty, cargo, axle, lies)
        assert more == pytest.approx(cargo * moved / axle, abs=1e-6)


def test_with_it_nobody_is_told_to_load_within_the_band() -> None:
    """What is worked out is judged as what is weighed is, and told to rest on what was said."""
    assert "load-the-tongue" not in open_needs(LAID)
    assert "load-the-tongue" in open_needs({**LAID, "trailer.coupler_to_cargo": None})
    (told,) = [text for text in answer(LAID).assumed if "worked out" in text]
    assert told.startswith("The tongue weight of 284 lb ")
    assert result("tongue-weight", {**LAID, "receiver.tongue_rating": "283 lb"}) == "fails"


def test_what_the_scale_says_goes_before() -> None:
    """A tongue that was weighed is not worked out."""
    weighed = {**LAID, "trailer.tongue_weight": "200 lb"}
    assert result("tongue-weight-not-too-light", weighed) == "fails"
    assert result("tongue-presses-down", {**weighed, "trailer.coupler_to_cargo": "300 in"}) == "not_applicable"
    assert not any("worked out" in text for text in answer(weighed).assumed)
