"""A rulebook in other languages: `words/CODE.yaml` has words for every text, found by its English.

`texts` are words for texts, `labels` those for labels, which stand behind their article, one of `articles`, so that
sentences have both. `joins` are what two words come to where they meet. In a reason the same values
stand in `{braces}`, in any order.
"""

import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import fields, is_dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any, Final, TypeVar

from fitsvc.language.truth import WORDS
from fitsvc.rulebook import rules as book
from fitsvc.rulebook.folder import yaml_files
from fitsvc.rulebook.roles import Role
from fitsvc.rulebook.rules import IfKnown, Rulebook, Shown, Template
from fitsvc.rulebook.tongue_files import HOLE, SECTIONS, read_words_file, why_not_told, words_in
from fitsvc.rulebook.vocabulary import Fact, Subject, Vocabulary
from fitsvc.rulebook.words import Apart, NotJudged, WishAsked
from fitsvc.tongues import ENGLISH, Tongue, is_clause, is_language

_LABELS: Final = (
    (Fact, "label"),
    (book.Derived, "label"),
    (book.Opening, "label"),
    (book.Rating, "label"),
    (Role, "label"),
)
_TEXTS: Final = frozenset((
    *_LABELS,
    (Subject, "title"), (Fact, "meaning"), (Fact, "how_to_measure"), (Fact, "below_zero"), (Role, "meaning"),
    (book.Rule, "title"), (book.Rule, "remedy"), (book.Limit, "title"), (book.Limit, "quantity"), (book.Need, "title"),
    (book.Allowance, "title"), (book.Allowance, "assumed_as"), (book.Loading, "called"), (book.TrialState, "title"),
    (book.TableEntry, "title"),
    (book.RowTold, "asks"), (book.Reference, "because"), (Apart, "told"), (Apart, "told_of_one"),
    (WishAsked, "words"), (NotJudged, "instead"), (Shown, "words"), (Shown, "below"), (Vocabulary, "words"),
    (Rulebook, "topics"), (Fact, "above_zero"), (Shown, "above"),
))  # fmt: skip
"""The fields that are for people; what else is text is a name."""
_TEMPLATES: Final = frozenset(
    (
        (book.Rule, "fails"),
        (book.Rule, "unknown"),
        (book.Need, "because"),
        (book.Need, "unknown"),
        (book.Caution, "text"),
    )
)
_KEPT: Final = frozenset(
    ("examples", "signed", "hazards", "helps", "bodies", "side_view", "node", "guard", "requires", "met")
)
"""Fields without texts, passed over."""
_WORD: Final = re.compile(r"\b[a-z]{3,}\b")
"""A word of a citation that is no name."""
_IF_KNOWN: Final = re.compile(r"\[([^\[\]|]*)(?:\|([^\[\]|]*))?\]")
T = TypeVar("T")


def text_of(template: Template) -> str:
    """A reason as it is written: with its values in braces, and in brackets what is told where they are known."""
    return "".join(
        f"[{text_of(part.words)}{'|' + text_of(part.otherwise) if part.otherwise else ''}]"
        if isinstance(part, IfKnown)
        else part
        if isinstance(part, str)
        else f"{{{part.told}}}"
        for part in template
    )


def templates_of(rulebook: Rulebook) -> dict[str, Template]:
    """Every reason of a rulebook, by how it is written."""
    noted = _Noting()
    noted.one(rulebook)
    return noted.templates


def texts_of(rulebook: Rulebook) -> list[str]:
    """Every text of a rulebook that is for people, once."""
    noted = _Noting()
    noted.one(rulebook)
    return list(dict.fromkeys((*noted.texts, *rulebook.topics, *_lists(rulebook), *_cites(rulebook), *WORDS)))


def _lists(rulebook: Rulebook) -> Iterator[str]:
    """The lists that facts are chosen from, as they are called."""
    yield from (name.replace("_", " ") for name in rulebook.vocabulary.lists)


def _cites(rulebook: Rulebook) -> Iterator[str]:
    """What reasons cite of laws by tables, where words stand about the name, as of a page that tells of one."""
    cites = (row.source.cite for table in rulebook.tables.values() for row in table.rows.values())
    yield from (cite for cite in cites if _WORD.search(cite))


def labels_of(rulebook: Rulebook) -> set[str]:
    """The labels among a rulebook's texts, but for clauses: their words stand behind an article."""
    noted = _Noting()
    noted.one(rulebook)
    return {label for label in noted.labels if not is_clause(label)}


def in_tongue(rulebook: Rulebook, one: Tongue) -> Rulebook:
    """The same rulebook with its texts in a language."""
    return rulebook if one is ENGLISH else _Saying(one).one(rulebook)


