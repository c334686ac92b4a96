"""Plans on the demo world: every set told works when asked again, and none is smaller by brute force."""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import pairwise, permutations, product
from random import Random
from typing import Any

import pytest
from demo_world import World, answerer, stock, world

from fitsvc.answers.question import read_question
from fitsvc.answers.shelf import Item, Stock, read_items
from fitsvc.engine.point import Point
from fitsvc.facts import Case
from fitsvc.language.problems import ProblemsFound
from fitsvc.language.truth import YES
from fitsvc.language.types import ListType
from fitsvc.planning.parts import fewest, stacked, tried_on
from fitsvc.planning.plan import Plan, PlanSet, encode
from fitsvc.planning.planner import Planner
from fitsvc.planning.search import MOST_WORK
from fitsvc.tried import ThingTried

BIKES = {"name": "four bikes", "load": {"facts": {"bikes": 4, "bike_weight": "40 lb"}}}
ONE_BIKE = {"load": {"facts": {"bikes": 1, "bike_weight": "20 lb"}}}
TWO_BIKES = {"load": {"facts": {"bikes": 2, "bike_weight": "30 lb"}}}
OPENS = {"load": {"facts": {"bikes": 2, "bike_weight": "30 lb", "needs_closure_open": True}}}
CARGO = {"load": {"facts": {"cargo_weight": "120 lb"}}}
CART = {"name": "the cart", "trailer": {"sku": "DUN-CART-612"}}
STEP = {"kind": "step"}
WISHES = (BIKES, TWO_BIKES, OPENS, CARGO, CART, STEP)
VEHICLES = tuple(one.key for one in world().of("vehicle"))
PLANNER = Planner(answerer())


def plan(vehicle: str, *wishes: Any, shelf: Stock | None = None, **more: Any) -> Plan:
    """Plan for a stored vehicle."""
    units = more.pop("system", "us")
    document = {"rig": {"vehicle": {"id": vehicle}}, "wishes": list(wishes), **more}
    return PLANNER.plan(document, world(), shelf or stock(), units)


def sets(found: Plan) -> list[PlanSet]:
    """Every set of a plan, the best first."""
    return [*([found.best] if found.best else []), *found.runners_up]


def best(found: Plan) -> PlanSet:
    """The best set, which there must be."""
    assert found.best is not None, found.summary
    return found.best


def parts(found: Plan, role: str) -> list[str]:
    """The SKUs of one role in the best set."""
    return [part.sku for part in best(found).parts if part.role == role]


@pytest.mark.parametrize("vehicle", VEHICLES)
def test_every_set_works_when_asked_again(vehicle: str) -> None:
    """Each question of each set gives, asked alone, the outcome and the words that the plan tells."""
    for wishes in ((BIKES,), (OPENS, CARGO), (TWO_BIKES, CART), (STEP, CART, CARGO)):
        for one in sets(plan(vehicle, *wishes)):
            told = [(served.question, served.outcome, served.summary) for served in one.wishes]
            for question, outcome, summary in told + [(pin.question, pin.outcome, pin.summary) for pin in one.pins]:
                answer = answerer().answer(question, world())
                assert answer.outcome in ("works", "conditional")
                assert (answer.outcome, answer.summary) == (outcome, summary)
            worst = {served.outcome for served in one.wishes}
            assert one.outcome == ("conditional" if "conditional" in worst else "works")


@pytest.mark.parametrize("vehicle", VEHICLES)
def test_what_does_as_well_does(vehicle: str) -> None:
    """A part put in another's place by the plan's word serves the same wishes."""
    for one in sets(plan(vehicle, TWO_BIKES, CART)):
        for part in one.parts:
            for other in part.others:
                for served in one.wishes:
                    changed = _swapped(served.question, part.sku, other)
                    assert answerer().answer(changed, world()).outcome in ("works", "conditional"), (part, other)


def _swapped(value: Any, old: str, new: str) -> Any:
    if isinstance(value, dict):
        return {name: _swapped(one, old, new) for name, one in value.items()}
    if isinstance(value, list):
        return [_swapped(one, old, new) for one in value]
    return new if value == old else value


