"""The specification: a rulebook's folder and a case in, what follows out, by walking the syntax tree.

Everything the engine compiles is written here a second time, plainly and slowly, from the meaning of the
language; tests hold the engine to it. It shares with fitsvc only the YAML reader, the parser and the reading
of quantities, and the formulas of geometry and force for exact figures, which all have tests of their own.

A number is a pair (low, high): every value between the two is possible. A list value is the set of its
possible members. A truth is True, False, or None for unknown. Whatever is said of a value holds for all of
what is possible. One long file, so that the whole meaning can be read from top to bottom.
"""

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cache
from itertools import pairwise
from itertools import product as cartesian
from math import inf
from pathlib import Path
from typing import Any, assert_never

from fitsvc.facts import Case
from fitsvc.language import syntax
from fitsvc.language.forms import geometry, statics
from fitsvc.language.parser import parse
from fitsvc.language.quantities import parse_any
from fitsvc.language.source import Source
from fitsvc.rulebook.yaml_text import read_yaml_file, to_plain

Number = tuple[float, float]
Truth = bool | None


@dataclass(frozen=True)
class Members:
    """The possible members of a list."""

    list: str
    names: frozenset[str]


Value = Number | Members | Truth

SAME = 1e-6
"""Values closer than this, in mm, kg, degrees ..., are the same value."""

NOTHING = 1e-100
"""A divisor below this is as good as zero."""


@dataclass(frozen=True)
class Judged:
    """What follows for one case. `limits` gives for each limit that applies (at most, governed by, unknown)."""

    outcome: str
    results: list[tuple[str, str]]
    open_needs: list[str]
    limits: dict[str, tuple[float | None, str, tuple[str, ...]]]


# Kleene's three-valued logic


def negation(a: Truth) -> Truth:
    """Not: unknown stays unknown."""
    return None if a is None else not a


def conjunction(truths: Iterable[Truth]) -> Truth:
    """And: one no decides it, else one unknown leaves it open."""
    found: Truth = True
    for one in truths:
        if one is False:
            return False
        found = found if one else None
    return found


def disjunction(truths: Iterable[Truth]) -> Truth:
    """Or: one yes decides it, else one unknown leaves it open."""
    return negation(conjunction(map(negation, truths)))


# numbers


def hull(numbers: Iterable[Number]) -> Number:
    """The narrowest number that holds all of them."""
    found = list(numbers)
    return (min(low for low, _ in found), max(high for _, high in found))


def product(a: Number, b: Number) -> Number:
    """All products; nothing times anything, however large, is nothing."""
    ends = [x * y if x and y else 0 for x in a for y in b]
    return (min(ends), max(ends))


def quotient(a: Number, b: Number) -> Number:
    """All quotients, where a divisor of zero stands for one that is positive and next to nothing."""
    low, high = b
    if low > NOTHING or high < -NOTHING:
        return product(a, (1 / high, 1 / low))
    if low >= 0 and (a[0] >= 0 or a[1] <= 0):
        return product(a, (1 / max(high, NOTHING), inf))
    return (-inf, inf)


def arithmetic(operator: str, a: Number, b: Number) -> Number:
    """`+ - * /`, with the two sides taken as independent."""
    match operator:
        case "+":
            return (a[0] + b[0], a[1] + b[1])
        case "-":
            return (a[0] - b[1], a[1] - b[0])
        case "*":
            return product(a, b)
    return quotient(a, b)


def at_most(a: Number, b: Number) -> Truth:
    """a <= b, when it is so for every, for no, or for some of the possible values."""
    if a[1] <= most_alike(b[0]):
        return True
    return False if a[0] > most_alike(b[1]) else None


def most_alike(figure: float) -> float:
    """The largest figure that is the same as this one; of an exact one exactly that."""
    return figure + (SAME if isinstance(figure, float) else Fraction(1, 1_000_000))


def equal(a: Number, b: Number) -> Truth:
    """a == b: neither is more than the other."""
    return conjunction([at_most(a, b), at_most(b, a)])


