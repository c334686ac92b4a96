"""Reasons, margins and facts of findings in the trade's words, computed only for what is shown."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import inf
from typing import Final

from fitsvc.engine.point import Point, Values
from fitsvc.facts import Case
from fitsvc.language.display import System, show_together
from fitsvc.language.intervals import SAME
from fitsvc.language.quantities import Dimension
from fitsvc.language.typed import AnyTyped, Read
from fitsvc.language.types import Value
from fitsvc.rulebook.rules import Rule, Rulebook, Shown, Template

UNKNOWN: Final = "unknown"


@dataclass(frozen=True, slots=True)
class Worded:
    """A finding in words, with the facts that matter to it."""

    reason: str
    margin: str
    facts: dict[str, str]


@dataclass(frozen=True, slots=True)
class _Text:
    """A template ready to fill: a %-format, and which of the computed values fill it, shown how."""

    format: str
    holes: tuple[tuple[int, Shown], ...]

    def fill(self, values: Sequence[Value], system: System) -> str:
        """The text with its values."""
        return self.format % tuple(texts(((values[i], shown) for i, shown in self.holes), system))


def texts(pairs: Iterable[tuple[Value, Shown]], system: System) -> list[str]:
    """Show several values together, so that none that differ look alike."""
    rows: list[tuple[float, float, Dimension, str]] = []
    found: list[str] = []
    places: list[int] = []
    for value, shown in pairs:
        if isinstance(value, tuple):
            assert shown.dimension is not None
            places.append(len(found))
            rows.append((value[0], value[1], shown.dimension, shown.unit))
            found.append("")
        else:
            found.append(words(value, shown.words))
    if rows:
        for place, text in zip(places, show_together(rows, system), strict=True):
            found[place] = text
    return found


def words(value: int, members: tuple[str, ...]) -> str:
    """A list value or truth value in words."""
    if len(members) == 3 and members[1] == UNKNOWN:
        return members[value]
    possible = [word for i, word in enumerate(members) if value >> i & 1]
    return UNKNOWN if len(possible) == len(members) > 1 else " or ".join(possible)


class RuleWords:
    """One rule's words, with everything they show compiled to be computed at once."""

    def __init__(self, wording: "Wording", number: int, rule: Rule, adapted: bool) -> None:
        self.rule, self._wording = rule, wording
        nodes: list[AnyTyped] = []
        self.fails = _text(rule.fails, nodes)
        self.unknown = _text(rule.unknown, nodes) if rule.unknown else None
        self.margin = _text((rule.margin,), nodes) if rule.margin else None
        self.margin_at = len(nodes) - 1
        self.first_fact = len(nodes)
        self.basis = wording.engine.basis(number, adapted)
        nodes += self.basis.leaves
        self.first_decision = len(nodes)
        nodes += self.basis.decisions
        self.facts = tuple((wording.name_of(slot.name), wording.shown(slot)) for slot in self.basis.leaves)
        self.passes = rule.title + "."
        self.values: Values = wording.engine.values(("words", number, adapted), lambda: nodes)
        self.source = rule.source.document()

    def worded(self, result: str, case: Case, system: System) -> Worded:
        """The rule's result on a case in words."""
        values = self.values.of(case)
        facts = self._facts(values)
        told = texts([(value, shown) for _, shown, value in facts], system)
        by_name = {name: text for (name, _, _), text in zip(facts, told, strict=True)}
        if case.texts:
            by_name |= {name: case.texts[name] for name in by_name.keys() & case.texts.keys()}
        if result == "passes":
            return Worded(self.passes, self._margin(values, system), by_name)
        if result == "fails":
            return Worded(self.fails.fill(values, system), self._margin(values, system), by_name)
        if self.unknown:
            return Worded(self.unknown.fill(values, system), "", by_name)
        return Worded(self._not_known({n: by_name[n] for n, s, v in facts if not exact(v, s)}), "", by_name)

    def _facts(self, values: Sequence[Value]) -> list[tuple[str, Shown, Value]]:
        """The facts that matter in this case, with how each is shown and what is known of it."""
        first = self.first_fact
        matter = self.basis.matter(values[self.first_decision :])
        return [(*self.facts[i], values[first + i]) for i in matter]

    def _margin(self, values: Sequence[Value], system: System) -> str:
        if self.margin is None:
            return ""
        bounds = values[self.margin_at]
        assert isinstance(bounds, tuple)
        low, high = sorted(abs(end) for end in bounds)
        if high == inf or bounds[0] < -SAME < SAME < bounds[1]:
            return ""
        return texts([((low, high), self.margin.holes[0][1])], system)[0]

    def _not_known(self, missing: Mapping[str, str]) -> str:
        label = self._wording.label
        unknown = [f"the {label(name)}" for name, text in missing.items() if text == UNKNOWN]
        rough = [f"the {label(name)} ({text})" for name, text in missing.items() if text != UNKNOWN]
        title = self.rule.title[0].lower() + self.rule.title[1:]
        parts = [f"{joined(unknown)} {'are' if len(unknown) > 1 else 'is'} not known"] if unknown else []
        parts += [f"{joined(rough)} {'are' if len(rough) > 1 else 'is'} not known closely enough"] if rough else []
        return f"It is open whether {title}: {' and '.join(parts) or 'the facts leave it open'}."


