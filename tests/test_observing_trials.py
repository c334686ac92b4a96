"""What was tried on a rig bounds the mounting's facts by the rules' own geometry, and answers for itself."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq
import pytest
from demo_world import SEED, answerer
from hypothesis import given
from hypothesis import strategies as st
from litestar import Litestar
from litestar.testing import TestClient

from fitsvc.cli import main
from fitsvc.facts import FactReader
from fitsvc.loading.load import load_file
from fitsvc.observing.law import laws_of
from fitsvc.observing.trials import STRIKES, Trials
from fitsvc.store.api_keys import create_key
from fitsvc.store.database import Database
from fitsvc.store.observations import Provenance
from fitsvc.store.records import add_observation, get_record
from fitsvc.store.statements import THING

Client = TestClient[Litestar]
IN = 25.4
CARRIER = {"kind": "bike_carrier", "shank": "2 in", "stow_setback": "4 in", "front_setback": "9 in"}
"""A carrier that folds to 4 in behind the pin hole and stands 9 in behind it in use."""
SPARE = {"spare_location": "underbody"}


def bounds(*, supposed: bool = False, **told: Any) -> dict[str, tuple[float, float]]:
    """What a trial leaves of each fact, in inches; or would, were it sure what it touched."""
    state, around = told.pop("state", "folded"), told.pop("around", {})
    thing: dict[str, Any] = {f"{THING}RACK": {**CARRIER, **told.pop("thing", {})}}
    thing |= {"vehicle.body": "sedan", "receiver.opening": "2 in"}
    trials, evidence = Trials(answerer().reader), {"sku": "RACK", "state": state, **told}
    found = (trials.supposed if supposed else trials.bounds)(evidence, {**thing, **around})
    return {name: (low / IN, high / IN) for name, (low, high) in found.items()}


def test_f12_what_clears_bounds_the_pin_and_what_touches_is_supposed_to() -> None:
    """Folded to 4 in behind the pin: it clears a bumper up to there, and so does what rubs. What touched or rubbed, or
    left a gap, may have met something else than the bumper, which then stands nearer: only supposed is it there.
    """

    def pin(**told: Any) -> Any:
        return pytest.approx(bounds(**told)["pin_to_bumper"])

    open_ = -float("inf")
    assert (pin(result="clear"), pin(result="rubbed")) == ((open_, 4), (open_, 4))
    assert pin(state="in_use", result="clear") == (open_, 9)
    assert pin(result="clear", gap="1/2 in") == (open_, 3.625)
    assert bounds(result="touched") == bounds(result="clear", supposed=True) == {}
    assert pin(result="touched", supposed=True) == (4 + STRIKES / IN, float("inf"))
    assert pin(result="rubbed", supposed=True) == (3.875, 4)
    assert pin(result="clear", gap="1/2 in", supposed=True) == (3.375, 3.625)
    assert pin(result="clear", gap="1/2 in ± 1/4 in", supposed=True) == (3.25, 3.75)
    assert pin(result="rubbed", gap="exactly 1/2 in", supposed=True) == (3.5, 3.5)


def test_f12_what_is_known_within_bounds_rules_out_no_more_than_is_sure() -> None:
    """A sheet that says 4 to 5 in: what cleared may have stood at 5, what touched at 4. One that says nothing teaches
    nothing, and a carrier that may be a ball mount neither.
    """
    wide = {"stow_setback": {"at_least": "4 in", "at_most": "5 in"}}
    assert bounds(result="clear", thing=wide)["pin_to_bumper"][1] == pytest.approx(5)
    touched = bounds(result="touched", thing=wide, supposed=True)
    assert touched["pin_to_bumper"][0] == pytest.approx(4 + STRIKES / IN)
    assert bounds(result="clear", thing={"stow_setback": None}) == {}
    assert bounds(result="clear", thing={"kind": ["bike_carrier", "ball_mount"]}) == {}
    assert bounds(result="touched", around={"vehicle.body": "suv"}, supposed=True) == {}
    assert bounds(state="tilted", result="clear") == {}


def test_f12_an_opened_closure_bounds_by_its_swing() -> None:
    """A lift gate 40 in long, hinged at 70 in, past a mast 60 in up: within 40 in of the hinge it strikes, where it
    is 10 in below: sqrt(40^2 - 10^2) = 38.73 in.
    """
    gate = {
        "vehicle.rear_closure": "lift_gate",
        "vehicle.closure_length": "40 in",
        "vehicle.closure_hinge_height": "70 in",
        "vehicle.closure_hinge_setback": "35 in",
        "mounting.height": "20 in",
    }
    mast = {"tilts_clear": False, "top_height": "40 in", "front_height": "40 in"}
    found = bounds(state="closure_open", result="clear", around=gate, thing=mast)
    assert found["pin_to_bumper"][1] == pytest.approx(9 + 35 - (40**2 - 10**2) ** 0.5, abs=0.01)
    assert bounds(state="closure_open", result="clear", around=gate, thing=mast | {"tilts_clear": True}) == {}


EXTENSION = {
    "kind": "extension",
    "adds_length": "8 in",
    "adds_rise": "0 in",
    "fits_opening": "2 in",
    "offers_opening": "2 in",
}


def test_f12_what_hangs_on_an_extension_stands_farther_back() -> None:
    """Behind an extension of 8 in a carrier that folds to 4 in stands 12 in behind the pin: it tells of a bumper up to
    there. One that nobody has stored teaches nothing, nor does anything of the height that an adapter may change.
    """
    behind = {f"{THING}EXT": EXTENSION}
    assert bounds(result="clear", through="EXT", around=behind)["pin_to_bumper"][1] == pytest.approx(12)
    found = bounds(result="touched", through="EXT", around=behind, supposed=True)["pin_to_bumper"]
    assert found == pytest.approx((12 + STRIKES / IN, float("inf")))
    longer = {f"{THING}EXT": EXTENSION | {"adds_length": {"at_least": "8 in", "at_most": "10 in"}}}
    assert bounds(result="clear", through="EXT", around=longer)["pin_to_bumper"][1] == pytest.approx(14)
    found = bounds(result="touched", through="EXT", around=longer, supposed=True)["pin_to_bumper"]
    assert found[0] == pytest.approx(12, abs=0.01)
    assert bounds(result="clear", through="EXT") == {}
    gate = {
        "vehicle.rear_closure": "lift_gate",
        "vehicle.closure_length": "40 in",
        "vehicle.closure_hinge_height": "70 in",
        "vehicle.closure_hinge_setback": "35 in",
        "mounting.height": "20 in",
        "mounting.pin_to_bumper": "4 in",
    }
    mast = {"tilts_clear": False, "top_height": "40 in", "front_height": "40 in", "front_setback": "0 in"}
    opened: dict[str, Any] = {"state": "closure_open", "result": "touched", "thing": mast, "supposed": True}
    here, there = bounds(**opened, around=gate), bounds(**opened, around=gate | behind, through="EXT")
    assert (set(here), set(there)) == ({"pin_to_bumper", "height"}, {"pin_to_bumper"})
    assert there["pin_to_bumper"][0] - here["pin_to_bumper"][0] == pytest.approx(8)


RAISING = EXTENSION | {"adds_length": "7 in", "adds_rise": "5 in"}


@pytest.mark.parametrize("result", ["clear", "rubbed", "touched"])
@pytest.mark.parametrize("state", ["folded", "in_use"])
def test_what_hung_higher_or_lower_tells_nothing_of_where_the_bumper_stands(state: str, result: str) -> None:
    """Raised by 5 in it may have passed over the bumper, lowered under it, and what it touched may be something else.
    An adapter whose rise is not told may raise it; a straight one, and a sleeve, which moves it by half an inch at
    most, leave it where it is.
    """

    def through(**facts: Any) -> dict[str, tuple[float, float]]:
        told: dict[str, Any] = {"state": state, "result": result, "around": {f"{THING}EXT": {**RAISING, **facts}}}
        return bounds(through="EXT", **told) | bounds(through="EXT", supposed=True, **told)

    for rise in ("5 in", "-5 in", "9/16 in", "-9/16 in", None, {"at_least": "0 in", "at_most": "5 in"}):
        assert through(adds_rise=rise) == {}, rise
    for rise in ("0 in", "1/2 in", "-1/2 in", {"value": "0 in", "tolerance": "1/8 in"}):
        assert "pin_to_bumper" in through(adds_rise=rise), rise
    assert "pin_to_bumper" in through(kind="reducer_sleeve", adds_rise=None, adds_length=None)
    for fall, level in ((-5, True), (-4, False)):
        around = {f"{THING}UP": RAISING, f"{THING}DOWN": RAISING | {"adds_rise": f"{fall} in"}}
        told: dict[str, Any] = {"state": state, "result": result, "through": ["UP", "DOWN"], "around": around}
        assert bool(bounds(**told) | bounds(supposed=True, **told)) is level


@pytest.mark.parametrize("supposed", [False, True])
def test_what_hung_on_an_adapter_that_does_not_go_into_the_receiver_tells_nothing(supposed: bool) -> None:
    """One for 2-1/2 in was never in a receiver of 2 in: the adapter was another, or what is told of it is wrong."""

    def through(**facts: Any) -> dict[str, tuple[float, float]]:
        around = {f"{THING}EXT": {**EXTENSION, **facts}}
        return bounds(result="rubbed", through="EXT", around=around, supposed=supposed)

    assert "pin_to_bumper" in through()
    for opening in ("2-1/2 in", None, ["1-1/4 in", "2 in"]):
        assert through(fits_opening=opening) == {}, opening


@pytest.mark.parametrize(("state", "front"), [("folded", 4), ("in_use", 9)])
def test_a_spare_on_the_rear_door_is_passed_under_or_touched_itself(state: str, front: float) -> None:
    """Below a spare that reaches 8 in behind the bumper it clears with the bumper where its front is, and where it
    touched, the bumper may be 8 in nearer; a spare that may hang there, of no known reach, leaves it anywhere.
    """
    spare = {"vehicle.body": "suv", "vehicle.spare_location": "rear_door", "vehicle.spare_protrusion": "8 in"}
    assert bounds(state=state, result="clear", around=spare)["pin_to_bumper"][1] == pytest.approx(front)
    touched: dict[str, Any] = {"state": state, "result": "touched", "supposed": True}
    found = bounds(**touched, around=spare)["pin_to_bumper"]
    assert found == pytest.approx((front - 8 + STRIKES / IN, float("inf")))
    assert bounds(**touched, around={"vehicle.body": "suv"}) == {}
    inside = {"vehicle.body": "suv", "vehicle.spare_location": "inside"}
    assert bounds(**touched, around=inside)["pin_to_bumper"][0] == pytest.approx(front, abs=0.01)


SIXTEENTHS = st.integers(0, 16 * 12).map(lambda n: n / 16)


@given(SIXTEENTHS, SIXTEENTHS, st.sampled_from([0, 8]), st.sampled_from(["clear", "touched", "rubbed"]))
def test_f12_a_trial_never_rules_out_what_is_so(pin: float, folded: float, behind: int, result: str) -> None:
    """Whatever the bumper's distance is: what a carrier of known measures does there leaves that distance possible."""
    room = folded + behind - pin
    so = {"clear": room >= 0, "touched": room < 0, "rubbed": 0 <= room <= 0.125}
    if so[result]:
        on: dict[str, Any] = {"through": "EXT", "around": {f"{THING}EXT": EXTENSION}} if behind else {}
        for supposed in (False, True):
            found = bounds(result=result, thing={"stow_setback": f"{folded} in"}, supposed=supposed, **on)
            low, high = found.get("pin_to_bumper", (-1e9, 1e9))
            assert low - 1e-6 <= pin <= high + 1e-6