def call(function: str, numbers: list[Number]) -> Number:
    """The functions of numbers."""
    first = numbers[0]
    match function:
        case "min":
            return (min(low for low, _ in numbers), min(high for _, high in numbers))
        case "max":
            return (max(low for low, _ in numbers), max(high for _, high in numbers))
        case "abs":
            ends = (abs(first[0]), abs(first[1]))
            return (0 if first[0] <= 0 <= first[1] else min(ends), max(ends))
        case "span":  # something between the first and the second; between the two ends if they contradict
            low, high = first[0], numbers[1][1]
            return (min(low, high), max(low, high))
    if function in LEVERS:
        return lever(function, *numbers)
    formula = getattr(geometry, function, None) or getattr(statics, function)
    return by_corners(formula, turned_at_worst(*numbers) if function == "clearance_on_grade" else [numbers])


LEVERS = ("front_axle_relief", "rear_axle_share", "scaled_tongue_weight")


def lever(function: str, weight: Number, first: Number, second: Number) -> Number:
    """Moments: W d/L off the front axle, W + W d/L on the rear one, and S + S b/a at a coupler beside a scale."""
    arm, base = (second, first) if function == "scaled_tongue_weight" else (first, second)
    held, arm, base = (call("max", [number, (0, 0)]) for number in (weight, arm, base))
    lifted = product(held, quotient(arm, base))
    if function == "front_axle_relief":
        return lifted
    return arithmetic("+", weight if function == "rear_axle_share" else held, lifted)


def by_corners(formula: Callable[..., float], boxes: Iterable[list[Number]]) -> Number:
    """A formula that only rises or only falls with each argument is least and most at corners of what is possible."""
    found = [formula(*corner) for box in boxes for corner in cartesian(*box)]
    return (min(found), max(found))


def turned_at_worst(behind: Number, height: Number, radius: Number, grade: Number) -> list[list[Number]]:
    """Clearance on a ramp falls with the grade until it is x/(r - h), and rises from there: look there too."""
    boxes = [[behind, height, radius, grade]]
    for x, h, r in cartesian(behind, height, radius):
        x, r = max(x, 0.0), max(r, 0.0)
        worst = x / (r - h) if r > h and x < inf else inf
        if grade[0] < worst < grade[1]:
            boxes.append([(x, x), (h, h), (r, r), (worst, worst)])
    return boxes


# a rulebook's texts


@cache
def tree(text: str) -> syntax.AnyNode:
    """The syntax tree of an expression."""
    return parse(Source.plain(text))


@cache
def in_float(text: str) -> float:
    """A written figure, in the inside unit."""
    return parse_any(text)[0]


@dataclass
class Texts:
    """A rulebook as it is written: the vocabulary, and expressions as texts; `figure` reads what figures they write."""

    figure: Callable[[str], float] = in_float
    lists: dict[str, dict[str, float | None]] = field(default_factory=dict)
    roles: dict[str, dict[str, list[str]]] = field(default_factory=dict)
    presence: dict[str, str] = field(default_factory=dict)
    kinds: dict[str, str] = field(default_factory=dict)
    unknown: dict[str, Value] = field(default_factory=dict)
    asked: set[str] = field(default_factory=set)
    tables: dict[str, Any] = field(default_factory=dict)
    derived: dict[str, str] = field(default_factory=dict)
    bare: dict[str, str] = field(default_factory=dict)
    each: dict[str, str] = field(default_factory=dict)
    rules: list[dict[str, Any]] = field(default_factory=list)
    limits: list[dict[str, Any]] = field(default_factory=list)
    needs: list[dict[str, Any]] = field(default_factory=list)


def read_texts(folder: Path, figure: Callable[[str], float] = in_float) -> Texts:
    """Read a folder that the loader accepts."""
    texts = Texts(figure)
    vocabulary = _files(folder / "vocabulary")
    for top in vocabulary:
        for name, entry in top.get("lists", {}).items():
            sized = "dimension" in entry
            texts.lists[name] = {m: texts.figure(m) if sized else None for m in entry["members"]}
            texts.roles[name] = {
                role: [member for member, told in entry["members"].items() if role in told["is"]]
                for role in entry.get("roles", {})
            }
    for top in vocabulary:
        if "subject" in top:
            texts.presence[top["subject"]] = top["presence"]
            for name, entry in top["facts"].items():
                _declare(texts, f"{top['subject']}.{name}", entry)
                for role, members in texts.roles.get(entry["type"], {}).items():
                    if top["presence"] != "repeated":
                        texts.derived[f"{name}.{role}"] = f"{top['subject']}.{name} in [{', '.join(members)}]"
                        texts.kinds[f"{name}.{role}"] = "yes_no"
    for top in _files(folder / "tables"):
        for table in top["tables"]:
            texts.tables |= _columns(table, texts.lists[table["key"]]) if "columns" in table else {table["id"]: table}
    for top in _files(folder):
        if "topic" in top:
            _topic(texts, top)
    return texts


