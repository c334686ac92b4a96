"""Plans whose wishes hold at the same time: all of a set hang in one receiver at once, and its question proves it."""

from typing import Any

import pytest
from demo_world import World, answerer
from several import BIKES, DUAL, MOUNT, RECEIVER, TRAILER, VEHICLE, rig, towbar

from fitsvc.answers.records import Stored
from fitsvc.answers.shelf import Stock, read_items
from fitsvc.answers.things import read_things
from fitsvc.drawing.several_view import several_view
from fitsvc.language.problems import ProblemsFound
from fitsvc.planning.plan import Plan
from fitsvc.planning.planner import Planner

TWO_BIKES = {"name": "two bikes", "load": {"facts": {"bikes": 2, "bike_weight": "35 lb"}}}
CART_FACTS = {**TRAILER, "gross_weight": "1500 lb", "tongue_weight": "150 lb"}
CART = {"name": "the cart", "trailer": {"facts": CART_FACTS}}
FAR = {"extension_allowed": True, "bikes_max": 4, "bike_weight_max": "60 lb", "obscures_plate": False, "width": "50 in"}
BALL = {"diameter": "2 in", "rating": "6000 lb", "shank_diameter": "1 in", "shank_length": "2 in"}
HOLE = {"ball_hole": "1 in", "platform_thickness": "3/4 in", "min_class": "I"}
PLANNER = Planner(answerer())


def shop(label: str = "350 lb", towing: str = "", **racks: str) -> tuple[World, Stock]:
    """Give a shop with a dual receiver of a rating, a ball mount with a ball, and racks by their weights."""
    sold: list[tuple[str, str, dict[str, Any]]] = [
        ("adapter", "TWIN", {**DUAL, "tongue_rating": label} | ({"trailer_rating": towing} if towing else {})),
        ("accessory", "MOUNT", {**MOUNT, **FAR, **HOLE}),
        ("ball", "BALL", BALL),
    ]
    sold += [("accessory", sku, {**BIKES, **FAR, "min_class": "I", "weight": weight}) for sku, weight in racks.items()]
    records = tuple(Stored(subject=subject, key=key, label=key, facts=facts) for subject, key, facts in sold)
    return World(records, {}), Stock(read_items(answerer().reader, records), {})


def plan(records: World, shelf: Stock, *wishes: Any, **more: Any) -> Plan:
    """Plan for a rig whose receiver is there, with nothing in it."""
    bare = {name: part for name, part in rig().items() if name != "adapters"}
    assert bare["vehicle"]["facts"] == VEHICLE and bare["receiver"]["facts"] == RECEIVER
    return PLANNER.plan({"rig": bare, "wishes": list(wishes), **more}, records, shelf)


def test_one_at_a_time_wants_no_dual_receiver() -> None:
    """Served one after the other, both wishes go into the bare receiver."""
    found = plan(*shop(RACK="50 lb"), TWO_BIKES, CART)
    assert found.best and "TWIN" not in {part.sku for part in found.best.parts} and found.best.together is None


def test_at_the_same_time_they_hang_in_a_dual_receiver() -> None:
    """The set has the dual receiver that holds both, and the question told is answered so when asked again."""
    records, shelf = shop(RACK="50 lb")
    found = plan(records, shelf, TWO_BIKES, CART, together="rear_receiver")
    assert found.best and {part.sku for part in found.best.parts} >= {"TWIN", "RACK", "MOUNT"}
    for one in (found.best, *found.runners_up):
        assert one.together is not None
        again = answerer().answer(one.together.question, records)
        assert again.outcome == one.together.outcome == one.outcome in ("works", "conditional")
        assert [thing.name for thing in again.together] == ["two bikes", "the cart"]
    assert found.best.together
    things = read_things(found.best.together.question, answerer().reader, records)
    drawing = several_view(answerer(), things)
    assert drawing and drawing.title == "Side view: bike carrier, ball mount"


@pytest.mark.parametrize(("weight", "serves"), [("120 lb", True), ("121 lb", False)])
def test_the_sum_decides_which_rack_it_is(weight: str, serves: bool) -> None:
    """70 lb of bikes, 150 of tongue and 10 of mount leave 120 lb of a label of 350 for the rack, no more."""
    found = plan(*shop(RACK=weight), TWO_BIKES, CART, together="rear_receiver")
    assert (found.best is not None) == serves
    assert serves or found.summary.endswith("no set of parts holds all of them at the same time.")


