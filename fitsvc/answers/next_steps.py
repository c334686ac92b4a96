"""What to learn next: few facts, those first that close most at least effort, and the readings that decide.

All of it is found by evaluating. A reading `works` when every rule that waits for this fact alone passes with it, and
none fails; where other rules stay open with it, it settles so many points and leaves so many. A reading `fails` when
with it some blocking rule surely fails, whatever else is learnt. No reading is told that rests on a figure of which
nothing is known. Where a rule that holds up the outcome waits for nothing, as what is not judged at all, none works.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import combinations
from math import isfinite
from typing import Final

import msgspec

from fitsvc.answers.allowances import Carried
from fitsvc.answers.answer import Ask, IfUsual, Next
from fitsvc.answers.missing import Missing
from fitsvc.answers.readings import BAD, DOUBTED, GOOD, LESS, OPEN, Runs, together
from fitsvc.answers.settling import Settling, facts_of
from fitsvc.answers.trying import MOST_WORK, Trying, UnknownFact, Work, told
from fitsvc.answers.usual import with_usual
from fitsvc.engine.support import Support
from fitsvc.engine.verdict import Verdict
from fitsvc.facts import Case
from fitsvc.language.display import System
from fitsvc.language.types import Value
from fitsvc.tongues import later, t

ASK: Final[Mapping[str, Ask]] = {
    "ask": "ask",
    "label": "read",
    "tape": "measure",
    "scales": "weigh",
    "dealer": "look up",
}
ANY: Final = later("any reading")

MOST_STEPS: Final = 10
"""How many steps are told; nobody reads on who is asked for more at once."""

_WEIGHT: Final = 3
"""What holds up the outcome counts so many times what only a caution waits for."""
_NO_NEWS: Final = 0.01
"""Which share of all plausible readings is no warning where they fail and no reading is told to work."""
_WHOLE: Final = 80
"""Judgements that a whole answer takes as long as."""
_PARTS: Final = (2, 8)
"""Into so many parts readings that settle a rule are parted to judge the whole; more where the first all fall out."""
_OF_A_TYRE: Final[Mapping[str, str]] = {
    "diameter": later("a diameter of {figure}"),
    "width": later("a width of {figure}"),
    "rim": later("a rim of {figure}"),
    "load": later("a load of {figure}"),
}
"""How a reading of each part of a tyre is told."""
_TO_SEE_TO: Final = ("fails", "unknown", "cautions", "doubts", "open_needs")
_Needed = dict[int, tuple[UnknownFact, ...]]
Spoils = Callable[[UnknownFact], Callable[[Value], bool] | None]
"""Of a fact what tells of its values whether something else on the rig fails with it; None where nothing can."""
_BESIDE: Final = 40
"""Judgements that a look at what else is on the rig takes as long as."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Steps:
    """What to learn next: the steps told, how many more facts are open, and those of which no reading was tried.

    `if_usual` is what comes of it if what is told is as usual; `waits` are the facts that each open rule waits for;
    `for_good` are the rules that hold up the outcome and wait for nothing that could be told.
    """

    told: list[Next] = field(default_factory=list)
    more: int = 0
    untried: list[str] = field(default_factory=list)
    if_usual: IfUsual | None = None
    waits: Mapping[int, frozenset[str]] = field(default_factory=dict)
    for_good: tuple[int, ...] = ()


def next_steps(
    missing: Missing,
    case: Case,
    verdict: Verdict,
    system: System,
    most: int | Work = MOST_WORK,
    carried: Carried | None = None,
    spoils: Spoils | None = None,
) -> Steps:
    """What to learn next; nothing helps where a rule surely fails. `most` is its work, or that shared with others.

    Beside what is told that may be `carried`, a reading that works does so with all of that on; and one that `spoils`
    what else is on the rig fails.
    """
    if verdict.outcome == "fails":
        return Steps()
    found = settling(missing, case, verdict.holding_up, verdict.left("doubts"), system, most, carried, spoils)
    for_good = tuple(number for number in verdict.holding_up if missing.open_for_good(number, case))
    if for_good:
        # Nothing makes it work then, so that it is only told what may yet refuse it.
        found = replace(found, told=[_refusing(step) for step in found.told if step.fails_if], for_good=for_good)
    steps, if_usual = with_usual(missing, case, verdict, found.told[:MOST_STEPS], system)
    return replace(found, told=steps, more=len(found.told[MOST_STEPS:]), if_usual=if_usual)