def scarce(rng: Random) -> Stock:
    """A shelf with some of the demo's parts, so that adapters and pins matter."""
    kinds = ("bike_carrier", "cargo_carrier", "ball_mount", "adjustable_ball_mount", "step", "locking_pin")
    kind = answerer().rulebook.vocabulary.facts["accessory.kind"].type
    assert isinstance(kind, ListType)
    items: list[Item] = []
    for name in kinds:
        of_kind = stock().items("accessory", kind.mask(name))
        items += rng.sample(of_kind, min(4, len(of_kind)))
    items += rng.sample(stock().items("adapter"), 4) + rng.sample(stock().items("ball"), 8)
    return Stock(items, {vehicle: stock().receivers_for(vehicle) for vehicle in VEHICLES})


def ways(shelf: Stock, case: Case, kinds: int) -> Iterator[frozenset[str]]:
    """Every set of parts that serves one wish on one receiver, by judging all there are."""
    engine, reader = answerer().engine, answerer().reader
    for count in range(3):
        for stack in permutations(shelf.items("adapter"), count):
            adapted = replace(case, adapters=tuple(item.values for item in stack))
            pins = _pins(shelf, adapted)
            for item in shelf.items("accessory"):
                assert isinstance(item.kind, int)
                if item.kind & ~kinds:
                    continue
                facts = {**case.facts, **item.values}
                mounted = replace(adapted, facts=facts, present=case.present | {"accessory"} | reader.named(facts))
                verdict = engine.evaluate(mounted)
                open_needs = (engine.rulebook.needs[n].fills for n in verdict.open_needs)
                filled = {fills.subject for fills in open_needs if fills is not None}
                own = {item.sku, *(one.sku for one in stack)}
                pinned = pins if "accessory" in filled else []
                if pinned:
                    mounted = replace(mounted, facts={**facts, "receiver.pin_supplied": YES})
                for ball in shelf.items("ball") if "ball" in filled else [None]:
                    served = mounted
                    if ball:
                        served = replace(
                            mounted, facts={**mounted.facts, **ball.values}, present=mounted.present | {"ball"}
                        )
                    as_it_is = not pinned and not ball
                    if (verdict if as_it_is else engine.evaluate(served)).outcome in ("works", "conditional"):
                        balls = {ball.sku} if ball else set()
                        yield from (frozenset(own | balls | {pin}) for pin in pinned)
                        if not pinned:
                            yield frozenset(own | balls)


def _pins(shelf: Stock, case: Case) -> list[str]:
    """The pins that hold in an opening, as accessories of their own."""
    kind = answerer().rulebook.vocabulary.facts["accessory.kind"].type
    assert isinstance(kind, ListType)
    found = []
    for pin in shelf.items("accessory", kind.mask("locking_pin")):
        present = frozenset(name for name in case.present if name not in ("load", "trailer")) | {"accessory"}
        facts = {name: value for name, value in case.facts.items() if not name.startswith(("load.", "trailer."))}
        alone = replace(case, facts={**facts, **pin.values}, present=present)
        if answerer().engine.evaluate(alone).outcome in ("works", "conditional"):
            found.append(pin.sku)
    return found


def least(shelf: Stock, vehicle: str, wishes: Sequence[Any]) -> int | None:
    """The fewest parts that serve every wish, by trying them all."""
    sizes = []
    for mounting, receiver in shelf.receivers_for(vehicle):
        rig = {"vehicle": {"id": vehicle}, "receiver": {"id": receiver.key}, "mounting": {"id": mounting.key}}
        by_wish = []
        for wish in wishes:
            rest = {name: part for name, part in wish.items() if name in ("load", "trailer")}
            case = read_question({"rig": rig, **rest, "accessory": {}}, answerer().reader, world()).case
            case = replace(case, present=case.present - {"accessory"})
            by_wish.append(_smallest(set(ways(shelf, case, _kinds(wish)))))
        fitted = mounting.facts.get("fitted") in (True, "yes")
        sizes += [(not fitted) + len(frozenset().union(*chosen)) for chosen in product(*by_wish)]
    return min(sizes, default=None)


def _smallest(found: set[frozenset[str]]) -> list[frozenset[str]]:
    """The sets of which no part can be left out."""
    return [one for one in found if not any(other < one for other in found)]


