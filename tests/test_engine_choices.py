"""By cases: where each value of one open choice fails by some rule, it is no, and more knowledge keeps it so."""

from dataclasses import replace
from itertools import islice
from random import Random

import numpy as np
import pytest
from effort import EFFORT
from judging import answer, answerer, case
from random_rulebooks import Made, completed, narrower, random_case, random_rulebook, shipped_rulebook
from test_engine_columns import assert_agree, joined, rest, split

from fitsvc.engine.columns.bitmaps import unpack
from fitsvc.engine.columns.kernel import Columns
from fitsvc.engine.verdict import Verdict
from fitsvc.facts import Case
from fitsvc.language.types import ListType, Mask, NumberType, TruthType
from fitsvc.rulebook.outcomes import OUTCOME_OF, OUTCOMES
from fitsvc.selection.results import codes_of

SPRING_BARS = {
    "accessory.kind": "weight_distribution_head",
    "receiver.trailer_rating": "5000 lb",
    "receiver.trailer_rating_wd": "8000 lb",
    "receiver.weight_distribution_allowed": False,
    "trailer.gross_weight": "5400 lb",
}
"""Without weight distribution the trailer is too heavy for the receiver, which allows none."""
NIGHTS, RIGS, ITEMS = 12 * EFFORT, 12, 24
MOOT = (18, 20, 22)
"""Seeds of rulebooks by which much is moot."""


def open_choices(rng: Random, made: Made, one: Case, chance: float) -> Case:
    """The case with some choices open, between some of their values or all."""
    facts = dict(one.facts)
    for name, slot in (pair for slots in made.slots.values() for pair in slots.items()):
        if not isinstance(slot.kind, NumberType) and name in facts and rng.random() < chance:
            facts[name] = slot.kind.unknown
            if isinstance(slot.kind, ListType) and rng.random() < 0.5:
                facts[name] = Mask(rng.randint(1, slot.kind.unknown))
    return replace(one, facts=facts)


def mostly_known(rng: Random, made: Made) -> Case:
    """A case with every figure and most choices known, which hardly any rule fails: what is left open may decide."""
    everything = completed(rng, random_case(rng, made), made, chance=1.0, exactly=True)
    slots = {name: slot for one in everything.present for name, slot in made.slots.get(one, {}).items()}
    fails = made.engine.rule_by_rule(everything).fails
    for _ in range(25):
        if not fails:
            break
        names = {leaf.name for leaf in made.engine.support(rng.choice(fails), bool(everything.adapters)).leaves}
        again = [(name, slots[name]) for name in sorted(names & slots.keys())]
        again = [rng.choice(again)] if again and rng.random() < 0.5 else again
        drawn = {name: narrower(rng, slot, slot.kind.unknown, exactly=True) for name, slot in again}
        other = replace(everything, facts={**everything.facts, **drawn})
        left = made.engine.rule_by_rule(other).fails
        if len(left) <= len(fails):
            everything, fails = other, left
    return open_choices(rng, made, everything, rng.choice((0.1, 0.3, 0.6)))


def test_either_way_no_is_no() -> None:
    """Spring bars are not allowed, and without them the trailer is too heavy: no, and it is not asked which."""
    told = answer(SPRING_BARS)
    assert told.outcome == "fails" and told.next == []
    assert told.summary == (
        "No, either way. If weight distribution is used, the trailer is towed with weight distribution, and the "
        "receiver or an adapter in it does not allow that. If not, the trailer's loaded weight is 5400 lb; the "
        "receiver's trailer rating is 5000 lb: 400 lb too much."
    )
    assert told.either_way is not None and told.either_way.fact == "trailer.weight_distribution"
    assert [(one.members, one.rule) for one in told.either_way.cases] == [
        (["yes"], "weight-distribution-allowed"),
        (["no"], "trailer-weight/towing.opening_trailer_rating"),
    ]
    assert not any(finding.result == "fails" and finding.severity == "blocking" for finding in told.findings)
    for used, rule in (("yes", "weight-distribution-allowed"), ("no", "trailer-weight/towing.opening_trailer_rating")):
        known = answer({**SPRING_BARS, "trailer.weight_distribution": used})
        assert known.outcome == "fails" and known.either_way is None
        assert rule in [finding.rule for finding in known.findings if finding.result == "fails"]


