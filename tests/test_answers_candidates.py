"""A vehicle named in part is every stored vehicle it may be, and the answer holds over all of them."""

from dataclasses import replace
from itertools import product
from typing import Any

import pytest
from demo_world import answerer, stock, world

from fitsvc.answers.answer import Answer, encode
from fitsvc.answers.candidates import MOST
from fitsvc.answers.question import read_question
from fitsvc.answers.records import NAMES, Stored
from fitsvc.answers.vehicles import Vehicles
from fitsvc.language.problems import ProblemsFound

MUCKLE = {"make": "brannoch", "model": " MUCKLE", "year": 2023}
SETS = [{"model": "Muckle"}, {"model": "Bothy"}, {"model": "Saltmarsh"}, {"model": "Mossback"}, {"make": "Brannoch"}]
WEIGHTS = ("1500 lb", "3400 lb", "5200 lb")


def asked(facts: dict[str, Any], weight: str = "3600 lb", receiver: str = "rcv_ironmoss_yoke_4") -> dict[str, Any]:
    """A question on a mount and a trailer behind a vehicle that is called by some facts."""
    return {
        "rig": {"vehicle": {"facts": facts}, "receiver": {"id": receiver}},
        "accessory": {"sku": "TUG-2-D2-10"},
        "ball": {"sku": "RBL-2-C"},
        "trailer": {"sku": "DUN-CART-612E", "facts": {"gross_weight": weight, "tongue_weight": "300 lb"}},
    }


def answer(document: dict[str, Any]) -> Answer:
    """The answer on the demo world."""
    return answerer().answer(document, world(), shelf=stock())


def by_id(document: dict[str, Any], key: str) -> dict[str, Any]:
    """The same question with the vehicle's id beside what is told of it."""
    return {**document, "rig": {**document["rig"], "vehicle": {**document["rig"]["vehicle"], "id": key}}}


def test_a_name_no_vehicle_bears_leaves_the_facts_alone() -> None:
    """With no candidate the answer rests on what is told."""
    told = {"model": "Nothingatall", "tow_rating": "2000 lb"}
    found = answer(asked(told))
    assert found.candidates == []
    unnamed = answer(asked({**told, "model": None}))
    assert (found.summary, found.findings, found.limits) == (unnamed.summary, unnamed.findings, unnamed.limits)


def test_a_name_no_vehicle_bears_is_told() -> None:
    """Where vehicles are stored, the answer says that none is called so; without a store there is nothing to say."""
    sentence = "No stored vehicle is called so, as none has the model given; this is answered from the facts told."
    plain = {"facts": {"kind": "ball_mount", "shank": "2 in"}}
    rig, told = (
        {"receiver": {"facts": {"place": "frame", "room_inside": "9 in"}}},
        {"load": {"facts": {"occupants_weight": "150 lb"}}},
    )
    body = {"body": "pickup"}
    inline = {"rig": {**rig, "vehicle": {"facts": {"model": "Nothingatall", **body}}}, "accessory": plain, **told}
    assert answer(inline).assumed == [sentence]
    assert sentence not in answer(inline | {"rig": {**rig, "vehicle": {"facts": {"model": "Muckle"}}}}).assumed
    assert answerer().answer(inline).assumed == []
    unnamed = answer(inline | {"rig": {**rig, "vehicle": {"facts": body}}})
    assert encode(answerer().answer(inline)) == encode(unnamed)


@pytest.mark.parametrize(
    ("told", "sentence"),
    [
        ({"year": 1999}, "Stored vehicles are called so, but none with the model year given"),
        ({"model": "Nothingatall"}, "No stored vehicle is called so, as none has the model given"),
        ({"make": "Nobody"}, "No stored vehicle is called so, as none has the make given"),
        ({"year": 1999, "trim": "Nothing such"}, "none with the trim level and model year given"),
    ],
)
def test_the_part_of_a_name_that_matches_none_is_told(told: dict[str, Any], sentence: str) -> None:
    """A slip in the year is no unknown model; the part to look at is named, and no part that finds some."""
    plain = {"facts": {"kind": "ball_mount", "shank": "2 in"}}
    rig = {
        "receiver": {"facts": {"place": "frame", "room_inside": "9 in"}},
        "vehicle": {"facts": {**MUCKLE, "body": "pickup", **told}},
    }
    (line,) = answer({"rig": rig, "accessory": plain}).assumed
    assert sentence in line


