"""The checked tree: names resolved, types settled, and few kinds of node, so each evaluator is short.

`>=`, `<`, `>` and `!=` are written with `LessOrEqual`, `Equal` and `Not`; a list member is a bit mask. Equal
trees compare equal, which is how a shared part is computed once; a node keeps its hash, since trees are looked up
often while rules are compiled.
"""

from collections.abc import Sequence
from functools import reduce
from operator import or_
from typing import Final, assert_never

from msgspec import Struct

from fitsvc.language.functions import Function
from fitsvc.language.intervals import Bounds
from fitsvc.language.truth import YES
from fitsvc.language.types import TRUTH, ListType, Mask, NumberType, TruthType, Type, Value

TOLD: Final = ".told"
"""Behind a figure's name: the end that was told of it, where nobody told the other."""


class Typed(Struct, frozen=True, cache_hash=True):
    """Any checked node."""

    type: Type


class Constant(Typed, frozen=True, cache_hash=True):
    """A value written in the rule."""

    value: Value


class Read(Typed, frozen=True, cache_hash=True):
    """A fact of the case, `subject.fact`; unknown when the case does not hold it.

    With `told`, what was told of it, in the slot that has it where that is one end alone; else the fact.
    """

    name: str
    told: bool = False

    @property
    def slot(self) -> str:
        """Under which name the case has what was told of the fact."""
        return f"{self.name}{TOLD}"

    @property
    def whole(self) -> "Read":
        """The fact itself."""
        return Read(self.type, self.name) if self.told else self


class Present(Typed, frozen=True, cache_hash=True):
    """Whether a subject is part of the question, or a fact is given in it: always yes or no."""

    type: TruthType
    name: str


class Negative(Typed, frozen=True, cache_hash=True):
    """Minus a number."""

    type: NumberType
    operand: "AnyTyped"


class Arithmetic(Typed, frozen=True, cache_hash=True):
    """`+`, `-`, `*` or `/`."""

    type: NumberType
    operator: str
    left: "AnyTyped"
    right: "AnyTyped"


class LessOrEqual(Typed, frozen=True, cache_hash=True):
    """left <= right."""

    type: TruthType
    left: "AnyTyped"
    right: "AnyTyped"


class Equal(Typed, frozen=True, cache_hash=True):
    """left == right, of numbers."""

    type: TruthType
    left: "AnyTyped"
    right: "AnyTyped"


class SameMember(Typed, frozen=True, cache_hash=True):
    """left == right, of members of one list."""

    type: TruthType
    left: "AnyTyped"
    right: "AnyTyped"


class Membership(Typed, frozen=True, cache_hash=True):
    """Whether a list value is one of the members in a mask; `others` are all other members of the list."""

    type: TruthType
    operand: "AnyTyped"
    mask: Mask
    others: Mask


class Not(Typed, frozen=True, cache_hash=True):
    """Negation."""

    type: TruthType
    operand: "AnyTyped"


class All(Typed, frozen=True, cache_hash=True):
    """Conjunction."""

    type: TruthType
    operands: tuple["AnyTyped", ...]


class Some(Typed, frozen=True, cache_hash=True):
    """Disjunction."""

    type: TruthType
    operands: tuple["AnyTyped", ...]


class Conditional(Typed, frozen=True, cache_hash=True):
    """One of two values by a condition; both, joined, while the condition is unknown."""

    condition: "AnyTyped"
    then: "AnyTyped"
    otherwise: "AnyTyped"


class Apply(Typed, frozen=True, cache_hash=True):
    """A registered function of numbers."""

    type: NumberType
    function: Function
    arguments: tuple["AnyTyped", ...]


class LookupMember(Typed, frozen=True, cache_hash=True):
    """A value for a list member, of a table (or of none, a size's length): one a member, joined over a mask."""

    key: "AnyTyped"
    values: tuple[Value, ...]
    table: str


class LookupBand(Typed, frozen=True, cache_hash=True):
    """A table's value for a number: the value of the first band whose top is not below it."""

    key: "AnyTyped"
    tops: tuple[float, ...]
    values: tuple[Value, ...]
    table: str


class LookupBetween(Typed, frozen=True, cache_hash=True):
    """A table's value for a number: on the straight line between the two of its points next to it.

    Nothing is known of it where the number may be below the first point or beyond the last.
    """

    type: NumberType
    key: "AnyTyped"
    at: tuple[float, ...]
    values: tuple[Bounds, ...]
    table: str


class Known(Typed, frozen=True, cache_hash=True):
    """Yes where a value is known within bounds, else unknown; never no, so that no answer rests on ignorance."""

    type: TruthType
    operand: "AnyTyped"


