"""Checked trees → Python source, in which a number is two local variables and a truth value one.

`Emitter` writes statements into one function body. A value is written once a scope: what an enclosing
scope has computed is used again, what an inner branch computed is forgotten when the branch ends. Nothing
a rule file says reaches the source as code: names enter as string literals, numbers by `repr`.
"""

import re
from bisect import bisect_left
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import lru_cache
from math import inf
from typing import Any, Final, assert_never

from fitsvc.language import intervals, typed
from fitsvc.language.between import between
from fitsvc.language.intervals import ANYTHING, NOT_NEGATIVE, TOLERANCE
from fitsvc.language.truth import NO, YES
from fitsvc.language.typed import AnyTyped, join
from fitsvc.language.types import TRUTH, ListType, NumberType, Type, Value

Facts = Callable[..., Any]
"""How compiled code reads facts: the `get` of a dictionary of values by name."""

Written = str | tuple[str, str]
"""The Python text of a value: one expression, or two for the ends of a number."""

_MOST_JOINED: Final = 1024
_MOST_READS: Final = 2_000
"""Sets of facts that rules rest on: some four hundred a rulebook, few of which a process answers by at once."""


class _Joined(dict[int, Value]):
    """A table's values by mask of possible keys, joined when first asked; a dictionary, for a look-up without a call.

    Of a list's 2^n masks a shop meets its members, what is not known and a few more; if there are ever too many
    they are all let go, and joined again.
    """

    def __init__(self, kind: Type, values: Sequence[Value]) -> None:
        super().__init__()
        self.kind, self.values_ = kind, values

    def __missing__(self, mask: int) -> Value:
        possible = [value for i, value in enumerate(self.values_) if mask >> i & 1]
        if len(self) >= _MOST_JOINED:
            self.clear()
        self[mask] = found = join(self.kind, possible)
        return found


def banded(kind: Type, tops: Sequence[float], values: Sequence[Value]) -> Callable[[float, float], Value]:
    """A banded table's value, of the two ends of a number; the top of each band is inside it."""
    ends = [top + TOLERANCE for top in tops]

    def value(low: float, high: float) -> Value:
        first, last = bisect_left(ends, low), bisect_left(ends, high)
        return values[first] if first == last else join(kind, values[first : last + 1])

    return value


