"""Claims about single rules: that one never applies, that nothing fails it, that another says as much."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial

from fitsvc.facts import Case
from fitsvc.language.truth import YES
from fitsvc.language.typed import ALWAYS
from fitsvc.proving.asking import Holds
from fitsvc.proving.claims import Asked, Claim, Prover, Shown, What
from fitsvc.proving.terms import SolverTerm, negation
from fitsvc.proving.world import World
from fitsvc.rulebook.rules import Rule


@dataclass(slots=True)
class OfRules:
    """The claims about each rule."""

    prover: Prover

    def claims(self, rule: Rule) -> Iterator[Claim]:
        """All that is claimed of one rule."""
        id = f"`{rule.id}`"
        applies, passes, fails = (partial(self._comes_to, rule, how) for how in ("applies", "passes", "fails"))
        alone = f"here {id} alone decides"
        lines: list[tuple[What, str, str, Callable[[], Asked], Holds]] = [
            ("dead", f"{id} never surely applies", f"{id} applies to this", applies, self._surely_applies(rule)),
            (
                "dead",
                f"nothing that {id} applies to passes it",
                f"this passes {id}",
                passes,
                self._result(rule, "passes"),
            ),
            ("idle", f"nothing fails {id}", f"this fails {id}", fails, self._result(rule, "fails")),
            (
                "implied",
                f"where {id} fails or is open, another rule decides as much",
                alone,
                partial(self._alone, rule),
                self._fails_alone(rule),
            ),
        ]
        for what, says, shows, asked, holds in lines:
            known = partial(self._known, rule, holds) if what != "implied" else partial(self._known_alone, rule)
            yield Claim(what=what, about=rule.id, says=says, shows=shows, fault="proven", asked=asked, known=known)

    def _known(self, rule: Rule, holds: Holds) -> Shown:
        yield from ((case, holds) for case in self.prover.examples.of(rule))

    def _known_alone(self, rule: Rule) -> Shown:
        told = self.prover.examples.of(rule)
        for case in told:
            yield case, self._fails_alone(rule)
            yield self._eased(self._number(rule), case), self._fails_alone(rule)
        yield from ((case, self._open_alone(rule)) for case in told)

    def _eased(self, number: int, case: Case) -> Case:
        """A case that fails a rule with examples put to it that pass the others it fails, one after another."""
        examples, rules = self.prover.examples, self.prover.rulebook.rules
        while others := [*self._fails(case) - {number}]:
            told = examples.of(rules[others[0]])
            mixed = (one for other in told for one in (examples.mixed(case, other), examples.mixed(other, case)))
            fewer = (one for one in mixed if number in (now := self._fails(one)) and len(now) <= len(others))
            better = next(fewer, None)
            if better is None:
                break
            case = better
        return case

    def _fails(self, case: Case) -> set[int]:
        verdict = self.prover.engine.rule_by_rule(case)
        return {*verdict.fails, *verdict.cautions}

    def worlds(self, rule: Rule) -> range:
        """How many adapters matter to a rule: none, unless it reads the working opening."""
        support = self.prover.engine.support(self._number(rule), adapted=True)
        names = [*(leaf.name for leaf in support.leaves), *support.presences]
        reads = any(name.startswith(("opening.", "adapter.")) for name in names)
        return self.prover.adapters if reads else range(1)

    def _number(self, rule: Rule) -> int:
        return self.prover.rulebook.rules.index(rule)

    def _comes_to(self, rule: Rule, way: str) -> Asked:
        holds = self._surely_applies(rule) if way == "applies" else self._result(rule, way)
        for adapters in self.worlds(rule):
            judged = self.prover.world(adapters).judged(rule)
            terms = {"applies": [judged.applies], "passes": [judged.applies, judged.passes], "fails": [judged.fails]}
            yield self.prover.world(adapters), terms[way], holds

    def _surely_applies(self, rule: Rule) -> Holds:
        engine = self.prover.engine
        guard = engine.values(("proving", rule.id), lambda: [rule.guard or ALWAYS])

        def holds(case: Case) -> bool:
            return case.present.issuperset(rule.subjects) and guard.of(case)[0] == YES

        return holds

    def _result(self, rule: Rule, result: str) -> Holds:
        engine, number, applies = self.prover.engine, self._number(rule), self._surely_applies(rule)

        def holds(case: Case) -> bool:
            return engine.judge(number, engine.opened(case)) == result and applies(case)

        return holds

    def _alone(self, rule: Rule) -> Asked:
        """That it fails, and no other rule does that as much would come of; or that it is open so."""
        # Others read adapters where this rule does not, and refuse without one what they let pass with it.
        for adapters in self.prover.adapters:
            world = self.prover.world(adapters)
            others = [world.judged(one).fails for one in self._as_grave(rule)]
            yield world, [world.judged(rule).fails, *map(negation, others)], self._fails_alone(rule)
        for adapters in self.prover.adapters:
            world = self.prover.world(adapters)
            yield world, [world.judged(rule).open, *self._lets_open(world, rule)], self._open_alone(rule)

    def _lets_open(self, world: World, rule: Rule) -> Iterator[SolverTerm]:
        """That no other rule brings as much as this one does where it is open."""
        for one in self.prover.rulebook.rules:
            if one.id != rule.id:
                judged = world.judged(one)
                if one.blocks or not rule.leaves_open:
                    yield negation(judged.fails)
                if one.leaves_open or not rule.leaves_open:
                    yield negation(judged.open)

    def _fails_alone(self, rule: Rule) -> Holds:
        number, engine = self._number(rule), self.prover.engine

        def holds(case: Case) -> bool:
            verdict = engine.rule_by_rule(case)
            return [*verdict.fails, *([] if rule.blocks else verdict.cautions)] == [number]

        return holds

    def _open_alone(self, rule: Rule) -> Holds:
        number, engine = self._number(rule), self.prover.engine

        def holds(case: Case) -> bool:
            verdict = engine.rule_by_rule(case)
            open = [*verdict.fails, *verdict.unknown]
            return open + ([] if rule.leaves_open else [*verdict.cautions, *verdict.doubts]) == [number]

        return holds

    def _as_grave(self, rule: Rule) -> list[Rule]:
        return [one for one in self.prover.rulebook.rules if one.id != rule.id and (one.blocks or not rule.blocks)]
