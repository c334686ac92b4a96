"""What an accessory may be loaded with where the question names no load.

The rules that read the load are judged as if the question had named it, with ever other loads, and the largest with
which none of them refuses is the allowance. No list of ratings is kept here: a rule that reads the load counts by
that alone. A heavier load passes no rule that a lighter one does not (`tests/test_engine_allowances.py` holds the
shipped rules to it), so the largest is found by halving.

Beside other things on the rig the load weighs on what these are held to as well: what it adds to them follows from the
rulebook's `beside`, and their rules that read it count as this one's own.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import chain
from math import ceil, floor, inf
from typing import Final

from fitsvc.engine.point import Point, Values
from fitsvc.engine.support import Support
from fitsvc.facts import Case
from fitsvc.language.display import System, step
from fitsvc.language.intervals import TOLERANCE, Bounds
from fitsvc.language.truth import NO, YES
from fitsvc.language.typed import ALWAYS, AnyTyped
from fitsvc.language.types import Value
from fitsvc.rulebook.rules import Allowance, Loading

_MOST_TIMES: Final = 50
"""So many bikes no carrier holds: where no rule ends the counting, how many is not told."""
_HEAVIEST: Final = 1 << 20
"""In steps of a pound or a kilogram, more than anything weighs that goes on a vehicle."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Allowed:
    """What may be loaded: `at_most` in all, `each` of at most so many `times` (None where nothing ends the counting).

    Figures are in inside units; `by_label` is what the accessory's own label allows. `against` are the rules, by their
    numbers, that refuse more; `open` those that stay open however little is loaded, each with the case that it is
    judged on, with all of it on. Where one of these leaves the whole answer open nothing is surely allowed, and
    `at_most` is None. `by_load` are the rules of its own that a load refuses, if only one heavy enough; `loaded` is its
    own case with all of it on. It `assumes` something that nobody told, and that weighs.
    """

    allowance: Allowance
    loading: Loading
    by_label: Bounds
    at_most: float | None
    times: int | None
    each: float
    against: tuple[int, ...]
    open: tuple[tuple[int, Case], ...]
    by_load: frozenset[int]
    loaded: Case
    assumes: bool

    @property
    def load(self) -> tuple[str, ...]:
        """The facts that the load is told by, and those assumed with it."""
        return tuple(name for name in (self.loading.fact, self.loading.times, *self.allowance.assuming) if name)

    @property
    def own_open(self) -> tuple[int, ...]:
        """The open rules of its own, and of none of the things beside it."""
        return tuple(number for number, case in self.open if case is self.loaded)

    @property
    def whole(self) -> bool:
        """Whether all that the label allows may be loaded."""
        return self.at_most is not None and self.at_most >= self.by_label[0] - TOLERANCE


@dataclass(frozen=True, slots=True)
class Laden:
    """A thing for which no load is named: the facts that would name one, and its case with nothing on it and with all
    that its own label allows.
    """

    asks: tuple[str, ...]
    empty: Case
    full: Case


@dataclass(frozen=True, slots=True)
class Neighbour:
    """Another thing on the rig: its opened case, and its facts of all else by the opened case of the one loaded."""

    case: Case
    finds: Callable[[Case], Mapping[str, Value]]

    def beside(self, loaded: Case) -> Case:
        """Its opened case beside the other one, loaded."""
        return replace(self.case, facts={**self.case.facts, **self.finds(loaded)})


