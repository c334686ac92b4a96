"""Questions that cannot be read: where a part belongs that is in the wrong place, and what a slip in an id meant."""

from typing import Any

import pytest
from demo_world import answerer, world

from fitsvc.language.problems import Problem, ProblemsFound

STEP = {"facts": {"kind": "step"}}


def refused(document: dict[str, Any]) -> dict[str, Problem]:
    """The problems of a question by their pointers."""
    with pytest.raises(ProblemsFound) as caught:
        answerer().answer(document, world())
    return {problem.pointer: problem for problem in caught.value.problems}


@pytest.mark.parametrize(
    ("document", "pointer", "help"),
    [
        ({"spare": {"facts": {}}, "accessory": STEP}, "/spare", "write it as `rig.spare`"),
        ({"vehicle": {"facts": {}}, "accessory": STEP}, "/vehicle", "write it as `rig.vehicle`"),
        ({"adapters": [], "accessory": STEP}, "/adapters", "write it as `rig.adapters`"),
        ({"rig": {"trailer": {"facts": {}}}, "accessory": STEP}, "/rig/trailer", "write it beside `rig`"),
        ({"accesory": STEP}, "/accesory", "did you mean `accessory`?"),
    ],
)
def test_a_part_in_the_wrong_place_is_told_where_it_belongs(document: dict[str, Any], pointer: str, help: str) -> None:
    """What stands beside the rig and is of it, and the other way round."""
    assert help in refused(document)[pointer].help


@pytest.mark.parametrize(
    ("document", "pointer", "meant"),
    [
        ({"rig": {"id": "rig_moss_trial"}, "accessory": STEP}, "/rig/id", "rig_moss_trail"),
        ({"rig": {"vehicle": {"id": "veh_bothy_2012"}}, "accessory": STEP}, "/rig/vehicle/id", "veh_bothy_2021"),
        ({"trailer": {"sku": "DUN-CART-621"}}, "/trailer/sku", "DUN-CART-612"),
    ],
)
def test_a_slip_in_an_id_is_told_the_nearest_there_is(document: dict[str, Any], pointer: str, meant: str) -> None:
    """And it is never taken for it."""
    assert refused(document)[pointer].help.startswith(f"did you mean `{meant}`? If not, ")


def test_an_id_like_no_other_is_told_to_be_checked() -> None:
    """Nothing is suggested that was hardly meant."""
    assert refused({"rig": {"id": "zzzz"}, "accessory": STEP})["/rig/id"].help == "check the id"


MEASURED = {"vehicle": {"id": "veh_muckle_2023_short"}, "mounting": {"id": "mnt_muckle_short_own"}}
FRONT = {"facts": {"place": "front", "opening": "2 in"}}


@pytest.mark.parametrize(
    ("rig", "pointer"),
    [
        ({**MEASURED, "receiver": FRONT}, "/rig/mounting/id"),
        ({"id": "rig_farm_muckle", "receiver": {"facts": {"place": "front"}}}, "/rig/id"),
        ({"id": "rig_farm_muckle", "receiver": {"facts": {"place": ["front", "bed"]}}}, "/rig/id"),
        (
            {
                "vehicle": {"id": "veh_muckle_2023_short"},
                "receiver": {"id": "rcv_brannoch_muckle", "facts": {"place": "front"}},
            },
            "/rig/receiver",
        ),
    ],
)
def test_a_stored_mounting_is_of_no_receiver_that_is_told_to_be_elsewhere(rig: dict[str, Any], pointer: str) -> None:
    """Height and distance to the bumper were measured at the rear: they are not those of a receiver in front."""
    (problem,) = refused({"rig": rig, "accessory": STEP}).values()
    assert problem.pointer == pointer and problem.meaning
    assert "`mnt_muckle_short_own` was measured on receiver `rcv_brannoch_muckle`" in problem.message
    assert "without a stored mounting" in problem.help


@pytest.mark.parametrize(
    "rig",
    [
        {"id": "rig_farm_muckle", "receiver": {"facts": {"place": "frame"}}},
        {"id": "rig_farm_muckle", "receiver": {"facts": {"place": ["frame", "front"]}}},
        {"id": "rig_farm_muckle", "receiver": {"facts": {"place": None}}},
        {"vehicle": {"id": "veh_muckle_2023_short"}, "receiver": FRONT},
    ],
)
def test_a_place_that_may_be_the_stored_one_is_no_other(rig: dict[str, Any]) -> None:
    """The same place, one that may be it, none at all, and a receiver that no stored mounting is taken for."""
    assert answerer().answer({"rig": rig, "accessory": STEP}, world()).outcome != "works"