ADAPTER = {"kind": ["extension", "reducer_sleeve"], "adds_length": "8 in"}
"""As an extension it is not allowed with the accessory, and a sleeve adds no such length."""


def test_an_adapters_own_choice_decides_too() -> None:
    """An adapter of which it is open what it is: the opening is made anew for each; in the rig or among the items."""
    engine = answerer().engine
    plain = case({"accessory.kind": "cargo_carrier", "accessory.extension_allowed": False})
    one = case({"accessory.kind": "cargo_carrier", "accessory.extension_allowed": False}, [ADAPTER])
    verdict = engine.evaluate(one)
    assert verdict.outcome == "fails" and verdict.either_way is not None
    assert (verdict.either_way.fact, verdict.either_way.adapter) == ("adapter.kind", 0)
    assert {engine.rulebook.rules[n].id for n in verdict.failing} == {"extension-allowed", "sleeve-adds-no-length"}
    columns = Columns(engine)
    accessories = columns.catalogue([split(shipped_rulebook(), one, frozenset({"accessory"}))[0]], ["accessory"])
    adapters = columns.catalogue([one.adapters[0]], ["adapter"])
    for catalogue, rig in ((accessories, rest(one, frozenset({"accessory"}))), (adapters, plain)):
        judged = columns.judge(catalogue, rig)
        assert [OUTCOMES[place] for place in judged.outcome()] == ["fails"]
        assert {number for number, effect, _ in judged.deciding() if effect == "fails"} == {*verdict.failing}


@pytest.mark.parametrize(
    "changed", [{"receiver.weight_distribution_allowed": True}, {"trailer.gross_weight": "5000 lb"}]
)
def test_a_case_that_does_not_fail_leaves_it_open(changed: dict[str, object]) -> None:
    """Where one of the two ways may do, the choice is asked for."""
    told = answer({**SPRING_BARS, **changed})
    assert told.outcome == "undetermined" and told.either_way is None


def test_the_choices_follow_from_the_rules() -> None:
    """A choice that one rule reads once can never decide; those that can are found, and the kind is among them."""
    engine = answerer().engine
    bare, adapted = ([choice.name for choice in engine.choices(one).all] for one in (False, True))
    slots = engine.rulebook.vocabulary.slots()
    assert all(isinstance(slots[name], ListType | TruthType) for name in adapted)
    assert {"accessory.kind", "trailer.weight_distribution", "vehicle.spare_location", "receiver.opening"} <= {*bare}
    assert {"adapter.kind", "adapter.offers_opening", *bare} <= {*adapted}
    assert "accessory.allowed_at_front" not in adapted, "read once, by one rule"


def test_settled_answers_are_not_looked_into(monkeypatch: pytest.MonkeyPatch) -> None:
    """An answer that some rule refuses, or of which no rule and no need is open, costs what its rules cost."""
    made = shipped_rulebook()
    monkeypatch.setattr(type(made.engine), "choices", None)
    settled = {"accessory.kind": "ball_mount", "accessory.shank": "2 in", "receiver.opening": "1-1/4 in"}
    assert made.engine.evaluate(case(settled)).outcome == "fails"
    rng, seen = Random(3), set[str]()
    for _ in range(400):
        one = completed(rng, random_case(rng, made), made, chance=1.0, exactly=True)
        verdict = made.engine.rule_by_rule(one)
        if not verdict.unknown and not verdict.doubts and not verdict.open_needs:
            seen.add(made.engine.evaluate(one).outcome)
    assert "fails" in seen
    with pytest.raises(TypeError):
        made.engine.evaluate(case({"accessory.kind": "ball_mount"}))


