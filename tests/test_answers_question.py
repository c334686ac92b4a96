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