class _Walk:
    """Goes through all of a rulebook and makes it anew, each object once."""

    def __init__(self) -> None:
        self._made: dict[int, tuple[Any, Any]] = {}

    def text(self, text: str, label: bool) -> str:
        """A text's words."""
        raise NotImplementedError

    def template(self, template: Template) -> Template:
        """A reason's words."""
        raise NotImplementedError

    def one(self, value: T) -> T:
        """A value, and what is within it."""
        known = self._made.get(id(value))
        if known is None:
            self._made[id(value)] = known = (value, self._anew(value))
        found: T = known[1]
        return found

    def _anew(self, value: Any) -> Any:
        if is_dataclass(value) and not isinstance(value, type):
            changed = {name: self._field(value, name) for name in _names(type(value))}
            return replace(value, **{name: one for name, one in changed.items() if one is not getattr(value, name)})
        if isinstance(value, tuple):
            found = tuple(self.one(one) for one in value)
            return value if all(a is b for a, b in zip(found, value, strict=True)) else found
        if isinstance(value, Mapping):
            return {key: self.one(one) for key, one in value.items()}
        return value

    def _field(self, value: Any, name: str) -> Any:
        is_, held = (type(value), name), getattr(value, name)
        if is_ in _TEMPLATES:
            return self.template(held)
        return self._said(held, is_ in _LABELS) if is_ in _TEXTS else self.one(held)

    def _said(self, held: Any, label: bool) -> Any:
        """A text, or each of several, in place of it."""
        if isinstance(held, str):
            return self.text(held, label) if held else held
        if isinstance(held, tuple):
            return tuple(self._said(one, label) for one in held)
        return {key: self._said(one, label) for key, one in held.items()}


class _Noting(_Walk):
    """Notes every text."""

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.labels: list[str] = []
        self.templates: dict[str, Template] = {}

    def text(self, text: str, label: bool) -> str:
        self.texts.append(text)
        self.labels += [text] if label else []
        return text

    def template(self, template: Template) -> Template:
        if template:
            text = text_of(template)
            self.texts.append(text)
            self.templates[text] = template
        return template


class _Saying(_Walk):
    """Puts every text into a language."""

    def __init__(self, one: Tongue) -> None:
        super().__init__()
        self._tongue = one

    def text(self, text: str, label: bool) -> str:
        return self._tongue.say(text)

    def template(self, template: Template) -> Template:
        text = text_of(template)
        said = self._tongue.say(text)
        if said == text:
            return tuple(self._shown(part) for part in template)
        return tuple(read_said(said, {one.told: self.one(one) for one in book.values_of(template)}))

    def _shown(self, part: str | Shown | IfKnown) -> str | Shown | IfKnown:
        return part if isinstance(part, str) else self.one(part)


def read_said(text: str, values: Mapping[str, Shown]) -> Iterator[str | Shown | IfKnown]:
    """A reason of a language, with the values of the English one; KeyError where it names another."""
    end = 0
    bare = HOLE.sub(lambda hole: " " * len(hole.group()), text)
    for found in _IF_KNOWN.finditer(bare):
        yield from _words(text[end : found.start()], values)
        words, otherwise = (text[slice(*found.span(group))] if found.group(group) else "" for group in (1, 2))
        yield IfKnown(tuple(_words(words, values)), tuple(_words(otherwise, values)))
        end = found.end()
    yield from _words(text[end:], values)


def _words(text: str, values: Mapping[str, Shown]) -> Iterator[str | Shown]:
    for place, part in enumerate(HOLE.split(text)):
        if place % 2:
            yield values[part]
        elif part:
            yield part


@cache
def _names(cls: type[Any]) -> tuple[str, ...]:
    return tuple(one.name for one in fields(cls) if one.name not in _KEPT)


def read_tongues(*folders: Path) -> dict[str, Tongue]:
    """The languages that some folders have words for, by their codes; ProblemsFound says what is wrong with a file.

    Words that cannot be told for their text are left out, so that it is told in English: see `translated`.
    """
    found: dict[str, dict[str, dict[str, str]]] = {}
    for path in (path for folder in folders if folder.is_dir() for path in yaml_files(folder)):
        if not is_language(path.stem):
            continue
        parts = found.setdefault(path.stem, {section: {} for section in SECTIONS})
        for section, told in _read(path):
            parts[section].update(told)
    return {code: tongue_of(code, *parts.values()) for code, parts in found.items()}


def tongue_of(
    code: str,
    texts: Mapping[str, str],
    labels: Mapping[str, str],
    joins: Mapping[str, str] | None = None,
    articles: Collection[str] = (),
) -> Tongue:
    """A language of some words: each label's stand behind their article, and without it where it is told alone."""
    said, spoken = dict(texts), dict[str, str]()
    for label, words in labels.items():
        first, _, rest = words.partition(" ")
        said[label] = rest if first in articles else words
        spoken[said[label]] = words
    met = tuple((join_of(meet), written) for meet, written in (joins or {}).items())
    return Tongue(code=code, texts=said, spoken=spoken, joins=met)


def join_of(meet: str) -> re.Pattern[str]:
    """What finds two words that meet; `re.error` where it is no pattern."""
    return re.compile(rf"\b{meet}\b")


def can_join(meet: str, written: str) -> bool:
    """Whether what finds words that meet, and what they come to, can be read."""
    try:
        join_of(meet).sub(written, "")
    except (re.error, IndexError):
        return False
    return True


def _read(path: Path) -> Iterator[tuple[str, dict[str, str]]]:
    tree = read_words_file(path)
    for section in tree.entries:
        words = {text: one.value or "" for text, one in words_in(tree, section).items()}
        if section == "joins":
            words = {meet: written for meet, written in words.items() if can_join(meet, written)}
        elif section != "articles":
            words = {text: one for text, one in words.items() if why_not_told(text, one) is None}
        yield section, words