Leaf = Constant | Read | Present
"""What has nothing below it."""
Numeric = Negative | Arithmetic | Apply
"""What is always a number, each of whose parts always matters."""
Test = LessOrEqual | Equal | SameMember | Membership | Not | Known
"""What is always a truth, each of whose parts always matters."""
Lookup = LookupMember | LookupBand | LookupBetween
Lazy = All | Some | Conditional
"""What may be settled by some of its parts, so that the others do not matter."""
AnyTyped = Leaf | Numeric | Test | Lookup | Lazy


ALWAYS: Final = Constant(TRUTH, YES)
"""The guard of what has none."""


def parts(node: AnyTyped) -> tuple[AnyTyped, ...]:
    """The nodes directly below a node."""
    match node:
        case Constant() | Read() | Present():
            return ()
        case All(operands=below) | Some(operands=below) | Apply(arguments=below):
            return below
        case Conditional():
            return (node.condition, node.then, node.otherwise)
        case Arithmetic() | LessOrEqual() | Equal() | SameMember():
            return (node.left, node.right)
        case LookupMember() | LookupBand() | LookupBetween():
            return (node.key,)
        case Negative() | Membership() | Not() | Known():
            return (node.operand,)
        case _:
            assert_never(node)


def moves(node: AnyTyped, kinds: Sequence[Type]) -> Sequence[int]:
    """Which way a node moves with each of its parts, given the parts' types: +1 up, -1 down, 0 both or unsure."""
    match node:
        case Negative() | Not():
            return (-1,)
        case LessOrEqual():
            return (-1, 1)
        case All() | Some():
            return (1,) * len(kinds)
        case Conditional():
            return (0, 1, 1)
        case Arithmetic():
            return _moves_of(node.operator, *kinds)
        case Apply():
            return node.function.moves(len(kinds))
        case Constant() | Read() | Present() | Equal() | SameMember() | Membership() | Known():
            return (0,) * len(kinds)
        case LookupMember() | LookupBand() | LookupBetween():
            return (0,)
        case _:
            assert_never(node)


def _moves_of(operator: str, left: Type, right: Type) -> tuple[int, int]:
    """A sum rises with both; a product with each side if the other is not below zero, a quotient if neither is."""
    if operator in "+-":
        return (1, 1 if operator == "+" else -1)
    left_positive, right_positive = (isinstance(kind, NumberType) and not kind.negative for kind in (left, right))
    return (int(right_positive), int(left_positive) if operator == "*" else -int(left_positive and right_positive))


def keeps_choices(node: AnyTyped) -> bool:
    """Whether what is read once, below only such nodes, is never lost while it is open.

    That is, a truth that comes out alike with each of several values of it comes out so while it is open between them.
    A figure does not keep them: neither of two figures may be a third, and yet what lies between the two may be.
    """
    match node:
        case All() | Some() | Not() | Membership() | SameMember():
            return True
        case Conditional():
            return isinstance(node.type, TruthType)
        case Constant() | Read() | Present() | Negative() | Arithmetic() | LessOrEqual() | Equal() | Apply():
            return False
        case LookupMember() | LookupBand() | LookupBetween() | Known():
            return False
        case _:
            assert_never(node)


def has_pole(node: AnyTyped) -> bool:
    """Whether a node can be infinite, or beyond all floats, where none of its parts is."""
    match node:
        case Apply():
            return node.function.pole
        case Arithmetic():
            return node.operator == "/"
        case Constant() | Read() | Present() | Negative() | LessOrEqual() | Equal() | SameMember() | Membership():
            return False
        case Not() | All() | Some() | Conditional() | LookupMember() | LookupBand() | LookupBetween() | Known():
            return False
        case _:
            assert_never(node)


def reads(node: AnyTyped) -> dict[str, None]:
    """The names a node reads, in order of appearance."""
    if isinstance(node, Read):
        return {node.name: None}
    found: dict[str, None] = {}
    for part in parts(node):
        found |= reads(part)
    return found


def presences(node: AnyTyped) -> set[str]:
    """The subjects and facts whose presence a node asks for."""
    if isinstance(node, Present):
        return {node.name}
    return set().union(*(presences(part) for part in parts(node)))


def join(kind: Type, values: Sequence[Value]) -> Value:
    """The least value of a type that holds all the given ones."""
    if isinstance(kind, NumberType):
        bounds = [value for value in values if isinstance(value, tuple)]
        return (min(low for low, _ in bounds), max(high for _, high in bounds))
    numbers = [value for value in values if isinstance(value, int)]
    if isinstance(kind, ListType):
        return Mask(reduce(or_, numbers))
    return numbers[0] if len(set(numbers)) == 1 else kind.unknown