def test_one_vehicle_is_taken_as_if_named_by_id() -> None:
    """A single candidate's facts and mounting are used, whatever the case and spacing of the name, and that is told."""
    document = asked({**MUCKLE, "trim": "EXTENDED 4x4  with tow package"})
    found, named = answer(document), answer(by_id(document, "veh_muckle_2023_long"))
    told = (
        "This is answered as for the 2023 Brannoch Muckle, extended cab, long bed, 4x4, tow package, the only stored "
        "vehicle that goes by what is told."
    )
    assert found.assumed == [told, *named.assumed]
    found.assumed = named.assumed
    assert encode(found) == encode(named)


OXTER = {"make": "Brannoch", "model": "Muckle Oxter"}
GUESS = "vehicle-is-the-one-stored"


def bikes(facts: dict[str, Any]) -> dict[str, Any]:
    """A question on a rack that works on the stored Oxter."""
    return {
        "rig": {
            "vehicle": {"facts": facts},
            "receiver": {"id": "rcv_brannoch_oxter"},
            "mounting": {"facts": {"fitted": True}},
            "adapters": [{"sku": "BTX-SLEEVE-25-2"}],
        },
        "accessory": {"sku": "SPK-LAMP-2", "facts": {"obscures_plate": False, "plug": "blade_7"}},
        "load": {"facts": {"bikes": 2, "bike_weight": "40 lb", "occupants_weight": "300 lb"}},
    }


@pytest.mark.parametrize(
    ("told", "guessed"),
    [
        ({"model": "Muckle Oxter"}, True),
        ({**OXTER, "year": None}, True),
        ({**OXTER, "year": {"at_least": 1990, "at_most": 2026}}, True),
        ({"model": "Muckle Oxter", "year": 2024}, True),
        ({**OXTER, "year": 2024}, False),
        ({**OXTER, "year": 2024, "trim": "Crew 4x4", "wheelbase": "159-1/2 in"}, False),
        ({"model": "Muckle Oxter", "identity": "same"}, False),
        ({"model": "Muckle Oxter", "identity": ["same", "another"]}, True),
        ({**OXTER, "year": 2024, "tyre_radius": "16 in", "curb_weight": "7200 lb"}, True),
        ({**OXTER, "year": 2024, "tow_rating": "20000 lb"}, True),
    ],
)
def test_one_vehicle_that_another_may_be_meant_of_is_no_plain_yes(told: dict[str, Any], guessed: bool) -> None:
    """Only one that is named so that no other can be meant is sure; of each the answer says as which it is answered."""
    figures = {name: one for name, one in told.items() if name != "identity"}
    found, plain = answer(bikes(told)), answer(by_id(bikes(figures), "veh_oxter_2024"))
    assert "as for the 2024 Brannoch Muckle Oxter" in found.assumed[0]
    assert any(one.rule == GUESS and one.result == "undetermined" for one in found.findings) == guessed
    assert plain.outcome == "works"
    assert found.outcome == ("conditional" if guessed else plain.outcome)
    assert found.assumed[0].endswith("is not known.") == guessed and (found.assumed[0] in found.summary) == guessed


@pytest.mark.parametrize(("tyre", "guessed"), [("LT275/70R18", False), ("lt275/70 r18", False), ("LT235/80R17", True)])
def test_other_tyres_than_are_stored_leave_open_which_vehicle_is_meant(tyre: str, guessed: bool) -> None:
    """They may have been changed, or the vehicle is another: it is asked which."""
    found = answer(bikes({**OXTER, "year": 2024, "tyre": tyre}))
    assert any(one.rule == GUESS and one.result == "undetermined" for one in found.findings) == guessed
    assert found.outcome != "works" or not guessed