@pytest.fixture
def yard(url: str, tmp_path: Path) -> Iterator[tuple[Client, dict[str, str]]]:
    """Give a service with one mounting and one carrier, and a key."""
    from fitsvc.service.app import create_app

    opened = Database(url)
    with opened.session() as session:
        key = {"X-API-Key": create_key(session, "yard")[0]}
    client = TestClient(create_app(opened, answerer(), tmp_path / "audits"), raise_server_exceptions=False)
    for path, body in (
        (
            "vehicles",
            {"id": "veh_1", "facts": {"body": "suv", "rear_closure": "lift_gate", "rear_overhang": "40 in", **SPARE}},
        ),
        ("receivers", {"id": "rcv_1", "facts": {"opening": "2 in"}}),
        ("mountings", {"id": "mnt_1", "vehicle": "veh_1", "receiver": "rcv_1"}),
        ("accessories", {"sku": "RACK", "subject": "accessory", "facts": CARRIER | {"tilts_clear": False}}),
        ("accessories", {"sku": "BOX", "subject": "accessory", "facts": CARRIER | {"stow_setback": "6 in"}}),
    ):
        assert client.post(f"/v1/{path}", json=body, headers=key).status_code == 201
    yield client, key
    opened.close()


def tell(yard: tuple[Client, dict[str, str]], status: int = 201, **members: Any) -> Any:
    """Tell something of the mounting."""
    client, key = yard
    response = client.post("/v1/observations", json={"subject": "mounting", "record": "mnt_1"} | members, headers=key)
    assert response.status_code == status, response.text
    return response.json()


