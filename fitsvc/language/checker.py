"""Syntax tree → checked tree: names resolved, types and dimensions settled, every problem collected.

The checker never stops at the first problem: a part that has one becomes None, and what stands above it
says nothing more about it. All messages of this stage are in `complaints.py`.
"""

from collections.abc import Mapping, Sequence
from dataclasses import KW_ONLY, dataclass, field
from typing import NamedTuple, TypeVar, assert_never

from fitsvc.language import complaints as say
from fitsvc.language import syntax, typed
from fitsvc.language.functions import FUNCTIONS, SPECIAL_FORMS, Function
from fitsvc.language.intervals import TINY_DIVISOR, TOLERANCE, Bounds
from fitsvc.language.parser import parse
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.language.quantities import Dimension, QuantityError, parse_any
from fitsvc.language.source import Source
from fitsvc.language.tables import Table
from fitsvc.language.truth import NO, YES
from fitsvc.language.typed import AnyTyped
from fitsvc.language.types import TRUTH, ListType, Mask, NumberType, TruthType, Type

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Names:
    """What an expression may speak of: `given` are facts that a question itself may give, `texts` are read by none.

    `lost` are facts and tables whose own entries are faulty: what reads one is refused without a word more.
    `ranges` are what facts can be, in the inside unit and as it is written: a figure beyond that decides nothing.
    `strict` refuses figures that come to the same whatever is told, as a quotient by zero does: the language has a
    value for them, and who writes one in a rule means another.
    """

    facts: Mapping[str, Type]
    subjects: frozenset[str]
    tables: Mapping[str, Table] = field(default_factory=dict)
    _: KW_ONLY
    given: frozenset[str] = frozenset()
    texts: frozenset[str] = frozenset()
    lost: frozenset[str] = frozenset()
    ranges: Mapping[str, tuple[Bounds, tuple[str, str]]] = field(default_factory=dict)
    strict: bool = False

    def is_lost(self, name: str) -> bool:
        """Whether a name, or what it is a part of, is lost."""
        parts = name.split(".")
        return any(".".join(parts[: i + 1]) in self.lost for i in range(len(parts)))


def check(source: Source, names: Names, expected: Type | None = None) -> AnyTyped:
    """Parse and check one expression of an expected type (any, when None); ProblemsFound has all problems."""
    checker = _Checker(source, names, parse(source))
    node = checker.value(checker.tree, expected)
    if node is not None and expected is not None:
        node = checker.fit(checker.tree, node, expected)
    if checker.problems or node is None:
        raise ProblemsFound(checker.problems)
    return node