def _files(folder: Path) -> list[Any]:
    return [to_plain(read_yaml_file(path)) for path in sorted(folder.glob("*.yaml"))]


def _columns(table: Mapping[str, Any], members: Iterable[str]) -> dict[str, Any]:
    """A table with columns as a table each, and one more of the members that have a row.

    No row, no cell, unless the table says what stands there.
    """
    rows, left = table["rows"], table.get("without_row")
    found = {f"{table['id']}.known": {"key": table["key"], "gives": "yes_no", "rows": rows, "known": True}}
    for name, column in table["columns"].items():
        cells = {member: row.get(name, column.get("otherwise")) for member, row in rows.items()}
        if left is not None:
            cells = dict.fromkeys(members, left.get(name, column.get("otherwise"))) | cells
        cells = {member: cell for member, cell in cells.items() if cell != "unknown"}
        found[f"{table['id']}.{name}"] = {"key": table["key"], "gives": column["gives"], "rows": cells}
    return found


def _declare(texts: Texts, name: str, entry: Mapping[str, Any]) -> None:
    """A fact's kind, and what is known of it when nothing is."""
    kind = entry["type"]
    if entry.get("presence") == "asked":
        texts.asked.add(name)
    if kind == "tyre":
        for part in ("diameter", "width", "rim"):
            _declare(texts, f"{name}.{part}", {"type": "length", "range": ["0 in", "100 in"]})
        load = {"type": "mass", "range": ["0 kg", "9000 kg"], "presence": "asked"}
        _declare(texts, f"{name}.load", load)
    elif kind != "text":
        texts.kinds[name] = kind
        if kind in texts.lists:
            texts.unknown[name] = Members(kind, frozenset(texts.lists[kind]))
        elif kind == "yes_no":
            texts.unknown[name] = None
        else:
            texts.unknown[name] = (0.0 if parse_any(entry["range"][0])[0] >= 0 else -inf, inf)


def _topic(texts: Texts, top: Mapping[str, Any]) -> None:
    for entry in top.get("derived", []):
        texts.derived[entry["name"]] = entry["is"]
        texts.kinds[entry["name"]] = entry["type"]
    if adapters := top.get("adapters"):
        for short, entry in adapters["facts"].items():
            name = f"opening.{short}"
            texts.kinds[name] = entry["type"]
            texts.bare[name], texts.each[name] = adapters["bare"][short], adapters["each"][short]
    texts.rules += top.get("rules", [])
    for limit in top.get("limits", []):
        texts.limits.append(limit)
        texts.rules += [_member_rule(limit, rating) for rating in _ratings(limit)]
    texts.needs += top.get("needs", [])


def _ratings(limit: Mapping[str, Any]) -> list[dict[str, str]]:
    return [{"rating": one} if isinstance(one, str) else one for one in limit["lowest_of"]]


def _guard(*entries: Mapping[str, Any]) -> str:
    return " and ".join(f"({entry['applies_when']})" for entry in entries if "applies_when" in entry) or "yes"


def _member_rule(limit: Mapping[str, Any], rating: Mapping[str, str]) -> dict[str, Any]:
    """A limit's member is the rule that what is judged is at most the rating, where it is judged."""
    judged = {"applies_when": limit["judged_when"]} if "judged_when" in limit else {}
    return {
        "id": f"{limit['id']}/{rating['rating']}",
        "severity": limit["severity"],
        "if_unknown": rating.get("if_unknown", "undetermined"),
        "applies_when": _guard(limit, rating, judged),
        "requires": f"({limit['judged']}) <= {rating['rating']}",
    }