def _refusing(step: Next) -> Next:
    """A step with nothing but the readings that fail."""
    return msgspec.structs.replace(step, works_if="", open_if="", doubted_if="", less_if="", leaves_open=0, settles=[])


def settling(
    missing: Missing,
    case: Case,
    unknown: Sequence[int],
    doubts: Sequence[int],
    system: System,
    most: int | Work = MOST_WORK,
    carried: Carried | None = None,
    spoils: Spoils | None = None,
) -> Steps:
    """What would settle open rules: what holds up the outcome first, then what cautions wait for."""
    if not unknown and not doubts:
        return Steps()
    trying = missing.trying(case, Work(most) if isinstance(most, int) else most)
    search = Settling(missing, trying, [*unknown, *doubts], system)
    needed = search.needed(unknown)
    first = dict.fromkeys(facts_of(needed))
    needed |= search.needed(doubts)
    later = [held for held in facts_of(needed) if held not in first]
    laden = None
    if carried is not None and carried.shown.at_most and carried.open:
        laden = _Laden(missing.trying(carried.on(case), trying.work), carried.open)
    telling = _Telling(
        missing=missing,
        search=search,
        needed=needed,
        unknown=unknown,
        doubts=doubts,
        system=system,
        laden=laden,
        spoils=spoils,
    )
    steps: dict[str, Next] = {}
    for step in (*telling.steps([*first], together=True), *telling.steps(later)):
        steps.setdefault(step.fact, step)
        for other in telling.instead(step.fact):
            steps.setdefault(other.fact, other)
    untried = [name for name in dict.fromkeys(search.untried) if name in steps]
    waits = {number: frozenset(held.name for held in facts) for number, facts in search.held.items()}
    return Steps(told=list(steps.values()), untried=untried, waits=waits)


class _WorkSpentError(Exception):
    """The work was spent amid the readings of a fact: of what was not tried nothing is told, be it good or bad."""


