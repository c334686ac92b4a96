"""A load of another kind than the carrier's is no load at all to its limits, so it must not pass unseen."""

from typing import Any

import pytest
from demo_world import answerer
from judging import Facts, answer, case, result
from test_rules_trade import BIKES as WHOLE

from fitsvc.answers.answering import Answerer
from fitsvc.engine.columns.kernel import Columns
from fitsvc.engine.verdict import RESULTS

RIG = {
    "receiver.opening": "2 in",
    "receiver.pin_hole": "5/8 in",
    "receiver.tongue_rating": "600 lb",
    "accessory.shank": "2 in",
    "accessory.pin": "5/8 in",
    "accessory.weight": "50 lb",
    "accessory.capacity": "400 lb",
}


@pytest.mark.parametrize(
    ("kind", "load", "rule"),
    [
        ("cargo_carrier", {"load.bikes": 3, "load.bike_weight": "40 lb"}, "bikes-on-a-bike-carrier"),
        ("enclosed_carrier", {"load.bikes": 1, "load.cargo_weight": "20 lb"}, "bikes-on-a-bike-carrier"),
        ("bike_carrier", {"load.cargo_weight": "150 lb"}, "cargo-on-a-carrier-for-it"),
        ("bike_carrier", {"load.bikes": 1, "load.cargo_weight": "150 lb"}, "cargo-on-a-carrier-for-it"),
    ],
)
def test_a_load_of_the_wrong_kind_fails(kind: str, load: dict[str, object], rule: str) -> None:
    """Common practice, no source: bikes go on a bike carrier, and it carries nothing else."""
    found = answer({**RIG, "accessory.kind": kind, **load})
    assert found.outcome == "fails" and found.findings[0].rule == rule


@pytest.mark.parametrize(
    ("kind", "load"), [("cargo_carrier", {"load.bikes": 0}), ("bike_carrier", {"load.cargo_weight": "0 lb"})]
)
def test_none_of_the_other_load_does_no_harm(kind: str, load: dict[str, object]) -> None:
    """No bikes on a cargo carrier and no cargo on a bike carrier are as they should be."""
    assert answer({**RIG, "accessory.kind": kind, **load}).outcome != "fails"


def test_a_load_that_may_be_of_the_wrong_kind_is_open() -> None:
    """Without the accessory's kind neither load is a yes."""
    for load in ({"load.bikes": 3}, {"load.cargo_weight": "100 lb"}):
        found = {one.rule: one.result for one in answer({**RIG, **load}).findings}
        rule = "bikes-on-a-bike-carrier" if "load.bikes" in load else "cargo-on-a-carrier-for-it"
        assert found[rule] == "undetermined"


@pytest.mark.parametrize("kind", ["ball_mount", "step", "winch_mount", "recovery_shackle", "locking_pin"])
@pytest.mark.parametrize("load", [{"load.bikes": 2}, {"load.bike_weight": "40 lb"}, {"load.cargo_weight": "1 lb"}])
def test_a_load_that_nothing_holds_never_works(kind: str, load: dict[str, object]) -> None:
    """What carries nothing bears no load, whatever its weight: not even a caution makes that a yes."""
    found = answer({**RIG, "accessory.kind": kind, **load})
    assert (found.outcome, found.findings[0].rule) == ("fails", "load-is-borne")
    silent = answer({**RIG, "accessory.kind": kind, "load.occupants_weight": "300 lb"})
    assert "load-is-borne" not in {finding.rule for finding in silent.findings}


BIKES = {**RIG, "accessory.kind": "bike_carrier", "accessory.bikes_max": 2, "accessory.bike_weight_max": "100 lb"}


