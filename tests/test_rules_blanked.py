"""Blank any one fact of a question that is a plain yes: it is one no longer, unless the fact had no say in it.

A fact has a say where some other figure in its place makes the answer a no. Then not telling it must not be a yes: the
answer is open or conditional. Where it still is one, the fact stands on the list here, with the reason.
"""

from collections.abc import Iterator, Mapping
from random import Random
from typing import Final

import pytest
from demo_world import answerer
from effort import NIGHTLY
from working_rigs import BOOK, KINDS, MADE, Rig, any_value, blanked, has, put, random_rigs, slot_of, works

from fitsvc.answers.cautions import Cautions
from fitsvc.answers.next_steps import next_steps
from fitsvc.facts import Case
from fitsvc.language.truth import NO, YES
from fitsvc.language.types import ListType, NumberType, Value
from fitsvc.rulebook.outcomes import OUTCOMES

RIGS = 240 if NIGHTLY else 6
"""Rigs of each kind whose facts are blanked; of three of them one has no adapter, one has one and one two."""

_TOPIC = "opens a topic: the question is about it when a customer brings it up, and nothing is taken for granted of it"
_PLATE = "stands on plates for some markets only; the tongue and trailer ratings are held without it"
_PAYLOAD = "either source tells the payload, and with a load, a trailer or people named one of them is asked for"
_AXLE = "with a load or a trailer it is asked for; what carries nothing seldom comes to an axle's rating"
_SLEEVE = "a sleeve seldom tells its figures, and is taken to be anything that sleeves are"
_GROUND = "what hangs so low lies on the ground before anybody's eyes; a carrier's lowest point is asked for"

ALLOWED: Mapping[str, str] = {
    "accessory.weight": "of a mount, a shackle or a pin 60 lb at most are counted in its place, by its role",
    "vehicle.tongue_rating": "nobody looks it up for what weighs little by what it is",
    "vehicle.gvwr": _PAYLOAD,
    "vehicle.curb_weight": _PAYLOAD,
    "vehicle.placard_capacity": _PAYLOAD,
    "vehicle.gawr_front": "both axle ratings can do no more than contradict the payload, which is held by itself",
    "vehicle.curb_weight_front": "what it leaves of the curb weight only refuses; the rear axle is held by its own",
    "vehicle.curb_weight_rear": _AXLE,
    "vehicle.gawr_rear": _AXLE,
    "vehicle.rear_overhang": _AXLE,
    "vehicle.wheelbase": _AXLE,
    "accessory.length": _AXLE,
    "mounting.pin_to_bumper": _AXLE,
    "vehicle.gcwr": "the trailer that is towed beside it asks for it by itself",
    "vehicle.body": "no vehicle is taken for a trailer; that one is towed is said",
    "receiver.tongue_rating": "a plate that gives an S value and no other rating gives that in its place",
    "receiver.vertical_rating": _PLATE,
    "receiver.d_value": _PLATE,
    "receiver.place": "a receiver is taken to be on the frame at the rear, and the answer says so",
    "beside.hangs_on": "comes with the other things of the question, and is made from what is said of them",
    "adapter.adds_length": _SLEEVE,
    "adapter.adds_rise": _SLEEVE,
    "adapter.tongue_rating": "a sleeve that tells none is a caution of its own, but for a pin's sake",
    "adapter.trailer_rating": "a sleeve that tells none is a caution of its own, but for a pin's sake",
    "trailer.drawbar_length": "a trailer's body is behind its ball; what hangs over the ball is a caution by itself",
    "adapter.keeps_fraction": "of an adapter that adds no length, its own rating is the share it keeps",
    "adapter.weight": "of an adapter that does not swing away up to 60 lb are counted in its place, and it says so",
    "accessory.lowest_drop": _GROUND,
    "mounting.height": _GROUND,
    "load.heaviest_bike": _TOPIC,
    "load.jurisdiction": "a place that is named is judged by its law; where none is, what differs by place is told",
    "load.cargo_weight": "with no load named, a carrier is held to what its own label allows",
    "load.person_weight": "with nobody named, whomever the step takes may stand on it",
    "load.occupants_weight": "somebody drives, and is counted; how much is left for more is told",
    "trailer.coupler_kind": "a ball size told makes it a ball coupler, a ring's diameter a ring; the answer says so",
    "trailer.gvwr": "stands on a trailer that is seldom at the counter; the answer says what it takes in its place",
    "trailer.empty_weight": "where the loaded weight is told, it can do no more than contradict that",
    "trailer.cargo_weight": "where the loaded weight is told, it can do no more than contradict that",
    "trailer.weight_distribution": "what is not mentioned and would be mentioned is not used; the answer says so",
}
"""The facts that may be left out of a question that is a plain yes although they have a say, and why."""


