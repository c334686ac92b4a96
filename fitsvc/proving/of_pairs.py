"""Claims about two blocking rules at once: that no rig of a kind passes both, though where both apply either is passed.

So a rule that applies to nothing but what the other refuses, or leaves open, is no contradiction: there the other has
its say. One case passes hundreds of pairs, so the solver is asked for cases that pass as many rules as they can, until
each pair has one; what is left is claimed pair by pair.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from itertools import combinations

from fitsvc.facts import Case
from fitsvc.language.truth import YES
from fitsvc.language.typed import ALWAYS
from fitsvc.proving.asking import ask
from fitsvc.proving.cases import read_case
from fitsvc.proving.claims import Asked, Claim, Prover
from fitsvc.proving.solver import GaveUpError, Solver
from fitsvc.proving.terms import SolverTerm, every
from fitsvc.proving.world import World
from fitsvc.rulebook.kinds import Kind, KnownKind, kinds_of
from fitsvc.rulebook.rules import Rule

Pair = tuple[str, str]


@dataclass(slots=True)
class OfPairs:
    """The claims about pairs of blocking rules, kind by kind, without adapters."""

    prover: Prover

    def claims(self) -> Iterator[Claim]:
        """A claim of each pair that no case was found for; a rule that no rig of the kind passes is in none."""
        for kind in kinds_of(self.prover.rulebook.vocabulary).values():
            rules = {id: rule for id, rule in self._blocking(kind).items() if self._may_pass(kind, rule)}
            for a, b in sorted(self._left(kind, rules)):
                says = f"no {kind.word} passes both `{a}` and `{b}`"
                asked = partial(self._both_pass, kind, rules[a], rules[b])
                yield Claim(what="pairs", about=a, says=says, fault="proven", asked=asked)

    def _blocking(self, kind: Kind) -> dict[str, Rule]:
        """The blocking rules that may apply to a kind."""
        known = KnownKind({name: one.node for name, one in self.prover.rulebook.derived.items()}, kind)
        return {rule.id: rule for rule in self.prover.rulebook.rules if rule.blocks and known.may(rule.guard)}

    def _may_pass(self, kind: Kind, rule: Rule) -> bool:
        world = self.prover.world(0)
        return ask(world, [self._is(kind, world), self._passing(world, rule)], lambda _: True) is not None

    def _left(self, kind: Kind, rules: dict[str, Rule]) -> set[Pair]:
        """The pairs of which either is passed where both apply, and that no case was found to pass."""
        world, left, found = self.prover.world(0), {*combinations(rules, 2)}, set[Pair]()
        passing = {id: self._passing(world, rule) for id, rule in rules.items()}
        closed, uses = world.facts.variables.closed([self._is(kind, world), *passing.values()])
        solver = Solver(world.words)
        solver.add([self._is(kind, world), world.facts.asked_about(), *closed[len(passing) + 1 :]])
        while left:
            pair = min(left)
            left.discard(pair)
            others = [passing[id] for id in sorted({id for one in left for id in one})]
            try:
                model = solver.most([passing[id] for id in pair], others)
            except GaveUpError:  # of so many at once: the pair is asked for by itself
                model = None
            ids = self._passed(rules, read_case(world.facts, model, uses)) if model else set()
            left -= {(a, b) for a, b in left if a in ids and b in ids}
            if not set(pair) <= ids and self._either_passes(kind, rules, pair):
                found.add(pair)
        return found

    @staticmethod
    def _passing(world: World, rule: Rule) -> SolverTerm:
        judged = world.judged(rule)
        return every((judged.applies, judged.passes))

    @staticmethod
    def _is(kind: Kind, world: World) -> SolverTerm:
        return world.facts.fact(kind.fact.name, None).members[kind.place]

    def _passed(self, rules: dict[str, Rule], case: Case) -> set[str]:
        """The rules that surely apply to a case and pass it, by the engine."""
        engine, book = self.prover.engine, self.prover.rulebook
        passes = {book.rules[number].id for number in engine.rule_by_rule(case).passes} & rules.keys()
        ids = sorted(rules)
        guards = engine.values(("guards", *ids), lambda: [rules[id].guard or ALWAYS for id in ids]).of(case)
        return passes & {id for id, guard in zip(ids, guards, strict=True) if guard == YES}

    def _either_passes(self, kind: Kind, rules: dict[str, Rule], pair: Pair) -> bool:
        """Whether each of two rules is passed by some case that both surely apply to."""
        world = self.prover.world(0)
        judged = [world.judged(rules[id]) for id in pair]
        both = [self._is(kind, world), *(one.applies for one in judged)]
        return all(ask(world, [*both, one.passes], lambda _: True) is not None for one in judged)

    def _both_pass(self, kind: Kind, a: Rule, b: Rule) -> Asked:
        def holds(case: Case) -> bool:
            is_kind = case.facts.get(kind.fact.name) == kind.mask
            return is_kind and self._passed({a.id: a, b.id: b}, case) == {a.id, b.id}

        world = self.prover.world(0)
        yield world, [self._is(kind, world), self._passing(world, a), self._passing(world, b)], holds
