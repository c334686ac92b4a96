"""An example that would notice a mutant: looked for from examples that stand there, by changing what they say.

Facts are tried as they are written, so that what is found can be pasted: members and yes or no in turn, figures as
other examples have them and a step of display beside, and where a figure decides, the very place where it does.
"""

import random
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

from fitsvc.document import Json
from fitsvc.engine.examples import given, owners_of, promised, wire_value
from fitsvc.engine.mutating import Mutant, Mutating, alone, expressions_of
from fitsvc.engine.point import Point
from fitsvc.facts import Case
from fitsvc.language import typed
from fitsvc.language.display import show, step
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.language.types import ListType, NumberType, TruthType, Value
from fitsvc.rulebook.yaml_text import to_plain

_TRIES: Final = 4_000
_OWNERS: Final = 6
_SEEDS: Final = 12
_OTHER_SEEDS: Final = 40
_MOST_OF_A_FACT: Final = 24
_MOST_ADAPTERS: Final = 40
_HALVINGS: Final = 40
_LEFT_OUT: Final = 0.15
_BESIDE: Final = 0.3


@dataclass(frozen=True, slots=True)
class CaseWritten:
    """An example as it is written: facts by name, adapters in their order, and subjects without facts."""

    facts: Mapping[str, Json]
    adapters: tuple[Mapping[str, Json], ...] = ()
    present: tuple[str, ...] = ()

    def said(self, fact: str) -> Json:
        """What it says of a fact; of an adapter's, what it says of the last."""
        subject, _, short = fact.partition(".")
        where = (self.adapters[-1] if self.adapters else {}) if subject == "adapter" else self.facts
        return where.get(short if subject == "adapter" else fact)

    def saying(self, fact: str, value: Json) -> "CaseWritten":
        """It with a fact told otherwise, or not told where the value is None."""
        subject, _, short = fact.partition(".")
        if subject != "adapter":
            return replace(self, facts=_told(self.facts, fact, value))
        last = _told(self.adapters[-1] if self.adapters else {}, short, value)
        return replace(self, adapters=(*self.adapters[:-1], last))


def _told(facts: Mapping[str, Json], name: str, value: Json) -> Mapping[str, Json]:
    others = {key: one for key, one in facts.items() if key != name}
    return others if value is None else {**others, name: value}


class Noticing:
    """Looks for examples; what other examples write of each fact is gathered once."""

    def __init__(self, mutating: Mutating) -> None:
        self.mutating, self.book, self.reader = mutating, mutating.book, mutating.reader
        self.random = random.Random(1)
        self.adapters: list[Mapping[str, Json]] = []
        self.seeds: dict[str, list[CaseWritten]] = {}
        self.pool: dict[str, dict[str, Json]] = {}
        for name in mutating.owners:
            self.seeds[name] = [_written(example.node) for example in self.book.examples.get(name, ())]
            for seed in self.seeds[name]:
                if len(self.adapters) < _MOST_ADAPTERS:
                    self.adapters += [one for one in seed.adapters if one not in self.adapters]
                named = [(f"adapter.{short}", value) for one in seed.adapters for short, value in one.items()]
                for fact, value in [*seed.facts.items(), *named]:
                    self.pool.setdefault(fact, {})[repr(value)] = value

    def example(self, mutant: Mutant) -> tuple[str, str] | None:
        """Whose example would notice a mutant, and the example as it is written; None where none was found."""
        own = (mutant.name,) if mutant.name in self.mutating.owners else ()
        for name in dict.fromkeys((*own, *mutant.owners[:_OWNERS])):
            found = _NoticeSearch(self, mutant, name).found()
            if found is not None:
                return name, found
        return None

    def values(self, fact: str) -> list[Json]:
        """What may be written of a fact."""
        entry = self.book.vocabulary.facts.get(fact)
        if entry is None:
            return []
        if isinstance(entry.type, ListType):
            return list(entry.type.members)
        if isinstance(entry.type, TruthType):
            return ["yes", "no"]
        return list(self.pool.get(fact, {}).values())[:_MOST_OF_A_FACT] or list(entry.range_text or ())

    def beside(self, fact: str, value: Json) -> list[Json]:
        """A figure a step of display more and less."""
        amount = self.amount(fact, value)
        entry = self.book.vocabulary.facts.get(fact)
        if amount is None or entry is None:
            return []
        return [self.figure(fact, amount + way * _step_of(entry)) for way in (1, -1)]

    def amount(self, fact: str, value: Json) -> float | None:
        """What a figure comes to in the inside unit; None of what is no one figure."""
        entry = self.book.vocabulary.facts.get(fact)
        if entry is None or not isinstance(entry.type, NumberType):
            return None
        try:
            (found,) = self.reader.value(entry, value).values()
        except (ProblemsFound, ValueError):
            return None
        return found[0] if isinstance(found, tuple) and found[0] == found[1] else None

    def figure(self, fact: str, amount: float) -> Json:
        """A figure of the inside unit as it is written, in the unit that its fact is shown in."""
        entry = self.book.vocabulary.facts[fact]
        assert isinstance(entry.type, NumberType)
        return wire_value(show(amount, amount, entry.type.dimension, entry.shown_in, "us"))


