"""What is disputed, in words: what each said of a fact, when, and what to do about it; and what was tried here."""

from calendar import month_name
from collections.abc import Iterator, Sequence
from datetime import date
from typing import Final

from fitsvc.answers.answer import Disputed
from fitsvc.answers.phrases import capped, joined
from fitsvc.answers.question import Doubt, TrialHere
from fitsvc.answers.wording import Wording
from fitsvc.facts import as_written
from fitsvc.rulebook.trials import TOUCHED

_LEAD: Final = {
    "disputed": "is disputed",
    "doubtful": "is doubtful, as readings of it hardly agree",
    "stale": "was seen before {} changed, and is not known now",
}
_TRIED: Final = {
    "clear": "{} was tried here {}: it cleared{}.",
    "rubbed": "{} was tried here {}: it went, and it rubbed{}. See what it rubs on before relying on it.",
    "touched": "{} was tried here {}: it touched, and did not go{}.",
}


def told_trials(tried: Sequence[TrialHere]) -> Iterator[str]:
    """How the accessory asked about did when it was tried here; that it cleared, only where it also touched."""
    touched = {one.way for one in tried if one.result == TOUCHED}
    for one in tried:
        if one.result == "clear" and one.way not in touched:
            continue
        when = f", on {_day(one.at)}" if one.at else ""
        yield _TRIED[one.result].format(one.sku, one.way, f"{when}, by {one.by}" if one.by else when)


def told_doubt(wording: Wording, name: str, doubt: Doubt) -> Disputed:
    """One doubt in a sentence: `The distance ... is disputed: 14 in on 1 November 2026 by Ann, 4 in ...`."""
    fact = wording.rulebook.vocabulary.facts.get(name)
    said = ", ".join(
        f"{as_written(value)}{f' on {_day(at)}' if at else ''}{f' by {by}' if by else ''}"
        for value, by, at in doubt.said
    )
    again = "read it again" if fact is not None and fact.effort == "label" else "measure again"
    leans = joined([wording.the(on) for on in fact.leans_on]) if fact is not None else ""
    lead = _LEAD[doubt.state].format(leans)
    return Disputed(name, doubt.state, f"{capped(wording.the(name))} {lead}: {said}; {again}.")


def _day(at: str) -> str:
    """The day of an instant as it is written in UTC."""
    day = date.fromisoformat(at[:10])
    return f"{day.day} {month_name[day.month]} {day.year}"