def _kinds(wish: Any) -> int:
    kind = answerer().rulebook.vocabulary.facts["accessory.kind"].type
    assert isinstance(kind, ListType)
    load = wish.get("load", {}).get("facts", {})
    names = (
        ("step",)
        if "kind" in wish
        else ("bike_carrier",)
        if "bikes" in load
        else ("cargo_carrier", "enclosed_carrier")
        if "cargo_weight" in load
        else ("ball_mount", "adjustable_ball_mount")
    )
    return sum(kind.mask(name) for name in names)


@pytest.mark.parametrize("seed", [*range(40), 51])
def test_no_set_is_smaller(seed: int) -> None:
    """On a scarce shelf the smallest set has just as many parts as the smallest of all that there are."""
    rng = Random(seed)
    shelf = scarce(rng)
    vehicle, wishes = rng.choice(VEHICLES), rng.sample(WISHES, rng.choice((1, 2, 2, 3)))
    assert plan(vehicle, *wishes, shelf=shelf).fewest == least(shelf, vehicle, wishes), (vehicle, wishes)


def test_sets_are_ranked() -> None:
    """Fewer parts come first, then what works, then what leaves less open; a set that only adds to a better is none."""
    found = sets(plan("veh_bothy_2021", BIKES, CART))
    ranks = [(one.count, one.outcome == "conditional", one.open) for one in found]
    assert len(found) > 2
    assert ranks == sorted(ranks)
    skus = [{part.sku or part.id for part in one.parts} for one in found]
    assert not any(skus[i] < skus[j] for i in range(len(skus)) for j in range(i + 1, len(skus)))


def test_one_carrier_serves_two_wishes() -> None:
    """Two loads that one carrier takes are one part, on a receiver that is fitted already."""
    found = plan("veh_bothy_2021", BIKES, TWO_BIKES)
    assert (found.fewest, len(parts(found, "accessory"))) == (1, 1)


def test_an_adapter_joins_two_sizes() -> None:
    """Where nothing serves the opening as it is, a sleeve is part of the set and in the question."""
    found = plan("veh_oxter_2024", BIKES)
    assert parts(found, "adapter") == ["BTX-SLEEVE-25-2"]
    assert best(found).wishes[0].question["rig"]["adapters"] == [{"sku": "BTX-SLEEVE-25-2"}]


def test_a_ball_and_a_pin_come_with_a_mount_that_lacks_them() -> None:
    """A towing wish takes a ball of the coupler's size; where no pin is there, a pin that holds, proven by itself."""
    items = [one for subject in ("accessory", "ball") for one in stock().items(subject)]
    kept = [one for one in items if one.sku.startswith(("TUG-2-D", "RBL-2-", "LPN-58"))]
    facts = {"opening": "2 in", "pin_hole": "5/8 in", "pin_supplied": False, "tube_outside": "3 in"}
    facts |= {"trailer_rating": "5,000 lb", "tongue_rating": "500 lb"}
    rig = {"receiver": {"facts": facts}, "vehicle": {"facts": {"tow_rating": "5000 lb"}}}
    found = PLANNER.plan({"rig": rig, "wishes": [CART]}, world(), Stock(kept, {}))
    unread = PLANNER.plan({"rig": {**rig, "vehicle": {}}, "wishes": [CART]}, world(), Stock(kept, {}))
    assert unread.best is None and "First read the vehicle's trailer rating" in unread.summary
    assert [part.role for part in best(found).parts] == ["accessory", "ball", "pin"]
    assert found.fewest == 3
    assert best(found).wishes[0].question["rig"]["receiver"]["facts"]["pin_supplied"] is True
    pin = best(found).pins[0]
    assert answerer().answer(pin.question, world()).outcome == pin.outcome
    assert parts(found, "pin") == [pin.sku]


def test_impossible_wishes_say_why() -> None:
    """Without a set, every wish that stands in the way is told with the parts that come nearest and their answer."""
    found = plan("veh_dunlin_2022", BIKES, CART)
    assert (found.best, found.runners_up, found.fewest) == (None, [], None)
    assert found.summary.startswith("Nothing on the shelf serves every wish with one receiver. four bikes: No.")
    assert {miss.wish for miss in found.misses} == {0, 1}
    for miss in found.misses:
        answer = answerer().answer(miss.question, world())
        assert (answer.outcome, answer.summary) == (miss.outcome, miss.because)
        assert miss.outcome in ("fails", "undetermined")