class _Checker:
    """State of one check: the source and the problems so far."""

    def __init__(self, source: Source, names: Names, tree: syntax.AnyNode) -> None:
        self.source, self.names, self.tree = source, names, tree
        self.problems: list[Problem] = []

    def complain(self, node: syntax.AnyNode, complaint: tuple[str, str]) -> None:
        """Note a problem at a node."""
        self.problems.append(self.source.problem_at(node.at, *complaint))

    def value(self, node: syntax.AnyNode, expected: Type | None) -> AnyTyped | None:
        """Check a node of any kind; `expected` helps to read bare list members."""
        match node:
            case syntax.Quantity():
                return self._quantity(node, expected)
            case syntax.Number():
                return self._number(node)
            case syntax.YesNo():
                return typed.Constant(TRUTH, YES if node.value else NO)
            case syntax.Name():
                return self._name(node, expected)
            case syntax.Minus():
                return self._minus(node)
            case syntax.Arithmetic():
                return self._arithmetic(node)
            case syntax.Comparison():
                return self._comparison(node)
            case syntax.In():
                return self._in(node)
            case syntax.Not():
                return self._not(node)
            case syntax.And():
                return self._chain(typed.All, node)
            case syntax.Or():
                return self._chain(typed.Some, node)
            case syntax.If():
                return self._if(node, expected)
            case syntax.Call():
                return self._call(node)
            case _:
                assert_never(node)

    def fit(self, node: syntax.AnyNode, value: AnyTyped, expected: Type) -> AnyTyped | None:
        """Hold a value to a type, reading a size as a length where a length is wanted."""
        found = value.type
        if isinstance(expected, NumberType):
            value = self._as_number(value)
            if isinstance(value.type, NumberType) and value.type.dimension == expected.dimension:
                return value
        elif found == expected:
            return value
        self.complain(node, say.wrong_type(node, found, expected))
        return None

    def truth(self, node: syntax.AnyNode) -> AnyTyped | None:
        """Check a node that must be a condition."""
        value = self.value(node, TRUTH)
        return None if value is None else self.fit(node, value, TRUTH)

    @staticmethod
    def _as_number(value: AnyTyped) -> AnyTyped:
        kind = value.type
        if isinstance(kind, ListType) and kind.dimension is not None:
            return typed.LookupMember(NumberType(kind.dimension, negative=False), value, kind.lengths, "")
        return value

    def number(self, node: syntax.AnyNode) -> "_Number | None":
        """Check a node that must be a number of some dimension; a size is one, its length."""
        value = self.value(node, None)
        if value is None:
            return None
        value = self._as_number(value)
        if not isinstance(value.type, NumberType):
            self.complain(node, say.not_a_number(node, value.type))
            return None
        return _Number(value, value.type)

    def _quantity(self, node: syntax.Quantity, expected: Type | None) -> AnyTyped | None:
        try:
            amount, dimension = parse_any(node.text)
        except QuantityError as error:
            self.complain(node, (error.message, error.help))
            return None
        if isinstance(expected, ListType) and expected.dimension == dimension:
            return self._size_member(node, amount, expected)
        return _constant(amount, dimension)

    def _size_member(self, node: syntax.Quantity, amount: float, sizes: ListType) -> AnyTyped | None:
        for i, size in enumerate(sizes.sizes):
            if abs(size - amount) <= TOLERANCE:
                return typed.Constant(sizes, sizes.member(i))
        self.complain(node, say.not_a_size(node, sizes, amount))
        return None

    def _number(self, node: syntax.Number) -> AnyTyped | None:
        try:
            return _constant(*parse_any(node.text))
        except QuantityError as error:
            self.complain(node, (error.message, error.help))
            return None

    def _name(self, node: syntax.Name, expected: Type | None) -> AnyTyped | None:
        found = self.names.facts.get(node.name)
        if node.name in self.names.texts:
            self.complain(node, say.text_fact(node.name))
        elif found is not None:
            return typed.Read(found, node.name)
        elif (whole := self._told(node.name)) is not None:
            return whole
        elif self.names.is_lost(node.name):
            return None
        elif "." in node.name:
            self.complain(node, say.unknown_fact(node.name, self.names.facts))
        elif isinstance(expected, ListType):
            if node.name in expected.members:
                return typed.Constant(expected, expected.mask(node.name))
            self.complain(node, say.unknown_member(node.name, expected))
        else:
            self.complain(node, say.bare_name(node.name, self.names.facts))
        return None

    def _minus(self, node: syntax.Minus) -> AnyTyped | None:
        operand = self.number(node.operand)
        return None if operand is None else typed.Negative(NumberType(operand.type.dimension), operand.node)

    def _arithmetic(self, node: syntax.Arithmetic) -> AnyTyped | None:
        left, right = self.number(node.left), self.number(node.right)
        if left is None or right is None:
            return None
        a, b = left.type, right.type
        negative = a.negative or b.negative or node.operator == "-"
        if node.operator == "*":
            dimension = a.dimension * b.dimension
        elif node.operator == "/":
            dimension = a.dimension / b.dimension
        elif a.dimension == b.dimension:
            dimension = a.dimension
        else:
            self.complain(node, say.different_dimensions(node.operator, node.left, a, node.right, b))
            return None
        if self.names.strict:
            self._hold_to_figures(node, left.node, right.node)
        return typed.Arithmetic(NumberType(dimension, negative), node.operator, left.node, right.node)

    def _hold_to_figures(self, node: syntax.Arithmetic, left: AnyTyped, right: AnyTyped) -> None:
        """Complain of a zero that divides, or that makes nothing of all that it is multiplied with."""
        a, b = _figure(left), _figure(right)
        if node.operator == "/" and b is not None and abs(b) <= TINY_DIVISOR:
            self.complain(node.right, say.zero_divides(node.right))
        for part, figure in ((node.left, a), (node.right, b)):
            if node.operator == "*" and figure == 0.0:
                self.complain(part, say.zero_times(part))

    def _comparison(self, node: syntax.Comparison) -> AnyTyped | None:
        left, right = self._pair(node.left, node.right)
        if left is None or right is None:
            return None
        if node.operator in ("==", "!="):
            same = self._same(node, left, right)
            return typed.Not(TRUTH, same) if same is not None and node.operator == "!=" else same
        return self._order(node, left, right)

    def _pair(self, left: syntax.AnyNode, right: syntax.AnyNode) -> tuple[AnyTyped | None, AnyTyped | None]:
        """Check two sides, reading a bare member or quantity on one as of the other's list."""
        if _needs_context(left) and not _needs_context(right):
            b = self.value(right, None)
            return (None if b is None else self.value(left, b.type)), b
        a = self.value(left, None)
        return a, (None if a is None else self.value(right, a.type))

    def _same(self, node: syntax.Comparison, left: AnyTyped, right: AnyTyped) -> AnyTyped | None:
        if left.type == right.type and isinstance(left.type, ListType):
            for side, other in ((left, right), (right, left)):
                if isinstance(other, typed.Constant) and isinstance(other.value, int):
                    return _membership(side, left.type, other.value)
            return typed.SameMember(TRUTH, left, right)
        if isinstance(left.type, TruthType) and isinstance(right.type, TruthType):
            both = typed.All(TRUTH, (left, right))
            neither = typed.All(TRUTH, (typed.Not(TRUTH, left), typed.Not(TRUTH, right)))
            return typed.Some(TRUTH, (both, neither))
        a, b = self._as_number(left), self._as_number(right)
        if self._comparable(node, a, b):
            return typed.Equal(TRUTH, a, b)
        return None

    def _order(self, node: syntax.Comparison, left: AnyTyped, right: AnyTyped) -> AnyTyped | None:
        a, b = self._as_number(left), self._as_number(right)
        if not self._comparable(node, a, b):
            return None
        if node.operator in (">", ">="):
            a, b = b, a
        if node.operator in ("<=", ">="):
            return typed.LessOrEqual(TRUTH, a, b)
        return typed.Not(TRUTH, typed.LessOrEqual(TRUTH, b, a))

    def _comparable(self, node: syntax.Comparison, a: AnyTyped, b: AnyTyped) -> bool:
        if isinstance(a.type, NumberType) and isinstance(b.type, NumberType):
            if a.type.dimension == b.type.dimension:
                self._hold_to_range(node.right, a, b)
                self._hold_to_range(node.left, b, a)
                if self.names.strict and _figure(a) is not None and _figure(b) is not None:
                    self.complain(node, say.two_figures(node))
                return True
            self.complain(node, say.different_dimensions(node.operator, node.left, a.type, node.right, b.type))
        else:
            self.complain(node, say.not_comparable(node.operator, node.left, a.type, node.right, b.type))
        return False

    def _told(self, name: str) -> typed.Read | None:
        """What was told of a figure, where `.told` is asked of one."""
        whole = name.removesuffix(typed.TOLD)
        kind = self.names.facts.get(whole) if whole != name and whole in self.names.given else None
        return typed.Read(kind, whole, told=True) if isinstance(kind, NumberType) else None

    def _hold_to_range(self, written: syntax.AnyNode, fact: AnyTyped, figure: AnyTyped) -> None:
        """Complain of a figure that a fact is held against and can never be."""
        known = self.names.ranges.get(fact.name) if isinstance(fact, typed.Read) else None
        if known is None or not isinstance(figure, typed.Constant) or not isinstance(figure.value, tuple):
            return
        (low, high), (amount, _) = known[0], figure.value
        if not low - TOLERANCE <= amount <= high + TOLERANCE:
            assert isinstance(fact, typed.Read)
            self.complain(written, say.beyond_its_range(written, fact.name, known[1]))

    def _in(self, node: syntax.In) -> AnyTyped | None:
        value = self.value(node.value, None)
        if value is None:
            return None
        if not isinstance(value.type, ListType):
            self.complain(node, say.not_a_list(node.value, value.type))
            return None
        mask = 0
        for member in node.members:
            constant = self.value(member, value.type)
            found = constant.value if isinstance(constant, typed.Constant) and constant.type == value.type else None
            if isinstance(found, int):
                if self.names.strict and mask & found == found:
                    self.complain(member, say.member_twice(member))
                mask |= found
            elif constant is not None:
                self.complain(member, say.not_a_member(member, value.type))
        among = _membership(value, value.type, mask)
        return typed.Not(TRUTH, among) if node.negated else among

    def _not(self, node: syntax.Not) -> AnyTyped | None:
        operand = self.truth(node.operand)
        return None if operand is None else typed.Not(TRUTH, operand)

    def _chain(self, kind: type[typed.All | typed.Some], node: syntax.And | syntax.Or) -> AnyTyped | None:
        operands: tuple[AnyTyped, ...] | None = _all([self.truth(part) for part in node.operands])
        return None if operands is None else kind(TRUTH, operands)

    def _if(self, node: syntax.If, expected: Type | None) -> AnyTyped | None:
        condition = self.truth(node.condition)
        if expected is None:
            then, otherwise = self._pair(node.then, node.otherwise)
        else:
            then, otherwise = self.value(node.then, expected), self.value(node.otherwise, expected)
        if condition is None or then is None or otherwise is None:
            return None
        kind: Type = then.type
        if then.type != otherwise.type:
            then, otherwise = self._as_number(then), self._as_number(otherwise)
            a, b = then.type, otherwise.type
            if not (isinstance(a, NumberType) and isinstance(b, NumberType) and a.dimension == b.dimension):
                self.complain(node, say.different_branches(a, b))
                return None
            kind = NumberType(a.dimension, a.negative or b.negative)
        return typed.Conditional(kind, condition, then, otherwise)

    def _call(self, node: syntax.Call) -> AnyTyped | None:
        match node.function:
            case "lookup":
                return self._lookup(node)
            case "known":
                return self._known(node)
            case "present":
                return self._present(node)
        row = FUNCTIONS.get(node.function)
        if row is None:
            self.complain(node, say.unknown_function(node.function, [*FUNCTIONS, *SPECIAL_FORMS]))
            return None
        return self._apply(node, row)

    def _apply(self, node: syntax.Call, row: Function) -> AnyTyped | None:
        wanted = len(row.arguments)
        if not node.arguments or (len(node.arguments) != wanted and not row.variadic):
            self.complain(node, say.wrong_count(row, len(node.arguments)))
            return None
        arguments = _all([self.number(argument) for argument in node.arguments])
        if arguments is None:
            return None
        kinds = [argument.type for argument in arguments]
        first = kinds[0]
        signature = row.arguments * len(arguments) if row.variadic else row.arguments
        good = True
        for place, kind, dimension in zip(node.arguments, kinds, signature, strict=True):
            want = first.dimension if dimension is None else dimension
            if kind.dimension != want:
                self.complain(place, say.wrong_argument(row, place, kind, want))
                good = False
        if not good:
            return None
        below = any(kind.negative for kind in kinds)
        negative = row.may_be_negative or (below and not row.never_negative)
        result = NumberType(first.dimension if row.result is None else row.result, negative)
        return typed.Apply(result, row, tuple(argument.node for argument in arguments))

    # forms whose argument is a name

    def _lookup(self, node: syntax.Call) -> AnyTyped | None:
        match node.arguments:
            case (syntax.Name() as name, _, *_):
                table = self.names.tables.get(name.name)
            case _:
                self.complain(node, say.lookup_form())
                return None
        if table is None and self.names.is_lost(name.name):
            return None
        if table is None:
            self.complain(name, say.unknown_table(name.name, self.names.tables))
            return None
        if len(node.arguments) != 1 + table.keys:
            self.complain(node, say.lookup_keys(name.name, table.keys, len(node.arguments) - 1))
            return None
        return self._looked_up(name.name, table, node.arguments[1:])

    def _looked_up(self, name: str, table: Table, key_nodes: Sequence[syntax.AnyNode]) -> AnyTyped | None:
        """The value of a table, by the first of some keys and then by the others."""
        key = self.value(key_nodes[0], table.key)
        key = None if key is None else self.fit(key_nodes[0], key, table.key)
        if key is None:
            return None
        if table.within:
            return self._within(name, table, key, key_nodes[1:])
        if isinstance(table.key, NumberType):
            if table.at:
                assert isinstance(table.gives, NumberType)
                return typed.LookupBetween(table.gives, key, table.at, table.bounds, name)
            return typed.LookupBand(table.gives, key, table.tops, table.values, name)
        return typed.LookupMember(table.gives, key, table.values, name)

    def _within(self, name: str, table: Table, key: AnyTyped, key_nodes: Sequence[syntax.AnyNode]) -> AnyTyped | None:
        """The value by the other keys in the table of each member of the first, whichever of them it is."""
        kind = table.key
        assert isinstance(kind, ListType)
        found: AnyTyped | None = None
        for member, other in reversed([*zip(kind.members, table.within, strict=True)]):
            value = self._looked_up(f"{name}.{member}", other, key_nodes)
            if value is None:
                return None
            is_it = _membership(key, kind, kind.mask(member))
            found = value if found is None else typed.Conditional(table.gives, is_it, value, found)
        return found

    def _known(self, node: syntax.Call) -> AnyTyped | None:
        if len(node.arguments) != 1:
            self.complain(node, say.known_form())
            return None
        value = self.value(node.arguments[0], None)
        return None if value is None else typed.Known(TRUTH, value)

    def _present(self, node: syntax.Call) -> AnyTyped | None:
        if len(node.arguments) != 1 or not isinstance(node.arguments[0], syntax.Name):
            self.complain(node, say.present_form())
            return None
        name = node.arguments[0].name
        if name in self.names.subjects or name in self.names.given:
            return typed.Present(TRUTH, name)
        if name in self.names.facts or name in self.names.texts:
            self.complain(node.arguments[0], say.never_given(name))
        elif self.names.is_lost(name):
            return None
        elif "." in name:
            self.complain(node.arguments[0], say.unknown_fact(name, self.names.given))
        else:
            self.complain(node.arguments[0], say.unknown_subject(name, self.names.subjects))
        return None