class Allowances:
    """A rulebook's allowances, each rule that reads a load compiled with its like at the first question."""

    def __init__(self, engine: Point) -> None:
        self._engine = engine
        self._judges: dict[tuple[str, str, bool], _Judge] = {}
        self._beside: dict[tuple[str, str, bool], _Judge] = {}

    def of(
        self,
        case: Case,
        system: System = "us",
        near: Sequence[Neighbour] = (),
        by_load: AbstractSet[int] | None = None,
    ) -> Allowed | None:
        """What may be loaded in an opened case, in whole figures as they are shown in a system of units.

        No more than the things `near` it bear as well. None where no allowance surely applies. Of a rule that fails
        with nothing loaded only one `by_load` counts, where those are named: another is broken by the others' loads.
        """
        found = self._applying(case)
        if found is None:
            return None
        one, loading, by_label, assumed = found
        judge = self._judge(one, loading, bool(case.adapters))
        asked = _asked(self._engine, case, loading, assumed)
        unit = self._engine.rulebook.vocabulary.facts[loading.fact].shown_in
        others = [(self._judge_beside(one, loading, bool(each.case.adapters)), each) for each in near]
        return _Trial(
            judge=_Judges(judge, others, len(self._engine.rulebook.rules), _with(asked, loading, 0.0)),
            one=one,
            loading=loading,
            by_label=by_label,
            step=step(unit, system),
            case=asked,
            by_load=by_load,
            assumes=any(name not in case.present and _weighs(value) for name, value in assumed.items()),
        ).allowed()

    def laden(self, case: Case) -> "Laden | None":
        """A case with a load that nobody has named; None where no allowance surely applies.

        A label that nobody has read may allow anything.
        """
        found = self._applying(self._engine.opened(case))
        if found is None:
            return None
        _, loading, (_, most), assumed = found
        asked = _asked(self._engine, case, loading, assumed)
        empty, full = _with(asked, loading, 0.0), _with(asked, loading, most)
        if most == inf:
            full = replace(full, facts={**full.facts, loading.fact: (0.0, inf)})
        return Laden(tuple(name for name in (loading.times, loading.fact) if name), empty, full)

    def _applying(self, case: Case) -> tuple[Allowance, Loading, Bounds, Mapping[str, Value]] | None:
        """The allowance that surely applies to an opened case, and the way to load it, its label, what is assumed."""
        for one in self._engine.rulebook.allowances:
            guard, by_label, *rest = self._values(one).of(case)
            ways, assumed = rest[: len(one.loadings)], rest[len(one.loadings) :]
            loading = next((way for way, applies in zip(one.loadings, ways, strict=True) if applies == YES), None)
            if guard == YES and loading is not None:
                assert isinstance(by_label, tuple)
                return one, loading, by_label, dict(zip(one.assuming, assumed, strict=True))
        return None

    @cached_property
    def rests_on(self) -> tuple[str, ...]:
        """The slots that all of it follows from where nothing is in the opening."""
        nodes = [node for one in self._engine.rulebook.allowances for node in _nodes(one)]
        for one in self._engine.rulebook.allowances:
            for rule in (rule for way in one.loadings for rule in self._judge(one, way, adapted=False).rules.values()):
                nodes += [node for node in (rule.guard, rule.requires) if node is not None]
        support = Support(nodes, self._engine.bare_derived)
        return (*(read.name for read in support.leaves), *support.told)

    def prepare(self) -> None:
        """Compile what is compiled when an allowance is first asked for."""
        self._guards.prepare()
        _ = self.rests_on
        for one in self._engine.rulebook.allowances:
            self._values(one).prepare()
            for loading in one.loadings:
                self._judge(one, loading, adapted=True)

    def may_apply(self, case: Case) -> bool:
        """Whether some allowance is not surely out of the question, whatever more is known of an opened case."""
        return any(value != NO for value in self._guards.of(case))

    @property
    def _guards(self) -> Values:
        guards = [one.guard or ALWAYS for one in self._engine.rulebook.allowances]
        return self._engine.values("allowances apply", lambda: guards)

    def _values(self, one: Allowance) -> Values:
        return self._engine.values(("allowance", one.name), lambda: _nodes(one))

    def _judge(self, one: Allowance, loading: Loading, adapted: bool) -> "_Judge":
        key = (one.name, loading.fact, adapted)
        found = self._judges.get(key)
        if found is None:
            names = {loading.fact, loading.times} - {""}
            self._judges[key] = found = _Judge(self._engine, names, adapted)
        return found

    def _judge_beside(self, one: Allowance, loading: Loading, adapted: bool) -> "_Judge":
        """The rules that read of all else on the rig what the load of another thing changes there."""
        key = (one.name, loading.fact, adapted)
        found = self._beside.get(key)
        if found is None:
            told, derived = {loading.fact, loading.times}, self._engine.bare_derived
            rests = {name: Support([adds.value], derived) for name, adds in self._engine.rulebook.beside.items()}
            names = {
                name
                for name, support in rests.items()
                if not told.isdisjoint(chain((read.name for read in support.leaves), support.presences))
            }
            self._beside[key] = found = _Judge(self._engine, names, adapted)
        return found


