"""What people write of a fact, in the plain forms that the reader takes: `2 in drop`, `two bikes`, `350 lb max`.

Words are the rulebook's: by which word a figure is below zero, and how numbers are said. Nothing is guessed: what can
be read in two ways is refused, with both.
"""

import re
from collections.abc import Mapping
from functools import partial
from typing import Final

from fitsvc.document import Json
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.language.quantities import LONGEST_TEXT, UNITS, QuantityError, is_plainest, parse_quantity
from fitsvc.language.types import ListType, NumberType
from fitsvc.rulebook.rules import Rulebook
from fitsvc.rulebook.vocabulary import Fact
from fitsvc.tongues import t

_TWO: Final = 2
LONGEST: Final = 80
"""Characters of a figure with its words; a longer text is no figure."""
_PLUS_MINUS: Final = re.compile(r"\s*(?:±|\+-|\+/-)\s*")
_FROM_TO: Final = re.compile(
    r"\s*(?:(?P<between>between)|from)?\s*(?P<low>-?[\d.¼½¾⅛⅜⅝⅞].*?)\s*"
    r"(?:\bto\b|(?(between)\band\b|\bto\b)|–|—)\s*(?P<high>\d.*?)\s*\Z",
    re.IGNORECASE,
)
_FIGURE: Final = r"\d+(?:,\d{3})*(?:\.\d+)?"
_FIGURES: Final = re.compile(rf"\s*(?P<low>{_FIGURE})\s*-\s*(?P<high>{_FIGURE}(?:\s*[^\s\d/,.-][^\d/]*)?)\s*\Z")
"""A figure from one to another: `5 to 6 in`, `between 4 and 5 in`, `5-6 in`, `3,001 - 4,000 lb`."""
_ITS_UNIT: Final = re.compile(r"\s*[A-Za-z][^\d]*\Z|\s*[\"'″′°%#]\Z")
_BOUND: Final = re.compile(r"\s*at (least|most)\s+", re.IGNORECASE)
_SIGN: Final = re.compile(r"\s*(?P<sign>[<>≤≥]=?|=[<>])\s*(?P<figure>[\d.¼½¾⅛⅜⅝⅞].*)", re.DOTALL)
_OR: Final = re.compile(
    r"\s*(?P<figure>\d.*?)"
    r"(?:\s*,?\s*or (?:(?P<less>less|fewer|under|lighter)|more|over|heavier)|(?<=[\w#\"'″′])\s*\+)\s*\Z",
    re.IGNORECASE,
)
"""A bound by a sign or behind its figure: `<600 lb`, `≥ 3 in`, `600 lb or less`, `350 lb+`."""
_BETWEEN: Final = re.compile(r"\s*(?:,|;|\band\b)\s*(?=at (?:least|most)\b)", re.IGNORECASE)
_EXACT: Final = re.compile(r"\s*exactly\s+", re.IGNORECASE)
_MOST: Final = re.compile(r"\s*(?:up to|no more than|not more than)\s+(?P<figure>.+?)\s*\Z", re.IGNORECASE)
_MAX: Final = re.compile(
    r"\s*(?:max(?:imum|\.)?\s+(?P<behind>.+?)|(?P<before>.+?)[\s,(]+max(?:imum|\.)?\)?)\s*\Z", re.IGNORECASE
)
_ROUGH: Final = re.compile(
    r"\s*(?:(?:about|approx(?:imately|\.)?|around|roughly|circa|ca\.?)\s|[~≈])\s*(?P<behind>.+?)\s*\Z"
    r"|\s*(?P<before>.+?)\s+or so\s*\Z",
    re.IGNORECASE,
)
_SHAPE: Final = re.compile(r"[\s,]+(?:square|sq\.?|dia\.?|diameter|round|tube)\s*\Z", re.IGNORECASE)
"""What is said behind a nominal size of the shape that it measures: `2 in square`, `5/8 in dia.`."""
_PLUS: Final = re.compile(
    r"\s*\+\s*(?P<figure>(?=[\d.¼½¾⅛⅜⅝⅞])[\d.,/⁄¼½¾⅛⅜⅝⅞ -]*[\d¼½¾⅛⅜⅝⅞]\s*(?P<unit>[^\W\d]*\.?|[\"″”]))\s*\Z", re.ASCII
)
"""A figure with a plus before it and nothing behind it but its unit: `+2 in`."""
_EITHER: Final = re.compile(r"\s*(?P<one>\w.*?)\s+(?:or|o)\s+(?P<other>\w.*?)\s*\Z", re.IGNORECASE | re.DOTALL)
"""One of two, and it is not said which: `1 or 2`, `10 or 12 lb`, `pickup or suv`."""
_APART: Final = re.compile(r"[\s_-]+")