def test_a_no_that_rests_on_a_guessed_vehicle_says_which() -> None:
    """Whoever means another vehicle is not turned away by the figures of one that nobody named."""
    heavy = {"facts": {"bikes": 2, "bike_weight": "40 lb", "occupants_weight": "5000 lb"}}
    guessed = answer({**bikes({"model": "Muckle Oxter"}), "load": heavy})
    assert guessed.outcome == "fails" and guessed.summary.startswith("No, if it is the 2024 Brannoch Muckle Oxter")
    sure = answer({**bikes({**OXTER, "year": 2024}), "load": heavy})
    assert sure.outcome == "fails" and "if it is" not in sure.summary
    other = bikes({"model": "Muckle Oxter"})
    wrong = answer({**other, "accessory": {"facts": {"kind": "bike_carrier", "shank": "1-1/4 in"}}})
    assert wrong.outcome == "fails" and "if it is" not in wrong.summary


@pytest.mark.parametrize(
    "told",
    [
        {"wheelbase": "140 in"},
        {"overall_width": "90 in"},
        {"closure_length": "30 in"},
        {"tow_rating": "9000 lb"},
        {"identity": "another"},
    ],
)
def test_a_figure_told_otherwise_is_of_another_vehicle(told: dict[str, Any]) -> None:
    """The stored vehicle's other figures are then not taken: what is not told is not known."""
    found = answer(bikes({**OXTER, "year": 2024, **told}))
    assert found.outcome != "works" and found.candidates == []
    assert not any("as for the" in line for line in found.assumed)
    if "identity" not in told:
        assert found.assumed[0].startswith("Stored vehicles are called so, but none with the ")


def light(facts: dict[str, Any]) -> dict[str, Any]:
    """A question on a carrier with little on it, which works on each stored Bothy."""
    question = bikes(facts)
    mounting = {"facts": {"fitted": True, "pin_to_bumper": "3 in"}}
    question["rig"] |= {"receiver": {"id": "rcv_ironmoss_yoke_3"}, "mounting": mounting, "adapters": []}
    return question


BOTHY = {"make": "Brannoch", "model": "Bothy"}


def guesses(found: Answer) -> set[str]:
    """What the answer comes to on whether the vehicle is a stored one; nothing where that is not asked."""
    return {one.result for one in found.findings if one.rule == GUESS}


@pytest.mark.parametrize(
    "told",
    [
        BOTHY,
        {"model": "Bothy", "year": 2021},
        {"make": "Brannoch", "body": "suv"},
        {**BOTHY, "year": None},
        {**BOTHY, "year": {"at_least": 2018, "at_most": 2023}},
        {**MUCKLE, "wheelbase": "145 in"},
        {**BOTHY, "year": 2021, "curb_weight": "5700 lb"},
    ],
)
def test_several_that_go_by_half_a_name_are_no_plain_yes(told: dict[str, Any]) -> None:
    """Others of the name may be meant that are not stored; a figure that rules some out says that they differ."""
    found = answer(light(told))
    assert len(found.candidates) > 1
    assert guesses(found) == {"undetermined"} and found.outcome in ("conditional", "undetermined")
    assert {one.outcome for one in found.candidates} <= {"conditional", "undetermined"}
    assert guesses(answer(light({**told, "identity": "same"}))) == {"passes"}
    assert answer(light({**told, "identity": "another"})).candidates == []


def test_all_that_are_stored_of_a_make_model_and_year_are_answered_for() -> None:
    """What holds for every one of them may be a plain yes: they differ only in what is not told."""
    found = answer(light({**BOTHY, "year": 2021}))
    assert len(found.candidates) == 2 and not guesses(found)
    assert found.outcome == "works"


