"""Judge an implementation by the cases: `python run.py COMMAND ...`. What it is given: `fitsvc/guide/rules.md`."""

import json
import sys
from pathlib import Path
from subprocess import PIPE, run
from typing import Any

FOLDER = Path(__file__).parent
FILES = ("language.jsonl", "answers.jsonl", "shipped.jsonl")
GIVEN = ("rules", "facts", "adapters", "present", "expression", "as")
Case = dict[str, Any]


def read(file: str) -> list[Case]:
    """The cases of a file, each whole: with the rules of the file's first line, and what it stands `on` filled in."""
    head, *lines = map(json.loads, (FOLDER / file).read_text("utf-8").splitlines())
    on = {None: {}} | {line["base"]: line["facts"] for line in lines if "base" in line}
    cases = [line for line in lines if "base" not in line]
    for case in cases:
        facts = {**on[case.get("on")], **case.get("facts", {})}
        case["facts"] = {name: fact for name, fact in facts.items() if fact is not None}
    return [{"rules": head["rules"], "adapters": [], "present": [], **case} for case in cases]


def same(wanted: Any, found: Any) -> bool:
    """Whether two results are one; figures are the same to a millionth, or a billionth of a large one."""
    if isinstance(wanted, int | float) and isinstance(found, int | float):
        return abs(wanted - found) <= 2e-6 + 1e-9 * abs(wanted)
    if isinstance(wanted, list) and isinstance(found, list):
        return len(wanted) == len(found) and all(map(same, wanted, found))
    return bool(wanted == found)


def departures(cases: list[Case], found: list[Case]) -> list[str]:
    """By name, what an implementation makes otherwise of each case; it has to be asked all, in their order."""
    return [
        f"{case['name']}: {made} in place of {case['gives']}"
        for case, made in zip(cases, found, strict=True)
        if any(not same(case["gives"].get(key, []), made.get(key, [])) for key in {*case["gives"], *made})
    ]


if __name__ == "__main__":
    cases = [case for file in FILES for case in read(file)]
    lines = [json.dumps({key: case[key] for key in GIVEN if key in case}) + "\n" for case in cases]
    made = run(sys.argv[1:], input="".join(lines), stdout=PIPE, text=True, check=False).stdout.splitlines()
    wrong = departures(cases, [json.loads(line) for line in made] + [{}] * (len(cases) - len(made)))
    print("\n".join([*wrong, f"{len(cases)} cases, {len(wrong)} otherwise"]))
    sys.exit(1 if wrong else 0)