def parted(wire: Json) -> Json:
    """A figure in one text as its parts: `3 in ± 1/8 in`, `at least 3 in`, `<4 in`; any other value as it is."""
    if not isinstance(wire, str):
        return wire
    if len(wire) <= LONGEST:
        wire = _bound_in_words(wire)
    if _BOUND.match(wire):
        return _bounds_of(wire)
    if len(wire) <= LONGEST and (found := _FROM_TO.match(wire) or _FIGURES.match(wire)):
        low, high = found["low"], found["high"]
        unit = _ITS_UNIT.search(high)
        return {"at_least": low if _ITS_UNIT.search(low) or not unit else f"{low}{unit[0]}", "at_most": high}
    parts = _PLUS_MINUS.split(wire)
    return {"value": parts[0].strip(), "tolerance": parts[1].strip()} if len(parts) == 2 else wire


def _too_long(wire: Json) -> bool:
    """Whether a part of a figure is longer than figures are, blanks too: it is refused where it is read."""
    return isinstance(wire, str) and len(wire) > LONGEST_TEXT


def _bound_in_words(text: str) -> str:
    """A bound by its words: less than a figure is at most that, so that nothing that may be so is left out."""
    if found := _SIGN.match(text):
        return f"at {'most' if set(found['sign']) & set('<≤') else 'least'} {found['figure'].strip()}"
    if found := _OR.match(text):
        return f"at {'most' if found['less'] else 'least'} {found['figure'].strip()}"
    return text


def _bounds_of(text: str) -> Json:
    """`at least 3 in, at most 4 in` as bounds; the text itself when one of them is given twice."""
    bounds: dict[str, Json] = {}
    for part in _BETWEEN.split(text):
        found = _BOUND.match(part)
        key = f"at_{found[1].lower()}" if found else ""
        if not found or key in bounds:
            return text
        bounds[key] = part[found.end() :].strip()
    return bounds


def exact(wire: Json) -> bool:
    """Whether a figure is said to be exact: `exactly 4 in`."""
    return isinstance(wire, str) and _EXACT.match(wire) is not None


def as_exact(wire: Json) -> Json:
    """A figure without the word that says it is exact."""
    return _EXACT.sub("", wire) if isinstance(wire, str) else wire


def without_plus(fact: Fact, text: str) -> str:
    """A figure without the plus before it, where a fact may be below zero too: `+2 in`; any other text as it is."""
    may_be_below = isinstance(fact.type, NumberType) and fact.range is not None and fact.range[0] < 0.0
    found = _PLUS.match(text) if may_be_below and "+" in text else None
    is_unit = found is not None and (not found["unit"] or found["unit"].rstrip(".").casefold() in UNITS)
    return found["figure"] if found is not None and is_unit else text


