"""The rulebook's rules as programs of a general expression engine (CEL) and as plain Python, for benchmarks.

Neither knows bounds or unknowns, so the comparison is on cases whose facts are all exact. A rule gives 0 passes, 1
fails, 3 does not apply. CEL has the rules as one program each, or as one program of all that gives a list; in Python
they are one function without a loop or a call.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from math import inf
from typing import Any, assert_never

import cel

from fitsvc.engine.point import Point
from fitsvc.facts import Case
from fitsvc.language import typed
from fitsvc.language.between import spelt_out
from fitsvc.language.intervals import TOLERANCE
from fitsvc.language.truth import NO
from fitsvc.language.typed import AnyTyped, Read
from fitsvc.language.types import ListType, NumberType, Value
from fitsvc.rulebook.rules import Rule

STATED = ("min", "max", "abs", "span", "rear_axle_share", "front_axle_relief")
"""The functions that CEL can state as arithmetic; it has no trigonometry."""


@dataclass(frozen=True, slots=True)
class Dialect:
    """How a language writes what the two write differently."""

    both: str
    either: str
    never: str
    yes: str
    no: str
    choice: str
    """With {0} the condition, {1} what then, {2} what otherwise."""


CEL = Dialect(" && ", " || ", "!", "true", "false", "({0} ? {1} : {2})")
PYTHON = Dialect(" and ", " or ", "not ", "True", "False", "({1} if {0} else {2})")


def can_state(rule: Rule, derived: Mapping[str, AnyTyped]) -> bool:
    """Whether CEL can state a rule at all."""
    return all(_can_state(node, derived) for node in (rule.guard, rule.requires) if node is not None)


def _can_state(node: AnyTyped, derived: Mapping[str, AnyTyped]) -> bool:
    if isinstance(node, typed.Apply) and node.function.name not in STATED:
        return False
    below = derived.get(node.name) if isinstance(node, Read) else None
    return all(_can_state(part, derived) for part in ((below,) if below is not None else typed.parts(node)))


def exact(read: Read) -> Value:
    """A value to complete a case with where it does not tell a fact."""
    if isinstance(read.type, ListType):
        return read.type.member(0)
    return (0.0, 0.0) if isinstance(read.type, NumberType) else NO


def programs(engine: Point) -> list[Any]:
    """One precompiled program a rule."""
    return [cel.compile(one) for one in _rules(engine, CEL)]


def program(engine: Point) -> Any:
    """One precompiled program of all rules, that gives their results as a list."""
    return cel.compile(f"[{', '.join(_rules(engine, CEL))}]")


def straight_line(engine: Point, names: Sequence[str]) -> Callable[..., list[int]]:
    """All rules as one Python function of the variables of these names, that gives their results as a list."""
    rules = ", ".join(_rules(engine, PYTHON))
    return eval(f"lambda {', '.join(names)}: [{rules}]")  # type: ignore[no-any-return]  # noqa: S307  # text made above out of the rulebook, no one else's


def _rules(engine: Point, dialect: Dialect) -> list[str]:
    return [_Written(engine.bare_derived, dialect).rule(rule) for rule in engine.rulebook.rules]


def variables(case: Case, reads: Mapping[str, Read], names: list[str]) -> dict[str, Any]:
    """A case's variables: every fact under its name, and whether what rules ask the presence of is there."""
    found: dict[str, Any] = {variable(f"present_{name}"): name in case.present for name in names}
    found |= {variable(name): plain(read, case.facts[name]) for name, read in reads.items()}
    return found


def reads_of(engine: Point) -> dict[str, Read]:
    """Every fact that some rule reads."""
    found: dict[str, Read] = {}
    for number in range(len(engine.rulebook.rules)):
        found |= {read.name: read for read in engine.support(number, False).leaves}
    return found


def variable(name: str) -> str:
    """A fact's name as a CEL variable."""
    return name.replace(".", "__")


