"""A question's case with values supposed of facts it leaves open, judged by single rules, and the work counted.

The work is bounded by count, never by the clock: a question gets the same answer on a slow machine as on a fast one.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Final

from fitsvc.answers.readings import BAD, GOOD, OPEN
from fitsvc.engine.opening import Changes, WorkingOpening
from fitsvc.engine.point import Point
from fitsvc.facts import Case, at_place
from fitsvc.language.typed import Read
from fitsvc.language.types import Value
from fitsvc.rulebook.vocabulary import EFFORTS, Fact
from fitsvc.wanted import still_wanted

MOST_WORK: Final = 7_000
"""Judgements for one question: 30 ms or so. Hardly a question that `bench.bench_next` draws takes as many."""


@dataclass(slots=True)
class Work:
    """What may still be spent on one question: judgements of a rule, and figures of an opening, are one each."""

    left: int = MOST_WORK


@dataclass(frozen=True, slots=True)
class UnknownFact:
    """A slot of a fact that is not exactly known; `adapter` is its adapter's place in the opening."""

    name: str
    adapter: int | None = None
    read: Read = field(kw_only=True, compare=False)
    fact: Fact = field(kw_only=True, compare=False)

    @property
    def effort(self) -> int:
        """How much work learning the fact is, least first."""
        return EFFORTS.index(self.fact.effort)

    @property
    def asked_as(self) -> str:
        """By what name it is among what a case is about, where it is named."""
        return self.name if self.adapter is None else at_place(self.adapter + 1, self.name)

    def current(self, case: Case) -> Value:
        """What is known of the fact now."""
        facts = case.facts if self.adapter is None else case.adapters[self.adapter]
        return facts.get(self.name, self.read.type.unknown)


def supplied(case: Case, values: Iterable[tuple[UnknownFact, Value]]) -> Case:
    """The case with facts known to have these values."""
    facts = dict(case.facts)
    adapters = [dict(adapter) for adapter in case.adapters]
    for held, value in values:
        target = facts if held.adapter is None else adapters[held.adapter]
        target[held.name] = value
        target.pop(held.read.slot, None)
    return replace(case, facts=facts, adapters=tuple(adapters))


def told(engine: Point, case: Case, values: Mapping[UnknownFact, Value]) -> Case:
    """The case with facts told, in question with their subjects; its opening is not yet worked out."""
    named = {held.asked_as for held in values if held.name in engine.rulebook.named}
    subjects = {held.name.partition(".")[0] for held in values if held.adapter is None}
    return replace(supplied(case, values.items()), present=case.present | named | subjects)


class Trying:
    """One case with values tried of its facts, each alone beside what has been `supposed` before."""

    def __init__(self, engine: Point, case: Case, work: Work) -> None:
        self.case, self.work = case, work
        self._engine, self.adapted = engine, bool(case.adapters)
        self.supposed: dict[UnknownFact, Value] = {}
        self._facts = dict(case.facts)
        self._opening: WorkingOpening | None = None
        if case.adapters:
            self._opening = WorkingOpening(engine, case)
            self._facts = self._opening.opened
        self._narrow: Trying | None = None

    @property
    def now(self) -> Case:
        """The opened case as far as it is supposed."""
        return self._with(self._facts)

    def suppose(self, held: UnknownFact, value: Value) -> None:
        """Take a fact to have a value from now on."""
        self._take(held, value)
        self.supposed[held] = value

    def take_back(self, held: UnknownFact) -> None:
        """Take a fact as it is known again."""
        self._take(held, held.current(self.case))
        self._facts |= self._told(held)
        del self.supposed[held]

    def without(self, held: UnknownFact) -> Case:
        """The opened case with one of the supposed facts as it is known."""
        known, by_one_end = self._one(held, held.current(self.case)), self._told(held)
        return self._with({**known.facts, **by_one_end}) if by_one_end else known

    def each(self, held: UnknownFact) -> Callable[[Value], Case]:
        """What gives the opened case with one fact known to have a value; what it gave before may change with it."""
        if self._opening is None or not self._behind(held):
            facts = dict(self._facts)
            facts.pop(held.read.slot, None)
            changing = self._with(facts)

            def at(value: Value) -> Case:
                facts[held.name] = value
                return changing

            return at
        made: dict[Value, Case] = {}

        def changed(value: Value) -> Case:
            found = made.get(value)
            if found is None:
                made[value] = found = self._one(held, value)
            return found

        return changed

    def judged(self, number: int, case: Case) -> str:
        """What a rule comes to on an opened case: a caution that fails leaves things open."""
        return self.judging(number)(case)

    def judging(self, number: int) -> Callable[[Case], str]:
        """What tells what a rule comes to on one opened case after another, for as long as somebody waits for it."""
        judge, of_failing, work = self._engine.judge_of(number, self.adapted), failing(self._engine, number), self.work

        def result(case: Case) -> str:
            still_wanted()
            work.left -= 1
            found = judge(case.facts.get, case.present)
            return of_failing if found == "fails" else OPEN if found == "undetermined" else GOOD

        return result

    def beside(self, held: UnknownFact, value: Value) -> "Trying":
        """The same case with a fact told, to be tried in its turn."""
        return Trying(self._engine, told(self._engine, self.case, {held: value}), self.work)

    @property
    def narrowed(self) -> "Trying":
        """The case with every number of which nothing is known in the middle half of what is plausible."""
        if self._narrow is None:
            middle = self._engine.middles
            added = {name: bounds for name, bounds in middle.items() if name.startswith("adapter.")}
            adapters = tuple({**added, **adapter} for adapter in self.case.adapters)
            case = replace(self.case, facts={**middle, **self.case.facts}, adapters=adapters)
            self._narrow = Trying(self._engine, case, self.work)
        return self._narrow

    def _told(self, held: UnknownFact) -> Mapping[str, Value]:
        """What was told of a fact by one end alone, which belongs to it as it is known; the opening keeps adapters'."""
        slot = held.read.slot
        return {slot: self.case.facts[slot]} if held.adapter is None and slot in self.case.facts else {}

    def _one(self, held: UnknownFact, value: Value) -> Case:
        """The opened case as far as it is supposed, but for one fact."""
        changes = {held.name: value} if self._opening is None else self._changes(self._opening, held, value)[-1]
        facts = {**self._facts, **changes}
        facts.pop(held.read.slot, None)
        return self._with(facts)

    def _with(self, facts: Mapping[str, Value]) -> Case:
        """The opened case with other facts; thousands are made for one question, so no `replace`."""
        return Case(facts, self.case.present, self.case.adapters, self.case.texts, opened=True)

    def _take(self, held: UnknownFact, value: Value) -> None:
        self._facts.pop(held.read.slot, None)
        if self._opening is None:
            self._facts[held.name] = value
        else:
            self._opening.change(self._changes(self._opening, held, value))

    def _changes(self, opening: WorkingOpening, held: UnknownFact, value: Value) -> Changes:
        before = opening.figures_made
        found = opening.changes(held.name, held.adapter, value)
        self.work.left -= opening.figures_made - before
        return found

    def _behind(self, held: UnknownFact) -> bool:
        return held.adapter is not None or held.name in self._engine.opening_figures.bare_readers


def judged(engine: Point, number: int, case: Case) -> str:
    """What a rule comes to on an opened case: a caution that fails leaves things open."""
    result = engine.judge(number, case)
    return failing(engine, number) if result == "fails" else OPEN if result == "undetermined" else GOOD


def failing(engine: Point, number: int) -> str:
    """What a rule comes to that fails: a caution leaves things open."""
    return BAD if engine.rulebook.rules[number].blocks else OPEN
