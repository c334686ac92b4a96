"""Rules as terms come to what the engine makes of them, and what the solver is told of a formula is true of it."""

from collections.abc import Iterable
from dataclasses import replace
from fractions import Fraction
from math import inf
from random import Random

import pytest
from effort import NIGHTLY
from part_known import spoilt, working
from random_rulebooks import random_case, random_rulebook, shipped_rulebook
from term_values import Plain, TermValues, as_fraction

from fitsvc.engine.point import Point
from fitsvc.facts import Case
from fitsvc.language.types import Value, is_exact
from fitsvc.proving.applications import Application
from fitsvc.proving.cases import case_of, tyre_values
from fitsvc.proving.facts import TYRES
from fitsvc.proving.functions import UntranslatedError
from fitsvc.proving.pieces import PIECES
from fitsvc.proving.terms import ENDLESS, SolverTerm, Variables
from fitsvc.proving.world import World
from fitsvc.rulebook.rules import Need, Rule

CASES = 3_000 if NIGHTLY else 30
POINTS = 20_000 if NIGHTLY else 100


def exactly_told(rng: Random, case: Case, world: World) -> Case:
    """The case without what is told in part, of figures within their ranges, and with tyres that are real ones."""
    slots, vocabulary = world.facts.slots, world.rulebook.vocabulary

    def told(facts: dict[str, Value]) -> dict[str, Value]:
        found: dict[str, Value] = {}
        for name, value in facts.items():
            fact = vocabulary.fact_of(name)
            if fact is None or fact.tyre or not is_exact(slots[name], value):
                continue
            if isinstance(value, tuple):
                assert fact.range
                size = float(round(value[0])) if fact.kind == "count" else value[0]
                value = (min(max(size, fact.range[0]), fact.range[1]),) * 2
            found[name] = value
        return found

    subjects = {*case.present} & vocabulary.subjects.keys()
    facts = {name: value for name, value in told(dict(case.facts)).items() if name.partition(".")[0] in subjects}
    for fact in vocabulary.facts.values():
        if fact.tyre and fact.subject in subjects and rng.random() < 0.5:
            facts |= tyre_values(fact.name, rng.choice(TYRES))
    adapters = [told(dict(adapter)) for adapter in (*case.adapters, {}, {})[: world.adapters]]
    return case_of(world.facts, facts, subjects, adapters)


def hold_to_the_engine(world: World, engine: Point, case: Case) -> bool:
    """Whether a case was compared, rule by rule and need by need; not where two figures are all but the same."""
    rules, values = world.rulebook.rules, TermValues(world, case)
    verdict = engine.rule_by_rule(case)
    found = []
    for rule in rules:
        one = world.judged(rule)
        of = {"fails": one.fails, "passes": one.passes, "undetermined": one.open}
        said = [word for word, term in of.items() if values.truth(term)] or ["not_applicable"]
        assert len(said) == 1, rule.id
        found += said
    needs = [values.truth(world.open_need(need)) for need in world.rulebook.needs]
    if not values.near:
        rows = zip((rule.id for rule in rules), found, verdict.results(len(rules)), strict=True)
        differ = [row for row in rows if row[1] != row[2]]
        assert not differ, f"{differ}; {case}"
        assert [number for number, is_open in enumerate(needs) if is_open] == sorted(verdict.open_needs), case
        assert values.truth(world.works) == (verdict.outcome == "works")
    return not values.near


@pytest.mark.parametrize("adapters", [0, 1, 2])
def test_terms_come_to_what_the_engine_says(adapters: int) -> None:
    """Rule by rule the same, on rigs that work with some facts spoilt, and on random ones."""
    made, rng, held = shipped_rulebook(), Random(adapters), 0
    world = World(made.rulebook, adapters)
    _ = world.works
    for number in range(CASES):
        case = spoilt(rng, working(rng), rng.choice((0, 1, 3, 9))) if number % 10 == 0 else random_case(rng, made)
        held += hold_to_the_engine(world, made.engine, exactly_told(rng, case, world))
    assert held > CASES / 2


@pytest.mark.parametrize("seed", range(40 if NIGHTLY else 6))
def test_terms_of_any_rulebook_come_to_what_the_engine_says(seed: int) -> None:
    """The same by random rulebooks, which write all that the language has."""
    made, rng = random_rulebook(seed), Random(seed)
    whole = World(made.rulebook, seed % 3)
    rules = tuple(rule for rule in made.rulebook.rules if is_translated(whole, rule))
    needs = tuple(need for need in made.rulebook.needs if is_translated(whole, need))
    rulebook = replace(made.rulebook, rules=rules, needs=needs)
    assert len(rulebook.rules) > len(made.rulebook.rules) / 2
    world, engine = World(rulebook, seed % 3), Point(rulebook)
    _ = world.works
    for _ in range(20):
        hold_to_the_engine(world, engine, exactly_told(rng, random_case(rng, made), world))


def is_translated(world: World, one: Rule | Need) -> bool:
    """Whether a rule or need is put into terms; a product of two figures that may both be below zero is not."""
    try:
        _ = world.judged(one) if isinstance(one, Rule) else world.open_need(one)
    except UntranslatedError:
        return False
    return True


def random_argument(rng: Random) -> Fraction:
    """A figure such as facts have, often nothing or one without end."""
    far = rng.choice((1.0, 3.0, 100.0, 5_000.0))
    chosen = rng.choice((0.0, inf, rng.uniform(0.0, far), rng.uniform(0.0, far), rng.uniform(0.0, far)))
    return as_fraction(chosen)


def within(name: str, at: list[Fraction]) -> list[Fraction]:
    """Arguments as a formula is given them: no clearance is least at a height without end, or most so far behind."""
    if not name.endswith("clearance"):
        return at
    open_at = (0, 4) if name == "lowest_clearance" else (1, 2, 4)
    at = [x if place in open_at or x < ENDLESS else Fraction(1) for place, x in enumerate(at)]
    return [*at[:3], *sorted(at[3:])]


def holds_as_floats_round(values: Plain, lemma: SolverTerm, uses: Iterable[Application]) -> bool:
    """Whether what is said is true of the formulas' values, or of ones that differ by no more than floats round."""
    for nudge in (0, 1, -1):
        nudged = Plain()
        nudged.known = dict(values.known)
        for one in uses:
            nudged.known[one.value] = values.number(one.value) * (1 + Fraction(nudge, 10**12))
        if nudged.truth(lemma):
            return True
    return False


@pytest.mark.parametrize("name", PIECES)
def test_what_is_said_of_a_formula_is_true(name: str) -> None:
    """Bounds, points told at first, what is learnt at a point and the order of two uses hold at every argument."""
    rng, piece, made = Random(name), PIECES[name], Variables()
    uses = []
    for _ in range(2):
        args = tuple(made.number("argument") for _ in piece.moves)
        uses.append(Application(piece, args, made.number("value")))
    always = [lemma for one in uses for lemma in one.always()] + uses[0].beside(uses[1])
    for _ in range(POINTS):
        values = Plain()
        for one in uses:
            at = [random_argument(rng) for _ in one.args]
            at = within(name, at)
            values.known |= dict(zip(one.args, at, strict=True))
            values.known[one.value] = as_fraction(piece.at(at))
        learnt = uses[0].learnt([values.number(arg) for arg in uses[1].args])
        wrong = [lemma for lemma in (*always, *learnt) if not holds_as_floats_round(values, lemma, uses)]
        assert not wrong, [[float(values.known[term]) for term in (*one.args, one.value)] for one in uses]
