"""The answer in a sentence or two that a clerk can read out."""

from collections import Counter
from collections.abc import Mapping, Sequence
from itertools import accumulate
from typing import Final

from fitsvc.answers.answer import AllowanceShown, Answer, EitherWayTold, Finding, Next, SeeTo, ToSeeTo
from fitsvc.answers.either_way import say_either_way
from fitsvc.answers.next_steps import ANY
from fitsvc.answers.phrases import capped, joined
from fitsvc.answers.question import Question
from fitsvc.answers.wording import Wording
from fitsvc.engine.verdict import Verdict
from fitsvc.language.types import NumberType
from fitsvc.rulebook.vocabulary import Fact
from fitsvc.subjects import ASKED
from fitsvc.tongues import is_clause, later, t

_ASKED: Final = {
    "ask": (later("ask for {the}"), later("ask {whether}")),
    "read": (later("read {the}"), later("read {whether}")),
    "measure": (later("measure {the}"), later("measure {whether}")),
    "weigh": (later("find out {the}"), later("find out {whether}")),
    "look up": (later("look up {the}"), later("look up {whether}")),
}
"""What to do to learn a fact, and to learn a yes or no."""
MOST_SEEN_TO: Final = 3
"""So many things to see to are read out; nobody keeps more in mind."""
_MOST_ALIKE: Final = 2
"""So many facts that settle the same are read out: how near a load comes, and how high it reaches."""
_MOST_WORDS: Final = 60
"""Of several, words that are read out: half a minute."""
_THIS: Final = {
    "accessory": later("this accessory"),
    "trailer": later("this trailer"),
    "spare": later("this spare"),
    "wiring_adapter": later("this wiring adapter"),
}
_MORE_OPEN: Final = later("{count} more facts are open besides these.")
_SORTS: Final[Mapping[SeeTo, tuple[str, str]]] = {
    "do": (later("{count} job to do"), later("{count} jobs to do")),
    "have": (later("{count} part to have"), later("{count} parts to have")),
    "look at": (later("{count} thing to look at"), later("{count} things to look at")),
    "find out": (later("{count} thing to find out"), later("{count} things to find out")),
}
"""What one and several things to see to are called, by their sort."""


def summarise(
    wording: Wording,
    question: Question,
    verdict: Verdict,
    findings: Sequence[Finding],
    things: Sequence[ToSeeTo],
    steps: Sequence[Next],
    allowance: AllowanceShown | None = None,
    either_way: EitherWayTold | None = None,
) -> str:
    """Yes, no, only if, or what to measure first; of what is sold to be loaded never a yes without saying how far."""
    if either_way is not None and verdict.outcome == "fails":
        return say_either_way(wording, either_way)
    if verdict.outcome == "fails":
        vehicle = _guessed_in(question, findings)
        if vehicle:
            return t("No, if it is the {vehicle}. {reason}", vehicle=vehicle, reason=findings[0].reason)
        return t("No. {reason}", reason=findings[0].reason)
    if verdict.outcome == "undetermined":
        first = t("First {ask}.", ask=_ask(wording, steps, things)) if steps else findings[0].reason
        return t("Not sure yet. {first}", first=first)
    what = _what(question)
    if verdict.outcome == "works":
        if allowance is None:
            return t("Yes, {what} works on this rig.", what=what)
        how = allowance.told if allowance.at_most else t("but {how}", how=allowance.told)
        return t("Yes, {what} works on this rig, {how}.", what=what, how=how)
    return only_if(wording, things, steps, allowance)


def _guessed_in(question: Question, findings: Sequence[Finding]) -> str:
    """The stored vehicle that is only guessed, where nothing fails but by what is stored of it; empty elsewhere."""
    if not question.guessed or len(question.candidates) != 1:
        return ""
    failing = [one for one in findings if (one.result, one.severity) == ("fails", "blocking")]
    stored = (
        any(name.startswith("vehicle.") and name not in question.told_here for name in one.facts) for one in failing
    )
    (one,) = question.candidates
    return (one.label or one.key) if all(stored) else ""


