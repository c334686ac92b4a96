"""How an answer is told on its page: its sentence, its things to see to, what a reading just typed did, its links."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import segno
from markupsafe import Markup

from fitsvc.answers.answer import Answer, Remedy, SeeTo, ToSeeTo
from fitsvc.answers.parts import TOGETHER
from fitsvc.document import Document
from fitsvc.language.display import System
from fitsvc.language.typed import reads
from fitsvc.rulebook.rules import Rulebook
from fitsvc.service.counter.fields import sentence
from fitsvc.service.counter.links import REAR, Fields, link, write_fields
from fitsvc.tongues import later, t

JUST: Final = "just"
"""The field that says which reading was typed last, and the rule that it was to settle: `FACT:RULE`."""
_WORDS: Final = (later("Yes"), later("Only"), later("Not sure yet"), later("No"))
_SENTENCE: Final = re.compile(r"(?<=[.?!]) (?=[¿¡]?[A-ZÀ-ÞĀ-ſ])")
_SORTS: Final[Mapping[SeeTo, str]] = {
    "look at": later("look"),
    "find out": later("find out"),
    "do": later("do"),
    "have": later("get"),
}


@dataclass(frozen=True, slots=True)
class Headline:
    """The answer in one sentence, `word` first, and what is said after it that stands nowhere else on the page."""

    word: str
    said: str
    then: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Offer:
    """An item of the shelf that does: what it comes to, its number and figures, and the answer about it."""

    label: str
    sku: str
    outcome: str
    figures: str
    href: str


@dataclass(frozen=True, slots=True)
class Offered:
    """The best few items for one thing, none where no item does, and the page that lists all of their kind."""

    best: Sequence[Offer]
    all: str


@dataclass(frozen=True, slots=True)
class ToldThing:
    """One thing to see to, with what goes with it, its rule or need to look up, and what of the shelf meets it."""

    sort: str
    told: str
    also: Sequence[str]
    rule: str
    offered: Offered | None = None


@dataclass(frozen=True, slots=True)
class RemedyTold:
    """A change in a few words, what it comes to, its outcome, the link to its own answer, and the parts' numbers."""

    text: str
    then: str
    outcome: str
    href: str
    skus: str


def headline(answer: Answer, first: str) -> Headline:
    """The answer's sentence; `first` is what to find out first, which is then asked for below it."""
    found = re.match(rf"({'|'.join(re.escape(t(word)) for word in _WORDS)})\b[,.]?", answer.summary)
    word = found[0] if found else ""
    sentences = _SENTENCE.split(answer.summary[len(word) :].strip())
    said, rest = sentences[0], sentences[1:]
    # What to measure and what to see to stand below in full; that it holds over several vehicles stands here only.
    over = [one for one in rest[-1:] if answer.candidates]
    if answer.outcome == "undetermined" and first and not answer.together:
        said, rest = f"{first}.", over
    elif answer.outcome == "conditional" and answer.to_see_to:
        rest = over
    return Headline(word, said, " ".join(rest))


def things(found: Sequence[ToSeeTo], offers: Mapping[str, Offered]) -> list[ToldThing]:
    """The things to see to, as they are numbered; `offers` are what meets a need, by its name."""
    return [
        ToldThing(
            t(_SORTS[one.sort]),
            one.told,
            one.also,
            next(iter((*one.rules, *one.needs)), ""),
            next((offers[need] for need in one.needs if need in offers), None),
        )
        for one in found
    ]


def asked_for(answer: Answer, rulebook: Rulebook, fields: Mapping[str, str]) -> list[list[str]]:
    """What becomes of each thing that the customer asked to be possible, where nothing forbids it.

    It is asked for by a yes to a fact of the load. Told is the first rule that applies for that reason, if all of them
    hold, and then what has to be done for it.
    """
    if answer.outcome not in ("works", "conditional"):
        return []
    guards = {rule.id: rule.guard for rule in rulebook.rules}
    wished = [name for name, text in fields.items() if text == "yes" and name.startswith("load.")]
    found = []
    for name in wished:
        reading = [one for one in answer.findings if (guard := guards.get(one.rule)) and name in reads(guard)]
        if reading and all(one.result == "passes" for one in reading):
            starts = [one.text[0] for one in rulebook.cautions if one.guard and name in reads(one.guard)]
            to_do = [text for text in answer.cautions if any(isinstance(s, str) and text.startswith(s) for s in starts)]
            found.append([reading[0].reason, *to_do])
    return found


def just_typed(answer: Answer, just: str) -> str:
    """What the reading that was typed last did, by the rule that it was to settle; empty where nothing is to be said.

    It is told of a rule that holds only: what fails, or is still open, the answer's own sentence says.
    """
    fact, _, rule = just.partition(":")
    for one in answer.findings:
        if one.rule == rule and one.result == "passes" and fact in one.facts:
            spare = t(", {margin} to spare", margin=one.margin) if one.margin else ""
            return t(
                "{reading} is enough{spare}: {title}.",
                reading=sentence(one.facts[fact]),
                spare=spare,
                title=one.title[:1].lower() + one.title[1:].rstrip("."),
            )
    return ""


def just_of(rulebook: Rulebook, fields: Mapping[str, str]) -> str:
    """The field that says what was typed last, where it names a fact and a rule that there are; else empty."""
    just = fields.get(JUST, "")
    fact, _, rule = just.partition(":")
    known = fact in rulebook.vocabulary.facts and any(one.id == rule for one in rulebook.rules)
    return just if known else ""


def remedy_told(remedy: Remedy, shown: Mapping[str, str]) -> RemedyTold:
    """A change as the page tells it."""
    first: Document = next(iter(remedy.question.get(TOGETHER) or ()), {})
    # The first of several things is in the rig's own receiver on a page.
    told = remedy.question and first.get("hangs_on", REAR) == REAR
    href = link("/answer", {**write_fields(remedy.question), **shown}) if told else ""
    skus = ", ".join(remedy.skus or filter(None, (remedy.sku,)))
    text, found, then = remedy.because.partition(t(", it no longer fails"))
    if found:
        return RemedyTold(text, f"{t('It no longer fails')}{then}", remedy.outcome, href, skus)
    text, found, then = remedy.because.partition(t(", it works"))
    if not found:
        return RemedyTold(sentence(remedy.because), "", remedy.outcome, href, skus)
    return RemedyTold(text, sentence(then.strip(" .")) + "." * bool(then.strip(" .")), remedy.outcome, href, skus)


@lru_cache(maxsize=256)
def qr_code(address: str, label: str) -> Markup:
    """The address as a code that a telephone reads from paper, as SVG; empty where no code holds so much.

    One mask for all, since trying each of them takes most of the time and any can be read.
    """
    try:
        code = segno.make_qr(address, error="l", boost_error=False, mask=3)
    except segno.DataOverflowError:
        return Markup("")
    drawn = code.svg_inline(omitsize=True, border=2, svgclass="qr", lineclass=None, title=label)
    return Markup(drawn)  # noqa: S704  # segno escapes the title, and draws the rest


def other_units(fields: Fields, system: System) -> tuple[str, str]:
    """The link to the same answer in the other units, and what it is called."""
    rest = {name: text for name, text in fields.items() if name != "units"}
    return (
        (link("/answer", {**rest, "units": "metric"}), t("In metric"))
        if system == "us"
        else (link("/answer", rest), t("In inches and pounds"))
    )
