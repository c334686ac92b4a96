"""An answer as its page tells it: what each part is called, and the fields and links that go on from it."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from fitsvc.answers.answer import AllowanceShown, Answer, Finding, LimitShown, Next, Spoiler
from fitsvc.answers.answering import Answerer
from fitsvc.answers.candidates import CONFIGURATION
from fitsvc.answers.phrases import capped, not_known
from fitsvc.answers.summary import as_usual, changes_untried, more_open, to_ask, told
from fitsvc.drawing.ink import Drawing
from fitsvc.drawing.sketches import sketch
from fitsvc.language.display import System
from fitsvc.rulebook.outcomes import OUTCOME_OF, Outcome
from fitsvc.service.counter.fields import Field, FieldMaker
from fitsvc.service.counter.links import ALSO, FRONT, HANGS_ON, OF_FRONT, Fields, adapter_places, link
from fitsvc.service.counter.telling import (
    Headline,
    Offered,
    RemedyTold,
    ToldThing,
    asked_for,
    headline,
    remedy_told,
    things,
)
from fitsvc.subjects import BESIDE_RIG
from fitsvc.tongues import later, t

OUTCOMES: Final[Mapping[str, str]] = {
    "works": later("Yes"),
    "conditional": later("Only if"),
    "undetermined": later("Not sure yet"),
    "fails": later("No"),
}
_MARKS: Final[Mapping[Outcome, str]] = {
    "works": "passes",
    "conditional": "caution",
    "undetermined": "open",
    "fails": "fails",
}
"""How a finding weighs, by the outcome that it brings about."""
_SOURCES: Final = {
    "common_practice": later("common practice"),
    "published": later("published"),
    "estimate": later("an estimate"),
}


@dataclass(frozen=True, slots=True)
class FindingView:
    """One finding: `mark` says how it weighs, `rule` where its rule is looked up."""

    mark: str
    finding: Finding
    source: str


@dataclass(frozen=True, slots=True)
class SpoilerView:
    """What stands between several things: `mark` says how it weighs, `title` is its rule's."""

    mark: str
    spoiler: Spoiler
    title: str


@dataclass(frozen=True, slots=True)
class LimitTold:
    """One limit, with the part that governs, those that may be lower still, and by how much it is over already."""

    title: str
    at_most: str
    by: str
    unknown: str
    over: str


@dataclass(frozen=True, slots=True)
class AllowanceTold:
    """What it may carry, the rules that allow no more by their ids and titles, and what may make it less."""

    title: str
    told: str
    against: Sequence[tuple[str, str]]
    unknown: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StepView:
    """What to find out: how, which reading decides, and the field to type it into where there is one."""

    title: str
    how: str
    readings: Sequence[str]
    fact: str
    settles: str
    field: Field | None
    sketch: Drawing | None


@dataclass(frozen=True, slots=True, kw_only=True)
class AnswerView:
    """All that the page shows of an answer."""

    answer: Answer
    deciding: Sequence[FindingView]
    minded: Sequence[FindingView]
    between: Sequence[SpoilerView]
    findings: Sequence[FindingView]
    limits: Sequence[LimitTold]
    needs: Sequence[tuple[str, Offered | None]]
    headline: Headline
    asked_for: Sequence[str]
    cautions: Sequence[str]
    things: Sequence[ToldThing]
    steps: Sequence[StepView]
    more_open: str
    as_usual: str
    changes_untried: str
    remedies: Sequence[RemedyTold]
    candidates: Sequence[tuple[str, str, str]]
    allowance: AllowanceTold | None

    @property
    def stepped(self) -> set[str]:
        """The fields that the steps ask for."""
        return {step.field.name for step in self.steps if step.field}


