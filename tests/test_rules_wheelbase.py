"""The wheelbase is measured only where it may decide: a load light enough behind any vehicle asks for none."""

from typing import Any

from demo_world import answerer

from fitsvc.facts import Case

RIG: dict[str, Any] = {
    "vehicle": {
        "body": "suv",
        "rear_overhang": "44 in",
        "curb_weight_front": "2400 lb",
        "curb_weight_rear": "2000 lb",
        "gawr_rear": "3400 lb",
    },
    "mounting": {"pin_to_bumper": "3-1/2 in"},
}
RACK = {"kind": "bike_carrier", "weight": "50 lb", "length": "20 in", "capacity": "120 lb", "bikes_max": 2}
RULES = ("rear-axle-with-carrier", "front-axle-with-carrier")


def _results(bikes: int, **vehicle: Any) -> tuple[dict[str, str], list[str]]:
    rig = {**RIG, "vehicle": {**RIG["vehicle"], **vehicle}}
    document = {
        "rig": {name: {"facts": facts} for name, facts in rig.items()},
        "accessory": {"facts": RACK},
        "load": {"facts": {"bikes": bikes, "bike_weight": "40 lb", "occupants_weight": "500 lb"}},
    }
    answer = answerer().answer(document)
    results = {one.rule: str(one.result) for one in answer.findings if one.rule in RULES}
    return results, [step.fact for step in answer.next]


def test_a_wheelbase_that_decides_nothing_is_not_asked_for() -> None:
    """Two bikes pass behind the shortest wheelbase that can be told, and so does what has none."""
    results, asked = _results(2)
    assert results == dict.fromkeys(RULES, "passes")
    assert "vehicle.wheelbase" not in asked


def test_a_wheelbase_that_may_decide_stays_open() -> None:
    """Where the shortest would not do, not telling it is no yes."""
    for wheelbase, result in (
        ({}, "undetermined"),
        ({"wheelbase": "40 in"}, "undetermined"),
        ({"wheelbase": "115 in"}, "passes"),
    ):
        assert _results(2, gawr_rear="2800 lb", **wheelbase)[0]["rear-axle-with-carrier"] == result


def test_no_vehicle_is_shorter_than_what_is_taken() -> None:
    """What is taken of a vehicle that does not tell is the least that can be told, so that no answer turns to a no."""
    book, engine = answerer().rulebook, answerer().engine
    (taken,) = engine.values("the wheelbase taken", lambda: [book.derived["axle.wheelbase"].node]).of(
        Case({}, frozenset())
    )
    told = book.vocabulary.facts["vehicle.wheelbase"].range
    assert isinstance(taken, tuple) and told and taken[0] == told[0]
