"""The spare on a rear door: whose reach it is, how low another one hangs, and what it sweeps with its door.

Figures are common practice; those of tyres follow from their designations (ISO 4000-1, and TRA for flotation sizes).
"""

from typing import Any

import pytest
from demo_world import answerer, world
from judging import answer, result
from test_rules_safety import CARRIER

DOOR = {
    "vehicle.spare_location": "rear_door", "vehicle.spare_protrusion": "8 in", "vehicle.spare_bottom_height": "33 in",
    "vehicle.tyre": "255/60R18", "vehicle.rear_closure": "side_hinged", "mounting.height": "18 in",
    "mounting.pin_to_bumper": "2 in", "accessory.front_setback": "9 in", "accessory.stow_setback": "14 in",
    "accessory.front_height": "14 in", "accessory.top_height": "14 in", "accessory.lowest_drop": "3 in",
    "accessory.tilts_clear": False,
}  # fmt: skip
"""A carrier that stands up to 32 in, nearer than the spare reaches and below its lower edge."""
OPENED = {
    "vehicle.closure_hinge_height": "34 in", "vehicle.closure_length": "40 in", "vehicle.closure_hinge_offset": "28 in",
    "vehicle.closure_hinge_setback": "5 in", "load.needs_closure_open": True,
}  # fmt: skip


def _with(*more: dict[str, Any]) -> dict[str, Any]:
    facts = {**CARRIER, **DOOR}
    for one in more:
        facts |= one
    return facts


@pytest.mark.parametrize("told", ["35X12.50R17LT", "37X12.50R17LT", "235/75R17"])
def test_a_stock_spare_does_not_shrink_with_other_tyres_on_the_axles(told: str) -> None:
    """The carrier leaves 6-1/4 in, the stock spare takes 6-1/2 in: whatever is on the axles, that is no pass."""
    rig: dict[str, Any] = {
        "vehicle": {"id": "veh_mossback_2021_two", "facts": {"spare_bottom_height": "20 in"}},
        "receiver": {"id": "rcv_hookaby_tuck_3"},
        "mounting": {"facts": {"pin_to_bumper": "2-1/4 in", "height": "20 in"}},
        "spare": {"facts": {"tyre": "LT255/75R17", "stowed_where": "rear_door"}},
    }
    asked = {"rig": rig, "accessory": {"sku": "LLH-MESH-48"}, "load": {"facts": {"cargo_weight": "100 lb"}}}
    before = {one.rule: one.result for one in answerer().answer(asked, world()).findings}
    assert before["in-use-clears-door-spare"] == "fails"
    rig["vehicle"]["facts"] = {"tyre": told, "spare_bottom_height": "20 in"}
    after = answerer().answer(asked, world())
    found = {one.rule: one.result for one in after.findings}
    assert found["in-use-clears-door-spare"] != "passes"
    assert "vehicle.spare_protrusion" in {one.fact for one in after.disputed}
    # Measured as it hangs now, it is that for sure, and no less for the tyres that are wider than it.
    rig["vehicle"]["facts"]["spare_protrusion"] = "6-1/2 in"
    measured = {one.rule: one.result for one in answerer().answer(asked, world()).findings}
    assert measured["in-use-clears-door-spare"] != "passes"


@pytest.mark.parametrize(
    ("spare", "wanted"), [("255/60R18", "passes"), ("33X12.50R17LT", "fails"), ("37X12.50R17LT", "fails")]
)
def test_a_larger_spare_hangs_lower(spare: str, wanted: str) -> None:
    """A 37 in tyre on the hub of one of 30-1/16 in comes down by 3-1/2 in, to where the carrier stands."""
    facts = _with({"spare.tyre": spare, "spare.stowed_where": "rear_door"})
    assert result("in-use-clears-door-spare", facts) == wanted