def tried(yard: tuple[Client, dict[str, str]], result: str, state: str = "folded", **more: Any) -> str:
    """Tell what came of a trial, and return the observation's id."""
    told = tell(yard, evidence={"sku": "RACK", "state": state, "result": result}, **more)
    return str(told["observation"]["id"])


def finding(yard: tuple[Client, dict[str, str]], sku: str, rule: str) -> tuple[str, list[str]]:
    """How a rule comes out with an accessory, and the answer's cautions."""
    question = {"rig": {"mounting": {"id": "mnt_1"}}, "accessory": {"sku": sku}}
    answer = yard[0].post("/v1/answers", json=question).json()
    return next(one["result"] for one in answer["findings"] if one["rule"] == rule), answer["cautions"]


def mounting(yard: tuple[Client, dict[str, str]]) -> dict[str, Any]:
    """The mounting's facts and how they are known."""
    found = yard[0].get("/v1/mountings/mnt_1").json()
    return {"facts": found["facts"], "provenance": found["provenance"]}


RULE = "folded-clears-bumper"


def test_f12_the_very_thing_that_was_tried_is_answered_and_others_by_it(yard: Any) -> None:
    """What cleared clears, and all that folds farther back; what touched does not go. Undone it is as it was."""
    before = mounting(yard)
    assert finding(yard, "RACK", RULE)[0] == "undetermined"
    clear = tried(yard, "clear", by="Ann")
    assert mounting(yard)["facts"]["pin_to_bumper"] == {"at_most": "4 in"}
    assert (finding(yard, "RACK", RULE)[0], finding(yard, "BOX", RULE)[0]) == ("passes", "passes")
    tell(yard, retracts=clear, reason="it was another truck")
    assert mounting(yard) == before
    tried(yard, "touched", by="Bo")
    assert finding(yard, "RACK", "cleared-when-tried")[0] == "fails"
    assert any("RACK was tried here folded up: it touched" in one for one in finding(yard, "RACK", RULE)[1])
    assert finding(yard, "BOX", RULE)[0] == "undetermined"


@pytest.mark.parametrize(
    ("told", "left"),
    [
        ({"result": "touched"}, {"at_least": "3 in", "at_most": "60 in"}),
        ({"result": "rubbed"}, {"at_least": "3 in", "at_most": "4 in"}),
        ({"result": "clear", "gap": "exactly 1/2 in"}, {"at_least": "3 in", "at_most": "3-1/2 in"}),
    ],
)
@pytest.mark.parametrize("kind", ["published", "measured"])
def test_what_touched_or_rubbed_puts_another_figure_in_dispute_and_takes_no_place_of_it(
    yard: Any, kind: str, told: dict[str, str], left: dict[str, str]
) -> None:
    """At 3 in the bumper would have left an inch. It may be farther back, or be there, and the carrier have met
    something else, so what is better the farther back the bumper is counts from 3 in on, and so does a ball behind it.
    """
    tell(yard, facts={"pin_to_bumper": "exactly 3 in"}, kind=kind, by="the maker")
    key = tell(yard, evidence={"sku": "RACK", "state": "folded", **told}, by="Ann")["observation"]["id"]
    found = mounting(yard)
    assert found["facts"]["pin_to_bumper"] == left
    assert found["provenance"]["pin_to_bumper"]["state"] == "disputed"
    tell(yard, retracts=key, reason="it was another truck")
    assert mounting(yard)["facts"]["pin_to_bumper"] == "exactly 3 in"
    tell(yard, facts={"pin_to_bumper": "exactly 6 in"}, kind=kind, by="the maker")
    if told["result"] == "touched":
        tried(yard, "touched", by="Ann")
        assert mounting(yard)["facts"]["pin_to_bumper"] == "exactly 6 in"
        assert "state" not in mounting(yard)["provenance"]["pin_to_bumper"]


def test_f12_two_that_tried_and_disagree_are_disputed(yard: Any) -> None:
    """One says it cleared, another that it touched: both words stand, and neither decides."""
    tried(yard, "clear", by="Ann")
    told = tell(yard, evidence={"sku": "RACK", "state": "folded", "result": "touched"}, by="Bo")
    assert [one["fact"] for one in told["contradictions"]] == ["pin_to_bumper"]
    assert mounting(yard)["provenance"]["pin_to_bumper"]["state"] == "disputed"
    assert finding(yard, "RACK", RULE)[0] == "undetermined"


def test_f12_what_rubs_is_a_caution(yard: Any) -> None:
    """It goes, so it is no no; that it rubbed is told, and on what it did is not known."""
    tried(yard, "rubbed")
    result, cautions = finding(yard, "RACK", RULE)
    assert result == "passes"
    assert any("RACK was tried here folded up: it went, and it rubbed" in one for one in cautions)
    assert finding(yard, "RACK", "rubbed-when-tried")[0] == "fails"
    assert finding(yard, "RACK", "folded-not-close-to-bumper")[0] == "undetermined"
    assert not any("tried here" in one for one in finding(yard, "BOX", RULE)[1])