def see(
    answerer: Answerer, answer: Answer, fields: Fields, system: System, offers: Mapping[str, Offered]
) -> AnswerView:
    """Make the view of an answer to the question that these fields ask, with what meets its needs by their names."""
    rulebook, the = answerer.rulebook, answerer.wording.the
    effect = answerer.wording.effect
    told = [FindingView(_MARKS[OUTCOME_OF[effect(one)]], one, source_text(one.source)) for one in answer.findings]
    titles = {limit.name: limit.title for limit in rulebook.limits}
    maker = FieldMaker(rulebook.vocabulary, fields, (), system)
    shown = {"units": system} if system != "us" else {}
    candidates = [
        (one.label or one.id, one.outcome, link("/answer", {**_named(fields, one.id), **shown}))
        for one in answer.candidates
    ]
    asking, within = _asking(answer)
    wished = [text for one in asked_for(answer, rulebook, fields) for text in one]
    steps = [_step(one, asking, answerer, maker, fields, within) for one in asking.next]
    deciding = [one for one in told if one.mark in ("fails", "open")]
    by_rule = {one.finding.rule: one for one in told}
    spoils = [(by_rule[one.rule], one) for one in answer.spoils]
    # Where what stands between them comes to a no, what would only have to be minded is no cause of it.
    causes = any(view.mark == "fails" for view, _ in spoils)
    between = [
        SpoilerView(view.mark, one, view.finding.title)
        for view, one in spoils
        if not causes or view.mark in ("fails", "open")
    ]
    said = {one.spoiler.reason for one in between}
    minded = [one for one in told if one.mark == "caution" and one.finding.reason not in said]
    minded = minded if answer.outcome == "fails" else []
    if answer.either_way and answer.outcome == "fails":
        deciding, minded = [], [*deciding, *minded]
    return AnswerView(
        answer=answer,
        deciding=deciding,
        minded=minded,
        between=between,
        findings=told,
        limits=[_limit(one, titles, the) for one in answer.limits],
        needs=[] if answer.to_see_to else [(need["because"], offers.get(need["need"])) for need in answer.needs],
        headline=headline(answer, steps[0].title if steps else ""),
        asked_for=wished,
        cautions=[text for text in answer.cautions if text not in wished],
        things=things(answer.to_see_to, offers),
        steps=steps,
        more_open=more_open(asking),
        as_usual=as_usual(asking, answerer.wording),
        changes_untried=changes_untried(answer),
        remedies=[remedy_told(one, shown) for one in answer.remedies],
        candidates=candidates,
        allowance=_allowance(answer.allowance, answerer),
    )


def source_text(source: Mapping[str, str]) -> str:
    """Where a statement comes from, in words."""
    detail = source.get("cite") or source.get("because") or ""
    return t(_SOURCES.get(source["kind"], source["kind"])) + (f": {detail}" if detail else "")


def _named(fields: Fields, vehicle: str) -> dict[str, str]:
    """The fields with the vehicle named by its id."""
    rest = {name: text for name, text in fields.items() if name.partition(".")[0] != "vehicle"}
    return {"vehicle": vehicle, **rest}


def _limit(one: LimitShown, titles: Mapping[str, str], the: Callable[[str], str]) -> LimitTold:
    by = the(one.governed_by) if one.governed_by else ""
    unknown = not_known([the(name) for name in one.unknown]) if one.unknown else ""
    return LimitTold(titles.get(one.limit, one.limit), one.at_most, by, unknown, one.over)


def _allowance(one: AllowanceShown | None, answerer: Answerer) -> AllowanceTold | None:
    if one is None:
        return None
    book, the = answerer.rulebook, answerer.wording.the
    title = next(allowance.title for allowance in book.allowances if allowance.name == one.allowance)
    against = [(rule.id, rule.title) for rule in book.rules if rule.id in one.against]
    unknown = not_known([the(name) for name in one.unknown]) if one.at_most and one.unknown else ""
    return AllowanceTold(title, capped(one.told), against, unknown)


def _asking(answer: Answer) -> tuple[Answer, str]:
    """The answer whose next steps are told, and where its thing stands: of several, what the summary is about."""
    several = list(zip(("", *ALSO), answer.together, strict=False))
    several.sort(key=lambda pair: (pair[1].alone != answer.outcome, pair[1].answer.outcome != answer.outcome))
    for place, one in several:
        if one.answer.next:
            return one.answer, f"{place}." if place else ""
    return answer, ""


def _step(
    step: Next, answer: Answer, answerer: Answerer, maker: FieldMaker, fields: Fields, within: str = ""
) -> StepView:
    title = capped(to_ask(answerer.wording, step))
    fact = answerer.rulebook.vocabulary.facts.get(step.fact)
    field = None
    if fact is not None and step.fact != CONFIGURATION:
        in_front = fields.get(f"{within}{HANGS_ON}") == FRONT
        own = within if fact.subject in (*BESIDE_RIG, *(OF_FRONT if in_front else ())) else ""
        # An adapter is in the receiver at the rear: of one in front nothing can be told here.
        at_rear = [] if in_front else adapter_places(fields)
        places = at_rear if fact.subject == "adapter" else [f"{own}{fact.subject}"]
        field = maker.of(fact, places[0]) if len(places) == 1 else None
    drawn = sketch(fact, f"sketch-{fact.name.replace('.', '-')}") if fact is not None else None
    return StepView(
        title=title,
        how=step.how,
        readings=[f"{capped(text)}." for text in told(step, answer, fact)],
        fact=step.fact if fact else "",
        settles=f"{step.fact}:{step.settles[0]}" if fact and step.settles else "",
        field=field,
        sketch=drawn,
    )
