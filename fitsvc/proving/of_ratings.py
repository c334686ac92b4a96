"""Claims about ratings, by what `hazards.yaml` says bears on them.

That none is exceeded and it works, and that something refuses each kind for it.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import partial

from fitsvc.engine.support import Support
from fitsvc.facts import Case, seen_at
from fitsvc.language.truth import YES
from fitsvc.language.typed import ALWAYS
from fitsvc.proving.asking import Holds
from fitsvc.proving.claims import MOST_ADAPTERS, Asked, Claim, Prover, Shown
from fitsvc.proving.encoder import Scope
from fitsvc.proving.terms import SolverTerm, every, negation, some
from fitsvc.proving.world import World
from fitsvc.rulebook.kinds import Kind, KnownKind, kinds_of
from fitsvc.rulebook.rules import Hazard, Rule


@dataclass(slots=True)
class OfRatings:
    """The claims about each line of the hazards."""

    prover: Prover
    _readers: dict[str, list[Rule]] = field(default_factory=dict)

    def hazards(self) -> Iterator[Claim]:
        """That whatever exceeds a rating is no plain yes."""
        for line in self.prover.rulebook.hazards:
            if line.exceeded is not None and not line.accepted:
                yield Claim(
                    what="hazards",
                    about=line.rating,
                    says=f"nothing works with {line.text}",
                    fault="refuted",
                    asked=partial(self._works, line),
                )

    def refusals(self) -> Iterator[Claim]:
        """That something refuses each kind for each rating that it may exceed."""
        hazards = self.prover.rulebook.hazards
        lines = [line for line in hazards if line.exceeded is not None and not (line.accepted or line.cautioned)]
        derived = {name: one.node for name, one in self.prover.rulebook.derived.items()}
        for kind in kinds_of(self.prover.rulebook.vocabulary).values():
            held = [line for line in lines if KnownKind(derived, kind).may(line.guard)]
            for rating in dict.fromkeys(line.rating for line in held):
                of_rating = [line for line in held if line.rating == rating]
                yield Claim(
                    what="ratings",
                    about=rating,
                    says=f"no {kind.word} is refused for its {rating}",
                    fault="proven",
                    asked=partial(self._refused, kind, of_rating),
                    known=partial(self._refused_in_examples, kind, of_rating),
                    past=partial(self._past_all, kind, of_rating),
                )

    def _leaves(self, line: Hazard) -> set[str]:
        derived = {name: one.node for name, one in self.prover.rulebook.derived.items()}
        return {leaf.name for leaf in Support([line.exceeded or ALWAYS, line.guard or ALWAYS], derived).leaves}

    def _scopes(self, line: Hazard, adapters: int) -> Iterator[tuple[World, Scope]]:
        """Where a line is read: behind all adapters, or beside each in turn where it reads an adapter's facts."""
        world = self.prover.world(adapters)
        if any(name.startswith("adapter.") for name in self._leaves(line)):
            yield from ((world, world.beside_adapter(place)) for place in range(adapters))
        else:
            yield world, world.scope

    def _works(self, line: Hazard) -> Asked:
        engine = self.prover.engine

        def holds(case: Case) -> bool:
            return self.exceeded(line, case) and engine.evaluate(case).outcome == "works"

        for adapters in self.prover.adapters:
            for world, scope in self._scopes(line, adapters):
                yield world, [_exceeded(line, scope), world.works], holds

    def exceeded(self, line: Hazard, case: Case) -> bool:
        """Whether a line is surely about a case, or one of its adapters, and its rating surely exceeded."""
        opened = self.prover.engine.opened(case)
        cases = [opened]
        if any(name.startswith("adapter.") for name in self._leaves(line)):
            cases = [
                replace(opened, facts={**opened.facts, **adapter}, present=seen_at(place, opened.present))
                for place, adapter in enumerate(case.adapters, 1)
            ]
        values = self.prover.engine.values(("hazard", line), lambda: [line.guard or ALWAYS, line.exceeded or ALWAYS])
        return any(all(value == YES for value in values.of(one)) for one in cases)

    def _refused(self, kind: Kind, lines: list[Hazard]) -> Asked:
        """That a rule which reads the rating refuses this kind where the rating is exceeded."""
        rules, holds = self._readers_of(lines[0].rating), self._is_refused(kind, lines)
        for adapters in self.prover.adapters:
            world = self.prover.world(adapters)
            exceeded = [_exceeded(line, scope) for line in lines for _, scope in self._scopes(line, adapters)]
            fails = some(world.judged(rule).fails for rule in rules)
            yield world, [self._is(kind, world), some(exceeded), fails], holds

    def _is_refused(self, kind: Kind, lines: list[Hazard]) -> Holds:
        numbers = {self.prover.rulebook.rules.index(rule) for rule in self._readers_of(lines[0].rating)}

        def holds(case: Case) -> bool:
            fails = set(self.prover.engine.rule_by_rule(case).fails)
            is_kind = case.facts.get(kind.fact.name) == kind.mask
            return is_kind and bool(fails & numbers) and any(self.exceeded(line, case) for line in lines)

        return holds

    def _past_all(self, kind: Kind, lines: list[Hazard]) -> Asked:
        """That it is exceeded and no blocking rule at all fails, such as one that refuses whatever could exceed it."""
        blocking = {number for number, rule in enumerate(self.prover.rulebook.rules) if rule.blocks}

        def holds(case: Case) -> bool:
            is_kind = case.facts.get(kind.fact.name) == kind.mask
            exceeded = is_kind and any(self.exceeded(line, case) for line in lines)
            return exceeded and not blocking & {*self.prover.engine.rule_by_rule(case).fails}

        for adapters in self.prover.adapters:
            world = self.prover.world(adapters)
            exceeded = [_exceeded(line, scope) for line in lines for _, scope in self._scopes(line, adapters)]
            fails = some(world.judged(rule).fails for rule in world.rulebook.rules if rule.blocks)
            yield world, [self._is(kind, world), some(exceeded), negation(fails)], holds

    def _refused_in_examples(self, kind: Kind, lines: list[Hazard]) -> Shown:
        holds, examples = self._is_refused(kind, lines), self.prover.examples
        for rule in self._readers_of(lines[0].rating):
            yield from ((case, holds) for case in examples.with_kind(kind, examples.of(rule)))

    @staticmethod
    def _is(kind: Kind, world: World) -> SolverTerm:
        told = world.facts.fact(kind.fact.name, None)
        return told.members[kind.place]

    def _readers_of(self, rating: str) -> list[Rule]:
        """The blocking rules that read a rating."""
        found = self._readers.get(rating)
        if found is None:
            rules = self.prover.rulebook.rules
            self._readers[rating] = found = [rule for rule in rules if rule.blocks and self._reads(rule, rating)]
        return found

    def _reads(self, rule: Rule, rating: str) -> bool:
        """Whether a rule reads a rating, straight or through the working opening."""
        engine, number = self.prover.engine, self.prover.rulebook.rules.index(rule)
        names = {leaf.name for adapted in (False, True) for leaf in engine.support(number, adapted).leaves}
        behind = engine.behind_opening([name for name in names if name.startswith("opening.")], MOST_ADAPTERS)
        return rating in names | {read.name for read, _ in behind}


def _exceeded(line: Hazard, scope: Scope) -> SolverTerm:
    """That a line is surely about a question, and its rating surely exceeded."""
    return every((scope.truth(line.guard).yes, scope.truth(line.exceeded).yes))
