"""What is not known and still no stop: each such rule says why beside it, and is told wherever it is open.

A blocking rule that is not sure leaves an answer open. One with `if_unknown: caution` makes it conditional instead, so
each is an exception that has to be argued: `FITSVC_SHOW=1 pytest -s tests/test_rules_doubts.py` lists them.
"""

import os
import re
from functools import cache
from typing import Final

from judging import answerer
from test_answers_seeing_to import said_by, seen_to

from fitsvc.engine.examples import case_of
from fitsvc.paths import data_dir

_ID: Final = re.compile(r"  - id: (\S+)")
_RATING: Final = re.compile(r"rating: ([\w.]+)")
_LINE: Final = re.compile(r"if_unknown: caution\b[^#]*(?:  # (.+))?$")
_SHORTEST: Final = 6
"""Words that an argument has at least."""


@cache
def argued() -> dict[str, str]:
    """What stands beside each `if_unknown: caution`, by the rule's id; of a limit's rating by its name too."""
    found: dict[str, str] = {}
    for path in sorted(data_dir("rules").glob("*.yaml")):
        entry = ""
        for line in path.read_text("utf-8").splitlines():
            begun = _ID.match(line)
            entry = begun[1] if begun else entry
            if told := _LINE.search(line):
                rating = _RATING.search(line)
                found[f"{entry}/{rating[1]}" if rating else entry] = told[1] or ""
    return found


def test_each_exception_is_argued_where_it_stands() -> None:
    """No rule lets what is not known pass as a caution without a reason beside it."""
    excepted = {rule.id for rule in answerer().rulebook.rules if rule.blocks and not rule.leaves_open}
    assert argued().keys() == excepted
    assert [name for name, why in argued().items() if len(why.split()) < _SHORTEST] == []
    if os.environ.get("FITSVC_SHOW"):
        print("\n".join(f"{name}: {why}" for name, why in argued().items()))


def test_an_exception_that_is_open_is_never_a_plain_yes() -> None:
    """On the rules' own examples: where such a rule is not sure, the outcome is conditional or worse."""
    engine, reader = answerer().engine, answerer().reader
    numbers = {rule.id: number for number, rule in enumerate(engine.rulebook.rules)}
    tried = 0
    for name in argued():
        for example in engine.rulebook.examples.get(name.partition("/")[0], ()):
            verdict = engine.evaluate(engine.opened(case_of(example, reader)))
            if numbers[name] in verdict.doubts:
                tried += 1
                assert verdict.outcome != "works", (name, example)
    assert tried > len(argued())


def test_an_exception_that_is_open_is_told_as_a_thing_to_see_to() -> None:
    """It stands among what to see to, and first, as it may yet be a no."""
    for one in seen_to():
        doubts = {found.rule for found in one.findings if found.result == "undetermined"} & argued().keys()
        told = {rule for thing in one.to_see_to for rule in thing.rules}
        assert doubts - said_by(one) <= told
