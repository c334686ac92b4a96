"""Claims about two blocking rules at once: that no rig of a kind gets past both, though where both apply either lets
some through.

A rule lets through what passes it, and what it leaves open where that only cautions. So a rule that applies to nothing
but what the other refuses, or leaves open, is no contradiction: there the other has its say. Nearly every pair lets
something through that is a case of either put together; one such case does so for hundreds of pairs, and with another
kind in it mostly for those of that kind. For the rest the solver is asked, once for all kinds that the two rules
cannot tell apart. What is left is claimed pair by pair, but for those that are meant so, which `hazards.yaml` names
under `apart`.
"""

from collections.abc import Hashable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, partial
from itertools import product
from time import perf_counter, process_time
from typing import Final

from fitsvc.facts import Case
from fitsvc.language.truth import YES
from fitsvc.language.typed import ALWAYS, AnyTyped
from fitsvc.proving.alike import KindsAlike
from fitsvc.proving.asking import BUDGET, Found, ask
from fitsvc.proving.claims import Asked, Claim, Prover, nothing_asked
from fitsvc.proving.terms import SolverTerm, every, negation
from fitsvc.proving.world import World
from fitsvc.rulebook.kinds import Kind, KnownKind, kinds_of
from fitsvc.rulebook.outcomes import OUTCOME_OF
from fitsvc.rulebook.rules import Rule

Pair = tuple[str, str]
_MIXED: Final = 3
"""So many examples of either rule are put together: more of them tell the same facts."""


@dataclass(eq=False)
class OfPairs:
    """The claims about pairs of blocking rules, kind by kind, without adapters."""

    prover: Prover
    cases: list[Case] = field(default_factory=list)
    """Cases that got past many rules of some kind: those of the next are tried with them first."""
    own: dict[Hashable, list[Case] | None] = field(default_factory=dict)
    """By rule and what it tells of a kind: cases that it lets through."""
    shut: dict[Hashable, bool] = field(default_factory=dict)
    """By pair and what the two tell of a kind: whether the solver knows no case past both, and of each past it."""

    @cached_property
    def alike(self) -> KindsAlike:
        """What rules can tell of kinds."""
        return KindsAlike(self.prover.rulebook)

    @cached_property
    def _meant(self) -> frozenset[frozenset[str]]:
        return frozenset(frozenset((one.rule, one.other)) for one in self.prover.rulebook.apart)

    def claims(self) -> Iterator[Claim]:
        """The claims of every kind."""
        for kind in kinds_of(self.prover.rulebook.vocabulary).values():
            yield from self.of_kind(kind)

    def of_kind(self, kind: Kind) -> Iterator[Claim]:
        """A claim of each pair that no case was found for; else that there is none. A rule that lets no rig of the
        kind through is in none of them.
        """
        rules = self._blocking(kind)
        of_kind = _PairsOfKind(self, kind, rules)
        left = sorted(pair for pair in of_kind.left() if frozenset(pair) not in self._meant)
        for a, b in left if not self.is_late else ():
            says = f"no {kind.word} gets past both `{a}` and `{b}`"
            asked = partial(of_kind.both, a, b)
            yield Claim(what="pairs", about=a, says=says, fault="proven", asked=asked)
        if not left or self.is_late:
            says = f"any two of {len(rules)} blocking rules let some {kind.word} past both, or are meant not to"
            yield Claim(what="pairs", about=kind.member, says=says, fault="refuted", asked=nothing_asked)

    def _blocking(self, kind: Kind) -> list[Rule]:
        """The blocking rules that may apply to a kind."""
        known = KnownKind({name: one.node for name, one in self.prover.rulebook.derived.items()}, kind)
        return [rule for rule in self.prover.rulebook.rules if rule.blocks and known.may(rule.guard)]

    @property
    def is_late(self) -> bool:
        """Whether the time for all claims is over: then what is left is told to be so, when it is decided."""
        return perf_counter() > self.prover.until