def test_an_empty_shelf_says_so() -> None:
    """With nothing of the kind on the shelf the miss says just that."""
    found = plan("veh_bothy_2021", STEP, shelf=Stock((), {"veh_bothy_2021": stock().receivers_for("veh_bothy_2021")}))
    assert found.misses[0].because == "Nothing of the kind that would serve is on the shelf."


def test_a_vehicle_without_receivers_says_so() -> None:
    """A vehicle for which no mounting is stored gets no set."""
    found = plan("veh_bothy_2021", STEP, shelf=Stock(stock().items("accessory"), {}))
    assert (found.best, found.misses[0].because) == (None, "No receiver that mounts on this vehicle is stored.")


def test_the_budget_is_kept() -> None:
    """One part less than the smallest set takes is told as such; just as many gives the same best set."""
    free = plan("veh_bothy_2021", BIKES, CART)
    assert free.fewest is not None
    less = plan("veh_bothy_2021", BIKES, CART, parts_at_most=free.fewest - 1)
    assert (less.best, less.runners_up, less.fewest) == (None, [], free.fewest)
    assert less.summary == f"Not with {free.fewest - 1} parts: it takes at least {free.fewest}."
    just = plan("veh_bothy_2021", BIKES, CART, parts_at_most=free.fewest)
    assert just.best == free.best
    assert all(one.count <= free.fewest for one in sets(just))


def test_metric_words_and_the_same_parts() -> None:
    """Metric changes the figures told and nothing else."""
    us, metric = (plan("veh_dunlin_2022", BIKES, system=system) for system in ("us", "metric"))
    assert " kg " in metric.misses[0].because
    assert " lb " in us.misses[0].because
    assert [miss.question for miss in us.misses] == [miss.question for miss in metric.misses]


def test_the_same_wishes_give_the_same_bytes() -> None:
    """A plan does not depend on what was planned before."""
    document = {"rig": {"vehicle": {"id": "veh_oxter_2024"}}, "wishes": [BIKES, CART]}
    fresh = encode(Planner(answerer()).plan(document, world(), stock()))
    assert encode(PLANNER.plan(document, world(), stock())) == fresh == encode(PLANNER.plan(document, world(), stock()))


def test_a_saved_rig_keeps_its_adapters() -> None:
    """What is in a saved rig's opening stays there, and the receiver is the rig's own."""
    found = PLANNER.plan({"rig": {"id": "rig_quarry_oxter"}, "wishes": [BIKES]}, world(), stock())
    question = best(found).wishes[0].question
    assert question["rig"]["adapters"][0] == {"sku": "BTX-SLEEVE-25-2"}
    assert [part.role for part in best(found).parts] == ["accessory"]


def test_a_trailer_without_spring_bars_gets_a_plain_mount() -> None:
    """Weight distribution heads serve only where the trailer is towed with one, or that is not known."""
    assert not any(sku.startswith("EVK") for sku in parts(plan("veh_bothy_2021", CART), "accessory"))


