"""Expressions and templates within rule files: checked against the vocabulary, with the subjects they are about."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Final

from fitsvc.language import typed
from fitsvc.language.checker import Names, check
from fitsvc.language.problems import Problem
from fitsvc.language.quantities import NUMBER
from fitsvc.language.source import Source
from fitsvc.language.typed import AnyTyped
from fitsvc.language.types import TRUTH, NumberType, Type
from fitsvc.rulebook.rules import Example, IfKnown, Shown, Template, shown
from fitsvc.rulebook.shape import Shape, source_of
from fitsvc.rulebook.vocabulary import DEFAULT_UNITS, Vocabulary
from fitsvc.rulebook.yaml_text import Mapping as YamlMapping
from fitsvc.rulebook.yaml_text import Node, Scalar

_HOLE: Final = re.compile(r"\{([^{}]*)\}")
_IF_KNOWN: Final = re.compile(r"\[([^\[\]|]*)(?:\|([^\[\]|]*))?\]")
_UNIT: Final = re.compile(r" ?(?:kg|lbs?|mm|cm|ft|kN|inches|feet|pounds|degrees|%)(?![\w-])")
_SIGN: Final = re.compile(r"[{}\[\]|]")
_PAIRED: Final = (
    "words that are told where their values are known stand in `[brackets]`, others after a `|` in them",
    "values stand in `{braces}`",
)

_NO_WORDS: Final = "", ""


@dataclass(slots=True, kw_only=True)
class Expressions:
    """Reads expressions of one rulebook; `derived` and `units` fill up as derived values are read.

    `below` are the words for figures below zero, and for those above beside them, of those that have any.
    `presences` fills up with the subjects and facts that expressions ask the presence of, `examples` with those that
    stand beside each rule, limit or need.
    """

    shape: Shape
    vocabulary: Vocabulary
    names: Names
    derived: dict[str, AnyTyped]
    units: dict[str, str]
    labels: dict[str, str] = field(default_factory=dict)
    below: dict[str, tuple[str, str]] = field(default_factory=dict)
    presences: set[str] = field(default_factory=set)
    examples: dict[str, tuple[Example, ...]] = field(default_factory=dict)
    asked: frozenset[str] = field(init=False)

    def __post_init__(self) -> None:
        self.asked = self.vocabulary.asked() | self.vocabulary.asked_facts()

    def read(self, parent: YamlMapping, key: str, expected: Type | None = TRUTH) -> AnyTyped | None:
        """The expression under a key; None when it is absent or wrong."""
        node = parent.entries.get(key)
        return None if node is None else self.read_node(node, key, expected)

    def read_node(self, node: Node, what: str, expected: Type | None) -> AnyTyped | None:
        """The expression a node holds."""
        if not isinstance(node, Scalar) or not node.value:
            self.shape.complain(node, f"`{what}` is an expression", "write it on one line, such as `a.x <= b.y`")
            return None
        return self._checked(source_of(node), expected)

    def _checked(self, source: Source, expected: Type | None = None) -> AnyTyped | None:
        found = self.shape.attempt(lambda: check(source, self.names, expected))
        self.presences |= typed.presences(found) if found is not None else set()
        return found

    def subjects(self, *nodes: AnyTyped | None) -> tuple[str, ...]:
        """The asked subjects and facts that expressions are about, less those they ask the presence of themselves."""
        found: set[str] = set()
        for node in nodes:
            if node is not None:
                found |= self._about(node)
        handled: set[str] = set().union(*(typed.presences(node) for node in nodes if node is not None))
        return tuple(sorted((found - handled) & self.asked))

    def _about(self, node: AnyTyped) -> set[str]:
        about: set[str] = set()
        for name in typed.reads(node):
            below = self.derived.get(name)
            about |= self._about(below) - typed.presences(below) if below is not None else {name.split(".", 1)[0], name}
        return about

    def facts_in(self, node: AnyTyped) -> Iterator[str]:
        """The facts that an expression rests on, those behind derived values too."""
        for name in typed.reads(node):
            below = self.derived.get(name)
            yield from (name,) if below is None else self.facts_in(below)

    def label(self, name: str) -> str:
        """The wording of a fact or derived name for people."""
        return self.labels.get(name, name)

    def shown(self, node: AnyTyped) -> Shown:
        """How a value is shown: in its fact's unit, or in the usual one of its dimension."""
        kind = node.type
        found = shown(node, self._unit(node, kind) if isinstance(kind, NumberType) else "", self.vocabulary)
        below, above = self.below.get(node.name, _NO_WORDS) if isinstance(node, typed.Read) else _NO_WORDS
        return replace(found, below=below, above=above) if below else found

    def _unit(self, node: AnyTyped, kind: NumberType) -> str:
        for name in typed.reads(node):
            unit = self.units.get(name, "")
            slot = self.names.facts.get(name)
            if unit and isinstance(slot, NumberType) and slot.dimension == kind.dimension:
                return unit
        return DEFAULT_UNITS.get(str(kind.dimension), "") if kind.dimension != NUMBER else ""

    def template(self, parent: YamlMapping, key: str, extra: Mapping[str, Shown]) -> Template:
        """A reason with values in `{braces}`, and `[words told where their values are known|else these]`.

        `extra` are names it may use beside facts.
        """
        node = parent.entries.get(key)
        if node is None:
            return ()
        if not isinstance(node, Scalar) or not node.value:
            self.shape.complain(node, f"`{key}` is empty" if isinstance(node, Scalar) else f"`{key}` is a text")
            return ()
        return self.template_of(node, extra)

    def template_of(self, node: Scalar, extra: Mapping[str, Shown]) -> Template:
        """Read a reason's text."""
        text, end = node.value or "", 0
        parts: list[str | Shown | IfKnown] = []
        bare = _HOLE.sub(lambda hole: " " * len(hole.group()), text)
        alone = _SIGN.search(_IF_KNOWN.sub(lambda part: " " * len(part.group()), bare))
        if alone:
            message, help = f"`{alone.group()}` has no partner", _PAIRED[alone.group() in "{}"]
            self.shape.problems.append(node.problem_at(alone.start(), message, help))
        for found in _IF_KNOWN.finditer(bare):
            parts += self._words(node, end, found.start(), extra)
            words, other = (
                self._words(node, *found.span(group), extra) if found.group(group) else [] for group in (1, 2)
            )
            if "{" not in text[slice(*found.span(1))]:
                help = "words in `[brackets]` are told where the values among them are known: name one in `{braces}`"
                self.shape.problems.append(node.problem_at(found.start(), "no value stands in `[brackets]`", help))
            parts.append(IfKnown(tuple(words), tuple(other)))
            end = found.end()
        return (*parts, *self._words(node, end, len(text), extra))

    def _words(self, node: Scalar, start: int, end: int, extra: Mapping[str, Shown]) -> list[str | Shown]:
        """Fixed words and values in turn, of a part of a text."""
        text = node.value or ""
        parts: list[str | Shown] = []
        for hole in _HOLE.finditer(text, start, end):
            parts += [text[start : hole.start()]] if hole.start() > start else []
            value = self._hole(node, hole, extra)
            parts += [value] if value else []
            start = hole.end()
            unit = _UNIT.match(text, start)
            if value and unit and isinstance(value.node.type, NumberType):
                message = f"`{{{hole.group(1)}}}` is told with its unit, so that `{unit.group().strip()}` stands twice"
                help = "leave the unit out: it is told in the reader's own"
                self.shape.problems.append(node.problem_at(start, message, help))
        rest = text[start:end]
        return [*parts, rest] if rest else parts

    def _hole(self, node: Scalar, hole: "re.Match[str]", extra: Mapping[str, Shown]) -> Shown | None:
        name, start = hole.group(1), hole.start(1)
        if name in extra:
            return replace(extra[name], told=name)
        if name == "margin":
            message = "`{margin}` needs a `requires` that is one comparison of two numbers"
            self.shape.problems.append(node.problem_at(start, message, "name the figures instead"))
            return None

        def problem_at(offset: int, message: str, help: str = "") -> Problem:
            return node.problem_at(start + offset, message, help)

        found = self._checked(Source(name, problem_at))
        return None if found is None else replace(self.shown(found), told=name)

    def margin(self, requires: AnyTyped) -> Shown | None:
        """By how much a comparison of two numbers fails: the greater side less the lesser."""
        match requires:
            case typed.LessOrEqual(left=small, right=great):
                pass
            case typed.Not(operand=typed.LessOrEqual(left=great, right=small)):
                pass
            case _:
                return None
        kind = small.type
        assert isinstance(kind, NumberType)
        difference = typed.Arithmetic(NumberType(kind.dimension), "-", small, great)
        return self.shown(difference)