@pytest.mark.parametrize(
    ("vehicle", "receiver", "result"),
    [
        ("veh_tansy_2020", {"id": "rcv_brannoch_muckle"}, "undetermined"),
        ("veh_tansy_2020", {"id": "rcv_brannoch_muckle", "facts": {"made_for_vehicle": True}}, "passes"),
        ("veh_tansy_2020", {"id": "rcv_brannoch_muckle", "facts": {"made_for_vehicle": False}}, "fails"),
        ("veh_muckle_2023_short", {"id": "rcv_brannoch_muckle"}, ""),
        (None, {"id": "rcv_brannoch_muckle"}, ""),
        ("veh_tansy_2020", {"facts": {"opening": "2 in"}}, ""),
    ],
)
def test_a_receiver_stored_on_other_vehicles_only_is_asked_about(
    vehicle: str | None, receiver: dict[str, Any], result: str
) -> None:
    """A maker's own receiver of one model, with its height measured under another's bumper, is no plain yes."""
    mounting = {"facts": {"height": "15 in", "pin_to_bumper": "3 in", "fitted": True}}
    rig = {"vehicle": {"id": vehicle} if vehicle else None, "receiver": receiver, "mounting": mounting}
    found = answerer().answer({"rig": rig, "accessory": STEP}, world())
    told = [one.result for one in found.findings if one.rule == "receiver-made-for-the-vehicle"]
    assert told == ([result] if result else [])
    assert (found.outcome == "fails") == (result == "fails")


@pytest.mark.parametrize("name", ["", "a\0b", "x" * 81])
@pytest.mark.parametrize(
    ("document", "pointer"),
    [
        ({"rig": {"id": 0}, "accessory": {}}, "/rig/id"),
        ({"rig": {"receiver": {"id": 0}}, "accessory": {}}, "/rig/receiver/id"),
        ({"rig": {"adapters": [{"sku": 0}]}, "accessory": {}}, "/rig/adapters/0/sku"),
        ({"accessory": {"sku": 0}}, "/accessory/sku"),
    ],
)
def test_what_no_record_could_be_stored_under_cannot_be_read(document: dict[str, Any], pointer: str, name: str) -> None:
    """It is not taken for what is not stored yet, and may be tomorrow; what is stored is not looked through for it."""

    def named(told: Any) -> Any:
        if isinstance(told, dict):
            return {key: named(value) for key, value in told.items()}
        return [named(one) for one in told] if isinstance(told, list) else name

    with pytest.raises(ProblemsFound) as found:
        answerer().answer(named(document), world())
    (problem,) = found.value.problems
    assert (problem.pointer, problem.meaning, problem.kind) == (pointer, False, "")
    assert "1 to 80 characters" in problem.message


LIFT: dict[str, Any] = {
    "accessory": {"sku": "RLB-LIFT-2"},
    "load": {
        "facts": {
            "cargo_weight": "120 lb",
            "occupants_weight": "300 lb",
            "needs_closure_open": False,
            "steepest_grade": "5 %",
            "rear_sag": "1 in",
        }
    },
}
"""On the long Bothy's receiver itself; not on the extension that is in its opening."""
COOP: dict[str, Any] = {"accessory": {"sku": "PKM-COOP-2"}, "load": {"facts": {"occupants_weight": "200 lb"}}}
"""In the way of the tall spare on the door of the Mossback."""


@pytest.mark.parametrize(
    ("rig", "asked", "empty"),
    [
        ("rig_bothy_bikes", LIFT, {"adapters": None}),
        ("rig_bothy_bikes", LIFT, {"vehicle": None, "receiver": None, "mounting": None, "adapters": None}),
        ("rig_moss_trail", COOP, {"spare": None}),
        ("rig_moss_trail", COOP, {"spare": {"facts": None}}),
        ("rig_moss_trail", COOP, {"spare": {"facts": {}}}),
    ],
)
def test_an_empty_part_un_tells_nothing_of_a_saved_rig(rig: str, asked: dict[str, Any], empty: dict[str, Any]) -> None:
    """A backend that sends its empty fields is answered as one that leaves them out."""
    left_out = answerer().answer({"rig": {"id": rig}, **asked}, world())
    assert answerer().answer({"rig": {"id": rig, **empty}, **asked}, world()) == left_out
    assert left_out.outcome == "fails"
    things = [
        {"hangs_on": "rear_receiver", "rig": empty, **asked},
        {"hangs_on": "rear_receiver", "accessory": {"sku": "LPN-58"}},
    ]
    assert answerer().answer({"rig": {"id": rig, **empty}, "together": things}, world()).outcome == "fails"


def test_what_a_saved_rig_has_in_its_opening_is_told_to_be_taken_out() -> None:
    """Adapters told anew, or none at all, take the place of those that it has, and not without a word."""
    sleeve, extension = {"sku": "BTX-SLEEVE-2-125"}, {"sku": "BTX-REACH-2-8"}
    for told, out in (([], True), ([sleeve], True), ([extension], False), ([extension, sleeve], False)):
        answer = answerer().answer({"rig": {"id": "rig_bothy_bikes", "adapters": told}, **LIFT}, world())
        said = "In the saved rig's opening is also BTX-REACH-2-8: counted as taken out, as its adapters are told anew."
        assert (said in answer.assumed) == out, told