PINNED: Final = ("adapter.pin", "adapter.pin_hole")
_ADAPTERS = slot_of("adapter.kind").kind
assert isinstance(_ADAPTERS, ListType)
SLEEVE: Final = _ADAPTERS.mask("reducer_sleeve")
SAID: Final = (
    "receiver.place",
    "trailer.coupler_kind",
    "trailer.weight_distribution",
    "trailer.gvwr",
    "load.occupants_weight",
)
"""Of those, what only somebody at the counter could tell: the answer says what it takes in its place, each time."""


def told(case: Case) -> Iterator[tuple[str, int | None]]:
    """Every fact that a case tells, and the place of its adapter."""
    yield from ((name, None) for name in sorted(case.facts))
    yield from ((name, place) for place, adapter in enumerate(case.adapters) for name in sorted(adapter))


def values(rng: Random, name: str) -> Iterator[Value]:
    """Other figures for a fact: every member, either truth, the ends of its range and some between."""
    kind, slot = slot_of(name).kind, slot_of(name)
    if isinstance(kind, ListType):
        yield from (kind.member(place) for place in range(len(kind.members)))
    elif isinstance(kind, NumberType):
        high = min(slot.high, 1e6)
        yield from ((end, end) for end in (slot.low, high, slot.low + 0.02 * (high - slot.low)))
        yield from (any_value(rng, name) for _ in range(6))
    else:
        yield from (NO, YES)


def failing(rng: Random, case: Case, name: str, place: int | None) -> list[str]:
    """The rules that say no with another figure for a fact; none where no figure that was tried brings one about."""
    for value in values(rng, name):
        verdict = MADE.engine.evaluate(put(case, name, value, place))
        if verdict.fails:
            return [BOOK.rules[number].id for number in verdict.fails]
    return []


def held_by_its_plate(case: Case) -> bool:
    """Whether the receiver's D value stands for its trailer rating, as on a plate that gives no other, and is held."""
    return passes("pull-within-d-value-alone", case)


def passes(rule: str, case: Case) -> bool:
    """Whether a rule passes."""
    results = MADE.engine.evaluate(case).results(len(BOOK.rules))
    return any(one.id == rule and told == "passes" for one, told in zip(BOOK.rules, results, strict=True))


def passed_over(rng: Random, rig: Rig) -> Iterator[tuple[str, list[str]]]:
    """The facts of a rig that may be left out although they have a say, each with the rules that would say no."""
    for name, place in told(rig.case):
        left = blanked(rig.case, name, place)
        if name == "receiver.trailer_rating" and held_by_its_plate(left):
            continue
        if name == "load.bike_weight" and "load.heaviest_bike" in left.facts:
            continue  # no bike is heavier than the heaviest, which is held
        if name == "trailer.chain_count" and passes("trailer-has-safety-chains", left):
            continue  # where a breakaway cable stands in for chains, none need be there
        if name in PINNED and place is not None and left.adapters[place].get("adapter.kind") == SLEEVE:
            continue  # a sleeve has the opening's own pin through it, and a hole for it by what it is
        if works(left) and (rules := failing(rng, rig.case, name, place)):
            yield name, rules


