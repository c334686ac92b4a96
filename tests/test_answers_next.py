"""What is not known never becomes a yes, and the answer names what to learn and which reading decides."""

import json
from collections.abc import Iterator
from itertools import product
from typing import Any

import pytest
from demo_world import ASKED, answerer, question, world

from fitsvc.answers.answer import Answer, Next
from fitsvc.answers.question import read_question
from fitsvc.facts import Case

WORKS = [name for name, entry in ASKED.items() if entry["expect"] == "works"]
BIKES = next(name for name in WORKS if "bikes" in name)
PLACES = {
    "vehicle": ("rig", "vehicle"),
    "receiver": ("rig", "receiver"),
    "mounting": ("rig", "mounting"),
    "spare": ("rig", "spare"),
    "accessory": ("accessory",),
    "ball": ("ball",),
    "trailer": ("trailer",),
    "load": ("load",),
}


def told(document: dict[str, Any], fact: str, wire: object) -> dict[str, Any]:
    """The question with one fact told inline: a reading, or null for not known."""
    changed: dict[str, Any] = json.loads(json.dumps(document))
    subject, _, short = fact.partition(".")
    place = changed
    for part in PLACES[subject]:
        place = place.setdefault(part, {})
    place.setdefault("facts", {})[short] = wire
    return changed


def case_of(document: dict[str, Any]) -> Case:
    """The question as the engine sees it."""
    return read_question(document, answerer().reader, world()).case


def known_facts(document: dict[str, Any]) -> list[str]:
    """Every fact that the question, with its stored records, tells."""
    vocabulary = answerer().rulebook.vocabulary
    facts = (vocabulary.fact_of(slot) for slot in case_of(document).facts)
    return sorted({fact.name for fact in facts if fact is not None})


def leaning_told(document: dict[str, Any], fact: str) -> dict[str, Any]:
    """The question with what leans on a fact told as its record has it: told again it holds beside any reading."""
    case, changed = case_of(document), document
    for one in answerer().rulebook.vocabulary.facts.values():
        value = case.facts.get(one.name)
        if fact in one.leans_on and isinstance(value, tuple):
            low, high = (f"{end} {'mm' if one.kind == 'length' else 'deg'}" for end in value)
            changed = told(changed, one.name, {"at_least": low, "at_most": high})
    return changed


def blanked() -> Iterator[tuple[str, str]]:
    """Every demo question that works, with each of its facts in turn."""
    for name in WORKS:
        for fact in known_facts(question(name)):
            yield name, fact


def answer(document: dict[str, Any]) -> Answer:
    """The answer to a question on the demo world."""
    return answerer().answer(document, world())


@pytest.mark.parametrize(("name", "fact"), list(blanked()))
def test_blanking_a_fact_never_leaves_a_guess(name: str, fact: str) -> None:
    """A working question with one fact blanked still works only if no rule that applied rests on that fact.

    What its parts are told of is no guess: it is what they come to, and the answer says so. Nor is the stricter end of
    what a maker allows or asks for, which its record says.
    """
    found = answer(told(question(name), fact, None))
    if found.outcome == "works":
        label = answerer().rulebook.vocabulary.facts[fact].label
        summed = any(one.startswith(f"The {label} is taken as ") for one in found.assumed)
        case = read_question(told(question(name), fact, None), answerer().reader, world()).case
        limited = fact in answerer().reader.limits and fact in case.facts
        assert summed or limited or all(one.facts.get(fact, "unknown") == "unknown" for one in found.findings)
        return
    assert found.outcome in ("undetermined", "conditional")
    steps = [step for step in found.next if step.fact == fact]
    needs_it = not any(f.result == "undetermined" for f in found.findings)
    by_loading = fact == "trailer.tongue_weight" and "load_the_tongue" in {need["need"] for need in found.needs}
    assert steps or by_loading or (needs_it and found.needs), f"{fact} is not asked for"