class _NoticeSearch:
    """The search for one mutant and one owner."""

    def __init__(self, all: Noticing, mutant: Mutant, name: str) -> None:
        self.all, self.name = all, name
        mutating = all.mutating
        self.engines = (Point(alone(mutating.book, name)), mutating.engine_of(mutant, name))
        leaves = {leaf for engine in self.engines for leaf in _leaves(engine, name)}
        self.facts = sorted(leaf for leaf in leaves if "." in leaf)
        self.subjects = sorted({leaf.partition(".")[0] for leaf in leaves} - {"adapter", "opening"})
        self.left = _TRIES

    def found(self) -> str | None:
        """An example on which the two differ, with no more facts than it takes."""
        for one in self._tried():
            if self.left <= 0:
                return None
            if self.differ(one):
                told = self.told(self._fewest(one)) or self.told(one)
                if told:
                    return told
        return None

    def _tried(self) -> Iterator[CaseWritten]:
        seeds = self._seeds()
        for seed in seeds:
            yield seed
            yield from self._moved(seed)
        for seed in seeds:
            yield from self._borders(seed)
        while seeds:
            one = self.all.random.choice(seeds)
            for _ in range(self.all.random.randint(2, 4)):
                one = self._one_moved(one)
            yield one

    def _seeds(self) -> list[CaseWritten]:
        own = self.all.seeds[self.name]
        if len(own) > _SEEDS:
            own = self.all.random.sample(own, _SEEDS)
        wanted = set(self.facts)
        near = [
            (len(wanted & seed.facts.keys()), i, seed)
            for i, seed in enumerate(seed for seeds in self.all.seeds.values() for seed in seeds)
            if wanted & seed.facts.keys()
        ]
        best = [seed for _, _, seed in sorted(near, key=lambda one: (-one[0], one[1]))[:_OTHER_SEEDS]]
        return [*own, CaseWritten({}), *(self._only(seed) for seed in (best if len(own) < _SEEDS // 2 else best[:8]))]

    def _only(self, seed: CaseWritten) -> CaseWritten:
        return replace(seed, facts={name: value for name, value in seed.facts.items() if name in self.facts})

    def _moved(self, seed: CaseWritten) -> Iterator[CaseWritten]:
        """Each fact left out, or told otherwise."""
        for fact in self.facts:
            said = seed.said(fact)
            if said is not None:
                yield seed.saying(fact, None)
            for value in [*self.all.beside(fact, said), *self.all.values(fact)]:
                if said != value:
                    yield seed.saying(fact, value)
        for subject in self.subjects:
            others = tuple(name for name in seed.present if name != subject)
            yield replace(seed, present=others if subject in seed.present else (*others, subject))
        for i in range(len(seed.adapters)):
            yield replace(seed, adapters=seed.adapters[:i])
        if any(fact.startswith("adapter.") for fact in self.facts):
            for other in self.all.adapters:
                yield replace(seed, adapters=(*seed.adapters, other)[-2:])
                yield replace(seed, adapters=(other, *seed.adapters)[:2])

    def _one_moved(self, seed: CaseWritten) -> CaseWritten:
        random, fact = self.all.random, self.all.random.choice(self.facts or [""])
        if self.subjects and random.random() < _LEFT_OUT:
            return replace(seed, present=(random.choice(self.subjects),))
        values = self.all.values(fact)
        if not values or random.random() < _LEFT_OUT:
            return seed.saying(fact, None)
        value = random.choice(values)
        beside = self.all.beside(fact, value)
        return seed.saying(fact, random.choice(beside) if beside and random.random() < _BESIDE else value)

    def _borders(self, seed: CaseWritten) -> Iterator[CaseWritten]:
        """Figures about the place where one of them decides, found by halving its range."""
        for fact in self.facts:
            entry = self.all.book.vocabulary.facts.get(fact)
            if entry is None or entry.range is None or fact.startswith("adapter."):
                continue
            low, high, by = *entry.range, _step_of(entry)
            ends = [self._gives(seed, fact, amount) for amount in (low, high)]
            if ends[0] == ends[1]:
                continue
            for _ in range(_HALVINGS):
                if high - low <= by:
                    break
                middle = round((low + high) / 2 / by) * by
                if middle in (low, high):
                    break
                low, high = (middle, high) if self._gives(seed, fact, middle) == ends[0] else (low, middle)
            for amount in (low, high, low - by, high + by):
                yield replace(seed, facts={**seed.facts, fact: self.all.figure(fact, amount)})

    def _gives(self, seed: CaseWritten, fact: str, amount: float) -> list[str] | None:
        case = self.case(replace(seed, facts={**seed.facts, fact: self.all.figure(fact, amount)}))
        self.left -= 1
        return None if case is None else self.of(self.engines[0], case)

    def case(self, one: CaseWritten) -> Case | None:
        """The case of an example; None where it is none."""
        reader, values, problems = self.all.reader, dict[str, Value](), list[Problem]()
        present = set(one.present)
        for name, value in one.facts.items():
            subject, _, short = name.partition(".")
            present.add(subject)
            reader.read(subject, {short: wire_value(value)}, "", problems, values, {})
        adapters = []
        for adapter in one.adapters:
            told: dict[str, Value] = {}
            for short, value in adapter.items():
                reader.read("adapter", {short: wire_value(value)}, "", problems, told, {})
            adapters.append(told)
        return None if problems else Case(values, reader.named(values, adapters) | present, tuple(adapters))

    def of(self, engine: Point, case: Case) -> list[str]:
        """What an engine gives of the case, with what else an example may promise, as an example writes it."""
        owner = owners_of(engine.rulebook)[self.name]
        gives = given(engine, owner, case)
        return [*([f"gives: {gives}"] if gives else []), *promised(engine, owner, case)]

    def differ(self, one: CaseWritten) -> bool:
        """Whether the mutant gives something else."""
        self.left -= 1
        case = self.case(one)
        return case is not None and self.of(self.engines[0], case) != self.of(self.engines[1], case)

    def _fewest(self, one: CaseWritten) -> CaseWritten:
        """The example without whatever it does not take."""
        for fact in list(one.facts):
            less = replace(one, facts={name: value for name, value in one.facts.items() if name != fact})
            one = less if self.differ(less) else one
        for i in reversed(range(len(one.adapters))):
            less = replace(one, adapters=(*one.adapters[:i], *one.adapters[i + 1 :]))
            one = less if self.differ(less) else one
        for subject in one.present:
            less = replace(one, present=tuple(name for name in one.present if name != subject))
            one = less if self.differ(less) else one
        return one

    def told(self, one: CaseWritten) -> str:
        """The example as a line of YAML; empty where none can say it."""
        case = self.case(one)
        assert case is not None
        mine, other = (self.of(engine, case) for engine in self.engines)
        told = [promise for promise in mine if promise not in other or promise.startswith("gives")]
        if all(promise in other for promise in told):
            return ""  # what differs cannot be written
        parts = [f"{name}: {_plain(value)}" for name, value in one.facts.items()]
        if one.adapters:
            parts.append(f"adapters: [{', '.join(_plain(adapter) for adapter in one.adapters)}]")
        if one.present:
            parts.append(f"present: [{', '.join(one.present)}]")
        return "{" + ", ".join([*parts, *told]) + "}"


def _step_of(entry: Any) -> float:
    return step(entry.shown_in, "us") if entry.shown_in else 1.0


def _written(node: Any) -> CaseWritten:
    plain: Json = to_plain(node)
    facts = {name: value for name, value in plain.items() if "." in name}
    return CaseWritten(facts, tuple(plain.get("adapters", ())), tuple(plain.get("present", ())))


def _plain(value: Json) -> str:
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{name}: {_plain(one)}" for name, one in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(_plain, value)) + "]"
    return "null" if value is None else str(value)


def _leaves(engine: Point, name: str) -> Iterator[str]:
    """The facts that an owner rests on, and the subjects that it asks for."""
    book = engine.rulebook
    nodes = {name: [one.node] for name, one in book.derived.items()}
    nodes |= {name: [one.bare, one.each] for name, one in book.opening.items()}
    seen = set[str]()
    left = list(expressions_of(book, owners_of(book)[name]))
    while left:
        node = left.pop()
        for read in {**typed.reads(node), **dict.fromkeys(typed.presences(node))}:
            if read not in seen:
                seen.add(read)
                left += nodes.get(read, [])
                if read not in nodes:
                    yield read
