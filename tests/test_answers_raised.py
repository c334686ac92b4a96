"""Ratings told in a question above what a record says: the lower counts, and both are told; weights are as told."""

from dataclasses import replace
from typing import Any

import pytest
from demo_world import World, answerer, world

from fitsvc.answers.answer import Answer
from fitsvc.answers.question import read_question
from fitsvc.answers.records import NoRecords, Stored
from fitsvc.answers.spelling import spelt_out
from fitsvc.planning.reading import read_wishes

TRAY = {
    "accessory": {"sku": "LLH-TRAY-60"},
    "load": {"facts": {"cargo_weight": "480 lb", "occupants_weight": "150 lb"}},
}
READER = answerer().reader
RATED = ("vehicle.tongue_rating", "receiver.tongue_rating")


def asked(rating: Any, **rig: Any) -> dict[str, Any]:
    """A tray with 480 lb on a truck and receiver that are stored for 500 lb, both told to bear something else."""
    told = {"facts": {"tongue_rating": rating}}
    parts = {name: {**rig.get(name, {}), **told} for name in ("vehicle", "receiver")}
    return {"rig": {"id": "rig_farm_muckle", **rig, **parts}, **TRAY}


def answer(document: dict[str, Any]) -> Answer:
    """The answer in the demo's world."""
    return answerer().answer(document, world())


@pytest.mark.parametrize("rating", ["900 lb", {"at_least": "600 lb"}, {"at_least": "600 lb", "at_most": "900 lb"}])
def test_a_rating_told_above_its_record_lifts_nothing(rating: Any) -> None:
    """It fails as it does by the records alone, and says of both figures that they contradict each other."""
    found, bare = answer(asked(rating)), answer({"rig": {"id": "rig_farm_muckle"}, **TRAY})
    assert (found.outcome, found.limits) == ("fails", bare.limits)
    assert {one.fact: one.state for one in found.disputed} == dict.fromkeys(RATED, "disputed")
    assert all("500 lb by its record, which counts as the lower" in one.because for one in found.disputed)
    assert all("by this question" in one.because for one in found.disputed)
    assert bare.disputed == []
    assert "(as given)" not in "".join(text for one in found.findings for text in one.facts.values())


@pytest.mark.parametrize(
    ("rating", "counts"),
    [
        ("450 lb", "450 lb"),
        ("500 lb", "500 lb"),
        ({"at_least": "400 lb"}, {"at_least": "400 lb", "at_most": "500 lb"}),
        ({"at_least": "450 lb", "at_most": "600 lb"}, {"at_least": "450 lb", "at_most": "500 lb"}),
        ({"at_most": "600 lb"}, {"at_most": "500 lb"}),
        ({"at_most": "450 lb"}, {"at_most": "450 lb"}),
        (None, {"at_most": "500 lb"}),
    ],
)
def test_a_rating_told_no_higher_counts_as_it_is_told_up_to_its_record(rating: Any, counts: Any) -> None:
    """What is told lower counts; of bounds around the record's figure, and of what is told as not known, the stricter.

    So no reading is asked for above the record, which it would then refuse; and nothing contradicts it.
    """
    document = asked(rating)
    case = read_question(document, answerer().reader, world()).case
    told = {"vehicle": {"facts": {"tongue_rating": counts}}, "accessory": {"facts": {}}}
    alone = read_question({"rig": {"vehicle": told["vehicle"]}, "accessory": {}}, answerer().reader, NoRecords()).case
    assert case.facts[RATED[0]] == case.facts[RATED[1]] == alone.facts[RATED[0]]
    assert answer(document).disputed == []


def test_a_rig_that_is_not_stored_is_as_it_is_told() -> None:
    """Without a record there is nothing to lift, and nothing is disputed."""
    rig = {name: {"facts": {"tongue_rating": "900 lb"}} for name in ("vehicle", "receiver")}
    question = read_question({"rig": rig, **TRAY}, answerer().reader, world())
    assert {name: question.doubts.get(name) for name in RATED} == dict.fromkeys(RATED)
    assert question.case.facts[RATED[0]] == pytest.approx((408.23, 408.23), abs=0.01)