def test_f12_what_touched_is_told_so_and_by_no_figure_that_nobody_read(yard: Any) -> None:
    """That it touched is the reason and when is told with it; how far it strikes nobody has measured."""
    tried(yard, "touched", at="2026-11-03T12:00:00Z")
    question = {"rig": {"mounting": {"id": "mnt_1"}}, "accessory": {"sku": "RACK"}}
    answer = yard[0].post("/v1/answers", json=question).json()
    assert answer["summary"].startswith("No. This very accessory touched when it was tried here")
    told = "RACK was tried here folded up: it touched, and did not go, on 3 November 2026, by yard."
    assert told in answer["cautions"]
    (folded,) = [one for one in answer["findings"] if one["rule"] == RULE]
    assert folded["result"] == "undetermined" and "margin" not in folded


def test_f12_a_state_without_geometry_is_told_of_that_accessory(yard: Any) -> None:
    """What touched when it was tilted down bounds nothing, and is told with every answer about it."""
    before, key = mounting(yard)["facts"], tried(yard, "touched", "tilted")
    assert mounting(yard)["facts"] == before
    assert any("RACK was tried here tilted down" in one for one in finding(yard, "RACK", RULE)[1])
    tell(yard, retracts=key, reason="the gate was off")
    assert not any("tried here" in one for one in finding(yard, "RACK", RULE)[1])


def test_f12_what_follows_from_a_trial_follows_what_is_known_of_the_thing(yard: Any) -> None:
    """A carrier measured after it was tried folds to 5 in, not 4: the bumper may then stand as far back as that."""
    client, key = yard
    tried(yard, "clear")
    told = {"subject": "accessory", "record": "RACK", "facts": {"stow_setback": "exactly 5 in"}}
    assert client.post("/v1/observations", json=told, headers=key).status_code == 201
    assert mounting(yard)["facts"]["pin_to_bumper"] == {"at_most": "5 in"}
    client.delete("/v1/accessories/RACK", headers=key | {"If-Match": "*"})
    assert "pin_to_bumper" not in mounting(yard)["facts"]


def test_f12_what_hung_on_an_adapter_goes_with_what_is_known_of_it(yard: Any) -> None:
    """It is told with the adapter's name, follows its length, and is another trial than one in the receiver itself."""
    client, key = yard
    made = {"sku": "EXT", "subject": "adapter", "facts": EXTENSION}
    assert client.post("/v1/accessories", json=made, headers=key).status_code == 201
    through = {"sku": "RACK", "state": "folded", "through": "EXT"}
    for wrong in ("NONE", "BOX"):
        found = tell(yard, 409, evidence=through | {"result": "clear", "through": wrong})
        assert [one["pointer"] for one in found["errors"]] == ["/evidence/through"]
    for slip, said in (({"state": "fold"}, "`fold` is not known"), ({"state": None}, "`state` is missing")):
        found = tell(yard, 400, evidence=through | {"result": "clear"} | slip)
        assert [(one["pointer"], one["detail"]) for one in found["errors"]] == [("/evidence/state", said)]
    tell(yard, evidence=through | {"result": "touched"}, by="Ann")
    assert "pin_to_bumper" not in mounting(yard)["facts"]
    assert any(
        "RACK was tried here folded up, through EXT: it touched" in one for one in finding(yard, "RACK", RULE)[1]
    )
    told = {"subject": "accessory", "record": "EXT", "facts": {"adds_length": "exactly 6 in"}}
    assert client.post("/v1/observations", json=told, headers=key).status_code == 201
    went = tell(yard, evidence=through | {"result": "rubbed"}, by="Ann")
    assert mounting(yard)["facts"]["pin_to_bumper"] == {"at_most": "10 in"}
    tell(yard, retracts=went["observation"]["id"], reason="another truck")
    both = through | {"through": ["EXT", "EXT"]}
    again = tell(yard, evidence=both | {"result": "touched"}, by="Bo")
    assert any("through EXT, EXT: it touched" in one for one in finding(yard, "RACK", RULE)[1])
    tell(yard, retracts=again["observation"]["id"], reason="another truck")
    assert tell(yard, 409, evidence=both | {"result": "clear", "through": ["EXT", "BOX"]})["errors"]
    assert tell(yard, 400, evidence=both | {"result": "clear", "through": ["EXT"] * 9})["errors"]
    tried(yard, "clear", by="Ann", settles=True, reason="the bumper is cut away there")
    states = [one.get("settled", False) for one in mounting(yard)["provenance"]["pin_to_bumper"]["things"]]
    assert states == [False, False]


GATE = {"closure_length": "40 in", "closure_hinge_height": "70 in", "closure_hinge_setback": "35 in"}


def behind(yard: Any, *skus: str, **load: Any) -> dict[str, Any]:
    """What an answer finds of the carrier behind adapters: each rule's result and reason, with what is at the top."""
    question = {
        "rig": {"mounting": {"id": "mnt_1"}, "adapters": [{"sku": sku} for sku in skus]},
        "accessory": {"sku": "RACK"},
        "load": {"facts": {"bikes": 2, **load}},
    }
    answer = yard[0].post("/v1/answers", json=question).json()
    told = {one["rule"]: one["result"] for one in answer["findings"]}
    return {"told": told, "summary": answer["summary"], "cautions": answer["cautions"], "outcome": answer["outcome"]}


@pytest.fixture
def with_extensions(yard: Any) -> Any:
    """Give the yard with two extensions."""
    client, key = yard
    for sku, length in (("EXT", "8 in"), ("LONG", "14 in")):
        body = {"sku": sku, "subject": "adapter", "facts": EXTENSION | {"adds_length": length}}
        assert client.post("/v1/accessories", json=body, headers=key).status_code == 201
    return yard


