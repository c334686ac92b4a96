"""Single changes to a rulebook, each as a slip of the pen would make it: what examples have to notice.

A change is made in the text of one entry, and the entry is read anew: an operator, a figure by one step of display, a
unit, a member of a list, a word such as a severity, a guard or a rating left out, a cell of a table. What cannot be
read any more is no mutant: `rules check` refuses it.
"""

from collections.abc import Iterable, Iterator
from collections.abc import Mapping as Map
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, Final, TypeGuard, assert_never

from fitsvc.language import syntax
from fitsvc.language.display import step
from fitsvc.language.parser import parse
from fitsvc.language.problems import ProblemsFound
from fitsvc.language.quantities import QuantityError, parse_any
from fitsvc.language.source import Source
from fitsvc.language.syntax import AnyNode
from fitsvc.language.types import ListType
from fitsvc.rulebook.vocabulary import DEFAULT_UNITS, Vocabulary
from fitsvc.rulebook.yaml_text import Mapping, Node, Position, Scalar, Sequence

EXPRESSIONS: Final = ("applies_when", "requires", "met_when", "is", "rating", "judged", "judged_when")
"""Under these keys of an entry stands an expression; under `values` one in each entry."""
_TURNED: Final = {"==": "!=", "!=": "==", "<": "<=", "<=": "<", ">": ">=", ">=": ">"}
_ROUND: Final = {"<": ">", "<=": ">=", ">": "<", ">=": "<="}
_ARITHMETIC: Final = {"+": "-", "-": "+", "*": "/", "/": "*"}
_OTHER_UNIT: Final = {"in": "ft", "ft": "in", "mm": "in", "lb": "kg", "kg": "lb"}
_EXTREMES: Final = {"min": "max", "max": "min"}
_GUARDS: Final = ("applies_when", "judged_when", "met_when")


@dataclass(frozen=True, slots=True)
class RuleChange:
    """One change of an entry: where it stands, what it is for people, and the entry with it."""

    mark: Position
    told: str
    entry: Mapping


def changes(entry: Mapping, vocabulary: Vocabulary) -> Iterator[RuleChange]:
    """Every single change of an entry of a topic file or of the cautions, each told once."""
    seen: set[str] = set()
    for change in _changes(entry, vocabulary):
        if change.told not in seen:
            seen.add(change.told)
            yield change


def _changes(entry: Mapping, vocabulary: Vocabulary) -> Iterator[RuleChange]:
    for key, node in entry.entries.items():
        if key in EXPRESSIONS and isinstance(node, Scalar):
            for told, text in texts(node.value, vocabulary):
                yield RuleChange(node.mark, f"{key}: {told}", with_key(entry, key, _written(node, text)))
        if key in _GUARDS:
            yield RuleChange(node.mark, f"{key} left out", without_key(entry, key))
        if key == "values" and isinstance(node, Mapping):
            yield from _values(entry, node, vocabulary)
        if key == "lowest_of" and isinstance(node, Sequence):
            yield from _ratings(entry, node, vocabulary)
    yield from _words(entry)


def with_key(entry: Mapping, key: str, node: Node) -> Mapping:
    """A mapping with another node under a key."""
    return replace(entry, entries={**entry.entries, key: node})


def without_key(entry: Mapping, key: str) -> Mapping:
    """A mapping without a key."""
    return replace(entry, entries={name: node for name, node in entry.entries.items() if name != key})


def _written(node: Scalar, text: str) -> Scalar:
    return replace(node, value=text)


def _values(entry: Mapping, values: Mapping, vocabulary: Vocabulary) -> Iterator[RuleChange]:
    for name, node in values.entries.items():
        if isinstance(node, Scalar):
            for told, text in texts(node.value, vocabulary):
                changed = with_key(values, name, _written(node, text))
                yield RuleChange(node.mark, f"{name}: {told}", with_key(entry, "values", changed))


def _ratings(entry: Mapping, ratings: Sequence, vocabulary: Vocabulary) -> Iterator[RuleChange]:
    """A rating left out, and what each says of itself changed."""
    for place, item in enumerate(ratings.items):
        node = item.entries.get("rating") if isinstance(item, Mapping) else item
        name = node.value if isinstance(node, Scalar) else ""
        if len(ratings.items) > 1:
            fewer = replace(ratings, items=(*ratings.items[:place], *ratings.items[place + 1 :]))
            yield RuleChange(item.mark, f"rating {name} left out", with_key(entry, "lowest_of", fewer))
        one = item if isinstance(item, Mapping) else Mapping(item.source, item.start, {"rating": item}, {})
        for change in _changes(without_key(one, "rating"), vocabulary):
            told = Mapping(one.source, one.start, {"rating": one.entries["rating"], **change.entry.entries}, {})
            items = (*ratings.items[:place], told, *ratings.items[place + 1 :])
            changed = with_key(entry, "lowest_of", replace(ratings, items=items))
            yield RuleChange(change.mark, f"rating {name}, {change.told}", changed)
        if "if_unknown" not in one.entries and _says(entry, "severity") == "blocking":
            told = with_key(one, "if_unknown", _scalar(one, "caution"))
            items = (*ratings.items[:place], told, *ratings.items[place + 1 :])
            changed = with_key(entry, "lowest_of", replace(ratings, items=items))
            yield RuleChange(item.mark, f"rating {name}, if_unknown: caution", changed)


