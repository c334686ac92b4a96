"""The answer in one sentence that a clerk can read out."""

from collections.abc import Mapping, Sequence

from fitsvc.answers.answer import Finding, Next
from fitsvc.answers.question import Question
from fitsvc.answers.wording import Wording, joined
from fitsvc.engine.point import Verdict

_VERBS = {"ask": "ask for", "read": "read", "measure": "measure", "weigh": "weigh", "look up": "look up"}


def summarise(
    wording: Wording, question: Question, verdict: Verdict, findings: Sequence[Finding],
    needs: Sequence[Mapping[str, str]], steps: Sequence[Next],
) -> str:  # fmt: skip
    """One sentence: yes, no, only if, or what to measure first."""
    if verdict.outcome == "fails":
        return f"No. {findings[0].reason}"
    if verdict.outcome == "undetermined":
        more = verdict.cautions or verdict.doubts or verdict.open_needs
        asked = _ask(wording, steps, "can work" if more else "works") if steps else ""
        return f"Not sure yet: first {asked}." if steps else f"Not sure yet. {findings[0].reason}"
    what = _what(question)
    if verdict.outcome == "works":
        return f"Yes, {what} works on this rig."
    return f"Only if you see to this: {_conditions(wording, verdict, findings, needs, steps)}"


def _what(question: Question) -> str:
    for subject in ("accessory", "trailer", "spare"):
        if subject in question.case.present:
            label = question.labels.get(subject, "")
            return f"the {label}" if label else f"this {subject}"
    return "this"


def _ask(wording: Wording, steps: Sequence[Next], works: str = "works") -> str:
    first = steps[0]
    text = f"{_VERBS[first.ask]} the {wording.label(first.fact)}"
    if first.works_if and first.works_if != "any reading":
        return f"{text} (it {works} if {first.works_if})"
    if first.fails_if:
        return f"{text} (it fails if {first.fails_if})"
    others = [f"the {wording.label(step.fact)}" for step in steps[1:3] if not step.works_if and not step.fails_if]
    return joined([text, *others])


def _conditions(
    wording: Wording, verdict: Verdict, findings: Sequence[Finding], needs: Sequence[Mapping[str, str]],
    steps: Sequence[Next],
) -> str:  # fmt: skip
    cautions = [f.reason for f in findings if f.result == "fails" and f.severity == "caution"]
    parts = cautions[:1]
    if not parts and needs:
        parts = [needs[0]["because"]]
    if not parts and steps:
        text = _ask(wording, steps)
        parts = [text[0].upper() + text[1:] + "."]
    count = len(verdict.cautions) + len(verdict.doubts) + len(verdict.open_needs) - 1
    more = f" And {count} more thing{'s' if count > 1 else ''}." if count > 0 and parts else ""
    return (parts[0] if parts else findings[0].reason) + more
