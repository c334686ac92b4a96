"""How an accessory is tried on a rig, as `rulebook.yaml` says it, and what follows from what came of it."""

from typing import Final

from fitsvc.language.types import ListType, NumberType
from fitsvc.rulebook.expressions import Expressions
from fitsvc.rulebook.forms import EXPRESSION, TEXT, Form, many, named
from fitsvc.rulebook.rules import TrialState
from fitsvc.rulebook.yaml_text import Mapping, Scalar
from fitsvc.tried import RUBBED, TOUCHED

OF: Final = "mounting"
"""Whose facts are bounded: what was tried is told of a mounting."""
THING: Final = "accessory"
"""What is tried."""
TRIAL: Final = Form(
    "a trial",
    {"title": TEXT, "bears_on": many(named("fact")), "told_as": named("fact")},
    {"room": EXPRESSION, "applies_when": EXPRESSION},
)


def read_trials(read: Expressions, top: Mapping | None) -> dict[str, TrialState]:
    """The ways to try something, by name."""
    node, found = top.entries.get("trials") if top else None, dict[str, TrialState]()
    for name, part in read.shape.open_mapping(node, "`trials`") if node is not None else ():
        entry = read.shape.form(part, TRIAL, f"trial `{name}`")
        if entry is not None:
            found[name] = TrialState(
                name=name,
                title=read.shape.text(entry, "title"),
                bears_on=_figures(read, entry),
                told_as=_told_as(read, entry),
                room=read.read(entry, "room", _length(read)) if "room" in entry.entries else None,
                guard=read.read(entry, "applies_when") if "applies_when" in entry.entries else None,
            )
    return found


def _length(read: Expressions) -> NumberType | None:
    """The type of a room: that of any length."""
    kinds = (fact.type for fact in read.vocabulary.facts.values() if fact.kind == "length")
    return next((kind for kind in kinds if isinstance(kind, NumberType)), None)


def _told_as(read: Expressions, entry: Mapping) -> str:
    """The fact that says of an accessory that it touched: one that a question names, so that nobody is asked for it."""
    node, facts = entry.entries["told_as"], read.vocabulary.facts
    name = node.value or "" if isinstance(node, Scalar) else ""
    fact = facts.get(name)
    members = fact.type.members if fact is not None and isinstance(fact.type, ListType) else ()
    if fact is None or fact.subject != THING or not fact.asked or not {TOUCHED, RUBBED} <= set(members):
        help = f"name a choice of an {THING} with `presence: asked` and the members `{TOUCHED}` and `{RUBBED}`"
        read.shape.complain(node, f"`{name}` cannot tell that it touched", help)
    return name


def _figures(read: Expressions, entry: Mapping) -> tuple[str, ...]:
    """The facts that a trial bears on: figures of a mounting."""
    facts, names = read.vocabulary.facts, []
    for node in read.shape.items(entry.entries["bears_on"], "`bears_on`"):
        name = node.value or "" if isinstance(node, Scalar) else ""
        if name in facts and facts[name].subject == OF and facts[name].kind == "length":
            names.append(name)
        else:
            read.shape.complain(node, f"`{name}` is no length of a {OF}", "name such as `mounting.pin_to_bumper`")
    return tuple(names)