@pytest.mark.parametrize(("name", "fact"), list(blanked()))
def test_a_deciding_reading_is_named_and_kept(name: str, fact: str) -> None:
    """Where blanking one fact leaves the question open, a reading that decides is named and does what it says.

    That the fact is asked for at all is held by the test before this one.
    """
    document = leaning_told(told(question(name), fact, None), fact)
    for step in answer(document).next:
        if step.fact != fact:
            continue
        assert step.works_if, f"no reading of {fact} is said to work"
        assert step.how
        for text, outcomes in ((step.works_if, {"works", "conditional"}), (step.fails_if, {"fails"})):
            for reading in readings(step, text):
                found = answer(told(document, fact, reading)).outcome
                assert found in outcomes, f"{fact}: {reading} gives {found}, promised {text}"


def readings(step: Next, text: str) -> Iterator[object]:
    """The readings at the ends of what a step promises, as a person would tell them."""
    fact = answerer().rulebook.vocabulary.facts[step.fact]
    other = fact.above_zero or "the other way"
    for part in filter(None, text.removesuffix(f", or anything {other}").split(" or ")):
        yield from _ends(fact.kind, part.removeprefix("anything from ").removesuffix(f" {other}"), fact.below_zero)


def _ends(kind: str, part: str, below: str) -> Iterator[object]:
    vocabulary = answerer().rulebook.vocabulary
    if part == "any reading":
        return
    if kind in vocabulary.lists:
        members = vocabulary.words[kind]
        yield next(member for member, word in members.items() if word == part)
    elif kind == "yes_no":
        yield part == "yes"
    else:
        figures = part.removeprefix("at most ").removeprefix("at least ").split(" to ")
        all_below = below and figures[-1].endswith(below)
        for figure in figures:
            size = figure.removesuffix(f" {below}") if below else figure
            yield int(figure) if kind == "count" else f"-{size}" if all_below or size != figure else figure


@pytest.mark.parametrize(
    ("name", "facts"),
    [
        (WORKS[0], ("ball.rating", "ball.shank_length")),
        (BIKES, ("load.bikes", "mounting.pin_to_bumper")),
        (BIKES, ("load.bikes", "mounting.pin_to_bumper", "vehicle.curb_weight_rear")),
    ],
)
def test_two_facts_not_known_keep_their_readings_and_none_fails_beside_another(
    name: str, facts: tuple[str, ...]
) -> None:
    """What a ball bears and how long its shank is, both open: each has readings that work, no two fail together.

    What only cautions wait for, such as an axle not weighed, takes no such reading away.
    """
    document = question(name)
    for fact in facts:
        document = told(document, fact, None)
    steps = [step for step in answer(document).next if step.fact in facts[:2]]
    assert len(steps) == 2 and all(step.works_if for step in steps), steps
    for pair in product(*(list(readings(step, step.works_if)) for step in steps)):
        settled = document
        for step, reading in zip(steps, pair, strict=True):
            settled = told(settled, step.fact, reading)
        assert answer(settled).outcome in ("works", "conditional"), pair


def test_a_bound_past_the_limit_by_a_hair_is_never_any_reading() -> None:
    """Bikes of 28 to 30.01 lb on trays for 30 lb: what lies between two readings may still be too much."""
    document = told(question(BIKES), "accessory.bike_weight_max", "30 lb")
    found = answer(told(document, "load.bike_weight", {"value": "29 lb", "tolerance": "1.01 lb"}))
    assert found.outcome == "undetermined"
    (step,) = found.next
    assert step.works_if == "at most 30 lb" and step.fails_if
    for reading in readings(step, step.fails_if):
        assert answer(told(document, "load.bike_weight", reading)).outcome == "fails"


def test_the_first_of_two_readings_is_not_said_to_settle_it() -> None:
    """With two ratings not known, the one asked for first leaves the answer open: it can work, no more."""
    document = told(told(question(WORKS[0]), "receiver.trailer_rating", None), "ball.rating", None)
    found = answer(document)
    assert len(found.next) == 2 and "it can work if" in found.summary, found.summary
    (reading,) = readings(found.next[0], found.next[0].works_if)
    after = answer(told(document, found.next[0].fact, reading))
    assert after.outcome == "undetermined" and "it works if" in after.summary, after.summary


