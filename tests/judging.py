"""The shipped rulebook put to use in tests: facts as people write them in, results, values and answers out."""

from collections.abc import Mapping, Sequence
from typing import Any

from demo_world import answerer as answerer

from fitsvc.answers.answer import Answer
from fitsvc.facts import Case
from fitsvc.language.checker import Names, check
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.language.source import Source
from fitsvc.language.types import Value

Facts = Mapping[str, Any]
"""Facts by their full names, as in the examples of rules: `{"trailer.gross_weight": "3000 lb"}`."""
_RIG = ("vehicle", "receiver", "mounting", "spare")


def case(facts: Facts, adapters: Sequence[Facts] = ()) -> Case:
    """Give the case of some facts; a subject is in the question when one of its facts is named."""
    reader = answerer().reader
    values: dict[str, Value] = {}
    problems: list[Problem] = []
    for name, wire in facts.items():
        subject, short = name.split(".")
        reader.read(subject, {short: wire}, "", problems, values, {})
    stack: list[dict[str, Value]] = []
    for adapter in adapters:
        stack.append({})
        reader.read("adapter", adapter, "", problems, stack[-1], {})
    if problems:
        raise ProblemsFound(problems)
    present = {"vehicle", "receiver", "mounting", *(name.split(".")[0] for name in facts)}
    return Case(values, frozenset(present) | reader.named(values, stack), tuple(stack))


def result(rule: str, facts: Facts, adapters: Sequence[Facts] = ()) -> str:
    """Give one rule's result on a case; of a limit, the worst of its members'."""
    engine = answerer().engine
    rules = engine.rulebook.rules
    results = engine.evaluate(case(facts, adapters)).results(len(rules))
    found = {told for one, told in zip(rules, results, strict=True) if rule in (one.id, one.limit)}
    assert found, f"there is no rule `{rule}`"
    return next(told for told in ("fails", "undetermined", "passes", "not_applicable") if told in found)


def open_needs(facts: Facts) -> set[str]:
    """Give the ids of the needs that stay open."""
    engine = answerer().engine
    return {engine.rulebook.needs[number].id for number in engine.evaluate(case(facts)).open_needs}


def value(expression: str, facts: Facts) -> Value:
    """Give the value of an expression written as in a rule."""
    engine = answerer().engine
    book = engine.rulebook
    types = {**book.vocabulary.slots(), **{name: one.type for name, one in book.derived.items()}}
    tables = {name: table for one in book.tables.values() for name, table in one.lookups.items()}
    names = Names(types, frozenset(book.vocabulary.subjects), tables)
    node = check(Source.plain(expression), names)
    return engine.values(("test", expression), lambda: [node]).of(case(facts))[0]


def answer(facts: Facts, adapters: Sequence[Facts] = ()) -> Answer:
    """Answer the question that names these facts, and these adapters in the opening."""
    document: dict[str, Any] = {"rig": {"adapters": [{"facts": one} for one in adapters]} if adapters else {}}
    for name, wire in facts.items():
        subject, short = name.split(".")
        place = document["rig"] if subject in _RIG else document
        place.setdefault(subject, {"facts": {}})["facts"][short] = wire
    return answerer().answer(document)
