"""The table that the parser runs on, made from `grammar.lark` by lark, which the parser itself does without."""

import json
import re
from collections.abc import Iterable, Mapping
from typing import Any, Final

from lark import Lark
from lark.grammar import Rule, Terminal
from lark.lexer import PatternStr, TerminalDef
from lark.parsers.lalr_analysis import Shift

from fitsvc.language import lalr
from fitsvc.language.quantities import QUANTITY_NUMBER_PATTERN, QUANTITY_UNIT_PATTERN

_QUANTITY: Final = re.sub(r"(?<!\\)/", r"\/", QUANTITY_NUMBER_PATTERN + r"\s*" + QUANTITY_UNIT_PATTERN)
_States = Mapping[int, Mapping[str, tuple[Any, Any]]]


def grammar_table(_: str = "") -> str:
    """The table as JSON, a token, rule or state a line."""
    lark = made_by_lark()
    found = lark.parser.parser._parse_table
    states = _numbered(found.states, found.start_states["start"])
    rules = {rule: number for number, rule in enumerate(lark.rules)}
    rows = [
        {
            name: states[to] if step is Shift else -1 - rules[to]
            for name, (step, to) in sorted(found.states[one].items())
        }
        for one in states
    ]
    words, tokens = _terminals(lark)
    single = {"start": 0, "end": states[found.end_states["start"]], "words": words}
    lists: dict[str, list[Any]] = {"tokens": tokens, "rules": [_rule(rule) for rule in rules], "states": rows}
    parts = [f'"{name}": {_json(value)}' for name, value in single.items()]
    parts += [f'"{name}": [\n{_lines(many)}\n]' for name, many in lists.items()]
    return "{\n" + ",\n".join(parts) + "\n}\n"


def made_by_lark() -> Lark:
    """Lark with our grammar."""
    text = lalr.TABLE.with_suffix(".lark").read_text("utf-8").replace("%declare QUANTITY", f"QUANTITY.2: /{_QUANTITY}/")
    return Lark(text, parser="lalr", lexer="basic", maybe_placeholders=False)


def _json(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False)


def _lines(rows: Iterable[Any]) -> str:
    return ",\n".join(_json(row) for row in rows)


def _numbered(states: _States, start: int) -> dict[int, int]:
    """The states in the order in which they are come by, since lark's own numbers differ from run to run."""
    found, left = {start: 0}, [start]
    while left:
        for _, (step, to) in sorted(states[left.pop(0)].items()):
            if step is Shift and to not in found:
                found[to] = len(found)
                left.append(to)
    return found


def _rule(rule: Rule) -> list[str]:
    signs = (
        "-" if isinstance(one, Terminal) and one.filter_out else "*" if one.name[0] == "_" else "+"
        for one in rule.expansion
    )
    return [rule.origin.name, "".join(signs), rule.alias or ""]


def _terminals(lark: Lark) -> tuple[dict[str, str], list[list[str]]]:
    """The words that are no names, and every other kind of token with its pattern, in the order of trying."""
    name = next(one for one in lark.terminals if one.name == "NAME")

    def is_word(one: TerminalDef) -> bool:
        return isinstance(one.pattern, PatternStr) and bool(re.fullmatch(name.pattern.to_regexp(), one.pattern.value))

    tried = sorted(
        lark.terminals, key=lambda one: (-one.priority, -one.pattern.max_width, -len(one.pattern.value), one.name)
    )
    words = {one.pattern.value: one.name for one in sorted(lark.terminals, key=lambda one: one.name) if is_word(one)}
    others = [one for one in tried if not is_word(one)]
    return words, [["" if one.name in lark.ignore_tokens else one.name, one.pattern.to_regexp()] for one in others]