class Emitter:
    """Writes the body of one function of `get` (facts by name) and `present` (what the question is about)."""

    def __init__(self, derived: Mapping[str, AnyTyped]) -> None:
        self.derived = derived
        self.lines: list[str] = []
        self.depth = 1
        self.at_hand: dict[object, Written] = {}
        self.scopes: list[list[tuple[object, Written | None]]] = [[]]
        self.globals: dict[str, Any] = {"inf": inf, "times": intervals.times, "over": intervals.over}
        self.globals |= {name: bounds for bounds, name in _OPEN.items()}
        self.count = 0

    def line(self, text: str) -> None:
        """Write one statement."""
        self.lines.append("    " * self.depth + text)

    @contextmanager
    def block(self, head: str) -> Iterator[None]:
        """Write an indented block; what it computes is forgotten at its end."""
        self.line(head)
        self.depth += 1
        self.scopes.append([])
        start = len(self.lines)
        yield
        if len(self.lines) == start:
            self.line("pass")
        for key, before in reversed(self.scopes.pop()):
            if before is None:
                del self.at_hand[key]
            else:
                self.at_hand[key] = before
        self.depth -= 1

    def constant(self, value: Any) -> str:
        """Name a Python object that the function uses."""
        name = f"k{len(self.globals)}"
        self.globals[name] = value
        return name

    def function(self, name: str, parameters: str = "get, present") -> Callable[..., Any]:
        """Compile what was written."""
        source = f"def {name}({parameters}, anything=anything, upward=upward):\n" + "\n".join(self.lines) + "\n"
        exec(compile(source, f"<rulebook {name}>", "exec"), self.globals)
        found: Callable[..., Any] = self.globals[name]
        return found

    # values

    def ends(self, node: AnyTyped) -> tuple[str, str]:
        """Write a number and return the names of its two ends."""
        written = self.value(node)
        assert isinstance(written, tuple)
        return written

    def single(self, node: AnyTyped) -> str:
        """Write a list value or truth value and return its name."""
        written = self.value(node)
        assert isinstance(written, str)
        return written

    def value(self, node: AnyTyped) -> Written:
        """Write a value unless it is at hand, and return its name or names."""
        found = self.at_hand.get(node)
        if found is None:
            found = self.keep(node, self._write(node))
        return found

    def keep(self, key: object, written: Written) -> Written:
        """Keep what is written at hand until the end of the block."""
        self.scopes[-1].append((key, self.at_hand.get(key)))
        self.at_hand[key] = written
        return written

    def _write(self, node: AnyTyped) -> Written:
        """Write a value of any kind of node."""
        match node:
            case typed.Constant():
                return _literal(node.value)
            case typed.Read():
                return self._read(node)
            case typed.Present():
                return self._assign(node.type, f"{YES} if {node.name!r} in present else {NO}")
            case typed.Negative():
                return self._by_ends(node)
            case typed.Arithmetic():
                return self._arithmetic(node)
            case typed.LessOrEqual() | typed.Equal() | typed.SameMember() | typed.Membership():
                return self._assign(node.type, f"2 if {self.yes(node)} else 0 if {self.no(node)} else 1")
            case typed.Not():
                operand = self.single(node.operand)
                return _OPPOSITE.get(operand) or self._assign(node.type, f"2 - {operand}")
            case typed.All():
                return self._chain(node.operands, YES, go_on="if {0}:", keep="if {1} < {0}: {0} = {1}")
            case typed.Some():
                return self._chain(node.operands, NO, go_on="if {0} != 2:", keep="if {1} > {0}: {0} = {1}")
            case typed.Conditional():
                return self._conditional(node)
            case typed.Apply():
                return self._apply(node)
            case typed.LookupMember():
                table = self.constant(_Joined(node.type, node.values))
                return self._assign(node.type, f"{table}[{self.single(node.key)}]")
            case typed.LookupBand():
                return self._band(node)
            case typed.LookupBetween():
                table = self.constant(between(node.type, node.at, node.values))
                return self._assign(node.type, f"{table}({', '.join(self.ends(node.key))})")
            case typed.Known():
                return self._known(node)
            case _:
                assert_never(node)

    def end(self, node: AnyTyped, side: int) -> str:
        """Write only the low (0) or high (1) end of a number, and return its name."""
        both = self.at_hand.get(node)
        if both is not None:
            return str(both[side])
        if isinstance(node, typed.Read) and node.name in self.derived:
            return self.end(self.derived[node.name], side)
        name = self.at_hand.get((node, side))
        if name is None:
            text = self._end_text(node, side)
            if text is None:
                return self.ends(node)[side]
            name = text
            if not _ATOM.match(text):
                self.count += 1
                name = f"{'lh'[side]}{self.count}"
                self.line(f"{name} = {text}")
            self.keep((node, side), name)
        return str(name)

    def _end_text(self, node: AnyTyped, side: int) -> str | None:
        """Python text of one end; None for what is computed as a whole."""
        if not isinstance(node, typed.Numeric):
            return None
        match node:
            case typed.Negative():
                return f"-{self.end(node.operand, 1 - side)}"
            case typed.Arithmetic(operator="+"):
                a, b = self.end(node.left, side), self.end(node.right, side)
                return b if a == "0.0" else a if b == "0.0" else f"{a} + {b}"
            case typed.Arithmetic(operator="-"):
                return f"{self.end(node.left, side)} - {self.end(node.right, 1 - side)}"
            case typed.Arithmetic(operator="*") if not _may_be_negative(node):
                return _product(self.end(node.left, side), self.end(node.right, side), side)
            case typed.Apply() if node.function.bounds is None:
                return self._call(node, side)
            case typed.Arithmetic() | typed.Apply():
                return None
            case _:
                assert_never(node)

    def _call(self, node: typed.Apply, side: int) -> str:
        """One end of a monotone function: each argument's end that makes it lowest or highest."""
        row = node.function
        sides = [side if direction > 0 else 1 - side for direction in row.moves(len(node.arguments))]
        ends = [self.end(argument, s) for argument, s in zip(node.arguments, sides, strict=True)]
        if row.variadic and len(ends) == 1:
            return ends[0]
        call = row.name if row.formula in (min, max) else self.constant(row.formula)
        return f"{call}({', '.join(ends)})"

    def _by_ends(self, node: AnyTyped) -> Written:
        return (self.end(node, 0), self.end(node, 1))

    def _new(self, kind: Type) -> Written:
        self.count += 1
        return (f"l{self.count}", f"h{self.count}") if isinstance(kind, NumberType) else f"t{self.count}"

    def _assign(self, kind: Type, text: str) -> Written:
        """Assign an expression: a pair for a number, one value otherwise."""
        new = self._new(kind)
        self.line(f"{', '.join(new) if isinstance(new, tuple) else new} = {text}")
        return new

    def _assign_one(self, text: str) -> str:
        """Assign an expression of one value."""
        self.count += 1
        self.line(f"t{self.count} = {text}")
        return f"t{self.count}"

    def _read(self, node: typed.Read) -> Written:
        if node.name in self.derived:
            return self.value(self.derived[node.name])
        unknown = _OPEN.get(node.type.unknown) or repr(node.type.unknown)
        if node.told:
            return self._assign(node.type, f"get({node.slot!r}) or get({node.name!r}, {unknown})")
        return self._assign(node.type, f"get({node.name!r}, {unknown})")

    def take_present(self, name: str) -> None:
        """Take it as settled, in the scope at hand, that a subject or fact is in the question."""
        self.keep(typed.Present(TRUTH, name), repr(YES))

    def _arithmetic(self, node: typed.Arithmetic) -> Written:
        if node.operator in "+-" or (node.operator == "*" and not _may_be_negative(node)):
            return self._by_ends(node)
        call = "over" if node.operator == "/" else "times"
        return self._assign(node.type, f"{call}({_tuple(self.ends(node.left))}, {_tuple(self.ends(node.right))})")

    def yes(self, node: AnyTyped) -> str:
        """Write what a condition needs, and return a Python test of its being surely so."""
        return self._test(node, True)

    def no(self, node: AnyTyped) -> str:
        """Write what a condition needs, and return a Python test of its being surely not so."""
        return self._test(node, False)

    def _test(self, node: AnyTyped, sure: bool) -> str:
        if isinstance(node, typed.Not):
            return self._test(node.operand, not sure)
        text = self._test_text(node, sure) if self.at_hand.get(node) is None else None
        if text is not None:
            return text
        value, wanted = self.single(node), repr(YES if sure else NO)
        return repr(value == wanted) if value in _OPPOSITE else f"{value} == {wanted}"

    def _test_text(self, node: AnyTyped, sure: bool) -> str | None:
        """Python text of a test that goes without the node's value, if there is one."""
        if not isinstance(node, typed.Test | typed.Lazy):
            return None
        match node:
            case typed.All():
                return (every if sure else some)([self._test(operand, sure) for operand in node.operands])
            case typed.Some():
                return (some if sure else every)([self._test(operand, sure) for operand in node.operands])
            case typed.LessOrEqual():
                return self._test_less_or_equal(node, sure)
            case typed.Equal():
                return self._test_equal(node, sure)
            case typed.SameMember():
                return self._test_same_member(node, sure)
            case typed.Membership():
                return self._test_membership(node, sure)
            case typed.Not() | typed.Known() | typed.Conditional():
                return None
            case _:
                assert_never(node)

    def _test_less_or_equal(self, node: typed.LessOrEqual, sure: bool) -> str:
        if sure:
            return f"{self.end(node.left, 1)} <= {_loose(self.end(node.right, 0))}"
        return f"{self.end(node.left, 0)} > {_loose(self.end(node.right, 1))}"

    def _test_equal(self, node: typed.Equal, sure: bool) -> str:
        (al, ah), (bl, bh) = self.ends(node.left), self.ends(node.right)
        if sure:
            return f"{ah} <= {_loose(bl)} and {bh} <= {_loose(al)}"
        return f"({al} > {_loose(bh)} or {bl} > {_loose(ah)})"

    def _test_same_member(self, node: typed.SameMember, sure: bool) -> str:
        a, b = self.single(node.left), self.single(node.right)
        return f"{a} == {b} and not {a} & {a} - 1" if sure else f"not {a} & {b}"

    def _test_membership(self, node: typed.Membership, sure: bool) -> str:
        return f"not {self.single(node.operand)} & {node.others if sure else node.mask}"

    def _chain(self, operands: Sequence[AnyTyped], idle: int, go_on: str, keep: str) -> Written:
        """`and` and `or`: the next operand is computed only where it can still matter; settled ones are left out."""
        first = self.single(operands[0])
        if first == repr(idle) and len(operands) > 1:
            return self._chain(operands[1:], idle, go_on, keep)
        if first == repr(YES - idle) or len(operands) == 1:
            return first
        result = self._assign_one(first)
        for operand in operands[1:]:
            with self.block(go_on.format(result)):
                value = self.single(operand)
                if value != repr(idle):
                    self.line(keep.format(result, value))
        return result

    def _conditional(self, node: typed.Conditional) -> Written:
        condition = self.single(node.condition)
        if condition in _OPPOSITE:
            return self.value(node.then if condition == repr(YES) else node.otherwise)
        then, otherwise = self.value(node.then), self.value(node.otherwise)
        new = self._new(node.type)
        target = ", ".join(new) if isinstance(new, tuple) else new
        self.line(f"if {condition} == 2: {target} = {_tuple(then)}")
        self.line(f"elif {condition} == 0: {target} = {_tuple(otherwise)}")
        self.line(f"else: {target} = {_both(node.type, then, otherwise)}")
        return new

    def _apply(self, node: typed.Apply) -> Written:
        if node.function.bounds is None:
            return self._by_ends(node)
        call = self.constant(node.function.bounds)
        return self._assign(node.type, f"{call}({', '.join(_tuple(self.ends(one)) for one in node.arguments)})")

    def _band(self, node: typed.LookupBand) -> Written:
        table = self.constant(banded(node.type, node.tops, node.values))
        return self._assign(node.type, f"{table}({', '.join(self.ends(node.key))})")

    def _known(self, node: typed.Known) -> Written:
        written = self.value(node.operand)
        if isinstance(written, tuple):
            return self._assign(node.type, f"2 if {written[0]} > -inf and {written[1]} < inf else 1")
        return self._assign(node.type, f"1 if {written} == {node.operand.type.unknown} else 2")


