"""What answers promise on incomplete questions: a way on, readings that decide as told, remedies that work.

The questions are the demo world's, and random items and trailers on its mountings, with random facts not
known or known in wide bounds, of several seeds, so that none is chosen by what it does not find.
`FITSVC_PROFILE=nightly` tries 2,000 of them.
"""

import json
from collections import Counter
from collections.abc import Iterator
from functools import cache
from math import ceil, floor
from random import Random
from typing import Any, Final

from demo_world import OF_ONE, answerer, question, stock, world
from effort import NIGHTLY
from test_answers_next import PLACES, case_of, known_facts, leaning_told, readings, told

from fitsvc.answers.answer import Answer, Next
from fitsvc.language.tyres import parse_tyre
from fitsvc.rulebook.vocabulary import Fact

SEEDS: Final = range(20, 40 if NIGHTLY else 24)
HEAVY: Final = 50
"""Pounds from which on a bike is one whose tyres and wheelbase are asked for, unless they are taken as usual."""
COUNT: Final = 2_000 if NIGHTLY else 480
KEPT: Final = 1.0
"""The share of undetermined answers with deciding values that the readings named must settle."""

_UNITS: Final = {"length": "mm", "mass": "kg", "angle": "deg", "ratio": "%", "force": "kN", "torque": "N m"}
_STEPS: Final = {
    "length": (25.4 / 64, "mm"),
    "mass": (0.45359237, "kg"),
    "angle": (0.1, "deg"),
    "ratio": (0.001, "%"),
    "force": (0.1, "kN"),
    "torque": (1.3558179483, "N m"),
    "count": (1.0, ""),
}
"""Steps that people read, in inside units, with the unit that is written."""
SEVERITIES: Final = ("blocking", "caution")
_MILD: Final = {rule.id for rule in answerer().rulebook.rules if rule.if_unknown == "caution"}
Document = dict[str, Any]


def answer(document: Document) -> Answer:
    """The answer on the demo world, with its shelf."""
    return answerer().answer(document, world(), shelf=stock())


def random_question(random: Random) -> Document:
    """One of the demo's questions, an item on a mounting, or a trailer behind it."""
    if random.random() < 0.3:
        return question(random.choice(OF_ONE))
    mounting = random.choice(world().of("mounting"))
    rig = {part: {"id": mounting.links[part]} for part in ("vehicle", "receiver")} | {"mounting": {"id": mounting.key}}
    if random.random() < 0.3:
        mounts = [one for one in world().of("accessory") if "ball_mount" in str(one.facts.get("kind"))]
        return {
            "rig": rig,
            "accessory": {"sku": random.choice(mounts).key},
            "ball": {"sku": random.choice(world().of("ball")).key},
            "trailer": {"sku": random.choice(world().of("trailer")).key},
        }
    item = random.choice(world().of("accessory"))
    kind, cargo = str(item.facts.get("kind")), {"cargo_weight": f"{random.randrange(20, 400)} lb"}
    bikes = {"bikes": random.randrange(1, 5), "bike_weight": f"{random.randrange(20, 60)} lb"}
    load = bikes if kind == "bike_carrier" else cargo if kind.endswith("_carrier") else {"occupants_weight": "400 lb"}
    if random.random() < 0.1:
        load = bikes | cargo  # one of the two has nothing that holds it
    return {"rig": rig, "accessory": {"sku": item.key}, "load": {"facts": load}}


def incomplete(random: Random) -> Document:
    """A random question with some of its facts not known, or not known closely."""
    document = random_question(random)
    facts = [name for name in known_facts(document) if name.split(".")[0] in PLACES and name != "accessory.kind"]
    for name in random.sample(facts, min(len(facts), random.randrange(1, 9))):
        fact = answerer().rulebook.vocabulary.facts[name]
        document = told(document, name, widened(fact, document, random) if random.random() < 0.4 else None)
    return document


