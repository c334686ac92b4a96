"""A heavier load, a lower rating or a longer extension never improves an outcome, but where a rule is meant so.

Those rules stand in `hazards.yaml` alone, as `agree`, and as `helps` those by which one fact may, with why each may:
the proofs of loads leave out the same.
"""

from collections import Counter
from dataclasses import replace
from random import Random
from typing import Final

from effort import NIGHTLY
from judging import Facts
from judging import case as judged_case
from part_known import Held, held, is_open, part_known, plausible, slots, spoilt, telling, told, working
from random_rulebooks import shipped_rulebook
from working_rigs import KINDS, random_rigs

from fitsvc.engine.examples import case_of
from fitsvc.engine.point import Point
from fitsvc.engine.verdict import Verdict
from fitsvc.facts import Case, FactReader
from fitsvc.language.quantities import MASS
from fitsvc.language.truth import YES
from fitsvc.language.types import NumberType
from fitsvc.rulebook.outcomes import OUTCOME_OF, OUTCOMES

PAIRS = 200_000 if NIGHTLY else 1_500
EACH, TIMES = 30, 4 if NIGHTLY else 1
"""So many figures of a question, at most, are made worse, each by itself, and so many times each."""
HEAVIER: Final = ("load.bikes", "adapter.adds_length")
LOWER: Final = ("accessory.bikes_max", "adapter.keeps_fraction", "receiver.d_value")
"""What counts as a load or length, or as a rating, beside the masses."""
RATINGS: Final = ("rating", "capacity", "gvwr", "gawr", "gcwr", "_max", "tyre.load")
"""How the names of masses that are ratings end, or what is in them; all others are loads."""


def improves(number: int, before: Verdict, after: Verdict) -> bool:
    """Whether a rule comes to something better."""
    places = []
    for verdict in (before, after):
        effects = [effect for effect in OUTCOME_OF if effect != "open_needs" and number in getattr(verdict, effect)]
        places.append(max((OUTCOMES.index(OUTCOME_OF[effect]) for effect in effects), default=0))
    return places[1] < places[0]


def figures() -> dict[str, int]:
    """The figures to make worse, by name: up where it is a load or a length, down where it is a rating."""
    found = {}
    for name, slot in slots().items():
        mass = isinstance(slot.kind, NumberType) and slot.kind.dimension == MASS
        if name in LOWER or (mass and any(word in name for word in RATINGS)):
            found[name] = -1
        elif name in HEAVIER or mass:
            found[name] = 1
    return found


def lowest(case: Case, of: Held) -> float:
    """A figure as it is told, or the lower end of it."""
    value = told(case, of)
    assert isinstance(value, tuple)
    return value[0]


def worse(rng: Random, case: Case, of: Held, way: int) -> Case | None:
    """The question with one figure somewhat or much worse; none where it can be no worse."""
    value, (low, high) = told(case, of), plausible(of[1])
    assert isinstance(value, tuple)
    far = (high if way > 0 else low) - value[0]
    changed = value[0] + far * rng.choice((rng.random(), rng.random() ** 4, 1.0))
    return telling(case, of, (changed, changed)) if changed != value[0] else None


def may_improve(engine: Point, name: str, case: Case) -> frozenset[str]:
    """The rules that may come to something better with this fact made worse: all of them where a condition holds."""
    book = engine.rulebook
    reliefs = [relief for relief in book.helps if relief.fact == name]
    values = engine.values(("helps", name), lambda: [one.when for one in reliefs if one.when is not None])
    if YES in values.of(engine.opened(case)):
        return frozenset(rule.id for rule in book.rules)
    return book.agree.union(*(relief.rules for relief in reliefs))


def drawn(rng: Random) -> Case:
    """A question known in part or in full, or now and then one that is a plain yes."""
    if (way := rng.random()) < 0.1:
        return next(random_rigs(rng, rng.choice([*KINDS]), 1)).case
    return part_known(rng) if way < 0.4 else spoilt(rng, working(rng), rng.choice((0, 1, 4, 8)))


