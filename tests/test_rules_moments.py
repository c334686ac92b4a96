"""The tongue weight worked out from where axle and cargo stand, against published figures and formulas of beams."""

import random

import pytest
from judging import Facts, answer, open_needs, result, value

from fitsvc.language.quantities import UNITS

LB = float(UNITS["lb"][1])
LAID: Facts = {
    "trailer.gross_weight": "2500 lb",
    "trailer.empty_tongue_weight": "80 lb",
    "trailer.cargo_weight": "1700 lb",
    "trailer.coupler_to_axle": "100 in",
    "trailer.coupler_to_cargo": "88 in",
}


def tongue(empty: float, cargo: float, axle: float, lies: float) -> float:
    """The tongue weight in pounds; lengths in inches."""
    facts = {
        "trailer.empty_tongue_weight": f"{empty!r} lb",
        "trailer.cargo_weight": f"{cargo!r} lb",
        "trailer.coupler_to_axle": f"{axle!r} in",
        "trailer.coupler_to_cargo": f"{lies!r} in",
    }
    low, high = value("towing.tongue_by_moments", facts)  # type: ignore[misc]  # a number is told as a pair
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


RATED: Facts = {**LAID, "trailer.weight_distribution": False, "receiver.tongue_rating": "500 lb"}
"""The published example on a receiver that bears its 284 lb."""


@pytest.mark.parametrize(
    ("lies", "weighed", "outcomes"),
    [
        ("88 in", "300 lb", ("passes", "passes", "passes")),
        ("88 in", "30 lb", ("passes", "passes", "fails")),
        # 1,700 lb of cargo at 110 in pull up with 90 lb, at 60 in they press down with 760 lb.
        ("110 in", "300 lb", ("fails", "passes", "not_applicable")),
        ("60 in", "300 lb", ("passes", "fails", "fails")),
    ],
)
def test_a_scale_that_the_cargo_contradicts_is_no_plain_yes(
    lies: str, weighed: str, outcomes: tuple[str, str, str]
) -> None:
    """Moments about the axle (statics): with the tongue lifted or over its rating by them, the answer is no."""
    facts = {**RATED, "trailer.coupler_to_cargo": lies, "trailer.tongue_weight": weighed}
    rules = ("cargo-place-leaves-the-tongue-down", "cargo-place-allows-the-tongue", "tongue-agrees-with-the-cargo")
    assert tuple(result(rule, facts) for rule in rules) == outcomes
    # Of 2,500 lb 30 lb are less than a twentieth, which is refused by itself.
    assert ("fails" in outcomes[:2] or weighed == "30 lb") == (answer(facts).outcome == "fails")


@pytest.mark.parametrize("told", [{"trailer.empty_weight": "300 lb"}, {"trailer.gross_weight": "2000 lb"}])
def test_an_empty_trailer_does_not_rest_on_its_tongue_alone(told: Facts) -> None:
    """320 lb on the tongue of a trailer of 300 lb is a slip; of 2,000 lb with 1,700 lb of cargo no more is left."""
    facts = {**RATED, **told, "trailer.empty_tongue_weight": "320 lb"}
    assert result("empty-tongue-within-empty-trailer", facts) == "fails"
    assert answer(facts).outcome == "fails"
    assert result("empty-tongue-within-empty-trailer", {**facts, "trailer.empty_tongue_weight": "80 lb"}) == "passes"