def to_ask(wording: Wording, step: Next) -> str:
    """What to do to learn a fact: `measure the distance ...`, `ask whether ...`."""
    thing = wording.the(step.fact)
    the, whether = _ASKED[step.ask]
    if step.adapter:
        thing = t("{thing} (adapter {adapter}, counted from the receiver)", thing=thing, adapter=step.adapter)
    return t(whether, whether=thing) if is_clause(thing) else t(the, the=thing)


def readings(text: str) -> str:
    """Readings as they follow a verb: `if that is at most 5 in`, `if so`, `if there is no spare`."""
    if text in (t("yes"), t("no")):
        return t("if so") if text == t("yes") else t("if not")
    if text.startswith(t("no ")) and t(" or ") not in text:
        return t("if there is {nothing}", nothing=text)
    return t("if that is {value}", value=text)


def _what(question: Question) -> str:
    for subject in ASKED:
        if subject in question.case.present:
            label = question.labels.get(subject, "")
            return t("the {label}", label=label) if label else t(_THIS[subject])
    return t("this")


def told(step: Next, answer: Answer, fact: Fact | None) -> list[str]:
    """What the readings of a step of an answer come to: `it works if that is at least 4 in`, `it fails if not`.

    A reading that only settles a point says how many stay open with it, and a choice with which it stays open is told.
    Of what is measured it is told what to do with one between the last that works and the first that fails.
    """
    parts = []
    if step.works_if == t(ANY):
        parts.append(t("it is in order with any plausible reading, told as near as it can be measured"))
    elif step.works_if:
        works = later("it can work {if_so}") if _leaves(step, answer.to_see_to) else later("it works {if_so}")
        parts.append(t(works, if_so=readings(step.works_if)))
        if step.open_if:
            parts.append(t("it stays open {if_so}", if_so=readings(step.open_if)))
        if step.doubted_if:
            parts.append(t("{readings} would be doubted", readings=step.doubted_if))
    if step.less_if:
        parts.append(t("less may be on it {if_so}", if_so=readings(step.less_if)))
    if step.fails_if:
        parts.append(t("it fails {if_so}", if_so=readings(step.fails_if)))
    if step.usual:
        parts.append(t("nearly always it is {usual}", usual=step.usual))
    if step.leaves_open:
        parts.append(_left(step))
    measured = fact is not None and isinstance(fact.type, NumberType) and fact.kind != "count"
    if measured and step.works_if not in ("", t(ANY)) and step.fails_if and not (step.open_if or step.less_if):
        parts.append(t("between the two, read it nearer"))
    return parts


def more_open(answer: Answer) -> str:
    """How many facts are open that no step tells, and of how many no reading was worked out; empty where none is."""
    more = later("1 more fact is open besides these.") if answer.more_open == 1 else _MORE_OPEN
    parts = [t(more, count=answer.more_open)] if answer.more_open else []
    if count := len(answer.untried):
        parts.append(t("Too much is open to work out which readings decide of {count} of the facts.", count=count))
    return " ".join(parts)


def as_usual(answer: Answer, wording: Wording) -> str:
    """What it comes to if facts that are asked for are as usual: a thing to check, and no promise."""
    found = answer.if_usual
    if found is None:
        return ""
    facts = joined([t("{the} is {what}", the=wording.the(name), what=text) for name, text in found.facts.items()])
    works = {"works": t("it works"), "conditional": t("it works on the other conditions")}.get(found.outcome, "")
    points = later("1 point is settled") if len(found.settles) == 1 else later("{count} points are settled")
    what = works if works and found.outcome != answer.outcome else t(points, count=len(found.settles))
    return t("Nearly always {facts}; if so, {what}. Check it.", facts=facts, what=what)


def changes_untried(answer: Answer) -> str:
    """How many changes were not tried for remedies; empty where all were."""
    count = answer.untried_changes
    if count == 1:
        return t("1 more change was not tried, being too many.")
    return t("{count} more changes were not tried, being too many.", count=count) if count else ""