class PlainForms:
    """What people write of the facts of a rulebook."""

    def __init__(self, rulebook: Rulebook) -> None:
        self._numbers, self._words = rulebook.words.numbers, rulebook.vocabulary.words
        self._stands_for = {word: one for word, (one, *more) in rulebook.words.stands_for.items() if not more}
        self._called = {
            (name, form): members
            for name, said in rulebook.words.called.items()
            for word, members in said.items()
            for form in _forms(word)
        }
        self._not_judged = {
            (one.of, form): one.instead
            for one in rulebook.words.not_judged
            for word in one.said
            for form in _forms(word)
        }
        self._ratings = frozenset(hazard.rating for hazard in rulebook.hazards)
        self.bounds, self._not_known = Bounding(rulebook.words.bounds), frozenset(rulebook.words.not_known)
        self._said: dict[str, dict[str, bool]] = {}
        for figure in rulebook.words.figures:
            for name in figure.facts:
                words = self._said.setdefault(name, {})
                words |= {form: figure.below_zero for word in figure.said for form in (word, f"{word}s")}

    def plain(self, fact: Fact, wire: Json) -> Json:
        """A value in a plain form; ProblemsFound where it has two readings."""
        if isinstance(fact.type, NumberType):
            if isinstance(wire, Mapping):
                return {key: one if _too_long(one) else self._figure(fact, one, f"/{key}") for key, one in wire.items()}
            bare = isinstance(wire, str) and self.takes_bare(fact) and is_plainest(wire)
            return wire if bare else self._figure(fact, wire)
        if isinstance(fact.type, ListType):
            if isinstance(wire, list):
                return [self._member(fact, one, f"/{i}") for i, one in enumerate(wire)]
            return self._member(fact, wire)
        if fact.kind != "text":
            self._hold_to_telling(fact, wire)
        return wire

    def _hold_to_telling(self, fact: Fact, wire: Json, pointer: str = "") -> None:
        """Refuse a word that says that a fact is not known: it is left out, so that nobody takes it for told."""
        if isinstance(wire, str) and len(wire) <= LONGEST and wire.strip().casefold() in self._not_known:
            message = t("`{strip}` tells nothing of {the}", strip=wire.strip(), the=fact.the)
            raise _refused(message, t("leave it out where it is not known"), pointer)

    def takes_bare(self, fact: Fact) -> bool:
        """Whether no word of a number's own may stand with it, so that a figure and its unit are all there is to it."""
        return not (fact.kind == "count" or fact.below_zero or fact.name in self._said)

    def _member(self, fact: Fact, wire: Json, pointer: str = "") -> Json:
        """A member of a list by its name or its words, whatever parts them and however large their letters are.

        One that goes by other words of the trade is refused with what they stand for.
        """
        assert isinstance(fact.type, ListType)
        if not isinstance(wire, str) or wire in fact.type.members or len(wire) > LONGEST:
            return wire
        words, said = self._words.get(fact.kind, {}), _loosely(wire)
        loosely = {one: (_loosely(one), _loosely(words.get(one, one))) for one in fact.type.members}
        meant = [one for one, forms in loosely.items() if said in forms]
        if len(meant) == 1:
            return meant[0]
        self._hold_to_telling(fact, wire, pointer)
        sides = [_loosely(side) for side in found.groups()] if (found := _EITHER.match(wire)) else []
        both = [one for side in sides for one, forms in loosely.items() if side in forms]
        if len(both) == len(set(both)) == _TWO and not fact.type.sizes:
            help = t("where it may be either, write a list of both, in a cell `{cell}`", cell=" | ".join(both))
            raise _refused(t("`{strip}` does not say which", strip=wire.strip()), help, pointer)
        if fact.type.sizes and (shape := _SHAPE.search(wire)):
            return wire[: shape.start()]
        if instead := self._not_judged.get((fact.kind, said)):
            raise _refused(t("`{strip}` is not judged here", strip=wire.strip()), t(instead), pointer)
        other = " ".join(self._stands_for.get(word, word) for word in said.split())
        near = self._called.get((fact.kind, said)) or tuple(
            one for one, forms in loosely.items() if other in forms and other != said
        )
        if near:
            shown = t("` or `").join(near)
            help = t("did you mean `{near}`? It is one of ", near=shown) + ", ".join(
                f"`{one}`" for one in fact.type.members
            )
            raise _refused(t("`{strip}` is not a choice for {the}", strip=wire.strip(), the=fact.the), help, pointer)
        return wire

    def _figure(self, fact: Fact, wire: Json, pointer: str = "") -> Json:
        """One figure without the words that say no more of it, or what it is at the most."""
        if not isinstance(wire, str) or len(wire) > LONGEST:
            return wire
        self._hold_to_telling(fact, wire, pointer)
        said, wire = wire, self.bounds.plain(wire if pointer == "/tolerance" else without_plus(fact, wire))
        if (rough := _ROUGH.match(wire)) and any(map(str.isdigit, wire)):
            figure = rough["behind"] or rough["before"]
            help = t(
                "write `{figure} ± ...`, or from what to what it may be: it is taken as exactly as it is told",
                figure=figure,
            )
            raise _refused(
                t("`{strip}` does not say how far off {the} may be", strip=said.strip(), the=fact.the), help, pointer
            )
        text = self._of_rating(fact, wire, pointer)
        if not isinstance(text, str):
            return text
        figure, below = self._without_words(fact, text.strip())
        if fact.kind == "count":
            counted, _, of_what = figure.rpartition(" ")
            figure = counted if of_what.casefold() in fact.label.split() else figure
            figure = self._numbers.get(figure.casefold(), figure)
        if (either := _EITHER.match(figure)) and not below and not pointer:
            self._refuse_either(fact, said, [either["one"], either["other"]])
        return _below(parted(figure), wire, pointer) if below else figure

    def _refuse_either(self, fact: Fact, said: str, figures: list[str]) -> None:
        """Refuse one of two figures, with how to tell that it may be either; of what is no figure nothing is said."""
        assert isinstance(fact.type, NumberType)
        figures = [self._numbers.get(one.casefold(), one) if fact.kind == "count" else one for one in figures]
        if (unit := _ITS_UNIT.search(figures[1])) and not _ITS_UNIT.search(figures[0]):
            figures[0] += unit[0]
        try:
            low, high = sorted(figures, key=partial(parse_quantity, dimension=fact.type.dimension))
        except QuantityError:
            return
        help = t("write `at least {low}, at most {high}` where it may be either", low=low, high=high)
        raise _refused(t("`{strip}` does not say which", strip=said.strip()), help, "")

    def _of_rating(self, fact: Fact, text: str, pointer: str) -> Json:
        """A rating that is told as the most there may be, which it is; of any other figure that is its bound."""
        most, max_ = _MOST.match(text), _MAX.match(text)
        figure = most["figure"] if most else (max_["behind"] or max_["before"]) if max_ else None
        if figure is None or not any(map(str.isdigit, figure)):
            return text
        if fact.name in self._ratings:
            return figure
        if most and not pointer:
            return {"at_most": figure}
        message = t("`{strip}` could be {figure}, or no more than that", strip=text.strip(), figure=figure)
        raise _refused(message, t("write `{figure}`, or `at most {figure}` if it may be less", figure=figure), pointer)

    def _without_words(self, fact: Fact, text: str) -> tuple[str, bool]:
        """A figure without the words behind it that say what it is of, and whether by them it is below zero."""
        said = self._said.get(fact.name, {}) | ({fact.below_zero: True} if fact.below_zero else {})
        said |= {fact.above_zero: False} if fact.above_zero else {}
        for word in sorted(said, key=len, reverse=True):
            if text.casefold().endswith(f" {word}".casefold()):
                return text[: -len(word)].strip(), said[word]
        return text, False