def widened(fact: Fact, document: Document, random: Random) -> Any:
    """Bounds about what is known of a number, wide or narrow; a list's or a text's fact is not known at all."""
    value = known(document).get(fact.name)
    if not isinstance(value, tuple) or fact.range is None or fact.kind not in (*_UNITS, "count"):
        return None
    low, high = fact.range
    reach = random.choice((0.01, 0.05, 0.3)) * max(abs(value[0]), 25.0)
    ends = {"at_least": max(low, value[0] - random.random() * reach), "at_most": min(high, value[1] + reach)}
    if fact.kind == "count":
        return {key: round(end) for key, end in ends.items()}
    scale = 100 if fact.kind == "ratio" else 1
    return {key: f"{end * scale:.6f} {_UNITS[fact.kind]}" for key, end in ends.items()}


def known(document: Document) -> dict[str, Any]:
    """What is known of each fact."""
    return dict(case_of(document).facts)


@cache
def cases() -> tuple[tuple[Document, Answer], ...]:
    """The incomplete questions with their answers."""
    drawn = [Random(seed) for seed in SEEDS]
    documents = [incomplete(random) for random in drawn for _ in range(COUNT // len(drawn))]
    return tuple((document, answer(document)) for document in documents)


def undetermined() -> Iterator[tuple[Document, Answer]]:
    """Those that are answered `undetermined`."""
    return ((document, found) for document, found in cases() if found.outcome == "undetermined")


def readings_of(step: Next, text: str, document: Document) -> list[object]:
    """The readings at the ends of what a step promises; for a tyre one that has such a diameter."""
    fact = answerer().rulebook.vocabulary.facts[step.fact]
    if text == "any reading":
        return _any_of(fact, known(document).get(fact.name))
    if fact.tyre:
        return [_tyre(part.removeprefix("a diameter of ")) for part in filter(None, text.split(" or "))]
    return list(readings(step, text))


def _any_of(fact: Fact, current: Any) -> list[object]:
    """Readings from all over what a fact may be, in steps that people read."""
    vocabulary = answerer().rulebook.vocabulary
    if fact.kind in vocabulary.lists:
        return list(vocabulary.lists[fact.kind].members)
    if fact.range is None:
        return ["205/65R15", "33X12.50R17LT"] if fact.tyre else [True, False]
    low, high = (max(fact.range[0], current[0]), min(fact.range[1], current[1])) if current else fact.range
    step, unit = _STEPS[fact.kind]
    ends = [ceil(low / step - 1e-9), floor(high / step + 1e-9)]
    if fact.kind == "count":
        return list(ends)
    inside = [end * step for end in ends] if ends[0] <= ends[1] else [(low + high) / 2]
    return [f"{end * (100 if fact.kind == 'ratio' else 1):.7f} {unit}" for end in inside]


def _tyre(text: str) -> str:
    """A tyre of a diameter told in words."""
    ends = [float(_inches(part)) for part in text.removeprefix("at most ").removeprefix("at least ").split(" to ")]
    low, high = (0.0, ends[0]) if text.startswith("at most") else (ends[0], 1e9 if len(ends) == 1 else ends[1])
    for width in range(155, 356, 5):
        for aspect in range(30, 91, 5):
            for rim in range(12, 23):
                designation = f"{width}/{aspect}R{rim}"
                tyre = parse_tyre(designation)
                if low <= tyre.diameter[0] / 25.4 and tyre.diameter[1] / 25.4 <= high:
                    return designation
    raise AssertionError(f"no tyre is {text} across")


def _inches(text: str) -> float:
    whole, _, part = text.removesuffix(" in").partition("-") if "-" in text else (text.removesuffix(" in"), "", "0")
    if "/" in whole:
        whole, part = "0", whole
    top, _, bottom = part.partition("/")
    return float(whole) + float(top) / float(bottom or 1)


def measured(document: Document, fact: str, reading: object) -> Document:
    """The question with a reading told; what of a record leans on it holds beside it, as if measured with it."""
    return told(leaning_told(document, fact), fact, reading)


def undercut(document: Document, fact: str, reading: Any) -> bool:
    """Whether a stored rating is lower than the reading told: of what was told of a rating the lower counts."""
    values = answerer().reader.value(answerer().rulebook.vocabulary.facts[fact], reading)
    counted = known(measured(document, fact, reading))
    return any(counted[slot] != value for slot, value in values.items())


def holding_up(found: Answer, document: Document) -> list[Next]:
    """The steps that the outcome waits for, not only its cautions."""
    blocking = [one for one in found.findings if (one.result, one.severity) == ("undetermined", "blocking")]
    waited = {fact for one in blocking if one.rule not in _MILD for fact in one.facts}
    opening = [fact for fact in waited if fact.startswith("opening.")]  # it follows from receiver and adapters
    return [step for step in found.next if step.fact in waited or moves(step, opening, document)]


def moves(step: Next, opening: list[str], document: Document) -> bool:
    """Whether the figures of the working opening that are waited for become others by a step's reading."""
    if not opening or not step.works_if or not step.fact.startswith(("receiver.", "adapter.")):
        return False
    reading, opened = readings_of(step, step.works_if, document)[0], answerer().engine.opened
    before, after = opened(case_of(document)).facts, opened(case_of(measured(document, step.fact, reading))).facts
    return any(before.get(fact) != after.get(fact) for fact in opening)


def test_every_undetermined_answer_names_a_next_step() -> None:
    """Not one leaves the asker without a thing to find out."""
    silent = [document for document, found in undetermined() if not found.next]
    assert not silent, json.dumps(silent[0])
    assert sum(1 for _ in undetermined()) > COUNT / 20


def test_readings_that_work_decide() -> None:
    """Where every fact that holds the outcome up has a reading that works, such readings of all give works."""
    outcomes: Counter[str] = Counter()
    broken: list[Any] = []
    for document, found in undetermined():
        steps = holding_up(found, document)
        if not steps or not all(step.works_if for step in steps):
            continue
        for end in (0, -1):
            settled, texts = document, {}
            for step in steps:
                texts[step.fact] = readings_of(step, step.works_if, document)[end]
                settled = measured(settled, step.fact, texts[step.fact])
            if any(undercut(document, fact, reading) for fact, reading in texts.items()):
                continue
            outcome = answer(settled).outcome
            outcomes[outcome] += 1
            if outcome not in ("works", "conditional"):
                broken.append((outcome, texts, document))
    kept = (outcomes["works"] + outcomes["conditional"]) / sum(outcomes.values())
    print(f"\n{kept:.1%} of {sum(outcomes.values())} are decided by readings that work: {dict(outcomes)}")
    assert outcomes["fails"] == 0, broken
    assert kept >= KEPT, json.dumps(broken)


def test_readings_that_are_all_there_is_to_see_to_work() -> None:
    """Where one fact is all that a condition waits for, every end of what is told to work of it gives works."""
    tried, broken = 0, []
    for document, found in cases():
        # A part to have stays, and what is surely amiss, as a load that may not be as much as the label says.
        stays = found.needs or any(one.result == "fails" for one in found.findings)
        if found.outcome != "conditional" or stays or len(found.to_see_to) > 1 or len(found.next) != 1:
            continue
        (step,) = found.next
        for reading in [] if step.leaves_open else readings_of(step, step.works_if, document):
            if undercut(document, step.fact, reading):
                continue
            tried += 1
            outcome = answer(measured(document, step.fact, reading)).outcome
            if outcome != "works":
                broken.append((outcome, step.fact, step.works_if, reading, document))
    print(f"\n{tried - len(broken)} of {tried} readings that are all there is to see to work")
    assert tried > COUNT / 80  # few have but one thing to see to
    assert not broken, json.dumps(broken[:3])


def test_each_reading_that_works_settles_something() -> None:
    """A reading that is said to work leaves fewer rules open than before and no other that blocks, whatever else is."""
    tried, idle = 0, []
    for document, found in undetermined():
        before, blocking = open_rules(found), open_rules(found, "blocking")
        for step in holding_up(found, document):
            for reading in readings_of(step, step.works_if, document)[:1]:
                if undercut(document, step.fact, reading):
                    continue
                tried += 1
                after = answerer().answer(measured(document, step.fact, reading), world())
                if (
                    after.outcome == "fails"
                    or not before - open_rules(after)
                    or open_rules(after, "blocking") - blocking
                ):
                    idle.append((after.outcome, step.fact, step.works_if, reading, document))
    print(f"\n{tried - len(idle)} of {tried} readings that are said to work settle a rule")
    assert tried > COUNT / 20
    assert not idle, json.dumps(idle[:3])


def open_rules(found: Answer, *severity: str) -> set[str]:
    """The rules that are open, of any severity or of those named."""
    return {
        one.rule for one in found.findings if one.result == "undetermined" and one.severity in (severity or SEVERITIES)
    }


def test_readings_that_fail_fail() -> None:
    """Every reading at an end of `fails_if` gives fails, whatever else is open."""
    tried, broken = 0, []
    for document, found in cases():
        for step in found.next:
            for reading in readings_of(step, step.fails_if, document):
                tried += 1
                outcome = answerer().answer(measured(document, step.fact, reading), world()).outcome
                if outcome != "fails":
                    broken.append((outcome, step.fact, step.fails_if, reading, document))
    print(f"\n{tried - len(broken)} of {tried} readings that are said to fail do")
    assert tried > COUNT / 10
    assert not broken, json.dumps(broken[:3])


def test_every_remedy_comes_to_what_it_states() -> None:
    """Asked again as it says, every remedy gives its outcome."""
    tried, broken = 0, []
    for _, found in cases():
        for remedy in found.remedies:
            if remedy.question:
                tried += 1
                if answerer().answer(remedy.question, world()).outcome != remedy.outcome:
                    broken.append(remedy)
    print(f"\n{tried - len(broken)} of {tried} remedies come to what they state")
    assert tried > COUNT / 10
    assert not broken, broken[:3]


_AS_GOOD: Final = ("works", "conditional", "undetermined", "fails")


def _promised(found: Answer) -> Document | None:
    """The load that an answer promises, as a question names it, with what the promise says that it holds by."""
    one = found.allowance
    if one is None or not one.at_most:
        return None
    most = float(one.at_most.split()[0])
    if one.count is None:
        load: Document = {"cargo_weight": one.at_most}
    else:
        each = min(most / max(one.count, 1), float(one.each.split()[0]))
        load = {"bikes": one.count, "bike_weight": f"{floor(each)} lb"}
    return load | ({"occupants_weight": "150 lb"} if "a driver alone aboard" in one.told else {})


def test_a_load_that_is_promised_is_answered_no_worse_where_it_is_named() -> None:
    """Less known answers no better than more: what a named load brings is told with the promise already.

    Every carrier of the demo on every third mounting, some with what the promise turns on told: a place to drive in,
    and how the exhaust blows, where the promise says how far from it the load has to stand.
    """
    tried: Counter[str] = Counter()
    worse: list[Any] = []
    carriers = [one.key for one in world().of("accessory") if str(one.facts.get("kind")).endswith("_carrier")]
    for number, mounting in enumerate(world().of("mounting")[::3]):
        rig: Document = {part: {"id": mounting.links[part]} for part in ("vehicle", "receiver")}
        rig |= {"mounting": {"id": mounting.key}}
        behind = number % 3 == 1
        if behind:
            rig["vehicle"] |= {"facts": {"exhaust_outlet": "straight_back"}}
        shared: Document = {"jurisdiction": "texas"} if number % 3 == 2 else {}
        for sku in carriers:
            asked: Document = {"rig": rig, "accessory": {"sku": sku}} | ({"load": {"facts": shared}} if shared else {})
            found = answerer().answer(asked, world())
            load = _promised(found) if found.outcome in ("works", "conditional") else None
            if load is None:
                continue
            if behind:
                assert any("has to stand 18 in from the tailpipe" in one for one in found.cautions), sku
                load |= {"exhaust_distance": "18 in"}
            if float(load.get("bike_weight", "0 lb").split()[0]) > HEAVY:
                assert any("with tyres up to 3 in wide and 48 in from hub to hub" in one for one in found.assumed), sku
                load |= {"bike_tyre": "3 in", "bike_wheelbase": "48 in"}
            again = answerer().answer(asked | {"load": {"facts": shared | load}}, world())
            tried[found.outcome] += 1
            if _AS_GOOD.index(again.outcome) > _AS_GOOD.index(found.outcome):
                worse.append((mounting.key, sku, found.summary, again.summary))
    print(f"\n{sum(tried.values())} promised loads asked again: {dict(tried)}")
    assert sum(tried.values()) > COUNT / 4 and tried["works"]
    assert not worse, json.dumps(worse[:3])