def _leaves(step: Next, things: Sequence[ToSeeTo]) -> bool:
    """Whether with a reading that works there is still more to see to, so that the thing can work and no more."""
    return step.leaves_open > 0 or any(one.needs or not set(step.settles).issuperset(one.rules) for one in things)


def _left(step: Next) -> str:
    """How much stays open with a reading that works."""
    return left_open(step.leaves_open)


def left_open(count: int) -> str:
    """How many points stay open beside one that is told."""
    left = later("1 other point stays open") if count == 1 else later("{count} other points stay open")
    return t(left, count=count)


def _ask(wording: Wording, steps: Sequence[Next], things: Sequence[ToSeeTo]) -> str:
    """What to learn first, and what else would settle just the same: which of them can be had nobody here knows."""
    first = steps[0]
    text = to_ask(wording, first)
    no_news = ("", t(ANY))
    if first.works_if not in no_news:
        same = [one for one in steps[1:] if one.settles == first.settles and one.leaves_open == first.leaves_open]
        alike = [first, *(one for one in same if one.ask == first.ask and one.works_if not in no_news)][:_MOST_ALIKE]
        left = f". {capped(_left(first))}" if first.leaves_open else ""
        works = later("{ask}: it can work {if_so}") if _leaves(first, things) else later("{ask}: it works {if_so}")
        said = [t(works, ask=to_ask(wording, one), if_so=readings(one.works_if)) for one in alike]
        return t("; or ").join(said) + left
    if first.fails_if:
        return t("{ask}: it fails {if_so}", ask=text, if_so=readings(first.fails_if))
    others = [wording.the(step.fact) for step in steps[1:3] if not step.works_if and not step.fails_if]
    return joined([text, *others])


def only_if(
    wording: Wording,
    things: Sequence[ToSeeTo],
    steps: Sequence[Next],
    allowance: AllowanceShown | None,
    most: int = MOST_SEEN_TO,
) -> str:
    """What to see to first, so many things at most, how much there is of the rest, and what it may carry."""
    limited = allowance is not None and allowance.at_most and not allowance.whole
    if allowance is not None and limited and not things:
        return t("Only {told}.", told=allowance.told)
    first, rest = _first(wording, things, steps, most)
    see_to = t("if you see to {this}. {first}", this=_counted(len(things), most), first=" ".join(first))
    if rest and most > 1:
        see_to += t(" Then {rest}.", rest=joined([_sorted(sort, count) for sort, count in rest.items()]))
    if allowance is None:
        return t("Only {see_to}", see_to=see_to)
    if limited:
        return t("Only {told}, and {see_to}", told=allowance.told, see_to=see_to)
    how = t("That is {told}", told=allowance.told) if allowance.at_most else capped(allowance.told)
    return f"{t('Only {see_to}', see_to=see_to)} {how}."


def _counted(count: int, most: int) -> str:
    if count == 1:
        return t("this")
    return t("{count} things", count=count) if most > 1 else t("{count} things, first to this", count=count)


def _sorted(sort: SeeTo, count: int) -> str:
    """How much of a sort there is: `6 parts to have`."""
    one, several = _SORTS[sort]
    return t(one if count == 1 else several, count=count)


def _first(
    wording: Wording, things: Sequence[ToSeeTo], steps: Sequence[Next], most: int
) -> tuple[list[str], dict[SeeTo, int]]:
    """The sentences that are read out, and how many things of each sort are left.

    Where there is only something to find out, that is asked for first which closes most.
    """
    if steps and all(one.sort == "find out" for one in things):
        first = [f"{capped(_ask(wording, steps, things))}."]
    else:
        words = accumulate(len(one.told.split()) for one in things[:most])
        first = [one.told for one, said in zip(things, words, strict=False) if one is things[0] or said <= _MOST_WORDS]
    left = Counter(one.sort for one in things[len(first) :])
    return first, {sort: left[sort] for sort in _SORTS if left[sort]}