def test_what_cleared_through_a_raising_adapter_is_no_yes_through_a_straight_one(with_extensions: Any) -> None:
    """Told by its rise, the bumper is not known and a straight extension asks for it; straight, the bumper is."""
    client, key = with_extensions
    body = {"sku": "HIGH", "subject": "adapter", "facts": RAISING}
    assert client.post("/v1/accessories", json=body, headers=key).status_code == 201
    tell(with_extensions, evidence={"sku": "RACK", "state": "folded", "result": "clear", "through": "HIGH"})
    assert "pin_to_bumper" not in mounting(with_extensions)["facts"]
    assert behind(with_extensions, "EXT")["told"][RULE] == "undetermined"
    told = {"subject": "accessory", "record": "HIGH", "facts": {"adds_rise": "exactly 0 in"}}
    assert client.post("/v1/observations", json=told, headers=key).status_code == 201
    assert mounting(with_extensions)["facts"]["pin_to_bumper"] == {"at_most": "11 in"}
    assert behind(with_extensions, "EXT")["told"][RULE] == "passes"


def test_a_closure_that_touched_through_an_adapter_is_a_no_with_that_adapter_alone(with_extensions: Any) -> None:
    """As it was tried it does not open; nearer or farther that is told as what it is, and no figure is made of it."""
    yard = with_extensions
    tried(yard, "clear", "tilted", by="Ann")
    shut, opened = {"needs_closure_open": False}, {"needs_closure_open": True}
    evidence = {"sku": "RACK", "state": "closure_open", "result": "touched", "through": "EXT"}
    told = tell(yard, evidence=evidence, by="Ann")
    rule, other = "closure-that-must-open-cleared", "closure-touched-through-others-when-tried"
    so = behind(yard, "EXT", **opened)
    assert (so["outcome"], so["told"][rule], so["told"][other]) == ("fails", "fails", "passes")
    assert "in the receiver itself" not in so["summary"]
    for row in ([], ["LONG"], ["EXT", "LONG"]):
        elsewhere = behind(yard, *row, **opened)
        assert elsewhere["told"].get(rule, "not_applicable") == "not_applicable", row
        assert elsewhere["told"][other] == "fails", row
        assert elsewhere["outcome"] != "works"
    assert not {rule, other} & behind(yard, "EXT", **shut)["told"].keys()
    assert behind(yard, "EXT")["told"]["closure-cleared-when-tried"] == "fails"
    tell(yard, retracts=told["observation"]["id"], reason="another truck")
    assert rule not in behind(yard, "EXT", **opened)["told"]


def test_what_was_tried_as_it_is_asked_about_counts_instead_of_what_was_tried_nearer(with_extensions: Any) -> None:
    """Told to try it through the extension, who does and tells that it cleared is not told so again; if it rubbed, that
    it rubbed is told.
    """
    yard = with_extensions
    tried(yard, "touched", by="Ann")
    nearer, rubbed = "touched-nearer-when-tried", "rubbed-when-tried"
    assert behind(yard, "EXT")["told"][nearer] == "fails"
    so = {"sku": "RACK", "state": "folded", "through": "EXT"}
    tell(yard, evidence=so | {"result": "rubbed"}, by="Bo", at="2026-03-02T09:30:00Z")
    found = behind(yard, "EXT")["told"]
    assert (found[nearer], found[rubbed]) == ("passes", "fails")
    tell(yard, evidence=so | {"result": "clear"}, by="Bo", at="2026-03-05T09:30:00Z")
    after = behind(yard, "EXT")
    assert not {nearer, rubbed} & after["told"].keys()
    assert any("through EXT: it cleared" in one for one in after["cautions"])
    assert behind(yard, "LONG")["told"][nearer] == "fails"
    assert behind(yard)["told"]["cleared-when-tried"] == "fails"
    tell(yard, evidence=so | {"state": "in_use", "result": "touched"}, by="Bo")
    assert behind(yard, "EXT")["told"]["cleared-when-tried"] == "fails"


def test_an_adapter_told_by_its_facts_is_none_that_something_was_tried_through(with_extensions: Any) -> None:
    """It has no SKU, as the receiver itself has none: what was tried there is not what was tried through it."""
    yard = with_extensions
    tried(yard, "touched", by="Ann")
    question = {
        "rig": {"mounting": {"id": "mnt_1"}, "adapters": [{"facts": EXTENSION}]},
        "accessory": {"sku": "RACK"},
    }
    answer = yard[0].post("/v1/answers", json=question).json()
    found = {one["rule"]: one["result"] for one in answer["findings"]}
    assert (found["touched-nearer-when-tried"], found.get("cleared-when-tried")) == ("fails", None)


def test_what_one_person_tries_again_and_goes_frees_what_it_rubbed_on(yard: Any) -> None:
    """It rubbed, on the bumper or on something else, and a published figure with which it would not have, is disputed.
    Then it cleared: of the bumper is known that it clears, and the figure stands. Who takes the second back has the
    first again; who settles where the bumper is has neither.
    """
    assert tell(yard, facts={"pin_to_bumper": "2-1/4 in"}, kind="published", by="the maker")
    tried(yard, "rubbed", by="Ann", at="2026-03-02T09:30:00Z")
    rubbing = {"at_least": "2-1/4 in", "at_most": "4 in"}
    assert mounting(yard)["facts"]["pin_to_bumper"] == rubbing
    tried(yard, "clear", by="Bo", at="2026-03-05T09:30:00Z")
    assert mounting(yard)["facts"]["pin_to_bumper"] == rubbing
    again = tried(yard, "clear", by="Ann", at="2026-03-05T09:30:00Z")
    assert mounting(yard)["facts"]["pin_to_bumper"] == "2-1/4 in"
    tell(yard, retracts=again, reason="another truck")
    assert mounting(yard)["facts"]["pin_to_bumper"] == rubbing
    tried(yard, "clear", by="Ann", at="2026-03-05T09:30:00Z")
    tell(yard, facts={"pin_to_bumper": "6 in"}, by="Cy", settles=True, reason="seen by two")
    assert mounting(yard)["facts"]["pin_to_bumper"]["value"] == "6 in"
    assert "state" not in mounting(yard)["provenance"]["pin_to_bumper"]