def test_an_inch_is_wanted_below_the_spare_as_behind_it() -> None:
    """What passes below it by less is a thing to look at, not a plain pass."""
    assert result("close-under-door-spare", _with()) == "passes"
    assert result("close-under-door-spare", _with({"vehicle.spare_bottom_height": "32-1/16 in"})) == "fails"


@pytest.mark.parametrize(
    ("edge", "wanted"), [("32 in", "passes"), ("30 in", "fails"), (None, "undetermined"), ("36 in", "passes")]
)
def test_the_spare_swings_with_its_door(edge: str | None, wanted: str) -> None:
    """A door that ends 34 in up opens over a carrier of 32 in only where the spare on it hangs no lower."""
    facts = _with(OPENED, {"vehicle.spare_bottom_height": edge})
    assert result("closure-opens-past-accessory", facts) == wanted
    assert wanted != "fails" or answer(facts).outcome == "fails"


def test_where_the_spare_hangs_is_asked_before_a_low_carrier_passes() -> None:
    """With nothing said of the spare of an SUV whose door swings aside, it may hang there."""
    silent = _with(OPENED, {"vehicle.spare_location": None, "vehicle.spare_bottom_height": None})
    assert result("closure-opens-past-accessory", silent | {"vehicle.spare_protrusion": None}) == "undetermined"
    assert result("closure-opens-past-accessory", silent | {"vehicle.spare_location": "underbody"}) == "passes"


def test_the_spare_sweeps_the_jack() -> None:
    """A jack of 31 in stands below the door's edge of 34 in and in the way of the spare's of 28 in."""
    tows = {
        "accessory.kind": "ball_mount", "accessory.length": "10 in", "vehicle.spare_bottom_height": "28 in",
        "trailer.jack_behind_ball": "10 in", "trailer.jack_height": "31 in", "trailer.jack_width": "10 in",
    }  # fmt: skip
    facts = _with(OPENED, tows)
    assert result("closure-that-must-open-clears-jack", facts) == "fails"
    assert result("door-clears-jack", {**facts, "load.needs_closure_open": False}) == "fails"
    assert result("closure-that-must-open-clears-jack", {**facts, "vehicle.spare_bottom_height": "32 in"}) == "passes"


def test_a_spare_inside_says_that_the_own_one_comes_off() -> None:
    """That nothing is left on the door is taken, and told as taken."""
    words = "taken to come off the rear door"
    inside = answer(_with({"spare.tyre": "255/60R18", "spare.stowed_where": "inside"}))
    assert [one for one in inside.assumed if words in one]
    nowhere = answer(_with({"spare.tyre": "255/60R18", "spare.stowed_where": "none"}))
    assert not [one for one in nowhere.assumed if words in one]


def test_a_reach_that_nobody_measured_is_measured_before_anything_is_sold() -> None:
    """Where the spare surely hangs there, a tape decides; where nothing is told of one, it is a thing to look at."""
    told = _with({"vehicle.spare_protrusion": None, "vehicle.spare_bottom_height": None})
    assert answer(told).outcome == "undetermined"
    bounds = {"vehicle.spare_protrusion": {"at_least": "6 in", "at_most": "20 in"}}
    assert answer(_with(bounds, {"vehicle.spare_bottom_height": "30 in"})).outcome == "undetermined"
    silent = {**told, "vehicle.spare_location": None}
    assert result("door-spare-is-told", silent) == "undetermined"
    assert answer(silent).outcome == "conditional"


@pytest.mark.parametrize(
    ("edge", "wanted"), [("33 in", "works"), ({"at_most": "36 in"}, "undetermined"), (None, "undetermined")]
)
def test_an_edge_that_nobody_measured_is_no_firmer_than_one_within_bounds(edge: Any, wanted: str) -> None:
    """Less told never makes a firmer no: where the carrier may pass below the spare, the tape decides."""
    found = result("in-use-clears-door-spare", _with({"vehicle.spare_bottom_height": edge}))
    assert found == {"works": "passes"}.get(wanted, wanted)
    assert (answer(_with({"vehicle.spare_bottom_height": edge})).outcome == "undetermined") == (found == "undetermined")


