"""What is disputed, in words: what each said of a fact, when, and what to do about it; and what was tried here."""

from collections.abc import Iterator, Sequence
from datetime import date
from typing import Final

from fitsvc.answers.answer import Disputed
from fitsvc.answers.phrases import capped, joined
from fitsvc.answers.records import Doubt
from fitsvc.answers.wording import Wording
from fitsvc.fact_values import as_written
from fitsvc.tongues import dated, later, t
from fitsvc.tried import CLEAR, RUBBED, TOUCHED, ThingTried

_LEAD: Final = {
    "disputed": later("is disputed"),
    "doubtful": later("is doubtful, as readings of it hardly agree"),
    "stale": later("was seen before {} changed, and is not known now"),
}
_MEASURE: Final = later("measure again")
_AGAIN: Final = {"label": later("read it again"), "ask": later("ask again")}
"""What to do about a fact that is disputed, by the work that learning it is; of any other it is measured."""
_TRIED: Final = {
    CLEAR: later("{} was tried here {}: it cleared{}."),
    RUBBED: later("{} was tried here {}: it went, and it rubbed{}. See what it rubs on before relying on it."),
    TOUCHED: later("{} was tried here {}: it touched, and did not go{}."),
}


def told_trials(tried: Sequence[ThingTried]) -> Iterator[str]:
    """How the accessory asked about did when it was tried here; that it cleared, only where it also touched so."""
    touched = {one.how for one in tried if one.result == TOUCHED}
    for one in tried:
        if one.result == CLEAR and one.how not in touched:
            continue
        when = t(", on {day}", day=_day(one.at)) if one.at else ""
        yield t(_TRIED[one.result]).format(
            one.sku, one.way, t("{when}, by {by}", when=when, by=one.by) if one.by else when
        )


def told_doubt(wording: Wording, name: str, doubt: Doubt) -> Disputed:
    """One doubt in a sentence: `The distance ... is disputed: 14 in on 1 November 2026 by Ann, 4 in ...`."""
    fact = wording.rulebook.vocabulary.facts.get(name)
    said = ", ".join(
        as_written(value) + (t(" on {day}", day=_day(at)) if at else "") + (t(" by {by}", by=by) if by else "")
        for value, by, at in doubt.said
    )
    again = t(_AGAIN.get(fact.effort if fact is not None else "", _MEASURE))
    leans = joined([wording.the(on) for on in doubt.changed or fact.leans_on]) if fact is not None else ""
    lead = t(_LEAD[doubt.state]).format(leans)
    return Disputed(name, doubt.state, f"{capped(wording.the(name))} {lead}: {said}; {again}.")


def _day(at: str) -> str:
    """The day of an instant as it is written in UTC."""
    return dated(date.fromisoformat(at[:10]), "d MMMM y")
