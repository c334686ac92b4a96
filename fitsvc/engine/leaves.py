"""The facts a rule rests on in a case: through derived values, down the branches the case takes.

What decides is worked out once a rule: its conditions and parts of `and`/`or` are its decisions. Once their
values are known, the facts that matter follow: of a choice only the branch taken, and of an open `and` or
`or` only the parts that are open.
"""

from collections.abc import Mapping, Sequence

from fitsvc.language import typed
from fitsvc.language.truth import NO, UNKNOWN, YES
from fitsvc.language.typed import AnyTyped, Read
from fitsvc.language.types import Value


class Basis:
    """What one value rests on: `leaves` are all its facts, `decisions` what to compute to tell which matter.

    `presences` are the subjects and facts whose being in the question it asks.
    """

    def __init__(self, roots: Sequence[AnyTyped], derived: Mapping[str, AnyTyped]) -> None:
        self._roots, self._derived = roots, derived
        self.leaves: list[Read] = []
        self.decisions: list[AnyTyped] = []
        self.presences: dict[str, None] = {}
        for root in roots:
            self._collect(root)
        self.leaves = list({read.name: read for read in self.leaves}.values())
        self.decisions = list(dict.fromkeys(self.decisions))
        self._matter: dict[tuple[Value, ...], tuple[int, ...]] = {}

    def _collect(self, node: AnyTyped) -> None:
        if isinstance(node, Read):
            below = self._derived.get(node.name)
            if below is None:
                self.leaves.append(node)
            else:
                self._collect(below)
            return
        if isinstance(node, typed.Choice):
            self.decisions.append(node.condition)
        elif isinstance(node, typed.All | typed.Some):
            self.decisions += [node, *node.operands]
        elif isinstance(node, typed.Present):
            self.presences[node.name] = None
        for part in typed.parts(node):
            self._collect(part)

    def matter(self, decided: Sequence[Value]) -> tuple[int, ...]:
        """The places in `leaves` of the facts that matter, given the values of the decisions."""
        key = tuple(decided)
        found = self._matter.get(key)
        if found is None:
            values = dict(zip(self.decisions, decided, strict=True))
            names: dict[str, None] = {}
            for root in self._roots:
                self._walk(root, values, names)
            places = {read.name: i for i, read in enumerate(self.leaves)}
            self._matter[key] = found = tuple(places[name] for name in names)
        return found

    def _walk(self, node: AnyTyped, values: Mapping[AnyTyped, Value], names: dict[str, None]) -> None:
        if isinstance(node, Read):
            below = self._derived.get(node.name)
            if below is None:
                names[node.name] = None
            else:
                self._walk(below, values, names)
            return
        parts = typed.parts(node)
        if isinstance(node, typed.Choice):
            parts = _taken(node, values[node.condition])
        elif isinstance(node, typed.All | typed.Some) and values[node] == UNKNOWN:
            parts = tuple(part for part in parts if values[part] == UNKNOWN)
        for part in parts:
            self._walk(part, values, names)


def _taken(node: typed.Choice, condition: Value) -> tuple[AnyTyped, ...]:
    if condition == YES:
        return (node.then, node.condition)
    if condition == NO:
        return (node.otherwise, node.condition)
    return (node.condition, node.then, node.otherwise)