BAD: list[tuple[Any, list[str], bool]] = [
    ([], [""], False),
    ({"wishes": []}, ["/rig", "/wishes"], False),
    ({"rig": {"vehicle": {"id": "veh_none"}}, "wishes": [STEP]}, ["/rig/vehicle/id"], True),
    ({"rig": {"vehicle": {"facts": {}}}, "wishes": [STEP]}, ["/rig"], True),
    ({"rig": {"receiver": {"facts": {"opening": "50 mm"}}}, "wishes": [STEP]}, ["/rig/receiver/facts/opening"], False),
    ({"rig": {"receiver": {}}, "wishes": [{}]}, ["/wishes/0"], True),
    ({"rig": {"receiver": {}}, "wishes": [{"lod": 1}]}, ["/wishes/0/lod"], False),
    ({"rig": {"receiver": {}}, "wishes": [{"kind": "bike_rack"}]}, ["/wishes/0/kind"], False),
    ({"rig": {"receiver": {}}, "wishes": [STEP, 7]}, ["/wishes/1"], False),
    ({"rig": {"receiver": {}}, "wishes": [{"kind": "step", "name": 7}]}, ["/wishes/0/name"], False),
    ({"rig": {"receiver": {}}, "wishes": [STEP, {"trailer": {"sku": "none"}}]}, ["/wishes/1/trailer/sku"], True),
    ({"rig": {"receiver": {}}, "wishes": [{"load": {"facts": {"bikes": "x"}}}]}, ["/wishes/0/load/facts/bikes"], False),
    ({"rig": {"receiver": {}}, "wishes": [STEP], "parts_at_most": 0}, ["/parts_at_most"], False),
    ({"rig": {"receiver": {}}, "wishes": [STEP], "parts_at_most": True}, ["/parts_at_most"], False),
    ({"rig": {"receiver": {}}, "wishes": [STEP], "part_at_most": 1}, ["/part_at_most"], False),
    (
        {"rig": {"receiver": {}}, "wishes": [{"load": {"facts": {"bikes": 1, "cargo_weight": "9 lb"}}}]},
        ["/wishes/0"],
        True,
    ),
]


@pytest.mark.parametrize(("document", "pointers", "meaning"), BAD)
def test_bad_wishes_are_problems_that_point(document: Any, pointers: list[str], meaning: bool) -> None:
    """Every fault is told with its place, and whether it is one of form or of meaning."""
    with pytest.raises(ProblemsFound) as found:
        PLANNER.plan(document, world(), stock())
    assert [problem.pointer for problem in found.value.problems] == pointers
    assert all(problem.meaning for problem in found.value.problems) == meaning
    assert all(problem.help for problem in found.value.problems)


def test_fewest_covers_each_place() -> None:
    """One that does everywhere is taken before two that do somewhere, whatever they cost; ties go to the cheaper."""
    assert fewest([{1: 0, 2: 5}, None, {3: 0, 2: 5}])[0] == [2, None, 2]
    assert fewest([{1: 3, 2: 1}])[0] == [2]
    assert fewest([{1: 0}, {2: 0}])[0] == [1, 2]
    assert fewest([{1: 1, 2: 1, 3: 2}])[1] == {1: [1, 2]}
    assert fewest([None]) == ([None], {})


@pytest.mark.parametrize(
    "coupling", [{"coupler_kind": "lunette_ring", "ring_diameter": "3 in"}, {"ring_diameter": "3 in"}]
)
def test_a_trailer_with_a_ring_gets_a_pintle_mount(coupling: dict[str, str]) -> None:
    """Common practice, no source: a lunette ring goes on a pintle hook; the set says which hook it takes yet."""
    trailer = {"gross_weight": "4000 lb", "tongue_weight": "480 lb", "weight_distribution": False, **coupling}
    rated = {
        "opening": "2 in",
        "hitch_class": "IV",
        "pin_hole": "5/8 in",
        "trailer_rating": "9000 lb",
        "tongue_rating": "900 lb",
    }
    rig = {"receiver": {"facts": rated}, "vehicle": {"facts": {"tow_rating": "9000 lb"}}}
    document = {"rig": rig, "wishes": [{"trailer": {"facts": trailer}}]}
    found = best(PLANNER.plan(document, world(), stock()))
    items = {item.sku: item for item in stock().items("accessory")}
    mounts = [items[part.sku] for part in found.parts if part.role == "accessory"]
    kind = answerer().rulebook.vocabulary.facts["accessory.kind"].type
    assert isinstance(kind, ListType)
    assert [mount.kind for mount in mounts] == [kind.mask("pintle_mount")]
    needs = {need["need"]: need for need in answerer().answer(found.wishes[0].question, world()).needs}
    assert needs["pintle_hook"]["ring"] == "3 in" and "ball" not in needs


def test_f16_a_plan_tells_what_it_assumes() -> None:
    """What each wish's own answer rests on that nobody measured stands in the plan, for every vehicle."""
    told = 0
    for vehicle in VEHICLES:
        for one in sets(plan(vehicle, TWO_BIKES)):
            for served in one.wishes:
                answer = answerer().answer(served.question, world())
                assert (served.assumed, served.disputed) == (answer.assumed, answer.disputed)
                told += len(served.assumed)
    assert told


