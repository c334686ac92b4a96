"""Laws of the engine: what it says holds for every completion of what is unknown, and ignorance is never a yes.

Random rulebooks are written without `span` here: its arguments are evidence from two sides, and a completion in
which they contradict each other has no value to be sound about. The shipped rulebook uses it, so there the
completions keep the two sides in order.
"""

from dataclasses import replace
from functools import cache
from random import Random

import pytest
from effort import EFFORT, tries
from hypothesis import given
from hypothesis import strategies as st
from interpreter import Reading, Texts, nodes, tree
from random_rulebooks import Made, completed, random_case, random_rulebook, shipped_rulebook

from fitsvc.facts import Case
from fitsvc.language import syntax
from fitsvc.language.checker import Names, check
from fitsvc.language.compiler import compile_values
from fitsvc.language.quantities import LENGTH, MASS
from fitsvc.language.source import Source
from fitsvc.language.truth import UNKNOWN, YES
from fitsvc.language.typed import TOLD
from fitsvc.language.types import TRUTH, ListType, NumberType
from fitsvc.rulebook.rules import Rule

BOOKS, CASES, COMPLETIONS = 60 * EFFORT, 8, 3
seeds = st.integers(min_value=0, max_value=2**32)


def guard_is_open(made: Made, rule: Rule, case: Case) -> bool:
    """Whether it is not known that a rule applies, by the specification."""
    return bool(rule.applies_text) and Reading(made.specification.texts, case).of(rule.applies_text) is None


def assert_sound(made: Made, case: Case, known_better: Case, trial: str) -> None:
    """Nothing that was settled may change when more is known."""
    before, after = made.engine.evaluate(case), made.engine.evaluate(known_better)
    if before.outcome in ("works", "fails"):
        assert after.outcome == before.outcome, f"{trial}: {before.outcome} became {after.outcome}"
    count = len(made.rulebook.rules)
    for rule, old, new in zip(made.rulebook.rules, before.results(count), after.results(count), strict=True):
        if old in (new, "undetermined"):
            continue
        freed = old == "passes" and new == "not_applicable" and guard_is_open(made, rule, case)
        assert freed, f"{trial}: {rule.id} {old} became {new}: {rule.applies_text} => {rule.requires_text}"


@tries(400)
@given(book=st.integers(0, BOOKS - 1), seed=seeds)
def test_more_knowledge_never_changes_what_was_settled(book: int, seed: int) -> None:
    """On random rulebooks a settled outcome or result survives any completion, step by step."""
    made, rng = random_rulebook(book, span=False), Random(seed)
    for number in range(CASES):
        case = random_case(rng, made)
        for step in range(COMPLETIONS):
            better = completed(rng, case, made, chance=rng.choice((0.2, 0.6, 1.0)))
            assert_sound(made, case, better, f"rulebook seed {book}, seed {seed}, case {number}, step {step}")
            case = better


@tries(400)
@given(seed=seeds)
def test_more_knowledge_never_changes_what_the_shipped_rules_settled(seed: int) -> None:
    """On the shipped rulebook too, where what fits and what does not keep their order."""
    rng, real = Random(seed), shipped_rulebook()
    case = in_order(random_case(rng, real), None)
    for step in range(COMPLETIONS):
        better = in_order(completed(rng, case, real, chance=rng.choice((0.1, 0.5, 1.0))), case)
        assert_sound(real, case, better, f"seed {seed}, step {step}")
        case = better


def evidence(texts: Texts, *expressions: str) -> list[tuple[syntax.AnyNode, syntax.AnyNode]]:
    """The two sides of every `span` in some expressions, and in the derived values they read."""
    found = []
    for node in (node for expression in expressions for node in nodes(tree(expression))):
        if isinstance(node, syntax.Call) and node.function == "span":
            found.append((node.arguments[0], node.arguments[1]))
        elif isinstance(node, syntax.Name) and node.name in texts.derived:
            found += evidence(texts, texts.derived[node.name])
    return found


@cache
def evidence_of_the_shipped() -> list[tuple[syntax.AnyNode, syntax.AnyNode]]:
    """The two sides of every `span` that the shipped rules rest on."""
    texts = shipped_rulebook().specification.texts
    return list(dict.fromkeys(evidence(texts, *(rule["requires"] for rule in texts.rules))))


def in_order(case: Case, before: Case | None) -> Case:
    """The case without evidence that contradicts itself: as it was said before, or not at all."""
    texts = shipped_rulebook().specification.texts
    older = before.facts if before is not None else {}
    reading = Reading(texts, case)
    for low, high in evidence_of_the_shipped():
        if reading.number(low)[0] > reading.number(high)[1]:
            names = {node.name for side in (low, high) for node in nodes(side) if isinstance(node, syntax.Name)}
            facts = {name: value for name, value in case.facts.items() if name not in names}
            case = replace(case, facts=facts | {name: older[name] for name in names if name in older})
    return case