@pytest.mark.parametrize(
    "told",
    [
        {"socket": "blade_7"},
        {"brake_controller": "yes"},
        {"air_supply": "yes"},
        {"exhaust_outlet": "downward"},
        {"tyre_radius": "15-1/2 in"},
        {"ride_height": "22 in"},
        {"closure_hinge_height": "35-1/2 in"},
    ],
)
def test_what_is_fitted_later_never_tells_which_vehicle_it_is(told: dict[str, Any]) -> None:
    """A socket, tyres or springs of a better trim can be put on any, which does not make it tow more."""
    other = {"exhaust_outlet": "aside", "ride_height": "19 in"}
    fresh = {name: one for name, one in other.items() if name in told}
    records = [
        replace(one, facts={**one.facts, **fresh}) if one.key == "veh_muckle_2023_short_plain" else one
        for one in world().records
    ]
    found = answerer().answer(asked({**MUCKLE, **told}), replace(world(), records=tuple(records)), shelf=stock())
    assert "veh_muckle_2023_short_plain" in {one.id for one in found.candidates}
    assert found.outcome == "undetermined" and found.next[0].fact == "vehicle.trim"


@pytest.mark.parametrize(
    ("told", "because"),
    [
        ({"model": "Bothy"}, "The model is disputed: Bothy by this question, Muckle Oxter by its record; ask again."),
        ({"make": "Dovrik"}, "The make is disputed: Dovrik by this question, Brannoch by its record; ask again."),
        ({"trim": "Plain"}, "The trim level is disputed: Plain by this question, Crew 4x4 by its record; ask again."),
        ({"year": 1999}, "The model year is disputed: 1999 by this question, 2024 by its record; ask again."),
        ({"body": "suv"}, "The body style is disputed: suv by this question, pickup by its record; ask again."),
        (
            {"wheelbase": "200 in"},
            "The wheelbase is disputed: 200 in by this question, 159-1/2 in by its record; measure again.",
        ),
    ],
)
def test_an_id_with_another_vehicle_told_beside_it_is_no_plain_yes(told: dict[str, Any], because: str) -> None:
    """Which of the two is meant is open: both are told, and the record is never silently the one."""
    document = by_id(bikes(told), "veh_oxter_2024")
    found = answer(document)
    assert [one.because for one in found.disputed] == [because]
    assert found.outcome == "conditional" and guesses(found) == {"undetermined"}
    assert found.next[0].fact == "vehicle.identity"
    assert read_question(document, answerer().reader, world()).case.present >= {"vehicle.identity"}
    same = by_id(bikes({**told, "identity": "same"}), "veh_oxter_2024")
    with pytest.raises(ProblemsFound, match="it is told to be the very vehicle `veh_oxter_2024`") as refused:
        answer(same)
    (problem,) = refused.value.problems
    assert problem.pointer == f"/rig/vehicle/facts/{next(iter(told))}" and problem.kind == "other record"


@pytest.mark.parametrize("identity", [{}, {"identity": "same"}])
@pytest.mark.parametrize("told", [{"make": "Velmora", "model": "Tansy", "year": 2020}, {"model": "Bothy"}])
def test_a_mounting_by_id_is_not_taken_under_a_vehicle_of_another_name(
    told: dict[str, Any], identity: dict[str, Any]
) -> None:
    """What was measured under one is not of the other: refused as it is by the other's id, whatever else is told."""
    document = bikes({**told, **identity})
    document["rig"] = {"vehicle": document["rig"]["vehicle"], "mounting": {"id": "mnt_muckle_short_own"}}
    with pytest.raises(ProblemsFound, match=r"whose (make|model) is") as found:
        answer(document)
    assert found.value.problems[0].pointer == "/rig/mounting/id"
    document["rig"] = {"id": "rig_farm_muckle", "vehicle": document["rig"]["vehicle"]}
    with pytest.raises(ProblemsFound, match=r"whose (make|model) is") as found:
        answer(document)
    assert found.value.problems[0].pointer == "/rig/id"


def test_a_saved_rig_called_by_its_own_vehicles_name_is_that_rig() -> None:
    """As anybody would say it, in any letters."""
    document = bikes({"make": "BRANNOCH", "model": "muckle"})
    document["rig"] = {"id": "rig_farm_muckle", "vehicle": document["rig"]["vehicle"]}
    assert not guesses(answer(document))


