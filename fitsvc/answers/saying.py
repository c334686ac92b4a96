"""What the examples beside rules show: for which kinds, of which facts, and which words of their texts are told.

Each example is told as it is, and again with each one of its facts not known: no text may then say "unknown" where a
figure should be.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Final

from fitsvc.answers.phrases import UNKNOWN, texts
from fitsvc.engine.examples import Owner, case_of, given, name_of, owners_of
from fitsvc.engine.point import Point
from fitsvc.facts import Case, FactReader
from fitsvc.language.problems import Problem
from fitsvc.language.truth import YES
from fitsvc.language.typed import TOLD
from fitsvc.rulebook.coverage import facts_behind
from fitsvc.rulebook.kinds import KnownKind, kinds_of
from fitsvc.rulebook.rules import (
    Caution,
    Derived,
    Example,
    IfKnown,
    Limit,
    Need,
    Opening,
    Rule,
    Rulebook,
    Template,
    values_of,
)

_SILENT: Final = ("not_applicable", "not_told", "met")
_BOTH: Final = 2
UNSURE: Final = "unknown_because"
_KEYS: Final = {"fails": "fails_because", "undetermined": UNSURE, "open": "because", "told": "text"}
"""The key of the text that is told of each result."""


@dataclass(frozen=True, slots=True)
class TextTold:
    """A text that is told in a case: the key it stands under, its words, and the texts of its values in turn."""

    key: str
    template: Template
    values: list[str]

    def parts(self) -> Iterator[tuple[str, bool]]:
        """Each part in brackets, by its words, and whether its values are known."""
        left = iter(self.values)
        for part in self.template:
            if isinstance(part, IfKnown):
                known = UNKNOWN not in [next(left) for one in part.words if not isinstance(one, str)]
                _ = [next(left) for one in part.otherwise if not isinstance(one, str)]
                yield _words(part), known
            elif not isinstance(part, str):
                next(left)

    @property
    def says_unknown(self) -> bool:
        """Whether a value outside brackets is not known."""
        left, found = iter(self.values), False
        for part in self.template:
            if isinstance(part, IfKnown):
                _ = [next(left) for one in (*part.words, *part.otherwise) if not isinstance(one, str)]
            elif not isinstance(part, str):
                found |= next(left) == UNKNOWN
        return found


@dataclass(slots=True)
class ShownByExamples:
    """What the examples of one rule, limit, need or caution show.

    `results` counts what they give. `kinds` are those that it may apply to, each with whether an example has it apply.
    `facts` are those that it rests on, each with in how many examples it is told. `untold` are its texts that no
    example tells, `one_sided` the parts in brackets of which only one side is told.
    """

    results: dict[str, int] = field(default_factory=dict)
    kinds: dict[str, bool] = field(default_factory=dict)
    facts: dict[str, int] = field(default_factory=dict)
    untold: list[str] = field(default_factory=list)
    one_sided: list[str] = field(default_factory=list)


class Teller:
    """The examples of a rulebook, asked one owner after the other."""

    def __init__(self, rulebook: Rulebook) -> None:
        self.rulebook, self.engine, self.reader = rulebook, Point(rulebook), FactReader(rulebook)
        derived = {name: one.node for name, one in rulebook.derived.items()}
        self._kinds = {name: KnownKind(derived, kind) for name, kind in kinds_of(rulebook.vocabulary).items()}
        self._numbers = {rule.id: number for number, rule in enumerate(rulebook.rules)}

    def owners(self) -> Iterator[Owner]:
        """All that tells something: rules, limits, needs and cautions."""
        for one in owners_of(self.rulebook).values():
            if not isinstance(one, Derived | Opening) and not (isinstance(one, Rule) and one.limit):
                yield one

    def shown(self, owner: Owner) -> ShownByExamples:
        """What the examples of one of them show."""
        guards = [one.guard for one in self._tellers(owner)]
        facts = dict.fromkeys(fact for one in self._tellers(owner) for fact in facts_behind(self.rulebook, one))
        about = {fact.partition(".")[0] for fact in facts}
        found = ShownByExamples(facts=dict.fromkeys(facts, 0))
        for name, kind in self._kinds.items():
            if kind.fact.partition(".")[0] in about and any(kind.may(guard) for guard in guards):
                found.kinds[name] = False
        told: dict[tuple[str, str], set[bool]] = {}
        for example in self.rulebook.examples.get(name_of(owner), ()):
            case = case_of(example, self.reader)
            gives = given(self.engine, owner, case)
            found.results[gives] = found.results.get(gives, 0) + 1
            named = {*example.facts, *(f"adapter.{short}" for adapter in example.adapters for short in adapter)}
            for fact in found.facts.keys() & named:
                found.facts[fact] += 1
            if gives not in _SILENT:
                found.kinds |= dict.fromkeys(found.kinds.keys() & self._kinds_in(case), True)
            for text in self.told(owner, case):
                told.setdefault((text.key, ""), set()).add(True)
                for part, known in text.parts():
                    told.setdefault((text.key, part), set()).add(known)
        self._texts(owner, told, found)
        return found

    def _texts(self, owner: Owner, told: dict[tuple[str, str], set[bool]], found: ShownByExamples) -> None:
        for one in self._tellers(owner)[:1]:
            for key, template in _texts_of(one):
                parts = [_words(part) for part in template if isinstance(part, IfKnown)]
                if (key, "") not in told:
                    found.untold.append(key)
                else:
                    found.one_sided += [part for part in parts if len(told.get((key, part), ())) < _BOTH]

    def unknown_told(self) -> Iterator[Problem]:
        """Each text that says "unknown" outside brackets, told of an example or of one with a fact left out."""
        for owner in self.owners():
            seen: set[str] = set()
            for example in self.rulebook.examples.get(name_of(owner), ()):
                case = case_of(example, self.reader)
                for left_out in (None, *case.facts):
                    less = {name: value for name, value in case.facts.items() if name.removesuffix(TOLD) != left_out}
                    for text in self.told(owner, replace(case, facts=less)):
                        if text.says_unknown and text.key not in seen:
                            seen.add(text.key)
                            yield _unknown(example, owner, text.key, left_out)

    def told(self, owner: Owner, case: Case) -> Iterator[TextTold]:
        """The texts that an owner tells in a case."""
        for one in self._tellers(owner):
            key = self._key(one, case) if case.present.issuperset(one.subjects) else ""
            template = dict(_texts_of(one)).get(key, ())
            shown = values_of(template)
            if template:
                nodes = [each.node for each in shown]
                values = self.engine.values(("teller", one.id, key), nodes.copy)
                yield TextTold(key, template, texts(zip(values.of(case), shown, strict=True), "us") if shown else [])

    def _key(self, one: Rule | Need | Caution, case: Case) -> str:
        """The key of the text that is told; of a need that may not apply the one that says so."""
        if isinstance(one, Rule):  # judged alone: all of its examples with each fact left out are a great many
            return _KEYS.get(self.engine.judge(self._numbers[one.id], self.engine.opened(case)), "")
        result = given(self.engine, one, case).partition(",")[0]
        if result == "open" and isinstance(one, Need) and one.unknown and one.guard is not None:
            guard = one.guard
            return "because" if self.engine.values(("guard", one.id), lambda: [guard]).of(case) == (YES,) else UNSURE
        return _KEYS.get(result, "")

    def _tellers(self, owner: Owner) -> list[Rule | Need | Caution]:
        """Whose texts an owner tells: its own, or of a limit those of the rules that judge by its ratings."""
        if isinstance(owner, Limit):
            return [rule for rule in self.rulebook.rules if rule.limit == owner.id]
        return [owner] if isinstance(owner, Rule | Need | Caution) else []

    def _kinds_in(self, case: Case) -> set[str]:
        """The kinds that a case is about, where they are exactly known."""
        return {name for name, kind in self._kinds.items() if case.facts.get(kind.fact) == kind.mask}


def _texts_of(one: Rule | Need | Caution) -> list[tuple[str, Template]]:
    """The texts of a rule, need or caution by their keys, those that it has."""
    if isinstance(one, Rule):
        found = [("fails_because", one.fails), (UNSURE, one.unknown)]
    elif isinstance(one, Need):
        found = [("because", one.because), (UNSURE, one.unknown)]
    else:
        found = [("text", one.text)]
    return [(key, template) for key, template in found if template]


def _words(part: IfKnown) -> str:
    """A part in brackets, with its values left open."""
    sides = ["".join(one if isinstance(one, str) else "..." for one in side) for side in (part.words, part.otherwise)]
    return f"[{'|'.join(sides)}]"


def _unknown(example: Example, owner: Owner, key: str, left_out: str | None) -> Problem:
    here = f"with `{left_out}` not known" if left_out else "here"
    return example.node.problem(
        f'`{key}` of `{name_of(owner)}` says "unknown" {here}',
        "put what it says of that value in `[brackets]`, with other words behind a `|`",
    )
