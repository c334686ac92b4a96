"""What to learn next costs a bounded, counted amount of work, and no reading promises what it does not do."""

import re
from collections import Counter
from collections.abc import Iterator
from functools import cache
from itertools import pairwise
from random import Random
from typing import Any

import pytest
from bench.bench_next import drawn
from demo_world import answerer, world
from effort import EFFORT
from test_answers_next import PLACES, known_facts, told
from test_answers_promises import answer, incomplete, random_question, readings_of

from fitsvc.answers import next_steps as module
from fitsvc.answers.answer import Answer, Next
from fitsvc.answers.answering import Answerer
from fitsvc.answers.next_steps import MOST_STEPS, next_steps
from fitsvc.answers.question import read_question
from fitsvc.answers.readings import BAD, GOOD, OPEN
from fitsvc.answers.summary import more_open
from fitsvc.answers.trying import MOST_WORK, Work, judged, supplied
from fitsvc.facts import Case
from fitsvc.language.problems import ProblemsFound
from fitsvc.language.types import NumberType, is_exact

SWEPT = 150 * EFFORT
ONE_FACT_MOST = 2_000
"""What the last fact that is begun may cost beyond the budget."""
TRADE = {
    "rig": {"receiver": {"facts": {"opening": "2 in", "hitch_class": "III"}}, "vehicle": {"facts": {"body": "suv"}}},
    "trailer": {"facts": {"gross_weight": "3000 lb"}},
}
"""The question of the trade: what the receiver says of itself, and a trailer's weight."""


@cache
def open_cases(count: int) -> tuple[Case, ...]:
    """Questions that leave nearly all open, with up to four adapters of which nothing is known."""
    found = []
    for document in drawn(count):
        try:
            found.append(read_question(document, answerer().reader, world()).case)
        except ProblemsFound:  # it asks about nothing
            continue
    return tuple(found)


def steps_of(case: Case, of: Answerer | None = None, most: int = MOST_WORK) -> module.Steps:
    """What to learn next of a case."""
    of = of or answerer()
    return next_steps(of.missing, case, of.engine.evaluate(case), "us", most)


@pytest.fixture
def spent(monkeypatch: pytest.MonkeyPatch) -> list[Work]:
    """The work of every search that the test makes."""
    made: list[Work] = []

    def work(most: int) -> Work:
        made.append(Work(most))
        return made[-1]

    monkeypatch.setattr(module, "Work", work)
    return made


def test_no_question_costs_more_than_the_budget(spent: list[Work]) -> None:
    """However much is open, so many judgements are made and no more, at most ten steps are told, the rest counted."""
    more = 0
    for case in open_cases(50 * EFFORT):
        steps = steps_of(case)
        assert len(steps.told) <= MOST_STEPS and (not steps.more or len(steps.told) == MOST_STEPS)
        more += steps.more
    assert len(spent) > 20 and more > 100
    assert all(work.left > -ONE_FACT_MOST for work in spent), min(work.left for work in spent)
    assert min(work.left for work in spent) < MOST_WORK / 2


def test_what_was_not_worked_out_is_told(spent: list[Work]) -> None:
    """With little to spend facts are asked for all the same, and those whose readings nobody tried are named."""
    untried = 0
    for case in open_cases(20):
        steps = steps_of(case, most=200)
        told = {step.fact: step for step in steps.told}
        assert all(not told[name].works_if and not told[name].fails_if for name in steps.untried if name in told)
        assert bool(steps.told) == bool(steps_of(case).told)
        untried += len(steps.untried)
    assert untried > 50
    assert all(work.left > -ONE_FACT_MOST for work in spent)


def test_the_budget_is_the_same_whatever_was_asked_before(spent: list[Work]) -> None:
    """Work is counted alike where a rule's readings are kept from an earlier question, so the answer is the same."""
    fresh = Answerer(answerer().rulebook)
    for case in open_cases(12):
        first, again = steps_of(case, fresh), steps_of(case, fresh)
        assert first == again
    assert [work.left for work in spent[::2]] == [work.left for work in spent[1::2]]


def thinned(random: Random) -> Any:
    """A random question of which a part of the facts is known, from hardly any to nearly all."""
    document, share = random_question(random), random.random()
    for name in known_facts(document):
        if name.split(".")[0] in PLACES and random.random() < share:
            document = told(document, name, None)
    return document


