"""The syntax tree of an expression: one frozen class per kind of node, each with its place in the text.

`str(node)` prints canonical text that parses back to an equal tree; `at` (the offset in the source)
takes no part in equality.
"""

from dataclasses import dataclass, field
from typing import assert_never


@dataclass(frozen=True, slots=True)
class Node:
    """Any node; `at` is its offset in the expression's text."""

    at: int = field(compare=False)


@dataclass(frozen=True, slots=True)
class Number(Node):
    """A plain number, such as `3` or `0.5`."""

    text: str

    def __str__(self) -> str:
        return self.text


@dataclass(frozen=True, slots=True)
class Quantity(Node):
    """A number with its unit, such as `1-1/4 in`."""

    text: str

    def __str__(self) -> str:
        return self.text


@dataclass(frozen=True, slots=True)
class YesNo(Node):
    """`yes` or `no`."""

    value: bool

    def __str__(self) -> str:
        return "yes" if self.value else "no"


@dataclass(frozen=True, slots=True)
class Name(Node):
    """A fact (`receiver.opening`), a list member, a table or a subject."""

    name: str

    def __str__(self) -> str:
        return self.name


@dataclass(frozen=True, slots=True)
class Call(Node):
    """A function with its arguments."""

    function: str
    arguments: tuple["AnyNode", ...]

    def __str__(self) -> str:
        return f"{self.function}({', '.join(map(str, self.arguments))})"


@dataclass(frozen=True, slots=True)
class Minus(Node):
    """Unary minus."""

    operand: "AnyNode"

    def __str__(self) -> str:
        return f"-{bracketed(self.operand)}"


@dataclass(frozen=True, slots=True)
class Arithmetic(Node):
    """`+`, `-`, `*` or `/` of two numbers."""

    operator: str
    left: "AnyNode"
    right: "AnyNode"

    def __str__(self) -> str:
        return f"{bracketed(self.left)} {self.operator} {bracketed(self.right)}"


@dataclass(frozen=True, slots=True)
class Comparison(Node):
    """`==`, `!=`, `<`, `<=`, `>` or `>=` of two values."""

    operator: str
    left: "AnyNode"
    right: "AnyNode"

    def __str__(self) -> str:
        return f"{bracketed(self.left)} {self.operator} {bracketed(self.right)}"


@dataclass(frozen=True, slots=True)
class In(Node):
    """Membership of a value in a written list."""

    value: "AnyNode"
    members: tuple["AnyNode", ...]
    negated: bool

    def __str__(self) -> str:
        word = "not in" if self.negated else "in"
        return f"{bracketed(self.value)} {word} [{', '.join(map(bracketed, self.members))}]"


@dataclass(frozen=True, slots=True)
class Not(Node):
    """Negation."""

    operand: "AnyNode"

    def __str__(self) -> str:
        return f"not {bracketed(self.operand)}"


@dataclass(frozen=True, slots=True)
class And(Node):
    """Conjunction of two or more."""

    operands: tuple["AnyNode", ...]

    def __str__(self) -> str:
        return " and ".join(map(bracketed, self.operands))


@dataclass(frozen=True, slots=True)
class Or(Node):
    """Disjunction of two or more."""

    operands: tuple["AnyNode", ...]

    def __str__(self) -> str:
        return " or ".join(map(bracketed, self.operands))


@dataclass(frozen=True, slots=True)
class If(Node):
    """`a if condition else b`."""

    then: "AnyNode"
    condition: "AnyNode"
    otherwise: "AnyNode"

    def __str__(self) -> str:
        return f"{bracketed(self.then)} if {bracketed(self.condition)} else {bracketed(self.otherwise)}"


AnyNode = Number | Quantity | YesNo | Name | Call | Minus | Arithmetic | Comparison | In | Not | And | Or | If
_ATOMS = (Number, Quantity, YesNo, Name, Call)


def bracketed(node: AnyNode) -> str:
    """Print a node, in brackets unless it is an atom."""
    return str(node) if isinstance(node, _ATOMS) else f"({node})"


def below(node: AnyNode) -> tuple[AnyNode, ...]:
    """The nodes directly below a node."""
    match node:
        case Number() | Quantity() | YesNo() | Name():
            return ()
        case Call(arguments=nodes) | And(operands=nodes) | Or(operands=nodes):
            return nodes
        case Arithmetic() | Comparison():
            return (node.left, node.right)
        case In():
            return (node.value, *node.members)
        case If():
            return (node.then, node.condition, node.otherwise)
        case Minus() | Not():
            return (node.operand,)
        case _:
            assert_never(node)