def test_a_rating_told_of_a_linked_receiver_is_held_to_its_record() -> None:
    """A receiver that only its mounting names has a record all the same."""
    rig = {"mounting": {"id": "mnt_saltmarsh_own"}, "receiver": {"facts": {"tongue_rating": "7000 lb"}}}
    question = read_question({"rig": rig, **TRAY}, answerer().reader, world())
    record = world().find("receiver", "rcv_velmora_saltmarsh")
    assert record is not None
    assert question.doubts["receiver.tongue_rating"].said[1][0] == record.facts["tongue_rating"]
    assert "receiver.tongue_rating" not in question.told_here


def test_each_part_that_is_rated_is_held_to_its_own_record_and_weights_are_as_told() -> None:
    """A ball as well as a rig; of a weight what is told counts, be it the higher or the lower."""
    reader = answerer().reader
    weighed = {"accessory.weight", "trailer.gross_weight", "trailer.tongue_weight", "load.cargo_weight"}
    assert not reader.ratings & weighed
    assert "accessory.spring_bars_least" not in reader.ratings
    ball = {"sku": "RBL-2-A", "facts": {"rating": "6000 lb"}}
    heavy = {"sku": "LLH-TRAY-60", "facts": {"weight": "200 lb"}}
    light = {"sku": "LLH-TRAY-60", "facts": {"weight": "10 lb"}}
    question = read_question({"accessory": heavy, "ball": ball}, reader, world())
    assert question.case.facts["ball.rating"] == pytest.approx((1587.6, 1587.6), abs=0.1)
    assert set(question.doubts) == {"ball.rating"}
    weights = [
        read_question({"accessory": one}, reader, world()).case.facts["accessory.weight"] for one in (light, heavy)
    ]
    assert weights == [pytest.approx((4.536,) * 2, abs=0.01), pytest.approx((90.72,) * 2, abs=0.01)]


def test_a_rating_that_is_only_assumed_holds_nothing_down() -> None:
    """A guess gives way to what is told, as it does to what is observed."""
    guessed = [replace(one, assumed=frozenset(one.facts)) for one in world().records if one.key == "RBL-2-A"]
    question = read_question(
        {"accessory": {}, "ball": {"sku": "RBL-2-A", "facts": {"rating": "6000 lb"}}},
        answerer().reader,
        World(tuple(guessed), {}),
    )
    assert question.case.facts["ball.rating"] == pytest.approx((2721.6, 2721.6), abs=0.1)
    assert question.doubts == {}


class Read(World):
    """A world in which 400 lb was read off the label of every saved rig's receiver."""

    __slots__ = ()

    def rig_told(self, key: str) -> Stored:
        """What was read."""
        return Stored(subject="rig", key=key, label="", facts={"receiver.tongue_rating": "400 lb"})


def test_what_was_read_off_the_rig_itself_is_not_lifted_either() -> None:
    """Its record says 500 lb and its label 400 lb, so that 450 lb told in a question is more than it bears."""
    here = Read(world().records, world().rigs)
    question = read_question(asked("450 lb"), answerer().reader, here)
    assert question.case.facts["receiver.tongue_rating"] == pytest.approx((181.44, 181.44), abs=0.01)
    assert question.case.facts["vehicle.tongue_rating"] == pytest.approx((204.12, 204.12), abs=0.01)
    assert set(question.doubts) == {"receiver.tongue_rating"}
    wishes = {"rig": asked("450 lb")["rig"], "wishes": [{"load": TRAY["load"]}]}
    for rig in (
        spelt_out(asked("450 lb"), here, answerer().reader)["rig"],
        read_wishes(wishes, answerer().engine, answerer().reader, here).rig,
    ):
        told = [rig[name]["facts"]["tongue_rating"] for name in ("vehicle", "receiver")]
        assert told == ["450 lb", "400 lb"], "what is sold instead, or planned, is held to it as well"