# what a rule is about


def about(texts: Texts, *expressions: str) -> set[str]:
    """What the question must be about: the asked subjects and facts read, but for those whose presence is asked."""
    read: set[str] = set()
    handled: set[str] = set()
    for node in (node for expression in expressions for node in nodes(tree(expression))):
        if asks := _asks(node):
            handled.add(asks)
        elif isinstance(node, syntax.Name) and "." in node.name:
            inner = texts.derived.get(node.name) or texts.bare.get(node.name)
            read |= about(texts, inner) if inner else {node.name.split(".")[0], node.name}
    return {one for one in read - handled if texts.presence.get(one) == "asked" or one in texts.asked}


def behind(texts: Texts, *expressions: str) -> set[str]:
    """The facts that expressions read, through derived values and the working opening."""
    found: set[str] = set()
    left = {node.name for text in expressions for node in nodes(tree(text)) if isinstance(node, syntax.Name)}
    while left:
        name = left.pop()
        found.add(name)
        inner = [texts_[name] for texts_ in (texts.derived, texts.bare, texts.each) if name in texts_]
        left |= {node.name for text in inner for node in nodes(tree(text)) if isinstance(node, syntax.Name)} - found
    return found & texts.unknown.keys()


def supposed(texts: Texts, case: Case, name: str) -> list[list[Case]]:
    """For the rig, or each adapter, the cases with each value of a choice that is open there; of a figure none."""
    if not name.startswith("adapter.") and name.split(".", maxsplit=1)[0] not in case.present:
        return []  # of what is not in the question nothing is open
    members = texts.lists.get(texts.kinds[name])
    if members is None and texts.kinds[name] != "yes_no":
        return []
    holders = case.adapters if name.startswith("adapter.") else (case.facts,)
    found: list[list[Case]] = []
    facts: Mapping[str, Any]
    for place, facts in enumerate(holders):
        mask = facts.get(name, (1 << len(members)) - 1 if members else 1)
        assert isinstance(mask, int)
        values = [1 << i for i in range(len(members)) if mask >> i & 1] if members else [0, 2] if mask == 1 else []
        told: list[dict[str, Any]] = [{**facts, name: value} for value in values if len(values) > 1]
        if holders is case.adapters:
            found.append(
                [Case(case.facts, case.present, (*holders[:place], one, *holders[place + 1 :])) for one in told]
            )
        else:
            found.append([Case(one, case.present, case.adapters) for one in told])
    return found


def nodes(node: syntax.AnyNode) -> list[syntax.AnyNode]:
    """A node and all that is read below it."""
    below = () if _asks(node) else syntax.below(node)
    return [node, *(inner for part in below for inner in nodes(part))]


def _asks(node: syntax.AnyNode) -> str:
    """The subject or fact whose presence a node asks; that is to read nothing of it."""
    return str(node.arguments[0]) if isinstance(node, syntax.Call) and node.function == "present" else ""


# one case


