"""What is not known and still no stop: each such rule says why beside it, and is told wherever it is open.

A blocking rule that is not sure leaves an answer open. One with `if_unknown: caution` makes it conditional instead, so
each is an exception that has to be argued: `FITSVC_SHOW=1 pytest -s tests/test_rules_doubts.py` lists them.
"""

import os
import re
from functools import cache
from math import inf
from random import Random
from typing import Final

from judging import answerer
from test_answers_seeing_to import said_by, seen_to
from working_rigs import put, random_rigs

from fitsvc.engine.examples import case_of
from fitsvc.engine.verdict import Verdict
from fitsvc.language.intervals import Bounds
from fitsvc.paths import data_dir

_ID: Final = re.compile(r"  - id: (\S+)")
_RATING: Final = re.compile(r"rating: ([\w.]+)")
_LINE: Final = re.compile(r"if_unknown: caution\b[^#]*(?:  # (.+))?$")
_CHANGE: Final = '"'
"""How a line begins that argues a change of a rule, and is none of its own words."""
POUND: Final = 0.45359237
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
            if (told := _LINE.search(line)) and not line.lstrip().startswith(_CHANGE):
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


def test_a_rating_that_is_told_under_a_load_that_is_not_stays_conditional() -> None:
    """Of the vehicle's own rating, which a counter seldom has, an unknown load is a thing to find out, told or not.

    Taken for undetermined where the rating is told, an answer would get worse by being told more. A conditional
    answer is no yes: it says first that the load is to be found out, and each figure of it decides.
    """
    engine, loose = answerer().engine, (100 * POUND, 250 * POUND)
    rigs = random_rigs(Random("loosely"), "cargo_carrier", 12)
    rig = next(one.case for one in rigs if "load.cargo_weight" in one.case.facts and not one.case.adapters)
    ids = [rule.id for rule in engine.rulebook.rules]
    number = ids.index("hanging-weight/hanging.vehicle_bears")

    def asked(load: Bounds, rating: Bounds) -> Verdict:
        return engine.evaluate(put(put(rig, "vehicle.tongue_rating", rating), "load.cargo_weight", load))

    told = (200 * POUND,) * 2
    for rating in ((0.0, inf), (180 * POUND, 220 * POUND), told):
        verdict = asked(loose, rating)
        assert (verdict.outcome, number in verdict.doubts) == ("conditional", True), rating
    assert number in asked((100 * POUND,) * 2, told).passes
    assert number in asked((250 * POUND,) * 2, told).fails
