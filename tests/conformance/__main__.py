"""`python -m conformance` writes anew what the kept cases give; with `draw` it draws the cases anew too.

The diff shows, by name, what a change of the rules brings: read it. Cases whose facts can be read no more are told, and
want to be drawn anew.
"""

import json
import sys
from collections.abc import Iterable, Mapping
from typing import Any

from conformance import drawing
from conformance.ours import SHIPPED, by_engine
from conformance.run import FILES, FOLDER, Case, read

FORMAT = 1
"""The version of the form of the files; it rises with a change that a runner of the one before cannot read."""
_KEPT = ("name", "on", "expression", "as", "facts", "adapters", "present", "gives")


def write(file: str, rules: str, bases: Mapping[str, Mapping[str, Any]], cases: Iterable[Case]) -> None:
    """Write a file: its head, what cases stand on, a case a line."""
    lines: list[Case] = [{"format": FORMAT, "rules": rules}]
    lines += [{"base": name, "facts": facts} for name, facts in bases.items()]
    lines += [{key: case[key] for key in _KEPT if case.get(key) not in (None, [])} for case in cases]
    text = "".join(json.dumps(line, ensure_ascii=False, separators=(",", ":")) + "\n" for line in lines)
    (FOLDER / file).write_text(text, "utf-8")


def draw() -> None:
    """Draw the cases of all files."""
    write("language.jsonl", drawing.OWN, {}, drawing.language())
    write("answers.jsonl", drawing.OWN, drawing.OWN_BASES, drawing.answers())
    write("shipped.jsonl", SHIPPED, drawing.shipped_bases(), drawing.shipped())


def renew(file: str) -> None:
    """Write anew what each case of a file gives, line by line; all else stays as it stands."""
    lines = (FOLDER / file).read_text("utf-8").splitlines()
    found = iter([{key: one for key, one in by_engine(case).items() if one != []} for case in read(file)])
    told = [json.loads(line) for line in lines]
    renewed = [{**one, "gives": next(found)} if "gives" in one else one for one in told]
    text = "".join(json.dumps(line, ensure_ascii=False, separators=(",", ":")) + "\n" for line in renewed)
    (FOLDER / file).write_text(text, "utf-8")


if __name__ == "__main__":
    if sys.argv[1:] == ["draw"]:
        draw()
    else:
        for name in FILES:
            renew(name)
