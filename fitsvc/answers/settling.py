"""Which facts to ask for: those of a scenario in which the open rules pass, less all that it can do without.

Facts are supposed one after another, first those that settle a rule by themselves and the cheapest of them, each at
the reading that helps most, until every rule passes or nothing is left to suppose. Then they are taken back, dearest
first, wherever no rule misses them. What stays is asked for, but not for a rule that stays open with whatever is told
of all that it waits for. Single rules are judged, a few times for each fact that
they wait for, and never for every reading of one fact with every reading of another.
"""

from collections.abc import Iterable, Iterator, Sequence
from itertools import product
from math import prod
from typing import Final

from fitsvc.answers.missing import Missing
from fitsvc.answers.readings import BAD, GOOD, OPEN, Runs
from fitsvc.answers.trying import Trying, UnknownFact
from fitsvc.language.display import System
from fitsvc.language.types import Value

_MOST_VALUES: Final = 24
"""Readings of one fact that are supposed; a list of more members is cut there."""
_MOST_TOGETHER: Final = 64
"""Readings of several facts together with each of which a rule is tried that nothing was found to settle."""


class Settling:
    """The open rules of one case, the facts they wait for, and what is found for them.

    `held` are each rule's facts and `rules_of` each fact's rules; `runs` what readings of a fact come to, of one
    that is open in several adapters for the first of them. `untried` are the facts left when the work was spent.
    """

    def __init__(self, missing: Missing, trying: Trying, rules: Sequence[int], system: System) -> None:
        self.trying, self._missing = trying, missing
        # So much is left for supposing facts, and so much for telling what their readings come to.
        self._supposing, self._telling = trying.work.left // 2, trying.work.left // 4
        self.held = {number: missing.held(number, trying.now) for number in rules}
        self.rules_of: dict[UnknownFact, list[int]] = {}
        for number, facts in self.held.items():
            for held in facts:
                self.rules_of.setdefault(held, []).append(number)
        self.runs: dict[UnknownFact, dict[int, Runs]] = {}
        self.untried: list[str] = []
        self._system = system
        self._read_all()

    def needed(self, rules: Sequence[int]) -> dict[int, tuple[UnknownFact, ...]]:
        """For each of some rules the facts to ask for; what was needed for others before counts as known."""
        before = set(self.trying.supposed)
        left = self._suppose(rules)
        if left and self._take_up(left):
            left = self._suppose(rules)
        passed = [number for number in rules if number not in left]
        self._take_back([held for held in self.trying.supposed if held not in before], passed)
        found = {number: tuple(held for held in self.held[number] if held in self.trying.supposed) for number in passed}
        return found | {number: () if self._stays_open(number) else self.held[number] for number in left}

    def _stays_open(self, number: int) -> bool:
        """Whether a rule stays open with each handful of readings of all that it waits for, their ends among them.

        Then nothing of it can be learnt by telling these: it reads something that nobody is asked for.
        """
        facts = self.held[number]
        if any({GOOD, BAD} & self.runs[held][number].statuses for held in facts if held in self.runs):
            return False
        readings = [self._missing.grid(held, self.trying.case).few() for held in facts]
        if prod(map(len, readings)) > min(_MOST_TOGETHER, self.trying.work.left):
            return False
        before = {held: self.trying.supposed[held] for held in facts if held in self.trying.supposed}
        results = set[str]()
        for values in product(*readings):
            for held, value in zip(facts, values, strict=True):
                self.trying.suppose(held, value)
            results.add(self.trying.judged(number, self.trying.now))
            if results != {OPEN}:
                break
        for held in facts:
            self.trying.take_back(held)
        for held, value in before.items():
            self.trying.suppose(held, value)
        return results == {OPEN}

    def _read_all(self) -> None:
        """Find out what the readings of each fact come to, as far as there is work left for it."""
        for held in sorted(self._first(), key=lambda held: held.effort):
            if held in self.runs:
                continue
            if self.trying.work.left > self._supposing:
                self.runs[held] = self._missing.readings(held, self.rules_of[held], self.trying, self._system)
            else:
                self.untried.append(held.fact.name)

    def _take_up(self, rules: Iterable[int]) -> bool:
        """Take up what a customer brings up, for rules that leave the answer open and that nothing else settles.

        So it is asked whether a receiver is on the frame where its bumper would not bear it. True where there is any.
        """
        blocking = [number for number in rules if self._missing.engine.rulebook.rules[number].leaves_open]
        more = {number: self._missing.brought_up(number, self.trying.now) for number in blocking}
        for number, facts in more.items():
            self.held[number] += facts
            for held in facts:
                self.rules_of.setdefault(held, []).append(number)
        self._read_all()
        return any(more.values())

    def _first(self) -> Iterable[UnknownFact]:
        """Each fact once: of one that is open in several adapters the first."""
        found: dict[str, UnknownFact] = {}
        for held in sorted(self.rules_of, key=lambda held: held.adapter or 0):
            found.setdefault(held.name, held)
        return found.values()

    def _suppose(self, rules: Sequence[int]) -> set[int]:
        """Suppose facts until the rules pass; those that do not are returned."""
        left = {number for number in rules if self.trying.judged(number, self.trying.now) != GOOD}
        for held in self._order(rules):
            waiting = [number for number in self.rules_of[held] if number in left]
            if waiting and held not in self.trying.supposed and self.trying.work.left > self._telling:
                value, passing = self._best(held, waiting)
                self.trying.suppose(held, value)
                left -= passing
        return left

    def _order(self, rules: Sequence[int]) -> list[UnknownFact]:
        """Facts that settle a rule by themselves, then the others; cheapest first, those of most rules and readings."""
        wanted = set(rules)
        facts = [held for held, numbers in self.rules_of.items() if not wanted.isdisjoint(numbers)]

        def rank(held: UnknownFact) -> tuple[bool, int, int, float]:
            runs = self.runs.get(held, {})
            alone = [number for number in runs if number in wanted and GOOD in runs[number].statuses]
            numbers = alone or [number for number in self.rules_of[held] if number in wanted]
            return (not alone, held.effort, -len(numbers), -sum(runs[number].share(GOOD) for number in alone))

        return sorted(facts, key=rank)

    def _best(self, held: UnknownFact, rules: Sequence[int]) -> tuple[Value, set[int]]:
        """The value with which fewest of some rules fail and most pass, and those that pass."""
        best: tuple[tuple[int, int], Value, set[int]] | None = None
        at = self.trying.each(held)
        for value in self._values(held, rules):
            results = {number: self.trying.judged(number, at(value)) for number in rules}
            passing = {number for number, result in results.items() if result == GOOD}
            score = (-sum(result == BAD for result in results.values()), len(passing))
            if best is None or score > best[0]:
                best = (score, value, passing)
            if len(passing) == len(rules):
                break
        assert best is not None, f"{held.name} has no reading"
        return best[1:]

    def _values(self, held: UnknownFact, rules: Sequence[int]) -> list[Value]:
        """Readings worth supposing: where a run begins or ends that settles one of the rules; else a handful."""
        runs = self.runs.get(held, {})
        settling = [value for number in rules if number in runs for value in runs[number].ends(GOOD)]
        values = list(dict.fromkeys(settling)) or self._missing.grid(held, self.trying.case).few()
        return values[:_MOST_VALUES]

    def _take_back(self, facts: Sequence[UnknownFact], rules: Sequence[int]) -> None:
        """Take back what rules that pass go on passing without: dearest first, of such those of fewest rules."""
        passed = set(rules)
        for held in sorted(facts, key=lambda held: (-held.effort, len(self.rules_of[held]), -(held.adapter or 0))):
            if self.trying.work.left <= self._telling:
                return
            without = self.trying.without(held)
            resting = (number for number in self.rules_of[held] if number in passed)
            if all(self.trying.judged(number, without) == GOOD for number in resting):
                self.trying.take_back(held)


def facts_of(needed: dict[int, tuple[UnknownFact, ...]]) -> Iterator[UnknownFact]:
    """The facts that any of several rules need, each once."""
    yield from dict.fromkeys(held for facts in needed.values() for held in facts)
