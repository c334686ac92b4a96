"""Reasons, margins and facts of findings in the trade's words, computed only for what is shown."""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from math import inf
from operator import itemgetter
from typing import Any, Final, NamedTuple, get_args

import msgspec

from fitsvc.answers import governing
from fitsvc.answers.answer import Finding
from fitsvc.answers.governing import governing_fact, unsaid_in_opening
from fitsvc.answers.phrases import UNKNOWN, capped, filled, in_metric, joined, not_known, texts, uncapped
from fitsvc.caching import LruCache
from fitsvc.engine.point import Point, Values
from fitsvc.engine.support import Support
from fitsvc.facts import Case
from fitsvc.language.compiler import compile_reads
from fitsvc.language.display import FINEST_READ, System, show, step
from fitsvc.language.intervals import TOLERANCE, Bounds
from fitsvc.language.quantities import MASS, Dimension
from fitsvc.language.truth import WORDS, YES
from fitsvc.language.typed import ALWAYS, AnyTyped, Read
from fitsvc.language.types import TextType, Value, is_exact
from fitsvc.rulebook.outcomes import Effect, Result
from fitsvc.rulebook.rules import Need, Rating, Rule, Rulebook, Shown, Template, optional_values, values_of
from fitsvc.tongues import later, spoken, t

_OTHERS: Final[Mapping[str, str]] = {"vehicle.id": later("vehicle's configuration")}
_MOST_WORDED: Final = 2_000
"""Findings of a rule that are kept in each system of units, of about a kilobyte each: 2 MB for a rule at the most."""
_MOST_SETS: Final = 100
"""Sets of facts that matter to a rule, some dozens of any one."""
_MOST_TOLD: Final = 20_000
"""Values of facts whose texts are kept in each system of units, of some hundred bytes each."""

_AT_LEAST, _AT_MOST = "at_least", "at_most"
"""What the bounds of a need are called."""


@dataclass(frozen=True, slots=True)
class _Text:
    """A template ready to fill, which of the computed values fill it, shown how, and which are told only if known."""

    template: Template
    holes: tuple[tuple[int, Shown], ...]
    optional: tuple[bool, ...]

    def fill(self, values: Sequence[Value], system: System) -> str:
        """The text with its values, of a margin what is sure of it, and without one that is hardly any where it may."""
        shown = list[tuple[Value, Shown]]()
        for (i, one), optional in zip(self.holes, self.optional, strict=True):
            value = values[i]
            if one.told == "margin" and isinstance(value, tuple):
                value = _sure(value, _least(one.unit, system) if optional else 0.0)
            shown.append((value, one))
        return filled(self.template, texts(shown, system))


class _Facts(NamedTuple):
    """The facts that matter to a rule in some of its cases: their names, slots, how each is shown, and its value.

    `of` takes their values from all that is computed for the rule.
    """

    names: tuple[str, ...]
    slots: tuple[str, ...]
    shown: tuple[Shown, ...]
    of: Callable[[Sequence[Value]], tuple[Value, ...]]