def test_f17_the_nearest_miss_is_that_which_lacks_least() -> None:
    """Of the trays that 450 lb of cargo is too much for, the one that it is least too much for is told."""
    found = plan("veh_bothy_2021_long", {"name": "cargo", "load": {"facts": {"cargo_weight": "450 lb"}}})
    assert found.best is None
    trays = [miss for miss in found.misses if "too much" in miss.because]
    assert trays
    for miss in trays:
        weight = {}
        for item in stock().items("accessory"):
            question = {**miss.question, "accessory": {"sku": item.sku}}
            answer = answerer().answer(question, world())
            fails = [one for one in answer.findings if one.result == "fails" and one.severity == "blocking"]
            if len(fails) == 1 and fails[0].margin.endswith(" lb"):
                weight[item.sku] = float(fails[0].margin.removesuffix(" lb").replace(",", ""))
        assert weight[miss.parts[-1]] == min(weight.values())


def test_f17_the_nearest_of_a_large_shelf_is_told() -> None:
    """However many break as few rules: of two hundred trays that which bears most, in whatever order they stand."""
    one = next(record for record in world().records if record.key == "LLH-TRAY-60")
    wish = {"name": "cargo", "load": {"facts": {"cargo_weight": "600 lb"}}}
    for bears in (range(200, 400), range(400, 200, -1)):
        facts = [{**one.facts, "capacity": f"{pounds} lb"} for pounds in bears]
        trays = [replace(one, key=f"TRAY-{n:03}", facts=some) for n, some in enumerate(facts)]
        shop = World((*(record for record in world().records if record.subject != "accessory"), *trays), {})
        receivers = {vehicle: stock().receivers_for(vehicle) for vehicle in VEHICLES}
        shelf = Stock(read_items(answerer().reader, trays), receivers)
        document = {"rig": {"vehicle": {"id": "veh_bothy_2021_long"}}, "wishes": [wish]}
        found = PLANNER.plan(document, shop, shelf)
        assert found.best is None and found.misses
        assert {miss.parts[-1] for miss in found.misses} == {f"TRAY-{list(bears).index(max(bears)):03}"}


def test_f17_what_the_plans_own_sleeve_serves_is_no_miss() -> None:
    """No accessory told as a miss beside the best set holds with that set's adapters."""
    for vehicle in VEHICLES:
        found = plan(vehicle, TWO_BIKES, CART)
        adapters = [{"sku": sku} for sku in parts(found, "adapter")] if found.best else []
        for miss in found.misses if adapters else ():
            rig = {**miss.question["rig"], "adapters": adapters} if miss.question else None
            if rig is not None:
                answer = answerer().answer({**miss.question, "rig": rig}, world())
                assert answer.outcome not in ("works", "conditional"), (vehicle, miss)


def test_f22_the_shortest_of_what_does_as_well_is_best() -> None:
    """Two extensions that serve alike: the shorter one stands first, whatever it is called."""
    items = [item for item in stock().items("adapter") if "adapter.adds_length" in item.values]
    alike = 0
    for vehicle, wish in product(VEHICLES, (TWO_BIKES, ONE_BIKE)):
        found = sets(plan(vehicle, wish))
        for better, worse in pairwise(found):
            lengths = []
            for one in (better, worse):
                skus = {part.sku for part in one.parts if part.role == "adapter"}
                lengths.append(sum(item.values["adapter.adds_length"][0] for item in items if item.sku in skus))  # type: ignore[index, misc]  # an item's length is told as bounds
            if (better.count, better.open) == (worse.count, worse.open):
                assert lengths[0] <= lengths[1]
                alike += lengths[0] < lengths[1]
    assert alike


