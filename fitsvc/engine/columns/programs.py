"""A rulebook laid out for many items at once: one graph of all rules, needs and limits, split between rig and items."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from fitsvc.caching import LruCache
from fitsvc.engine.columns.graph import Graph, renamed
from fitsvc.engine.point import Point
from fitsvc.facts import Case, at_place
from fitsvc.language import typed
from fitsvc.language.compiler import compile_values
from fitsvc.language.typed import AnyTyped
from fitsvc.language.types import TRUTH, Value
from fitsvc.rulebook.rules import Limit, Need, Rating, Rule

_Values = Callable[..., tuple[Value, ...]]
_SELDOM: Final = 8
"""Rigs up to which a fact is supposed by computing all that depends on a rig: to compile what rests on the fact alone
takes some milliseconds, as long as that, and the first rig of all would wait for it once a choice."""

_MOST_UNLIKE: Final = 256
"""Sets of facts in which two rigs were unlike, of which it is kept what rests on them: readings are of a few facts."""


@dataclass(frozen=True, slots=True)
class Member:
    """A rule or a need: the conditions under which it applies, and what it requires, by their numbers in the graph."""

    of: Rule | Need
    gate: tuple[int, ...]
    requires: int | None
    rig: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class RatingParts:
    """One rating of a limit: its value, and the conditions under which it counts."""

    of: Rating
    value: int
    gate: tuple[int, ...]


class Program:
    """A rulebook for items of some subjects, and rigs with so many adapters.

    Where the working opening depends on the rig alone, its facts are computed as for a single case, and one
    program serves rigs with any number of adapters. Where items have a say in it, the adapters are written out.
    """

    def __init__(self, engine: Point, subjects: frozenset[str], adapters: int) -> None:
        opening = _opening_graph(engine, subjects)
        self.written_out = "adapter" in subjects or any(step.on_items for step in opening.steps)
        derived = _derived(engine, adapters, subjects, self.written_out)
        self.graph = Graph(derived, subjects)
        book = engine.rulebook
        self.rules = [self._member(rule, rule.guard, rule.requires) for rule in book.rules]
        self.needs = [self._member(need, need.guard, need.met) for need in book.needs]
        self.limits = {limit.id: self._limit(limit) for limit in book.limits}
        self.members = [*self.rules, *self.needs]
        rated = [part for parts in self.limits.values() for one in parts for part in (one.value, *one.gate)]
        roots = [part for member in self.members for part in (*member.gate, member.requires) if part is not None]
        self.rig, self.items = self.graph.inputs([*roots, *rated])
        self.place = {number: place for place, number in enumerate(self.rig)}
        self._derived, self._rig_values = derived, self._values_of(self.rig, derived)
        self._supposing: dict[str, tuple[list[int], _Values]] = {}
        self._asked_for: dict[str, int] = {}
        self._resting_of = LruCache[tuple[frozenset[str], frozenset[str]], frozenset[int]](_MOST_UNLIKE)
        self._read_by = LruCache[frozenset[int], tuple[str, ...]](_MOST_UNLIKE)
        self.engine = engine
        both = [step for step in (*self.graph.steps, *opening.steps) if step.on_items and not step.operands]
        self.asked = [step.node for step in both if isinstance(step.node, typed.Read | typed.Present)]
        """What is asked of an item, by the rules and by the opening."""

    def rig_values(self, rig: Case) -> tuple[Value, ...]:
        """What depends on the rig alone, in the order of `rig`."""
        if not self.written_out:
            return self._rig_values(self.engine.opened(rig).facts.get, rig.present)
        facts = dict(rig.facts)
        for place, adapter in enumerate(rig.adapters, 1):
            facts |= {at_place(place, name): value for name, value in adapter.items()}
        return self._rig_values(facts.get, rig.present)

    def supposing(self, rig: Case, values: tuple[Value, ...], name: str) -> Callable[[Value], tuple[Value, ...]] | None:
        """What a rig's own `values` are with each value of a fact on which its opening does not rest: what rests on it
        is computed anew. None while too few have asked for it.
        """
        assert not self.written_out
        found = self._resting_on(name)
        if found is None:
            return None
        (places, of), facts = found, self.engine.opened(rig).facts

        def supposed(value: Value) -> tuple[Value, ...]:
            changed = list(values)
            for place, one in zip(places, of({**facts, name: value}.get, rig.present), strict=True):
                changed[place] = one
            return tuple(changed)

        return supposed

    def resting(self, one: Case, other: Case) -> frozenset[int] | None:
        """The rules and needs, by their places, that rest on what is unlike in two rigs; None where any may."""
        if self.written_out or one.adapters != other.adapters:
            return None
        was, now = (self.engine.opened(rig).facts for rig in (one, other))
        names = {name.removesuffix(typed.TOLD) for name in was.keys() | now.keys() if was.get(name) != now.get(name)}
        if one.adapters:
            names |= self.engine.rulebook.opening.keys()  # what is alike as it is may be unlike with a choice supposed
        key = frozenset(names), one.present ^ other.present
        return self._resting_of.get(key, lambda: self._members_on(*key))

    def read_by(self, numbers: frozenset[int]) -> tuple[str, ...]:
        """The facts of a rig, by their slots, that some rules and needs rest on."""
        return self._read_by.get(numbers, lambda: tuple(self._read_of(numbers)))

    def _read_of(self, numbers: frozenset[int]) -> Iterator[str]:
        ways, seen = [part for number in numbers for part in self.members[number].rig], set[int]()
        while ways:
            number = ways.pop()
            if number not in seen:
                seen.add(number)
                step = self.graph.steps[number]
                ways += step.operands
                if isinstance(step.node, typed.Read):
                    yield from (step.node.name, step.node.slot)

    def _members_on(self, names: Iterable[str], present: Iterable[str]) -> frozenset[int]:
        found = frozenset[int]().union(*map(self.graph.resting_on, names))
        found = found.union(*map(self.graph.resting_on_presence, present))
        return frozenset(place for place, member in enumerate(self.members) if not found.isdisjoint(member.rig))

    def _resting_on(self, name: str) -> tuple[list[int], _Values] | None:
        """The places of what rests on a fact of the rig, and a function of these values; compiled once a fact."""
        found = self._supposing.get(name)
        if found is None:
            asked = self._asked_for[name] = self._asked_for.get(name, 0) + 1
            if asked <= _SELDOM:
                return None
            resting = self.graph.resting_on(name)
            numbers = [number for number in self.rig if number in resting]
            made = [self.place[number] for number in numbers], self._values_of(numbers, self._derived)
            found = self._supposing.setdefault(name, made)
        return found

    def _values_of(self, numbers: Sequence[int], derived: dict[str, AnyTyped]) -> _Values:
        return compile_values([self.graph.steps[number].node for number in numbers], derived)

    def _member(self, of: Rule | Need, guard: AnyTyped | None, requires: AnyTyped | None) -> Member:
        gate = self._gate(of.subjects, [guard])
        root = None if requires is None else self.graph.add(requires)
        rig, _ = self.graph.inputs([*gate, *([] if root is None else [root])])
        used = [number for number in rig if not isinstance(self.graph.steps[number].node, typed.Constant)]
        return Member(of, gate, root, tuple(used))

    def _limit(self, limit: Limit) -> list[RatingParts]:
        return [
            RatingParts(rating, self.graph.add(rating.node), self._gate(rating.subjects, [rating.guard]))
            for rating in limit.ratings
        ]

    def _gate(self, subjects: Sequence[str], guards: Iterable[AnyTyped | None]) -> tuple[int, ...]:
        parts = [self.graph.add(typed.Present(TRUTH, subject)) for subject in subjects]
        parts += [part for g in guards if g is not None for part in self.graph.conjuncts(self.graph.add(g))]
        return tuple(dict.fromkeys(parts))


def _opening_graph(engine: Point, subjects: frozenset[str]) -> Graph:
    """The graph of the working opening, with all it reads."""
    graph = Graph(engine.derived, subjects)
    for one in engine.rulebook.opening.values():
        graph.add(one.bare)
        graph.add(one.each)
    return graph


def _derived(engine: Point, adapters: int, subjects: frozenset[str], written_out: bool) -> dict[str, AnyTyped]:
    """What derived names stand for."""
    if not written_out:
        return dict(engine.derived if adapters else engine.bare_derived)
    opening = engine.rulebook.opening
    derived = {**engine.derived, **{at_place(0, name): one.bare for name, one in opening.items()}}
    own = [read.name for read in engine.opening_leaves[1]]
    among_items = "adapter" in subjects
    for place in range(1, adapters + among_items + 1):
        names, presences = {name: at_place(place - 1, name) for name in opening}, dict[str, str]()
        if place <= adapters:
            names |= {name: at_place(place, name) for name in own}
            presences = {name: at_place(place, name) for name in engine.opening_presences}
        derived |= {at_place(place, name): renamed(one.each, names, presences) for name, one in opening.items()}
    last = adapters + among_items
    return derived | {name: typed.Read(one.type, at_place(last, name)) for name, one in opening.items()}
