"""Figures told at least or at most: enough is enough, and no doubt rests on an end that nobody told."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from math import isfinite
from random import Random
from typing import Any, Final

import pytest
from effort import tries
from hypothesis import given
from hypothesis import strategies as st
from judging import Facts, answer, answerer
from random_rulebooks import completed, random_case, shipped_rulebook
from test_engine_columns import assert_agree, rest, split
from test_engine_laws import assert_sound, in_order
from test_engine_point import assert_agree as hold
from test_rules_towbars import TOWBAR

from fitsvc.answers.answering import Answerer
from fitsvc.answers.question import Question, read_question
from fitsvc.answers.records import NoRecords
from fitsvc.answers.trying import UnknownFact, Work
from fitsvc.engine.columns.kernel import Columns
from fitsvc.facts import Case
from fitsvc.language.typed import TOLD, Read
from fitsvc.language.types import NumberType, Value

BIKES: Final[Mapping[str, Any]] = {
    "vehicle.body": "pickup", "vehicle.wheelbase": "145 in", "vehicle.rear_overhang": "48 in",
    "vehicle.curb_weight_front": "3000 lb", "vehicle.curb_weight_rear": "2200 lb", "vehicle.gvwr": "7000 lb",
    "vehicle.placard_capacity": "1800 lb", "vehicle.gawr_rear": "3900 lb", "vehicle.tow_rating": "9000 lb",
    "vehicle.tongue_rating": "900 lb", "vehicle.departure_angle": "24 deg", "receiver.hitch_class": "IV",
    "receiver.opening": "2 in", "receiver.pin_hole": "5/8 in", "receiver.tube_outside": "3 in",
    "receiver.trailer_rating": "10000 lb", "receiver.tongue_rating": "1000 lb", "mounting.height": "19 in",
    "mounting.pin_to_bumper": "3 in", "accessory.kind": "bike_carrier", "accessory.shank": "2 in",
    "accessory.pin": "5/8 in", "accessory.pin_supplied": True, "accessory.pin_span": "3-1/2 in",
    "accessory.weight": "45 lb", "accessory.capacity": "120 lb", "accessory.min_class": "III",
    "accessory.length": "22 in", "accessory.rear_extent": "40 in", "accessory.front_setback": "8 in",
    "accessory.stow_setback": "8 in", "accessory.lowest_drop": "0 in", "accessory.width": "60 in",
    "accessory.bikes_max": 2, "accessory.bike_weight_max": "60 lb", "accessory.bike_tyre_max": "3 in",
    "accessory.bike_wheelbase_max": "50 in", "accessory.obscures_plate": False, "accessory.obscures_lamps": False,
    "accessory.plug": "none", "load.occupants_weight": "400 lb", "load.bikes": 2, "load.bike_weight": "35 lb",
    "load.bike_frame": "closed",
}  # fmt: skip
"""Two bikes on a carrier behind a pickup, a plain yes; each fact is there because it is none without, or to vary it."""
RIGS: Final[Mapping[str, Facts]] = {"bikes": BIKES, "towbar": TOWBAR}


def figures(facts: Facts) -> Iterator[tuple[str, float, str]]:
    """Each fact that is one figure with a unit: its name, the figure and the unit."""
    for name, wire in facts.items():
        if isinstance(wire, str) and isinstance(answerer().rulebook.vocabulary.facts[name].type, NumberType):
            amount, _, unit = wire.partition(" ")
            if amount.lstrip("-").replace(".", "").isdigit():
                yield name, float(amount), unit


ENOUGH: Final = [
    ("bikes", "receiver.tongue_rating", {"at_least": "350 lb"}),
    ("bikes", "vehicle.tongue_rating", {"at_least": "350 lb"}),
    ("bikes", "vehicle.tow_rating", {"at_most": "9000 lb"}),
    ("bikes", "vehicle.gawr_rear", {"at_least": "3800 lb"}),
    ("bikes", "vehicle.placard_capacity", {"at_least": "1200 lb"}),
    ("bikes", "accessory.capacity", {"at_least": "70 lb"}),
    ("bikes", "accessory.bike_weight_max", {"at_least": "40 lb"}),
    ("bikes", "accessory.front_setback", {"at_least": "7 in"}),
    ("bikes", "accessory.stow_setback", {"at_least": "7 in"}),
    ("bikes", "load.bike_weight", {"at_most": "35 lb"}),
    ("bikes", "vehicle.rear_overhang", {"at_most": "48 in"}),
    ("towbar", "vehicle.tongue_rating", {"at_least": "90 kg"}),
    ("towbar", "receiver.vertical_rating", {"at_least": "90 kg"}),
    ("towbar", "trailer.coupler_rating", {"at_least": "1900 kg"}),
    ("towbar", "vehicle.gcwr", {"at_least": "4400 kg"}),
]  # fmt: skip


@pytest.mark.parametrize(("rig", "fact", "told"), ENOUGH)
def test_what_surely_suffices_is_a_plain_yes_though_one_end_alone_is_told(
    rig: str, fact: str, told: Mapping[str, str]
) -> None:
    """Nobody is sent to read a label again for an end of a figure that nobody told."""
    assert answer(RIGS[rig]).outcome == "works"
    found = answer({**RIGS[rig], fact: told})
    assert (found.outcome, found.next) == ("works", [])


SHARE: Final = "adapter.keeps_fraction"
ARM: Final[Facts] = {
    "kind": "extension", "fits_opening": "2 in", "offers_opening": "2 in", "pin": "5/8 in", "pin_hole": "5/8 in",
    "pin_supplied": True, "tube_outside": "3 in", "weight": "12 lb", "adds_length": "8 in", "adds_rise": "0 in",
    "trailer_rating": "6000 lb", "tongue_rating": "600 lb", "keeps_fraction": "50 %",
}  # fmt: skip
"""An extension told whole. Of a share above 36 / (36 + 8), which is 81.8 %, it is doubted that it can be so."""


def test_a_share_told_at_least_that_suffices_is_not_asked_for_again() -> None:
    """At least half of the ratings is enough where half is; so much that it cannot be is doubted, told so or so."""
    facts = {**BIKES, "accessory.extension_allowed": True}
    exact = answer(facts, [ARM])
    found = answer(facts, [{**ARM, "keeps_fraction": {"at_least": "50 %"}}])
    assert exact.outcome in ("works", "conditional")
    assert (found.outcome, found.summary, found.next) == (exact.outcome, exact.summary, exact.next)
    for share in ("82 %", {"at_least": "82 %"}):
        doubted = answer(facts, [{**ARM, "keeps_fraction": share}])
        assert "share-suits-length" in {one.rule for one in doubted.findings if one.result == "fails"}


@pytest.mark.parametrize(
    ("fact", "told"),
    [
        ("weight", {"at_most": "12 lb"}),
        ("adds_length", {"at_most": "8 in"}),
        ("trailer_rating", {"at_least": "3500 lb"}),
        ("tongue_rating", {"at_least": "350 lb"}),
    ],
)
def test_what_surely_suffices_of_an_adapter_is_a_plain_yes(fact: str, told: Mapping[str, str]) -> None:
    """As of the rig: nobody is sent to weigh an adapter again that is told to be light enough."""
    facts = {**BIKES, "accessory.extension_allowed": True}
    found = answer(facts, [{**ARM, fact: told}])
    assert (found.outcome, found.next) == (answer(facts, [ARM]).outcome, []) == ("works", [])


def test_a_share_to_be_read_is_told_by_its_lower_end() -> None:
    """No share fails by being large: what is more than can be so is doubted, and no more is counted of it."""
    facts = {**BIKES, "accessory.extension_allowed": True}
    step = next(one for one in answer(facts, [{**ARM, "keeps_fraction": None}]).next if one.fact == SHARE)
    assert step.works_if.startswith("at least ") and step.fails_if.startswith("at most ")
    assert step.doubted_if == "more than 81.8 %"


@pytest.mark.parametrize("rig", RIGS)
def test_no_yes_comes_of_one_end_that_the_very_figure_would_not_get(rig: str) -> None:
    """At least or at most so much is never answered better than just so much: doubts are no smaller for a bound."""
    tried = 0
    for name, amount, unit in figures(RIGS[rig]):
        for times in (0.1, 0.5, 1.0, 2.0, 10.0):
            figure = f"{amount * times:g} {unit}"
            for end in ("at_least", "at_most"):
                try:
                    bound = answer({**RIGS[rig], name: {end: figure}})
                    exact = answer({**RIGS[rig], name: figure})
                except Exception as refused:  # a figure that is not plausible is refused, told so or so
                    assert "plausible" in str(refused)
                    continue
                if bound.outcome == "works":
                    tried += 1
                    assert exact.outcome == "works", (name, end, figure)
    assert tried > 20


@pytest.mark.parametrize(
    ("facts", "rule"),
    [
        ({"receiver.tongue_rating": {"at_least": "7000 lb"}, "receiver.trailer_rating": "6000 lb"},
         "tongue-rating-below-trailer-rating"),
        ({"load.bike_weight": {"at_most": "5 lb"}}, "bike-weighs-something"),
    ],
)  # fmt: skip
def test_what_is_told_by_one_end_and_cannot_be_is_still_doubted(facts: Facts, rule: str) -> None:
    """A slip of the pen is one behind `at least` too."""
    found = answer({**BIKES, **facts})
    assert found.outcome == "conditional"
    assert rule in {one.rule for one in found.findings if one.result == "fails"}


def test_a_range_of_which_both_ends_are_told_is_doubted_where_they_may_disagree() -> None:
    """Whoever tells both ends says that it may be the upper one."""
    found = answer({**BIKES, "receiver.tongue_rating": {"at_least": "900 lb", "at_most": "1100 lb"},
                    "receiver.trailer_rating": "1000 lb"})  # fmt: skip
    assert found.outcome == "conditional"


@tries(200)
@given(seed=st.integers(min_value=0, max_value=2**32))
def test_more_knowledge_never_changes_what_is_settled_beside_ends_that_were_told(seed: int) -> None:
    """What was told by one end belongs to the question: with it as it was told, what is settled stays so."""
    rng, real = Random(seed), shipped_rulebook()
    case = in_order(random_case(rng, real), None)
    ends = dict[str, Value]()
    for name, value in case.facts.items():
        if isinstance(value, tuple) and rng.random() < 0.3:
            end = rng.choice([one for one in value if abs(one) < 1e9] or [0.0])
            ends[f"{name}{TOLD}"] = (end, end)

    def telling(one: Case) -> Case:
        return replace(one, facts={**one.facts, **ends})

    for step in range(3):
        better = in_order(completed(rng, case, real, chance=rng.choice((0.1, 0.5, 1.0))), case)
        assert_sound(real, telling(case), telling(better), f"seed {seed}, step {step}")
        case = better


def ended(rng: Random, facts: Mapping[str, Value]) -> dict[str, Value]:
    """Some figures as told by their lower end alone."""
    ends = {name: (value[0], value[0]) for name, value in facts.items() if isinstance(value, tuple)}
    told = {f"{name}{TOLD}": end for name, end in ends.items() if isfinite(end[0]) and rng.random() < 0.5}
    return {**facts, **told}


@pytest.mark.parametrize("seed", range(3))
def test_what_was_told_of_an_adapter_is_heard_of_that_one(seed: int) -> None:
    """One case goes by what was told of each adapter by one end as the specification does.

    Eight cases are drawn, and of a seed that tells no share by one end in them so many more until one does.
    """
    rng, real, heard = Random(seed), shipped_rulebook(), 0
    for number in range(64):
        if heard and number >= 8:
            break
        case = random_case(rng, real)
        case = replace(case, adapters=tuple(ended(rng, adapter) for adapter in case.adapters))
        heard += any(f"{SHARE}{TOLD}" in adapter for adapter in case.adapters)
        hold(real, case, f"seed {seed}, case {number}")
    assert heard


@pytest.mark.parametrize("seed", range(6))
def test_a_catalogue_is_judged_as_each_item_is_where_the_rig_is_told_by_one_end(seed: int) -> None:
    """Columns go by what was told of the rig, as one case does."""
    rng, real, subjects = Random(seed), shipped_rulebook(), frozenset({"accessory"})
    rigs = []
    for _ in range(4):
        rig = rest(random_case(rng, real), subjects)
        adapters = tuple(ended(rng, adapter) for adapter in rig.adapters)
        rigs.append(replace(rig, facts=ended(rng, rig.facts), adapters=adapters))
    items = [split(real, random_case(rng, real), subjects) for _ in range(12)]
    assert assert_agree(real, Columns(real.engine), rigs, items, subjects, f"seed {seed}", bool(seed & 1))


def told_of(name: str, wire: Any, adapters: Sequence[Facts] = ()) -> Question:
    """The question about two bikes with one fact told so."""
    document: dict[str, Any] = {"rig": {"adapters": [{"facts": one} for one in adapters]}}
    for fact, value in {**BIKES, name: wire}.items():
        subject, _, short = fact.partition(".")
        place = document["rig"] if subject in ("vehicle", "receiver", "mounting") else document
        place.setdefault(subject, {"facts": {}})["facts"][short] = value
    return read_question(document, answerer().reader, NoRecords())


RATING: Final = "receiver.tongue_rating"


def test_a_fact_that_is_taken_back_is_as_it_was_told() -> None:
    """Supposed to be anything and taken back, a figure told at least leaves no more open than it did."""
    case, of = told_of(RATING, {"at_least": "350 lb"}).case, answerer().missing
    fact = of.engine.rulebook.vocabulary.facts[RATING]
    assert isinstance(fact.type, NumberType)
    held = UnknownFact(RATING, read=Read(fact.type, RATING), fact=fact)
    trying = of.trying(case, Work())
    reading = [n for n in range(len(of.engine.rulebook.rules)) if held.read.slot in of.engine.support(n, False).told]
    before = [trying.judged(number, trying.now) for number in reading]
    assert len(reading) > 3 and before.count("works") > 3
    trying.suppose(held, (5e3, 5e3))
    assert [trying.judged(number, trying.now) for number in reading] != before
    assert [trying.judged(number, trying.without(held)) for number in reading] == before
    assert trying.without(held).facts == case.facts
    trying.take_back(held)
    assert trying.now.facts == case.facts


def test_a_share_that_is_taken_back_is_as_it_was_told() -> None:
    """So it is of an adapter's figure, which is told in its own place in the opening and nowhere else."""
    case, of = told_of("load.bikes", 2, [ARM, {**ARM, "keeps_fraction": {"at_least": "90 %"}}]).case, answerer().missing
    assert [f"{SHARE}{TOLD}" in adapter for adapter in case.adapters] == [False, True]
    number = next(n for n, rule in enumerate(of.engine.rulebook.rules) if rule.id == "share-suits-length")
    fact = of.engine.rulebook.vocabulary.facts[SHARE]
    assert isinstance(fact.type, NumberType)
    held = UnknownFact(SHARE, 1, read=Read(fact.type, SHARE), fact=fact)
    trying = of.trying(case, Work())
    assert trying.judged(number, trying.now) == "open"  # doubted, as 90 % itself is
    trying.suppose(held, (0.5, 0.5))
    assert trying.judged(number, trying.now) == "works"
    assert trying.without(held).facts == of.engine.opened(case).facts
    trying.take_back(held)
    assert trying.now.facts == of.engine.opened(case).facts


def test_what_was_told_of_a_figure_is_no_other_questions() -> None:
    """The same bounds where something else was said, too, are worded anew and not as those that one end was told of."""
    told = told_of(RATING, {"at_least": "350 lb"})
    facts = {name: value for name, value in told.case.facts.items() if not name.endswith(TOLD)}
    disputed = replace(told, case=replace(told.case, facts=facts))
    heard, fresh = Answerer(answerer().rulebook), Answerer(answerer().rulebook)
    assert heard.answer_question(told).outcome == "works"
    found, alone = heard.answer_question(disputed), fresh.answer_question(disputed)
    assert (found.outcome, alone.outcome) == ("conditional", "conditional")
    assert found == alone
