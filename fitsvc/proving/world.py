"""A rulebook over all questions with so many adapters: what each rule comes to, as terms."""

from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from functools import cached_property

from fitsvc.language.typed import AnyTyped
from fitsvc.proving.encoder import Scope
from fitsvc.proving.facts import Facts
from fitsvc.proving.functions import Functions, UntranslatedError
from fitsvc.proving.signs import Signs
from fitsvc.proving.solver import GaveUpError, Solver, Translation
from fitsvc.proving.terms import SolverTerm, every, negation, some
from fitsvc.proving.values import Value
from fitsvc.rulebook.rules import Need, Rule, Rulebook


@dataclass(frozen=True, slots=True, eq=False)
class ComesTo:
    """What a rule comes to: `applies` is that it surely does, `open` that it is undetermined."""

    applies: SolverTerm
    passes: SolverTerm
    fails: SolverTerm
    open: SolverTerm

    @property
    def quiet(self) -> SolverTerm:
        """That it neither fails nor is undetermined."""
        return negation(some((self.fails, self.open)))


@dataclass(eq=False)
class World:
    """The questions with so many adapters; terms are made as they are asked for.

    A world may be over the facts of one that is there, so that the two are compared: another rulebook's, or the same
    rulebook's with other values `instead` of some facts'.
    """

    rulebook: Rulebook
    adapters: int = 0
    shared: "World | None" = None
    instead: Mapping[str, Value] = field(default_factory=dict)
    facts: Facts = field(init=False)
    functions: Functions = field(init=False)
    words: Translation = field(init=False)

    def __post_init__(self) -> None:
        of = self.shared
        self.facts = of.facts if of else Facts(rulebook=self.rulebook, adapters=self.adapters)
        self.functions = of.functions if of else Functions(self.facts.variables)
        self.words = of.words if of else Translation()
        self._judged: dict[str, ComesTo] = {}

    @cached_property
    def derived(self) -> Mapping[str, AnyTyped]:
        """The rulebook's derived values."""
        return {name: one.node for name, one in self.rulebook.derived.items()}

    @cached_property
    def _signs(self) -> Signs:
        return Signs(self.derived, self.rulebook.opening)

    def _scope(
        self, derived: Mapping[str, AnyTyped], given: Mapping[str, Value] | None = None, place: int | None = None
    ) -> Scope:
        return Scope(
            facts=self.facts,
            functions=self.functions,
            signs=self._signs,
            derived=derived,
            given={**(given or {}), **self.instead},
            place=place,
        )

    @cached_property
    def levels(self) -> list[Scope]:
        """What each adapter sees; last what the accessory sees."""
        bare = {name: one.bare for name, one in self.rulebook.opening.items()}
        if not self.adapters:
            return [self._scope({**self.derived, **bare})]
        start = self._scope(self.derived)
        given = _translated(start, bare)
        found: list[Scope] = []
        for place in range(self.adapters):
            found.append(self._scope({}, given, place))
            given = _translated(found[-1], {name: one.each for name, one in self.rulebook.opening.items()})
        return [*found, self._scope(self.derived, given)]

    @property
    def scope(self) -> Scope:
        """What the accessory sees."""
        return self.levels[-1]

    def beside_adapter(self, place: int) -> Scope:
        """What the accessory sees, and the facts of one adapter."""
        return self._scope(self.derived, self.scope.given, place)

    def judged(self, rule: Rule) -> ComesTo:
        """What a rule comes to."""
        found = self._judged.get(rule.id)
        if found is None:
            guard, required = self.scope.truth(rule.guard), self.scope.truth(rule.requires)
            asked = every(self.facts.present(name) for name in rule.subjects)
            may = every((asked, negation(guard.no), negation(required.yes)))
            fails = every((asked, guard.yes, required.no))
            self._judged[rule.id] = found = ComesTo(
                every((asked, guard.yes)),
                every((asked, negation(guard.no), required.yes)),
                fails,
                every((may, negation(every((guard.yes, required.no))))),
            )
        return found

    def open_need(self, need: Need) -> SolverTerm:
        """That a need is open."""
        guard, met = self.scope.truth(need.guard), self.scope.truth(need.met)
        asked = every(self.facts.present(name) for name in need.subjects)
        return every((asked, negation(guard.no), negation(met.yes) if need.met is not None else met.yes))

    @cached_property
    def works(self) -> SolverTerm:
        """That the answer is a plain yes."""
        quiet = [self.judged(rule).quiet for rule in self.rulebook.rules]
        return every((*quiet, *(negation(self.open_need(need)) for need in self.rulebook.needs)))

    @cached_property
    def _working(self) -> tuple[Solver, frozenset[SolverTerm]]:
        """A solver that knows all that a plain yes asks for, and what that is."""
        closed, _ = self.facts.variables.closed([self.works, self.facts.asked_about()])
        solver = Solver(self.words)
        solver.add(closed)
        return solver, frozenset(closed)

    def may_work(self, terms: Iterable[SolverTerm], until: float) -> bool:
        """Whether all these may hold with a plain yes: no is sure, and found ten times sooner than by itself.

        `until` are seconds of processor time of this process.
        """
        solver, known = self._working
        solver.until = until
        closed, _ = self.facts.variables.closed(terms)
        try:
            return solver.model(term for term in closed if term not in known) is not None
        except GaveUpError:
            return True


def _translated(scope: Scope, nodes: Mapping[str, AnyTyped]) -> dict[str, Value]:
    """The values of those expressions that can be put into terms."""
    found = {}
    for name, node in nodes.items():
        with suppress(UntranslatedError):
            found[name] = scope.value(node)
    return found