class Bounding:
    """The words by which people say what a figure is at least or at most, in the plain ones that the reader takes."""

    def __init__(self, bounds: Mapping[str, str]) -> None:
        self._forms = [(_form(said), bounds[said].replace("...", "{}")) for said in sorted(bounds, key=len)[::-1]]
        words = {re.escape(word.strip()) for said in bounds for word in said.split("...") if len(word.strip()) > 1}
        self._any = re.compile("|".join(sorted(words)) or r"(?!)", re.IGNORECASE)

    def plain(self, text: str) -> str:
        """A figure with such words in the plain ones; any other text as it is."""
        if self._any.search(text) is None or not any(map(str.isdigit, text)):
            return text
        for form, plain in self._forms:
            if found := form.match(text):
                return plain.format(*found.groups())
        return text

    def as_bound(self, text: str) -> str:
        """The same, but for what only tells about how much it is: that is refused in its own words."""
        plain = self.plain(text)
        return text if _ROUGH.match(plain) else plain


def _form(said: str) -> re.Pattern[str]:
    """How words stand around their figures, parted by blanks."""
    parts = [part.strip() for part in re.split(r"(\.\.\.)", said) if part.strip()]
    around = r"[\s,]+".join(r"(\S.*?)" if part == "..." else re.escape(part) for part in parts)
    return re.compile(rf"\s*{around}\s*\Z", re.IGNORECASE)


def _below(told: Json, wire: str, pointer: str) -> Json:
    """A figure below zero that is told without its sign, or its parts: the more of it, the lower it is."""
    parts = told if isinstance(told, dict) else {"value": told}
    if any(isinstance(part, str) and part.lstrip().startswith(("-", "−")) for part in parts.values()):
        raise _refused(
            t("`{strip}` is below zero twice", strip=wire.strip()),
            t("write it with the sign or with the word"),
            pointer,
        )
    if any(isinstance(part, str) and part.lstrip().startswith("+") for part in parts.values()):
        raise _refused(
            t("`{strip}` is above zero by its sign and below it by its word", strip=wire.strip()),
            t("write it with the sign or with the word"),
            pointer,
        )
    turned = {"at_least": "at_most", "at_most": "at_least"}
    signed = {turned.get(key, key): part if key == "tolerance" else f"-{part}" for key, part in parts.items()}
    return signed if isinstance(told, dict) else signed["value"]


def _loosely(text: str) -> str:
    """A text by its letters and figures: `SUV` as `suv`, `Bike carrier` as `bike_carrier`."""
    return _APART.sub(" ", text.strip()).casefold()


def _forms(word: str) -> tuple[str, str]:
    """The forms that a word for a choice is found by, of one and of several."""
    return _loosely(word), f"{_loosely(word)}s"


def _refused(message: str, help: str, pointer: str) -> ProblemsFound:
    return ProblemsFound([Problem(message, help, pointer=pointer)])
