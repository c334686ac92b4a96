"""What a result brings to the outcome stands in one table: whoever reads it changes with it, and all alike.

The rulebook is the shipped one's vocabulary with a single rule, whose row of the table is as it is or altered; an
item that passes, one that fails and one that is undetermined are told by every evaluator and every view.
"""

from dataclasses import replace
from functools import cache
from io import StringIO
from itertools import product
from typing import Any, cast

import numpy as np
import pytest
from judging import answerer

from fitsvc.answers.answer import Answer
from fitsvc.answers.answering import Answerer
from fitsvc.answers.readings import BAD, GOOD, OPEN
from fitsvc.answers.shelf import Item
from fitsvc.audits.blocks import Kernel, decided_by
from fitsvc.audits.items import Items
from fitsvc.audits.missing import OpenFacts
from fitsvc.audits.rigs import AuditRig
from fitsvc.cli.answer_view import show_answer
from fitsvc.cli.console import Console
from fitsvc.engine.columns.kernel import Columns, Judged
from fitsvc.engine.examples import run_examples
from fitsvc.engine.point import Point
from fitsvc.engine.verdict import Verdict
from fitsvc.facts import Case
from fitsvc.language.checker import Names, check
from fitsvc.language.source import Source
from fitsvc.language.types import TRUTH, Value
from fitsvc.planning.wares import Fold, FoldedItems
from fitsvc.rulebook.outcomes import (
    EFFECTS,
    IF_UNKNOWN,
    NEED_EFFECTS,
    OUTCOME_OF,
    OUTCOMES,
    RESULT_OF,
    SEVERITIES,
    Effect,
    IfUnknown,
    Outcome,
    Result,
    Severity,
)
from fitsvc.rulebook.rules import Rulebook
from fitsvc.selection.results import codes_of, deciding
from fitsvc.service.counter.seeing import see

Row = dict[Result, Effect]
WEIGHT = "accessory.weight"
WEIGHTS: dict[Result, Value] = {"passes": (50.0, 50.0), "fails": (200.0, 200.0), "undetermined": (50.0, 200.0)}
"""By the result of the rule that the accessory weighs at most 100 kg."""
ROWS: list[Row] = [
    {"fails": "fails", "undetermined": "unknown", "passes": "passes"},
    {"fails": "fails", "undetermined": "doubts", "passes": "passes"},
    {"fails": "cautions", "undetermined": "unknown", "passes": "passes"},
    {"fails": "cautions", "undetermined": "doubts", "passes": "passes"},
]
PLACES = (*EFFECTS, ("notice", "undetermined"))
"""Every row of the table, and one of a severity that it has not."""
MEANT: dict[Effect, tuple[Outcome, str, str, str]] = {
    "fails": ("fails", BAD, "fails", "✗"),
    "unknown": ("undetermined", OPEN, "open", "?"),
    "cautions": ("conditional", OPEN, "caution", "!"),
    "doubts": ("conditional", OPEN, "caution", "!"),
    "passes": ("works", GOOD, "passes", "✓"),
}
"""What each effect comes to: the outcome, the word for what holds a rule up, and the marks on page and console."""


@cache
def _shipped() -> Rulebook:
    return answerer().rulebook


def _rulebook(severity: str, if_unknown: str) -> Rulebook:
    """The shipped vocabulary with one rule about the accessory's weight."""
    shipped = _shipped()
    names = Names(shipped.vocabulary.slots(), frozenset(shipped.vocabulary.subjects))
    requires = check(Source.plain(f"{WEIGHT} <= 100 kg"), names, TRUTH)
    rule = replace(
        next(one for one in shipped.rules if not one.limit),
        id="made",
        subjects=("accessory",),
        guard=None,
        requires=requires,
        severity=cast("Severity", severity),
        if_unknown=cast("IfUnknown", if_unknown),
        fails=("It is too heavy.",),
        unknown=("It may be too heavy.",),
        remedy="",
        margin=None,
    )
    return replace(shipped, rules=(rule,), limits=(), needs=(), cautions=())


@pytest.mark.parametrize(("place", "row", "result"), list(product(PLACES, ROWS, WEIGHTS)))
def test_everyone_reads_the_one_table(
    monkeypatch: pytest.MonkeyPatch, place: tuple[Severity, IfUnknown], row: Row, result: Result
) -> None:
    """Point, columns, selection, audit, plan, what to find out, console and page follow an altered row alike."""
    monkeypatch.setitem(cast("dict[tuple[Severity, IfUnknown], Row]", EFFECTS), place, row)
    of, effect, weight = Answerer(_rulebook(*place)), row[result], WEIGHTS[result]
    outcome, word, mark, sign = MEANT[effect]
    case = Case({WEIGHT: weight}, frozenset(("vehicle", "receiver", "accessory")))
    verdict = of.engine.evaluate(case)
    assert verdict.outcome == outcome and verdict.either_way is None
    assert {name: getattr(verdict, name) for name in OUTCOME_OF if getattr(verdict, name)} == {effect: [0]}
    assert verdict.results(1) == [result]
    assert verdict.conditions == (outcome == "conditional")
    assert of.missing.judged(0, case) == word
    _columns_agree(of, case, outcome, effect)
    _audit_agrees(of.rulebook, weight, outcome, row)
    _plan_agrees(of, weight, outcome)
    answer = of.answer({"accessory": {"facts": {"weight": _written(weight)}}})
    assert (answer.outcome, [one.result for one in answer.findings]) == (outcome, [result])
    assert see(of, answer, {}, "us", {}).findings[0].mark == mark
    assert sign in _printed(of, answer)


