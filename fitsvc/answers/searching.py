"""What is typed, as what it may mean: words with what they stand for, figures bound to the facts they are of.

A text is read to terms, each with steps from the strictest to the loosest: as it is written, joined or parted, with one
letter wrong. Of a term the first step counts that anything goes by. What goes by most of the terms is found, the
rarer ones counting for much more, so that no text comes to nothing as long as one word of it goes by something.
"""

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import log
from typing import Any, Final
from unicodedata import normalize

import numpy as np
from numpy.typing import NDArray

from fitsvc.facts import FactReader
from fitsvc.language.intervals import TOLERANCE
from fitsvc.language.problems import ProblemsFound
from fitsvc.language.types import NumberType, Value
from fitsvc.rulebook.words import Figure
from fitsvc.tongues import t

MOST_TERMS: Final = 8
"""Terms of a text that are looked for; whoever types more has found it or never will."""
LONGEST_WORD: Final = 40
_SHORTEST_NEAR: Final = 4
"""Letters of a word that may have one wrong: of three letters any other word is as near."""
_SHORTEST_JOINED: Final = 5
_UNITS: Final = {
    **dict.fromkeys(("in", "inch", "inches", '"', "pulg", "pulgada", "pulgadas"), "in"),
    **dict.fromkeys(("lb", "lbs", "libra", "libras"), "lb"),
    **dict.fromkeys(("kg", "kilo", "kilos"), "kg"),
    "mm": "mm",
}
_TOKEN: Final = re.compile(
    r"(?<![\w/.-])(?P<number>\d+(?:[- ]\d+/\d+|/\d+|\.\d+)?)"
    r"(?:[- ]?(?P<unit>in(?:ch(?:es)?)?|pulg(?:adas?)?|\"|mm|lbs?|libras?|kg|kilos?)(?!\w)|(?![\w/.])(?!-\w))"
    r"|(?P<word>[^\s,;()]+)",
    re.ASCII,
)

Flags = NDArray[np.bool_]
Facts = tuple[tuple[str, Value], ...]


@dataclass(frozen=True, slots=True)
class SearchStep:
    """One way to go by a term: a pattern in what is told of a record, or any of some facts; `near` is not quite so."""

    pattern: str = ""
    facts: Facts = ()
    near: bool = False

    def holds(self, told: str, values: Mapping[str, Value]) -> bool:
        """Whether a record goes by it."""
        by_text = bool(self.pattern) and _compiled(self.pattern).search(told) is not None
        return by_text or any(same(values.get(name), value) for name, value in self.facts)


@dataclass(frozen=True, slots=True)
class Term:
    """A word or figure as it was typed, and its steps."""

    said: str
    steps: tuple[SearchStep, ...]


@dataclass(frozen=True, slots=True)
class Found:
    """What goes by a text, part by part; words taken as the nearest there are, and words that were left out.

    `note` says what was made of a text that is no words, and `unsure` that it may mean another record as well.
    """

    flags: Sequence[Flags]
    near: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()
    note: str = ""
    unsure: bool = False

    @property
    def exact(self) -> bool:
        """Whether every word was found as it is."""
        return not self.near and not self.left_out and not self.unsure

    @property
    def told(self) -> str:
        """What was made of the text where that is not the text itself, as a sentence; empty where it is."""
        if self.note:
            return self.note
        if not any(one.any() for one in self.flags):
            return t("Nothing goes by {quoted}.", quoted=_quoted(self.left_out)) if self.left_out else ""
        near = t("Nothing goes by {quoted}; the nearest is shown.", quoted=_quoted(self.near)) if self.near else ""
        left = (
            t("Nothing of it goes by {quoted}; shown without.", quoted=_quoted(self.left_out)) if self.left_out else ""
        )
        return " ".join(filter(None, (near, left)))