@cache
def swept() -> tuple[tuple[Any, Answer], ...]:
    """Random part-known questions of the demo's world with their answers."""
    random = Random(31)
    documents = [thinned(random) if random.random() < 0.7 else incomplete(random) for _ in range(SWEPT)]
    return tuple((document, answer(document)) for document in documents)


def told_steps() -> Iterator[tuple[Any, Answer, Next]]:
    """Every step of those answers that is about a fact of the question's own parts."""
    for document, found in swept():
        for step in found.next:
            if step.fact.split(".")[0] in PLACES and step.fact != "vehicle.id":
                yield document, found, step


def known(document: Any) -> frozenset[str]:
    """The facts that a question knows something of."""
    return frozenset(read_question(document, answerer().reader, world()).case.facts)


def test_a_reading_that_works_decides_or_says_how_much_it_leaves_open() -> None:
    """Told alone, it makes the answer work, or fails nothing and leaves at most as many points open as is said."""
    outcomes: Counter[tuple[bool, str]] = Counter()
    for document, _, step in told_steps():
        for reading in readings_of(step, step.works_if, document) if step.works_if else ():
            after = told(document, step.fact, reading)
            question = read_question(after, answerer().reader, world())
            if step.fact in question.doubts:  # a rating that its record says is lower, whatever is told
                continue
            if known(document) - question.case.facts.keys():  # what leans on what is now told otherwise goes
                continue
            verdict = answerer().engine.evaluate(question.case)
            outcomes[not step.leaves_open, verdict.outcome] += 1
            assert verdict.outcome != "fails", (document, step, reading)
            if not step.leaves_open:
                assert verdict.outcome in ("works", "conditional"), (document, step, reading)
            assert len(verdict.unknown or verdict.doubts) <= step.leaves_open or not verdict.unknown
    assert outcomes[True, "works"] + outcomes[True, "conditional"] > 20 and outcomes[False, "undetermined"] > 20


def test_a_reading_that_fails_decides_whatever_else_is_so() -> None:
    """Told alone, with all else as little known as before, it makes the answer a no."""
    tried = 0
    for document, _, step in told_steps():
        for reading in readings_of(step, step.fails_if, document)[:2] if step.fails_if else ():
            tried += 1
            assert answer(told(document, step.fact, reading)).outcome == "fails", (document, step, reading)
    assert tried > 20


def test_no_reading_rests_on_a_figure_that_may_be_anything() -> None:
    """Never that it works with `at most 0 lb`, nor only that it fails so: a figure not known may be anything."""
    facts = answerer().rulebook.vocabulary.facts
    numbers = 0
    for _, _, step in told_steps():
        fact = facts[step.fact]
        if not isinstance(fact.type, NumberType):
            continue
        for text in filter(None, (step.works_if, step.fails_if)):
            if step.works_if and text == step.fails_if:
                continue  # what works is all the rest of it: a chain, say
            numbers += 1
            assert not re.search(r"at most (0|-\d+)( lb| in|°|$)", text), step
    assert numbers > 50


def test_choices_offer_no_false_alternative() -> None:
    """Where a choice is said to work, each other one fails, is told as one that leaves it open, or only cautions."""
    choices = 0
    for document, _, step in told_steps():
        if not step.works_if or not step.open_if:
            continue
        choices += 1
        for reading in readings_of(step, step.open_if, document):
            assert answer(told(document, step.fact, reading)).outcome != "fails", (document, step, reading)
    assert choices > 5


def test_the_question_of_the_trade_asks_for_labels_first() -> None:
    """With class, opening and trailer's weight the receiver's label is read first, and what the vehicle may tow."""
    found = answerer().answer(TRADE, world())
    first = ["receiver.trailer_rating", "vehicle.tow_rating", "receiver.tongue_rating"]
    assert [step.fact for step in found.next[:3]] == first
    assert "at least 3000 lb" in found.summary and "2 other points stay open" in found.summary
    assert all(step.ask != "weigh" for step in found.next)
    assert not any("_wd" in step.fact for step in found.next), "nobody spoke of weight distribution"


def test_the_cheapest_to_learn_comes_first() -> None:
    """Of what holds up the outcome, and then of what cautions wait for, labels come before tape, tape before scales.

    Only a fact that decides by itself is asked for sooner.
    """
    order, descents = ("ask", "read", "measure", "weigh", "look up"), 0
    for _, found in swept():
        efforts = [order.index(step.ask) for step in found.next if not step.works_if or step.leaves_open]
        down = sum(one > other for one, other in pairwise(efforts))
        descents += down
        assert down <= 1, [step.fact for step in found.next]
    assert descents > 10