def _nodes(one: Allowance) -> list[AnyTyped]:
    """Whether it applies, what the label allows, which way to load applies, and what is assumed."""
    ways = [loading.guard or ALWAYS for loading in one.loadings]
    return [one.guard or ALWAYS, one.by_label, *ways, *one.assuming.values()]


def _asked(engine: Point, case: Case, loading: Loading, assumed: Mapping[str, Value]) -> Case:
    """The case as if the load were named, of which nothing is known yet."""
    told = {loading.fact, loading.times, *assumed} - {""}
    named, subjects = engine.rulebook.named & told, {name.split(".", 1)[0] for name in told}
    return replace(case, facts={**case.facts, **assumed}, present=case.present | named | subjects)


def _weighs(value: Value) -> bool:
    """Whether an assumed value is more than nothing."""
    return not isinstance(value, tuple) or value[1] > 0.0


def _with(asked: Case, loading: Loading, load: float) -> Case:
    """A case in which the load is asked about, with so much loaded in one."""
    return replace(asked, facts={**asked.facts, **_told(loading, 1, load)})


def _told(loading: Loading, count: int, each: float) -> dict[str, Value]:
    """A load of so many of so much each, as facts."""
    told: dict[str, Value] = {loading.fact: (each, each)}
    return told | ({loading.times: (float(count), float(count))} if loading.times else {})


class _Judge:
    """The rules that read some facts, by their numbers in the rulebook, compiled to be judged by themselves."""

    def __init__(self, engine: Point, names: AbstractSet[str], adapted: bool) -> None:
        rules = engine.rulebook.rules
        reads = (engine.support(number, adapted).leaves for number in range(len(rules)))
        numbers = [number for number, leaves in enumerate(reads) if names & {read.name for read in leaves}]
        self.rules = {number: rules[number] for number in numbers}
        self._judge = engine.compiled(numbers, adapted)

    def __call__(self, facts: Mapping[str, Value], present: frozenset[str]) -> tuple[set[int], set[int]]:
        """Which of the rules fail with an opened case's facts, and which are open."""
        verdict = self._judge(facts.get, present)
        return {*verdict.fails, *verdict.cautions}, {*verdict.unknown, *verdict.doubts}