@pytest.mark.parametrize(
    ("rating", "rule"),
    [
        ({"accessory.capacity": "60 lb"}, "load-on-accessory"),
        ({"receiver.tongue_rating": "115 lb"}, "hanging-weight"),
        ({"vehicle.tongue_rating": "115 lb"}, "hanging-weight"),
        ({"receiver.vertical_rating": "115 lb"}, "hanging-weight"),
        ({"vehicle.placard_capacity": "265 lb"}, "people-and-luggage"),
        ({"vehicle.curb_weight_rear": "2400 lb", "vehicle.gawr_rear": "2515 lb"}, "rear-axle-with-carrier"),
    ],
)
def test_the_load_is_never_less_than_the_heaviest_bike(rating: Facts, rule: str) -> None:
    """One bike of 70 lb is 70 lb in every sum, though each is told to weigh 40 lb; and that is told to disagree."""
    facts: Facts = {**BIKES, **rating, "load.bikes": 1, "load.bike_weight": "40 lb", "load.heaviest_bike": "70 lb"}
    assert result(rule, facts) == result("heaviest-is-one-of-them", facts) == "fails"
    assert answer(facts).outcome == "fails"
    agreed = {**facts, "load.heaviest_bike": "40 lb"}
    assert result("heaviest-is-one-of-them", agreed) == "passes"
    assert result(rule, agreed) != "fails"


@pytest.mark.parametrize(
    ("bikes", "each", "heaviest", "outcome"),
    [
        (2, "40 lb", "45 lb", "works"),
        (2, "40 lb", "70 lb", "works"),
        (2, "40 lb", "71 lb", "conditional"),
        (2, "40 lb", "79 lb", "conditional"),
        (2, "50 lb", "60 lb", "works"),
        (2, "50 lb", "61 lb", "conditional"),
    ],
)
def test_the_heaviest_beside_others_as_heavy_as_told_is_no_plain_yes(
    bikes: int, each: str, heaviest: str, outcome: str
) -> None:
    """Who tells the heaviest apart may mean by each what the others weigh: where that is too much it is no yes."""
    bikes_told: Facts = {"load.bikes": bikes, "load.bike_weight": each, "load.heaviest_bike": heaviest}
    carrier: Facts = {"accessory.capacity": "110 lb", "accessory.bike_weight_max": "80 lb", "accessory.bikes_max": 2}
    trays: Facts = {"accessory.bike_tyre_max": "3 in", "accessory.bike_wheelbase_max": "48 in"}
    measured: Facts = {"load.bike_tyre": "2 in", "load.bike_wheelbase": "46 in"}
    assert answer({**WHOLE, **carrier, **trays, **bikes_told, **measured}).outcome == outcome


@pytest.mark.parametrize(
    ("told", "outcome"),
    [
        ({"load.bike_weight": "50 lb"}, "works"),
        ({"load.bike_weight": "51 lb"}, "conditional"),
        ({"load.bike_weight": {"at_least": "30 lb", "at_most": "51 lb"}}, "conditional"),
        ({"load.bike_weight": {"value": "48 lb", "tolerance": "5 lb"}}, "conditional"),
        ({"load.bike_weight": "40 lb", "load.heaviest_bike": "51 lb"}, "conditional"),
        ({"load.bike_weight": "40 lb", "load.heaviest_bike": {"at_least": "40 lb", "at_most": "51 lb"}}, "conditional"),
        ({"load.bike_weight": "51 lb", "load.bike_tyre": "3 in"}, "conditional"),
        ({"load.bike_weight": "51 lb", "load.bike_tyre": "3 in", "load.bike_wheelbase": "48 in"}, "works"),
        ({"load.bike_weight": "51 lb", "load.bike_tyre": "3-1/4 in", "load.bike_wheelbase": "48 in"}, "fails"),
    ],
)
def test_a_heavy_bike_that_nobody_measured_is_no_plain_yes(told: Facts, outcome: str) -> None:
    """Over 50 lb it mostly has a motor and wider tyres than usual: trays for usual ones may not take it."""
    carrier: Facts = {"accessory.bike_tyre_max": "3 in", "accessory.bike_wheelbase_max": "48 in"}
    roomy: Facts = {"accessory.capacity": "130 lb", "accessory.bike_weight_max": "80 lb", "accessory.bikes_max": 2}
    assert answer({**WHOLE, **roomy, **carrier, "load.bikes": 2, **told}).outcome == outcome


def test_a_heaviest_bike_alone_names_a_load() -> None:
    """Told by itself it is a load: too heavy for the carrier it is a no, and on what holds no bike it is refused."""
    assert (
        result("load-on-accessory", {**BIKES, "accessory.capacity": "60 lb", "load.heaviest_bike": "70 lb"}) == "fails"
    )
    assert result("load-on-accessory", {**BIKES, "load.heaviest_bike": "70 lb"}) == "undetermined"
    assert answer({**RIG, "accessory.kind": "cargo_carrier", "load.heaviest_bike": "70 lb"}).outcome != "works"


