"""How long a plan takes on 10,000 parts, on one core: `PYTHONPATH=tests python -m bench.bench_plans [COUNT]`.

The parts are the demo's, each in many variants that differ in a figure or two as colours, packs and makers'
years do; the same every time. All is compiled, as the service does before its first request. A first plan on a
shelf folds it; the plans after it find it folded. Plans are drawn at random, of up to six wishes, one at a time or all
at once, each asked once: the guide's table without a count; with COUNT, the slowest of so many are printed with what
they were, and some plans that are always the same.
"""

import sys
from collections.abc import Iterator, Mapping
from dataclasses import replace
from random import Random
from statistics import median
from time import process_time
from typing import Any

from demo_world import World, answerer, stock, world

from bench.measuring import SMALL, Group, Row, asked_for, once, show, taken
from fitsvc.answers.records import Stored
from fitsvc.answers.shelf import Stock, read_items
from fitsvc.answers.things import MOST_THINGS
from fitsvc.garbage import collected_seldom
from fitsvc.language.problems import ProblemsFound
from fitsvc.planning.plan import Plan
from fitsvc.planning.planner import Planner
from fitsvc.planning.reading import MOST_WISHES
from fitsvc.service.serving import COLLECTED

COUNT, DRAWN, SLOWEST = 10_000, 100, 6
ROUNDS = 9
COMMAND = "bench.bench_plans"
SOLD = ("accessory", "adapter", "ball")
VARIED = ("weight", "capacity", "length", "rear_extent", "rating", "tongue_rating", "trailer_rating", "shank_length")

FOUR_BIKES = {"load": {"facts": {"bikes": 4, "bike_weight": "40 lb"}}}
CARGO = {"load": {"facts": {"cargo_weight": "200 lb"}}}
OPENS = {"load": {"facts": {"bikes": 2, "bike_weight": "30 lb", "needs_closure_open": True}}}
TRAILER = {"trailer": {"sku": "DUN-CART-612"}}
STEP = {"kind": "step"}
PLANS: Mapping[str, tuple[str, list[Any], int | None]] = {
    "four bikes": ("veh_bothy_2021", [FOUR_BIKES], None),
    "bikes, a trailer, cargo": ("veh_muckle_2023_short", [FOUR_BIKES, TRAILER, CARGO], None),
    "six wishes": ("veh_bothy_2021", [FOUR_BIKES, TRAILER, CARGO, OPENS, STEP, {"kind": "ski_carrier"}], None),
    "only with a sleeve": ("veh_oxter_2024", [FOUR_BIKES, TRAILER, CARGO], None),
    "impossible": ("veh_dunlin_2022", [FOUR_BIKES, TRAILER, CARGO], None),
}


def variants(count: int) -> Iterator[Stored]:
    """So many parts: the demo's own, then variants of them."""
    rng = Random(20)
    own = [one for one in world().records if one.subject in SOLD]
    yield from own
    for number in range(count - len(own)):
        one = own[number % len(own)]
        facts = {name: _varied(rng, value) if name in VARIED else value for name, value in one.facts.items()}
        yield replace(one, key=f"{one.key}/{number}", label=f"{one.label}, variant {number}", facts=facts)


def _varied(rng: Random, value: Any) -> Any:
    """A figure a step or two off, most often as it is."""
    figure, _, unit = value.partition(" ") if isinstance(value, str) else ("", "", "")
    if not figure.isdigit() or unit not in ("lb", "in"):
        return value
    return f"{int(figure) + rng.choice((0, 0, 0, 1, 2, -1)) * (10 if unit == 'lb' else 1) * (int(figure) > 20)} {unit}"


def ten_thousand(count: int = COUNT) -> tuple[World, Stock]:
    """A shelf of so many parts, and the records behind it."""
    records = tuple(variants(count))
    others = tuple(one for one in world().records if one.subject not in SOLD)
    every = World((*others, *records), world().rigs)
    receivers = {one.key: stock().receivers_for(one.key) for one in others if one.subject == "vehicle"}
    return Indexed(every), Stock(read_items(answerer().reader, records), receivers)


class Indexed(World):
    """The world with its records found by key, as a store finds them."""

    def __init__(self, every: World) -> None:
        object.__setattr__(self, "records", every.records)
        object.__setattr__(self, "rigs", every.rigs)
        _KEYS.clear()
        _KEYS.update({one.key: one for one in every.records})

    def find(self, subject: str, key: str) -> Stored | None:
        """The record under an id or SKU."""
        return _KEYS.get(key)


