"""What trials say of the very things that a question is about."""

from collections.abc import Sequence
from typing import Final

from fitsvc.answers.gathering import Gathered
from fitsvc.answers.records import Stored
from fitsvc.facts import FactReader
from fitsvc.language.types import ListType, Value
from fitsvc.language.tyres import designation
from fitsvc.tried import RUBBED, THROUGH_OTHERS, THROUGH_THESE, TOUCHED, ThingTried

_WORSE: Final = (RUBBED, THROUGH_OTHERS, TOUCHED, THROUGH_THESE)
"""What came of trials, the worst last."""


def take_tried(gathered: Gathered, stored: Stored) -> None:
    """Take what a trial of the very thing asked about says, unless the question itself tells the fact."""
    asked = {designation(text) for name, text in gathered.texts.items() if not name.startswith("vehicle.")}
    for name, by_what in stored.tried.items():
        fact = gathered.reader.subjects[stored.subject].get(name)
        for what in asked & by_what.keys() if fact else ():
            assert fact is not None
            if gathered.values.get(fact.name) == gathered.reader.value(fact, stored.facts[name]).get(fact.name):
                gathered.values |= gathered.reader.value(fact, by_what[what])
                gathered.rubbed += [what] if what in stored.rubbed else []


def note_tried(gathered: Gathered, stored: Stored) -> None:
    """Note what was tried here, and how the very accessory asked about did, each way of trying it once."""
    latest = {(one.way, one.result): one for one in stored.things if one.sku == gathered.sku and gathered.sku}
    gathered.tried += latest.values()
    gathered.things += stored.things


def came_of(reader: FactReader, things: Sequence[ThingTried], row: Sequence[str]) -> dict[str, dict[str, Value]]:
    """The facts of what touched or rubbed here, by its SKU, behind a row of adapters by their SKUs.

    What was tried so behind that very row counts instead of what was tried so behind any other.
    """
    states, found = reader.rulebook.trials.values(), dict[str, dict[str, Value]]()
    tried_so = {(one.sku, one.how) for one in things if one.is_behind(row)}
    counting = [one for one in things if one.counts and (one.is_behind(row) or (one.sku, one.how) not in tried_so)]
    # What is worse is told last, as it takes the place of what is less so.
    for result, one in sorted(((_result(one, row), one) for one in counting), key=lambda each: _WORSE.index(each[0])):
        # Of a way to try it that the rulebook no longer has, any may have been meant.
        names = [state.told_as for state in states if state.title == one.how] or [each.told_as for each in states]
        kinds = {name: reader.vocabulary.facts[name].type for name in names}
        came = {name: kind.mask(_told(kind, result)) for name, kind in kinds.items() if isinstance(kind, ListType)}
        found.setdefault(one.sku, {}).update(came)
    return found


def _result(one: ThingTried, row: Sequence[str]) -> str:
    """What came of a trial, as it tells of what hangs behind a row of adapters."""
    if one.result != TOUCHED or not one.through:
        return one.result
    return THROUGH_THESE if one.is_behind(row) else THROUGH_OTHERS


def _told(kind: ListType, result: str) -> str:
    """The member for a result: by a rulebook that does not tell through what it touched, that it touched."""
    return result if result in kind.members or result == RUBBED else TOUCHED