@tries(400)
@given(seed=seeds)
def test_full_knowledge_leaves_no_shipped_rule_open(seed: int) -> None:
    """With every fact of a question known exactly, each shipped rule passes, fails or does not apply.

    Only what rests on a value between two others (`span`) stays open, as it should, and what reads evidence that is
    taken back because it contradicts itself. What a question knows of its adapters it names: a sleeve of which
    nobody tells a figure is taken to be anything that sleeves are.
    """
    rng, made = Random(seed), shipped_rulebook()
    case = completed(rng, random_case(rng, made), made, chance=1.0)
    told_of_adapters = {name for name in made.rulebook.named if name.startswith("adapter.")}
    case = replace(case, present=case.present | told_of_adapters)
    case = completed(rng, case, made, chance=1.0, exactly=True)
    told = in_order(case, None)
    taken_back = case.facts.keys() - told.facts.keys()
    results = made.engine.evaluate(told).results(len(made.rulebook.rules))
    open_rules = [rule for rule, of in zip(made.rulebook.rules, results, strict=True) if of == "undetermined"]
    texts = made.specification.texts
    left = [rule for rule in open_rules if not taken_back & rests_on(texts, rule.requires_text)]
    assert [rule.id for rule in left if not evidence(texts, rule.requires_text)] == []


def names_in(expression: str) -> set[str]:
    """The names that an expression reads itself."""
    return {node.name.removesuffix(TOLD) for node in nodes(tree(expression)) if isinstance(node, syntax.Name)}


def rests_on(texts: Texts, expression: str) -> set[str]:
    """The names that an expression reads, itself or in the derived values it reads."""
    names = names_in(expression)
    return names.union(*(rests_on(texts, texts.derived[name]) for name in names & texts.derived.keys()))


PLUGS = ListType("plug", ("none", "flat", "round"))
BORES = ListType("bore", ("1 in", "2 in"), (25.4, 50.8), LENGTH)
NAMES = Names(
    {
        "a.length": NumberType(LENGTH),
        "a.weight": NumberType(MASS, negative=False),
        "a.flag": TRUTH,
        "a.plug": PLUGS,
        "a.bore": BORES,
        "b.bore": BORES,
        "b.length": NumberType(LENGTH),
    },
    frozenset(("a", "b")),
    given=frozenset(("a.length", "a.flag")),
)


@pytest.mark.parametrize(
    "text",
    [
        "a.flag", "not a.flag", "a.flag == a.flag", "a.flag != yes", "a.flag or not a.flag", "known(a.flag)",
        "known(a.length)", "known(a.weight)", "known(a.plug)", "known(a.bore)", "known(a.length + b.length)",
        "a.length <= 100 in", "a.length > 0 in", "a.length == b.length", "a.length != b.length", "a.weight <= 1 lb",
        "a.weight > 0 lb", "a.plug == flat", "a.plug != flat", "a.plug in [flat, round]", "a.plug not in [flat]",
        "a.bore == b.bore", "a.bore != b.bore", "a.bore <= b.bore", "a.bore > 1 in", "abs(a.length) > 0 in",
        "a.length / b.length <= 1", "a.length * b.length >= 0 in * 1 in", "min(a.length, 1 in) == 1 in",
        "a.flag if a.flag else a.flag", "(a.length if a.flag else 1 in) == 1 in",
        "rear_axle_share(a.weight, a.length, b.length) <= 1 t",
    ],
)  # fmt: skip
def test_an_unknown_fact_never_gives_a_yes(text: str) -> None:
    """What nothing is known of settles no condition, not even that two unknown facts are the same."""
    node = check(Source.plain(text), NAMES, TRUTH)
    (value,) = compile_values([node], {})({}.get, frozenset(("a", "b")))
    assert value == UNKNOWN


@pytest.mark.parametrize(
    ("text", "yes"),
    [
        ("a.weight >= 0 lb", True),
        ("a.plug in [none, flat, round]", True),
        ("a.bore <= 2 in", True),
        ("a.bore > 2 in", False),
        ("abs(a.length) >= 0 in", True),
        ("present(a)", True),
        ("present(b)", False),
        ("present(a.flag)", True),
        ("not present(a.flag)", False),
        ("present(a.length)", False),
    ],
)
def test_what_holds_for_every_value_is_settled(text: str, yes: bool) -> None:
    """A condition that every possible value meets is a yes, and one that none meets a no."""
    node = check(Source.plain(text), NAMES, TRUTH)
    (value,) = compile_values([node], {})({}.get, frozenset(("a", "a.flag")))
    assert (value == YES) is yes and value != UNKNOWN