class _Judges:
    """The rules that read a load in its own case, and those that read beside other things what it weighs.

    A rule of the nth of those counts as another one, its number by so many rules higher, and only for what it comes to
    by the load: what it is without one is no matter of that.
    """

    def __init__(self, own: _Judge, others: Sequence[tuple[_Judge, Neighbour]], rules: int, nothing: Case) -> None:
        self._own, self._others, self._count, self._case = own, others, rules, nothing
        self.rules, self.own = dict(own.rules), own.rules.keys()
        for place, (judge, _) in enumerate(others, 1):
            self.rules |= {number + place * rules: rule for number, rule in judge.rules.items()}
        self._before = [self._beside(judge, each, nothing.facts)[0] for judge, each in others]

    def __call__(self, facts: Mapping[str, Value], present: frozenset[str]) -> tuple[set[int], set[int]]:
        """Which of the rules fail with an opened case's facts, and which are open."""
        amiss, open_ = self._own(facts, present)
        for place, ((judge, each), before) in enumerate(zip(self._others, self._before, strict=True), 1):
            fails, opens = self._beside(judge, each, facts)
            amiss |= {number + place * self._count for number in fails - before}
            open_ |= {number + place * self._count for number in opens}
        return amiss, open_

    def _beside(self, judge: _Judge, each: Neighbour, facts: Mapping[str, Value]) -> tuple[set[int], set[int]]:
        beside = each.beside(replace(self._case, facts=facts))
        return judge(beside.facts, beside.present)

    def plain(self, numbers: Iterable[int]) -> tuple[int, ...]:
        """The rules by their numbers in the rulebook, each once."""
        return tuple(sorted({number % self._count for number in numbers}))

    def judged_on(self, numbers: Iterable[int], loaded: Case) -> tuple[tuple[int, Case], ...]:
        """The rules by their numbers in the rulebook, each with the case that it is judged on."""
        places = [(number % self._count, number // self._count) for number in sorted(numbers)]
        cases = [loaded, *(each.beside(loaded) for _, each in self._others)] if places else []
        return tuple((number, cases[place]) for number, place in places)


class _Trial:
    """The search for what may be loaded in one case, in figures of a whole `step`, the least that counts as a load."""

    def __init__(
        self,
        *,
        judge: _Judges,
        one: Allowance,
        loading: Loading,
        by_label: Bounds,
        step: float,
        case: Case,
        by_load: AbstractSet[int] | None,
        assumes: bool,
    ) -> None:
        self._judge, self._one, self._loading, self._step, self._case = judge, one, loading, step, case
        self._by_label, self._facts, self._assumes = by_label, dict(case.facts), assumes
        # Not with nothing on it: that nothing is within a rating that nobody knows.
        amiss, self._open = judge(self._load(1, step), case.present)
        self._refused = judge(self._load(1, _HEAVIEST * step), case.present)[0]
        # What only so light a load fails, and no heavy one, asks whether it was weighed, and rates nothing.
        self._aside = amiss - self._refused
        self._by_load = frozenset(self._refused & judge.own & (self._refused if by_load is None else by_load))
        if by_load is not None:
            self._aside |= judge(self._load(1, 0.0), case.present)[0] & judge.own - self._by_load
        self._amiss = amiss - self._aside

    def allowed(self) -> Allowed:
        """The largest load that no rule refuses; nothing surely where a rule leaves it open."""
        if any(self._judge.rules[number].leaves_open for number in self._open):
            return self._told(None, None, 0.0, 0)
        times = self._times() if self._loading.times else None
        count = times if times is not None else _MOST_TIMES if self._loading.times else 1
        if self._amiss or not count:
            return self._told(0.0, times, 0.0, count)
        most = self._most(count, self._by_label[1])
        each = floor(most / count / self._step + TOLERANCE) * self._step
        return self._told(most, times, self._most(1, most, each), count)

    def _told(self, at_most: float | None, times: int | None, each: float, count: int) -> Allowed:
        of_each = (at_most or 0.0) / (count or 1)
        refusing = self._refusing(count or 1, of_each + self._step / (count or 1)) if at_most is not None else ()
        loaded = replace(self._case, facts=dict(self._load(count, of_each)))
        return Allowed(
            allowance=self._one,
            loading=self._loading,
            by_label=self._by_label,
            at_most=at_most,
            times=times,
            each=each,
            against=self._judge.plain(refusing),
            open=self._judge.judged_on(self._open, loaded),
            by_load=self._by_load,
            loaded=loaded,
            assumes=self._assumes,
        )

    def _times(self) -> int | None:
        """How many may be loaded, whatever they weigh; None where nothing ends the counting."""
        return next((count - 1 for count in range(1, _MOST_TIMES + 1) if self._refusing(count, 0.0)), None)

    def _most(self, count: int, most: float, least: float = 0.0) -> float:
        """The most that so many may weigh in all, up to `most`: that, or a whole number of steps from `least` on."""
        if most < inf and not self._refusing(count, most / count):
            return most
        if self._refusing(count, (least + self._step) / count):
            return least
        low, high = 1, self._steps(count, most - least)
        while high - low > 1:
            middle = (low + high) // 2
            if self._refusing(count, (least + middle * self._step) / count):
                high = middle
            else:
                low = middle
        return least + low * self._step

    def _steps(self, count: int, most: float) -> int:
        """A number of steps that are refused, or more than come up."""
        if most < inf:
            return ceil(most / self._step)
        steps = 2
        while steps < _HEAVIEST and not self._refusing(count, steps * self._step / count):
            steps *= 2
        return steps

    def _load(self, count: int, each: float) -> dict[str, Value]:
        """The case's facts with this load, put in the place of the one before: most are only tried."""
        self._facts.update(_told(self._loading, count, each))
        return self._facts

    def _refusing(self, count: int, each: float) -> set[int]:
        """The rules that fail with this load, and those it leaves open that are not open without it."""
        amiss, open_ = self._judge(self._load(count, each), self._case.present)
        return (amiss - self._aside) | (open_ - self._open)