class RuleWords:
    """One rule's findings in words, with everything they show compiled to be computed at once.

    What a finding says follows from the facts of the rule and of its texts alone, given and not given, and those recur
    from question to question, so a finding once worded is kept for the next case with the same facts. Findings are
    never changed.

    `rests_on` gives, of an opened case's facts (`get`) and of what it is about, all that the rule's result and its
    words follow from, where it applies. `kept` finds, in a system of units, the finding by that, unless more is in its
    words than `by_facts_alone`.
    """

    def __init__(self, wording: "Wording", number: int, rule: Rule, adapted: bool) -> None:
        self._rule, self._wording, self._adapted = rule, wording, adapted
        in_texts: list[AnyTyped] = []
        written = wording.engine.rulebook.rules[number]
        self._fails = _text(rule.fails, written.fails, in_texts)
        self._unknown = _text(rule.unknown, written.unknown, in_texts) if rule.unknown else None
        self._support = wording.engine.support(number, adapted)
        margin = [rule.margin.node] if rule.margin else []
        # A text may tell of facts that the rule's result does not rest on.
        self.adapts = wording.engine.rule_adapts(number) or wording.engine.adapts([*in_texts, *margin])
        told = Support([*in_texts, *margin], wording.engine.derived if adapted else wording.engine.bare_derived)
        leaves = self._support.leaves
        nodes: list[AnyTyped] = [*margin, *leaves, *self._support.decisions]
        self._first_fact = len(margin)
        self._first_decision = self._first_fact + len(leaves)
        names = dict.fromkeys(slot.name for slot in (*leaves, *told.leaves))
        slots = (*names, *(self._support.told | told.told))
        self.rests_on = compile_reads(slots, (*dict.fromkeys((*self._support.presences, *told.presences)),))
        self._opening = tuple(slot for slot in leaves if slot.name.startswith("opening."))
        self._rating = wording.rating_of(rule) if self._opening else None
        self._facts = tuple((wording.name_of(slot.name), slot.name, wording.shown(slot)) for slot in leaves)
        self._which = LruCache[tuple[int, ...], _Facts](_MOST_SETS)
        self._tyres = tuple({name for name in map(wording.name_of, names) if wording.is_tyre(name)})
        self._values = wording.engine.values(("words", number, adapted), lambda: nodes)
        self._in_texts = wording.engine.values(("texts", number, adapted), lambda: in_texts)
        self._source = rule.source.document()
        opening = self._opening or any(slot.name.startswith("opening.") for slot in told.leaves)
        self.by_facts_alone = not (self._tyres or opening)
        self._worded = {system: LruCache[tuple[object, ...], Finding](_MOST_WORDED) for system in get_args(System)}
        self.kept = {system: cache.find for system, cache in self._worded.items()}

    def prepare(self) -> None:
        """Compile what is compiled at the first finding."""
        for values in (self._values, self._in_texts):
            if self._adapted:
                values.adapted()
            else:
                values.bare()
        if self._rating is not None:
            self._alone(self._rating).prepare()

    def _alone(self, rating: Rating) -> Values:
        """The figure of a rating, compiled at the first call."""
        return self._wording.engine.values(("rating alone", rating.name), lambda: [rating.node])

    def finding(self, result: Result, case: Case, system: System) -> Finding:
        """The rule's finding on an opened case."""
        key: tuple[object, ...] = self.rests_on(case.facts.get, case.present)
        if not self.by_facts_alone:
            key += self._told_by(case)
        found = self.kept[system](key)
        if found is None:
            found = self._word(result, case, system)
            self._worded[system].keep(key, found)
        return found

    def passing(self, case: Case, system: System) -> Finding:
        """The rule's finding where it is open, and passes with each value of some choice."""
        found = self.finding("undetermined", case, system)
        return msgspec.structs.replace(found, result="passes", reason=f"{found.title}.")

    def room(self, case: Case) -> tuple[Bounds, Dimension] | None:
        """By how much the rule passes on an opened case, below nothing where it fails, if it compares two figures.

        Bounds in the inside unit of the dimension.
        """
        if self._rule.margin is None or self._rule.margin.dimension is None:
            return None
        bounds = self._values.of(case)[0]
        assert isinstance(bounds, tuple)
        return (-bounds[1], -bounds[0]), self._rule.margin.dimension

    def rests(self, case: Case) -> Sequence[Read]:
        """The facts that matter to the rule's result on an opened case, those of the opening by its own names."""
        values = self._values.of(case)
        leaves = self._support.leaves
        return [leaves[i] for i in self._support.relevant(values[self._first_decision :])]

    def _told_by(self, case: Case) -> tuple[object, ...]:
        """What the words follow from beside: tyres as they are written, and of the opening the parts in it."""
        key: tuple[object, ...] = tuple(map(case.texts.get, self._tyres))
        if case.adapters:
            own, _ = self._wording.engine.opening_leaves
            key += (*(frozenset(adapter.items()) for adapter in case.adapters), *[case.facts.get(r.name) for r in own])
        return key

    def _word(self, result: Result, case: Case, system: System) -> Finding:
        rule, values = self._rule, self._values.of(case)
        facts = self._facts_of(values)
        known = facts.of(values)
        by_name = dict(zip(facts.names, self._wording.told(facts.slots, known, facts.shown, system), strict=True))
        if self._tyres:
            by_name |= {name: case.texts[name] for name in self._tyres if name in by_name and name in case.texts}
        margin = "" if result == "undetermined" else self._margin(values, system)
        label = self._part(result, case)
        title = _called_anew(rule.title, *label)
        if result == "passes":
            reason = title + "."
        elif result == "fails":
            reason = capped(_called_anew(self._fails.fill(self._in_texts.of(case), system), *label))
        elif self._unknown:
            reason = capped(self._unknown.fill(self._in_texts.of(case), system))
        else:
            told = zip(facts.names, facts.shown, known, strict=True)
            rough = [(name, shown, value) for name, shown, value in told if not is_exact(shown.node.type, value)]
            missing = {name: by_name[name] for name, _, _ in rough}
            for name, shown, value in rough:
                below, above = self._wording.signs(name)
                if below:
                    (missing[name],) = texts([(value, replace(shown, below=below, above=above))], system)
            reason = self._open(missing, title, case)
        if system == "metric":
            title, reason = in_metric(title), in_metric(reason)
        return Finding(
            rule=rule.id,
            title=title,
            result=result,
            severity=rule.severity,
            reason=reason,
            facts=by_name,
            source=self._source,
            margin=margin,
        )

    def _part(self, result: Result, case: Case) -> tuple[str, str]:
        """What a rating of the opening is called, and is to be: after the part whose figure it is, if it is one's."""
        rating = self._rating
        if rating is None:
            return "", ""
        (bounds,) = self._alone(rating).of(case)
        assert isinstance(bounds, tuple)
        figure = bounds[0] if bounds[0] > 0.0 or bounds[0] == bounds[1] else bounds[1]
        fact = governing_fact(self._wording.engine, rating, figure, case) if result != "undetermined" else rating.name
        own = t("{label} with what is in it", label=rating.label)
        return rating.label, own if fact == rating.name else self._wording.label(fact)

    def _facts_of(self, values: Sequence[Value]) -> _Facts:
        """The facts that matter in a case, which follow from its decisions."""
        matter = self._support.relevant(values[self._first_decision :])
        found = self._which.find(matter)
        if found is None:
            places = [self._first_fact + place for place in matter]
            of: Any = itemgetter(*places) if len(places) > 1 else lambda given: tuple(given[place] for place in places)
            names, slots, shown = (
                zip(*(self._facts[place] for place in matter), strict=True) if matter else ((), (), ())
            )
            found = _Facts(names, slots, shown, of)
            self._which.keep(matter, found)
        return found

    def _margin(self, values: Sequence[Value], system: System) -> str:
        margin = self._rule.margin
        if margin is None:
            return ""
        bounds = values[0]
        assert isinstance(bounds, tuple) and margin.dimension is not None
        low, high = abs(bounds[0]), abs(bounds[1])
        low, high = (low, high) if low <= high else (high, low)
        if high == inf or bounds[0] < -TOLERANCE < TOLERANCE < bounds[1]:
            return ""
        sure = _sure((low, high), _least(margin.unit, system))
        return "" if sure == (0.0, inf) else show(*sure, margin.dimension, margin.unit, system)

    def _open(self, missing: Mapping[str, str], title: str, case: Case) -> str:
        """What is not known, or not closely, and so leaves the rule open; of the opening the parts' own facts."""
        the = self._wording.the
        behind = {slot.name: unsaid_in_opening(self._wording.engine, slot, case) for slot in self._opening}
        names = (behind.get(name) or [name] for name, text in missing.items() if text == t(UNKNOWN) or behind.get(name))
        unknown = [the(name) for name in dict.fromkeys(one for several in names for one in several)]
        rough = [(the(n), text) for n, text in missing.items() if text != t(UNKNOWN) and not behind.get(n)]
        told = joined(
            [
                *([not_known(unknown)] if unknown else []),
                *(t("{the} is known only as {text}", the=one, text=text) for one, text in rough),
            ]
        )
        if not told:
            return t("What is known leaves it open whether {title}.", title=uncapped(title))
        return t("{told}, so it is open whether {title}.", told=capped(told), title=uncapped(title))