def _columns_agree(of: Answerer, case: Case, outcome: Outcome, effect: Effect) -> None:
    """Columns and selection."""
    judged = _judged(of, case)
    assert judged.outcome().tolist() == [OUTCOMES.index(outcome)]
    assert judged.counts() == {one: int(one == outcome) for one in OUTCOMES}
    decided = [(one.number, OUTCOMES[one.place]) for one in deciding(judged)]
    assert decided == ([] if effect == "passes" else [(0, outcome)])
    assert codes_of(of.engine.evaluate(case), 1) == [number for number, _ in decided]


def _judged(of: Answerer, case: Case) -> Judged:
    columns = Columns(of.engine)
    rig = Case({}, case.present - {"accessory"})
    return columns.judge(columns.catalogue([{WEIGHT: case.facts[WEIGHT]}], ("accessory",)), rig)


def _audit_agrees(rulebook: Rulebook, weight: Value, outcome: Outcome, row: Row) -> None:
    """An audit's pairs, and the facts that they wait for: where the rule alone leaves a pair open."""
    kernel = Kernel(rulebook)
    assert isinstance(weight, tuple)
    column = np.array(weight[:1]), np.array(weight[1:])
    block = kernel.block(Items(["A"], np.ones(1, np.int64), {WEIGHT: column}, {}, {}))
    rig = AuditRig("rig", "", Case({}, frozenset(("vehicle", "receiver"))))
    ((judged, found),) = block.judge([rig])
    deciders = [] if outcome == "works" else ["made"]
    assert OUTCOMES[found.outcome[0]] == outcome
    assert decided_by(kernel.names, found, 0) == deciders
    assert found.pairs == [(0, OUTCOMES.index(outcome), 1) for _ in deciders]
    facts = OpenFacts(kernel)
    assert facts.rules == ([0] if row["undetermined"] == "unknown" else [])
    waits, _ = facts.waits(judged, found, facts.of_items(block), rig)
    assert [facts.facts[one] for one in waits if one >= 0] == ([WEIGHT] if outcome == "undetermined" else [])


def _plan_agrees(of: Answerer, weight: Value, outcome: Outcome) -> None:
    """What a plan takes from the shelf, and in which order."""
    columns = Columns(of.engine)
    fold = Fold(columns, [FoldedItems(columns, "accessory", [Item("accessory", "sku", "", {WEIGHT: weight})])])
    rows = fold.rows(fold.judged(Case({}, frozenset(("vehicle", "receiver")))))
    assert rows.works.tolist() == [outcome in ("works", "conditional")]
    assert (rows.fails.tolist(), rows.opens.tolist()) == (
        [int(outcome == "fails")],
        [int(outcome in ("conditional", "undetermined"))],
    )


def _written(weight: Value) -> object:
    assert isinstance(weight, tuple)
    low, high = weight
    return f"{low:g} kg" if low == high else {"at_least": f"{low:g} kg", "at_most": f"{high:g} kg"}


def _printed(of: Answerer, answer: Answer) -> str:
    stream = StringIO()
    show_answer(Console(stream), answer, of, everything=True)
    return stream.getvalue()


def test_the_table_is_whole_and_never_lenient() -> None:
    """Every severity says what each result brings, in a list that stands for that result; not knowing never passes."""
    assert set(EFFECTS) == set(product(SEVERITIES, IF_UNKNOWN))
    for row in EFFECTS.values():
        assert {result: RESULT_OF[effect] for result, effect in row.items()} == {one: one for one in WEIGHTS}
    for effects in (*EFFECTS.values(), NEED_EFFECTS):
        assert all((OUTCOME_OF[effect] == "works") == (result == "passes") for result, effect in effects.items())
    assert tuple(OUTCOME_OF) == tuple(sorted(OUTCOME_OF, key=lambda one: -OUTCOMES.index(OUTCOME_OF[one])))
    assert set(OUTCOME_OF) == {*Verdict._fields} - {"outcome", "either_way", "moot"}


def test_each_severity_and_answer_to_not_knowing_is_held_by_an_example() -> None:
    """With blocking rules made cautions, or with not knowing weighed the other way, each such rule's examples break."""
    book, reader = answerer().rulebook, answerer().reader
    blocking = [rule for rule in book.rules if rule.severity == "blocking"]
    turned: list[dict[str, Any]] = [{"severity": "caution"}, {"if_unknown": "caution"}, {"if_unknown": "undetermined"}]
    for changes in turned:
        wanted = {rule.id for rule in blocking if replace(rule, **changes) != rule and not rule.limit}
        rules = tuple(replace(rule, **changes) if rule in blocking else rule for rule in book.rules)
        ran = run_examples(Point(replace(book, rules=rules)), reader)
        assert wanted <= {one.owner for one in ran if not one.kept}, changes