def test_a_trial_that_would_settle_nothing_is_not_asked_for(with_extensions: Any) -> None:
    """A closure that opened over it does not say that it opens loaded: what is asked for is what to measure."""
    yard = with_extensions

    def asked(**told: Any) -> tuple[str, str]:
        question = {
            "rig": {"mounting": {"id": "mnt_1"}},
            "accessory": {"sku": "RACK", "facts": told},
            "load": {"facts": {"bikes": 2, "needs_closure_open": True}},
        }
        answer = yard[0].post("/v1/answers", json=question).json()
        (found,) = [one for one in answer["findings"] if one["rule"] == "closure-opens-past-accessory"]
        return found["result"], found["reason"]

    before = asked()
    assert asked(tried_opened="clear", tried_here="clear") == before
    tried(yard, "clear", "closure_open", by="Ann")
    assert asked() == before
    assert before[0] == "undetermined" and "measure" in before[1] and "try" not in before[1]


def test_f12_what_was_tried_before_the_bumper_changed_is_stale(yard: Any) -> None:
    """A trial leans on the bumper as a reading does."""
    client, key = yard
    tried(yard, "clear")
    body = {"facts": {"body": "suv", "rear_closure": "lift_gate", "rear_overhang": "44 in", **SPARE}}
    assert client.put("/v1/vehicles/veh_1", json=body, headers=key | {"If-Match": "*"}).status_code == 200
    assert "pin_to_bumper" not in mounting(yard)["facts"]
    assert mounting(yard)["provenance"]["pin_to_bumper"]["state"] == "stale"


@pytest.mark.parametrize(
    ("told", "result"),
    [
        ({"state": "folded", "result": "clear", "slope": "10 %"}, ""),
        ({"state": "folded", "result": "clear", "through": {"sku": "EXT"}}, ""),
        ({"state": "folded", "result": "rubbed", "slope": "10 %"}, "it went, and it rubbed"),
        ({"state": "folded", "result": "bent"}, "it touched, and did not go"),
        ({"tyre": "245/75R16", "stowed": True, "slope": "10 %"}, ""),
    ],
)
def test_what_a_newer_version_took_as_tried_bounds_nothing_and_is_no_yes(
    yard: Any, url: str, told: dict[str, Any], result: str
) -> None:
    """On the same database: what is told as nothing is told here may leave out what matters; the worst of it is told.

    What the newer version then tells of it in the record is passed over.
    """
    client, _ = yard
    before = mounting(yard)["facts"]
    evidence = told if "tyre" in told else {"sku": "RACK", **told}
    opened = Database(url)
    with opened.session() as session:
        reader = answerer().reader
        how: Any = {"evidence": evidence, "laws": laws_of(reader)}
        add_observation(session, "mounting", "mnt_1", {}, Provenance(kind="measured", by="Ann"), **how)

    def holds() -> None:
        assert mounting(yard)["facts"] == before
        cautions = [one for one in finding(yard, "RACK", RULE)[1] if "tried here" in one]
        assert len(cautions) == bool(result)
        assert all(result in one for one in cautions)
        for page in ("/v1/mountings/mnt_1/sheet", "/records/mounting/mnt_1", "/measure?mounting=mnt_1"):
            assert client.get(page).status_code == 200, page

    holds()
    with opened.session() as session:
        record = get_record(session, "mounting", "mnt_1")
        things = [one | {"slope": "10 %"} for one in record.provenance.get("pin_to_bumper", {}).get("things", ())]
        record.provenance = {**record.provenance, "pin_to_bumper": {"kind": "tried", "things": things}}
    opened.close()
    holds()
    tell(yard, facts={"height": "17 in"}, by="Ann")
    assert "pin_to_bumper" not in mounting(yard)["facts"]


SCHOOL = "rig_school_run"
BIKES = {"load": {"facts": {"bikes": 2, "bike_weight": "30 lb", "bike_frame": "closed", "occupants_weight": "540 lb"}}}
HANGS = "SPK-HIGH-2"
TRIED_AT: dict[str, Any] = {"record": "mnt_saltmarsh_own", "at": "2026-03-02T09:30:00Z", "by": "Ann"}


@pytest.fixture(scope="module")
def demo_url(migrated: Path, tmp_path_factory: pytest.TempPathFactory) -> str:
    """Give the URL of a database for the demo's shop."""
    file = tmp_path_factory.mktemp("trials") / "demo.db"
    file.write_bytes(migrated.read_bytes())
    return f"sqlite:///{file}"


@pytest.fixture(scope="module")
def demo(demo_url: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Client, dict[str, str]]]:
    """Give the demo's shop with a second carrier of the same facts as the first, and a key."""
    from conftest import SEED_FILES

    from fitsvc.service.app import create_app

    folder, opened = tmp_path_factory.mktemp("audits"), Database(demo_url)
    for name in SEED_FILES:
        load_file(opened, answerer().reader, SEED / name)
    with opened.session() as session:
        key = {"X-API-Key": create_key(session, "yard")[0]}
    client = TestClient(create_app(opened, answerer(), folder), raise_server_exceptions=False)
    facts = client.get(f"/v1/accessories/{HANGS}").json()["facts"]
    body = {"sku": "TWIN", "subject": "accessory", "facts": facts}
    assert client.post("/v1/accessories", json=body, headers=key).status_code == 201
    yield client, key
    opened.close()


def everywhere(client: Client, sku: str, load: dict[str, Any] = BIKES) -> tuple[dict[str, str], dict[str, Any]]:
    """What each way to ask says of an accessory on the rig, and its answer."""
    rig = {"rig": {"id": SCHOOL}}
    answer = client.post("/v1/answers", json={**rig, "accessory": {"sku": sku}, **load}).json()
    page = client.post("/v1/selections?limit=1000&detail=full", json={**rig, **load}).json()
    kinds = page["counts"]["outcomes"]
    assert sum(kinds.values()) == len(page["items"])
    assert all(sum(one["outcome"] == name for one in page["items"]) == count for name, count in kinds.items())
    found = {"answer": answer["outcome"]}
    found["selection"] = next(one["outcome"] for one in page["items"] if one["sku"] == sku)
    for detail in ("compact", "full"):
        body = {"rigs": [{"id": SCHOOL}], "skus": ["TWIN", HANGS], **load}
        row = client.post(f"/v1/matches?detail={detail}", json=body).json()["rigs"][0]["items"]
        found[detail] = next(one["outcome"] for one in row if one["sku"] == sku)
    return found, answer