def _asked_for(told: Mapping[str, tuple[Value, Shown]]) -> dict[str, tuple[Value, Shown]]:
    """The values of a need, of weights known in bounds what is enough whatever they come to: the high end.

    Of what may be at most it is the low end; where that is less than what must be at least, neither is told.
    """
    found = dict(told)
    for name, (value, shown) in told.items():
        if shown.dimension == MASS and isinstance(value, tuple) and value[1] < inf:
            end = value[name != _AT_MOST]
            found[name] = ((end, end), shown)
    if _AT_LEAST in found and _AT_MOST in found:
        (least, of_least), (most, of_most) = found[_AT_LEAST], found[_AT_MOST]
        if isinstance(least, tuple) and isinstance(most, tuple) and least[1] > most[0] + TOLERANCE:
            found |= {_AT_LEAST: ((-inf, inf), of_least), _AT_MOST: ((-inf, inf), of_most)}
    return found


def _least(unit: str, system: System) -> float:
    """Half of the finest step that is read off a tape or a scale in a unit, in the inside unit; of none nothing."""
    return step(unit, system, FINEST_READ) / 2 if unit else 0.0


def _sure(margin: Bounds, least: float = 0.0) -> Bounds:
    """What is sure of a margin known in bounds: its low end, as more of it may only seem so for want of a figure.

    Nothing is where that is less than the `least` that is read of it.
    """
    if margin[0] <= 0.0 or margin[1] - margin[0] <= TOLERANCE:
        return margin
    # Less than anybody reads is no figure, only that there is a margin, as of what touched and may reach any farther.
    return (margin[0] if margin[0] >= least else 0.0, inf)


