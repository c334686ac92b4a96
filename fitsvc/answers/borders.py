"""Border cases of rules: where one figure of a question decides, the last that passes and the first that fails.

They are looked for from the rules' own examples. Each figure of one is led towards both ends of its plausible range;
where the result is another there, the place between is found by halving, to the last step in which the figure is shown.
Whatever that does without is left out. What lies beyond each side is judged at once, as bounds: what the engine is sure
of there holds for every figure of it.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from math import ceil, floor
from typing import Final

from fitsvc.answers.question import read_question
from fitsvc.answers.records import NoRecords
from fitsvc.document import Document, Json
from fitsvc.engine.examples import wire_value
from fitsvc.engine.point import Point
from fitsvc.engine.verdict import Verdict
from fitsvc.facts import Case, FactReader
from fitsvc.language.display import show, step
from fitsvc.language.problems import ProblemsFound
from fitsvc.language.typed import TOLD
from fitsvc.language.types import NumberType, Value
from fitsvc.rulebook.outcomes import RESULTS
from fitsvc.rulebook.rules import Example
from fitsvc.rulebook.vocabulary import Fact
from fitsvc.rulebook.yaml_text import to_plain
from fitsvc.subjects import ASKED, OF_RIG
from fitsvc.tongues import ENGLISH, speaking

BLANK: Final = "…"
_REFUSED: Final = ("fails", "open")
_LET_PASS: Final = ("passes", "met", "not_applicable")
"""What the two sides of a border give; those that let pass in the order in which they tell the most."""


@dataclass(frozen=True, slots=True)
class QuestionTold:
    """What a question tells: facts by their whole names, of adapters by their short ones, subjects without facts."""

    facts: Mapping[str, Json]
    adapters: tuple[Mapping[str, Json], ...]
    present: frozenset[str]

    @property
    def count(self) -> int:
        """How many facts it tells."""
        return len(self.facts) + sum(map(len, self.adapters))

    @property
    def document(self) -> Document:
        """The question as it is sent."""
        parts: dict[str, dict[str, Json]] = {subject: {} for subject in sorted(self.present)}
        for name, wire in self.facts.items():
            subject, _, short = name.partition(".")
            parts.setdefault(subject, {})[short] = wire
        told: Document = {subject: {"facts": facts} for subject, facts in parts.items()}
        rig = {subject: told.pop(subject) for subject in OF_RIG if subject in told}
        if self.adapters:
            rig["adapters"] = [{"facts": dict(adapter)} for adapter in self.adapters]
        return {**({"rig": rig} if rig else {}), **told}

    def saying(self, fact: str, place: int | None, wire: Json) -> "QuestionTold":
        """It with a fact, of the adapter at a place or of anything else, told so; left out where that is None."""
        if place is None:
            return replace(self, facts=_told(self.facts, fact, wire))
        adapter = _told(self.adapters[place], fact.partition(".")[2], wire)
        return replace(self, adapters=(*self.adapters[:place], adapter, *self.adapters[place + 1 :]))


def _told(facts: Mapping[str, Json], name: str, wire: Json) -> Mapping[str, Json]:
    others = {key: one for key, one in facts.items() if key != name}
    return others if wire is None else {**others, name: wire}


@dataclass(frozen=True, slots=True)
class BorderSide:
    """One side of a border: its figure, what the rule gives with it, and whether it does so for every figure beyond."""

    figure: Json
    gives: str
    beyond: bool

    @property
    def refuses(self) -> bool:
        """Whether the rule fails here, or the need is open."""
        return self.gives in _REFUSED


@dataclass(frozen=True, slots=True)
class Border:
    """A figure that decides in a question, of which nothing else is told than it takes; its sides by their figures.

    `place` is that of the adapter whose figure it is, counted from 0. Between the two sides nothing is sure: where they
    are no step of the figure apart, there is nothing between.
    """

    fact: str
    place: int | None
    low: BorderSide
    high: BorderSide
    told: QuestionTold

    def question(self, side: BorderSide) -> Document:
        """The question on one side."""
        return self.told.saying(self.fact, self.place, side.figure).document

    @property
    def written(self) -> Mapping[str, Json]:
        """What else it tells, as an example is written, with a blank for the figure where an adapter has it."""
        told = self.told.saying(self.fact, self.place, None if self.place is None else BLANK)
        alone = told.present - {name.partition(".")[0] for name in (*told.facts, self.fact)}
        adapters = {"adapters": list(told.adapters)} if told.adapters else {}
        return {**told.facts, **adapters, **({"present": sorted(alone)} if alone else {})}


class Borders:
    """Finds the border cases of a rulebook's rules, limits and needs; what was found is kept."""

    def __init__(self, engine: Point, reader: FactReader) -> None:
        self.engine, self.reader = engine, reader
        self._numbers: dict[str, list[int]] = {}
        for number, rule in enumerate(engine.rulebook.rules):
            self._numbers.setdefault(rule.limit or rule.id, []).append(number)
        self._needs = {need.id: number for number, need in enumerate(engine.rulebook.needs)}
        self._needed: dict[tuple[str, bool], Callable[..., Verdict]] = {}
        self._found: dict[str, list[Border]] = {}

    def of(self, id: str) -> list[Border]:
        """The border cases of a rule, limit or need: of each figure that decides, upwards or downwards, one."""
        found = self._found.get(id)
        if found is None:
            with speaking(ENGLISH):  # figures are written as they stand in the rules
                self._found[id] = found = list(self._borders(id))
        return found

    def _borders(self, id: str) -> Iterator[Border]:
        best: dict[tuple[str, bool], _Way] = {}
        told = [self._asked(id, one) for one in self.engine.rulebook.examples.get(id, ())]
        for one in sorted(told, key=lambda one: one.count):
            for way in self._ways(id, one):
                if way.key not in best or way.rank < best[way.key].rank:
                    best[way.key] = way
        yield from (way.border() for way in best.values())

    def _asked(self, id: str, example: Example) -> QuestionTold:
        """An example as a question; one about nothing that can be asked about is about what leaves it as it is."""
        facts = {name: wire_value(to_plain(node)) for name, node in example.facts.items()}
        adapters = tuple({name: wire_value(to_plain(node)) for name, node in one.items()} for one in example.adapters)
        about = frozenset((*example.present, *(name.partition(".")[0] for name in facts)))
        told = QuestionTold(facts, adapters, about)
        if about.intersection(ASKED) or adapters:
            return told
        several = (replace(told, present=about | {one}) for one in ASKED if one in self.reader.subjects)
        return next((one for one in several if self._gives_in(id, one) == example.gives), told)

    def _gives_in(self, id: str, told: QuestionTold) -> str:
        case = self.read(told)
        return self.gives(id, case) if case is not None else ""

    def _ways(self, id: str, told: QuestionTold) -> "Iterator[_Way]":
        """The figures of a question that decide, each led to one end of its range."""
        case = self.read(told)
        for place, facts in ((None, case.facts), *enumerate(case.adapters)) if case is not None else ():
            for name, value in facts.items():
                fact = self.reader.vocabulary.facts.get(name)
                if fact is None or not fact.range or not isinstance(value, tuple) or value[0] != value[1]:
                    continue
                if case is not None and not self._is_added_up(told, name):
                    yield from _Figure(of=self, id=id, told=told, case=case, fact=fact, place=place).ways(value[0])

    def _is_added_up(self, told: QuestionTold, fact: str) -> bool:
        """Whether a fact goes into a sum here, so that another one moves with it."""
        sums = [one.sum_of for one in self.reader.vocabulary.facts.values() if fact in one.sum_of]
        return any(told.facts.keys() >= set(parts) for parts in sums)

    def read(self, told: QuestionTold) -> Case | None:
        """The case of a question; None where it cannot be asked."""
        try:
            return read_question(told.document, self.reader, NoRecords()).case
        except ProblemsFound:
            return None

    def gives(self, id: str, case: Case) -> str:
        """What a rule, limit or need gives in a case; of a limit the worst of its ratings."""
        opened = self.engine.opened(case)
        if id in self._needs:
            return "open" if self._is_open(id, opened) else "met"
        results = {self.engine.judge(number, opened) for number in self._numbers[id]}
        return next((result for result in RESULTS if result in results), "not_applicable")

    def _is_open(self, id: str, opened: Case) -> bool:
        key = id, bool(opened.adapters)
        judge = self._needed.get(key)
        if judge is None:
            self._needed[key] = judge = self.engine.compiled((), key[1], (self._needs[id],))
        return bool(judge(opened.facts.get, opened.present).open_needs)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Figure:
    """A figure of a question, led through its range by the steps in which it is shown."""

    of: Borders
    id: str
    told: QuestionTold
    case: Case
    fact: Fact
    place: int | None

    @property
    def step(self) -> float:
        """How far the figures that are written lie apart."""
        return 1.0 if self.fact.kind == "count" else step(self.fact.shown_in, "us")

    def wire(self, count: int) -> Json:
        """So many steps as they are written."""
        if self.fact.kind == "count":
            return count
        assert isinstance(self.fact.type, NumberType)
        return show(count * self.step, count * self.step, self.fact.type.dimension, self.fact.shown_in, "us")

    def at(self, count: int) -> str:
        """What the rule gives with so many steps."""
        return self.within(count * self.step, count * self.step)

    def within(self, low: float, high: float) -> str:
        """What it gives with the figure within bounds."""
        facts, adapters, place = self.case.facts, self.case.adapters, self.place
        if place is None:
            facts = self._with(facts, low, high)
        else:
            adapters = (*adapters[:place], self._with(adapters[place], low, high), *adapters[place + 1 :])
        return self.of.gives(self.id, Case(facts, self.case.present, adapters))

    def _with(self, facts: Mapping[str, Value], low: float, high: float) -> dict[str, Value]:
        told = {**facts, self.fact.name: (low, high)}
        told.pop(f"{self.fact.name}{TOLD}", None)  # none is told by one end of bounds: each figure within is meant
        return told

    def ways(self, value: float) -> Iterator["_Way"]:
        """The ways from a value to either end of the range on which something else is given in the end."""
        assert self.fact.range
        least, most = ceil(self.fact.range[0] / self.step), floor(self.fact.range[1] / self.step)
        start = min(max(round(value / self.step), least), most)
        gives = self.at(start)
        for end in (least, most):
            other = self.at(end)
            if (gives in _REFUSED and other in _LET_PASS) or (gives in _LET_PASS and other in _REFUSED):
                yield _Way(self, start, end, gives, other)

    def parted(self, start: int, end: int, holds: Callable[[str], bool]) -> tuple[int, int]:
        """The last step on the way for which something holds, as for the first, and the one behind it."""
        while abs(end - start) > 1:
            middle = (start + end) // 2
            start, end = (middle, end) if holds(self.at(middle)) else (start, middle)
        return start, end

    def changes(self, start: int, end: int) -> tuple[int, int]:
        """Where it changes on a way, the lower step first: the last before and the first behind that are sure."""
        first, last = (_REFUSED, _LET_PASS) if self.at(start) in _REFUSED else (_LET_PASS, _REFUSED)
        near, far = self.parted(start, end, lambda gives: gives in first)
        if self.at(far) not in last:
            far = self.parted(far, end, lambda gives: gives not in last)[1]
        return min(near, far), max(near, far)

    def in_question(self, told: QuestionTold) -> "_Figure | None":
        """The same figure in another question; None where that cannot be asked."""
        case = self.of.read(told)
        return None if case is None else replace(self, told=told, case=case)

    def border(self, low: int, high: int) -> Border:
        """The border case between two steps."""
        assert self.fact.range
        below = self._side(low, self.fact.range[0], self.fact.range[0], low * self.step)
        above = self._side(high, self.fact.range[1], high * self.step, self.fact.range[1])
        return Border(self.fact.name, self.place, below, above, self.told.saying(self.fact.name, self.place, None))

    def _side(self, count: int, end: float, least: float, most: float) -> BorderSide:
        gives = self.at(count)
        # A need is open as soon as it is not sure to be met, so that within bounds it says nothing of each figure. Nor
        # does a rule that may not apply at all: it passes then, and does not apply at the end.
        sure = gives != "open" and self.within(least, most) == self.within(end, end) == gives
        return BorderSide(self.wire(count), gives, sure)