@pytest.mark.parametrize(
    "told",
    [
        {"make": " BRANNOCH ", "model": "muckle oxter", "year": 2024, "body": ["pickup", "suv"]},
        {"year": None, "wheelbase": {"at_least": "150 in", "at_most": "170 in"}},
        {"socket": "flat_4", "tyre_radius": "15 in", "curb_weight": "7200 lb", "tow_rating": "9000 lb"},
    ],
)
def test_an_id_with_what_may_be_so_of_it_stays_that_vehicle(told: dict[str, Any]) -> None:
    """The same name, what leaves it possible, what is fitted or weighed anew, and a rating told lower, which counts."""
    found = answer(by_id(bikes(told), "veh_oxter_2024"))
    assert found.disputed == [] and not guesses(found)


def test_inline_facts_win_over_the_candidate() -> None:
    """What is told of the vehicle stands in place of what is stored."""
    document = asked({**MUCKLE, "trim": "Extended 4x4 with tow package", "tow_rating": "2000 lb"})
    assert answer(document).outcome == "fails"


def test_outcomes_that_differ_leave_it_open_and_ask_which_it_is() -> None:
    """The plain short bed may not tow it, its sisters may: the trim tells them apart."""
    found = answer(asked(MUCKLE))
    assert {one.id: one.outcome for one in found.candidates} == {
        "veh_muckle_2023_long": "conditional",
        "veh_muckle_2023_short": "conditional",
        "veh_muckle_2023_short_plain": "fails",
    }
    assert found.outcome == "undetermined"
    step = found.next[0]
    assert (step.fact, step.ask) == ("vehicle.trim", "ask")
    assert step.works_if == "Extended 4x4 with tow package or Crew 4x4 with tow package"
    assert step.fails_if == "Crew 4x2 work truck"


@pytest.mark.parametrize(("facts", "weight"), list(product(SETS, WEIGHTS)))
def test_the_answer_holds_over_every_candidate(facts: dict[str, Any], weight: str) -> None:
    """An outcome other than undetermined is no better than any candidate's own, and undetermined says why."""
    document = asked(facts, weight, "rcv_ironmoss_yoke_3")
    found = answer(document)
    own = {answer(by_id(document, one.id)).outcome for one in found.candidates}
    assert own == {one.outcome for one in found.candidates}
    assert len(found.candidates) > 1
    expected = own.pop() if len(own) == 1 else "conditional" if own == {"works", "conditional"} else "undetermined"
    assert found.outcome == expected
    assert found.outcome != "undetermined" or found.next


@pytest.mark.parametrize(("facts", "weight"), list(product(SETS, WEIGHTS)))
def test_telling_them_apart_keeps_its_promise(facts: dict[str, Any], weight: str) -> None:
    """Each value of the splitting fact comes to what it is said to come to."""
    found = answer(asked(facts, weight))
    step = found.next[0] if found.next else None
    if step is None or step.fact not in ("vehicle.trim", "vehicle.model"):
        return
    for texts, outcomes in ((step.works_if, {"works", "conditional"}), (step.fails_if, {"fails"})):
        for text in filter(None, texts.split(" or ")):
            assert answer(asked({**facts, step.fact.removeprefix("vehicle."): text}, weight)).outcome in outcomes


def test_limits_are_the_lowest_of_any_candidate() -> None:
    """The heaviest trailer is what the weakest of them allows."""
    document = asked(MUCKLE)
    own = [answer(by_id(document, one.id)) for one in answer(document).candidates]
    lowest = min(
        int(limit.at_most.split()[0]) for one in own for limit in one.limits if limit.limit == "trailer_weight"
    )
    assert [limit.at_most for limit in answer(document).limits if limit.limit == "trailer_weight"] == [f"{lowest} lb"]


def test_what_is_so_for_some_says_for_which() -> None:
    """A finding that not all candidates share names those it is about."""
    reasons = [finding.reason for finding in answer(asked(MUCKLE)).findings]
    assert reasons[0].endswith(" That is so on the 2023 Brannoch Muckle, crew cab, short bed, 4x2, no tow package.")