class Reading:
    """One case of one rulebook, in which expressions have values."""

    def __init__(self, texts: Texts, case: Case) -> None:
        self.texts, self.present, self.case = texts, case.present, case
        self.adapter: Mapping[str, Any] = {}
        self.place = 0
        self.read: dict[str, Value] = {}
        self.computed: dict[str, Value] = {}
        self._opening: dict[str, Value] | None = None

    @property
    def opening(self) -> dict[str, Value]:
        """The working opening: the bare receiver's, and then what each adapter in turn makes of the one before it."""
        if self._opening is None:
            kinds = self.texts.kinds
            self._opening = {}
            self._opening = {name: self.of(text, kinds[name]) for name, text in self.texts.bare.items()}
            for place, adapter in enumerate(self.case.adapters, 1):
                self.place, self.adapter = place, adapter
                self.read = {name: value for name, value in self.read.items() if not name.startswith("adapter.")}
                self._opening = {name: self.of(text, kinds[name]) for name, text in self.texts.each.items()}
        return self._opening

    def _as_written(self, name: str) -> Value:
        """What a case says of a fact, with a bit mask as a set and a truth number as a truth."""
        if name not in self.read:
            here = self.adapter if name.startswith("adapter.") else self.case.facts
            told = name in here
            self.read[name] = self._one(self.texts.kinds[name], here[name]) if told else self.texts.unknown[name]
        return self.read[name]

    def _one(self, kind: str, value: Any) -> Value:
        if kind == "yes_no":
            return {0: False, 1: None, 2: True}[value]
        if members := self.texts.lists.get(kind):
            return Members(kind, frozenset(name for i, name in enumerate(members) if value >> i & 1))
        low, high = value
        return (low, high)

    def of(self, text: str, kind: str = "") -> Value:
        """The value of an expression; `kind` is the list, if any, whose member it is to be."""
        return self.value(tree(text), kind)

    def fact(self, name: str) -> Value:
        """What is known of a fact, derived value or fact of the working opening."""
        if name in self.texts.bare:
            return self.opening[name]
        if name in self.texts.derived:
            if name not in self.computed:
                self.computed[name] = self.of(self.texts.derived[name], self.texts.kinds[name])
            return self.computed[name]
        if name.endswith(".told"):
            # What the case says was told of a figure by one end alone; else the figure.
            told = (self.adapter if name.startswith("adapter.") else self.case.facts).get(name)
            return told if isinstance(told, tuple) else self._as_written(name.removesuffix(".told"))
        return self._as_written(name)

    def value(self, node: syntax.AnyNode, wanted: str = "") -> Value:
        """The value of a node; `wanted` is the list that a bare member or size is read as of."""
        match node:
            case syntax.Name(name=name):
                return self.fact(name) if "." in name else Members(wanted, frozenset([name]))
            case syntax.Comparison():
                return self._comparison(node)
            case syntax.And() | syntax.Or() | syntax.Not():
                return self.truth(node)
            case syntax.Call():
                return self._call(node)
            case syntax.Quantity(text=text):
                return self._quantity(text, wanted)
            case syntax.In():
                return self._in(node)
            case syntax.If():
                return self._if(node, wanted)
            case syntax.Arithmetic():
                return arithmetic(node.operator, self.number(node.left), self.number(node.right))
            case syntax.YesNo(value=truth):
                return truth
            case syntax.Number(text=text):
                return (self.texts.figure(text), self.texts.figure(text))
            case syntax.Minus():
                return arithmetic("-", (0, 0), self.number(node.operand))
            case _:
                assert_never(node)

    def truth(self, node: syntax.AnyNode) -> Truth:
        """The value of a condition."""
        match node:
            case syntax.Not():
                return negation(self.truth(node.operand))
            case syntax.And():
                return conjunction(map(self.truth, node.operands))
            case syntax.Or():
                return disjunction(map(self.truth, node.operands))
        found = self.value(node)
        assert found is None or isinstance(found, bool)
        return found

    def number(self, node: syntax.AnyNode) -> Number:
        """The value of a number; a size is its length."""
        return self._length(self.value(node))

    def _length(self, value: Value) -> Number:
        if isinstance(value, Members):
            sizes = [self.texts.lists[value.list][name] or 0 for name in value.names]
            return (min(sizes), max(sizes))
        assert isinstance(value, tuple)
        return value

    def _quantity(self, text: str, wanted: str) -> Value:
        amount = self.texts.figure(text)
        for name, size in self.texts.lists.get(wanted, {}).items():
            if size is not None and abs(size - amount) <= SAME:
                return Members(wanted, frozenset([name]))
        return (amount, amount)

    def _list_of(self, node: syntax.AnyNode) -> str:
        """The list that a node's value is a member of, if that can be told from the node alone."""
        found = ""
        match node:
            case syntax.Name(name=name):
                found = self.texts.kinds.get(name, "")
            case syntax.Call(function="lookup"):
                found = self.texts.tables[str(node.arguments[0])]["gives"]
            case syntax.If():
                found = self._list_of(node.then) or self._list_of(node.otherwise)
        return found if found in self.texts.lists else ""

    def _comparison(self, node: syntax.Comparison) -> Truth:
        wanted = self._list_of(node.left) or self._list_of(node.right)
        a, b = self.value(node.left, wanted), self.value(node.right, wanted)
        match node.operator:
            case "==":
                return self._same(a, b)
            case "!=":
                return negation(self._same(a, b))
            case "<=":
                return at_most(self._length(a), self._length(b))
            case ">=":
                return at_most(self._length(b), self._length(a))
            case "<":
                return negation(at_most(self._length(b), self._length(a)))
        return negation(at_most(self._length(a), self._length(b)))

    def _same(self, a: Value, b: Value) -> Truth:
        if isinstance(a, Members) and isinstance(b, Members) and a.list == b.list:
            if not a.names & b.names:
                return False
            return True if len(a.names | b.names) == 1 else None
        if isinstance(a, Members | tuple) and isinstance(b, Members | tuple):
            return equal(self._length(a), self._length(b))
        return None if a is None or b is None else a == b

    def _in(self, node: syntax.In) -> Truth:
        value = self.value(node.value)
        assert isinstance(value, Members)
        written: set[str] = set()
        for member in node.members:
            found = self.value(member, value.list)
            assert isinstance(found, Members)
            written |= found.names
        one_of = True if value.names <= written else None if value.names & written else False
        return negation(one_of) if node.negated else one_of

    def _if(self, node: syntax.If, wanted: str) -> Value:
        condition = self.truth(node.condition)
        wanted = wanted or self._list_of(node)
        then, otherwise = self.value(node.then, wanted), self.value(node.otherwise, wanted)
        if _list(then) != _list(otherwise):  # a choice of sizes of two lists, or of a size and a length
            then, otherwise = self._length(then), self._length(otherwise)
        if condition is None:
            return _either([then, otherwise])
        return then if condition else otherwise

    def _call(self, node: syntax.Call) -> Value:
        match node.function:
            case "present":
                name = str(node.arguments[0])
                return (f"{self.place} {name}" if name.startswith("adapter.") else name) in self.present
            case "known":
                return self._known(node.arguments[0])
            case "lookup":
                return self._lookup(self.texts.tables[str(node.arguments[0])], node.arguments[1:])
        return call(node.function, list(map(self.number, node.arguments)))

    def _known(self, node: syntax.AnyNode) -> Truth:
        """Yes where something is known on either side, else unknown: no rule rests on not knowing."""
        match self.value(node):
            case None:
                return None
            case Members(list=name, names=names):
                return None if len(names) == len(self.texts.lists[name]) else True
            case (low, high):
                return True if low > -inf and high < inf else None
        return True

    def _lookup(self, table: Mapping[str, Any], key_nodes: Sequence[syntax.AnyNode]) -> Value:
        key_node, *others = key_nodes
        if others:
            return self._lookup_by_several(table, key_node, others)
        key = self.value(key_node, table["key"])
        if "rows" in table:
            assert isinstance(key, Members)
            if "known" in table:
                return _either([name in table["rows"] for name in key.names])
            if not key.names <= table["rows"].keys():
                return self._anything(table["gives"])
            cells = [table["rows"][name] for name in key.names]
        elif "points" in table:
            points = [(self.texts.figure(point["at"]), self.texts.figure(point["is"])) for point in table["points"]]
            return _on_the_line(points, self._length(key)) or self._anything(table["gives"])
        else:
            cells = _bands(table["bands"], self._length(key), self.texts.figure)
        return _either([self.of(cell, table["gives"]) for cell in cells])

    def _lookup_by_several(
        self, table: Mapping[str, Any], key_node: syntax.AnyNode, others: Sequence[syntax.AnyNode]
    ) -> Value:
        """What the table of each member that the first key may be gives by the others."""
        first, *left = table["key"]
        key = self.value(key_node, first)
        assert isinstance(key, Members)
        below = {"key": left if len(left) > 1 else left[0], "gives": table["gives"]}
        rows = [table["rows"][name] for name in key.names]
        tables = [
            below | ({"rows": row} if not isinstance(row, list) else {"points" if "at" in row[0] else "bands": row})
            for row in rows
        ]
        return _either([self._lookup(one, others) for one in tables])

    def _anything(self, kind: str) -> Value:
        """What is known of a value of a kind when nothing is."""
        if kind in self.texts.lists:
            return Members(kind, frozenset(self.texts.lists[kind]))
        return None if kind == "yes_no" else (-inf, inf)