def heeded(kind: str) -> set[str]:
    """What is not asked about for a kind and has a say only where it is told.

    What a maker may forbid; of a pin alone what is stamped on the bumper, and what stands before the front, where it
    lies within the receiver; of a mount a spare on the door, which who couples sees above the ball; of what is no
    carrier its width, as hardly any stands out past the vehicle.
    """
    behind_motorhome = set() if has(kind, "carries") else {"accessory.approved_behind_motorhome"}
    on_bumper = {"accessory.allowed_on_bumper"} if has(kind, "tows") or has(kind, "only_pin") else set()
    stamped = {"vehicle.bumper_tongue_rating"} if has(kind, "only_pin") else set()
    above = {"vehicle.spare_location"} if has(kind, "tows") else set()
    before = {"accessory.allowed_at_front", "accessory.obscures_headlamps"} if has(kind, "only_pin") else set()
    wide = set() if has(kind, "carries") else {"accessory.width"}
    return behind_motorhome | on_bumper | stamped | above | before | wide


@pytest.mark.parametrize("kind", KINDS)
def test_what_has_a_say_is_missed(kind: str) -> None:
    """Of whatever a rig tells, what could bring about a no is missed when it is not told, but for what is listed."""
    rng = Random(None if NIGHTLY else kind)
    found = {name: rules for rig in random_rigs(rng, kind, RIGS) for name, rules in passed_over(rng, rig)}
    assert {name: rules for name, rules in found.items() if name not in ALLOWED.keys() | heeded(kind)} == {}


@pytest.mark.parametrize("kind", KINDS)
def test_what_is_taken_in_its_place_is_said(kind: str) -> None:
    """Where a fact that only a person could tell is passed over, the answer assumes something more than before."""
    rng, assumed = Random(kind), Cautions(MADE.engine, BOOK, assumed=True)

    def says(case: Case) -> set[str]:
        return set(assumed.told(MADE.engine.opened(case), "us"))

    for rig in random_rigs(rng, kind, RIGS):
        for name in {*SAID} & rig.case.facts.keys():
            less = blanked(rig.case, name)
            if works(less) and failing(rng, rig.case, name, None):
                assert says(less) - says(rig.case), name


@pytest.mark.parametrize("kind", KINDS)
def test_what_is_left_open_can_be_asked_for(kind: str) -> None:
    """Whatever is not told beside another figure than the rig's, an answer that is left open asks for a fact.

    Only of what is not judged at all is nobody asked.
    """
    rng, missing, asked = Random(None if NIGHTLY else kind), answerer().missing, 0
    for rig in random_rigs(rng, kind, RIGS):
        facts = [*told(rig.case)]
        for name, place in rng.sample(facts, min(len(facts), 12)):
            less = blanked(rig.case, name, place)
            other = rng.choice([*less.facts])
            case = put(less, other, any_value(rng, other))
            verdict = missing.engine.evaluate(case)
            if verdict.outcome == "undetermined":
                steps = next_steps(missing, case, verdict, "us")
                assert steps.told or steps.for_good, (name, other, [BOOK.rules[n].id for n in verdict.holding_up])
                asked += 1
    assert asked


@pytest.mark.parametrize("kind", [kind for kind in KINDS if has(kind, "tows")])
def test_a_tongue_told_at_most_is_no_worse_than_one_not_told(kind: str) -> None:
    """Where all that is borne bears what it is at most, only how light it is stays open, as where nothing is told."""
    rng, tried = Random(kind), 0
    for rig in random_rigs(rng, kind, RIGS):
        tongue = rig.case.facts.get("trailer.tongue_weight")
        if isinstance(tongue, tuple):
            blank = MADE.engine.evaluate(blanked(rig.case, "trailer.tongue_weight")).outcome
            at_most = MADE.engine.evaluate(put(rig.case, "trailer.tongue_weight", (0.0, tongue[1]))).outcome
            assert OUTCOMES.index(at_most) <= max(OUTCOMES.index(blank), OUTCOMES.index("conditional"))
            assert at_most != "works"
            tried += 1
    assert tried


def test_what_weighs_much_is_missed_when_it_is_not_told() -> None:
    """Only what weighs little by what it is goes unweighed: of a carrier, a step or a winch the weight is asked."""
    for kind in (kind for kind in KINDS if not has(kind, "weighs_little")):
        (rig,) = random_rigs(Random(kind), kind, 1)
        assert not works(blanked(rig.case, "accessory.weight")), kind


def test_what_is_listed_could_be_passed_over() -> None:
    """Only a fact that rules ask the being told of can be passed over; one that none asks for any more is taken off."""
    assert ALLOWED.keys() <= BOOK.named
