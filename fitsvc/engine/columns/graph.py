"""The rules as one graph in which each distinct part stands once, marked by what it depends on.

A part depends on the rig, on the items, on both or on neither. What depends on the rig alone is computed by the
compiler of single cases; what depends on the items alone once a catalogue; only the rest is left to each rig.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from msgspec import structs

from fitsvc.language import typed
from fitsvc.language.typed import AnyTyped, Typed

Kind = TypeVar("Kind", bound=Typed, covariant=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class Step(Generic[Kind]):
    """One part: its number, its checked node, the numbers of its operands, and what it depends on.

    `endless` tells that it may surely be infinite, as the grade of a right angle is.
    """

    number: int
    node: Kind
    operands: tuple[int, ...]
    on_rig: bool
    on_items: bool
    endless: bool = False


class Graph:
    """Parts by number; operands come before what uses them. `item_slots` names are columns, all others the rig's."""

    def __init__(self, derived: Mapping[str, AnyTyped], item_subjects: Collection[str]) -> None:
        self.derived, self.item_subjects = derived, frozenset(item_subjects)
        self.steps: list[Step[AnyTyped]] = []
        self._numbers: dict[Any, int] = {}
        self._derived: dict[str, int] = {}
        self._readings: dict[str, list[int]] = {}
        self._resting: dict[tuple[str, int], frozenset[int]] = {}

    def add(self, node: AnyTyped) -> int:
        """The number of a node, put in with all below it unless it is there."""
        if isinstance(node, typed.Read) and node.name in self.derived:
            if node.name not in self._derived:
                self._derived[node.name] = self.add(self.derived[node.name])
            return self._derived[node.name]
        operands = tuple(self.add(part) for part in typed.parts(node))
        key = (type(node), node.type, _own(node), operands)
        if key not in self._numbers:
            self._numbers[key] = len(self.steps)
            if isinstance(node, typed.Read):
                self._readings.setdefault(node.name, []).append(len(self.steps))
            self.steps.append(self._step(len(self.steps), node, operands))
        return self._numbers[key]

    def _step(self, number: int, node: AnyTyped, operands: tuple[int, ...]) -> Step[AnyTyped]:
        if isinstance(node, typed.Read | typed.Present):
            subject = node.name.split(".", 1)[0]
            # An adapter among the items adds facts to the opening; it is no subject of the question.
            of_items = subject in self.item_subjects and not (
                isinstance(node, typed.Present) and node.name == "adapter"
            )
            return Step(number=number, node=node, operands=(), on_rig=not of_items, on_items=of_items)
        below = [self.steps[number] for number in operands]
        endless = any(s.endless for s in below) or typed.has_pole(node)
        return Step(
            number=number,
            node=node,
            operands=operands,
            on_rig=any(s.on_rig for s in below),
            on_items=any(s.on_items for s in below),
            endless=endless,
        )

    def inputs(self, roots: Iterable[int]) -> tuple[list[int], list[int]]:
        """The topmost parts below some roots that depend on the rig alone, and on the items alone."""
        rig: dict[int, None] = {}
        items: dict[int, None] = {}
        seen: set[int] = set()
        ways = list(roots)[::-1]
        while ways:
            number = ways.pop()
            step = self.steps[number]
            if number in seen:
                continue
            seen.add(number)
            if not step.on_items:
                rig[number] = None
            elif not step.on_rig:
                items[number] = None
            else:
                ways += step.operands[::-1]
        return list(rig), list(items)

    def readings(self, name: str) -> Sequence[int]:
        """The parts that are a fact as it is read."""
        return self._readings.get(name, ())

    def resting_on(self, name: str) -> frozenset[int]:
        """The parts that rest on a fact, with the readings of it; kept, as whoever supposes it to have a value asks."""
        return self._above(name, self.readings(name))

    def resting_on_presence(self, name: str) -> frozenset[int]:
        """The parts that rest on whether a subject, or a fact, is in the question."""
        asked = [step.number for step in self.steps if isinstance(step.node, typed.Present) and step.node.name == name]
        return self._above(f"present({name})", asked)

    def _above(self, name: str, below: Sequence[int]) -> frozenset[int]:
        key = name, len(self.steps)
        if key not in self._resting:
            found = set(below)
            for step in self.steps[min(found, default=len(self.steps)) :]:
                if not found.isdisjoint(step.operands):
                    found.add(step.number)
            self._resting[key] = frozenset(found)
        return self._resting[key]

    def conjuncts(self, root: int) -> list[int]:
        """The parts of an `and`, or the one part."""
        if isinstance(self.steps[root].node, typed.All):
            return [part for operand in self.steps[root].operands for part in self.conjuncts(operand)]
        return [root]


def _own(node: AnyTyped) -> tuple[Any, ...]:
    """What a node says beside its type and what is below it."""
    return tuple(
        value.name if name == "function" else value
        for name in node.__struct_fields__
        if name != "type" and not _below(value := getattr(node, name))
    )


def _below(value: Any) -> bool:
    return isinstance(value, Typed) or (isinstance(value, tuple) and bool(value) and isinstance(value[0], Typed))


def renamed(node: AnyTyped, names: Mapping[str, str], presences: Mapping[str, str]) -> AnyTyped:
    """A copy that reads other names, and asks for other presences."""
    if isinstance(node, typed.Read | typed.Present):
        of = names if isinstance(node, typed.Read) else presences
        return structs.replace(node, name=of.get(node.name, node.name))
    changed: dict[str, Any] = {}
    for name in node.__struct_fields__:
        value = getattr(node, name)
        if isinstance(value, AnyTyped):
            changed[name] = renamed(value, names, presences)
        elif _below(value):
            changed[name] = tuple(renamed(part, names, presences) for part in value)
    return structs.replace(node, **changed)