def test_a_label_on_record_that_nobody_knows_today_is_read_again() -> None:
    """A label that holds the trailer where it is told does not go away with an empty field: there is one.

    It may be stricter than it is on record and not more, so a no stays a no.
    """
    one = next(each for each in world().records if each.subject == "trailer")
    towed = {"rig": {"id": "rig_farm_muckle"}, "accessory": {"sku": "TUG-2-D2-10"}}

    def held(label: str, **facts: Any) -> str:
        stored = replace(one, facts={**one.facts, "gvwr": label})
        shop = World((*(each for each in world().records if each is not one), stored), world().rigs)
        found = answerer().answer({**towed, "trailer": {"sku": one.key, "facts": facts}}, shop)
        return next(each.result for each in found.findings if each.rule == "trailer-within-its-own-label")

    assert (held("100 lb"), held("100 lb", gvwr="9000 lb"), held("100 lb", gvwr=None)) == ("fails", "fails", "fails")
    assert (held("9000 lb"), held("9000 lb", gvwr="100 lb"), held("9000 lb", gvwr=None)) == (
        "passes",
        "fails",
        "undetermined",
    )


REACH, TRUG = {"sku": "BTX-REACH-2-8"}, {"sku": "SPK-TRUG-2"}
AT_BARS = {
    "ball": {"sku": "RBL-2-E"},
    "trailer": {"facts": {"gross_weight": "3800 lb", "tongue_weight": "390 lb", "weight_distribution": True}},
}


def bikes(weight: str, **more: Any) -> dict[str, Any]:
    """Two bikes of a weight."""
    return {"facts": {"bikes": 2, "bike_weight": weight, "rear_sag": "1 in", "occupants_weight": "200 lb", **more}}


def limited(where: str, told: dict[str, Any]) -> dict[str, Any]:
    """A question that fails by what a maker allows, as it is stored, with something told over the record."""
    facts = {"facts": told}
    if where == "adapter":
        rig: dict[str, Any] = {"id": "rig_farm_muckle", "receiver": {"facts": {"tongue_rating": "300 lb"}}}
        rig["adapters"] = [{**REACH, **facts}]
        return {"rig": rig, "accessory": TRUG, "load": bikes("55 lb", needs_closure_open=False)}
    if where == "receiver":
        rig = {"mounting": {"id": "mnt_bothy_wicket"}, "receiver": {"id": "rcv_pell_wicket_3", **facts}}
        return {"rig": rig, "accessory": {"sku": "EVK-2-600"}, **AT_BARS}
    if where == "behind":
        return {"rig": {"id": "rig_lantern_tour"}, "accessory": {**TRUG, **facts}, "load": bikes("40 lb")}
    rig = {"id": "rig_farm_muckle", "adapters": [REACH]}
    return {"rig": rig, "accessory": {"sku": "OST-RADBANK-2", **facts}, "load": bikes("30 lb", bikes=1)}


LIMITS = [
    ("adapter", "adapter.keeps_fraction", "75 %", "50 %"),
    ("adapter", "adapter.keeps_fraction", {"at_least": "60 %"}, "50 %"),
    ("receiver", "receiver.weight_distribution_allowed", True, "no"),
    ("behind", "accessory.approved_behind_motorhome", True, "no"),
    ("extension", "accessory.extension_allowed", True, "no"),
]


@pytest.mark.parametrize(("where", "fact", "told", "stored"), LIMITS)
def test_what_else_a_maker_allows_is_not_lifted_by_a_telling(where: str, fact: str, told: Any, stored: str) -> None:
    """The record's no, and its lower share, stand; both are told as disputed, and nothing is where none is told."""
    bare, found = answer(limited(where, {})), answer(limited(where, {fact.partition(".")[2]: told}))
    assert (found.outcome, found.summary) == ("fails", bare.summary)
    (one,) = [one for one in found.disputed if one.fact == fact]
    assert f"{stored} by its record, which counts as stricter" in one.because
    assert "by this question" in one.because
    assert fact not in {one.fact for one in bare.disputed}


LOOSE = [
    ("adapter", "adapter.keeps_fraction", None),
    ("adapter", "adapter.keeps_fraction", {"at_least": "50 %"}),
    ("adapter", "adapter.keeps_fraction", {"at_most": "60 %"}),
    ("adapter", "adapter.keeps_fraction", {"at_least": "45 %", "at_most": "60 %"}),
    ("receiver", "receiver.weight_distribution_allowed", None),
    ("behind", "accessory.approved_behind_motorhome", None),
    ("extension", "accessory.extension_allowed", None),
]


