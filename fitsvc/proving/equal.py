"""Two rulebooks over the same facts: equal in meaning rule by rule, or the smallest rig on which a rule differs.

What both make alike of the facts is one and the same term, and needs no solver.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import TypeVar

from fitsvc.engine.point import Point
from fitsvc.facts import Case
from fitsvc.proving.claims import Asked, Claim, Prover
from fitsvc.proving.terms import FALSE, SolverTerm, every, negation, some
from fitsvc.proving.world import ComesTo, World
from fitsvc.rulebook.outcomes import Effect, Result
from fitsvc.rulebook.rules import Need, Rule, Rulebook

Entry = TypeVar("Entry", Rule, Need)
_RESULTS: tuple[Result, ...] = ("fails", "undetermined", "passes")


@dataclass(eq=False)
class TwoBooks:
    """An old and a new rulebook; cases are asked as the new one reads them."""

    old: Rulebook
    prover: Prover
    _old_worlds: dict[int, World] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._old_engine = Point(self.old)

    def claims(self) -> Iterator[Claim]:
        """That each rule and need of either comes to the same by both."""
        for id, (old, new) in _both(self.old.rules, self.prover.rulebook.rules).items():
            yield self._claim(id, partial(self._rule, old, new))
        for id, (was, now) in _both(self.old.needs, self.prover.rulebook.needs).items():
            yield self._claim(id, partial(self._need, was, now))

    @staticmethod
    def _claim(id: str, asked: "partial[Asked]") -> Claim:
        return Claim(what="equal", about=id, says=f"`{id}` comes to the same by both", fault="refuted", asked=asked)

    def strange(self) -> list[str]:
        """The facts that the two do not have alike, so that rules which read them cannot be compared."""
        slots = [(book.vocabulary.slots(), book.vocabulary) for book in (self.old, self.prover.rulebook)]
        found = []
        for name in {**slots[0][0], **slots[1][0]}:
            kinds = [types.get(name) for types, _ in slots]
            facts = [vocabulary.fact_of(name) for _, vocabulary in slots]
            ranges = [fact and (fact.range, fact.asked) for fact in facts]
            if kinds[0] != kinds[1] or ranges[0] != ranges[1]:
                found.append(name)
        return found

    def gone(self) -> list[str]:
        """The facts of the old one that the new one has not under that name: of cases there is then no common form."""
        return sorted(set(self.old.vocabulary.facts) - set(self.prover.rulebook.vocabulary.facts))

    def told(self, about: str, case: Case) -> tuple[str, str]:
        """What a rule or need, and the whole answer, come to on a case, by the old and by the new."""
        old = _told(self._old_engine, self.old, about, case)
        return old, _told(self.prover.engine, self.prover.rulebook, about, case)

    def _world(self, adapters: int) -> World:
        """The old rulebook over the facts of the new one."""
        found = self._old_worlds.get(adapters)
        if found is None:
            new = self.prover.world(adapters)
            self._old_worlds[adapters] = found = World(self.old, adapters, shared=new)
        return found

    def _rule(self, old: Rule | None, new: Rule | None) -> Asked:
        engines = (self._old_engine, self.prover.engine)

        def holds(case: Case) -> bool:
            before, after = (_effect(engine, rule, case) for engine, rule in zip(engines, (old, new), strict=True))
            return before != after

        for adapters in self.prover.adapters:
            was = _by_effect(old, self._world(adapters)) if old else {}
            now = _by_effect(new, self.prover.world(adapters)) if new else {}
            differ = some(_differ(was.get(effect, FALSE), now.get(effect, FALSE)) for effect in {**was, **now})
            yield self.prover.world(adapters), [differ], holds

    def _need(self, old: Need | None, new: Need | None) -> Asked:
        def holds(case: Case) -> bool:
            return _is_open(self._old_engine, old, case) != _is_open(self.prover.engine, new, case)

        for adapters in self.prover.adapters:
            was = self._world(adapters).open_need(old) if old else FALSE
            now = self.prover.world(adapters).open_need(new) if new else FALSE
            yield self.prover.world(adapters), [_differ(was, now)], holds


def _both(old: Sequence[Entry], new: Sequence[Entry]) -> Mapping[str, tuple[Entry | None, Entry | None]]:
    """Entries of both by their ids, each as the old one and the new one have it."""
    before, after = {one.id: one for one in old}, {one.id: one for one in new}
    return {id: (before.get(id), after.get(id)) for id in {**before, **after}}


def _by_effect(rule: Rule, world: World) -> dict[Effect, SolverTerm]:
    """When a rule brings each of its effects."""
    judged: ComesTo = world.judged(rule)
    terms = dict(zip(_RESULTS, (judged.fails, judged.open, judged.passes), strict=True))
    return {rule.effects[result]: term for result, term in terms.items()}


def _differ(a: SolverTerm, b: SolverTerm) -> SolverTerm:
    """That one of two truths holds, and the other does not."""
    return FALSE if a is b else some((every((a, negation(b))), every((b, negation(a)))))


def _effect(engine: Point, rule: Rule | None, case: Case) -> str:
    if rule is None:
        return ""
    result = engine.judge(engine.rulebook.rules.index(rule), engine.opened(case))
    return rule.effects[result] if result in _RESULTS else ""


def _is_open(engine: Point, need: Need | None, case: Case) -> bool:
    return need is not None and engine.rulebook.needs.index(need) in engine.rule_by_rule(case).open_needs


def _told(engine: Point, rulebook: Rulebook, about: str, case: Case) -> str:
    verdict = engine.evaluate(case)
    results = verdict.results(len(rulebook.rules))
    found = [result for rule, result in zip(rulebook.rules, results, strict=True) if rule.id == about]
    found += [
        "open" if n in verdict.open_needs else "not open" for n, one in enumerate(rulebook.needs) if one.id == about
    ]
    return f"{found[0] if found else 'not there'}, the answer {verdict.outcome}"
