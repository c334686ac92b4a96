"""The rulebook's rules as programs of a general expression engine (CEL), for comparison in benchmarks.

CEL knows no bounds and no unknowns, so the comparison is on cases whose facts are all exact. Each rule is
one program that gives 0 passes, 1 fails, 3 does not apply; all of a case's programs share one context.
"""

from collections.abc import Mapping
from math import inf
from typing import Any, assert_never

import cel

from fitsvc.engine.point import Point
from fitsvc.facts import Case
from fitsvc.language import typed
from fitsvc.language.intervals import TOLERANCE
from fitsvc.language.truth import NO
from fitsvc.language.typed import AnyTyped, Read
from fitsvc.language.types import ListType, NumberType, Value
from fitsvc.rulebook.rules import Rule

STATED = ("min", "max", "abs", "span", "rear_axle_share", "front_axle_relief")
"""The functions that CEL can state as arithmetic; it has no trigonometry."""


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
    return [cel.compile(rule_text(rule, engine.bare_derived)) for rule in engine.rulebook.rules]


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


def rule_text(rule: Rule, derived: Mapping[str, AnyTyped]) -> str:
    """A rule as one CEL expression."""
    guards = [variable(f"present_{subject}") for subject in rule.subjects]
    guards += [text(rule.guard, derived)] if rule.guard is not None else []
    return f"({' && '.join(guards) or 'true'}) ? ({text(rule.requires, derived)} ? 0 : 1) : 3"


def text(node: AnyTyped, derived: Mapping[str, AnyTyped]) -> str:
    """A checked tree as CEL text, derived values written out."""

    def sub(part: AnyTyped) -> str:
        return text(part, derived)

    match node:
        case typed.Constant():
            return _constant(node)
        case Read():
            below = derived.get(node.name)
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
            return f"({a} - {b} <= {TOLERANCE!r} && {b} - {a} <= {TOLERANCE!r})"
        case typed.SameMember():
            return f"({sub(node.left)} == {sub(node.right)})"
        case typed.Membership():
            return f"({sub(node.operand)} in {[i for i in range(64) if node.mask >> i & 1]})"
        case typed.Not():
            return f"(!{sub(node.operand)})"
        case typed.All():
            return "(" + " && ".join(map(sub, node.operands)) + ")"
        case typed.Some():
            return "(" + " || ".join(map(sub, node.operands)) + ")"
        case typed.Conditional():
            return f"({sub(node.condition)} ? {sub(node.then)} : {sub(node.otherwise)})"
        case typed.LookupMember():
            return f"[{', '.join(_value(node, value) for value in node.values)}][{sub(node.key)}]"
        case typed.LookupBand():
            return _bands(node, sub(node.key))
        case typed.Known():
            return "true"
        case typed.Apply():
            return _apply(node, [sub(argument) for argument in node.arguments])
        case _:
            assert_never(node)


def _constant(node: typed.Constant) -> str:
    return _value(node, node.value)


def _value(node: AnyTyped, value: Value) -> str:
    if isinstance(value, tuple):
        return repr(float(value[0]))
    if isinstance(node.type, ListType):
        return str(value.bit_length() - 1)
    return "true" if value == 2 else "false"


def _bands(node: typed.LookupBand, key: str) -> str:
    found = _value(node, node.values[-1])
    for top, value in reversed(list(zip(node.tops, node.values, strict=False))):
        found = f"({key} <= {top + TOLERANCE!r} ? {_value(node, value)} : {found})"
    return found


def _apply(node: typed.Apply, arguments: list[str]) -> str:
    name = node.function.name
    if name in ("min", "max"):
        found = arguments[0]
        for other in arguments[1:]:
            found = f"({found} {'<' if name == 'min' else '>'} {other} ? {found} : {other})"
        return found
    if name == "abs":
        return f"({arguments[0]} < 0.0 ? -{arguments[0]} : {arguments[0]})"
    if name == "span":
        return arguments[0]
    weight, behind, wheelbase = arguments
    lever = f"({weight} * {behind} / {wheelbase})"
    return f"({weight} + {lever})" if name == "rear_axle_share" else lever