def exact(value: Value, shown: Shown) -> bool:
    """Whether a value leaves nothing open."""
    if isinstance(value, tuple):
        return value[1] - value[0] <= SAME
    if len(shown.words) == 3 and shown.words[1] == UNKNOWN:
        return value != 1
    return not value & (value - 1)


def joined(parts: Sequence[str]) -> str:
    """`a, b and c`."""
    return " and ".join(filter(None, (", ".join(parts[:-1]), parts[-1]))) if parts else ""


def _text(template: Template, nodes: list[AnyTyped]) -> _Text:
    """A template's format, its values added to those to be computed."""
    format, holes = "", []
    for part in template:
        if isinstance(part, str):
            format += part.replace("%", "%%")
        else:
            holes.append((len(nodes), part))
            nodes.append(part.node)
            format += "%s"
    return _Text(format, tuple(holes))


class Wording:
    """The words of a rulebook's findings; what a rule shows is compiled when it is first shown."""

    def __init__(self, engine: Point) -> None:
        self.engine = engine
        self.rulebook: Rulebook = engine.rulebook
        self._rules: dict[tuple[int, bool], RuleWords] = {}
        self._shown: dict[str, Shown] = {}

    def rule(self, number: int, adapted: bool) -> RuleWords:
        """A rule's words."""
        key = (number, adapted)
        found = self._rules.get(key)
        if found is None:
            self._rules[key] = found = RuleWords(self, number, self.rulebook.rules[number], adapted)
        return found

    def name_of(self, slot: str) -> str:
        """The fact's name that a slot is told under."""
        fact = self.rulebook.vocabulary.fact_of(slot)
        return fact.name if fact else slot

    def label(self, name: str) -> str:
        """A fact's or derived value's wording."""
        fact = self.rulebook.vocabulary.fact_of(name)
        if fact:
            return fact.label
        one = self.rulebook.opening.get(name) or self.rulebook.derived.get(name)
        return one.label if one else name

    def fact_text(self, name: str, case: Case, system: System) -> str:
        """What is known of a fact, in words."""
        fact = self.rulebook.vocabulary.facts[name]
        if name in case.texts or fact.kind == "text":
            return case.texts.get(name, UNKNOWN)
        slot = Read(fact.type, name)
        value = case.facts.get(name, fact.type.unknown)  # type: ignore[union-attr]
        return texts([(value, self.shown(slot))], system)[0]

    def shown(self, slot: Read) -> Shown:
        """How a fact or opening fact is shown."""
        found = self._shown.get(slot.name)
        if found is None:
            self._shown[slot.name] = found = self._shown_anew(slot)
        return found

    def _shown_anew(self, slot: Read) -> Shown:
        fact = self.rulebook.vocabulary.fact_of(slot.name)
        one = self.rulebook.opening.get(slot.name)
        unit = fact.shown_in or ("in" if fact.tyre else "") if fact else one.unit if one else ""
        return self.rulebook.shown(slot, unit)