def _list(value: Value) -> str:
    return value.list if isinstance(value, Members) else ""


def _either(values: list[Value]) -> Value:
    """What is known of a value that is one of several of a kind."""
    first = values[0]
    if isinstance(first, Members):
        return Members(first.list, frozenset().union(*(v.names for v in values if isinstance(v, Members))))
    if isinstance(first, tuple):
        return hull(value for value in values if isinstance(value, tuple))
    return first if len(set(values)) == 1 else None


def _bands(bands: list[dict[str, str]], key: Number, figure: Callable[[str], float]) -> list[str]:
    """The cells of the bands that a key can be in: over the top of the one before, not over its own."""
    tops = [figure(band["up_to"]) if "up_to" in band else inf for band in bands]
    return [
        band["is"]
        for band, under, top in zip(bands, [-inf, *tops], tops, strict=False)
        if key[0] <= most_alike(top) and key[1] > most_alike(under)
    ]


def _on_the_line(points: list[tuple[Any, Any]], key: Number) -> Number | None:
    """What a line through some points passes over a stretch, at its ends and corners; None where it is not all there.

    The line is weighed between its two points: as much of either as the key is near to it.
    """
    (first, _), (last, _) = points[0], points[-1]
    if most_alike(key[0]) < first or key[1] > most_alike(last):
        return None
    low, high = (min(max(end, first), last) for end in key)
    met = [y for x, y in points if low <= x <= high]
    for (x0, y0), (x1, y1) in pairwise(points):
        met += [(y0 * (x1 - x) + y1 * (x - x0)) / (x1 - x0) for x in (low, high) if x0 <= x <= x1]
    return (min(met), max(met))


