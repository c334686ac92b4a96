"""One case in, its verdict out: by the rulebook compiled to one Python function, and where that is open by cases."""

from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from typing import Final

from fitsvc.caching import LruCache
from fitsvc.engine.choices import Choices
from fitsvc.engine.judges import Judges, compile_rule, compile_rules
from fitsvc.engine.opening import OpeningFigures
from fitsvc.engine.support import Moves, Moving, Support
from fitsvc.engine.verdict import EitherWay, Judged, Verdict
from fitsvc.facts import Case, seen_at
from fitsvc.language import typed
from fitsvc.language.compiler import compile_values
from fitsvc.language.intervals import Bounds
from fitsvc.language.typed import AnyTyped, Read
from fitsvc.language.types import NumberType, Value
from fitsvc.rulebook.rules import Rulebook

_MOST_BEHIND: Final = 1_000
"""Sets of figures that rules read of the opening, hardly a hundred, with each number of adapters."""


class Values:
    """Several values of one case, compiled for a bare receiver and for one with adapters in it where that differs."""

    __slots__ = ("_adapted", "_bare", "_engine", "_nodes")

    def __init__(self, engine: "Point", nodes: Sequence[AnyTyped]) -> None:
        self._engine, self._nodes = engine, nodes
        self._bare: Callable[..., tuple[Value, ...]] | None = None
        self._adapted: Callable[..., tuple[Value, ...]] | None = None

    def of(self, case: Case) -> tuple[Value, ...]:
        """The values in a case."""
        if not case.adapters:
            return (self._bare or self.bare())(case.facts.get, case.present)
        return (self._adapted or self.adapted())(self._engine.opened(case).facts.get, case.present)

    def bare(self) -> Callable[..., tuple[Value, ...]]:
        """The values in a bare receiver, compiled at the first call."""
        if self._bare is None:
            self._bare = compile_values(self._nodes, self._engine.bare_derived)
        return self._bare

    def adapted(self) -> Callable[..., tuple[Value, ...]]:
        """The values with adapters in the receiver, compiled at the first call."""
        if self._adapted is None:
            differs = self._engine.adapts(self._nodes)
            self._adapted = compile_values(self._nodes, self._engine.derived) if differs else self.bare()
        return self._adapted

    def prepare(self) -> None:
        """Compile both."""
        self.bare()
        self.adapted()