def plain(read: Read, value: Value) -> float | int | bool:
    """An exact value as CEL has it; of an unknown one, its low end or first member."""
    if isinstance(value, tuple):
        return value[0] if value[0] > -inf else 0.0
    if isinstance(read.type, ListType):
        return (value & -value).bit_length() - 1
    return value == 2


class _Written:
    """Writes checked trees as text of a dialect, derived values written out."""

    def __init__(self, derived: Mapping[str, AnyTyped], dialect: Dialect) -> None:
        self._derived, self._in = derived, dialect

    def rule(self, rule: Rule) -> str:
        """A rule as one expression."""
        guards = [variable(f"present_{subject}") for subject in rule.subjects]
        guards += [self.text(rule.guard)] if rule.guard is not None else []
        passes = self._in.choice.format(self.text(rule.requires), 0, 1)
        return self._in.choice.format(f"({self._in.both.join(guards) or self._in.yes})", passes, 3)

    def text(self, node: AnyTyped) -> str:
        """A tree as text."""
        sub = self.text
        match node:
            case typed.Constant():
                return self._value(node, node.value)
            case Read():
                below = self._derived.get(node.name)
                return sub(below) if below is not None else variable(node.name)
            case typed.Present():
                return variable(f"present_{node.name}")
            case typed.Negative():
                return f"(-{sub(node.operand)})"
            case typed.Arithmetic():
                return f"({sub(node.left)} {node.operator} {sub(node.right)})"
            case typed.LessOrEqual():
                return f"({sub(node.left)} <= {sub(node.right)} + {TOLERANCE!r})"
            case typed.Equal():
                a, b = sub(node.left), sub(node.right)
                return f"({a} - {b} <= {TOLERANCE!r}{self._in.both}{b} - {a} <= {TOLERANCE!r})"
            case typed.SameMember():
                return f"({sub(node.left)} == {sub(node.right)})"
            case typed.Membership():
                return f"({sub(node.operand)} in {[i for i in range(64) if node.mask >> i & 1]})"
            case typed.Not():
                return f"({self._in.never}{sub(node.operand)})"
            case typed.All():
                return f"({self._in.both.join(map(sub, node.operands))})"
            case typed.Some():
                return f"({self._in.either.join(map(sub, node.operands))})"
            case typed.Conditional():
                return self._in.choice.format(sub(node.condition), sub(node.then), sub(node.otherwise))
            case typed.LookupMember():
                return f"[{', '.join(self._value(node, value) for value in node.values)}][{sub(node.key)}]"
            case typed.LookupBand():
                return self._bands(node, sub(node.key))
            case typed.LookupBetween():
                return sub(spelt_out(node))
            case typed.Known():
                return self._in.yes
            case typed.Apply():
                return self._apply(node, [sub(argument) for argument in node.arguments])
            case _:
                assert_never(node)

    def _value(self, node: AnyTyped, value: Value) -> str:
        if isinstance(value, tuple):
            return repr(float(value[0]))
        if isinstance(node.type, ListType):
            return str(value.bit_length() - 1)
        return self._in.yes if value == 2 else self._in.no

    def _bands(self, node: typed.LookupBand, key: str) -> str:
        found = self._value(node, node.values[-1])
        for top, value in reversed(list(zip(node.tops, node.values, strict=False))):
            found = self._in.choice.format(f"{key} <= {top + TOLERANCE!r}", self._value(node, value), found)
        return found

    def _apply(self, node: typed.Apply, arguments: list[str]) -> str:
        name, choice = node.function.name, self._in.choice
        if name in ("min", "max"):
            found = arguments[0]
            for other in arguments[1:]:
                found = choice.format(f"{found} {'<' if name == 'min' else '>'} {other}", found, other)
            return found
        if name == "abs":
            return choice.format(f"{arguments[0]} < 0.0", f"-{arguments[0]}", arguments[0])
        if name == "span":
            return arguments[0]
        weight, behind, wheelbase = arguments
        lever = f"({weight} * {behind} / {wheelbase})"
        return f"({weight} + {lever})" if name == "rear_axle_share" else lever
