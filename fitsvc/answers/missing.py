"""The facts that hold an open rule up, and what the rule would come to with readings of them.

What is found for a rule follows from that rule's own facts alone, and those recur from question to question,
so it is kept for the next case with the same facts. With adapters in the opening nothing is kept.
"""

from collections.abc import Callable, Hashable, Iterator, Sequence
from typing import Any, Final

from fitsvc.answers.readings import OF_A_TYRE, Grid, Runs, grid_of, runs_of, standing_alone
from fitsvc.answers.trying import Trying, UnknownFact, Work, judged
from fitsvc.answers.wording import Wording
from fitsvc.caching import LruCache
from fitsvc.engine.point import Point
from fitsvc.engine.support import Moves, way
from fitsvc.facts import Case
from fitsvc.language.display import System
from fitsvc.language.typed import Read
from fitsvc.language.types import is_exact

_MOST_KEPT: Final = 20_000
"""Of some fifty rules that may be open, four hundred cases each; a few hundred bytes for one, 10 MB for all."""


class Missing:
    """What open rules of a rulebook wait for; safe to share between threads.

    `lessened` are the facts that may be made less for a remedy, each with the one that is then weighed anew or nothing;
    `taken_up` are those that a customer may take up.
    """

    def __init__(self, engine: Point, wording: Wording) -> None:
        self.engine, self.wording = engine, wording
        self.ratings = frozenset(hazard.rating for hazard in engine.rulebook.hazards)
        vocabulary = engine.rulebook.vocabulary
        self.lessened = {
            name: next(iter(vocabulary.serving("weighed_anew", vocabulary.facts[name].subject)), "")
            for name in vocabulary.serving("lessened")
        }
        self.taken_up = vocabulary.serving("taken_up")
        self._kept = LruCache[Hashable, Any](_MOST_KEPT)
        self._about: dict[int, frozenset[str]] = {}
        # Two for each rule: the rulebook bounds them.
        self._moves: dict[tuple[int, bool], tuple[Moves, Moves]] = {}

    def prepare(self) -> None:
        """Look which way rules move with what they rest on."""
        for number in range(len(self.engine.rulebook.rules)):
            for adapted in (False, True):
                self._moves_of(number, adapted)

    def trying(self, case: Case, work: Work) -> Trying:
        """A case to try values on."""
        return Trying(self.engine, case, work)

    def about(self, number: int) -> frozenset[str]:
        """The facts and the subjects that a rule rests on; `opening` where an adapter would count."""
        found: frozenset[str] | None = self._about.get(number)
        if found is None:
            names = [read.name for adapted in (False, True) for read in self.engine.support(number, adapted).leaves]
            self._about[number] = found = frozenset([*names, *(name.split(".", 1)[0] for name in names)])
        return found

    def held(self, number: int, case: Case) -> tuple[UnknownFact, ...]:
        """The facts that matter to an open rule and are not exactly known, those behind the opening too."""
        if case.adapters:
            return tuple(self._held(number, case))
        key = ("held", *self._key(number, case))
        found: tuple[UnknownFact, ...] | None = self._kept.find(key)
        return self._kept.get(key, lambda: tuple(self._held(number, case))) if found is None else found

    def open_for_good(self, number: int, case: Case) -> bool:
        """Whether nothing that could be told settles an open rule: all that it rests on is exactly known."""
        fact_of = self.wording.rulebook.vocabulary.fact_of
        facts = ((read, fact_of(read.name), at) for read, at in self._rests_on(number, case))
        held = (UnknownFact(read.name, at, read=read, fact=fact) for read, fact, at in facts if fact is not None)
        return all(is_exact(one.read.type, one.current(case)) for one in held)

    def readings(
        self, held: UnknownFact, numbers: Sequence[int], trying: Trying, system: System, alone: bool = True
    ) -> dict[int, Runs]:
        """What each of some rules comes to over the readings of one fact, in the steps of a system of units.

        `alone` takes a reading that settles a rule only by a bound of another figure, of which nothing is known, as
        one that leaves it open: no trailer is light enough for a rating that may be nothing.
        """
        grid = self.grid(held, trying.case, system)
        at = trying.each(held)
        narrowed = trying.narrowed.each(held) if alone else at

        def run(number: int) -> Runs:
            moves, judged = self.way(number, held, len(trying.case.adapters)) != 0, trying.judging(number)
            found = runs_of(grid, lambda value: judged(at(value)), moves, trying.adapted)
            return standing_alone(found, lambda value: judged(narrowed(value))) if alone else found

        return {number: self._counted(number, held, trying, (system, alone), run) for number in numbers}

    def grid(self, held: UnknownFact, case: Case, system: System = "us") -> Grid:
        """The readings of a fact that are worth trying: plausible, and in line with what is known."""
        fact, shown = held.fact, self.wording.shown(held.read)
        range_ = OF_A_TYRE.get(held.name.rpartition(".")[2]) if fact.tyre else fact.range
        words = fact.below_zero, fact.above_zero
        return grid_of(held.read.type, shown, range_, held.current(case), system, *words)

    def judged(self, number: int, case: Case) -> str:
        """What a rule comes to: a caution that fails leaves things open."""
        return judged(self.engine, number, self.engine.opened(case))

    def _counted(
        self, number: int, held: UnknownFact, trying: Trying, how: Hashable, make: Callable[[int], Runs]
    ) -> Runs:
        """Runs kept from another case with the same facts, or made; either way the work is counted."""
        work = trying.work
        if trying.case.adapters:
            return make(number)

        def made() -> tuple[Runs, int]:
            before = work.left
            return make(number), before - work.left

        key = (held.name, how, *self._key(number, trying.case))
        found: tuple[Runs, int] | None = self._kept.find(key)
        if found is None:
            left = work.left
            found = self._kept.get(key, made)
            work.left = left
        work.left -= found[1]
        return found[0]

    def _key(self, number: int, case: Case) -> tuple[Hashable, ...]:
        return (number, *self.wording.rules(False)[number].rests_on(case.facts.get, case.present))

    def _held(self, number: int, case: Case) -> Iterator[UnknownFact]:
        return (held for held in self._open(number, case) if not self._left_to_customers(held, case))

    def brought_up(self, number: int, case: Case) -> tuple[UnknownFact, ...]:
        """The facts that an open rule rests on and nobody is asked for where something else settles it."""
        return tuple(held for held in self._open(number, case) if self._left_to_customers(held, case))

    def _left_to_customers(self, held: UnknownFact, case: Case) -> bool:
        """Whether a fact opens a topic that a customer brings up; a plate is read unasked."""
        return held.fact.brought_up and held.asked_as not in case.present

    def _open(self, number: int, case: Case) -> Iterator[UnknownFact]:
        """The facts that matter to a rule and are not exactly known."""
        for read, adapter in dict.fromkeys(self._rests_on(number, case)):
            fact = self.wording.rulebook.vocabulary.fact_of(read.name)
            if fact is not None:
                held = UnknownFact(read.name, adapter, read=read, fact=fact)
                if not is_exact(read.type, held.current(case)):
                    yield held

    def _rests_on(self, number: int, case: Case) -> Iterator[tuple[Read, int | None]]:
        matter = self.wording.rules(bool(case.adapters))[number].rests(self.engine.opened(case))
        yield from ((read, None) for read in matter if not read.name.startswith("opening."))
        names = [read.name for read in matter if read.name.startswith("opening.")]
        if names:
            yield from self.engine.behind_opening(names, len(case.adapters))

    def way(self, number: int, held: UnknownFact, adapters: int) -> int:
        """Which way a rule's result moves with a fact: +1 to pass, -1 to fail, 0 where it is not sure to go one way."""
        behind = adapters if held.adapter is None else adapters - held.adapter
        guard, requirement = self._moves_of(number, bool(behind))
        ways: Moves = {held.name: 1}
        if behind:
            ways = {**ways, **self.engine.opening_figures.ways(held.name, held.adapter is None, behind)}
        # A rule whose guard moves is not sure to go one way.
        return 0 if way(guard, ways) is not None else way(requirement, ways) or 0

    def _moves_of(self, number: int, adapted: bool) -> tuple[Moves, Moves]:
        """Which way a rule's guard and its requirement move, with what they rest on."""
        found = self._moves.get((number, adapted))
        if found is None:
            rule = self.engine.rulebook.rules[number]
            guard = {} if rule.guard is None else self.engine.moves(rule.guard, adapted)
            self._moves[number, adapted] = found = (guard, self.engine.moves(rule.requires, adapted))
        return found
