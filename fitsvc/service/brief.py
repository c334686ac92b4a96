"""What a question comes to and by which rules, without a word of why: for lists, which pay for nothing else."""

import msgspec

from fitsvc.answers.answer import RulebookName
from fitsvc.answers.answering import Answerer
from fitsvc.answers.candidates import most_of, over_all
from fitsvc.answers.question import read_question
from fitsvc.answers.records import Records
from fitsvc.answers.things import names_several, read_things
from fitsvc.document import Json
from fitsvc.engine.verdict import Verdict
from fitsvc.rulebook.outcomes import OUTCOMES, Outcome
from fitsvc.selection.results import codes_of


class Brief(msgspec.Struct):
    """An outcome, the rules and needs behind it, the first first, and the rulebook it is by."""

    outcome: Outcome
    codes: list[str]
    rulebook: RulebookName


def brief(answerer: Answerer, document: Json, records: Records) -> Brief:
    """Return what a question comes to; ProblemsFound when it cannot be read."""
    verdicts = _together(answerer, document, records) if names_several(document) else None
    if verdicts is not None:
        outcome = max((verdict.outcome for verdict in verdicts), key=OUTCOMES.index)
    else:
        verdicts, outcome = _alone(answerer, document, records)
    numbers = [number for verdict in verdicts if verdict.outcome == outcome for number in _codes(answerer, verdict)]
    book = answerer.rulebook
    names = [*(rule.id for rule in book.rules), *(need.name for need in book.needs)]
    return Brief(outcome, [names[number] for number in dict.fromkeys(numbers)], RulebookName(book.digest, book.name))


def _codes(answerer: Answerer, verdict: Verdict) -> list[int]:
    return codes_of(verdict, len(answerer.rulebook.rules))


def _together(answerer: Answerer, document: Json, records: Records) -> list[Verdict]:
    """What each of several things comes to by itself, and beside the others."""
    things = [(one.question.case, one.place) for one in read_things(document, answerer.reader, records)]
    return [*answerer.together.verdicts(things), *answerer.together.alone(things)]


def _alone(answerer: Answerer, document: Json, records: Records) -> tuple[list[Verdict], Outcome]:
    """What a question about one thing comes to, on each of the vehicles that may be meant."""
    engine, question = answerer.engine, read_question(document, answerer.reader, records)
    verdict = engine.evaluate(engine.opened(question.case))
    if len(question.candidates) < 2:
        return [verdict], verdict.outcome
    if len(question.candidates) > most_of(question.case):
        return [verdict], verdict.outcome if verdict.outcome in ("works", "fails") else "undetermined"
    asked = [read_question(question.about(document, one), answerer.reader, records) for one in question.candidates]
    verdicts = [engine.evaluate(engine.opened(one.case)) for one in asked]
    return verdicts, over_all({verdict.outcome for verdict in verdicts})