@dataclass(frozen=True, slots=True)
class _Way:
    """A way that a figure is led, in steps, and what is given where it begins and where it ends."""

    figure: _Figure
    start: int
    end: int
    first: str
    last: str

    @property
    def key(self) -> tuple[str, bool]:
        """Of which ways one is enough: the fact, and whether what is low is refused."""
        return self.figure.fact.name, (self.first in _REFUSED) == (self.start < self.end)

    @property
    def rank(self) -> int:
        """The lower, the more the side tells that is let pass."""
        return _LET_PASS.index(self.first if self.last in _REFUSED else self.last)

    def border(self) -> Border:
        """The border case on it, with whatever that does without left out."""
        figure, (low, high) = self.figure, self.figure.changes(self.start, self.end)
        gives = figure.at(low), figure.at(high)

        def kept(less: QuestionTold) -> bool:
            one = figure.in_question(less)
            return one is not None and (one.at(low), one.at(high)) == gives

        smallest = figure.in_question(_smallest(figure.told, figure.fact.name, figure.place, kept))
        assert smallest is not None, "it was asked, and with more"
        return smallest.border(*smallest.changes(low, high))  # with less told they may come nearer to each other


def _smallest(told: QuestionTold, fact: str, place: int | None, holds: Callable[[QuestionTold], bool]) -> QuestionTold:
    """What is told without each adapter, fact and subject that it does without, one fact apart."""

    def kept(less: QuestionTold) -> QuestionTold:
        return less if holds(less) else told

    for at in reversed(range(0 if place is None else place + 1, len(told.adapters))):
        told = kept(replace(told, adapters=(*told.adapters[:at], *told.adapters[at + 1 :])))
    for name in told.facts:
        told = kept(told.saying(name, None, None)) if (name, None) != (fact, place) else told
    for at, adapter in enumerate(told.adapters):
        for name in (f"adapter.{short}" for short in adapter):
            told = kept(told.saying(name, at, None)) if (name, at) != (fact, place) else told
    for subject in sorted(told.present - {name.partition(".")[0] for name in told.facts}):
        told = kept(replace(told, present=told.present - {subject}))
    return told