def test_a_failing_answer_asks_for_nothing() -> None:
    """Once a rule surely fails, no reading can save the answer, so none is asked for."""
    failing = [name for name, entry in ASKED.items() if entry["expect"] == "fails"]
    assert failing
    assert all(answer(question(name)).next == [] for name in failing)


def test_what_decides_the_outcome_is_asked_first() -> None:
    """Facts that hold up the outcome come before those that only cautions wait for."""
    document = told(told(question(WORKS[0]), "vehicle.gvwr", None), "accessory.shank", None)
    assert answer(document).next[0].fact == "accessory.shank"


CART: dict[str, Any] = {
    "rig": {"id": "rig_farm_muckle"},
    "accessory": {"sku": "TUG-2-D2-10"},
    "ball": {"sku": "RBL-2-C"},
    "trailer": {"sku": "DUN-CART-612E"},
}


@pytest.mark.parametrize(
    ("fact", "readings_beyond"),
    [
        ("load.occupants_weight", ["1300 lb", "1491 lb"]),  # more asks for the rear axle to be weighed
        ("trailer.chain_count", [1]),  # two that cross under the tongue are usual
        ("vehicle.socket", ["none", "round_6"]),  # each wants an adapter beside it
        ("trailer.plug", ["round_6"]),
        ("vehicle.curb_weight_rear", ["1300 lb", "2992 lb"]),  # the axles would not add up to the vehicle
    ],
)
def test_a_reading_that_works_brings_nothing_else_to_see_to(fact: str, readings_beyond: list[Any]) -> None:
    """At each limit of `works_if` the whole answer is yes; beyond, something else is to be seen to."""
    people = fact == "load.occupants_weight"
    document = CART if people else told(told(CART, "load.occupants_weight", "300 lb"), fact, None)
    found = answer(document)
    (step,) = (step for step in found.next if step.fact == fact)
    assert (found.outcome, step.leaves_open) == ("conditional", 0)
    assert {answer(told(document, fact, one)).outcome for one in readings(step, step.works_if)} == {"works"}
    assert {answer(told(document, fact, one)).outcome for one in readings_beyond} == {"conditional"}


def test_what_settles_as_easily_is_asked_for_too() -> None:
    """Cargo under a drop tailgate may lie low or far back: which of them it does is for who loads it to say."""
    load = {"cargo_weight": "200 lb", "needs_closure_open": True}
    found = answer({"rig": {"id": "rig_farm_muckle"}, "accessory": {"sku": "LLH-TRAY-60"}, "load": {"facts": load}})
    steps = {step.fact: step for step in found.next}
    assert steps["load.top_height"].works_if == "at most 16 in"
    assert list(steps).index("load.top_height") == list(steps).index("load.front_setback") + 1
    for fact in ("load.top_height", "load.front_setback"):
        assert steps[fact].settles == ["closure-opens-past-load"]
    assert not any(step.how.startswith("Fold it up and") for step in found.next)


def test_what_settles_the_same_is_read_out_with_what_is_asked_first() -> None:
    """A tailgate is cleared by a load that stands far back or one that is low: the sentence names both, each once."""
    mounting = world().find("mounting", "mnt_haywain_low_wicket")
    assert mounting is not None
    rig = {part: {"id": mounting.links[part]} for part in ("vehicle", "receiver")} | {"mounting": {"id": mounting.key}}
    load = {"needs_closure_open": True, "occupants_weight": "150 lb", "bikes": 2, "bike_weight": "30 lb"}
    found = answerer().answer({"rig": rig, "accessory": {"sku": "WLW-MAST-4"}, "load": {"facts": load}}, world())
    first, other = found.next[:2]
    assert (first.fact, other.fact) == ("load.front_setback", "load.top_height") and first.settles == other.settles
    assert found.summary == (
        f"Not sure yet. First measure the distance from pin hole to the load's front: it can work if that is "
        f"{first.works_if}; or measure the height of the top of the load: it can work if that is {other.works_if}. "
        "1 other point stays open."
    )
