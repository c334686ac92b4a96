"""The facts that hold an answer up: those that an open rule rests on and that are not exactly known."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from fitsvc.answers.wording import Wording, exact
from fitsvc.engine.point import Point
from fitsvc.facts import Case
from fitsvc.language.typed import Read
from fitsvc.language.types import Value
from fitsvc.rulebook.vocabulary import EFFORTS, Fact


@dataclass(frozen=True, slots=True)
class Held:
    """A fact that is not exactly known, with the open rules it holds up; `adapter` is its place in the opening."""

    read: Read
    fact: Fact
    rules: tuple[int, ...]
    adapter: int | None = None

    @property
    def effort(self) -> int:
        """How much work learning the fact is, least first."""
        return EFFORTS.index(self.fact.effort)

    def current(self, case: Case) -> Value:
        """What is known of the fact now."""
        facts = case.facts if self.adapter is None else case.adapters[self.adapter]
        return facts.get(self.read.name, self.read.type.unknown)  # type: ignore[union-attr]


def supplied(case: Case, values: Iterable[tuple[Held, Value]]) -> Case:
    """The case with facts known to have these values."""
    facts = dict(case.facts)
    adapters = [dict(adapter) for adapter in case.adapters]
    for held, value in values:
        (facts if held.adapter is None else adapters[held.adapter])[held.read.name] = value
    return replace(case, facts=facts, adapters=tuple(adapters))


def held_up_by(engine: Point, wording: Wording, case: Case, open_rules: Sequence[int]) -> Iterator[Held]:
    """The facts that open rules rest on and that are not exactly known."""
    rules: dict[tuple[str, int | None], list[int]] = {}
    reads: dict[str, Read] = {}
    for number in open_rules:
        for read, adapter in _rests_on(engine, case, number):
            reads[read.name] = read
            rules.setdefault((read.name, adapter), []).append(number)
    for (name, adapter), numbers in rules.items():
        fact = engine.rulebook.vocabulary.fact_of(name)
        if fact is None:
            continue
        held = Held(reads[name], fact, tuple(numbers), adapter)
        if not exact(held.current(case), wording.shown(held.read)):
            yield held


def _rests_on(engine: Point, case: Case, number: int) -> Iterator[tuple[Read, int | None]]:
    """The facts that matter to an open rule, those behind the working opening too."""
    adapted = bool(case.adapters)
    basis = engine.basis(number, adapted)
    decided = engine.values(("decisions", number, adapted), lambda: basis.decisions).of(case)
    matter = [basis.leaves[i] for i in basis.matter(decided)]
    yield from ((read, None) for read in matter if not read.name.startswith("opening."))
    if any(read.name.startswith("opening.") for read in matter):
        own, each = engine.opening_leaves
        yield from ((read, None) for read in own)
        yield from ((read, i) for i in range(len(case.adapters)) for read in each)