@pytest.mark.parametrize(("where", "fact", "told"), LOOSE)
def test_no_reading_is_promised_that_the_record_then_refuses(where: str, fact: str, told: Any) -> None:
    """An empty field, or bounds that reach past the record, leave its no a no."""
    found = answer(limited(where, {fact.partition(".")[2]: told}))
    assert (found.outcome, found.next, found.disputed) == ("fails", [], [])


@pytest.mark.parametrize(
    ("fact", "stored", "told", "counts"),
    [
        ("accessory.min_class", "III", ["II", "III", "IV"], ["III", "IV"]),
        ("accessory.min_class", "III", None, ["III", "IV", "V"]),
        ("accessory.spring_bars_least", "400 lb", {"at_least": "300 lb", "at_most": "500 lb"}, None),
        ("accessory.spring_bars_least", "400 lb", {"at_most": "500 lb"}, None),
        ("accessory.bike_tyre_max", "3 in", {"at_least": "2 in"}, {"at_least": "2 in", "at_most": "3 in"}),
    ],
)
def test_the_stricter_end_of_what_is_told_around_a_limit_counts(fact: str, stored: Any, told: Any, counts: Any) -> None:
    """Of what a maker asks for the lower end is the record's, of what one allows the upper."""
    short, known = fact.partition(".")[2], READER.vocabulary.facts[fact]
    record = Stored(subject="accessory", key="one", label="One", facts={short: stored})
    document = {"accessory": {"sku": "one", "facts": {short: told}}}
    found = read_question(document, READER, World((record,), {})).case.facts[fact]
    least = {"at_least": "400 lb", "at_most": "500 lb"}
    assert found == READER.value(known, least if counts is None else counts)[fact]


@pytest.mark.parametrize(
    ("fact", "stored", "looser", "stricter"),
    [
        ("accessory.min_class", "III", "none", "IV"),
        ("accessory.min_class", "II", ["none", "I"], "III"),
        ("accessory.spring_bars_least", "400 lb", "200 lb", "500 lb"),
        ("accessory.allowed_on_bumper", False, True, False),
        ("accessory.allowed_at_front", False, True, False),
        ("accessory.approved_behind_trailer", False, True, False),
        ("accessory.bike_tyre_max", "3 in", "5 in", "2 in"),
        ("accessory.bike_wheelbase_max", "45 in", "60 in", "40 in"),
        ("receiver.recovery_allowed", False, True, False),
    ],
)
def test_what_is_told_of_a_makers_limit_counts_where_it_is_the_stricter(
    fact: str, stored: Any, looser: Any, stricter: Any
) -> None:
    """Of what a maker asks for, as a class or bars, the higher; of what one allows the lower, or the no."""
    subject, _, short = fact.partition(".")
    key = "sku" if subject == "accessory" else "id"
    record = Stored(subject=subject, key="one", label="One", facts={short: stored})
    only = World((record,), {})

    def value(told: Any) -> tuple[Any, bool]:
        part = {key: "one", "facts": {short: told}}
        rig = {"rig": {"receiver": part}} if subject == "receiver" else {}
        read = read_question(
            {"accessory": {"facts": {}}, **rig, **({"accessory": part} if not rig else {})}, READER, only
        )
        return read.case.facts[fact], fact in read.doubts

    assert value(looser) == (READER.value(READER.vocabulary.facts[fact], stored)[fact], True)
    assert value(stricter) == (READER.value(READER.vocabulary.facts[fact], stricter)[fact], False)
    assert value(stored)[1] is False


def test_every_yes_that_a_maker_gives_is_such_a_limit() -> None:
    """A fact that says what a maker allows is declared so, or a tick would undo the maker's no."""
    facts = READER.vocabulary.facts.values()
    allowed = {one.name for one in facts if one.kind == "yes_no" and "maker allows" in one.meaning}
    assert allowed and allowed <= READER.limits
