"""Items of a page of goods beside what hangs on the rig already, in bounded work."""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Final

from fitsvc.answers.answer import Disputed
from fitsvc.answers.shelf import Item
from fitsvc.facts import Case
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.language.types import Value
from fitsvc.rulebook.outcomes import OUTCOMES, Outcome
from fitsvc.selection.results import codes_of
from fitsvc.selection.segments import case_of
from fitsvc.selection.selector import Selected
from fitsvc.service.context import Service
from fitsvc.tongues import t
from fitsvc.wanted import still_wanted

MOST_BESIDE: Final = 2_000
"""Pairs that are looked at for which of them are alike."""
MOST_TOGETHER: Final = 3_000
"""Judgements of things beside one another: of a rig that leaves all open each takes a millisecond or two."""


@dataclass(frozen=True, slots=True)
class MatchedRig:
    """One rig of a page's: its case, what of it is disputed, and what hangs on it beside the item, each where."""

    case: Case
    disputed: list[Disputed]
    place: Value | None = None
    others: tuple[tuple[Case, Value], ...] = ()


def refuse_too_many(service: Service, rigs: Sequence[MatchedRig], items: Sequence[Item]) -> None:
    """Refuse to judge more beside what hangs there than one question may take."""
    judgements = 0
    for rig in rigs:
        if rig.place is not None:
            count = 1 + len(rig.others)
            unlike = {_told_apart(case_of(rig.case, item, service.answerer.reader)) for item in items}
            judgements += len(unlike) * (count * max(count - 1, 1) + 1)
    if judgements > MOST_TOGETHER:
        help = t("ask about fewer items or rigs at a time: it may take {most}", most=MOST_TOGETHER)
        raise ProblemsFound(
            [
                Problem(
                    t("with what hangs there already this takes {judgements} judgements", judgements=judgements), help
                )
            ]
        )


def _told_apart(case: Case) -> Hashable:
    """What rules tell an item on a rig from others by."""
    return frozenset(case.facts.items()), case.present


def beside(service: Service, rig: MatchedRig, items: Sequence[Item], row: Sequence[Selected]) -> list[Selected]:
    """Items beside what hangs on a rig already: of each the worst of all of them, by themselves and together."""
    answerer, selector, place = service.answerer, service.selections.selector, rig.place
    assert place is not None
    together, rules = answerer.together, len(answerer.rulebook.rules)
    others, known, found = together.alone(rig.others), dict[Hashable, tuple[Outcome, list[str]]](), list[Selected]()
    for item, alone in zip(items, row, strict=True):
        case = case_of(rig.case, item, answerer.reader)
        key = _told_apart(case)
        if key not in known:
            still_wanted()
            mine = (case, place)
            verdicts = [*together.verdicts([mine, *rig.others]), *together.alone([mine]), *others]
            worst = max((verdict.outcome for verdict in verdicts), key=OUTCOMES.index)
            numbers = [number for one in verdicts if one.outcome == worst for number in codes_of(one, rules)]
            known[key] = worst, [selector.code(number) for number in dict.fromkeys(numbers)]
        outcome, codes = known[key]
        told = Selected(sku=item.sku, outcome=outcome, codes=codes, label=alone.label, kind=alone.kind)
        if alone.outcome == outcome and alone.codes[:1] == codes[:1]:
            told.reason, told.either_way = alone.reason, alone.either_way
        found.append(told)
    return found