class _PairsOfKind:
    """The blocking rules that may apply to one kind; of each a bit for every other with which no case got past both."""

    def __init__(self, shared: OfPairs, kind: Kind, rules: Sequence[Rule]) -> None:
        self.shared, self.prover, self.kind, self.rules = shared, shared.prover, kind, rules
        self._places = {rule.id: place for place, rule in enumerate(rules)}
        self._left: list[int] = []

    def left(self) -> Iterator[Pair]:
        """The pairs of which either lets something through where both apply, and that no case got past; all that are
        left where the time is over.
        """
        own = [self._let_through(rule) for rule in self.rules]
        able = sum(1 << place for place, cases in enumerate(own) if cases is not None)
        self._left = [able & ~(1 << place) if able >> place & 1 else 0 for place in range(len(own))]
        known = [cases or [] for cases in own]
        for case in (*self.shared.cases, *(one for cases in known for one in cases)):
            self._drop(self._through(case))
        self._by_mixing(known)
        found = self._by_solver(known)
        for place, row in enumerate(self._left):
            found += [(place, other) for other in _bits(row) if place < other]
        yield from ((self.rules[a].id, self.rules[b].id) for a, b in found)

    # by what a case of either rule comes to with one of the other

    def _let_through(self, rule: Rule) -> list[Case] | None:
        """Some cases of the kind that a rule surely applies to and lets through, examples if there are such.

        None where it lets none through; no case where that is not decided.
        """
        examples, bit = self.prover.examples, 1 << self._places[rule.id]
        told = (case for case in examples.of(rule) if not case.adapters)
        found = [case for case in examples.with_kind(self.kind, told) if self._through(case) & bit]
        if found or self.shared.is_late:
            return found[:_MIXED]
        key = rule.id, self.shared.alike.sign(self.kind, [rule])
        if key not in self.shared.own:
            case = self._asked([self._past(rule)])
            self.shared.own[key] = [case] if isinstance(case, Case) else None if case is None else []
        cases = self.shared.own[key]
        return None if cases is None else [one for one in map(self._of_kind, cases) if self._through(one) & bit]

    def _by_mixing(self, own: Sequence[list[Case]]) -> None:
        examples = self.prover.examples
        for a, cases in enumerate(own):
            for b in _bits(self._left[a]):
                if self.shared.is_late:
                    return
                if not self._left[a] >> b & 1:
                    continue
                for one, other in product(cases, own[b]):
                    mixed = (examples.mixed(one, other), examples.mixed(other, one))
                    case = next((case for case in mixed if _has(self._through(case), a, b)), None)
                    if case is not None:
                        self._take(case, own)
                        break

    def _take(self, case: Case, own: Sequence[list[Case]]) -> None:
        """Take a case that got past rules, with examples of more rules put to it as long as it gets past more."""
        found = self._through(case)
        wanted = 0
        for place in _bits(found):
            wanted |= self._left[place]
        for place in _bits(wanted & ~found):
            for other in own[place][:1]:
                more = self.prover.examples.mixed(case, other)
                past = self._through(more)
                if past & found == found and past != found:
                    case, found = more, past
        self._drop(found)
        self.shared.cases.append(case)

    def _drop(self, through: int) -> None:
        """Leave out the pairs of which both let a case through."""
        for place in _bits(through):
            self._left[place] &= ~through

    def _of_kind(self, case: Case) -> Case:
        return self.prover.examples.about(replace(case, facts={**case.facts, self.kind.fact.name: self.kind.mask}))

    def _through(self, case: Case) -> int:
        """The rules that surely apply to a case of the kind and let it through, by the engine."""
        case = self._of_kind(case)
        engine, book = self.prover.engine, self.prover.rulebook
        verdict = engine.rule_by_rule(case)
        guards = engine.values(("guards", self.kind.member), self._guards).of(case)
        found = 0
        for number in (*verdict.passes, *verdict.doubts):
            place = self._places.get(book.rules[number].id)
            if place is not None and guards[place] == YES:
                found |= 1 << place
        return found

    def _guards(self) -> list[AnyTyped]:
        return [rule.guard or ALWAYS for rule in self.rules]

    # by the solver

    def _by_solver(self, own: Sequence[list[Case]]) -> list[tuple[int, int]]:
        """The pairs that no case is known past, though either lets some through; the others are dropped."""
        found: list[tuple[int, int]] = []
        for a in range(len(self.rules)):
            for b in _bits(self._left[a]):
                if self.shared.is_late:
                    return found
                if self._left[a] >> b & 1:
                    found += [(a, b)] if self._is_shut(a, b, own) else []
                    self._drop(1 << a | 1 << b)
        return found

    def _is_shut(self, a: int, b: int, own: Sequence[list[Case]]) -> bool:
        pair = self.rules[a], self.rules[b]
        key = pair[0].id, pair[1].id, self.shared.alike.sign(self.kind, pair)
        if key not in self.shared.shut:
            case = self._asked(list(map(self._past, pair)))
            if isinstance(case, Case):
                self._take(case, own)
            is_past = isinstance(case, Case) and _has(self._through(case), a, b)
            self.shared.shut[key] = not is_past and self._either_lets_through(pair)
        return self.shared.shut[key]

    def _either_lets_through(self, pair: tuple[Rule, Rule]) -> bool:
        """Whether each of two rules lets some case through that both surely apply to, or it is not decided."""
        both = [self.prover.world(0).judged(rule).applies for rule in pair]
        return all(self._asked([*both, self._past(rule)]) is not None for rule in pair)

    def _asked(self, terms: Sequence[SolverTerm]) -> Found:
        world = self.prover.world(0)
        return ask(world, [self._is_kind(world), *terms], lambda _: True, until=process_time() + BUDGET)

    def both(self, a: str, b: str) -> Asked:
        """That a rig of the kind gets past both."""
        rules = [self.rules[self._places[id]] for id in (a, b)]

        def holds(case: Case) -> bool:
            is_kind = case.facts.get(self.kind.fact.name) == self.kind.mask
            return is_kind and _has(self._through(case), *(self._places[rule.id] for rule in rules))

        world = self.prover.world(0)
        yield world, [self._is_kind(world), *map(self._past, rules)], holds

    def _is_kind(self, world: World) -> SolverTerm:
        return world.facts.fact(self.kind.fact.name, None).members[self.kind.place]

    def _past(self, rule: Rule) -> SolverTerm:
        """That a rule surely applies and lets it through."""
        judged = self.prover.world(0).judged(rule)
        open_passes = OUTCOME_OF[rule.effects["undetermined"]] == "conditional"
        return every((judged.applies, negation(judged.fails) if open_passes else judged.passes))


def _bits(mask: int) -> Iterator[int]:
    """The places of the bits that are set."""
    while mask:
        low = mask & -mask
        yield low.bit_length() - 1
        mask ^= low


def _has(through: int, *places: int) -> bool:
    """Whether some bits are all set."""
    return all(through >> place & 1 for place in places)
