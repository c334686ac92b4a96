"""What fitsvc makes of a conformance case: the engine, and the specification in `interpreter.py`.

`python -m conformance.ours` is the engine as a command that `run.py` judges.
"""

import json
import sys
from functools import cache
from math import isfinite
from pathlib import Path
from typing import Any

from interpreter import Interpreter, Judged, Members, Reading, tree
from random_rulebooks import Made, made_of, shipped_rulebook

from conformance.run import FOLDER
from fitsvc.facts import Case, FactReader
from fitsvc.language.checker import Names, check
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.language.source import Source
from fitsvc.language.truth import NO, YES
from fitsvc.language.types import ListType, Type, Value
from fitsvc.rulebook.vocabulary import value_type

SHIPPED = "rules"
Told = dict[str, Any]


@cache
def made(rules: str) -> Made:
    """A rulebook by the name that a case has for it."""
    return shipped_rulebook() if rules == SHIPPED else made_of(FOLDER / Path(rules).name)


@cache
def _reader(rules: str) -> FactReader:
    return FactReader(made(rules).rulebook)


@cache
def _names(rules: str) -> Names:
    book = made(rules).rulebook
    types: dict[str, Type] = {**book.vocabulary.slots()}
    types |= {name: one.type for name, one in book.derived.items()}
    types |= {name: one.type for name, one in book.opening.items()}
    tables = {name: table for one in book.tables.values() for name, table in one.lookups.items()}
    return Names(types, frozenset(book.vocabulary.subjects), tables)


def case_of(told: Told) -> Case:
    """The case that is told: of a bound on it one end alone was, as of any that somebody tells."""
    reader, values, problems = _reader(told["rules"]), dict[str, Value](), list[Problem]()
    for name, wire in told["facts"].items():
        subject, short = name.split(".")
        reader.read(subject, {short: wire}, name, problems, values, {})
    stack: list[dict[str, Value]] = []
    for adapter in told["adapters"]:
        stack.append({})
        reader.read("adapter", adapter, "", problems, stack[-1], {})
    if problems:
        raise ProblemsFound(problems)
    values |= reader.told_by_one_end(values)
    stack = [one | reader.told_by_one_end(one) for one in stack]
    always = {one.name for one in reader.vocabulary.subjects.values() if one.presence == "always"}
    present = {*always, *told["present"], *(name.split(".")[0] for name in told["facts"])}
    return Case(values, frozenset(present) | reader.named(values, stack), tuple(stack))


def by_engine(told: Told) -> Told:
    """What the engine makes of a case."""
    book = made(told["rules"])
    if "expression" not in told:
        return _verdict(book, case_of(told))
    kind = value_type(told["as"], book.rulebook.vocabulary.lists)
    try:
        node = check(Source.plain(told["expression"]), _names(told["rules"]), kind)
    except ProblemsFound:
        return {"value": "refused"}
    try:
        case = case_of(told)
    except ProblemsFound:
        return {"value": "unreadable"}
    value = book.engine.values((told["expression"], told["as"]), lambda: [node]).of(case)[0]
    if isinstance(value, tuple):
        return {"value": _ends(value)}
    if isinstance(kind, ListType):
        return {"value": [member for i, member in enumerate(kind.members) if value >> i & 1]}
    return {"value": "yes" if value == YES else "no" if value == NO else "unknown"}


def by_specification(told: Told) -> Told:
    """What the specification makes of a case, which refuses nothing."""
    texts = made(told["rules"]).specification.texts
    if "expression" not in told:
        return judged(made(told["rules"]).specification, case_of(told))
    reading, node = Reading(texts, case_of(told)), tree(told["expression"])
    value = reading.of(told["expression"], told["as"])
    if told["as"] in texts.lists:
        assert isinstance(value, Members)
        return {"value": [member for member in texts.lists[told["as"]] if member in value.names]}
    if told["as"] == "yes_no":
        assert value is None or isinstance(value, bool)
        return {"value": {True: "yes", False: "no", None: "unknown"}[value]}
    return {"value": _ends(reading.number(node))}


def judged(specification: Interpreter, case: Case) -> Told:
    """What the specification judges."""
    found: Judged = specification.judge(case)
    codes = {word: sorted(rule for rule, result in found.results if result == word) for word in _CODES}
    return {"outcome": found.outcome, **codes, "needs": sorted(found.open_needs)}


_CODES = ("fails", "undetermined")


def _verdict(book: Made, case: Case) -> Told:
    verdict, rules = book.engine.evaluate(case), book.rulebook.rules
    results = list(zip(rules, verdict.results(len(rules)), strict=True))
    codes = {word: sorted(rule.id for rule, result in results if result == word) for word in _CODES}
    needs = sorted(book.rulebook.needs[number].id for number in verdict.open_needs)
    return {"outcome": verdict.outcome, **codes, "needs": needs}


def _ends(bounds: tuple[float, float]) -> list[float | None]:
    """Two ends with nine figures, which is far more than a case is judged by; none where there is no end."""
    return [float(f"{end:.9g}") + 0.0 if isfinite(end) else None for end in bounds]


if __name__ == "__main__":
    for line in sys.stdin:
        print(json.dumps(by_engine(json.loads(line))), flush=True)
