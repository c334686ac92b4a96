"""Claims about two blocking rules at once: that no rig of a kind gets past both, though where both apply either lets
some through.

A rule lets through what passes it, and what it leaves open where that only cautions. So a rule that applies to nothing
but what the other refuses, or leaves open, is no contradiction: there the other has its say. Nearly every pair lets
something through that is a case of either put together, and one such case does so for hundreds of pairs; for the rest
the solver is asked, one by one. What is left is claimed pair by pair, but for those that are meant so, which
`hazards.yaml` names under `apart`.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import partial
from itertools import combinations, product
from time import process_time
from typing import Final

from fitsvc.facts import Case
from fitsvc.language.truth import YES
from fitsvc.language.typed import ALWAYS, AnyTyped
from fitsvc.proving.asking import BUDGET, ask
from fitsvc.proving.claims import Asked, Claim, Prover
from fitsvc.proving.terms import SolverTerm, every, negation
from fitsvc.proving.world import World
from fitsvc.rulebook.kinds import Kind, KnownKind, kinds_of
from fitsvc.rulebook.outcomes import OUTCOME_OF
from fitsvc.rulebook.rules import Rule

Pair = tuple[str, str]
_MIXED: Final = 3
"""So many examples of either rule are put together: more of them tell the same facts."""


@dataclass(slots=True)
class OfPairs:
    """The claims about pairs of blocking rules, kind by kind, without adapters."""

    prover: Prover
    _meant: frozenset[frozenset[str]] = field(init=False)

    def __post_init__(self) -> None:
        self._meant = frozenset(frozenset((one.rule, one.other)) for one in self.prover.rulebook.apart)

    def kinds(self) -> list[Kind]:
        """The kinds whose pairs are looked into."""
        return [*kinds_of(self.prover.rulebook.vocabulary).values()]

    def claims(self, kind: Kind) -> Iterator[Claim]:
        """A claim of each pair that no case was found for; a rule that lets no rig of the kind through is in none."""
        rules = self._blocking(kind)
        of_kind = _PairsOfKind(self.prover, kind, rules)
        for a, b in sorted(of_kind.left()):
            if frozenset((a, b)) not in self._meant:
                says = f"no {kind.word} gets past both `{a}` and `{b}`"
                asked = partial(of_kind.both, a, b)
                yield Claim(what="pairs", about=a, says=says, fault="proven", asked=asked)

    def _blocking(self, kind: Kind) -> dict[str, Rule]:
        """The blocking rules that may apply to a kind."""
        known = KnownKind({name: one.node for name, one in self.prover.rulebook.derived.items()}, kind)
        return {rule.id: rule for rule in self.prover.rulebook.rules if rule.blocks and known.may(rule.guard)}


@dataclass(slots=True)
class _PairsOfKind:
    """The blocking rules that may apply to one kind."""

    prover: Prover
    kind: Kind
    rules: dict[str, Rule]

    def left(self) -> set[Pair]:
        """The pairs of which either lets something through where both apply, and that no case was found to get past."""
        own = {id: self._let_through(id) for id in self.rules}
        able = [id for id, cases in own.items() if cases is not None]
        left = self._left_by_cases({*combinations(able, 2)}, {id: own[id] or [] for id in able})
        return self._left_by_solver(left)

    # by what a case of either rule comes to with one of the other

    def _let_through(self, id: str) -> list[Case] | None:
        """Some cases of the kind that a rule surely applies to and lets through, examples if there are such.

        None where it lets none through; no case where that is not decided.
        """
        examples = self.prover.examples
        told = (case for case in examples.of(self.rules[id]) if not case.adapters)
        found = [case for case in examples.with_kind(self.kind, told) if id in self._through(case)]
        if found:
            return found[:_MIXED]
        world = self.prover.world(0)
        case = ask(
            world, [self._is_kind(world), self._past(world, self.rules[id])], lambda _: True, until=self._until()
        )
        if isinstance(case, Case):
            return [case] if id in self._through(case) else []
        return None if case is None else []

    def _left_by_cases(self, left: set[Pair], own: dict[str, list[Case]]) -> set[Pair]:
        examples = self.prover.examples
        for a, b in sorted(left):
            if (a, b) in left:
                for one, other in product(own[a], own[b]):
                    mixed = [examples.mixed(one, other), examples.mixed(other, one)]
                    case = next((case for case in mixed if {a, b} <= self._through(case)), None)
                    if case is not None:
                        left = _without(left, self._through(self._richer(case, own)))
                        break
        return left

    def _richer(self, case: Case, own: dict[str, list[Case]]) -> Case:
        """The case with examples of more rules put to it, as long as it gets past more of them."""
        found = self._through(case)
        for id, cases in own.items():
            if id not in found and cases:
                more = self.prover.examples.mixed(case, cases[0])
                if found < (past := self._through(more)):
                    case, found = more, past
        return case

    def _through(self, case: Case) -> frozenset[str]:
        """The rules that surely apply to a case and let it through, by the engine."""
        engine, book = self.prover.engine, self.prover.rulebook
        verdict = engine.rule_by_rule(case)
        past = [book.rules[number].id for number in (*verdict.passes, *verdict.doubts)]
        guards = engine.values(("guards", self.kind.member), self._guards).of(case)
        applies = {id for id, guard in zip(self.rules, guards, strict=True) if guard == YES}
        return frozenset(applies.intersection(past))

    def _guards(self) -> list[AnyTyped]:
        return [rule.guard or ALWAYS for rule in self.rules.values()]

    # by the solver

    def _left_by_solver(self, left: set[Pair]) -> set[Pair]:
        world, found = self.prover.world(0), set[Pair]()
        while left:
            pair = min(left)
            asked = [self._is_kind(world), *(self._past(world, self.rules[id]) for id in pair)]
            case = ask(world, asked, lambda _: True, until=self._until())
            through = self._through(case) if isinstance(case, Case) else frozenset[str]()
            left = _without(left - {pair}, through)
            if not through.issuperset(pair) and self._either_lets_through(pair):
                found.add(pair)
        return found

    def _either_lets_through(self, pair: Pair) -> bool:
        """Whether each of two rules lets some case through that both surely apply to, or it is not decided."""
        world, until = self.prover.world(0), self._until()
        both = [self._is_kind(world), *(world.judged(self.rules[id]).applies for id in pair)]
        asked = ([*both, self._past(world, self.rules[id])] for id in pair)
        return all(ask(world, terms, lambda _: True, until=until) is not None for terms in asked)

    def both(self, a: str, b: str) -> Asked:
        """That a rig of the kind gets past both."""

        def holds(case: Case) -> bool:
            is_kind = case.facts.get(self.kind.fact.name) == self.kind.mask
            return is_kind and {a, b} <= self._through(case)

        world = self.prover.world(0)
        yield world, [self._is_kind(world), *(self._past(world, self.rules[id]) for id in (a, b))], holds

    def _is_kind(self, world: World) -> SolverTerm:
        return world.facts.fact(self.kind.fact.name, None).members[self.kind.place]

    @staticmethod
    def _past(world: World, rule: Rule) -> SolverTerm:
        """That a rule surely applies and lets it through."""
        judged = world.judged(rule)
        open_passes = OUTCOME_OF[rule.effects["undetermined"]] == "conditional"
        return every((judged.applies, negation(judged.fails) if open_passes else judged.passes))

    def _until(self) -> float:
        return process_time() + BUDGET


def _without(left: set[Pair], through: frozenset[str]) -> set[Pair]:
    """The pairs but for those of which both let a case through."""
    return {pair for pair in left if not through.issuperset(pair)}