def test_remedies_hold_over_every_candidate() -> None:
    """Where all fail, a remedy's question, asked again of all of them, gives what it states."""
    found = answer(asked({"model": "Mossback"}, "9000 lb", "rcv_hookaby_tuck_3"))
    assert found.outcome == "fails"
    assert len(found.candidates) == 2
    for remedy in found.remedies:
        if remedy.question:
            again = answer(remedy.question)
            assert len(again.candidates) == 2
            assert again.outcome == remedy.outcome


def test_the_same_question_gives_the_same_bytes() -> None:
    """Candidates are judged in one order."""
    assert encode(answer(asked(MUCKLE))) == encode(answer(asked(dict(reversed(MUCKLE.items())))))


@pytest.mark.parametrize("adapters", [0, 3])
def test_too_many_candidates_are_asked_about_not_judged(adapters: int) -> None:
    """Past the bound the answer asks first what narrows them most, and says that it has not judged each.

    With adapters in the opening each is dearer to judge, so that the bound is lower.
    """
    most = MOST // (1 + adapters)
    facts = ({"make": "Quillon", "model": "Lot", "year": 1950 + i, "body": "van"} for i in range(most + 1))
    many = [
        Stored(
            subject="vehicle",
            key=f"veh_lot_{i:03}",
            label=f"Lot {i}",
            facts=one,
        )
        for i, one in enumerate(facts)
    ]
    others = sum(one.facts.get("make") == "Quillon" for one in world().of("vehicle"))
    question = asked({"make": "Quillon"})
    question["rig"]["adapters"] = [{"facts": {}}] * adapters
    found = answerer().answer(question, replace(world(), records=(*world().records, *many)))
    assert found.outcome == "undetermined"
    assert found.next[0].fact == "vehicle.year"
    assert f"{most + 1 + others} stored vehicles" in found.summary and f"at most {most} every" in found.summary
    assert found.candidates == []


def test_a_blank_record_is_nobody() -> None:
    """A vehicle that says nothing of its name is not meant by any name; a model without a year is any year's."""
    records = [
        Stored(
            subject="vehicle",
            key="veh_a",
            label="blank",
            facts={},
        ),
        Stored(
            subject="vehicle",
            key="veh_b",
            label="",
            facts={"model": "Muckle"},
        ),
    ]
    vehicles = Vehicles(answerer().reader, records)
    assert [one.key for one in vehicles.agreeing({"vehicle.year": (2020.0, 2020.0)}, {"vehicle.model": "muckle"})] == [
        "veh_b"
    ]


def test_the_names_that_begin_a_search_are_facts_of_the_vehicle() -> None:
    """The vocabulary has them as texts."""
    facts = answerer().rulebook.vocabulary.of("vehicle")
    assert {facts[name].kind for name in NAMES} == {"text"}


WORK_TRUCK = "Crew 4x2 work truck"
"""The trim of another stored Muckle, without a tow package."""


SAVED = {"id": "rig_farm_muckle"}
MOUNTED = {"receiver": {"id": "rcv_brannoch_muckle"}, "mounting": {"id": "mnt_muckle_short_own"}}


@pytest.mark.parametrize(
    ("rig", "pointer", "identity"),
    [
        (SAVED, "/rig/id", None),
        (SAVED, "/rig/id", "same"),
        (MOUNTED, "/rig/mounting/id", None),
        (MOUNTED, "/rig/mounting/id", "same"),
    ],
)
def test_what_is_told_of_another_stored_vehicle_is_not_judged_by_this_one(
    rig: dict[str, Any], pointer: str, identity: str | None
) -> None:
    """The work truck's trim over what is stored of the one with a tow package is refused, by the id that says so."""
    names = {"make": "Brannoch", "model": "Muckle", "year": 2023, "trim": WORK_TRUCK, "identity": identity}
    told = {**rig, "vehicle": {**rig.get("vehicle", {}), "facts": names}}
    with pytest.raises(ProblemsFound) as refused:
        answerer().answer({"rig": told, "accessory": {"sku": "TUG-2-D2-10"}}, world())
    (problem,) = refused.value.problems
    assert problem.pointer == pointer and problem.meaning
    assert "trim level" in problem.message and "`veh_muckle_2023_short_plain`" in problem.help


