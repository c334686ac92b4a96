"""A question read → its answer: the verdict told in order, with limits, needs, next steps and cautions."""

from collections.abc import Sequence
from typing import Any, Final

import msgspec

from fitsvc.answers.answer import Answer, Finding, LimitShown, Remedy, Result, RulebookName
from fitsvc.answers.missing import Missing
from fitsvc.answers.next_steps import next_steps
from fitsvc.answers.question import NoRecords, Question, Records, read_question
from fitsvc.answers.remedies import Remedies, remedy_of
from fitsvc.answers.shelf import EMPTY, Shelf
from fitsvc.answers.summary import summarise
from fitsvc.answers.wording import Wording, texts
from fitsvc.engine.limits import Lowest, limits_of
from fitsvc.engine.point import Point, Verdict
from fitsvc.facts import Case, FactReader
from fitsvc.language.display import System, show_down
from fitsvc.language.truth import NO, YES
from fitsvc.language.typed import Constant
from fitsvc.language.types import TRUTH
from fitsvc.rulebook.rules import Need, Rulebook

_ALWAYS: Final = Constant(TRUTH, YES)
ORDER: Final[tuple[tuple[str, Result], ...]] = (
    ("fails", "fails"), ("unknown", "undetermined"), ("cautions", "fails"), ("doubts", "undetermined"),
    ("passes", "passes"),
)  # fmt: skip
"""The lists of a verdict in the order their findings are told, with the result each stands for."""


class Answerer:
    """Answers questions by one rulebook; safe to share between threads."""

    def __init__(self, rulebook: Rulebook) -> None:
        self.rulebook = rulebook
        self.engine = Point(rulebook)
        self.reader = FactReader(rulebook.vocabulary)
        self.wording = Wording(self.engine)
        self.missing = Missing(self.engine, self.wording)
        self._name = RulebookName(rulebook.digest, rulebook.name)

    def answer(
        self, document: Any, records: Records | None = None, system: System = "us", shelf: Shelf | None = None
    ) -> Answer:
        """Answer a question document, with remedies from a shelf; ProblemsFound when it cannot be read."""
        records = records or NoRecords()
        question = read_question(document, self.reader, records)
        answer = self.answer_question(question, system)
        if answer.outcome == "fails":
            answer.remedies = self._remedies(document, question, records, system, shelf or EMPTY)
        return answer

    def _remedies(
        self, document: Any, question: Question, records: Records, system: System, shelf: Shelf
    ) -> list[Remedy]:
        """What would make it work: each change answered in full before it is told."""
        search = Remedies(self.missing, self.reader, shelf, system)
        failing = self.engine.evaluate(question.case).fails
        found = []
        for tried in search.find(document, question, failing):
            answer = self.answer_question(read_question(tried.document, self.reader, records), system)
            found.append(remedy_of(tried, answer))
        if not any(remedy.sku for remedy in found):
            text = search.would_have_to_be(question, failing)
            found += [Remedy("none", "fails", text)] if text else []
        return found

    def answer_question(self, question: Question, system: System = "us") -> Answer:
        """Answer a question that has been read."""
        case = self.engine.opened(question.case)
        verdict = self.engine.evaluate(case)
        findings = self.findings(verdict, case, system)
        rests_on = set().union(*(finding.facts for finding in findings)) if question.assumed else set()
        if question.assumed or question.replaced:
            findings = [_marked(finding, question) for finding in findings]
        limits = [self._limit(name, low, system) for name, low in limits_of(self.engine, case).items()]
        needs = [self._need(number, case, system) for number in verdict.open_needs]
        steps = next_steps(self.missing, question.case, verdict, system)
        assumed = [self._assumed(name, case, system) for name in sorted(question.assumed & rests_on)]
        summary = summarise(self.wording, question, verdict, findings, needs, steps)
        cautions = self._cautions(case)
        return Answer(verdict.outcome, summary, findings, limits, needs, steps, [], cautions, assumed, self._name)

    def findings(self, verdict: Verdict, case: Case, system: System = "us") -> list[Finding]:
        """Every finding that applies to an opened case, in words, what decides the outcome first."""
        words = self.wording.rules(bool(case.adapters))
        return [
            words[number].finding(result, case, system)
            for name, result in ORDER
            for number in sorted(getattr(verdict, name))
        ]

    def _limit(self, name: str, low: Lowest, system: System) -> LimitShown:
        if low.at_most is None or low.governs is None:
            return LimitShown(name.replace("-", "_"), low.unknown)
        shown = show_down(low.at_most, low.governs.shown.unit, system)
        return LimitShown(name.replace("-", "_"), low.unknown, shown, low.governs.name)

    def _need(self, number: int, case: Case, system: System) -> dict[str, str]:
        need = self.rulebook.needs[number]
        shown = [*need.values.values(), *(part for part in need.because if not isinstance(part, str))]
        values = self.engine.values(("need", number), lambda: [one.node for one in shown]).of(case)
        found = texts(zip(values, shown, strict=True), system)
        count = len(need.values)
        return {"need": need.name, **dict(zip(need.values, found[:count], strict=True)),
                "because": _because(need, found[count:])}  # fmt: skip

    def _assumed(self, name: str, case: Case, system: System) -> str:
        return f"{self.wording.label(name)}: {self.wording.fact_text(name, case, system)} (assumed, not measured)"

    def _cautions(self, case: Case) -> list[str]:
        cautions = self.rulebook.cautions
        guards = self.engine.values("cautions", lambda: [one.guard or _ALWAYS for one in cautions]).of(case)
        return [
            one.text
            for one, guard in zip(cautions, guards, strict=True)
            if guard != NO and all(subject in case.present for subject in one.subjects)
        ]


def _marked(finding: Finding, question: Question) -> Finding:
    """The finding with the facts marked that are assumed, or given in place of stored ones."""
    facts = {
        name: f"{text} (assumed)" if name in question.assumed
        else f"{text} (as given)" if name in question.replaced else text
        for name, text in finding.facts.items()
    }  # fmt: skip
    return msgspec.structs.replace(finding, facts=facts)


def _because(need: Need, values: Sequence[str]) -> str:
    left = iter(values)
    return "".join(part if isinstance(part, str) else next(left) for part in need.because)
