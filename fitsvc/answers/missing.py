"""The facts that hold an open rule up, and what the rule would come to with readings of them.

What is found for a rule follows from that rule's own facts alone, and those recur from question to question,
so it is kept for the next case with the same facts. With adapters in the opening nothing is kept.
"""

from collections.abc import Callable, Hashable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, product
from typing import Any, Final

from fitsvc.answers.readings import Grid, Runs, grid_of, runs_of
from fitsvc.answers.wording import Wording
from fitsvc.caching import LruCache
from fitsvc.engine.point import Point
from fitsvc.facts import Case
from fitsvc.language.display import System
from fitsvc.language.typed import Read
from fitsvc.language.types import Value, is_exact
from fitsvc.rulebook.vocabulary import EFFORTS, Fact

GOOD, BAD, OPEN = "works", "fails", "open"
_TOGETHER: Final = 3
_FEW: Final = 4
_MOST_TRIED: Final = 6
_MOST_KEPT: Final = 20_000
"""Of some fifty rules that may be open, four hundred cases each; a few hundred bytes for one, 10 MB for all."""


@dataclass(frozen=True, slots=True)
class UnknownFact:
    """A fact that is not exactly known; `adapter` is its adapter's place in the opening."""

    read: Read
    fact: Fact
    adapter: int | None = None

    @property
    def effort(self) -> int:
        """How much work learning the fact is, least first."""
        return EFFORTS.index(self.fact.effort)

    def current(self, case: Case) -> Value:
        """What is known of the fact now."""
        facts = case.facts if self.adapter is None else case.adapters[self.adapter]
        return facts.get(self.read.name, self.read.type.unknown)


def supplied(case: Case, values: Iterable[tuple[UnknownFact, Value]]) -> Case:
    """The case with facts known to have these values."""
    facts = dict(case.facts)
    adapters = [dict(adapter) for adapter in case.adapters]
    for held, value in values:
        (facts if held.adapter is None else adapters[held.adapter])[held.read.name] = value
    return replace(case, facts=facts, adapters=tuple(adapters))


class Missing:
    """What open rules of a rulebook wait for; safe to share between threads."""

    def __init__(self, engine: Point, wording: Wording) -> None:
        self.engine, self.wording = engine, wording
        self._kept = LruCache[Hashable, Any](_MOST_KEPT)
        self._about: dict[int, frozenset[str]] = {}

    def about(self, number: int) -> frozenset[str]:
        """The facts and the subjects that a rule rests on; `opening` where an adapter would count."""
        found: frozenset[str] | None = self._about.get(number)
        if found is None:
            names = [read.name for adapted in (False, True) for read in self.engine.support(number, adapted).leaves]
            self._about[number] = found = frozenset([*names, *(name.split(".", 1)[0] for name in names)])
        return found

    def held(self, number: int, case: Case) -> tuple[UnknownFact, ...]:
        """The facts that matter to an open rule and are not exactly known, those behind the opening too."""
        found: tuple[UnknownFact, ...] = self._keep("held", number, case, lambda: tuple(self._held(number, case)))
        return found

    def options(self, number: int, case: Case) -> Sequence[tuple[UnknownFact, ...]]:
        """The smallest sets of facts with which a rule could pass; all of its facts where no small set does."""
        found: Sequence[tuple[UnknownFact, ...]] = self._keep(
            "options", number, case, lambda: self._options(number, case)
        )
        return found

    def readings(self, number: int, held: UnknownFact, case: Case, system: System = "us") -> Runs:
        """What a rule comes to over the readings of one fact, in the steps of a system of units."""
        key = (held.read.name, held.adapter, system)
        found: Runs = self._keep(key, number, case, lambda: self._readings(number, held, case, system))
        return found

    def _keep(self, what: Hashable, number: int, case: Case, make: Callable[[], Any]) -> Any:
        if case.adapters:
            return make()
        key = (what, number, *self.wording.rules(False)[number].rests_on(case.facts.get, case.present))
        found = self._kept.find(key)
        return self._kept.get(key, make) if found is None else found

    def _held(self, number: int, case: Case) -> Iterator[UnknownFact]:
        for read, adapter in dict.fromkeys(self._rests_on(number, case)):
            fact = self.engine.rulebook.vocabulary.fact_of(read.name)
            if fact is not None:
                held = UnknownFact(read, fact, adapter)
                if not is_exact(read.type, held.current(case)):
                    yield held

    def _rests_on(self, number: int, case: Case) -> Iterator[tuple[Read, int | None]]:
        adapted = bool(case.adapters)
        support = self.engine.support(number, adapted)
        decided = self.engine.values(("decisions", number, adapted), lambda: support.decisions).of(case)
        matter = [support.leaves[i] for i in support.relevant(decided)]
        yield from ((read, None) for read in matter if not read.name.startswith("opening."))
        if any(read.name.startswith("opening.") for read in matter):
            own, each = self.engine.opening_leaves
            yield from ((read, None) for read in own)
            yield from ((read, i) for i in range(len(case.adapters)) for read in each)

    def _options(self, number: int, case: Case) -> Sequence[tuple[UnknownFact, ...]]:
        held = self.held(number, case)
        alone = [(one,) for one in held if GOOD in self.readings(number, one, case).statuses]
        if alone or not held:
            return alone
        cheap = sorted(held, key=lambda one: one.effort)[:_MOST_TRIED]
        for size in range(2, (_TOGETHER if len(held) <= _FEW else 2) + 1):
            together = [facts for facts in combinations(cheap, size) if self._could_pass(number, facts, case)]
            if together:
                return together
        return [held]

    def _could_pass(self, number: int, facts: tuple[UnknownFact, ...], case: Case) -> bool:
        grids = [self.grid(one, case).few() for one in facts]
        return any(
            self.judged(number, supplied(case, zip(facts, values, strict=True))) == GOOD for values in product(*grids)
        )

    def _readings(self, number: int, held: UnknownFact, case: Case, system: System) -> Runs:
        grid = self.grid(held, case, system)
        if case.adapters or held.adapter is not None:
            return runs_of(grid, lambda value: self.judged(number, supplied(case, [(held, value)])))
        facts = dict(case.facts)
        changing = replace(case, facts=facts)

        def judged(value: Value) -> str:
            facts[held.read.name] = value
            return self.judged(number, changing)

        return runs_of(grid, judged)

    def grid(self, held: UnknownFact, case: Case, system: System = "us") -> Grid:
        """The readings of a fact that are worth trying: plausible, and in line with what is known."""
        return grid_of(held.read.type, self.wording.shown(held.read), held.fact.range, held.current(case), system)

    def judged(self, number: int, case: Case) -> str:
        """What a rule comes to: a caution that fails leaves things open."""
        result = self.engine.judge(number, self.engine.opened(case))
        if result in ("passes", "not_applicable"):
            return GOOD
        return BAD if result == "fails" and self.engine.rulebook.rules[number].blocks else OPEN