_KEYS: dict[str, Stored] = {}


def drawn(count: int, seed: int = 1) -> Iterator[dict[str, Any]]:
    """Plans as many as asked for: a vehicle, and one to six wishes."""
    random = Random(seed)
    for _ in range(count):
        document = {"rig": {"vehicle": {"id": random.choice(world().of("vehicle")).key}}}
        wishes = [_wish(random) for _ in range(random.randint(1, MOST_WISHES))]
        at_once = {"together": "rear_receiver"} if random.random() < 0.3 and 2 <= len(wishes) <= MOST_THINGS else {}
        yield {**document, "wishes": wishes, **at_once}


def _wish(random: Random) -> dict[str, Any]:
    """Bikes, cargo, a trailer of the demo's, or a kind of accessory."""
    what = random.random()
    if what < 0.35:
        bikes = {"bikes": random.randrange(1, 6), "bike_weight": f"{random.randrange(20, 60)} lb"}
        return {"load": {"facts": bikes | ({"needs_closure_open": True} if random.random() < 0.3 else {})}}
    if what < 0.55:
        return {"load": {"facts": {"cargo_weight": f"{random.randrange(40, 500)} lb"}}}
    if what < 0.75:
        return {"trailer": {"sku": random.choice(world().of("trailer")).key}}
    return {"kind": random.choice(list(answerer().rulebook.vocabulary.words["accessory_kind"]))}


def _planned(
    planner: Planner, records: World, shelf: Stock, count: int, seed: int = 1
) -> list[tuple[float, Plan, int]]:
    """Plan what is drawn: the seconds it took, the plan, and how many wishes it had, the slowest first."""
    rows = []
    for document in drawn(count, seed):
        start = process_time()
        try:
            plan = planner.plan(document, records, shelf)
        except ProblemsFound:
            continue
        rows.append((process_time() - start, plan, len(document["wishes"])))
    return sorted(rows, key=lambda row: -row[0])


def _slowest(planner: Planner, records: World, shelf: Stock, count: int) -> None:
    """Plan what is drawn, and print the slowest."""
    rows = _planned(planner, records, shelf, count)
    print(f"{len(rows)} plans drawn at random; the slowest:")
    for took, plan, wishes in rows[:SLOWEST]:
        told = f"{plan.best.count} parts" if plan.best else "none"
        print(f"{took * 1e3:8.0f} ms  {wishes} wishes: {told}, {plan.untried} not tried")


def groups() -> Iterator[Group]:
    """The middle one and the slowest of plans drawn at random, each asked once."""
    records, shelf = ten_thousand()
    planner, count = Planner(answerer()), 6 if SMALL else 40
    answerer().prepare()
    planner.prepare()  # as the service does before its first request
    used, clock = once(lambda _: _planned(planner, records, shelf, 1, seed=2))
    with collected_seldom(*COLLECTED):
        times = [took for took, *_ in _planned(planner, records, shelf, count)]
    yield Group(
        f"A plan on {COUNT:,} parts, one to {MOST_WISHES} wishes: {count} drawn at random, each asked once",
        COMMAND,
        [
            Row("ours", "the middle one", taken(times)),
            Row("ours", "the slowest", taken(times[:1])),
            Row("ours", "one before these, the first on this shelf, which folds it", taken([used], [clock])),
        ],
        notes=[f"{len(times)} of them could be read."],
    )


def main() -> None:
    """Measure and print."""
    if not any(one.isdigit() for one in sys.argv[1:]):
        show(groups())
        return
    records, shelf = ten_thousand()
    answerer().prepare()
    Planner(answerer()).prepare()
    print(f"{COUNT} parts, one thread, processor time; first plan, then the median of {ROUNDS} more")
    for name, (vehicle, wishes, at_most) in PLANS.items():
        document = {"rig": {"vehicle": {"id": vehicle}}, "wishes": wishes, "parts_at_most": at_most}
        planner, times = Planner(answerer()), []
        for _ in range(ROUNDS + 1):
            start = process_time()
            plan = planner.plan(document, records, shelf)
            times.append(process_time() - start)
        outcome = f"{plan.best.count} parts, {plan.best.outcome}" if plan.best else "none"
        print(f"{name:<28}{times[0] * 1e3:8.0f} ms {median(times[1:]) * 1e3:8.0f} ms   {outcome}")
    _slowest(planner, records, shelf, asked_for(DRAWN))


if __name__ == "__main__":
    main()
