"""Figures for machines, beside the words for people: the bounds of facts, limits and margins, each with its unit."""

from typing import Final

import msgspec

from fitsvc.answers.answering import Answerer
from fitsvc.answers.question import Question
from fitsvc.engine.limits import limits_of
from fitsvc.facts import Case
from fitsvc.language.intervals import Bounds
from fitsvc.language.quantities import INSIDE
from fitsvc.language.types import NumberType

_DIGITS: Final = 6
"""Decimals of a figure: a millionth of a unit inside is the same."""


class FigureTold(msgspec.Struct, omit_defaults=True, kw_only=True):
    """A figure in one unit: its `value` where it is exact, else its bounds as far as they are known."""

    unit: str = ""
    value: float | None = None
    at_least: float | None = None
    at_most: float | None = None


class Figures(msgspec.Struct):
    """Figures of an answer: what is known of its facts, its limits by name, and the margins of rules by their ids.

    A margin is by how much a rule that compares figures passes, below nothing by how much it fails.
    """

    facts: dict[str, FigureTold]
    limits: dict[str, FigureTold]
    margins: dict[str, FigureTold]


def figures_of(answerer: Answerer, question: Question) -> Figures:
    """Return the figures of a question's answer, in the units inside."""
    case = answerer.engine.opened(question.case)
    return Figures(facts=_facts(answerer, case), limits=_limits(answerer, case), margins=_margins(answerer, case))


def _facts(answerer: Answerer, case: Case) -> dict[str, FigureTold]:
    slots = answerer.rulebook.vocabulary.slots()
    found = {}
    for name, value in sorted(case.facts.items()):
        kind = slots.get(name)
        if isinstance(kind, NumberType) and isinstance(value, tuple):
            found[name] = _figure(value, INSIDE[kind.dimension])
    return found


def _limits(answerer: Answerer, case: Case) -> dict[str, FigureTold]:
    names = {limit.id: limit for limit in answerer.rulebook.limits}
    found = {}
    for name, low in limits_of(answerer.engine, case).items():
        if low.at_most is not None and low.governs is not None and low.governs.shown.dimension is not None:
            figure = FigureTold(unit=INSIDE[low.governs.shown.dimension], at_most=round(low.at_most, _DIGITS))
            found[names[name].name] = figure
    return found


def _margins(answerer: Answerer, case: Case) -> dict[str, FigureTold]:
    found, words = {}, answerer.wording.rules(bool(case.adapters))
    results = answerer.engine.evaluate(case).results(len(answerer.rulebook.rules))
    for number, result in enumerate(results):
        if result in ("passes", "fails", "undetermined") and (room := words[number].room(case)) is not None:
            bounds, dimension = room
            found[answerer.rulebook.rules[number].id] = _figure(bounds, INSIDE[dimension])
    return found


def _figure(bounds: Bounds, unit: str) -> FigureTold:
    low, high = (None if abs(end) == float("inf") else round(end, _DIGITS) for end in bounds)
    if low is not None and low == high:
        return FigureTold(unit=unit, value=low)
    return FigureTold(unit=unit, at_least=low, at_most=high)
