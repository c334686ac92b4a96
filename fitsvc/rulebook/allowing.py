"""What an accessory may be loaded with where no load is named, read from `rulebook.yaml`."""

from collections.abc import Iterable, Sequence
from typing import Final

from fitsvc.language.problems import nearest
from fitsvc.language.quantities import NUMBER
from fitsvc.language.typed import AnyTyped
from fitsvc.language.types import NumberType
from fitsvc.rulebook.expressions import Expressions
from fitsvc.rulebook.forms import EXPRESSION, TEXT, Form, by_name, many, named
from fitsvc.rulebook.rules import Allowance, Loading, Rule
from fitsvc.rulebook.yaml_text import Mapping, Node, Scalar

LOADING: Final = Form(
    "a way to load",
    {"fact": named("fact")},
    {"times": named("fact"), "called": many(TEXT, minItems=2, maxItems=2), "applies_when": EXPRESSION},
)
ALLOWANCE: Final = Form(
    "an allowance",
    {"name": TEXT, "title": TEXT, "loads": many(LOADING.kind), "by_label": EXPRESSION},
    {
        "applies_when": EXPRESSION,
        "assuming": by_name(EXPRESSION, named("fact")),
        "assumed_as": TEXT,
        "told_by": many(named("rule")),
    },
)


def read_allowances(read: Expressions, top: Mapping | None, rules: Iterable[Rule]) -> tuple[Allowance, ...]:
    """The allowances of `rulebook.yaml`; each names rules by their ids, which have to be there."""
    ids = [rule.id for rule in rules]
    nodes = read.shape.items(top.entries.get("allowances") if top else None, "`allowances`")
    return tuple(found for node in nodes if (found := _allowance(read, node, ids)) is not None)


def _allowance(read: Expressions, node: Node, ids: Sequence[str]) -> Allowance | None:
    shape = read.shape
    entry = shape.form(node, ALLOWANCE)
    if entry is None:
        return None
    loadings = [_loading(read, one) for one in shape.items(entry.entries["loads"], "`loads`")]
    known = [one for one in loadings if one is not None]
    weight = read.vocabulary.slots()[known[0].fact] if known else None
    by_label = read.read(entry, "by_label", weight)
    if by_label is None or not known:
        return None
    return Allowance(
        name=shape.text(entry, "name"),
        title=shape.text(entry, "title"),
        guard=read.read(entry, "applies_when"),
        loadings=tuple(known),
        by_label=by_label,
        assuming=_assuming(read, entry),
        assumed_as=_assumed_as(read, entry),
        told_by=tuple(_told_by(read, entry, ids)),
    )


def _loading(read: Expressions, node: Node) -> Loading | None:
    """One way to load: the fact that says the weight, and the one that says how many there are, if any."""
    shape = read.shape
    entry = shape.form(node, LOADING)
    if entry is None:
        return None
    words = shape.items(entry.entries.get("called"), "`called`")
    called = [one.value or "" for one in words if isinstance(one, Scalar)]
    if ("times" in entry.entries) != (len(called) == 2):
        shape.complain(entry, "what is counted is called something", "add `called: [bike, bikes]` beside `times`")
    names = [_number(read, entry, key) for key in ("fact", "times") if key in entry.entries]
    if not all(names):
        return None
    times = names[1] if len(names) > 1 else ""
    return Loading(fact=names[0], times=times, called=tuple(called), guard=read.read(entry, "applies_when"))


def _number(read: Expressions, entry: Mapping, key: str) -> str:
    """The name of a fact of the question that is a number, a count under `times`; empty where it is none."""
    name, subjects = read.shape.text(entry, key), read.vocabulary.asked()
    counted = {
        one.name
        for one in read.vocabulary.facts.values()
        if one.subject in subjects
        and isinstance(one.type, NumberType)
        and (one.type.dimension == NUMBER) == (key == "times")
    }
    if name in counted:
        return name
    near = nearest(name, counted)
    what = "a count" if key == "times" else "a figure with a unit"
    help = f"did you mean `{near}`?" if near else "name a fact such as `load.cargo_weight`"
    read.shape.complain(entry.entries[key], f"`{name}` is no fact of a question that is {what}", help)
    return ""


def _assuming(read: Expressions, entry: Mapping) -> dict[str, AnyTyped]:
    found, slots = {}, read.vocabulary.slots()
    for name, node in read.shape.open_mapping(entry.entries.get("assuming"), "`assuming`"):
        if name not in slots:
            near = nearest(name, slots)
            read.shape.complain(node, f"there is no fact `{name}`", f"did you mean `{near}`?" if near else "")
        elif (value := read.read_node(node, name, slots[name])) is not None:
            found[name] = value
    return found


def _assumed_as(read: Expressions, entry: Mapping) -> str:
    """What is assumed, in words: a promise that does not say by what it holds is none."""
    if ("assuming" in entry.entries) != ("assumed_as" in entry.entries):
        help = "add `assumed_as: a driver alone aboard` beside `assuming`"
        read.shape.complain(entry, "what an allowance assumes is told with it", help)
    return read.shape.text(entry, "assumed_as") if "assumed_as" in entry.entries else ""


def _told_by(read: Expressions, entry: Mapping, ids: Sequence[str]) -> Iterable[str]:
    for node in read.shape.items(entry.entries.get("told_by"), "`told_by`"):
        name = node.value or "" if isinstance(node, Scalar) else ""
        if name not in ids:
            near = nearest(name, ids)
            read.shape.complain(node, f"there is no rule `{name}`", f"did you mean `{near}`?" if near else "")
        yield name