# rules, needs, limits


class Interpreter:
    """A rulebook's folder, ready to judge cases."""

    def __init__(self, folder: Path, figure: Callable[[str], float] = in_float) -> None:
        self.texts = read_texts(folder, figure)
        self._rules = self.texts.rules
        self._parts = [_parts(self.texts, rule) for rule in self._rules]
        self._behind = [behind(self.texts, _guard(rule), rule["requires"]) for rule in self.texts.rules]
        self._needs = [
            (need, about(self.texts, _guard(need), *need.get("values", {}).values())) for need in self.texts.needs
        ]
        self._behind_need = [behind(self.texts, _guard(need), need.get("met_when", "no")) for need, _ in self._needs]
        self._limits = {
            limit["id"]: [
                (rating["rating"], guard, about(self.texts, guard, rating["rating"]))
                for rating in _ratings(limit)
                for guard in (_guard(limit, rating),)
            ]
            for limit in self.texts.limits
        }

    def judge(self, case: Case) -> Judged:
        """Judge a case."""
        reading = Reading(self.texts, case)
        results = [(rule["id"], _result(reading, *one)) for rule, one in zip(self._rules, self._parts, strict=True)]
        needs = [need["id"] for need, subjects in self._needs if _open(reading, need, subjects)]
        limits = {name: _limit(reading, ratings) for name, ratings in self._limits.items()}
        outcome = self._outcome([result for _, result in results], needs)
        if outcome in ("undetermined", "conditional") and self._fails_either_way(case, results):
            outcome = "fails"
        if outcome in ("undetermined", "conditional"):
            outcome = self._outcome(*self._but_moot(case, results, needs))
        return Judged(
            outcome,
            results,
            needs,
            {name: found for name, found in limits.items() if found is not None},
        )

    def _fails_either_way(self, case: Case, results: list[tuple[str, str]]) -> bool:
        """Whether with each value of some one open choice a rule fails that is open now; the others are settled."""
        open_ = [
            number
            for number, (rule, (_, result)) in enumerate(zip(self._rules, results, strict=True))
            if result == "undetermined" and rule["severity"] == "blocking"
        ]
        for name in set().union(*(self._behind[number] for number in open_)):
            for other in supposed(self.texts, case, name):
                if other and all(self._some_fails(one, open_, name) for one in other):
                    return True
        return False

    def _but_moot(self, case: Case, results: list[tuple[str, str]], needs: list[str]) -> tuple[list[str], list[str]]:
        """What rules and needs come to, but those open ones that are in the way with no value of some one choice."""
        told: dict[str, list[list[Reading]]] = {}

        def moot(names: Iterable[str], holds: Callable[[Reading], bool]) -> bool:
            for name in names:
                if name not in told:
                    every = supposed(self.texts, case, name)
                    told[name] = [[Reading(self.texts, one) for one in other] for other in every if other]
            return any(all(map(holds, each)) for name in names for each in told[name])

        def passes(number: int) -> Callable[[Reading], bool]:
            return lambda one: _result(one, *self._parts[number]) in ("passes", "not_applicable")

        def is_none(need: Mapping[str, Any], subjects: set[str]) -> Callable[[Reading], bool]:
            return lambda one: not _open(one, need, subjects)

        left = [
            "passes" if result == "undetermined" and moot(self._behind[number], passes(number)) else result
            for number, (_, result) in enumerate(results)
        ]
        behind_needs = zip(self._needs, self._behind_need, strict=True)
        missed = [need["id"] for need, _ in self._needs if need["id"] in needs]
        for (need, subjects), names in behind_needs:
            if need["id"] in needs and moot(names, is_none(need, subjects)):
                missed.remove(need["id"])
        return left, missed

    def _some_fails(self, case: Case, numbers: list[int], name: str) -> bool:
        reading = Reading(self.texts, case)
        return any(_result(reading, *self._parts[n]) == "fails" for n in numbers if name in self._behind[n])

    def resting_on(self, names: Collection[str]) -> list[int]:
        """The rules that rest on any of these facts."""
        return [number for number, behind_ in enumerate(self._behind) if not behind_.isdisjoint(names)]

    def results_of(self, case: Case, numbers: Iterable[int]) -> dict[int, str]:
        """What some rules come to, by their numbers."""
        reading = Reading(self.texts, case)
        return {number: _result(reading, *self._parts[number]) for number in numbers}

    def _outcome(self, results: list[str], open_needs: list[str]) -> str:
        severities = []
        for rule, result in zip(self._rules, results, strict=True):
            if result in ("fails", "undetermined"):
                severe = rule["severity"] == "blocking"
                if result == "undetermined" and rule.get("if_unknown") == "caution":
                    severe = False
                severities.append(result if severe else "conditional")
        severities += ["conditional" for _ in open_needs]
        return next((found for found in ("fails", "undetermined", "conditional") if found in severities), "works")