def test_heavier_lower_or_longer_never_improves_an_outcome() -> None:
    """Over random pairs of a question and the same with one figure worse, known in full or in part."""
    rng, engine, ways = Random(None if NIGHTLY else 7), shipped_rulebook().engine, figures()
    rules = engine.rulebook.rules
    pairs, from_, allowed = 0, Counter[str](), Counter[str]()
    while pairs < PAIRS:
        case = drawn(rng)
        before = engine.evaluate(case)
        known = [of for of in held(case) if of[1] in ways and not is_open(case, of)]
        for of in TIMES * rng.sample(known, min(len(known), EACH)):
            other = worse(rng, case, of, ways[of[1]])
            if other is None:
                continue
            pairs, after = pairs + 1, engine.evaluate(other)
            from_[before.outcome] += 1
            if OUTCOMES.index(after.outcome) < OUTCOMES.index(before.outcome):
                better = {rules[n].id for n in range(len(rules)) if improves(n, before, after)}
                assert better and better <= may_improve(engine, of[1], case), (
                    f"{of}: {told(case, of)} to {told(other, of)}: {before.outcome} became {after.outcome} by {better}"
                )
                allowed.update(better)
    print(f"{pairs} pairs, from {dict(from_)}; better by: {dict(allowed)}")
    assert min(from_["conditional"], from_["undetermined"], from_["fails"]) > PAIRS / 40 and from_["works"]


def extended(case: Case, inches: float) -> Case:
    """The question with one more extension in the receiver, ahead of what is there."""
    one: Facts = {"kind": "extension", "adds_length": f"{inches} in"}
    (adapter,) = judged_case({}, [one]).adapters
    return replace(case, adapters=(adapter, *case.adapters))


def test_each_fact_helps_by_each_rule_that_is_named_for_it() -> None:
    """No line outlives its need: in some example of each rule, more of the fact comes to something better."""
    book, engine, ways = shipped_rulebook().rulebook, shipped_rulebook().engine, figures()
    reader, numbers = FactReader(book), {rule.id: n for n, rule in enumerate(book.rules)}
    named = [(relief.fact, rule) for relief in book.helps for rule in relief.rules]
    assert named
    for fact, rule in named:
        number = numbers[rule]
        cases = [case_of(one, reader) for one in book.examples[rule]]
        if fact.startswith("adapter."):
            pairs = [(extended(case, 0), extended(case, inches)) for case in cases for inches in (2, 8, 20)]
        else:
            low, high = plausible(fact)
            of, (end, share) = (None, fact), (high, 1.25) if ways[fact] > 0 else (low, 0.8)
            cases = [case for case in cases if fact in case.facts]
            pairs = [
                (case, telling(case, of, (figure, figure)))
                for case in cases
                for figure in (end, lowest(case, of) * share)
            ]
        why = f"more of `{fact}` helps by `{rule}` in none of {len(cases)} examples: take it out of `helps`"
        verdicts = ((engine.rule_by_rule(before), engine.rule_by_rule(after)) for before, after in pairs)
        assert any(improves(number, before, after) for before, after in verdicts), why


LIFTED: Final[Facts] = {
    "receiver.tongue_rating": "300 lb",
    "trailer.empty_tongue_weight": "400 lb",
    "trailer.coupler_to_axle": "100 in",
    "trailer.coupler_to_cargo": "150 in",
}
"""A trailer that is too heavy on the ball, and what lies behind its axle takes weight off."""
BY_LABEL: Final[Facts] = {
    "accessory.kind": "bike_carrier",
    "accessory.weight": "60 lb",
    "accessory.bikes_max": 4,
    "accessory.length": "20 in",
    "mounting.pin_to_bumper": "4 in",
    "vehicle.rear_overhang": "34 in",
    "vehicle.wheelbase": "120 in",
    "vehicle.curb_weight_rear": "2000 lb",
    "vehicle.gawr_rear": "2400 lb",
    "beside.hangs_on": "rear_receiver",
    "beside.on_rear_axle": "0 lb",
    "beside.adapters": "0 lb",
}
"""A bike carrier for which no bikes are named, and the rear axle bears some of what its label allows."""


def test_what_helps_under_a_condition_does_help_there() -> None:
    """By a rule that no line names: so that no condition outlives its need."""
    book, engine = shipped_rulebook().rulebook, shipped_rulebook().engine
    pairs = {
        "trailer.cargo_weight": (LIFTED, "100 lb", "400 lb"),
        "accessory.bike_weight_max": (BY_LABEL, "60 lb", "20 lb"),
    }
    assert {relief.fact for relief in book.helps if relief.when is not None} == pairs.keys()
    for fact, (facts, first, then) in pairs.items():
        before, after = (engine.rule_by_rule(judged_case({**facts, fact: told})) for told in (first, then))
        better = {rule.id for number, rule in enumerate(book.rules) if improves(number, before, after)}
        assert better - book.agree, (fact, better)
