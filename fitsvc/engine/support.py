"""The facts a rule rests on in a case: through derived values, down the branches the case takes.

What decides is worked out once a rule: its conditions and parts of `and`/`or` are its decisions. Once their
values are known, the facts that matter follow: of a choice only the branch taken, of an open `and` or `or` only the
parts that are open, and of one that is settled by a part alone only the parts that settle it.
"""

from collections.abc import Mapping, Sequence
from typing import Final, assert_never

from fitsvc.caching import LruCache
from fitsvc.language import typed
from fitsvc.language.truth import NO, UNKNOWN, YES
from fitsvc.language.typed import AnyTyped, Read
from fitsvc.language.types import Value

_MOST_RELEVANT: Final = 512
"""Decisions come out in 3^n ways; those that a shop's rigs bring about are some dozens of any one rule."""

Moves = Mapping[str, int]
"""By fact which way a value moves with it: +1 up, -1 down, 0 both or unsure."""


class Support:
    """What one value rests on: `leaves` are all its facts, `decisions` what to compute to tell which matter.

    `presences` are the subjects and facts whose being in the question it asks, `told` the slots of what was told of
    figures by one end that it reads.
    """

    def __init__(self, roots: Sequence[AnyTyped], derived: Mapping[str, AnyTyped]) -> None:
        self._roots, self._derived = roots, derived
        self.leaves: list[Read] = []
        self.decisions: list[AnyTyped] = []
        self.presences: dict[str, None] = {}
        self.told: dict[str, None] = {}
        for root in roots:
            self._collect(root)
        self.leaves = list({read.name: read for read in self.leaves}.values())
        self.decisions = list(dict.fromkeys(self.decisions))
        self._relevant = LruCache[tuple[Value, ...], tuple[int, ...]](_MOST_RELEVANT)

    def _collect(self, node: AnyTyped) -> None:
        if isinstance(node, Read):
            below = self._derived.get(node.name)
            if below is None:
                self.leaves.append(node.whole)
                if node.told:
                    self.told[node.slot] = None
            else:
                self._collect(below)
            return
        if isinstance(node, typed.Present):
            self.presences[node.name] = None
        self.decisions += _decisions(node)
        for part in typed.parts(node):
            self._collect(part)

    def relevant(self, decided: Sequence[Value]) -> tuple[int, ...]:
        """The places in `leaves` of the facts that matter, given the values of the decisions."""
        key = tuple(decided)
        found = self._relevant.find(key)
        return self._relevant.get(key, lambda: self._relevant_given(decided)) if found is None else found

    def _relevant_given(self, decided: Sequence[Value]) -> tuple[int, ...]:
        values = dict(zip(self.decisions, decided, strict=True))
        names, walked = dict[str, None](), set[str]()
        for root in self._roots:
            self._walk(root, values, names, walked)
        places = {read.name: i for i, read in enumerate(self.leaves)}
        return tuple(places[name] for name in names)

    def _walk(self, node: AnyTyped, values: Mapping[AnyTyped, Value], names: dict[str, None], walked: set[str]) -> None:
        """Note the facts that matter, through each derived value once."""
        if isinstance(node, Read):
            below = self._derived.get(node.name)
            if below is None:
                names[node.name] = None
            elif node.name not in walked:
                walked.add(node.name)
                self._walk(below, values, names, walked)
            return
        for part in _relevant_parts(node, values):
            self._walk(part, values, names, walked)


class Moving:
    """Which way values move with what they read, through derived values; of those each is looked through once."""

    def __init__(self, derived: Mapping[str, AnyTyped]) -> None:
        self._derived = derived
        # One for each derived value: the rulebook bounds them.
        self._known: dict[str, Moves] = {}

    def of(self, node: AnyTyped) -> Moves:
        """Which way a value moves with each fact that it rests on."""
        if isinstance(node, Read):
            below = self._derived.get(node.name)
            if below is None:
                return {node.name: 1}
            if node.name not in self._known:
                self._known[node.name] = self.of(below)
            return self._known[node.name]
        parts, found = typed.parts(node), dict[str, int]()
        for part, move in zip(parts, typed.moves(node, [part.type for part in parts]), strict=True):
            for name, by in self.of(part).items():
                found[name] = move * by if found.get(name, move * by) == move * by else 0
        return found


def way(moves: Moves, ways: Moves) -> int | None:
    """Which way a value moves with a fact: +1 up, -1 down, 0 both or unsure; None where it does not rest on it.

    `ways` says so of what the value reads: of the fact itself, and of the working opening's figures it stands behind.
    """
    found = {moves[name] * by for name, by in ways.items() if name in moves}
    return found.pop() if len(found) == 1 else 0 if found else None


def _decisions(node: AnyTyped) -> Sequence[AnyTyped]:
    """What is to be computed to tell which parts of a node matter; nothing where all do."""
    if not isinstance(node, typed.Lazy):
        return ()
    match node:
        case typed.Conditional():
            return (node.condition,)
        case typed.All() | typed.Some():
            return (node, *node.operands)
        case _:
            assert_never(node)


def _relevant_parts(node: AnyTyped, values: Mapping[AnyTyped, Value]) -> Sequence[AnyTyped]:
    """The parts of a node that matter, given the values of its decisions."""
    if not isinstance(node, typed.Lazy):
        return typed.parts(node)
    match node:
        case typed.Conditional():
            condition = values[node.condition]
            if condition == YES:
                return (node.then, node.condition)
            return (node.otherwise, node.condition) if condition == NO else typed.parts(node)
        case typed.All() | typed.Some():
            # One that is no makes an `and` no, whatever the others are; one that is yes an `or` yes.
            alone = (UNKNOWN, NO if isinstance(node, typed.All) else YES)
            value = values[node]
            return [part for part in node.operands if values[part] == value] if value in alone else node.operands
        case _:
            assert_never(node)
