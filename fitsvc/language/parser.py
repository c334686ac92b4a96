"""Text of an expression → syntax tree, or problems placed at their characters. The grammar is grammar.lark.

Lark and its tables are slow to load, so this module is imported where something is parsed, not above. A text's
tree is remembered, since a rulebook reads each of its expressions once more for its digest.
"""

import re
from functools import cache, lru_cache
from pathlib import Path
from typing import Any, Final

from lark import Lark, Token, Transformer, UnexpectedCharacters, UnexpectedInput, UnexpectedToken

from fitsvc.language import syntax
from fitsvc.language.problems import Problem, ProblemsFound, nearest
from fitsvc.language.quantities import QUANTITY_NUMBER_PATTERN, QUANTITY_UNIT_PATTERN
from fitsvc.language.source import Source

LONGEST: Final = 2_000
DEEPEST: Final = 40
_REMEMBERED: Final = 4_096
"""A few rulebooks' expressions: the one that is shipped has about 600 different ones."""

_QUANTITY: Final = re.sub(r"(?<!\\)/", r"\/", QUANTITY_NUMBER_PATTERN + r"\s*" + QUANTITY_UNIT_PATTERN)
_STRANGERS: Final = {
    "=": "write `==` to compare",
    "&": "write `and`",
    "|": "write `or`",
    "!": "write `not`, or `!=` to compare",
    "'": "texts cannot be read by rules; list members are written without quotes",
    "{": "a list of members is written `[a, b]`",
}


def parse(source: Source) -> syntax.AnyNode:
    """Parse one expression; ProblemsFound names the character, what was expected and what to write."""
    text = source.text
    if len(text) > LONGEST:
        message = f"the expression has {len(text)} characters; at most {LONGEST} are read"
        raise ProblemsFound([source.problem_at(0, message, "move parts of it to `derived` names")])
    if not text.strip():
        raise ProblemsFound([source.problem_at(0, "the expression is empty", "write a condition such as `a <= b`")])
    try:
        tree, too_deep = _read(text)
    except UnexpectedInput as error:
        raise ProblemsFound([_problem(source, error)]) from None
    if too_deep is not None:
        message = f"the expression is nested deeper than {DEEPEST} levels"
        raise ProblemsFound([source.problem_at(too_deep, message, "move parts of it to `derived` names")])
    return tree


@lru_cache(maxsize=_REMEMBERED)
def _read(text: str) -> tuple[syntax.AnyNode, int | None]:
    """A text's tree, and the place of the first node that is nested too deep."""
    tree: syntax.AnyNode = _lark().parse(text)  # type: ignore[assignment]
    return tree, _too_deep(tree)


def _too_deep(tree: syntax.AnyNode) -> int | None:
    """Bound the tree's depth, walking it without recursion, before any recursive code sees it."""
    level = [tree]
    for _ in range(DEEPEST):
        level = [below for node in level for below in syntax.below(node)]
        if not level:
            return None
    return level[0].at


class _Builder(Transformer):  # type: ignore[type-arg]
    """Makes our nodes while lark reduces; a node's place is its first token's."""

    def quantity(self, children: list[Any]) -> syntax.AnyNode:
        token: Token = children[0]
        return syntax.Quantity(token.start_pos or 0, " ".join(token.split()))

    def number(self, children: list[Any]) -> syntax.AnyNode:
        return syntax.Number(children[0].start_pos, str(children[0]))

    def yes(self, children: list[Any]) -> syntax.AnyNode:
        return syntax.YesNo(children[0].start_pos, True)

    def no(self, children: list[Any]) -> syntax.AnyNode:
        return syntax.YesNo(children[0].start_pos, False)

    def name(self, children: list[Any]) -> syntax.AnyNode:
        return syntax.Name(children[0].start_pos, str(children[0]))

    def call(self, children: list[Any]) -> syntax.AnyNode:
        name, *arguments = children
        return syntax.Call(name.start_pos, str(name), tuple(a for a in arguments if a is not None))

    def signed(self, children: list[Any]) -> syntax.AnyNode:
        sign, operand = children
        return syntax.Minus(sign.start_pos, operand) if sign == "-" else operand

    def arithmetic(self, children: list[Any]) -> syntax.AnyNode:
        left, operator, right = children
        return syntax.Arithmetic(left.at, str(operator), left, right)

    def comparison(self, children: list[Any]) -> syntax.AnyNode:
        left, operator, right = children
        return syntax.Comparison(operator.start_pos, str(operator), left, right)

    def membership(self, children: list[Any]) -> syntax.AnyNode:
        value, *members = children
        return syntax.In(value.at, value, tuple(members), False)

    def non_membership(self, children: list[Any]) -> syntax.AnyNode:
        value, _, *members = children
        return syntax.In(value.at, value, tuple(members), True)

    def negation(self, children: list[Any]) -> syntax.AnyNode:
        return syntax.Not(children[0].start_pos, children[1])

    def both(self, children: list[Any]) -> syntax.AnyNode:
        return syntax.And(children[0].at, tuple(children))

    def either(self, children: list[Any]) -> syntax.AnyNode:
        return syntax.Or(children[0].at, tuple(children))

    def choice(self, children: list[Any]) -> syntax.AnyNode:
        then, condition, otherwise = children
        return syntax.If(then.at, then, condition, otherwise)


@cache
def _lark() -> Lark:
    grammar = (Path(__file__).parent / "grammar.lark").read_text(encoding="utf-8")
    grammar = grammar.replace("%declare QUANTITY", f"QUANTITY.2: /{_QUANTITY}/")
    return Lark(grammar, parser="lalr", lexer="basic", transformer=_Builder(), maybe_placeholders=False)


def _problem(source: Source, error: UnexpectedInput) -> Problem:
    at = error.pos_in_stream or 0
    if isinstance(error, UnexpectedCharacters):
        character = source.text[at]
        shown = f"`{character}`" if character.isprintable() else f"the character U+{ord(character):04X}"
        return source.problem_at(at, f"{shown} is not part of the rule language", _STRANGERS.get(character, ""))
    assert isinstance(error, UnexpectedToken)
    token = error.token
    if token.type == "$END":
        return source.problem_at(len(source.text), f"the expression stops early: expected {_expected(error)}", "")
    return source.problem_at(at, f"expected {_expected(error)}, found `{token}`", _advice(source, token))


def _expected(error: UnexpectedToken) -> str:
    accepts = error.interactive_parser.accepts() if error.interactive_parser else set()  # type: ignore[no-untyped-call]
    if "NAME" in accepts:
        return "a fact, a quantity or `(`"
    if accepts == {"LSQB"}:
        return "a list such as `[a, b]`"
    closing = [mark for kind, mark in (("RPAR", "`)`"), ("RSQB", "`]`"), ("ELSE", "`else`")) if kind in accepts]
    words = closing or ["the end of the expression"]
    if "AND" in accepts:
        words = ["`and`, `or`", *words]
    if "SCALE" in accepts or "COMPARE" in accepts:
        words = ["an operator", *words]
    return " or ".join(words)


def _advice(source: Source, token: Token) -> str:
    before = source.text[: token.start_pos].rstrip()
    if token.type == "COMPARE":
        return "comparisons do not chain: write `a < b and b < c`"
    if token.type == "NAME" and before[-1:].isdigit():
        unit = nearest(str(token), ("in", "ft", "mm", "cm", "lb", "kg", "kN", "deg", "percent"))
        return f"`{token}` is no unit" + (f"; did you mean `{unit}`?" if unit else "")
    if token.type in ("IF", "ELSE"):
        return "a choice is written `a if condition else b`"
    return ""
