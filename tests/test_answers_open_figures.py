"""No figure that is not known is told as one: whatever is known of a question and whatever not."""

from random import Random

from demo_world import answerer
from effort import EFFORT, NIGHTLY
from judging import Facts, case
from random_rulebooks import random_case, shipped_rulebook

from fitsvc.facts import Case

CASES = 400 * EFFORT


def told(of: Case) -> list[str]:
    """What is said of a case: why each rule fails or is open, and what is needed."""
    opened = answerer().engine.opened(of)
    verdict = answerer().engine.evaluate(opened)
    reasons = [finding.reason for finding in answerer().findings(verdict, opened)]
    return reasons + [answerer().need(number, opened)["because"] for number in verdict.open_needs]


def test_no_text_says_unknown() -> None:
    """A rule may fail although some figure of its reason is open: the reason then does without that figure."""
    rng = Random(None if NIGHTLY else 8)
    cases = (random_case(rng, shipped_rulebook()) for _ in range(CASES))
    assert [text for one in cases for text in told(one) if "unknown" in text] == []


def test_a_figure_of_the_opening_that_is_told_roughly_is_not_said_to_be_unknown() -> None:
    """Whether an adapter is in or not: what is told, within an eighth, is told back so."""
    facts: Facts = {
        "accessory.kind": "bike_carrier",
        "accessory.stow_setback": "8 in",
        "accessory.stow_height": "38 in",
        "mounting.pin_to_bumper": "4 in",
        "mounting.height": {"value": "17 in", "tolerance": "1/8 in"},
        "vehicle.closure_hinge_setback": "16 in",
        "vehicle.closure_hinge_height": "70 in",
        "vehicle.rear_closure": "lift_gate",
        "vehicle.spare_location": "inside",
        "load.needs_closure_open": True,
    }
    for adapters in ([], [{"kind": "extension", "adds_length": "8 in", "adds_rise": "0 in"}]):
        about = [text for text in told(case(facts, adapters)) if "opens past the folded carrier" in text]
        assert about and all("is known only as 17 in" in text for text in about), about