def test_a_plan_that_is_cut_short_says_so_and_claims_no_more() -> None:
    """With little work left what is told still works when asked again, and nothing is said of what was not tried."""
    document = {"rig": {"vehicle": {"id": "veh_oxter_2024"}}, "wishes": [BIKES, CART, CARGO]}
    whole = PLANNER.plan(document, world(), stock())
    assert whole.untried == 0 and whole.fewest is not None
    for most in (1, 60, 120, 400):
        found = Planner(answerer(), most).plan(document, world(), stock())
        assert found.untried and "more on the shelf than was tried" in found.summary, most
        assert not found.summary.startswith("Nothing")
        assert found.fewest is None or found.fewest >= whole.fewest
        for served in (served for one in sets(found) for served in one.wishes):
            assert answerer().answer(served.question, world()).outcome == served.outcome != "fails"


def test_adapters_of_which_nothing_is_known_cost_no_more_than_a_plan_may(monkeypatch: pytest.MonkeyPatch) -> None:
    """Six wishes behind four of them, over a receiver of which nothing is known: as many cases are judged at most."""
    judged, judge = Counter[int](), Point.evaluate

    def counted(self: Point, *given: Any, **named: Any) -> Any:
        judged[number] += 1
        return judge(self, *given, **named)

    monkeypatch.setattr(Point, "evaluate", counted)
    for number in (0, 1, 4):
        rig = {"receiver": {"facts": {}}, "adapters": [{"facts": {}}] * number}
        PLANNER.plan({"rig": rig, "wishes": list(WISHES)}, world(), stock())
    assert 0 < max(judged.values()) < MOST_WORK, judged


@pytest.mark.parametrize("vehicle", VEHICLES)
def test_on_the_demo_shelf_nothing_is_left_untried(vehicle: str) -> None:
    """Six wishes on a shop's shelf are within the work that a plan may take."""
    assert plan(vehicle, *WISHES).untried == 0


def test_what_does_as_well_leaves_the_same_open() -> None:
    """Each number named beside a mount comes to what the mount does, by the same rules, with the height open too."""
    told = {"opening": "2 in", "pin_hole": "5/8 in", "trailer_rating": "6000 lb", "tongue_rating": "600 lb"}
    pickup = {"body": "pickup", "tow_rating": "6000 lb", "tongue_rating": "600 lb"}
    rises = {one.sku: one.values.get("accessory.rise") for one in stock().items("accessory")}

    def open_of(question: dict[str, Any]) -> set[tuple[str, str]]:
        found = answerer().answer(question, world())
        return {(one.rule, one.result) for one in found.findings if one.result != "passes"}

    tried = 0
    for mounting in ({}, {"height": "16 in"}):
        rig = {"receiver": {"facts": told}, "vehicle": {"facts": pickup}, "mounting": {"facts": mounting}}
        found = PLANNER.plan({"rig": rig, "wishes": [{"trailer": {"sku": "DUN-CART-612"}}]}, world(), stock())
        for one in filter(None, (found.best, *found.runners_up)):
            (mount,), question = (part for part in one.parts if part.sku in rises), one.wishes[0].question
            for sku in mount.others:
                assert open_of({**question, "accessory": {"sku": sku}}) == open_of(question), (mount.sku, sku)
                assert mounting or rises[sku] == rises[mount.sku]
                tried += 1
    assert tried > 2


@pytest.mark.parametrize(
    ("row", "came"),
    [
        ((), "touched"),
        (("BTX-REACH-2-14",), "touched"),
        (("BTX-REACH-2-8",), "touched_through_these"),
        (("BTX-REACH-2-8", "BTX-REACH-2-14"), "touched"),
    ],
)
def test_what_was_tried_through_adapters_counts_behind_those_that_a_plan_adds(row: Sequence[str], came: str) -> None:
    """As in the question that the plan then tells: else it would tell one that fails as one that works."""
    reader, rack = answerer().reader, "SPK-TRUG-2"
    title = reader.rulebook.trials["folded"].title
    here = ThingTried(fact="pin_to_bumper", sku=rack, how=title, result="touched")
    case = Case({}, frozenset(), things=(here, replace(here, through="BTX-REACH-2-8")))
    found = stacked(case, reader, [Item("adapter", sku, sku, {}) for sku in row])
    fact = reader.vocabulary.facts["accessory.tried_here"]
    assert isinstance(fact.type, ListType) and found.row == row
    assert found.of_items == {rack: {fact.name: fact.type.mask(came)}}
    assert tried_on(found) == {rack, "BTX-REACH-2-8"}
