"""A question read → its answer: the verdict told in order, with limits, needs, next steps and cautions."""

from collections.abc import Iterator, Sequence
from functools import partial
from typing import Any, Final

from fitsvc.answers.answer import Answer, Finding, LimitShown, RulebookName
from fitsvc.answers.next_steps import next_steps
from fitsvc.answers.question import NoRecords, Question, Records, read_question
from fitsvc.answers.summary import summarise
from fitsvc.answers.wording import Wording, texts
from fitsvc.engine.limits import limits_of
from fitsvc.engine.point import Point, Verdict
from fitsvc.facts import Case, FactReader
from fitsvc.language.display import System, show_down
from fitsvc.language.truth import NO
from fitsvc.rulebook.rules import Need, Rulebook

ORDER: Final = (
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
        self._name = RulebookName(rulebook.digest, rulebook.name)

    def answer(self, document: Any, records: Records | None = None, system: System = "us") -> Answer:
        """Answer a question document; ProblemsFound when it cannot be read."""
        return self.answer_question(read_question(document, self.reader, records or NoRecords()), system)

    def answer_question(self, question: Question, system: System = "us") -> Answer:
        """Answer a question that has been read."""
        case = question.case
        verdict = self.engine.evaluate(case)
        findings, rests_on = self._findings(question, verdict, system)
        limits = self._limits(case, system)
        needs = [self._need(number, case, system) for number in verdict.open_needs]
        steps = next_steps(self.engine, self.wording, case, verdict, system)
        assumed = [self._assumed(name, case, system) for name in sorted(question.assumed & rests_on)]
        summary = summarise(self.wording, question, verdict, findings, needs, steps)
        return Answer(
            verdict.outcome, summary, findings, limits, needs, steps, [], list(self._cautions(case)), assumed,
            self._name,
        )  # fmt: skip

    def _findings(self, question: Question, verdict: Verdict, system: System) -> tuple[list[Finding], set[str]]:
        """Every finding that applies, what decides the outcome first, and the facts they rest on."""
        case, adapted = question.case, bool(question.case.adapters)
        findings: list[Finding] = []
        rests_on: set[str] = set()
        for name, result in ORDER:
            for number in getattr(verdict, name):
                words = self.wording.rule(number, adapted)
                worded = words.worded(result, case, system)
                rests_on.update(worded.facts)
                rule = words.rule
                findings.append(Finding(rule.id, rule.title, result, rule.severity, worded.reason,  # type: ignore[arg-type]
                                        worded.facts, words.source, worded.margin))  # fmt: skip
        if question.assumed or question.replaced:
            _mark(findings, question.assumed, "assumed")
            _mark(findings, question.replaced, "as given")
        return findings, rests_on

    def _limits(self, case: Case, system: System) -> list[LimitShown]:
        shown = []
        for limit in self.rulebook.limits:
            low = limits_of(self.engine, case).get(limit.id)
            if low is None:
                continue
            at_most = (
                ""
                if low.at_most is None or low.rating is None
                else show_down(low.at_most, low.rating.shown.unit, system)
            )
            shown.append(LimitShown(limit.name, list(low.unknown), at_most, low.governed_by))
        return shown

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

    def _cautions(self, case: Case) -> Iterator[str]:
        for caution in self.rulebook.cautions:
            if set(caution.subjects) - case.present:
                continue
            guard = caution.guard
            if guard is not None:
                (applies,) = self.engine.values(("caution", caution.id), partial(list, (guard,))).of(case)
                if applies == NO:
                    continue
            yield caution.text


def _mark(findings: Sequence[Finding], names: frozenset[str], remark: str) -> None:
    for finding in findings:
        for name in names & finding.facts.keys():
            finding.facts[name] += f" ({remark})"


def _because(need: Need, values: Sequence[str]) -> str:
    left = iter(values)
    return "".join(part if isinstance(part, str) else next(left) for part in need.because)
