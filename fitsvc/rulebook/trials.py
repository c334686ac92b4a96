"""How an accessory is tried on a rig, as `rulebook.yaml` says it, and what follows from what came of it."""

from typing import Final

from fitsvc.language.types import NumberType
from fitsvc.rulebook.expressions import Expressions
from fitsvc.rulebook.rules import TrialState
from fitsvc.rulebook.yaml_text import Mapping, Scalar

OF: Final = "mounting"
"""Whose facts are bounded: what was tried is told of a mounting."""
_KEYS: Final = ("title", "bears_on")
_MAY_HAVE: Final = ("room", "applies_when")


def read_trials(read: Expressions, top: Mapping | None) -> dict[str, TrialState]:
    """The ways to try something, by name."""
    node, found = top.entries.get("trials") if top else None, dict[str, TrialState]()
    for name, part in read.shape.open_mapping(node, "`trials`") if node is not None else ():
        entry = read.shape.mapping(part, f"trial `{name}`", _KEYS, _MAY_HAVE)
        if entry is not None:
            found[name] = TrialState(
                name=name,
                title=read.shape.text(entry, "title"),
                bears_on=_figures(read, entry),
                room=read.read(entry, "room", _length(read)) if "room" in entry.entries else None,
                guard=read.read(entry, "applies_when") if "applies_when" in entry.entries else None,
            )
    return found


def _length(read: Expressions) -> NumberType | None:
    """The type of a room: that of any length."""
    kinds = (fact.type for fact in read.vocabulary.facts.values() if fact.kind == "length")
    return next((kind for kind in kinds if isinstance(kind, NumberType)), None)


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