class _Number(NamedTuple):
    """A checked node that is a number, and its type."""

    node: AnyTyped
    type: NumberType


def _all(found: Sequence[T | None]) -> tuple[T, ...] | None:
    """What was found, or None where one has a problem."""
    good = tuple(one for one in found if one is not None)
    return good if len(good) == len(found) else None


def _membership(value: AnyTyped, kind: ListType, mask: int) -> typed.Membership:
    return typed.Membership(TRUTH, value, Mask(mask), Mask(kind.unknown & ~mask))


def _constant(amount: float, dimension: Dimension) -> typed.Constant:
    return typed.Constant(NumberType(dimension, negative=amount < 0.0), (amount, amount))


def _figure(node: AnyTyped) -> float | None:
    """What an expression of figures alone comes to, inside; None where it reads anything, or is none."""
    match node:
        case typed.Constant(value=(low, high)):
            return low if low == high else None
        case typed.Negative(operand=operand):
            found = _figure(operand)
            return None if found is None else -found
        case typed.Arithmetic(operator=operator, left=left, right=right):
            a, b = _figure(left), _figure(right)
            if a is None or b is None or (operator == "/" and abs(b) <= TINY_DIVISOR):
                return None
            return {"+": a + b, "-": a - b, "*": a * b}[operator] if operator != "/" else a / b
    return None


def _needs_context(node: syntax.AnyNode) -> bool:
    """Whether a node can only be read knowing the list on the other side."""
    if isinstance(node, syntax.If):
        return _needs_context(node.then) and _needs_context(node.otherwise)
    return isinstance(node, syntax.Quantity) or (isinstance(node, syntax.Name) and "." not in node.name)
