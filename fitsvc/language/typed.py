"""The checked tree: names resolved, types settled, and few kinds of node, so each evaluator is short.

`>=`, `<`, `>` and `!=` are written with `AtMost`, `Equal` and `Not`; a list member is a bit mask. Equal
trees compare equal, which is how a shared part is computed once.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from fitsvc.language.functions import Function
from fitsvc.language.intervals import Bounds
from fitsvc.language.types import ListType, NumberType, TruthType, Type, Value


@dataclass(frozen=True, slots=True)
class Typed:
    """Any checked node."""

    type: Type


@dataclass(frozen=True, slots=True)
class Constant(Typed):
    """A value written in the rule."""

    value: Value


@dataclass(frozen=True, slots=True)
class Read(Typed):
    """A fact of the case, `subject.fact`; unknown when the case does not hold it."""

    name: str


@dataclass(frozen=True, slots=True)
class Present(Typed):
    """Whether a subject is part of the question, or a fact is given in it: always yes or no."""

    name: str


@dataclass(frozen=True, slots=True)
class Negative(Typed):
    """Minus a number."""

    operand: "AnyTyped"


@dataclass(frozen=True, slots=True)
class Arithmetic(Typed):
    """`+`, `-`, `*` or `/`."""

    operator: str
    left: "AnyTyped"
    right: "AnyTyped"


@dataclass(frozen=True, slots=True)
class AtMost(Typed):
    """left <= right."""

    left: "AnyTyped"
    right: "AnyTyped"


@dataclass(frozen=True, slots=True)
class Equal(Typed):
    """left == right, of numbers."""

    left: "AnyTyped"
    right: "AnyTyped"


@dataclass(frozen=True, slots=True)
class SameMember(Typed):
    """left == right, of members of one list."""

    left: "AnyTyped"
    right: "AnyTyped"


@dataclass(frozen=True, slots=True)
class Among(Typed):
    """Whether a list value is one of the members in a mask."""

    operand: "AnyTyped"
    mask: int


@dataclass(frozen=True, slots=True)
class Length(Typed):
    """The length of a size, as bounds over its possible members."""

    operand: "AnyTyped"


@dataclass(frozen=True, slots=True)
class Not(Typed):
    """Negation."""

    operand: "AnyTyped"


@dataclass(frozen=True, slots=True)
class All(Typed):
    """Conjunction."""

    operands: tuple["AnyTyped", ...]


@dataclass(frozen=True, slots=True)
class Some(Typed):
    """Disjunction."""

    operands: tuple["AnyTyped", ...]


@dataclass(frozen=True, slots=True)
class Choice(Typed):
    """One of two values by a condition; both, joined, while the condition is unknown."""

    condition: "AnyTyped"
    then: "AnyTyped"
    otherwise: "AnyTyped"


@dataclass(frozen=True, slots=True)
class Apply(Typed):
    """A registered function of numbers."""

    function: Function
    arguments: tuple["AnyTyped", ...]


@dataclass(frozen=True, slots=True)
class LookupMember(Typed):
    """A table's value for a list member: one value a member, in the list's order; joined over a mask."""

    key: "AnyTyped"
    values: tuple[Value, ...]
    table: str


@dataclass(frozen=True, slots=True)
class LookupBand(Typed):
    """A table's value for a number: the value of the first band whose top is not below it."""

    key: "AnyTyped"
    tops: tuple[float, ...]
    values: tuple[Value, ...]
    table: str


@dataclass(frozen=True, slots=True)
class Known(Typed):
    """Yes where a value is known within bounds, else unknown; never no, so that no answer rests on ignorance."""

    operand: "AnyTyped"


AnyTyped = (
    Constant | Read | Present | Negative | Arithmetic | AtMost | Equal | SameMember | Among | Length | Not
    | All | Some | Choice | Apply | LookupMember | LookupBand | Known
)  # fmt: skip


def parts(node: AnyTyped) -> tuple[AnyTyped, ...]:
    """The nodes directly below a node."""
    match node:
        case Constant() | Read() | Present():
            return ()
        case All(operands=below) | Some(operands=below) | Apply(arguments=below):
            return below
        case Choice():
            return (node.condition, node.then, node.otherwise)
        case Arithmetic() | AtMost() | Equal() | SameMember():
            return (node.left, node.right)
        case LookupMember() | LookupBand():
            return (node.key,)
        case _:
            return (node.operand,)


def reads(node: AnyTyped) -> dict[str, None]:
    """The names a node reads, in order of appearance."""
    if isinstance(node, Read):
        return {node.name: None}
    found: dict[str, None] = {}
    for part in parts(node):
        found |= reads(part)
    return found


def asked(node: AnyTyped) -> set[str]:
    """The subjects and facts whose presence a node asks for."""
    if isinstance(node, Present):
        return {node.name}
    return set().union(*(asked(part) for part in parts(node)))


def join(type_: Type, values: Sequence[Value]) -> Value:
    """The least value of a type that holds all the given ones."""
    if isinstance(type_, NumberType):
        bounds: list[Bounds] = list(values)  # type: ignore[arg-type]
        return (min(lo for lo, _ in bounds), max(hi for _, hi in bounds))
    numbers: list[int] = list(values)  # type: ignore[arg-type]
    if isinstance(type_, ListType):
        mask = 0
        for number in numbers:
            mask |= number
        return mask
    assert isinstance(type_, TruthType)
    return numbers[0] if len(set(numbers)) == 1 else type_.unknown