class Point:
    """A rulebook ready to judge cases one at a time; safe to share between threads."""

    def __init__(self, rulebook: Rulebook) -> None:
        self.rulebook = rulebook
        self.derived: Mapping[str, AnyTyped] = {name: one.node for name, one in rulebook.derived.items()}
        opening = {name: one.bare for name, one in rulebook.opening.items()}
        self.bare_derived: Mapping[str, AnyTyped] = {**self.derived, **opening}
        self._bare, self._adapted = Judges(rulebook, self.bare_derived), Judges(rulebook, self.derived)
        # Each of these holds a few entries a rule, limit, need or caution: the rulebook bounds them.
        self._values: dict[Hashable, Values] = {}
        self._supports: dict[Hashable, Support] = {}
        self._judges: dict[tuple[int, bool], Callable[..., Judged]] = {}
        self._adapting: dict[str, bool] = {}
        self._behind = LruCache[tuple[frozenset[str], int], Sequence[tuple[Read, int | None]]](_MOST_BEHIND)
        self._seen: tuple[Case, Sequence[Case]] | None = None

    @cached_property
    def _start(self) -> Callable[..., tuple[Value, ...]]:
        return compile_values([one.bare for one in self.rulebook.opening.values()], self.derived)

    @cached_property
    def _step(self) -> Callable[..., tuple[Value, ...]]:
        return compile_values([one.each for one in self.rulebook.opening.values()], {})

    def evaluate(self, case: Case) -> Verdict:
        """Judge a case: rule by rule, and what these leave open by cases."""
        case = self.opened(case)
        return self.by_cases(case, self.rule_by_rule(case))

    def by_cases(self, case: Case, verdict: Verdict) -> Verdict:
        """What an opened case that is judged rule by rule comes to where rules are open, case by case."""
        if verdict.fails or not (verdict.unknown or verdict.doubts or verdict.open_needs):
            return verdict
        choices = self.choices(bool(case.adapters))
        failing = choices.failing(case, (*verdict.unknown, *verdict.doubts))
        if failing:
            return verdict._replace(outcome="fails", either_way=failing)
        passing = choices.passing(case, verdict)
        return verdict.with_moot(*passing) if passing else verdict

    def rule_by_rule(self, case: Case) -> Verdict:
        """Judge a case by what each rule comes to, and no further."""
        if case.adapters:
            return self._adapted(self.opened(case).facts.get, case.present)
        return self._bare(case.facts.get, case.present)

    def choices(self, adapted: bool) -> Choices:
        """The choices to decide by, with adapters in the opening or without."""
        return self._choices_adapted if adapted else self._choices_bare

    @cached_property
    def _choices_bare(self) -> Choices:
        return Choices(self, adapted=False)

    @cached_property
    def _choices_adapted(self) -> Choices:
        return Choices(self, adapted=True)

    def supposed(self, case: Case, either_way: EitherWay, value: Value) -> Case:
        """The opened case in which the choice that decides it has a value."""
        choice = self.choices(bool(case.adapters)).of(either_way.fact)
        return self.opened(choice.supposed(case, either_way.adapter, value))

    def compiled(self, numbers: Sequence[int], adapted: bool, needs: Sequence[int] = ()) -> Callable[..., Verdict]:
        """A function that judges some rules and needs only, by their numbers, of (get, present) of an opened case."""
        rules = [(number, self.rulebook.rules[number]) for number in numbers]
        needed = [(number, self.rulebook.needs[number]) for number in needs]
        return compile_rules(rules, needed, self.derived if adapted else self.bare_derived)

    def prepare(self) -> None:
        """Compile what is compiled at its first use."""
        _ = self._bare.prepare(), self._adapted.prepare(), self._start, self._step
        self.opening_figures.prepare()
        for number in range(len(self.rulebook.rules)):
            for adapted in (False, True):
                self.judge_of(number, adapted)
        for adapted in (False, True):
            self.choices(adapted).prepare()

    def adapts(self, nodes: Iterable[AnyTyped]) -> bool:
        """Whether values are others with adapters in the receiver: they read the working opening."""
        return any(self._adapts(node) for node in nodes)

    def _adapts(self, node: AnyTyped) -> bool:
        if not isinstance(node, Read):
            return self.adapts(typed.parts(node))
        below = self.derived.get(node.name)
        if below is None:
            return node.name in self.rulebook.opening
        found = self._adapting.get(node.name)
        if found is None:
            self._adapting[node.name] = found = self._adapts(below)
        return found

    def rule_adapts(self, number: int) -> bool:
        """Whether a rule is judged otherwise with adapters in the receiver."""
        rule = self.rulebook.rules[number]
        return self.adapts(node for node in (rule.requires, rule.guard) if node is not None)

    def judge(self, number: int, case: Case) -> Judged:
        """One rule's result on an opened case."""
        return self.judge_of(number, bool(case.adapters))(case.facts.get, case.present)

    def judge_of(self, number: int, adapted: bool) -> Callable[..., Judged]:
        """A function that tells one rule's result, of (get, present) of an opened case."""
        judge = self._judges.get((number, adapted))
        if judge is None:
            if adapted and not self.rule_adapts(number):
                judge = self.judge_of(number, False)
            else:
                judge = compile_rule(self.rulebook.rules[number], self.derived if adapted else self.bare_derived)
            self._judges[number, adapted] = judge
        return judge

    def opened(self, case: Case) -> Case:
        """The case with the working opening's facts, after every adapter in turn."""
        if case.opened or not case.adapters:
            return case
        return replace(case, facts=self.levels(case)[-1], opened=True)

    def levels(self, case: Case) -> list[dict[str, Value]]:
        """What each adapter sees of a case, its own facts and the opening before it; last what the accessory sees."""
        facts, names, levels = dict(case.facts), tuple(self.rulebook.opening), list[dict[str, Value]]()
        facts.update(zip(names, self._start(facts.get, case.present), strict=True))
        for place, adapter in enumerate(case.adapters, 1):
            seen = {**facts, **adapter}
            levels.append(seen)
            facts.update(zip(names, self._step(seen.get, seen_at(place, case.present)), strict=True))
        return [*levels, facts]

    def seen(self, case: Case) -> Sequence[Case]:
        """The case as each adapter sees it; kept for the case asked about last, of which every text asks anew."""
        last = self._seen
        if last is None or last[0] is not case:
            levels = enumerate(self.levels(case)[:-1], 1)
            found = [replace(case, facts=facts, present=seen_at(place, case.present)) for place, facts in levels]
            self._seen = last = (case, found)
        return last[1]

    def support(self, number: int, adapted: bool) -> Support:
        """What a rule rests on; with adapters, the working opening's facts stand for themselves."""
        rule = self.rulebook.rules[number]
        roots = [node for node in (rule.requires, rule.guard) if node is not None]
        derived = self.derived if adapted else self.bare_derived
        return self.kept((number, adapted), lambda: Support(roots, derived))

    def moves(self, node: AnyTyped, adapted: bool) -> Moves:
        """Which way a value moves with what it rests on; with adapters, with the working opening's facts themselves."""
        return (self._moving if adapted else self._bare_moving).of(node)

    @cached_property
    def _moving(self) -> Moving:
        return Moving(self.derived)

    @cached_property
    def _bare_moving(self) -> Moving:
        return Moving(self.bare_derived)

    @cached_property
    def middles(self) -> Mapping[str, Bounds]:
        """The middle half of what is plausible of each number, in the inside unit."""
        facts = self.rulebook.vocabulary.facts.values()
        ranges = {one.name: one.range for one in facts if one.range and isinstance(one.type, NumberType)}
        quarters = {name: (high - low) / 4 for name, (low, high) in ranges.items()}
        return {name: (low + quarters[name], high - quarters[name]) for name, (low, high) in ranges.items()}

    @cached_property
    def opening_figures(self) -> OpeningFigures:
        """The working opening's figures, to be followed as one fact changes."""
        return OpeningFigures(self)

    @cached_property
    def opening_leaves(self) -> tuple[list[Read], list[Read]]:
        """The facts the working opening rests on with adapters in it: the rig's own, and each adapter's."""
        supports = [support for both in self.opening_supports.values() for support in both]
        leaves = {read.name: read for support in supports for read in support.leaves}.values()
        own = [read for read in leaves if not read.name.startswith(("adapter.", "opening."))]
        return own, [read for read in leaves if read.name.startswith("adapter.")]

    def behind_opening(self, names: Iterable[str], adapters: int) -> Sequence[tuple[Read, int | None]]:
        """What figures of the working opening rest on: facts of each of so many adapters, last first, then the rig's.

        Of an adapter's facts comes its place with them.
        """
        key = (frozenset(names), adapters)
        found = self._behind.find(key)
        return self._behind.get(key, lambda: list(self._found_behind(*key))) if found is None else found

    def _found_behind(self, names: frozenset[str], adapters: int) -> Iterator[tuple[Read, int | None]]:
        wanted = set(names)
        for place in reversed(range(adapters)):
            leaves = [read for name in sorted(wanted) for read in self.opening_supports[name][1].leaves]
            yield from ((read, place) for read in leaves if read.name.startswith("adapter."))
            wanted = {read.name for read in leaves if read.name.startswith("opening.")}
        yield from ((read, None) for name in sorted(wanted) for read in self.opening_supports[name][0].leaves)

    @cached_property
    def opening_supports(self) -> Mapping[str, tuple[Support, Support]]:
        """What each figure of the working opening rests on in the bare receiver, and after one more adapter."""
        return {
            name: (Support([one.bare], self.derived), Support([one.each], self.derived))
            for name, one in self.rulebook.opening.items()
        }

    @cached_property
    def opening_presences(self) -> list[str]:
        """The facts of an adapter whose being told the working opening asks for."""
        asked = {name for one in self.rulebook.opening.values() for name in typed.presences(one.each)}
        return sorted(name for name in asked if name.startswith("adapter."))

    def kept(self, key: Hashable, make: Callable[[], Support]) -> Support:
        """What something rests on, worked out at the first call with this key."""
        found = self._supports.get(key)
        if found is None:
            self._supports[key] = found = make()
        return found

    def values(self, key: Hashable, nodes: Callable[[], Sequence[AnyTyped]]) -> Values:
        """Several values to be computed together, compiled at the first call with this key."""
        found = self._values.get(key)
        if found is None:
            self._values[key] = found = Values(self, nodes())
        return found
