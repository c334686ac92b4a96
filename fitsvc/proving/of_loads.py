"""Claims about loads and ratings as they change: more weight, or a lower rating, brings no better answer.

A rule that asks two figures to agree may be met by more of one of them; `hazards.yaml` names those rules, by `agree`,
and by `helps` the facts of which more rightly makes an answer better: by some rules, or where something holds.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import partial

from fitsvc.facts import Case
from fitsvc.language.display import show
from fitsvc.language.quantities import MASS
from fitsvc.language.truth import YES
from fitsvc.language.typed import AnyTyped, reads
from fitsvc.language.types import NumberType, Value
from fitsvc.proving.asking import Holds
from fitsvc.proving.claims import Asked, Claim, Prover
from fitsvc.proving.facts import Told
from fitsvc.proving.terms import at_most, every, figure, implies, negation, plus, some
from fitsvc.proving.values import Ends
from fitsvc.proving.world import World
from fitsvc.rulebook.outcomes import OUTCOME_OF, OUTCOMES
from fitsvc.rulebook.rules import Rule
from fitsvc.rulebook.vocabulary import Fact

_RUNGS = 24


@dataclass(slots=True)
class OfLoads:
    """The claims about each mass that a line of the hazards reads: up where it weighs, down where it is a rating.

    What no line says is exceeded has no worse way, nor has a rating that weighs on another, as what a label allows.
    """

    prover: Prover
    ways: dict[str, int] = field(init=False)

    def __post_init__(self) -> None:
        book = self.prover.rulebook
        masses = {
            name for name, kind in book.vocabulary.slots().items() if _is_mass(kind) and not name.endswith("tyre.load")
        }
        held = [(line.rating, reads(line.exceeded)) for line in book.hazards if line.exceeded is not None]
        ratings = {rating for rating, _ in held}
        both = {name for rating, names in held if rating in masses for name in names if name in ratings - {rating}}
        read = {name for _, names in held for name in names}
        self.ways = {name: -1 if name in ratings else 1 for name in sorted((read | ratings) & masses - both)}

    def claims(self) -> Iterator[Claim]:
        """That no answer gets better so."""
        for name, way in self.ways.items():
            says = f"{'more' if way > 0 else 'less'} of `{name}` brings no better answer"
            yield Claim(
                what="worse",
                about=name,
                says=says,
                fault="refuted",
                asked=partial(self._better, name, way),
                tells=partial(self._told, name, way),
            )

    def _better(self, name: str, way: int) -> Asked:
        world = self.prover.world(int(name.startswith("adapter.")))
        told = world.facts.fact(name, 0 if world.adapters else None)
        other = World(self.prover.rulebook, world.adapters, shared=world, instead={name: self._worse(world, told, way)})
        apart = [(world.judged(rule), other.judged(rule), rule.blocks) for rule in self._apart(name)]
        helped = [negation(world.scope.truth(when).yes) for when in self._conditions(name)]
        fails = some(a.fails for a, b, blocks in apart if blocks and a.fails is not b.fails)
        hinders = some(negation(a.quiet) for a, b, _ in apart if a.quiet is not b.quiet)
        holds = self._improves(name, way)
        yield world, [told.known, *helped, fails, *(negation(b.fails) for _, b, blocks in apart if blocks)], holds
        needs = (negation(other.open_need(need)) for need in self.prover.rulebook.needs)
        yield world, [told.known, *helped, hinders, *(b.quiet for _, b, _ in apart), *needs], holds

    def _worse(self, world: World, told: Told, way: int) -> Ends:
        """The same fact with more of it, or less."""
        fact = world.rulebook.vocabulary.facts[told.slot]
        assert fact.range and isinstance(told.value, Ends)
        size = world.facts.variables.number(f"{told.slot} worse")
        low, high = (told.figure, size) if way > 0 else (size, told.figure)
        inside = every((at_most(figure(fact.range[0]), size), at_most(size, figure(fact.range[1]))))
        world.facts.variables.hold(size, implies(told.known, inside, at_most(plus(low, figure(1.0)), high)))
        return Ends(size, size, told.value.low_open, told.value.high_open)

    def _apart(self, name: str) -> list[Rule]:
        """The rules but for those by which two figures have to agree, or more of this one may help."""
        passed_over = self._passed_over(name)
        return [rule for rule in self.prover.rulebook.rules if rule.id not in passed_over]

    def _passed_over(self, name: str) -> frozenset[str]:
        book = self.prover.rulebook
        return book.agree.union(*(relief.rules for relief in book.helps if relief.fact == name))

    def _conditions(self, name: str) -> list[AnyTyped]:
        """Under what more of a fact may help by any rule."""
        return [one.when for one in self.prover.rulebook.helps if one.fact == name and one.when is not None]

    def _improves(self, name: str, way: int) -> Holds:
        return lambda case: self._better_case(name, way, case) is not None

    def _better_case(self, name: str, way: int, case: Case) -> float | None:
        """The figure with which the answer is better, of those on the way to the end of the fact's range."""
        holder = case.adapters[0] if name.startswith("adapter.") and case.adapters else case.facts
        value, fact = holder.get(name), self.prover.rulebook.vocabulary.facts[name]
        if not isinstance(value, tuple) or self._may_help(name, case):
            return None
        before = self._outcome(name, case)
        cases = ((size, _with(case, name, (size, size))) for size in _rungs(value[0], fact, way))
        return next((size for size, other in cases if self._outcome(name, other) < before), None)

    def _may_help(self, name: str, case: Case) -> bool:
        """Whether one of the conditions holds under which more of a fact may help."""
        engine = self.prover.engine
        values = engine.values(("helps", name), lambda: self._conditions(name))
        return YES in values.of(engine.opened(case))

    def _outcome(self, name: str, case: Case) -> int:
        """The worst that comes of a case, but for the rules that are passed over."""
        verdict, rules = self.prover.engine.rule_by_rule(case), self.prover.rulebook.rules
        passed_over = self._passed_over(name)
        worst = 1 if verdict.open_needs else 0
        for effect, outcome in OUTCOME_OF.items():
            if effect != "open_needs" and any(rules[n].id not in passed_over for n in getattr(verdict, effect)):
                worst = max(worst, OUTCOMES.index(outcome))
        return worst

    def _told(self, name: str, way: int, case: Case) -> str:
        better = self._better_case(name, way, case)
        fact = self.prover.rulebook.vocabulary.facts[name]
        return "" if better is None else f"better with {show(better, better, MASS, fact.shown_in, 'us')}"


def _is_mass(kind: object) -> bool:
    return isinstance(kind, NumberType) and kind.dimension == MASS


def _with(case: Case, name: str, value: Value) -> Case:
    if name.startswith("adapter."):
        return replace(case, adapters=({**case.adapters[0], name: value}, *case.adapters[1:]))
    return replace(case, facts={**case.facts, name: value})


def _rungs(value: float, fact: Fact, way: int) -> Iterator[float]:
    """Figures from a value to the end of its range, close together at first."""
    assert fact.range
    room = fact.range[1] - value if way > 0 else value - fact.range[0]
    yield from (value + way * room * (rung / _RUNGS) ** 4 for rung in range(1, _RUNGS + 1))
