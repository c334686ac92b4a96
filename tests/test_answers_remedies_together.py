"""What would make several things work at once: told with the answer, and come to what it states when it is asked."""

from collections.abc import Sequence
from dataclasses import replace

from demo_world import answerer, stock, world
from several import DUAL, Part, asked, bikes, boat, rig, step

from fitsvc.answers.answer import Answer
from fitsvc.answers.records import Stored
from fitsvc.answers.shelf import Stock, read_items

OPENINGS = "an-opening-for-each"


def answer(document: Part, adapters: Sequence[Part] | None = None) -> Answer:
    """The answer with remedies from the demo world's shelf, or from one with these adapters alone."""
    if adapters is None:
        return answerer().answer(document, world(), shelf=stock())
    stored = [
        Stored(subject="adapter", key=f"PART-{number}", label=f"part {number}", facts=facts)
        for number, facts in enumerate(adapters)
    ]
    known = replace(world(), records=(*world().records, *stored))
    return answerer().answer(document, known, shelf=Stock(read_items(answerer().reader, stored), {}))


def left() -> Part:
    """Give a step that may hang in an extension."""
    return step(extension_allowed=True, min_class="none", capacity="100 lb")


def other() -> Part:
    """Give one more, with which people are told."""
    return {**left(), "name": "other", "load": {"facts": {"occupants_weight": "300 lb"}}}


def test_a_step_left_in_leads_on() -> None:
    """Two things for one opening: each left off is a question whose own answer is what is told, and the rule's helps.

    What the question is about first is left off last.
    """
    found = answer(asked([other(), left()], rig()), [])
    assert found.summary.startswith("No, not together.")
    assert [each.change for each in found.remedies] == ["leave off", "leave off"]
    assert [each.because.partition(" left off")[0] for each in found.remedies] == ["With the step", "With the other"]
    for each in found.remedies:
        again = answerer().answer(each.question, world())
        assert again.outcome == each.outcome and each.outcome in ("works", "conditional"), each.because
    (spoils,) = [each for each in found.spoils if each.rule == OPENINGS]
    assert spoils.helps == "a dual receiver that bears all of it, or one of them left off"


def test_a_part_with_an_opening_for_each_is_told_first() -> None:
    """A dual receiver of the shelf keeps both; one whose label does not bear them is not told, nor is an extension."""
    weak = {**DUAL, "tongue_rating": "30 lb"}
    long = {**DUAL, "kind": "extension", "adds_length": "12 in"}
    found = answer(asked([other(), left()], rig()), [weak, long, DUAL])
    first, *rest = found.remedies
    assert (first.change, first.sku) == ("add", "PART-2")
    spelt = {**first.question, "rig": {**first.question["rig"], "adapters": [{"facts": DUAL}]}}
    assert answerer().answer(spelt, world()).outcome == first.outcome
    assert {each.change for each in rest} == {"leave off"}


def test_what_is_told_of_the_whole_way_by_one_left_off_is_told_still() -> None:
    """The people and the place that the first thing tells of stand in the question about the others."""
    found = answer(asked([other(), left()], rig(), jurisdiction="california"))
    (without,) = [each for each in found.remedies if "the other left off" in each.because]
    assert without.question["load"]["facts"] == {"jurisdiction": "california", "occupants_weight": "300 lb"}


def test_of_three_one_is_left_off_and_two_stay() -> None:
    """A third thing in a dual receiver: the question without it is about two still."""
    light = {"tongue_rating": "500 lb"}
    found = answer(asked([other(), left(), {**left(), "name": "third"}], rig({**DUAL, **light})))
    assert found.outcome == "fails"
    without = [each for each in found.remedies if each.change == "leave off"]
    for each in without:
        assert len(each.question["together"]) == 2
        assert answerer().answer(each.question, world()).outcome == each.outcome
    assert len(without) == 3


def test_where_nothing_helps_the_rule_says_what_does() -> None:
    """A trailer too heavy by itself, with a carrier that does not fit by itself: left off, either fails still."""
    wrong = {"shank": "3 in"}
    things = [bikes(2, **wrong), boat(gross_weight="9000 lb", tongue_weight="900 lb")]
    found = answer(asked(things, rig()), [])
    assert [each.change for each in found.remedies] == ["none"] and not found.remedies[0].question
    assert "a dual receiver that bears all of it" in found.remedies[0].because


def test_nothing_is_looked_for_where_nobody_asks_or_it_is_no_no() -> None:
    """Without remedies none are told, and what works together has none."""
    document = asked([other(), left()], rig())
    assert not answerer().answer(document, world(), remedies=False).remedies
    fits = answer(asked([bikes(1), step()]))
    assert fits.outcome != "fails" and not fits.remedies
