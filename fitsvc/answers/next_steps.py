"""What to learn next: the smallest set of facts whose knowledge could decide, and the readings that do.

All of it is found by evaluating. For each open rule those facts are looked for with which it could pass:
one alone if there is one, else two or three together. Of these, the fewest and cheapest that open every
rule are chosen. A reading `works` when the rules that wait for this fact alone pass with it and nothing
else fails; with such readings of all the facts named, the answer works (or is conditional). A reading
`fails` when with it some blocking rule surely fails, whatever else is learnt.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import combinations, product
from typing import Final

from fitsvc.answers.answer import Next
from fitsvc.answers.missing import Held, held_up_by, supplied
from fitsvc.answers.readings import Results, any_reading, deciding, samples
from fitsvc.answers.wording import Wording
from fitsvc.engine.point import Point, Verdict
from fitsvc.facts import Case
from fitsvc.language.display import System
from fitsvc.language.types import Value

GOOD, BAD, OPEN = "works", "fails", "open"
ASK: Final = {"ask": "ask", "label": "read", "tape": "measure", "scales": "weigh", "dealer": "look up"}
_MOST_TOGETHER: Final = 3
_FEW: Final = 4
_MOST_TRIED: Final = 6
_Chosen = dict[int, tuple[Held, ...]]
"""For each open rule, the facts chosen to settle it."""


def next_steps(engine: Point, wording: Wording, case: Case, verdict: Verdict, system: System) -> list[Next]:
    """What to learn next: what holds up the outcome first, then what cautions wait for; cheapest first."""
    if verdict.outcome == "fails":
        return []
    search = _Search(engine, wording, case)
    chosen = search.choose(verdict.unknown, {})
    first = list(_facts_of(chosen))
    chosen = search.choose(verdict.doubts, chosen)
    later = [held for held in _facts_of(chosen) if held not in first]
    open_rules = (*verdict.unknown, *verdict.doubts)
    steps: dict[str, Next] = {}
    for group in (first, later):
        told = [(held, search.readings(held, chosen, open_rules, system)) for held in group]
        for held, (works_if, fails_if) in sorted(told, key=lambda row: (not any(row[1]), row[0].effort)):
            fact = held.fact
            step = Next(fact.name, ASK[fact.effort], fact.how_to_measure, works_if, fails_if)  # type: ignore[arg-type]
            steps.setdefault(fact.name, step)
    return list(steps.values())


def _facts_of(chosen: _Chosen) -> Iterator[Held]:
    yield from dict.fromkeys(held for facts in chosen.values() for held in facts)


@dataclass(frozen=True, slots=True)
class _Search:
    """The search for what would settle a case's open rules."""

    engine: Point
    wording: Wording
    case: Case
    _keys: dict[int, frozenset[tuple[str, int | None]]] = field(default_factory=dict)

    def choose(self, rules: Sequence[int], chosen: _Chosen) -> _Chosen:
        """Choose facts for each open rule, the fewest and cheapest taken together; earlier choices count as known."""
        held = list(held_up_by(self.engine, self.wording, self.case, rules))
        options = {number: self._options(number, [one for one in held if number in one.rules]) for number in rules}
        found = dict(chosen)
        taken = {_key(one): one for facts in chosen.values() for one in facts}
        for number in sorted(rules, key=lambda number: len(options[number])):
            best = min(options[number], key=lambda facts: _cost(facts, taken), default=())
            found[number] = tuple(taken.setdefault(_key(one), one) for one in best)
        return found

    def _options(self, number: int, held: Sequence[Held]) -> list[tuple[Held, ...]]:
        """The smallest sets of facts with which a rule could pass; all of them where no small one does."""
        cheap = sorted(held, key=lambda one: one.effort)[:_MOST_TRIED]
        together = _MOST_TOGETHER if len(held) <= _FEW else 2
        for size in range(1, min(together, len(cheap)) + 1):
            found = [facts for facts in combinations(cheap, size) if self._could_pass(number, facts)]
            if found:
                return found
        return [tuple(held)] if held else []

    def _could_pass(self, number: int, facts: tuple[Held, ...]) -> bool:
        if len(facts) == 1:
            (one,) = facts
            return any_reading(
                self.wording, self.case, one, lambda value: (self._result(number, [(one, value)]),), (GOOD,)
            )
        tried = product(*(samples(one, self.case) for one in facts))
        return any(self._result(number, list(zip(facts, values, strict=True))) == GOOD for values in tried)

    def _result(self, number: int, values: list[tuple[Held, Value]]) -> str:
        """What a rule comes to with facts supplied; a caution that fails leaves things open."""
        return self._judged(number, self.engine.opened(supplied(self.case, values)))

    def _judged(self, number: int, case: Case) -> str:
        result = self.engine.judge(number, case)
        if result == "fails":
            return BAD if self.engine.rulebook.rules[number].severity == "blocking" else OPEN
        return OPEN if result == "undetermined" else GOOD

    def readings(self, held: Held, chosen: _Chosen, open_rules: Sequence[int], system: System) -> tuple[str, str]:
        """The readings of a chosen fact that work and that fail, in words."""
        waits = {number for number, facts in chosen.items() if [_key(one) for one in facts] == [_key(held)]}
        reads = [number for number in open_rules if number in waits or _key(held) in self._held_by(number)]

        def results(value: Value) -> Results:
            case = self.engine.opened(supplied(self.case, [(held, value)]))
            return tuple(self._judged(number, case) for number in reads)

        def status(results: Results) -> str:
            if BAD in results:
                return BAD
            settled = all(result == GOOD for number, result in zip(reads, results, strict=True) if number in waits)
            return GOOD if waits and settled else OPEN

        works_if, fails_if = deciding(self.wording, self.case, held, results, status, (GOOD, BAD), system)
        return works_if, fails_if

    def _held_by(self, number: int) -> frozenset[tuple[str, int | None]]:
        """The facts that hold up one open rule."""
        found = self._keys.get(number)
        if found is None:
            held = held_up_by(self.engine, self.wording, self.case, (number,))
            self._keys[number] = found = frozenset(_key(one) for one in held)
        return found


def _key(held: Held) -> tuple[str, int | None]:
    return (held.read.name, held.adapter)


def _cost(facts: tuple[Held, ...], taken: dict[tuple[str, int | None], Held]) -> tuple[int, int]:
    new = [one for one in facts if _key(one) not in taken]
    return (len(new), sum(one.effort for one in new))
