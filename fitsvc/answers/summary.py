"""The answer in a sentence or two that a clerk can read out."""

from collections import Counter
from collections.abc import Mapping, Sequence
from itertools import accumulate
from typing import Final

from fitsvc.answers.answer import AllowanceShown, Answer, EitherWayTold, Finding, Next, SeeTo, ToSeeTo
from fitsvc.answers.either_way import say_either_way
from fitsvc.answers.next_steps import ANY
from fitsvc.answers.phrases import capped, is_yes_no, joined
from fitsvc.answers.question import Question
from fitsvc.answers.wording import Wording
from fitsvc.engine.verdict import Verdict

_VERBS = {"ask": "ask for", "read": "read", "measure": "measure", "weigh": "find out", "look up": "look up"}
_YES_NO = {"yes": "if so", "no": "if not"}
MOST_SEEN_TO: Final = 3
"""So many things to see to are read out; nobody keeps more in mind."""
_MOST_WORDS: Final = 60
"""Of several, words that are read out: half a minute."""
_SORTS: Final[Mapping[SeeTo, tuple[str, str]]] = {
    "do": ("job to do", "jobs to do"),
    "have": ("part to have", "parts to have"),
    "look at": ("thing to look at", "things to look at"),
    "find out": ("thing to find out", "things to find out"),
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
        return f"No. {findings[0].reason}"
    if verdict.outcome == "undetermined":
        more = verdict.conditions or len(steps) > 1
        first = f"First {_ask(wording, steps, 'can work' if more else 'works')}." if steps else findings[0].reason
        return f"Not sure yet. {first}"
    what = _what(question)
    if verdict.outcome == "works":
        but = "but " if allowance and not allowance.at_most else ""
        return f"Yes, {what} works on this rig{f', {but}{allowance.told}' if allowance else ''}."
    return only_if(wording, things, steps, allowance)


def to_ask(wording: Wording, step: Next) -> str:
    """What to do to learn a fact: `measure the distance ...`, `ask whether ...`."""
    verb, thing = _VERBS[step.ask], wording.the(step.fact)
    if step.adapter:
        thing = f"{thing} (adapter {step.adapter}, counted from the receiver)"
    return f"{verb.removesuffix(' for')} {thing}" if is_yes_no(thing) else f"{verb} {thing}"


def readings(text: str) -> str:
    """Readings as they follow a verb: `if that is at most 5 in`, `if so`, `if there is no spare`."""
    if text in _YES_NO:
        return _YES_NO[text]
    return f"if there is {text}" if text.startswith("no ") and " or " not in text else f"if that is {text}"


def _what(question: Question) -> str:
    for subject in ("accessory", "trailer", "spare"):
        if subject in question.case.present:
            label = question.labels.get(subject, "")
            return f"the {label}" if label else f"this {subject}"
    return "this"


def told(step: Next, works: str = "works") -> list[str]:
    """What the readings of a step come to: `it works if that is at least 4 in`, `it fails if not`.

    A reading that only settles a point says how many stay open with it, and a choice with which it stays open is told.
    """
    parts = []
    if step.works_if not in ("", ANY):
        parts.append(f"it {'can work' if step.leaves_open else works} {readings(step.works_if)}")
        if step.open_if:
            parts.append(f"it stays open {readings(step.open_if)}")
    if step.fails_if:
        parts.append(f"it fails {readings(step.fails_if)}")
    if step.usual:
        parts.append(f"nearly always it is {step.usual}")
    return [*parts, _left(step)] if step.leaves_open else parts


def more_open(answer: Answer) -> str:
    """How many facts are open that no step tells, and of how many no reading was worked out; empty where none is."""
    parts = [f"{_facts(answer.more_open)} open besides these."] if answer.more_open else []
    if count := len(answer.untried):
        parts.append(f"Too much is open to work out which readings decide of {count} of the facts.")
    return " ".join(parts)


def as_usual(answer: Answer, wording: Wording) -> str:
    """What it comes to if facts that are asked for are as usual: a thing to check, and no promise."""
    found = answer.if_usual
    if found is None:
        return ""
    facts = joined([f"{wording.the(name)} is {text}" for name, text in found.facts.items()])
    works = {"works": "it works", "conditional": "it works on the other conditions"}.get(found.outcome, "")
    points = "1 point is" if len(found.settles) == 1 else f"{len(found.settles)} points are"
    what = works if works and found.outcome != answer.outcome else f"{points} settled"
    return f"Nearly always {facts}; if so, {what}. Check it."


def changes_untried(answer: Answer) -> str:
    """How many changes were not tried for remedies; empty where all were."""
    count = answer.untried_changes
    return f"{count} more change{' was' if count == 1 else 's were'} not tried, being too many." if count else ""


def _facts(count: int) -> str:
    return "1 more fact is" if count == 1 else f"{count} more facts are"


def _left(step: Next) -> str:
    """How much stays open with a reading that works."""
    return f"{step.leaves_open} other {'point stays' if step.leaves_open == 1 else 'points stay'} open"


def _ask(wording: Wording, steps: Sequence[Next], works: str) -> str:
    first = steps[0]
    text = to_ask(wording, first)
    if first.works_if not in ("", ANY):
        left = f". {capped(_left(first))}" if first.leaves_open else ""
        return f"{text}: it {'can work' if first.leaves_open else works} {readings(first.works_if)}{left}"
    if first.fails_if:
        return f"{text}: it fails {readings(first.fails_if)}"
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
        return f"Only {allowance.told}."
    first, rest = _first(wording, things, steps, most)
    see_to = f"if you see to {_counted(len(things), most)}. {' '.join(first)}"
    if rest and most > 1:
        see_to += f" Then {joined([_sorted(sort, count) for sort, count in rest.items()])}."
    if allowance is None:
        return f"Only {see_to}"
    if limited:
        return f"Only {allowance.told}, and {see_to}"
    return f"Only {see_to} {capped(allowance.told) if not allowance.at_most else f'That is {allowance.told}'}."


def _counted(count: int, most: int) -> str:
    if count == 1:
        return "this"
    return f"{count} things" if most > 1 else f"{count} things, first to this"


def _sorted(sort: SeeTo, count: int) -> str:
    """How much of a sort there is: `6 parts to have`."""
    one, several = _SORTS[sort]
    return f"{count} {one if count == 1 else several}"


def _first(
    wording: Wording, things: Sequence[ToSeeTo], steps: Sequence[Next], most: int
) -> tuple[list[str], dict[SeeTo, int]]:
    """The sentences that are read out, and how many things of each sort are left.

    Where there is only something to find out, that is asked for first which closes most.
    """
    if steps and all(one.sort == "find out" for one in things):
        first = [f"{capped(_ask(wording, steps, 'works' if len(things) == 1 else 'can work'))}."]
    else:
        words = accumulate(len(one.told.split()) for one in things[:most])
        first = [one.told for one, said in zip(things, words, strict=False) if one is things[0] or said <= _MOST_WORDS]
    left = Counter(one.sort for one in things[len(first) :])
    return first, {sort: left[sort] for sort in _SORTS if left[sort]}