@dataclass(frozen=True, slots=True)
class _Laden:
    """The case with all on it that is told that may be, and its rules that are open so."""

    trying: Trying
    rules: Sequence[int]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Telling:
    """The facts to ask for being told, with what each of their readings comes to."""

    missing: Missing
    search: Settling
    needed: _Needed
    unknown: Sequence[int]
    doubts: Sequence[int]
    system: System
    laden: _Laden | None = None
    spoils: Spoils | None = None
    judged: dict[tuple[UnknownFact | None, Value | None], frozenset[tuple[str, int]]] = field(default_factory=dict)
    rough: set[UnknownFact] = field(default_factory=set)

    def steps(self, group: Sequence[UnknownFact], together: bool = False) -> list[Next]:
        """The steps of several facts: one that decides by itself first, then the cheapest, then what closes most.

        `together` no two readings that are told to work fail beside one another.
        """
        tried = {held: self._runs(held) for held in group if held in self.search.runs}
        if together:
            self._keep_together(tried)
        told, closes = [(held, self._step(held, tried.get(held))) for held in group], self._closes()

        def rank(row: tuple[UnknownFact, Next]) -> tuple[bool, int, float]:
            held, step = row
            lost = held in tried and tried[held].statuses == {BAD}
            decides = lost or (bool(step.works_if) and not step.leaves_open)
            return (not decides, held.effort, -closes.get(held, 0.0))

        return [step for _, step in sorted(told, key=rank)]

    def instead(self, name: str) -> list[Next]:
        """What else of the same subject, as easily learnt, settles a blocking rule that waits for one fact alone.

        Either does, and which is the one that can be had nobody but who stands before it knows: how near a load comes,
        or how low it lies.
        """
        found = []
        for number, facts in self.needed.items():
            if number not in self.unknown or len(facts) != 1 or facts[0].name != name:
                continue
            for held in self.search.held[number]:
                alike = held.fact.subject == facts[0].fact.subject and held.effort == facts[0].effort
                settles = GOOD in self.search.runs[held][number].statuses if held in self.search.runs else False
                if held != facts[0] and alike and settles:
                    found += replace(self, needed={number: (held,)}).steps([held])
        return [step for step in found if step.works_if]

    def _closes(self) -> dict[UnknownFact, float]:
        """How much each fact closes: of a rule that waits for several its share."""
        closes: dict[UnknownFact, float] = {}
        for number, facts in self.needed.items():
            for held in facts:
                closes[held] = closes.get(held, 0.0) + (_WEIGHT if number in self.unknown else 1) / len(facts)
        return closes

    def _runs(self, held: UnknownFact) -> Runs:
        """What the readings of a fact come to in all the rules that rest on it.

        What a blocking rule waits for decides, and cautions only where no blocking rule waits for the fact. Where a
        blocking rule needs this fact and another together, no reading of this one alone is said to work.
        """
        several = self.search.runs[held]
        needing = [number for number in several if held in self.needed.get(number, ())]
        deciding = [number for number in needing if number in self.unknown]
        alone = [number for number in deciding or needing if len(self.needed[number]) == 1]
        shared = not alone or (bool(deciding) and alone != deciding)

        def status(results: list[str]) -> str:
            if BAD in results:
                return BAD
            of = dict(zip(several, results, strict=True))
            return OPEN if shared or any(of[number] != GOOD for number in alone) else GOOD

        runs = list(several.values())
        return together(runs[0].grid, runs, status)

    def _step(self, held: UnknownFact, runs: Runs | None) -> Next:
        fact, several = held.fact, len(self.search.trying.case.adapters) > 1
        step = Next(fact=fact.name, ask=ASK[fact.effort], how=fact.how_to_measure)
        if held.adapter is not None and several:
            step.adapter = held.adapter + 1
        if runs is None:
            return step
        if self.search.trying.work.left <= 0:
            self.search.untried.append(fact.name)
            return step
        try:
            runs = self._beside_others(held, self._as_answered(held, runs))
        except _WorkSpentError:
            self.search.untried.append(fact.name)
            return step
        weighs = fact.kind == "mass" and fact.name not in self.missing.ratings
        # No part weighs nothing, and nobody asks about none of a thing; what is rated for nothing is not made for it.
        if weighs:
            runs = runs.of_something()
        undoubted, (runs, doubted) = runs, runs.past_its_doubt()
        works, fails, open_ = (_in_words(held, runs, wanted) for wanted in (GOOD, BAD, OPEN))
        laden, waiting = self._with_load(held, runs)
        goods = fact.kind == "count" and fact.name in self.missing.ratings | self._loaded
        nothing = (fact.kind == "mass" or goods) and runs.grid.low == 0 and runs.at_the_edge(GOOD)
        # What is known to be so much at most may well be so much, as a limit that is on record.
        most = held.current(self.search.trying.case)
        nothing = nothing and not (isinstance(most, tuple) and isfinite(most[1]) and runs.runs[-1][0] == GOOD)
        if works and not nothing:
            settled = self._settled(held, undoubted)
            step.works_if, step.less_if = (_in_words(held, laden, wanted) for wanted in (GOOD, LESS))
            step.leaves_open = self._left(settled) or self._brought(held, undoubted) or waiting
            step.settles = [self.missing.engine.rulebook.rules[number].id for number in settled]
            step.open_if, step.doubted_if = open_ if runs.grid.members else "", doubted
        # That hardly any reading there is fails is no news, unless another works.
        few = fact.kind == "count" and runs.share(BAD) > _NO_NEWS  # none of what is counted is as likely as some
        seldom = not (runs.grid.members or few) and (runs.at_the_edge(BAD) or runs.share(BAD) <= _NO_NEWS)
        # Nor that nothing is too little.
        none = fact.kind == "mass" and runs.grid.low == 0 and runs.at_the_edge(BAD)
        # Of a figure that fails whatever it is the reading says nothing.
        if fails and runs.statuses != {BAD} and (works or not seldom) and not none:
            step.fails_if = fails
        return step

    def _with_load(self, held: UnknownFact, runs: Runs) -> tuple[Runs, int]:
        """The runs with what works only for less than is told that may be carried, and how many rules that leaves open.

        A rule that waits for other facts beside this one decides how much by them too, and no reading of one alone.
        Where the question is about more once the fact is told, the whole is judged with all of it on.
        """
        if self.laden is None or held.current(self.laden.trying.case) != held.current(self.search.trying.case):
            return runs, 0
        at = self.laden.trying
        rules = [number for number in self.laden.rules if held in self.missing.held(number, at.now)]
        found = self.missing.readings(held, rules, at, self.system).values()
        settled = [each for each in found if GOOD in each.statuses]
        sure = self.missing.readings(held, rules, at, self.system, alone=False).values()

        def status(results: list[str]) -> str:
            now, passing, failing = results[0], results[1 : 1 + len(settled)], results[1 + len(settled) :]
            return LESS if now == GOOD and ({*passing} - {GOOD} or BAD in failing) else now

        runs = together(runs.grid, [runs, *settled, *sure], status)
        runs = runs.tried_again(partial(self._whole_laden, held)) if self._brings(held) else runs
        return runs, len(found) - len(settled)

    def _whole_laden(self, held: UnknownFact, value: Value, before: str) -> str:
        """What a reading comes to that works, where the whole is judged with all on it that is told that may be."""
        if before != GOOD or self.laden is None:
            return before
        engine, work = self.missing.engine, self.search.trying.work
        work.left -= _WHOLE
        case = told(engine, self.laden.trying.case, {held: value})
        verdict = engine.rule_by_rule(case) if case.adapters else engine.evaluate(case)
        return LESS if verdict.outcome == "fails" else GOOD

    def _brings(self, held: UnknownFact) -> bool:
        """Whether the question is about more once a fact is told."""
        return held.name in self.missing.engine.rulebook.named and held.asked_as not in self.search.trying.case.present

    @property
    def _loaded(self) -> frozenset[str]:
        """The facts that count what is loaded, of which none is no load."""
        return frozenset(way.times for one in self.missing.engine.rulebook.allowances for way in one.loadings)

    def _left(self, settled: Sequence[int]) -> int:
        """How many of the rules that hold up the outcome stay open."""
        return sum(number not in settled for number in self.unknown or self.doubts)

    def _as_answered(self, held: UnknownFact, runs: Runs) -> Runs:
        """The runs, less what comes out otherwise in the whole answer.

        That can be where the question is about more once the fact is told, and where what stays open fails either way;
        the latter is not looked for with adapters in the opening, where it would cost more than all the rest.
        """
        trying, engine, left = self.search.trying, self.missing.engine, self._left(self._settled(held, runs))
        if not self._brings(held) and not left:
            return self._bringing_nothing(held, runs)

        def status(value: Value, before: str) -> str:
            if trying.work.left <= 0:
                raise _WorkSpentError
            trying.work.left -= _WHOLE
            case = told(engine, trying.case, {held: value})
            verdict = engine.rule_by_rule(case) if case.adapters else engine.evaluate(case)
            if verdict.outcome == "fails":
                return BAD
            return OPEN if before == BAD or len(verdict.unknown) > (left if self.unknown else 0) else GOOD

        runs = runs.tried_again(status)
        return runs if left else self._bringing_nothing(held, runs)

    def _beside_others(self, held: UnknownFact, runs: Runs) -> Runs:
        """The runs, less what would spoil something else on the rig: that fails the whole."""
        work, spoils = self.search.trying.work, self.spoils(held) if self.spoils else None
        if spoils is None:
            return runs

        def status(value: Value, before: str) -> str:
            if before != GOOD:
                return before
            if work.left <= 0:
                raise _WorkSpentError
            work.left -= _BESIDE
            return BAD if spoils(value) else GOOD

        return runs.tried_again(status)

    def _bringing_nothing(self, held: UnknownFact, runs: Runs) -> Runs:
        """The runs, less what settles all that is open and brings another thing to see to, where some do without.

        A load that passes for one rule may be too much for another, which a lighter one leaves alone.
        """
        for parts in _PARTS:
            after = {value: self._to_see_to(held, value) for value in runs.spread(GOOD, parts)}
            common = self._to_see_to().intersection(*after.values()) if after else frozenset()
            without = [found <= common for found in after.values()]
            if any(without) or not after:
                break
        if all(without) or not any(without):
            return runs

        doubts = self._doubts_of(held)

        def status(value: Value) -> str:
            if value not in after and self.search.trying.work.left <= 0:
                raise _WorkSpentError
            more = self._to_see_to(held, value) - common
            return OPEN if more - doubts else DOUBTED if more else GOOD

        try:
            return runs.closed_in(status, parts)
        except _WorkSpentError:
            self.rough.add(held)
            return runs

    def _doubts_of(self, held: UnknownFact) -> frozenset[tuple[str, int]]:
        """What comes of doubts of a figure itself: of cautions that read what was told of it."""
        engine, adapted = self.missing.engine, self.search.trying.adapted
        doubting = {name for name, (_, each) in engine.opening_supports.items() if held.read.slot in each.told}

        def doubts(support: Support) -> bool:
            return held.read.slot in support.told or any(read.name in doubting for read in support.leaves)

        rules = enumerate(engine.rulebook.rules)
        told = [n for n, rule in rules if not rule.blocks and doubts(engine.support(n, adapted))]
        return frozenset((effect, number) for effect in ("cautions", "doubts") for number in told)

    def _brought(self, held: UnknownFact, runs: Runs) -> int:
        """How many things to see to come with each reading that is told to work, and were not there before.

        Where it was not tried out with which readings they come, they are counted as with those that bring the most.
        """
        before, count = self._to_see_to(), max if held in self.rough else min
        return count((len(self._to_see_to(held, value) - before) for value in runs.spread(GOOD)), default=0)

    def _to_see_to(self, held: UnknownFact | None = None, value: Value | None = None) -> frozenset[tuple[str, int]]:
        """What is open, amiss or needed in the whole answer, as it is or with one fact told."""
        found = self.judged.get((held, value))
        if found is None:
            trying, engine = self.search.trying, self.missing.engine
            trying.work.left -= _WHOLE
            case = trying.case if held is None or value is None else told(engine, trying.case, {held: value})
            verdict = engine.rule_by_rule(case)
            found = frozenset((effect, number) for effect in _TO_SEE_TO for number in getattr(verdict, effect))
            self.judged[held, value] = found
        return found

    def _settled(self, held: UnknownFact, runs: Runs) -> list[int]:
        """The rules that pass with every reading that is told to work."""
        several = self.search.runs[held]
        numbers = list(several)
        together_ = together(
            runs.grid, [runs, *several.values()], lambda results: " ".join(results) if results[0] == GOOD else OPEN
        )
        working = [status.split() for status in together_.statuses if status != OPEN]
        return [number for place, number in enumerate(numbers, start=1) if all(of[place] == GOOD for of in working)]

    def _keep_together(self, found: dict[UnknownFact, Runs]) -> None:
        """Take back readings of two facts that work each by itself and fail beside one another.

        Only a rule that is a caution while open, and fails once it is sure, can do that: the others are passed by
        each reading that works, whatever the rest comes to. It is tried at the ends of the readings that work.
        """
        for number in self.doubts:
            if not self.missing.engine.rulebook.rules[number].blocks:
                continue
            read = [held for held in self.search.held[number] if held in found and GOOD in found[held].statuses]
            for pair in combinations(read, 2):
                for one, other in (pair, pair[::-1]):
                    if self.search.trying.work.left > 0:
                        found[one] = self._beside(number, one, found[one], other, found[other])

    def _beside(self, number: int, one: UnknownFact, runs: Runs, other: UnknownFact, others: Runs) -> Runs:
        """The readings of one fact, less those that fail beside some reading of another that works."""
        trying, beside = self.search.trying, [*others.ends(GOOD)]
        told = [trying.beside(other, value) for value in beside if trying.work.left > 0]
        if all(each.judged(number, each.each(one)(value)) != BAD for each in told for value in runs.ends(GOOD)):
            return runs
        for each in told:
            (failing,) = self.missing.readings(one, [number], each, self.system, alone=False).values()
            runs = together(runs.grid, [runs, failing], lambda pair: OPEN if pair == [GOOD, BAD] else pair[0])
        return runs


def _in_words(held: UnknownFact, runs: Runs, wanted: str) -> str:
    text = runs.text(wanted)
    if not text or not held.fact.tyre:
        return text
    return t(_OF_A_TYRE[held.name.rpartition(".")[2]], figure=text)
