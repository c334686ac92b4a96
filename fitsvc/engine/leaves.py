"""The facts a rule or value rests on, through derived values, in the order it reads them."""

from collections.abc import Mapping

from fitsvc.engine.point import Point
from fitsvc.language import typed
from fitsvc.language.typed import AnyTyped, Read
from fitsvc.rulebook.rules import Rule


def leaves(engine: Point, rule: Rule, adapted: bool) -> list[Read]:
    """A rule's facts; with adapters in the opening, the working opening's own facts stand for themselves."""
    derived = engine.derived if adapted else engine.bare_derived
    found: dict[str, Read] = {}
    for node in (rule.requires, rule.guard):
        if node is not None:
            collect(node, derived, found)
    return list(found.values())


def collect(node: AnyTyped, derived: Mapping[str, AnyTyped], found: dict[str, Read]) -> None:
    """Add a node's facts by name."""
    if isinstance(node, Read):
        below = derived.get(node.name)
        if below is None:
            found.setdefault(node.name, node)
        else:
            collect(below, derived, found)
        return
    for part in typed.parts(node):
        collect(part, derived, found)


def opening_leaves(engine: Point) -> tuple[dict[str, Read], dict[str, Read]]:
    """The facts the working opening rests on: the rig's own, and those of each adapter."""
    found: dict[str, Read] = {}
    for one in engine.rulebook.opening.values():
        collect(one.bare, engine.derived, found)
        collect(one.each, engine.derived, found)
    own = {name: read for name, read in found.items() if not name.startswith(("adapter.", "opening."))}
    return own, {name: read for name, read in found.items() if name.startswith("adapter.")}