def _called_anew(text: str, label: str, anew: str) -> str:
    """A text with another label in place of one, with its own article."""
    if label == anew:
        return text
    told = {spoken(label): spoken(anew), capped(spoken(label)): capped(spoken(anew)), label: anew, capped(label): anew}
    return re.sub("|".join(map(re.escape, told)), lambda found: told[found.group()], text)


class NeedWords:
    """One need in words, with all it may show computed at once."""

    def __init__(self, wording: "Wording", number: int, need: Need) -> None:
        self._need, self._wording, self._key = need, wording, ("need", number)
        nodes: list[AnyTyped] = [need.guard or ALWAYS]
        written, values = wording.engine.rulebook.needs[number], tuple(need.values.values())
        self._values = _text(values, values, nodes)
        self._because = _text(need.because, written.because, nodes)
        self._unknown = _text(need.unknown, written.unknown, nodes) if need.unknown else None
        self._nodes = nodes

    def prepare(self) -> None:
        """Compile what is compiled when the need is first told."""
        self._wording.engine.values(self._key, lambda: self._nodes).prepare()

    def told(self, case: Case, system: System) -> dict[str, str]:
        """The need of an opened case: its name, its values, and why, or what is not known of it."""
        values = self._wording.engine.values(self._key, lambda: self._nodes).of(case)
        text = self._because if values[0] == YES or not self._unknown else self._unknown
        holes = (*self._values.holes, *text.holes)
        count = len(self._values.holes)
        names = [*self._need.values, *(shown.told for _, shown in text.holes)]
        asked = _asked_for(dict(zip(names, ((values[i], shown) for i, shown in holes), strict=True)))
        found = texts(map(asked.__getitem__, names), system)
        named = dict(zip(self._need.values, found[:count], strict=True))
        because = filled(text.template, found[count:])
        return {"need": self._need.name, **named, "because": in_metric(because) if system == "metric" else because}


def _text(template: Template, written: Template, nodes: list[AnyTyped]) -> _Text:
    """A template ready to fill, its values added to those to be computed in the order in which they were `written`.

    In another language the same values may stand in another order.
    """
    values, first = values_of(written), len(nodes)
    nodes += [one.node for one in values]
    if template is written:
        return _Text(template, tuple(enumerate(values, start=first)), tuple(optional_values(template)))
    places = {one.told: place for place, one in enumerate(values, start=first)}
    holes = tuple((places[one.told], one) for one in values_of(template))
    return _Text(template, holes, tuple(optional_values(template)))


class _EachRule(dict[int, RuleWords]):
    """The words of rules by their numbers, each compiled when it is first to be worded.

    With adapters in the receiver they are those of a `bare` one, but for rules that tell of the working opening.
    """

    def __init__(self, wording: "Wording", bare: Mapping[int, RuleWords] | None) -> None:
        super().__init__()
        self._wording, self._bare = wording, bare

    def __missing__(self, number: int) -> RuleWords:
        words = self._bare[number] if self._bare is not None else None
        if words is None or words.adapts:
            rule = self._wording.rulebook.rules[number]
            words = RuleWords(self._wording, number, rule, self._bare is not None)
        return self.setdefault(number, words)