def _words(entry: Mapping) -> Iterator[RuleChange]:
    """A severity, or an answer to not knowing, that is another."""
    severity, unknown = _says(entry, "severity"), _says(entry, "if_unknown")
    if severity:
        other = "caution" if severity == "blocking" else "blocking"
        changed = with_key(without_key(entry, "if_unknown"), "severity", _scalar(entry, other))
        yield RuleChange(entry.entries["severity"].mark, f"severity: {other}", changed)
    if unknown == "caution":
        yield RuleChange(entry.entries["if_unknown"].mark, "if_unknown left out", without_key(entry, "if_unknown"))
    elif severity == "blocking" and "requires" in entry.entries:
        changed = with_key(entry, "if_unknown", _scalar(entry, "caution"))
        yield RuleChange(entry.entries["severity"].mark, "if_unknown: caution", changed)


def _says(entry: Mapping, key: str) -> str:
    node = entry.entries.get(key)
    return node.value if isinstance(node, Scalar) else ""


def _scalar(near: Mapping, text: str) -> Scalar:
    return Scalar(near.source, near.start, text)


# expressions


def texts(text: str, vocabulary: Vocabulary) -> Iterator[tuple[str, str]]:
    """Each change of an expression: told by the part that changes, and the whole text with it."""
    try:
        tree = parse(Source.plain(text))
    except ProblemsFound:
        return
    yield f"not ({tree})", f"not ({tree})"
    for old, new, whole in _everywhere(tree, vocabulary):
        yield f"{old} -> {new}", str(whole)


def _everywhere(node: AnyNode, vocabulary: Vocabulary) -> Iterator[tuple[AnyNode, AnyNode, AnyNode]]:
    """Each change of a node or of one below it: what was there, what is there then, and the whole."""
    for new in _instead(node, vocabulary):
        yield node, new, new
    for put, part in _parts(node):
        for old, new, changed in _everywhere(part, vocabulary):
            yield old, new, put(changed)


def _parts(node: AnyNode) -> Iterator[tuple[Any, AnyNode]]:
    """The nodes below a node, each with a way to put another in its place."""
    for name in node.__dataclass_fields__:
        value = getattr(node, name)
        if isinstance(value, AnyNode):
            yield partial(_replaced, node, name), value
        elif isinstance(value, tuple):
            for i, part in enumerate(value):

                def put(new: AnyNode, name: str = name, value: Any = value, i: int = i) -> AnyNode:
                    return _replaced(node, name, (*value[:i], new, *value[i + 1 :]))

                yield put, part


def _replaced(node: Any, field: str, value: Any) -> AnyNode:
    changed: AnyNode = replace(node, **{field: value})
    return changed


def _instead(node: AnyNode, vocabulary: Vocabulary) -> Iterable[AnyNode]:
    """What may stand in a node's place by one slip."""
    match node:
        case syntax.Number() | syntax.Quantity():
            return [*_figures(node), *_members(node, node.text, vocabulary)]
        case syntax.YesNo():
            return [replace(node, value=not node.value)]
        case syntax.Name():
            return [] if "." in node.name else _members(node, node.name, vocabulary)
        case syntax.Comparison():
            signs = [signs[node.operator] for signs in (_TURNED, _ROUND) if node.operator in signs]
            return [replace(node, operator=sign) for sign in signs]
        case syntax.Arithmetic():
            return [replace(node, operator=_ARITHMETIC[node.operator])]
        case syntax.In(members=members):
            fewer = [replace(node, members=without) for without in _fewer(members)] if len(members) > 1 else []
            return [replace(node, negated=not node.negated), *fewer]
        case syntax.Not():
            return [node.operand]
        case syntax.And() | syntax.Or():
            other = syntax.Or if isinstance(node, syntax.And) else syntax.And
            return [other(node.at, node.operands), *_without_one(node)]
        case syntax.If():
            return [replace(node, condition=syntax.Not(node.at, node.condition)), node.then, node.otherwise]
        case syntax.Call():
            return _calls(node)
        case syntax.Minus():
            return [node.operand]
        case _:
            assert_never(node)


