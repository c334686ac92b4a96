"""No figure that is not known is told as one: whatever is known of a question and whatever not."""

from random import Random

from demo_world import answerer
from effort import EFFORT, NIGHTLY
from random_rulebooks import random_case, shipped_rulebook

from fitsvc.facts import Case

CASES = 400 * EFFORT


def told(case: Case) -> list[str]:
    """What is said of a case: why each rule fails or is open, and what is needed."""
    opened = answerer().engine.opened(case)
    verdict = answerer().engine.evaluate(opened)
    reasons = [finding.reason for finding in answerer().findings(verdict, opened)]
    return reasons + [answerer().need(number, opened)["because"] for number in verdict.open_needs]


def test_no_text_says_unknown() -> None:
    """A rule may fail although some figure of its reason is open: the reason then does without that figure."""
    rng = Random(None if NIGHTLY else 8)
    cases = (random_case(rng, shipped_rulebook()) for _ in range(CASES))
    assert [text for case in cases for text in told(case) if "unknown" in text] == []