class Wording:
    """The words of a rulebook's findings, the engine's own or the same in another language.

    What a rule shows is compiled when it is first shown, once for all languages.
    """

    def __init__(self, engine: Point, rulebook: Rulebook | None = None) -> None:
        self.engine = engine
        self.rulebook: Rulebook = rulebook or engine.rulebook
        bare = _EachRule(self, None)
        self._rules = {False: bare, True: _EachRule(self, bare)}
        self._shown: dict[str, Shown] = {}
        self._needs: dict[int, NeedWords] = {}
        self._effects = {rule.id: rule.effects for rule in engine.rulebook.rules}
        self._told = {system: LruCache[tuple[str, Value], str](_MOST_TOLD) for system in get_args(System)}

    def rules(self, adapted: bool) -> Mapping[int, RuleWords]:
        """The words of each rule by its number."""
        return self._rules[adapted]

    def prepare(self) -> None:
        """Compile what is compiled when a finding or a need is first worded."""
        for words in self._rules.values():
            for number in range(len(self.rulebook.rules)):
                words[number].prepare()
        for number in range(len(self.rulebook.needs)):
            self.need(number).prepare()
        governing.prepare(self.engine, (rating for limit in self.rulebook.limits for rating in limit.ratings))

    def effect(self, finding: Finding) -> Effect:
        """What a finding brings to the outcome."""
        return self._effects[finding.rule][finding.result]

    def rating_of(self, rule: Rule) -> Rating | None:
        """The rating that a limit's rule judges by."""
        ratings = (rating for limit in self.rulebook.limits if limit.id == rule.limit for rating in limit.ratings)
        return next((rating for rating in ratings if rule.id == f"{rule.limit}/{rating.name}"), None)

    def told_by(self, allowance: str) -> frozenset[str]:
        """The rules whose failing an allowance says already."""
        return next(frozenset(one.told_by) for one in self.rulebook.allowances if one.name == allowance)

    def need(self, number: int) -> NeedWords:
        """The words of a need."""
        found = self._needs.get(number)
        if found is None:
            self._needs[number] = found = NeedWords(self, number, self.rulebook.needs[number])
        return found

    def name_of(self, slot: str) -> str:
        """The fact's name that a slot is told under."""
        fact = self.rulebook.vocabulary.fact_of(slot)
        return fact.name if fact else slot

    def is_tyre(self, name: str) -> bool:
        """Whether a fact is a tyre designation, told as it was written."""
        fact = self.rulebook.vocabulary.facts.get(name)
        return fact is not None and fact.tyre

    def label(self, name: str) -> str:
        """A fact's or derived value's wording."""
        fact = self.rulebook.vocabulary.fact_of(name)
        if fact:
            return fact.label
        one = self.rulebook.opening.get(name) or self.rulebook.derived.get(name)
        return one.label if one else t(_OTHERS.get(name, name))

    def the(self, name: str) -> str:
        """A fact or derived value as it is spoken of within a sentence; of a yes or no it says `whether ...`."""
        return spoken(self.label(name))

    def fact_text(self, name: str, case: Case, system: System) -> str:
        """What is known of a fact, in words."""
        fact = self.rulebook.vocabulary.facts[name]
        if name in case.texts or isinstance(fact.type, TextType):
            return case.texts.get(name, t(UNKNOWN))
        slot = Read(fact.type, name)
        value = case.facts.get(name, fact.type.unknown)
        return texts([(value, self.shown(slot))], system)[0]

    def told(
        self, slots: Sequence[str], values: Sequence[Value], shown: Sequence[Shown], system: System
    ) -> Sequence[str]:
        """What is known of facts by their slots, in words, so that none that differ look alike.

        Most were told before, and nearly always those that differ do so in words, too: then each is told as it is kept.
        """
        kept, found, figures, unknown = self._told[system], list[str](), list[tuple[str, Value]](), t(UNKNOWN)
        for slot, value, how in zip(slots, values, shown, strict=True):
            text = kept.find((slot, value))
            if text is None:
                text = texts([(value, how)], system)[0]
                kept.keep((slot, value), text)
            found.append(text)
            if isinstance(value, tuple) and text != unknown:
                if value[0] < 0.0:
                    break  # its sign may be told in words
                figures.append((text, value))
        else:
            # Of one text there may be two figures that are the same; the other way about is what must not be.
            different = len({text for text, _ in figures})
            if different == len(figures) or different == len(set(figures)):
                return found
        return texts(zip(values, shown, strict=True), system)

    def shown(self, slot: Read) -> Shown:
        """How a fact or opening fact is shown."""
        found = self._shown.get(slot.name)
        if found is None:
            self._shown[slot.name] = found = self._shown_anew(slot)
        return found

    def signs(self, name: str) -> tuple[str, str]:
        """By which words figures of a fact below zero and above are told within a sentence; empty where by the sign."""
        fact = self.rulebook.vocabulary.facts.get(name)
        return (fact.below_zero, fact.above_zero) if fact else ("", "")

    def _shown_anew(self, slot: Read) -> Shown:
        fact = self.rulebook.vocabulary.fact_of(slot.name)
        one = self.rulebook.opening.get(slot.name)
        unit = fact.shown_in or ("in" if fact.tyre else "") if fact else one.unit if one else ""
        found = self.rulebook.shown(slot, unit)
        return replace(found, words=tuple(map(t, WORDS))) if found.words == WORDS else found
