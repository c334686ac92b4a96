"""What trials say of the very things that a question is about."""

from fitsvc.answers.gathering import Gathered
from fitsvc.answers.records import Stored
from fitsvc.language.types import ListType
from fitsvc.language.tyres import designation
from fitsvc.tried import TOUCHED


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
    """Note what touched or rubbed here, and how the very accessory asked about did, each way of trying it once."""
    latest = {(one.way, one.result): one for one in stored.things if one.sku == gathered.sku and gathered.sku}
    gathered.tried += latest.values()
    states = gathered.reader.rulebook.trials.values()
    # What touched is told last, as it takes the place of what rubbed.
    for one in sorted(stored.things, key=lambda each: each.result == TOUCHED):
        if one.counts:
            # Of a way to try it that the rulebook no longer has, any may have been meant.
            names = [state.told_as for state in states if state.title == one.how]
            facts = [gathered.reader.vocabulary.facts[name] for name in names or [each.told_as for each in states]]
            came = {fact.name: fact.type.mask(one.result) for fact in facts if isinstance(fact.type, ListType)}
            gathered.of_items.setdefault(one.sku, {}).update(came)