def test_whole_columns_know_what_an_item_names() -> None:
    """Loads as items: which of the facts each one names is told from its columns as it is from its facts."""
    engine = answerer().engine
    rig = case({"accessory.kind": "bike_carrier"})
    loads: list[dict[str, Any]] = [
        {"load.cargo_weight": "9 lb"},
        {"load.bikes": 2},
        {"load.cargo_weight": "0 lb", "load.bikes": 2},
    ]
    items = [case(load).facts for load in loads]
    columns = Columns(engine)
    told = columns.catalogue(items, {"load"})
    by_column = columns.catalogue_of(told.columns, {"load"}, told.count)
    number = [rule.id for rule in engine.rulebook.rules].index("cargo-on-a-carrier-for-it")
    for catalogue in (told, by_column):
        results = [RESULTS[result] for result in columns.judge(catalogue, rig).results(number)]
        assert sorted(results) == ["fails", "not_applicable", "passes"]


def test_what_is_kept_of_one_question_is_not_told_of_another() -> None:
    """With no people named a driver is counted, else those named: findings must not be mixed up."""
    people = {"facts": {"occupants_weight": {"at_most": "900 lb"}}}
    facts = {
        "accessory.kind": "ball_mount",
        "accessory.length": "10 in",
        "trailer.tongue_weight": "300 lb",
        "trailer.weight_distribution": False,
        "vehicle.curb_weight_rear": "2500 lb",
    }
    rule = "rear-axle-with-trailer"

    def facts_told(told: Answerer, loaded: bool) -> dict[str, str]:
        document: dict[str, Any] = {"rig": {}, **({"load": people} if loaded else {})}
        for name, wire in facts.items():
            subject, short = name.split(".")
            place = document["rig"] if subject == "vehicle" else document
            place.setdefault(subject, {"facts": {}})["facts"][short] = wire
        return next(one.facts for one in told.answer(document).findings if one.rule == rule)

    both = Answerer(answerer().rulebook)
    assert "load.occupants_weight" not in facts_told(both, loaded=False)
    assert "load.occupants_weight" in facts_told(both, loaded=True)


def test_no_figure_below_nothing_is_told() -> None:
    """A carrier that takes more than the payload leaves nothing for people: a sure no, with all that is too much."""
    heavy: Facts = {
        **RIG,
        "accessory.kind": "cargo_carrier",
        "load.cargo_weight": "300 lb",
        "load.occupants_weight": "200 lb",
    }
    for payload in (
        {"vehicle.placard_capacity": "300 lb"},
        {"vehicle.gvwr": "5000 lb", "vehicle.curb_weight": "6000 lb"},
    ):
        found = answer({**heavy, **payload})
        assert found.outcome == "fails"
        (told,) = [one.reason for one in found.findings if one.rule.startswith("people-and-luggage") and one.reason]
        assert " 0 lb is left for them" in told and "-" not in told


def test_no_bike_is_heavier_than_the_heaviest() -> None:
    """Two bikes of which the heavier weighs 60 lb weigh 120 lb at the most: within 120 lb nobody weighs the other."""
    pair: Facts = {**BIKES, "load.bikes": 2, "load.heaviest_bike": "60 lb", "accessory.bike_weight_max": "60 lb"}
    assert result("load-on-accessory", {**pair, "accessory.capacity": "120 lb"}) == "passes"
    assert result("load-on-accessory", {**pair, "accessory.capacity": "119 lb"}) == "undetermined"
    assert result("load-on-accessory", {**pair, "accessory.capacity": "59 lb"}) == "fails"
    assert result("weight-of-each-bike", pair) == "not_applicable"
    assert result("heaviest-bike-within-limit", pair) == "passes"
    assert not any(step.fact == "load.bike_weight" for step in answer({**pair, "accessory.capacity": "120 lb"}).next)
    heavier = {**pair, "load.bike_weight": "70 lb", "accessory.capacity": "139 lb"}
    assert result("load-on-accessory", heavier) == result("weight-of-each-bike", heavier) == "fails"