_OPEN: Final[Mapping[object, str]] = {ANYTHING: "anything", NOT_NEGATIVE: "upward"}
"""The bounds of unknown numbers, passed as defaults so that they are not built anew at every use."""


def every(tests: Sequence[str]) -> str:
    """Python text of a test that holds where all do."""
    left = [test for test in tests if test != "True"]
    return "False" if "False" in left else " and ".join(left) or "True"


def some(tests: Sequence[str]) -> str:
    """Python text of a test that holds where one does."""
    left = [test for test in tests if test != "False"]
    return "True" if "True" in left else f"({' or '.join(left)})" if left else "False"


_OPPOSITE: Final = {repr(NO): repr(YES), repr(YES): repr(NO)}
"""What is settled when the source is written, and its negation."""


def _loose(end: str) -> str:
    """The end plus the distance within which values are the same."""
    try:
        return repr(float(end) + TOLERANCE)
    except ValueError:
        return f"{end} + {TOLERANCE}"


_ATOM: Final = re.compile(r"(-?[0-9.e+-]+|inf|[a-z]+[0-9]+)\Z")
"""What needs no variable of its own: a figure or a variable."""


def _may_be_negative(node: AnyTyped) -> bool:
    return not isinstance(node.type, NumberType) or node.type.negative


def _product(a: str, b: str, side: int) -> str:
    """One end of a product of numbers that are not negative; nothing times an open end is nothing."""
    careful = side and not (_finite(a) or _finite(b))
    return f"{a} * {b} if {a} and {b} else 0.0" if careful else f"{a} * {b}"