def _limit(
    reading: Reading, guarded: list[tuple[str, str, set[str]]]
) -> tuple[float | None, str, tuple[str, ...]] | None:
    """The lowest of the ratings that may apply, each at its low end; one that may be nothing at its high end."""
    ratings: list[tuple[float, str]] = []
    unknown: list[str] = []
    for name, guard, subjects in guarded:
        if subjects - reading.present or reading.of(guard) is False:
            continue
        low, high = reading.number(tree(name))
        open_below = low <= 0 and low < high
        if open_below:
            unknown.append(name)
        ratings.append((high if open_below else low, name))
    if not ratings:
        return None
    lowest, governing = min(ratings, key=lambda rating: rating[0])
    return (lowest, governing, tuple(unknown)) if lowest < inf else (None, "", tuple(unknown))


def _parts(texts: Texts, rule: Mapping[str, Any]) -> tuple[syntax.AnyNode, syntax.AnyNode, set[str]]:
    """A rule's guard and requirement as trees, and what the question must be about."""
    guard, requires = _guard(rule), rule["requires"]
    return tree(guard), tree(requires), about(texts, guard, requires)


def _result(reading: Reading, guard: syntax.AnyNode, requires: syntax.AnyNode, subjects: set[str]) -> str:
    """A rule is that its guard implies its requirement; without its subjects it does not apply."""
    if subjects - reading.present:
        return "not_applicable"
    applies = reading.truth(guard)
    if applies is False:
        return "not_applicable"
    required = reading.truth(requires)
    if required is True:
        return "passes"
    return "fails" if applies is True and required is False else "undetermined"


def _open(reading: Reading, need: Mapping[str, Any], subjects: set[str]) -> bool:
    """A need is open where it may apply and is not surely met."""
    if subjects - reading.present or reading.of(_guard(need)) is False:
        return False
    return "met_when" not in need or reading.of(need["met_when"]) is not True
