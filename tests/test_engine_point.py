"""The engine gives exactly what the specification gives, on random rulebooks and on the real one."""

from math import isclose
from random import Random
from typing import get_args

import pytest
from effort import NIGHTLY
from interpreter import Judged, nodes, tree
from random_rulebooks import Made, nodes_of, random_case, random_rulebook, shipped_rulebook

from fitsvc.engine.limits import limits_of
from fitsvc.engine.point import Point
from fitsvc.facts import Case
from fitsvc.language import syntax, typed

BLOCKS, BOOKS, CASES = 10, 500 if NIGHTLY else 8, 80
"""Random trials: blocks of rulebooks, each judged on so many cases (6,400 in all, or 400,000 by night)."""
REAL_CASES = 100_000 if NIGHTLY else 600
"""Beside these each shipped rule has its examples and its thresholds, which hold it case by case."""


def engine_judged(made: Made, case: Case) -> Judged:
    """What the engine says, in the specification's words."""
    verdict, rules = made.engine.evaluate(case), made.rulebook.rules
    results = [(rule.id, result) for rule, result in zip(rules, verdict.results(len(rules)), strict=True)]
    limits = {
        name: (low.at_most, low.governs.name if low.governs else "", tuple(low.unknown))
        for name, low in limits_of(made.engine, case).items()
    }
    return Judged(verdict.outcome, results, [made.rulebook.needs[i].id for i in sorted(verdict.open_needs)], limits)


def assert_agree(made: Made, case: Case, trial: str) -> None:
    """Hold the engine to the specification on one case; `trial` tells how to make the case again."""
    found, wanted = engine_judged(made, case), made.specification.judge(case)
    different = [
        (rule.id, ours, theirs, rule.applies_text, rule.requires_text)
        for rule, (_, ours), (_, theirs) in zip(made.rulebook.rules, found.results, wanted.results, strict=True)
        if ours != theirs
    ]
    assert not different, f"{trial}: rule, engine's result, specification's, texts: {different}; {case}"
    assert (found.outcome, found.results) == (wanted.outcome, wanted.results), trial
    assert found.open_needs == wanted.open_needs, trial
    assert {name: of[1:] for name, of in found.limits.items()} == {n: of[1:] for n, of in wanted.limits.items()}, trial
    for name, (at_most, _, _) in found.limits.items():
        assert same_figure(at_most, wanted.limits[name][0]), f"{trial}: {name}"


def same_figure(a: float | None, b: float | None) -> bool:
    """Equal, but for the rounding of sums and products formed in another order."""
    return a == b or (a is not None and b is not None and isclose(a, b, rel_tol=1e-12, abs_tol=1e-9))


def test_every_kind_of_node_is_put_to_the_test() -> None:
    """The random rulebooks leave no kind of node out, as written or as checked."""
    written: set[type] = set()
    checked: set[type] = set()
    for seed in range(20):
        made = random_rulebook(seed)
        texts = made.specification.texts
        each = [*texts.derived.values(), *texts.bare.values(), *texts.each.values()]
        each += [rule["requires"] for rule in texts.rules]
        written |= {type(node) for text in each for node in nodes(tree(text))}
        checked |= {type(node) for node in nodes_of(made.rulebook)}
    assert written == set(get_args(syntax.AnyNode))
    assert checked == set(get_args(typed.AnyTyped))


@pytest.mark.parametrize("block", range(BLOCKS))
def test_random_rulebooks_agree(block: int) -> None:
    """On random rulebooks every rule, need, limit and outcome is what the specification says."""
    for seed in range(block * BOOKS, (block + 1) * BOOKS):
        made, rng = random_rulebook(seed), Random(seed)
        for number in range(CASES):
            assert_agree(made, random_case(rng, made), f"rulebook seed {seed}, case {number}")


@pytest.mark.parametrize("seed", range(5))
def test_the_real_rulebook_agrees(seed: int) -> None:
    """On the rulebook that is shipped, too."""
    rng, real = Random(seed), shipped_rulebook()
    for number in range(REAL_CASES // 5):
        assert_agree(real, random_case(rng, real), f"real rulebook, seed {seed}, case {number}")


def test_a_rule_alone_is_judged_as_among_all() -> None:
    """Each shipped rule compiled by itself comes to the same, with adapters in the receiver too, whatever it reads."""
    rng, real = Random(4), shipped_rulebook()
    numbers, adapted = range(len(real.rulebook.rules)), 0
    for _ in range(40):
        case = real.engine.opened(random_case(rng, real))
        adapted += bool(case.adapters)
        assert [real.engine.judge(one, case) for one in numbers] == real.engine.rule_by_rule(case).results(len(numbers))
    assert adapted > 10
    assert 0 < sum(map(real.engine.rule_adapts, numbers)) < len(numbers)


def test_what_is_asked_first_changes_nothing() -> None:
    """Until a case is about more than the first, only rules about the first are compiled: each comes to the same."""
    narrower = wider = 0
    for seed in range(20):
        made, rng = random_rulebook(seed), Random(seed)
        cases = [random_case(rng, made) for _ in range(20)]
        whole = Point(made.rulebook)
        whole.prepare()
        for first, *later in zip(cases[::4], cases[1::4], cases[2::4], cases[3::4], strict=True):
            fresh = Point(made.rulebook)
            for case in (first, *later):
                assert fresh.evaluate(case) == whole.evaluate(case), f"rulebook seed {seed}"
            narrower += sum(one.present < first.present for one in later)
            wider += any(one.present > first.present for one in later)
    assert min(narrower, wider) > 5


def test_random_trials_are_not_idle() -> None:
    """The random cases come to every outcome and every result, each often enough to tell engines apart."""
    outcomes: dict[str, int] = {}
    results: dict[str, int] = {}
    for seed in range(40):
        made, rng = random_rulebook(seed), Random(seed)
        for _ in range(CASES):
            found = engine_judged(made, random_case(rng, made))
            outcomes[found.outcome] = outcomes.get(found.outcome, 0) + 1
            for _, result in found.results:
                results[result] = results.get(result, 0) + 1
    assert min(results.get(name, 0) for name in ("passes", "fails", "undetermined", "not_applicable")) > 500
    assert min(outcomes.get(name, 0) for name in ("works", "conditional", "undetermined", "fails")) > 20