def same(known: Value | None, wanted: Value) -> bool:
    """Whether a fact is surely so."""
    if isinstance(known, tuple) and isinstance(wanted, tuple):
        return all(abs(one - other) <= TOLERANCE for one, other in zip(known, wanted, strict=True))
    return known is not None and known == wanted


def terms_of(text: str, reader: FactReader) -> tuple[Term, ...]:
    """What a text may mean by a rulebook's words."""
    return _SearchReading(reader).terms(text)


def find(terms: Sequence[Term], parts: Sequence[Callable[[SearchStep], Flags]], count: int) -> Found:
    """What goes by most of the terms, of so many records in parts, each of which tells who goes by a step."""
    held: list[tuple[Term, SearchStep, list[Flags]]] = []
    for term in terms:
        for step in term.steps:
            flags = [part(step) for part in parts]
            if any(one.any() for one in flags):
                held.append((term, step, flags))
                break
    if not held:
        nobody = [np.zeros(len(part(SearchStep())), np.bool_) for part in parts]
        return Found(nobody, left_out=tuple(term.said for term in terms))
    weights = [log((count + 2) / sum(int(one.sum()) for one in flags)) ** 2 for *_, flags in held]
    scores = [_sum(weights, [flags[part] for *_, flags in held]) for part in range(len(parts))]
    best = max(float(one.max()) for one in scores if len(one))
    found = [one >= best - 1e-9 for one in scores]
    kept = {
        term.said: step
        for term, step, flags in held
        if all(not (hits & ~one).any() for hits, one in zip(found, flags, strict=True))
    }
    near = tuple(said for said, step in kept.items() if step.near)
    return Found(found, near, tuple(term.said for term in terms if term.said not in kept))


def flags_of(records: Sequence[tuple[str, Mapping[str, Value]]]) -> Callable[[SearchStep], Flags]:
    """Who of a few records goes by a step, each with what is told of it and its facts."""
    return lambda step: np.array([step.holds(told, values) for told, values in records], np.bool_)


def _sum(weights: Sequence[float], flags: Sequence[Flags]) -> NDArray[Any]:
    total = np.zeros(len(flags[0]))
    for weight, one in zip(weights, flags, strict=True):
        total += weight * one
    return total


@lru_cache(1024)
def _compiled(pattern: str) -> "re.Pattern[str]":
    return re.compile(pattern, re.ASCII)


def _quoted(words: Sequence[str]) -> str:
    return ", ".join(f"“{word}”" for word in words)