def test_another_number_asks_whether_it_is_the_stored_vehicle() -> None:
    """Signs that no number of it has are of another; those that some have, and a trim of its owner's, are asked for."""
    rig: dict[str, Any] = {"id": "rig_farm_muckle", "vehicle": {"facts": {"vin_signs": "1AAC2MA1"}}}
    question = {"rig": rig, "accessory": {"sku": "TUG-2-D2-10"}}
    asked = answerer().answer(question, world())
    assert any(step.fact == "vehicle.identity" for step in asked.next)
    own = str(next(one for one in world().of("vehicle") if one.key == "veh_muckle_2023_short").facts["vin_signs"])
    rig["vehicle"]["facts"] = {"vin_signs": own}
    assert not any(step.fact == "vehicle.identity" for step in answerer().answer(question, world()).next)
    rig["vehicle"]["facts"] = {"trim": "as its owner calls it"}
    assert any(step.fact == "vehicle.identity" for step in answerer().answer(question, world()).next)


def on_it(rig: dict[str, Any], facts: dict[str, Any]) -> dict[str, Any]:
    """The question on a saved rig, or under a stored mounting, with its vehicle called by some facts."""
    return {**asked({}), "rig": {**rig, "vehicle": {"facts": facts}}}


@pytest.mark.parametrize("rig", [SAVED, MOUNTED])
@pytest.mark.parametrize("told", [{"trim": "Sport"}, {"year": 1999}, {"vin_signs": "1AAX2MT4"}, {"vin_signs": "MT4"}])
def test_a_name_that_no_stored_vehicle_has_leaves_open_whether_it_is_the_one(
    told: dict[str, Any], rig: dict[str, Any]
) -> None:
    """It is asked, and who says that it is the same has made a slip in one of the two: neither is believed."""
    found = answer(on_it(rig, told))
    assert found.outcome != "works" and guesses(found) == {"undetermined"} and len(found.disputed) == 1
    with pytest.raises(ProblemsFound, match=r"whose (trim level|model year|signs in the VIN) is"):
        answer(on_it(rig, {**told, "identity": "same"}))


def test_signs_told_choose_among_the_vehicles_of_a_name() -> None:
    """A number leads to the vehicles that it agrees with, and none of another is taken."""
    named = {"make": "Brannoch", "model": "Muckle", "year": 2023}
    assert {one.id for one in answer(asked(named)).candidates} > {"veh_muckle_2023_short_plain"}
    found = answer(asked({**named, "vin_signs": "1AAC2MA1", "identity": "same"}))
    assert "as for the 2023 Brannoch Muckle, crew cab, short bed, 4x2" in found.assumed[0]
    none = answer(asked({**named, "trim": WORK_TRUCK, "vin_signs": "1AAC2MT4", "identity": "same"}))
    assert none.assumed[0].startswith("Stored vehicles are called so, but none with the signs in the VIN")


@pytest.mark.parametrize(
    ("facts", "refused"),
    [({"wheelbase": "164 in"}, True), ({"wheelbase": "146 in"}, False), ({"wheelbase": "145 in"}, False)],
)
def test_the_very_vehicle_stored_has_its_wheelbase(facts: dict[str, Any], refused: bool) -> None:
    """Said to be the same and told with another's wheelbase one of the two is a slip; measured anew it is disputed."""
    rig = {"id": "rig_farm_muckle", "vehicle": {"facts": {**facts, "identity": "same"}}}
    document = {"rig": rig, "accessory": {"sku": "LLH-TRAY-60"}}
    if not refused:
        disputed = [one.fact for one in answerer().answer(document, world()).disputed]
        assert disputed == (["vehicle.wheelbase"] if facts["wheelbase"] != "145 in" else [])
        return
    with pytest.raises(ProblemsFound) as found:
        answerer().answer(document, world())
    (problem,) = found.value.problems
    assert (problem.pointer, problem.kind) == ("/rig/vehicle/facts/wheelbase", "other record")
    assert "whose wheelbase is 145 in, not 164 in" in problem.message