def test_why_nothing_serves_them_at_the_same_time_is_told() -> None:
    """What nearly does is told with its own reason: the dual receiver's label, or that one opening takes one shank."""
    records, shelf = shop(RACK="121 lb")
    found = plan(records, shelf, TWO_BIKES, CART, together="rear_receiver")
    nearest = found.misses[0]
    assert {"TWIN", "RACK", "MOUNT", "BALL"} == set(nearest.parts)
    again = answerer().answer(nearest.question, records)
    assert (again.outcome, again.summary) == (nearest.outcome, nearest.because)
    assert nearest.outcome == "fails" and "350 lb" in nearest.because
    single = tuple(one for one in records.records if one.key != "TWIN")
    found = plan(
        World(single, {}), Stock(read_items(answerer().reader, single), {}), TWO_BIKES, CART, together="rear_receiver"
    )
    assert "one opening takes one shank" in found.misses[0].because
    assert not found.untried


def test_a_dual_receiver_that_spoils_a_wish_is_told_of_too() -> None:
    """One that may pull nothing holds both and not the trailer: with its reason, not as if there were none for them."""
    records, shelf = shop(RACK="50 lb", towing="0 lb")
    found = plan(records, shelf, TWO_BIKES, CART, together="rear_receiver")
    first, *others = (miss for miss in found.misses if len(miss.parts) > 2)
    assert found.best is None and "TWIN" in first.parts
    assert answerer().answer(first.question, records).summary == first.because
    assert "0 lb" in first.because and "one opening takes one shank" not in first.because
    assert [one for one in others if "one opening takes one shank" in one.because]


def test_the_lighter_of_two_racks_is_taken() -> None:
    """Alike by themselves, only the lighter leaves enough for the trailer, and the heavier is never called as good."""
    found = plan(*shop(ANVIL="130 lb", FEATHER="40 lb"), TWO_BIKES, CART, together="rear_receiver")
    assert found.best
    rack = next(part for part in found.best.parts if part.sku in ("ANVIL", "FEATHER"))
    assert (rack.sku, rack.others) == ("FEATHER", [])


def test_it_is_said_which_receiver_holds_all_of_it() -> None:
    """A receiver is named, and there are several wishes."""
    for told, wishes in (("roof", (TWO_BIKES, CART)), (True, (TWO_BIKES, CART)), ("rear_receiver", (TWO_BIKES,))):
        with pytest.raises(ProblemsFound) as refused:
            plan(*shop(RACK="50 lb"), *wishes, together=told)
        assert [problem.pointer for problem in refused.value.problems] == ["/together"]


@pytest.mark.parametrize("place", ["towball", "step_bumper"])
def test_a_trailer_on_a_ball_in_place_takes_no_mount(place: str) -> None:
    """Where the ball is in place nothing on the shelf is its mount: the plan says what the trailer comes to without."""
    own = towbar(place)
    found = PLANNER.plan({"rig": own, "wishes": [CART]}, *shop(RACK="50 lb"))
    alone = answerer().answer({"rig": own, "trailer": CART["trailer"]})
    miss = found.misses[0]
    assert found.best is None and alone.outcome == miss.outcome == "conditional"
    assert miss.because == f"It takes no mount here. {alone.summary}" and miss.because in found.summary
    assert miss.parts == [] and "accessory" not in miss.question


def test_a_trailer_whose_mount_is_refused_is_not_told_to_take_none() -> None:
    """A receiver for carriers only refuses every mount, and a trailer whose weight nobody knows by itself is open."""
    bare = {name: part for name, part in rig(tow_rating="0 lb").items() if name != "adapters"}
    light = {name: wire for name, wire in CART_FACTS.items() if name not in ("gross_weight", "tongue_weight")}
    found = PLANNER.plan({"rig": bare, "wishes": [{"name": "the cart", "trailer": {"facts": light}}]}, *shop())
    assert found.best is None and found.misses[0].outcome == "fails"
    assert "no trailer at all" in found.misses[0].because