def _finite(end: str) -> bool:
    """Whether an end is written as a figure other than nothing, so that a product with it needs no care."""
    try:
        return 0.0 < float(end) < inf
    except ValueError:
        return False


def _literal(value: Value) -> Written:
    return (repr(value[0]), repr(value[1])) if isinstance(value, tuple) else repr(value)


def _tuple(written: Written) -> str:
    return f"({written[0]}, {written[1]})" if isinstance(written, tuple) else written


def _both(kind: Type, a: Written, b: Written) -> str:
    """The join of two written values."""
    if isinstance(a, tuple):
        return f"(min({a[0]}, {b[0]}), max({a[1]}, {b[1]}))"
    if isinstance(kind, ListType):
        return f"{a} | {b}"
    return f"{a} if {a} == {b} else 1"


@lru_cache(maxsize=_MOST_READS)
def compile_reads(facts: tuple[str, ...], presences: tuple[str, ...]) -> Callable[..., tuple[object, ...]]:
    """Compile a function of (get, present) that returns facts as they are known, None where not, and presences.

    Kept, as the same rule asks for the same in each language.
    """
    emitter = Emitter({})
    written = [*(f"get({name!r})" for name in facts), *(f"{name!r} in present" for name in presences)]
    emitter.line(f"return ({''.join(text + ', ' for text in written)})")
    return emitter.function("reads")


def compile_values(nodes: Sequence[AnyTyped], derived: Mapping[str, AnyTyped]) -> Callable[..., tuple[Value, ...]]:
    """Compile a function of (get, present) that returns the values of several nodes."""
    emitter = Emitter(derived)
    written = [_tuple(emitter.value(node)) for node in nodes]
    emitter.line(f"return ({''.join(text + ', ' for text in written)})")
    return emitter.function("values")