class _SearchReading:
    """One text being read."""

    def __init__(self, reader: FactReader) -> None:
        self.reader, self.words = reader, reader.rulebook.words

    def terms(self, text: str) -> tuple[Term, ...]:
        folded = normalize("NFC", text).casefold().translate(_QUOTES)
        folded = re.sub(r"(?<!\S)'(\d\d)(?!\S)", lambda year: f"{_century(year[1])}{year[1]}", folded)
        folded = re.sub(r"(?<=\d)-(?=[a-z]{3})", " ", folded)
        tokens, found, place = list(_TOKEN.finditer(folded)), list[Term](), 0
        while place < len(tokens) and len(found) < MOST_TERMS:
            term, used = self._term(tokens, place)
            found += [term] if term is not None else []
            place += used
        return tuple(found)

    def _term(self, tokens: "Sequence[re.Match[str]]", place: int) -> tuple[Term | None, int]:
        """The term that begins at a token, and how many tokens it takes."""
        token = tokens[place]
        after = tokens[place + 1]["word"] if place + 1 < len(tokens) else None
        number = token["number"] or self.words.numbers.get(token["word"] or "")
        figure = self._figure(after) if number and after else None
        if number and figure is None and (before := self._before(tokens, place)):
            figure = self._figure(before)  # as in `ball of 2 in`
        if number and (figure or token["number"]):
            ahead = bool(figure and figure.below_zero and after and self._figure(after))
            told = f"{token[0]} {after}" if ahead else token[0]
            unit = token["unit"] or ("in" if "/" in number else None)
            return self._number(told, number, unit, figure), 2 if ahead else 1
        word = token["word"][:LONGEST_WORD]
        return (None if word in self.words.passed_over else self._word(word)), 1

    def _before(self, tokens: "Sequence[re.Match[str]]", place: int) -> str:
        """The word before a token, those apart that tell nothing."""
        words = [token["word"] or "" for token in tokens[:place]]
        while words and words[-1] in self.words.passed_over:
            words.pop()
        return words[-1] if words else ""

    def _figure(self, word: str) -> Figure | None:
        singular = _singular(word)
        return next((one for one in self.words.figures if word in one.said or singular in one.said), None)

    def _number(self, said: str, number: str, unit: str | None, figure: Figure | None) -> Term:
        """A figure: of the facts that its word names, of any where it has a unit, and last of all as it is written."""
        steps = [SearchStep(facts=self._facts(number, unit, figure))] if figure else []
        if unit:
            steps += [SearchStep(facts=self._facts(number, unit, one)) for one in self.words.figures if not one.said]
        written = "|".join(
            map(re.escape, (number, *(word for word, one in self.words.numbers.items() if one == number)))
        )
        written = rf"{re.escape(number)} ?{_UNITS[unit]}\b" if unit else f"(?:{written})"
        steps.append(SearchStep(rf"(?:^|[^\w/.]){written}(?:[^\w/.]|$)"))
        return Term(said, tuple(step for step in steps if step.pattern or step.facts))

    def _facts(self, number: str, unit: str | None, figure: Figure) -> Facts:
        found: list[tuple[str, Value]] = []
        for name in figure.facts:
            fact = self.reader.vocabulary.facts[name]
            wanted = (unit and _UNITS[unit]) or ("" if fact.kind == "count" else "in")
            sign = "-" if figure.below_zero and isinstance(fact.type, NumberType) else ""
            try:
                found += self.reader.value(fact, f"{sign}{number} {wanted}".strip()).items()
            except ProblemsFound:
                continue  # no such size is known, or the figure is of another dimension
        return tuple(found)

    def _word(self, word: str) -> Term:
        meant = [word, *self.words.stands_for.get(word, ())]
        singular = _singular(word)
        if singular != word:
            meant += [singular, *self.words.stands_for.get(singular, ())]
        if "-" in word:
            meant.append(word.replace("-", " "))
        steps = [SearchStep("|".join(map(re.escape, dict.fromkeys(meant))))]
        letters = singular.replace("-", "")
        if len(letters) >= _SHORTEST_JOINED and letters.isalpha():
            steps.append(SearchStep("[ -]?".join(letters)))
        if len(singular) >= _SHORTEST_NEAR and singular.isalpha() and singular.isascii():
            steps.append(SearchStep(rf"\b(?:{'|'.join(_one_letter_off(singular))})s?\b", near=True))
        return Term(word, tuple(steps))


_QUOTES: Final = str.maketrans({"’": "'", "‘": "'", "′": "'", "”": '"', "“": '"', "″": '"', "‐": "-", "–": "-"})


def _century(year: str) -> str:
    """The first two digits of a year told by its last two: no vehicle of the next thirty years is meant."""
    return "20" if int(year) < 60 else "19"


def _singular(word: str) -> str:
    return word[:-1] if len(word) > 3 and word.endswith("s") and not word.endswith("ss") else word


def _one_letter_off(word: str) -> Iterator[str]:
    """Patterns of what differs from a word in one letter or two that change places; the first letter is right."""
    for i in range(1, len(word) + 1):
        yield f"{word[:i]}.{word[i:]}"  # one is missing
        if i < len(word):
            yield f"{word[:i]}.{word[i + 1 :]}"  # another, or none
            yield f"{word[:i]}{word[i + 1 :]}"
        if i + 1 < len(word):
            yield f"{word[:i]}{word[i + 1]}{word[i]}{word[i + 2 :]}"