@pytest.mark.parametrize("seed", range(NIGHTS))
def test_more_knowledge_never_takes_back_what_was_decided_by_cases(seed: int) -> None:
    """Step by step, to the whole, what is no either way stays no; of undetermined and of conditional answers alike."""
    made, rng = random_rulebook(seed, span=False) if seed % 3 else shipped_rulebook(), Random(seed)
    for number in range(60):
        case = mostly_known(rng, made)
        before = made.engine.evaluate(case).outcome
        for step in range(4):
            case = completed(rng, case, made, chance=(0.1, 0.2, 0.5, 1.0)[step])
            after = made.engine.evaluate(case).outcome
            assert before not in ("fails", "works") or after == before, f"seed {seed}, case {number}, step {step}"
            before = after


@pytest.mark.parametrize("seed", sorted({*range(NIGHTS), *MOOT}))
def test_columns_decide_by_cases_as_point_does(seed: int) -> None:
    """On rigs and items with open choices the outcome is point's, and so are the rules that it is put down to."""
    made, rng = shipped_rulebook() if seed % 2 else random_rulebook(seed), Random(seed)
    accessory = "accessory" if seed % 2 else "item"
    subjects = frozenset({accessory, "ball"} if seed % 4 == 1 else {accessory})
    cases = [mostly_known(rng, made) for _ in range(ITEMS)]
    rigs, items = [rest(one, subjects) for one in cases[:RIGS]], [split(made, one, subjects) for one in cases]
    columns = Columns(made.engine)
    assert_agree(made, columns, rigs, items, subjects, f"seed {seed}", bool(seed & 4))
    catalogue = columns.catalogue([facts for facts, _ in items], subjects, [present for _, present in items])
    for rig, judged in zip(rigs, columns.judge_all(catalogue, rigs), strict=True):
        decided = {row: set[tuple[int, str]]() for row in range(catalogue.count)}
        for number, effect, where in judged.deciding():
            for row in np.flatnonzero(unpack(where, catalogue.count)).tolist():
                decided[row].add((number, effect))
        for place, item in enumerate(items):
            verdict = made.engine.evaluate(joined(rig, item))
            here = decided[int(catalogue.signature_of[place])]
            assert here == put_down_to(made, verdict), f"{seed}, item {place}"
            assert {number for number, _ in here} == set(codes_of(verdict, len(made.rulebook.rules)))


def put_down_to(made: Made, verdict: Verdict) -> set[tuple[int, str]]:
    """The rules and needs, in one row, that an outcome is put down to, each with its effect: none that is moot."""
    if verdict.outcome == "fails":
        return {(number, "fails") for number in verdict.failing}
    rules = len(made.rulebook.rules)
    return {
        (number + rules * (effect == "open_needs"), effect)
        for effect, outcome in OUTCOME_OF.items()
        if outcome == verdict.outcome != "works"
        for number in verdict.left(effect)
    }


def test_enough_is_moot_to_tell() -> None:
    """Among these cases are some that something moot is left out of, beside what comes to the same and is not moot."""
    found = 0
    for seed in MOOT:
        made, rng = random_rulebook(seed), Random(seed)
        for verdict in (made.engine.evaluate(mostly_known(rng, made)) for _ in range(60)):
            effects = [effect for effect, outcome in OUTCOME_OF.items() if outcome == verdict.outcome != "works"]
            found += any(set(verdict.left(effect)) != set(getattr(verdict, effect)) for effect in effects)
    assert found > 5


def test_enough_is_decided_by_cases_to_tell() -> None:
    """Among the random cases some come to a no by cases, so that it is told whether point and columns agree on it."""
    made, rng = shipped_rulebook(), Random(3)
    drawn = (made.engine.evaluate(mostly_known(rng, made)).either_way is not None for _ in range(2_000))
    assert sum(islice(filter(None, drawn), 5)) == 5


def test_every_choice_is_tried_as_the_specification_does() -> None:
    """Leaving out the choices that cannot decide loses nothing: the specification tries them all, one by one."""
    for seed in range(24):
        made, rng = shipped_rulebook() if seed % 4 == 1 else random_rulebook(seed), Random(seed)
        for number in range(12 * EFFORT):
            one = mostly_known(rng, made)
            assert made.engine.evaluate(one).outcome == made.specification.judge(one).outcome, f"{seed}, {number}"
