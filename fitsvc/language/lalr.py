"""A shift-reduce parser: tokens of a text, a stack, and the table of a grammar that says what to do.

The table is `grammar.json`, made from `grammar.lark` beside it by lark, which would take longer to make it than a
question takes to answer; a test holds the one to the other.
"""

import json
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Final, NamedTuple

END: Final = "$END"
TABLE: Final = Path(__file__).with_name("grammar.json")


class Token(NamedTuple):
    """A piece of a text: what kind it is, as the grammar calls it, and where it begins."""

    kind: str
    text: str
    at: int


@dataclass(frozen=True, slots=True)
class Production:
    """What is put in place of the topmost values: its name in the table, which of them are kept, and what makes it.

    Of each value `kept` says whether it is dropped (`-`), kept (`+`) or a list whose items are kept (`*`). A rule
    without a maker gives its one value on, or a list when its name begins with `_`. `renames` says that it does nothing
    else than give its only value on, as most do.
    """

    origin: str
    kept: str
    maker: str
    renames: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ParseTable:
    """What to do in each state with each kind of token: shift to a state (from 0 on), or reduce by a rule (below 0)."""

    tokens: "re.Pattern[str]"
    words: Mapping[str, str]
    rules: Sequence[Production]
    states: Sequence[Mapping[str, int]]
    start: int
    end: int

    def after(self, rule: Production, stack: list[int]) -> int:
        """Take what a rule stands for off a stack of states, and return the state that follows."""
        del stack[len(stack) - len(rule.kept) :]
        return self.states[stack[-1]][rule.origin]

    def expected(self, stack: Sequence[int]) -> frozenset[str]:
        """The kinds of tokens that can follow."""
        return frozenset(kind for kind in self.states[stack[-1]] if kind.isupper() and self._takes(kind, [*stack]))

    def _takes(self, kind: str, stack: list[int]) -> bool:
        while (step := self.states[stack[-1]].get(kind)) is not None and step < 0:
            stack.append(self.after(self.rules[-1 - step], stack))
            if stack[-1] == self.end:
                return True
        return step is not None


class StrayError(Exception):
    """Raised at a character that no token begins with."""

    def __init__(self, at: int) -> None:
        super().__init__(at)
        self.at = at


class UnexpectedError(Exception):
    """Raised at a token that cannot stand where it does, with the kinds of which one was expected."""

    def __init__(self, token: Token, expected: frozenset[str]) -> None:
        super().__init__(token)
        self.token, self.expected = token, expected


def parsed(text: str, makers: Mapping[str, Callable[..., Any]]) -> Any:
    """What the makers make of a text: each is called with what its rule keeps, tokens and what others have made.

    StrayError at the first character that begins no token, UnexpectedError at the first token that no rule takes.
    """
    table = _table()
    steps, stack, values = table.states, [table.start], list[Any]()
    for token in _tokens(text, table):
        while (step := steps[stack[-1]].get(token.kind)) is not None and step < 0:
            rule = table.rules[-1 - step]
            if rule.renames:
                stack[-1] = steps[stack[-2]][rule.origin]
            else:
                _reduce(rule, values, makers)
                stack.append(table.after(rule, stack))
            if stack[-1] == table.end:
                return values[-1]
        if step is None:
            raise UnexpectedError(token, table.expected(stack))
        stack.append(step)
        values.append(token)
    raise AssertionError("a table ends every text")


def _reduce(rule: Production, values: list[Any], makers: Mapping[str, Callable[..., Any]]) -> None:
    """Put what a rule makes in place of the values it stands for."""
    parts: list[Any] = []
    start = len(values) - len(rule.kept)
    for sign, value in zip(rule.kept, values[start:], strict=True):
        if sign == "+":
            parts.append(value)
        elif sign == "*":
            parts += value
    values[start:] = [makers[rule.maker](*parts) if rule.maker else parts if rule.origin[0] == "_" else parts[0]]


def _tokens(text: str, table: ParseTable) -> Iterator[Token]:
    at = 0
    while at < len(text):
        found = table.tokens.match(text, at)
        if found is None:
            raise StrayError(at)
        if kind := found.lastgroup:
            yield Token(table.words.get(found[0], kind) if kind == "NAME" else kind, found[0], at)
        at = found.end()
    yield Token(END, "", at)


@cache
def _table() -> ParseTable:
    read = json.loads(TABLE.read_text("utf-8"))
    pattern = "|".join(f"(?P<{kind}>{pattern})" if kind else f"(?:{pattern})" for kind, pattern in read["tokens"])
    rules = [
        Production(origin, kept, maker, renames=kept == "+" and not maker and origin[0] != "_")
        for origin, kept, maker in read["rules"]
    ]
    return ParseTable(
        tokens=re.compile(pattern),
        words=read["words"],
        rules=rules,
        states=read["states"],
        start=read["start"],
        end=read["end"],
    )