def _fewer(nodes: tuple[AnyNode, ...]) -> list[tuple[AnyNode, ...]]:
    return [(*nodes[:i], *nodes[i + 1 :]) for i in range(len(nodes))]


def _without_one(node: syntax.And | syntax.Or) -> Iterator[AnyNode]:
    """One part less; but for what another part says as well, as naming a fact of a subject names the subject."""
    told = {str(part.arguments[0]) for part in node.operands if _is_present(part)}
    for part, one in zip(node.operands, _fewer(node.operands), strict=True):
        name = str(part.arguments[0]) if _is_present(part) else ""
        implied = any(other.startswith(f"{name}.") for other in told) if name else False
        implies = "." in name and name.partition(".")[0] in told
        if not (implied if isinstance(node, syntax.And) else implies):
            yield one[0] if len(one) == 1 else replace(node, operands=one)


def _is_present(node: AnyNode) -> TypeGuard[syntax.Call]:
    return isinstance(node, syntax.Call) and node.function == "present"


def _calls(node: syntax.Call) -> list[AnyNode]:
    if node.function in _EXTREMES:
        return [replace(node, function=_EXTREMES[node.function])]
    if node.function == "present":
        return [syntax.Not(node.at, node)]
    return []


def _figures(node: syntax.Number | syntax.Quantity) -> Iterator[AnyNode]:
    """A figure a step of its display more and less, and with another unit of its dimension."""
    number, _, unit = node.text.rpartition(" ")
    if not number:
        number, unit = node.text, ""
    try:
        value, dimension = parse_any(node.text)
        one = parse_any(f"1 {unit}".strip())[0]
    except QuantityError:
        return
    shown = DEFAULT_UNITS.get(str(dimension), "")
    by = (
        step(unit if unit == "ft" else shown, "us") / one
        if unit and shown
        else (0.01 if 0.0 < abs(value) < 1.0 else 1.0)
    )
    by = 1.0 if unit in ("%", "deg", "mm", "kg") else by
    for way in (by, -by):
        text = f"{value / one + way:.9f}".rstrip("0").rstrip(".")
        if not text.startswith("-"):
            yield replace(node, text=f"{text} {unit}".strip())
    if unit in _OTHER_UNIT and value:
        yield replace(node, text=f"{number} {_OTHER_UNIT[unit]}")


def _members(node: AnyNode, text: str, vocabulary: Vocabulary) -> list[AnyNode]:
    """The member that stands next in each list that has this one."""
    found: dict[str, None] = {}
    for kind in vocabulary.lists.values():
        if text in kind.members and len(kind.members) > 1:
            found[kind.members[(kind.members.index(text) + 1) % len(kind.members)]] = None
    name = "name" if isinstance(node, syntax.Name) else "text"
    return [_replaced(node, name, member) for member in found]


# tables


def cells(entry: Mapping, keys: Map[str, Any], vocabulary: Vocabulary) -> Iterator[RuleChange]:
    """Every single change of a table's cells, by the types that its columns give, the key's under `up_to` or `at`."""
    for section in ("rows", "bands", "points"):
        node = entry.entries.get(section)
        for told, changed, at in _cells(node, keys, vocabulary) if node is not None else ():
            yield RuleChange(at.mark, told, with_key(entry, section, changed))


def _cells(
    node: Node, kinds: Map[str, Any], vocabulary: Vocabulary, name: str = ""
) -> Iterator[tuple[str, Node, Node]]:
    match node:
        case Mapping():
            for key, below in node.entries.items():
                for told, changed, at in _cells(below, kinds, vocabulary, key):
                    yield told if isinstance(below, Scalar) else f"{key}, {told}", with_key(node, key, changed), at
        case Sequence(items=items):
            for i, item in enumerate(items):
                what = "point" if isinstance(item, Mapping) and "at" in item.entries else "band"
                for told, changed, at in _cells(item, kinds, vocabulary):
                    yield f"{what} {i + 1}, {told}", replace(node, items=(*items[:i], changed, *items[i + 1 :])), at
        case Scalar():
            for text in _other_cells(node.value, kinds.get(name, kinds.get("")), vocabulary):
                yield f"{name}: {node.value} -> {text}", _written(node, text), node


def _other_cells(text: str, kind: Any, vocabulary: Vocabulary) -> Iterator[str]:
    if kind is None or text == "unknown":
        return
    if isinstance(kind, ListType):
        if text in kind.members:
            yield kind.members[(kind.members.index(text) + 1) % len(kind.members)]
        return
    try:
        tree = parse(Source.plain(text))
    except ProblemsFound:
        return
    yield from (str(new) for new in _instead(tree, vocabulary))
