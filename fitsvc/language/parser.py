"""Text of an expression → syntax tree, or problems placed at their characters. The grammar is grammar.lark.

A text's tree is remembered, since a rulebook reads each of its expressions once more for its digest.
"""

from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import Final

from fitsvc.language import syntax
from fitsvc.language.lalr import END, StrayError, Token, UnexpectedError, parsed
from fitsvc.language.problems import Problem, ProblemsFound, nearest
from fitsvc.language.source import Source
from fitsvc.language.syntax import AnyNode

LONGEST: Final = 2_000
DEEPEST: Final = 40
_REMEMBERED: Final = 4_096
"""A few rulebooks' expressions: the one that is shipped has about 600 different ones."""

_TURNED: Final = {"=<": "write `<=`", "=>": "write `>=`"}
"""What is taken for an operator with its signs turned round."""
_WORDS: Final = {"is": "write `==` to compare", "between": "write `a >= LOW and a <= HIGH`"}
"""Words of other languages, in place of what is written here."""
_STRANGERS: Final = {
    "=": "write `==` to compare",
    "&": "write `and`",
    "|": "write `or`",
    "!": "write `not`, or `!=` to compare",
    "'": "texts cannot be read by rules; list members are written without quotes",
    '"': "texts cannot be read by rules; list members are written without quotes",
    "{": "a list of members is written `[a, b]`",
}


def parse(source: Source) -> AnyNode:
    """Parse one expression; ProblemsFound names the character, what was expected and what to write."""
    text = source.text
    if len(text) > LONGEST:
        message = f"the expression has {len(text)} characters; at most {LONGEST} are read"
        raise ProblemsFound([source.problem_at(0, message, "move parts of it to `derived` names")])
    if not text.strip():
        raise ProblemsFound([source.problem_at(0, "the expression is empty", "write a condition such as `a <= b`")])
    try:
        tree, too_deep = _read(text)
    except StrayError as error:
        raise ProblemsFound([_stray(source, error.at)]) from None
    except UnexpectedError as error:
        raise ProblemsFound([_unexpected(source, error.token, error.expected)]) from None
    if too_deep is not None:
        message = f"the expression is nested deeper than {DEEPEST} levels"
        raise ProblemsFound([source.problem_at(too_deep, message, "move parts of it to `derived` names")])
    return tree


@lru_cache(maxsize=_REMEMBERED)
def _read(text: str) -> tuple[AnyNode, int | None]:
    """A text's tree, and the place of the first node that is nested too deep."""
    tree: AnyNode = parsed(text, MAKERS)
    return tree, _too_deep(tree)


def _too_deep(tree: AnyNode) -> int | None:
    """Bound the tree's depth, walking it without recursion, before any recursive code sees it."""
    level = [tree]
    for _ in range(DEEPEST):
        level = [below for node in level for below in syntax.below(node)]
        if not level:
            return None
    return level[0].at


MAKERS: Final[Mapping[str, Callable[..., AnyNode]]] = {
    "quantity": lambda token: syntax.Quantity(token.at, " ".join(token.text.split())),
    "number": lambda token: syntax.Number(token.at, token.text),
    "yes": lambda token: syntax.YesNo(token.at, True),
    "no": lambda token: syntax.YesNo(token.at, False),
    "name": lambda token: syntax.Name(token.at, token.text),
    "call": lambda name, *arguments: syntax.Call(name.at, name.text, arguments),
    "signed": lambda sign, operand: syntax.Minus(sign.at, operand) if sign.text == "-" else operand,
    "arithmetic": lambda left, operator, right: syntax.Arithmetic(left.at, operator.text, left, right),
    "comparison": lambda left, operator, right: syntax.Comparison(operator.at, operator.text, left, right),
    "membership": lambda value, *members: syntax.In(value.at, value, members, False),
    "non_membership": lambda value, _, *members: syntax.In(value.at, value, members, True),
    "negation": lambda word, operand: syntax.Not(word.at, operand),
    "both": lambda *operands: syntax.And(operands[0].at, operands),
    "either": lambda *operands: syntax.Or(operands[0].at, operands),
    "choice": lambda then, condition, otherwise: syntax.If(then.at, then, condition, otherwise),
}
"""What is made by each rule of the grammar that has a name behind `->`; a node's place is its first token's."""


def _stray(source: Source, at: int) -> Problem:
    character = source.text[at]
    shown = f"`{character}`" if character.isprintable() else f"the character U+{ord(character):04X}"
    help = _TURNED.get(source.text[at : at + 2]) or _STRANGERS.get(character, "")
    return source.problem_at(at, f"{shown} is not part of the rule language", help)


def _unexpected(source: Source, token: Token, expected: frozenset[str]) -> Problem:
    if token.kind == END:
        return source.problem_at(token.at, f"the expression stops early: expected {_told(expected)}", "")
    message = f"expected {_told(expected)}, found `{token.text}`"
    return source.problem_at(token.at, message, _advice(source, token))


def _told(expected: frozenset[str]) -> str:
    """What was expected, in words."""
    if "NAME" in expected:
        return "a fact, a quantity or `(`"
    if expected == {"LSQB"}:
        return "a list such as `[a, b]`"
    closing = [mark for kind, mark in (("RPAR", "`)`"), ("RSQB", "`]`"), ("ELSE", "`else`")) if kind in expected]
    words = closing or ["the end of the expression"]
    if "AND" in expected:
        words = ["`and`, `or`", *words]
    if "SCALE" in expected or "COMPARE" in expected:
        words = ["an operator", *words]
    return " or ".join(words)


def _advice(source: Source, token: Token) -> str:
    before = source.text[: token.at].rstrip()
    if token.kind == "COMPARE":
        return "comparisons do not chain: write `a < b and b < c`"
    if token.text == "," and before[-1:].isdigit():
        return "thousands are written without a comma: `1000 lb`"
    if token.text.casefold() in ("and", "or", "not", "if", "else", "in") and token.kind == "NAME":
        return f"write `{token.text.casefold()}`, in small letters"
    if token.text in _WORDS:
        return _WORDS[token.text]
    if token.kind == "NAME" and before[-1:].isdigit():
        unit = nearest(token.text, ("in", "ft", "mm", "cm", "lb", "kg", "kN", "deg", "percent"))
        return f"`{token.text}` is no unit" + (f"; did you mean `{unit}`?" if unit else "")
    if token.kind in ("IF", "ELSE"):
        return "a choice is written `a if condition else b`"
    return ""
