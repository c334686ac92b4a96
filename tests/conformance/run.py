"""Judge an implementation by the conformance cases: `python run.py COMMAND ...`, which needs Python and nothing else.

The command is given a case a line on its standard input, as JSON, and writes what it makes of it, a line each:

    {"rules": FOLDER, "facts": {...}, "adapters": [...], "present": [...], "expression": TEXT, "as": KIND}
    {"value": "yes" | "no" | "unknown" | [LOW, HIGH] | [MEMBERS]}
    {"value": "refused"} of an expression that means nothing, {"value": "unreadable"} of facts that cannot be so
    {"rules": FOLDER, "facts": {...}, "adapters": [...], "present": [...]}
    {"outcome": WORD, "fails": [RULES], "undetermined": [RULES], "needs": [NEEDS]}

Numbers are in mm, kg, degrees, kN, N m or plain, and null where they have no end. A subject is in the question when one
of its facts is told, when it is always there, or when it is among `present`. A fact is named when it is told; what one
of the adapters tells is named of that one alone.
"""

import json
import subprocess
import sys
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).parent
FILES = ("language.jsonl", "answers.jsonl", "shipped.jsonl")
GIVEN = ("rules", "facts", "adapters", "present", "expression", "as")
Case = dict[str, Any]


def read(file: str) -> Iterator[Case]:
    """The cases of a file, each whole: with the rules of the file's first line, and what it stands `on` filled in."""
    head, bases = dict[str, str](), dict[str, Case]()
    for line in (FOLDER / file).read_text("utf-8").splitlines():
        told = json.loads(line)
        if "format" in told:
            head = {"rules": told["rules"]}
        elif "base" in told:
            bases[told["base"]] = told
        else:
            base = bases.get(told.get("on", ""), {})
            facts = {**base.get("facts", {}), **told.get("facts", {})}
            facts = {name: fact for name, fact in facts.items() if fact is not None}
            yield {"adapters": [], "present": [], **head, **told, "facts": facts}


def asked(case: Case) -> Case:
    """What an implementation is given of a case."""
    return {key: case[key] for key in GIVEN if key in case}


def same(wanted: Any, found: Any) -> bool:
    """Whether two results are one; figures are the same to a millionth, or a billionth of a large one."""
    if isinstance(wanted, int | float) and isinstance(found, int | float):
        return abs(wanted - found) <= 2e-6 + 1e-9 * abs(wanted)
    if isinstance(wanted, list) and isinstance(found, list):
        return len(wanted) == len(found) and all(map(same, wanted, found))
    return bool(wanted == found)


def departures(cases: Iterable[Case], implement: Callable[[Case], Case]) -> list[str]:
    """By name, what an implementation makes otherwise of each case that says what it gives."""
    told = ((case, implement(asked(case))) for case in cases)
    return [
        f"{case['name']}: {found} in place of {case['gives']}"
        for case, found in told
        if any(not same(wanted, found.get(key)) for key, wanted in case["gives"].items())
    ]


def main(command: list[str]) -> int:
    """Judge a command; ends with 1 where it departs from any case."""
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        into, out = process.stdin, process.stdout
        assert into and out

        def implement(case: Case) -> Case:
            print(json.dumps(case), file=into, flush=True)
            found: Case = json.loads(out.readline() or "{}")
            return found

        cases = [case for file in FILES for case in read(file)]
        wrong = departures(cases, implement)
        into.close()
    print("\n".join([*wrong, f"{len(cases)} cases, {len(wrong)} otherwise"]))
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
