"""A question read → its answer: the verdict told in order, with limits, needs, next steps and cautions."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cached_property
from typing import TYPE_CHECKING, Final

import msgspec

from fitsvc.answers.allowances import AllowanceWords, Carried
from fitsvc.answers.answer import Answer, Disputed, EitherWayTold, Finding, Next, Remedy, RulebookName
from fitsvc.answers.candidates import (
    CandidateAnswer,
    lowest_limits,
    merged_findings,
    most_of,
    narrow,
    outcome_of,
    over,
    shown,
    steps_over,
    union,
    worst,
)
from fitsvc.answers.cautions import Cautions
from fitsvc.answers.doubts import told_doubt, told_trials
from fitsvc.answers.either_way import tell_either_way
from fitsvc.answers.limit_words import LimitWords
from fitsvc.answers.missing import Missing
from fitsvc.answers.next_steps import Spoils, Steps, next_steps
from fitsvc.answers.phrases import capped, joined
from fitsvc.answers.question import Question, read_question
from fitsvc.answers.records import NAMES, NoRecords, Records
from fitsvc.answers.remedies import MOST_TOLD, Remedies, Tried, remedy_of
from fitsvc.answers.remedies_together import RemediesTogether
from fitsvc.answers.seeing_to import SeeingTo
from fitsvc.answers.shelf import EMPTY, Shelf
from fitsvc.answers.spelling import spelt_out
from fitsvc.answers.summary import summarise, to_ask
from fitsvc.answers.things import Thing, names_several, read_things
from fitsvc.answers.together import Together
from fitsvc.answers.trying import MOST_WORK, Work
from fitsvc.answers.wording import Wording
from fitsvc.caching import LruCache
from fitsvc.document import Document, Json
from fitsvc.engine.limits import limits_of
from fitsvc.engine.point import Point
from fitsvc.engine.verdict import Verdict
from fitsvc.facts import Case, FactReader
from fitsvc.language.display import System
from fitsvc.rulebook.outcomes import RESULT_OF
from fitsvc.rulebook.rules import Rulebook
from fitsvc.rulebook.tongues import in_tongue
from fitsvc.tongues import ENGLISH, Tongue, later, t, tongue

_MOST_TONGUES: Final = 8
"""Of some ten megabytes each, when they have been asked for long enough."""
if TYPE_CHECKING:
    from fitsvc.engine.columns.kernel import Columns


LITTLE_WORK: Final = 500
"""Judgements for what to learn next where of an answer only the outcome and the summary are told."""
_UNSTORED: Final = later(
    "No stored vehicle is called so, as none has the {} given; this is answered from the facts told."
)
_UNSTORED_SO: Final = later(
    "Stored vehicles are called so, but none with the {} given; this is answered from the facts given."
)


_TAKEN_OUT: Final = later(
    "In the saved rig's opening is also {skus}: counted as taken out, as its adapters are told anew."
)
_TAKEN: Final = later("This is answered as for the {}, the only stored vehicle that goes by what is told.")
_GUESSED: Final = later(
    "This is answered as for the {}, the only stored vehicle that goes by what is told; whether it is that one is not "
    "known."
)


_TOO_MANY: Final = later(
    "Not sure yet. First {ask}. {count} stored vehicles go by that name, too many to judge each; "
    "of at most {most} every one is."
)
_RUBBED: Final = later(
    "A spare of {} was tried here: it went in, and it rubbed. See what it rubs on before relying on it."
)


class Answerer:
    """Answers questions by one rulebook, in one language; safe to share between threads.

    Those of several languages share the `engine` of one: what is judged and compiled is the same in each.
    """

    def __init__(self, rulebook: Rulebook, engine: Point | None = None, one: Tongue = ENGLISH) -> None:
        self.rulebook, self._tongue = rulebook, one
        self._spoken = LruCache[Tongue, Answerer](_MOST_TONGUES)
        self.engine = engine or Point(rulebook)
        self.reader = FactReader(rulebook)
        self.wording = Wording(self.engine, rulebook)
        self.missing = Missing(self.engine, self.wording)
        self.allowances = AllowanceWords(self.wording)
        self._seeing_to = SeeingTo(self.missing)
        self.cautions = Cautions(self.engine, rulebook)
        self.assumptions = Cautions(self.engine, rulebook, assumed=True)
        self._name = RulebookName(rulebook.digest, rulebook.name)
        self.limits = LimitWords(self.engine, rulebook)

    def prepare(self) -> None:
        """Compile what is compiled at its first use, so that no question waits for it."""
        self.limits.prepare()
        for one in (self.engine, self.wording, self.missing, self.allowances.allowances):
            one.prepare()
        for told in (self.cautions, self.assumptions):
            told.prepare()

    @property
    def spoken(self) -> "Answerer":
        """The same in the language that is spoken now, made when it is first asked for."""
        one = tongue()
        if one is self._tongue:
            return self
        return self._spoken.get(one, lambda: Answerer(in_tongue(self.engine.rulebook, one), self.engine, one))

    @cached_property
    def columns(self) -> "Columns":
        """The same rules over whole catalogues, laid out once for all that select by them."""
        from fitsvc.engine.columns.kernel import Columns

        return Columns(self.engine)

    @cached_property
    def together(self) -> Together:
        """The judge of several things on one rig."""
        return Together(self)

    def answer(
        self,
        document: Json,
        records: Records | None = None,
        system: System = "us",
        shelf: Shelf | None = None,
        most: int = MOST_WORK,
        *,
        remedies: bool = True,
        judged: tuple[Question, Verdict] | None = None,
    ) -> Answer:
        """Answer a question document, with remedies from a shelf; ProblemsFound when it cannot be read.

        `most` is the work that may go into what to learn next. A question about one vehicle that has been read and
        `judged` already is not read and judged again.
        """
        records = records or NoRecords()
        if names_several(document):
            things = read_things(document, self.reader, records)
            answer = self.together.answer(things, system, most)
            if answer.outcome == "fails" and remedies:
                self._remedy_together(answer, document, things, records, system, shelf or EMPTY)
            return answer
        question, verdict = judged or (read_question(document, self.reader, records), None)
        answer, asked, failing = self._answer(document, question, records, system, most, verdict)
        if answer.outcome == "fails" and remedies:
            if len(question.candidates) == 1:
                document = question.about(document, question.candidates[0])
            search = Remedies(missing=self.missing, reader=self.reader, shelf=shelf or EMPTY, system=system)
            answer.remedies = self._remedies(search, document, asked, failing, records)
            answer.untried_changes = search.untried
        return answer

    def _answer(
        self,
        document: Json,
        question: Question,
        records: Records,
        system: System,
        most: int = MOST_WORK,
        verdict: Verdict | None = None,
        *,
        whole: bool = True,
    ) -> tuple[Answer, Question, Sequence[int]]:
        """The answer without remedies, and what to look for them by: the question and the rules that fail.

        Of several candidates these are the worst one's.
        """
        if len(question.candidates) < 2 or len(question.candidates) > most_of(question.case):
            case = self.engine.opened(question.case)
            verdict = verdict or self.engine.evaluate(case)
            answer = self._told(question, case, verdict, system, most, whole=whole)
            return self._narrowed(answer, question), question, verdict.failing
        judged = []
        for vehicle in question.candidates:
            of_it = read_question(question.about(document, vehicle), self.reader, records)
            case = self.engine.opened(of_it.case)
            verdict = self.engine.evaluate(case)
            judged.append(
                CandidateAnswer(vehicle, of_it, case, verdict, tuple(self._findings(of_it, verdict, case, system)))
            )
        return self._answer_over(judged, system, most), worst(judged).question, worst(judged).verdict.failing

    def _answer_over(self, judged: Sequence[CandidateAnswer], system: System, most: int) -> Answer:
        """Answer for all of several candidates."""
        outcome, one = outcome_of(judged), worst(judged)
        findings = merged_findings(judged, outcome, self.wording)
        limits = lowest_limits(limits_of(self.engine, each.case) for each in judged)
        needs = union(
            ([self.need(number, each.case, system) for number in each.verdict.left("open_needs")] for each in judged),
            key=lambda need: tuple(need.items()),
        )
        carried = self.allowances.least((each.case for each in judged), system) if outcome != "fails" else None
        allowance = carried.shown if carried else None
        steps = Steps() if outcome == "fails" else steps_over(self.missing, judged, system, most, carried)
        either_way = self._either_way(one.case, one.verdict, system) if outcome == "fails" else None
        verdict = one.verdict._replace(outcome=outcome)
        waits = self._seeing_to.waits((each.case, each.verdict) for each in judged)
        things = self._seeing_to.things(outcome, findings, needs, waits, allowance, steps.if_usual, steps.for_good)
        findings, asked = self._for_good_first(findings, steps)
        summary = summarise(self.wording, one.question, verdict, findings, things, asked, allowance, either_way)
        return Answer(
            outcome=outcome,
            summary=f"{summary} {over(judged)}",
            findings=findings,
            limits=self.limits.shown(limits, one.case, system),
            needs=needs,
            next=steps.told,
            more_open=steps.more,
            untried=steps.untried,
            if_usual=steps.if_usual,
            remedies=[],
            cautions=union(self.cautions.told(each.case, system) for each in judged),
            assumed=union(self._assumed_of(each.question, each.findings, each.case, system) for each in judged),
            rulebook=self._name,
            candidates=shown(judged),
            allowance=allowance,
            either_way=either_way,
            disputed=union((self.disputed(each.question) for each in judged), key=lambda one: one.fact),
            to_see_to=things,
        )

    def _narrowed(self, answer: Answer, question: Question) -> Answer:
        """Where what is told alone settles nothing of too many candidates, ask first which of them it is."""
        most = most_of(question.case)
        if len(question.candidates) > most and answer.outcome not in ("works", "fails"):
            answer.outcome = "undetermined"
            first = narrow(self.wording, question.candidates)
            answer.next = first + [step for step in answer.next if step.fact != first[0].fact]
            answer.summary = t(
                _TOO_MANY,
                ask=to_ask(self.wording, first[0]),
                count=len(question.candidates),
                most=most,
            )
        return answer

    def _remedy_together(
        self, answer: Answer, document: Json, things: Sequence[Thing], records: Records, system: System, shelf: Shelf
    ) -> None:
        """Tell what would make several things work at once, each change answered as a client would ask it."""

        def ask(changed: Document) -> Answer:
            return self.answer(changed, records, system, None, LITTLE_WORK, remedies=False)

        search = RemediesTogether(answerer=self, records=records, shelf=shelf, ask=ask)
        answer.remedies = search.find(document, things, answer)
        answer.untried_changes = search.untried

    def _remedies(
        self, search: Remedies, document: Json, question: Question, failing: Sequence[int], records: Records
    ) -> list[Remedy]:
        """What would make it work: each change answered before it is told, as a client would ask its question."""
        document = spelt_out(document, records, self.reader)

        def told(tried: Tried, *wanted: str) -> list[Remedy]:
            asked = read_question(tried.document, self.reader, records)
            verdict = tried.verdict if asked.case == tried.case else None
            answer, *_ = self._answer(tried.document, asked, records, search.system, LITTLE_WORK, verdict, whole=False)
            return [remedy_of(self.wording, tried, answer)] if answer.outcome in wanted else []

        found = [
            one for tried in search.find(document, question, failing) for one in told(tried, "works", "conditional")
        ]
        if any(one.sku or one.change == "remove" for one in found):
            return found
        past = [one for tried in search.getting_past[:MOST_TOLD] for one in told(tried, "undetermined")]
        found += past
        if search.shelf.sells("accessory") and not past:
            text = search.would_have_to_be(question, failing)
            found += [Remedy(change="none", outcome="fails", because=text)] if text else []
        return found

    def answer_question(
        self,
        question: Question,
        system: System = "us",
        most: int | Work = MOST_WORK,
        verdict: Verdict | None = None,
        allowed: Callable[[], Carried | None] | None = None,
        spoils: Spoils | None = None,
    ) -> Answer:
        """Answer a question that has been read, and judged if there is a verdict; with so much work for what next.

        Beside other things what it may carry is `allowed` with a view to these, and a reading that `spoils` one of them
        is none that works.
        """
        case = self.engine.opened(question.case)
        verdict = verdict or self.engine.evaluate(case)
        return self._told(question, case, verdict, system, most, allowed=allowed, spoils=spoils)

    def _told(
        self,
        question: Question,
        case: Case,
        verdict: Verdict,
        system: System,
        most: int | Work = MOST_WORK,
        *,
        whole: bool = True,
        allowed: Callable[[], Carried | None] | None = None,
        spoils: Spoils | None = None,
    ) -> Answer:
        """The verdict on a question in words; not `whole`, without what passes, limits and cautions.

        These are most of an answer, and of what a remedy comes to nobody is told them.
        """
        findings = self._findings(question, verdict, case, system, passing=whole)
        limits = self.limits.told(case, system) if whole else []
        needs = [self.need(number, case, system) for number in sorted(verdict.left("open_needs"))]
        allowed = allowed or (lambda: self.allowances.carried(case, system))
        carried = allowed() if verdict.outcome != "fails" else None
        allowance = carried.shown if carried else None
        steps = next_steps(self.missing, question.case, verdict, system, most, carried, spoils)
        steps = replace(steps, told=[step for step in steps.told if step.fact not in question.not_asked])
        assumed = self._assumed_of(question, findings, case, system) if whole else []
        either_way = self._either_way(case, verdict, system)
        waits, if_usual = steps.waits, steps.if_usual
        things = self._seeing_to.things(verdict.outcome, findings, needs, waits, allowance, if_usual, steps.for_good)
        findings, asked = self._for_good_first(findings, steps)
        summary = summarise(self.wording, question, verdict, findings, things, asked, allowance, either_way)
        if question.guessed and len(question.candidates) == 1:
            summary = f"{summary} {_taken(question)}"
        cautions = self.cautions.told(case, system) if whole else []
        cautions += [t(_RUBBED).format(what) for what in question.rubbed]
        cautions += told_trials(question.tried)
        return Answer(
            outcome=verdict.outcome,
            summary=summary,
            findings=findings,
            limits=limits,
            needs=needs,
            next=steps.told,
            more_open=steps.more,
            untried=steps.untried,
            if_usual=steps.if_usual,
            remedies=[],
            cautions=cautions,
            assumed=assumed,
            rulebook=self._name,
            allowance=allowance,
            either_way=either_way,
            disputed=self.disputed(question),
            to_see_to=things,
        )

    def _for_good_first(self, findings: list[Finding], steps: Steps) -> tuple[list[Finding], list[Next]]:
        """The findings and the steps to say first: of a rule that nothing settles its reason, and no fact to learn."""
        stay = {self.rulebook.rules[number].id for number in steps.for_good}
        return sorted(findings, key=lambda one: one.rule not in stay), [] if stay else steps.told

    def _either_way(self, case: Case, verdict: Verdict, system: System) -> EitherWayTold | None:
        return tell_either_way(self.wording, case, verdict.either_way, system) if verdict.either_way else None

    def _findings(
        self, question: Question, verdict: Verdict, case: Case, system: System, *, passing: bool = True
    ) -> list[Finding]:
        """The findings, with the facts marked that are assumed or given in place of stored ones."""
        findings = self.findings(verdict, case, system, passing=passing)
        if verdict.either_way and verdict.outcome == "fails":
            first = {self.rulebook.rules[number].id for number in verdict.failing}
            findings.sort(key=lambda finding: finding.rule not in first)
        if question.assumed or question.replaced:
            findings = [_marked(finding, question) for finding in findings]
        return findings

    def findings(self, verdict: Verdict, case: Case, system: System = "us", *, passing: bool = True) -> list[Finding]:
        """Every finding that applies to an opened case, in words, what decides the outcome first; or without `passing`.

        What passes is most of it.
        """
        words, get, present = self.wording.rules(bool(case.adapters)), case.facts.get, case.present
        found: list[Finding] = []
        for effect, result in RESULT_OF.items():
            for number in sorted(verdict.left(effect)) if passing or result != "passes" else ():
                one = words[number]
                # Most are kept already, and a call for each would take longer than to look it up.
                kept = one.kept[system](one.rests_on(get, present)) if one.by_facts_alone else None
                found.append(kept or one.finding(result, case, system))
        moot = sorted(verdict.moot.rules) if passing else ()
        return found + [words[number].passing(case, system) for number in moot]

    def need(self, number: int, case: Case, system: System = "us") -> dict[str, str]:
        """An open need of an opened case, in words."""
        return self.wording.need(number).told(case, system)

    def _assumed_of(self, question: Question, findings: Sequence[Finding], case: Case, system: System) -> list[str]:
        """What the findings rest on that is assumed, and first that the vehicle's name tells nothing here.

        Last comes what the rulebook takes for granted where the question does not say.
        """
        told = [self._unstored(question)] if question.unstored else []
        if len(question.candidates) == 1:
            told.append(_taken(question))
        if question.taken_out:
            told.append(t(_TAKEN_OUT, skus=joined(question.taken_out)))
        if question.assumed or question.summed:
            rests_on = set().union(*(finding.facts for finding in findings))
            told += [self._assumed(name, case, system) for name in sorted(question.assumed & rests_on)]
            told += [self._summed(name, case, system) for name in sorted(question.summed & rests_on)]
        return told + self.assumptions.told(case, system)

    def disputed(self, question: Question) -> list[Disputed]:
        """The facts that are disputed or doubtful, with what was said of each."""
        return [told_doubt(self.wording, name, doubt) for name, doubt in sorted(question.doubts.items())]

    def _unstored(self, question: Question) -> str:
        """By what the vehicle is none of those stored: its names, or what is told beside them."""
        names = [name for name in question.unstored if name.removeprefix("vehicle.") in NAMES]
        labels = joined([self.wording.label(name) for name in names or question.unstored])
        return t(_UNSTORED if names else _UNSTORED_SO).format(labels)

    def _assumed(self, name: str, case: Case, system: System) -> str:
        text = self.wording.fact_text(name, case, system)
        return t("{The} is only assumed: {text}.", The=capped(self.wording.the(name)), text=text)

    def _summed(self, name: str, case: Case, system: System) -> str:
        """Of what a fact is taken that was told in its parts only."""
        parts = joined([self.wording.the(part) for part in self.rulebook.vocabulary.facts[name].sum_of])
        shown = {"The": capped(self.wording.the(name)), "text": self.wording.fact_text(name, case, system)}
        return t("{The} is taken as {text}: {parts} together, and nothing else on it.", parts=parts, **shown)


def _taken(question: Question) -> str:
    """Which stored vehicle is taken for one that is told by what it is called."""
    (one,) = question.candidates
    return t(_GUESSED if question.guessed else _TAKEN).format(one.label or one.key)


def _marked(finding: Finding, question: Question) -> Finding:
    """The finding with the facts marked that are assumed, or given in place of stored ones."""
    marks = dict.fromkeys(question.replaced, t(" (as given)")) | dict.fromkeys(question.assumed, t(" (assumed)"))
    facts = {name: text + marks.get(name, "") for name, text in finding.facts.items()}
    return msgspec.structs.replace(finding, facts=facts)