@pytest.mark.parametrize("edge", ["60 in", "49 in", None])
def test_no_spare_hangs_above_what_stands_up_behind_it(edge: str | None) -> None:
    """A rack that ends 50 in up passes below no spare, whatever its lower edge is told to be, or not told."""
    facts = _with({"accessory.top_height": "32 in", "vehicle.spare_bottom_height": edge})
    assert result("in-use-clears-door-spare", facts) == "fails"


@pytest.mark.parametrize(("edge", "wanted"), [("33 in", "passes"), ("32 in", "fails"), (None, "undetermined")])
def test_what_does_not_fold_passes_below_the_spare_as_it_does_in_use(edge: str | None, wanted: str) -> None:
    """A tray whose folded state is the one in use, 32 in up: an inch under the spare is wanted."""
    tray = {"accessory.stow_setback": "9 in", "accessory.stow_height": "14 in", "vehicle.spare_bottom_height": edge}
    assert result("folded-clears-door-spare", _with(tray)) == wanted
    untold = {**tray, "accessory.stow_height": None}
    assert result("folded-clears-door-spare", _with(untold)) == "fails"


@pytest.mark.parametrize(("top", "wanted"), [("14 in", "passes"), ("15 in", "fails"), (None, "fails")])
def test_a_low_load_passes_below_the_spare(top: str | None, wanted: str) -> None:
    """A load 33 in up or of a height that nobody tells meets a spare that comes down to 33 in."""
    facts = _with({"load.front_setback": "9 in", "load.top_height": top})
    assert result("load-clears-door-spare", facts) == wanted


@pytest.mark.parametrize("unmeasured", ["vehicle.spare_bottom_height", "vehicle.spare_protrusion"])
def test_a_coupler_under_a_spare_that_nobody_measured_is_open(unmeasured: str) -> None:
    """The coupler stands up to 31 in, 4 in behind the bumper: what the tape says decides whether the two meet."""
    tows = {"accessory.kind": "ball_mount", "accessory.length": "9 in", "accessory.rise": "8 in"}
    told = {**tows, "vehicle.spare_bottom_height": "28 in"}
    assert result("coupler-clears-door-spare", _with(told)) == "fails"
    assert result("coupler-clears-door-spare", _with({**told, "vehicle.spare_bottom_height": "31 in"})) == "passes"
    open_ = _with({**told, unmeasured: None})
    assert result("coupler-clears-door-spare", open_) == "undetermined"
    assert answer(open_).outcome != "conditional"


def test_a_step_that_meets_the_spare_is_refused() -> None:
    """Steel within the spare's reach and above its lower edge; with the edge not known it is a thing to look at."""
    step = {"accessory.kind": "step", "accessory.top_height": "16 in"}
    assert answer(_with(step)).outcome == "fails"
    assert answer(_with({**step, "vehicle.spare_bottom_height": None})).outcome != "fails"
    assert answer(_with({**step, "accessory.top_height": "14 in"})).outcome != "fails"


@pytest.mark.parametrize(
    ("front", "wanted"), [("9-3/4 in", "undetermined"), ("11-1/2 in", "passes"), ("8-3/4 in", "fails")]
)
def test_a_reach_measured_beside_wide_tyres_may_be_that_of_the_narrow_spare(front: str, wanted: str) -> None:
    """Of 7 in, a 33X12.50R17LT in place of one 10 in wide stands up to 9-1/2 in behind the bumper."""
    wide = {
        "vehicle.tyre": "33X12.50R17LT", "spare.tyre": "33X12.50R17LT", "spare.stowed_where": "rear_door",
        "vehicle.spare_protrusion": "7 in", "accessory.front_setback": front, "accessory.top_height": "20 in",
    }  # fmt: skip
    assert result("in-use-clears-door-spare", _with(wide)) == wanted