def unladen(client: Client, sku: str) -> str:
    """What an accessory comes to on the rig with nothing carried, as an observation tells of its rigs."""
    asked = {"rig": {"id": SCHOOL}, "accessory": {"sku": sku}}
    return str(client.post("/v1/answers", json=asked).json()["outcome"])


def planned(client: Client) -> dict[str, Any]:
    """A plan for the bikes on the rig; what it says of its parts is what an answer says, and no other part touched."""
    found: dict[str, Any] = client.post("/v1/plans", json={"rig": {"id": SCHOOL}, "wishes": [BIKES]}).json()
    sets = [found["best"], *found["runners_up"]] if found["best"] else []
    for one in sets:
        for served in one["wishes"]:
            outcome = client.post("/v1/answers", json=served["question"]).json()["outcome"]
            assert served["outcome"] == outcome == one["outcome"]
    for miss in found["misses"]:
        answer = client.post("/v1/answers", json=miss["question"]).json()
        assert (answer["outcome"], answer["summary"]) == (miss["outcome"], miss["because"])
    return found


@pytest.mark.parametrize(
    ("state", "sku", "result"),
    [
        ("folded", HANGS, "touched"),
        ("in_use", HANGS, "touched"),
        ("tilted", HANGS, "touched"),
        ("tilted", "TWIN", "touched"),
        ("closure_open", HANGS, "touched"),
        ("tilted", HANGS, "rubbed"),
        ("folded", HANGS, "rubbed"),
    ],
)
def test_what_touched_or_rubbed_is_a_plain_yes_nowhere(demo: Any, state: str, sku: str, result: str) -> None:
    """Whatever follows from it: by no way to ask is the very thing a plain yes, and others are as before.

    Taken back, all is as it was.
    """
    client, _ = demo
    before = {sku: everywhere(client, sku)[0] for sku in (HANGS, "TWIN")}
    assert set(before[sku].values()) == {"works"}
    alone, plan = unladen(client, sku), planned(client)
    shown = client.get("/v1/mountings/mnt_saltmarsh_own").json()["facts"]
    told = tell(demo, evidence={"sku": sku, "state": state, "result": result}, **TRIED_AT)
    found, answer = everywhere(client, sku)
    assert len(set(found.values())) == 1 and found["answer"] != "works", found
    words = {"touched": "it touched, and did not go", "rubbed": "it went, and it rubbed"}[result]
    assert any(f"{words}, on 2 March 2026, by Ann" in one for one in answer["cautions"])
    changed = SCHOOL in [one["rig"] for one in told["rigs"]["changed"]]
    assert changed or unladen(client, sku) == alone
    after = planned(client)
    others = [sku for part in (after["best"] or {"parts": []})["parts"] for sku in part["others"]]
    assert sku not in others
    if client.get("/v1/mountings/mnt_saltmarsh_own").json()["facts"] == shown:
        assert all(everywhere(client, other)[0] == before[other] for other in before if other != sku)
    tell(demo, retracts=told["observation"]["id"], reason="it was another truck", record="mnt_saltmarsh_own")
    assert {sku: everywhere(client, sku)[0] for sku in before} == before
    assert planned(client) == plan


def test_an_audit_of_a_catalogue_has_what_touched(demo: Any, demo_url: str, tmp_path: Path) -> None:
    """The pairs and their counts say of the carrier what its answer says; every other pair is as before."""
    header, *rows = (SEED / "accessories.csv").read_text("utf-8").splitlines()
    row = next(row for row in rows if row.startswith(f"{HANGS},"))
    catalogue, claims = tmp_path / "items.csv", tmp_path / "claims.csv"
    catalogue.write_text("\n".join([header, row, row.replace(HANGS, "TWIN")]) + "\n", "utf-8")
    claims.write_text(f"sku,rig\n{HANGS},{SCHOOL}\nTWIN,{SCHOOL}\n")
    asked = [
        "--fact",
        "load.bikes=2",
        "--fact",
        "load.bike_weight=30 lb",
        "--fact",
        "load.occupants_weight=540 lb",
        "--fact",
        "load.bike_frame=closed",
    ]

    def audited(name: str) -> tuple[dict[tuple[str, str], tuple[str, str]], dict[str, Any]]:
        out = tmp_path / name
        told = ["audit", str(catalogue), "-o", str(out), "--claims", str(claims), "--database", demo_url, *asked]
        assert main(told) == 0
        pairs = pq.read_table(out / "pairs.parquet").to_pylist()
        summary = json.loads((out / "summary.json").read_text("utf-8"))
        return {(one["rig"], one["sku"]): (one["outcome"], one["rules"]) for one in pairs}, summary

    before, sums = audited("before")
    told = tell(demo, evidence={"sku": HANGS, "state": "tilted", "result": "touched"}, **TRIED_AT)
    after, changed = audited("after")
    tell(demo, retracts=told["observation"]["id"], reason="a slip", record="mnt_saltmarsh_own")
    assert before.pop((SCHOOL, HANGS)) == ("works", "")
    assert after.pop((SCHOOL, HANGS)) == ("conditional", "closure-cleared-when-tried")
    assert before == after and len(after) > 10
    for name, more in (("works", -1), ("conditional", 1), ("undetermined", 0), ("fails", 0)):
        assert changed["outcomes"][name] == sums["outcomes"][name] + more