def test_a_bare_sleeve_is_not_asked_for_what_nobody_has() -> None:
    """Of a sleeve with no label neither its rise nor its length nor a share is asked for."""
    sleeve = {"kind": "reducer_sleeve", "fits_opening": "2-1/2 in", "offers_opening": "2 in"}
    rig = {"receiver": {"facts": {"opening": "2-1/2 in", "tongue_rating": "350 lb"}}, "adapters": [{"facts": sleeve}]}
    carrier = {"kind": "bike_carrier", "shank": "2 in", "weight": "50 lb"}
    document = {"rig": rig, "accessory": {"facts": carrier}, "load": {"facts": {"bikes": 4}}}
    asked = {step.fact for step in answerer().answer(document, world()).next}
    assert asked and asked.isdisjoint({"adapter.adds_rise", "adapter.adds_length", "adapter.keeps_fraction"})


def test_of_several_adapters_it_is_told_whose_figure_is_asked_for() -> None:
    """A fact of one of several adapters comes with its place, counted from the receiver."""
    known = {"kind": "extension", "fits_opening": "2 in", "pin": "5/8 in", "offers_opening": "2 in"}
    rig = {
        "receiver": {"facts": {"opening": "2 in"}},
        "adapters": [{"facts": known}, {"facts": {"kind": "size_adapter"}}],
    }
    found = answerer().answer({"rig": rig, "accessory": {"facts": {"kind": "step", "shank": "2 in"}}}, world())
    (step,) = [step for step in found.next if step.fact == "adapter.offers_opening"]
    assert step.adapter == 2


def test_a_rule_moves_one_way_with_a_fact_where_it_is_said_to() -> None:
    """Tried all over what a fact may be, a rule that is said to move one way never turns back."""
    random, order, pairs = Random(4), {BAD: 0, OPEN: 1, GOOD: 2}, 0
    of = answerer().missing
    for case in random.sample(open_cases(60), 25):
        trying = of.trying(case, Work(10**9))
        verdict = of.engine.evaluate(case)
        for number in (*verdict.unknown, *verdict.doubts):
            for held in of.held(number, trying.now):
                way = of.way(number, held, len(case.adapters)) if isinstance(held.read.type, NumberType) else 0
                if not way:
                    continue
                grid, at = of.grid(held, case), trying.each(held)
                counts = sorted({grid.low, grid.high, *(random.randint(grid.low, grid.high) for _ in range(6))})
                found = [way * order[trying.judged(number, at(grid.value(count)))] for count in counts]
                assert found == sorted(found), (of.engine.rulebook.rules[number].id, held.name, found)
                pairs += len(set(found)) > 1
    assert pairs > 20


def test_an_opening_followed_is_the_opening_worked_out_anew() -> None:
    """What one fact changes of an opening, fact after fact, is what working it out from the start comes to."""
    random, of, tried = Random(6), answerer().missing, 0
    for case in random.sample(open_cases(60), 20):
        if not case.adapters:
            continue
        trying, told_case = of.trying(case, Work(10**9)), case
        facts = {held for number in range(len(of.engine.rulebook.rules)) for held in of.held(number, trying.now)}
        for held in random.sample(sorted(facts, key=lambda held: (held.name, held.adapter or 0)), min(len(facts), 15)):
            grid = of.grid(held, case)
            value = grid.value(random.randint(grid.low, grid.high))
            assert is_exact(held.read.type, value)
            told_case = supplied(told_case, [(held, value)])
            anew = of.engine.opened(told_case)
            assert trying.each(held)(value).facts == anew.facts
            trying.suppose(held, value)
            assert trying.now.facts == anew.facts
            number = random.randrange(len(of.engine.rulebook.rules))
            assert trying.judged(number, trying.now) == judged(of.engine, number, anew)
            tried += 1
    assert tried > 100


def test_more_facts_that_are_open_are_counted_for_the_reader() -> None:
    """On the page and on the console it is said how many facts are open besides the ten."""
    found = answer({"rig": {"adapters": [{"facts": {}}] * 4}, "accessory": {"facts": {"kind": "bike_carrier"}}})
    assert len(found.next) == MOST_STEPS and found.more_open
    assert more_open(found).startswith(f"{found.more_open} more fact")
