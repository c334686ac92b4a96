"""The answer in a sentence or two that a clerk can read out."""

from collections.abc import Mapping, Sequence

from fitsvc.answers.answer import AllowanceShown, Answer, EitherWayTold, Finding, Next
from fitsvc.answers.either_way import say_either_way
from fitsvc.answers.next_steps import ANY
from fitsvc.answers.phrases import capped, is_yes_no, joined
from fitsvc.answers.question import Question
from fitsvc.answers.wording import Wording
from fitsvc.engine.verdict import Verdict

_VERBS = {"ask": "ask for", "read": "read", "measure": "measure", "weigh": "find out", "look up": "look up"}
_YES_NO = {"yes": "if so", "no": "if not"}


def summarise(
    wording: Wording,
    question: Question,
    verdict: Verdict,
    findings: Sequence[Finding],
    needs: Sequence[Mapping[str, str]],
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
    return _conditions(wording, verdict, findings, needs, steps, allowance)


def to_ask(wording: Wording, step: Next) -> str:
    """What to do to learn a fact: `measure the distance ...`, `ask whether ...`."""
    verb, thing = _VERBS[step.ask], wording.the(step.fact)
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


def _conditions(
    wording: Wording,
    verdict: Verdict,
    findings: Sequence[Finding],
    needs: Sequence[Mapping[str, str]],
    steps: Sequence[Next],
    allowance: AllowanceShown | None,
) -> str:
    limited = allowance is not None and allowance.at_most and not allowance.whole
    told = wording.told_by(allowance.allowance) if allowance and limited else frozenset()
    failing = [finding for finding in findings if finding.result == "fails"]
    cautions = [finding.reason for finding in failing if finding.rule not in told]
    count = verdict.conditions - sum(finding.rule in told for finding in failing)
    if allowance and limited and not count:
        return f"Only {allowance.told}."
    if cautions:
        first = cautions[0]
    elif needs:
        first = needs[0]["because"]
    else:
        works = "can work" if count > 1 else "works"
        first = f"{capped(_ask(wording, steps, works))}." if steps else findings[0].reason
    see_to = f"if you see to {f'{count} things, first to this' if count > 1 else 'this'}"
    if allowance is None:
        return f"Only {see_to}. {first}"
    if limited:
        return f"Only {allowance.told}, and {see_to}. {first}"
    return f"Only {see_to}. {first} {capped(allowance.told) if not allowance.at_most else f'That is {allowance.told}'}."