def test_an_opened_closure_that_touched_matters_unless_it_stays_shut(demo: Any) -> None:
    """Asked whether it must open, that it touched counts; told that it need not, it does not."""
    client, _ = demo
    told = tell(demo, evidence={"sku": HANGS, "state": "tilted", "result": "touched"}, **TRIED_AT)
    shut, opened = ({"load": {"facts": {**BIKES["load"]["facts"], "needs_closure_open": one}}} for one in (False, True))
    assert set(everywhere(client, HANGS, shut)[0].values()) == {"works"}
    assert "works" not in everywhere(client, HANGS, opened)[0].values()
    tell(demo, retracts=told["observation"]["id"], reason="a slip", record="mnt_saltmarsh_own")


def test_a_newer_trial_settles_what_the_same_person_said_and_is_told(demo: Any) -> None:
    """Ann tries again and it clears: that holds, and both are told. What Bo tried does not answer for Ann."""
    client, _ = demo
    said = [tell(demo, evidence={"sku": HANGS, "state": "tilted", "result": "touched"}, **TRIED_AT)]
    for by, wanted in (("Bo", "conditional"), ("Ann", "works")):
        again = {**TRIED_AT, "at": "2026-03-05T09:30:00Z", "by": by}
        said.append(tell(demo, evidence={"sku": HANGS, "state": "tilted", "result": "clear"}, **again))
        found, answer = everywhere(client, HANGS)
        assert set(found.values()) == {wanted}
        assert any(f"it cleared, on 5 March 2026, by {by}" in one for one in answer["cautions"])
        assert any("it touched, and did not go, on 2 March 2026, by Ann" in one for one in answer["cautions"])
    for one in said:
        tell(demo, retracts=one["observation"]["id"], reason="a slip", record="mnt_saltmarsh_own")


def test_who_tries_again_settles_what_another_said_touched(demo: Any) -> None:
    """With a reason: then it holds what came of it now, by every way to ask."""
    client, _ = demo
    said = [tell(demo, evidence={"sku": HANGS, "state": "tilted", "result": "touched"}, **TRIED_AT)]
    again = {**TRIED_AT, "at": "2026-03-05T09:30:00Z", "by": "Bo", "settles": True, "reason": "both looked"}
    said.append(tell(demo, evidence={"sku": HANGS, "state": "tilted", "result": "clear"}, **again))
    assert said[1]["observation"]["takes_back"] != {}
    assert set(everywhere(client, HANGS)[0].values()) == {"works"}
    for one in reversed(said):
        tell(demo, retracts=one["observation"]["id"], reason="a slip", record="mnt_saltmarsh_own")


def test_what_touched_is_not_forgotten_for_what_was_tried_since(demo: Any) -> None:
    """Of what was tried a record carries along the latest twenty, and all that touched."""
    client, _ = demo
    told = [tell(demo, evidence={"sku": HANGS, "state": "tilted", "result": "touched"}, **TRIED_AT)]
    clear = {"sku": "TWIN", "state": "tilted", "result": "clear"}
    told += [tell(demo, evidence=clear, **{**TRIED_AT, "at": f"2026-03-{day}T09:30:00Z"}) for day in range(10, 31)]
    assert set(everywhere(client, HANGS)[0].values()) == {"conditional"}
    for one in told:
        tell(demo, retracts=one["observation"]["id"], reason="a slip", record="mnt_saltmarsh_own")


@pytest.mark.parametrize(
    ("evidence", "pointer", "help"),
    [
        ({"state": "folded", "result": "clear", "sku": "NONE"}, "/evidence/sku", "store it first"),
        ({"sku": "RACK", "state": "foldet", "result": "clear"}, "/evidence/state", "did you mean `folded`?"),
        ({"sku": "RACK", "state": "folded", "result": "ok"}, "/evidence/result", "`rubbed`"),
        ({"sku": "RACK", "state": "folded", "result": "touched", "gap": "1 in"}, "/evidence/gap", "leave it out"),
        ({"sku": "RACK", "state": "folded", "result": "clear", "gap": "1 lb"}, "/evidence/gap/value", "length"),
        ({"sku": "RACK", "state": "folded", "result": "clear", "how": "x"}, "/evidence/how", "`gap`"),
        (
            {"sku": "RACK", "state": "folded", "result": "clear", "through": 5},
            "/evidence/through",
            "SKU of the adapter",
        ),
    ],
)
def test_a_trial_that_cannot_be_read_says_why(yard: Any, evidence: Any, pointer: str, help: str) -> None:
    """Each with its place and what to write."""
    client, key = yard
    body = {"subject": "mounting", "record": "mnt_1", "evidence": evidence}
    response = client.post("/v1/observations", json=body, headers=key)
    found = response.json()["errors"]
    assert response.status_code in (400, 409, 422)
    assert [one["pointer"] for one in found] == [pointer]
    assert help in f"{found[0]['detail']} {found[0].get('help', '')}"


def test_trials_are_loaded_from_a_file(yard: Any, url: str, tmp_path: Path) -> None:
    """A row of a CSV file tells a trial as it is told over the wire."""
    file = tmp_path / "tried.csv"
    file.write_text(
        "subject,record,by,evidence_sku,evidence_state,evidence_result,evidence_gap\n"
        "mounting,mnt_1,Ann,RACK,folded,clear,1/2 in ± 1/8 in\n"
    )
    opened = Database(url)
    load_file(opened, FactReader(answerer().rulebook), file)
    opened.close()
    assert mounting(yard)["facts"]["pin_to_bumper"] == {"at_most": "3-5/8 in"}


def test_a_trial_that_went_keeps_the_published_figure_that_agrees_with_it(yard: Any) -> None:
    """Whoever keeps that it went loses nothing of what its maker tells; where it strikes at that, the trial counts."""
    assert tell(yard, facts={"pin_to_bumper": "3 in"}, kind="published", by="the maker")
    tried(yard, "clear", by="Ann")
    assert mounting(yard)["facts"]["pin_to_bumper"] == "3 in"
    assert mounting(yard)["provenance"]["pin_to_bumper"]["kind"] == "published"
    assert tell(yard, facts={"pin_to_bumper": "5 in"}, kind="published", by="the maker")
    assert mounting(yard)["facts"]["pin_to_bumper"] == {"at_most": "4 in"}
