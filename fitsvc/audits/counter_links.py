"""The address at which a pair of an audit opens at the counter: the rig by its id, the item by all that is told of it.

The counter's store may not have the item, so that the address has its facts and not its number.
"""

from collections.abc import Iterator
from typing import Final
from urllib.parse import urlencode

from fitsvc.audits.items import Items
from fitsvc.audits.rigs import CARRIED, AuditRig
from fitsvc.engine.columns.signatures import value_at
from fitsvc.facts import FactReader
from fitsvc.language.display import show, show_step
from fitsvc.language.intervals import TOLERANCE
from fitsvc.language.problems import ProblemsFound
from fitsvc.language.types import ListType, Mask, NumberType, Value
from fitsvc.loading.cells import read_cell
from fitsvc.loading.entries import wire_fact
from fitsvc.rulebook.vocabulary import Fact

_INSIDE: Final = {"length": "mm", "mass": "kg", "angle": "deg", "force": "kN"}
"""The units inside, in which a figure is told that would be another one rounded."""
_LEVELS: Final = 6
"""How much finer than as it is usually told a figure is tried."""


def counter_link(base: str, rig: AuditRig, items: Items, place: int, reader: FactReader) -> str:
    """The address; empty where something is said of the pair that the counter could not be asked with.

    What every rig carries or tows in the audit is not the saved rig's own, and is told beside it.
    """
    if items.unread_of(place) or any(flags[place] for flags in items.named.values()):
        return ""
    fields, slots = {"rig": rig.key}, reader.vocabulary.slots()
    told = {
        name: value for name, value in rig.case.facts.items() if name.partition(".")[0] in CARRIED and name in slots
    }
    told |= {name: value_at(slots[name], column, place) for name, column in items.columns.items()}
    for name, value in told.items():
        if value == slots[name].unknown:
            continue
        fact = reader.vocabulary.facts.get(name)
        text = next((one for one in _texts(fact, value) if _reads(reader, fact, one, value)), "") if fact else ""
        if not text:
            return ""
        fields[name] = text
    return f"{base.rstrip('/')}/answer?{urlencode(fields)}"


def as_told(fact: Fact, value: Value) -> str:
    """A value as people tell it."""
    return next(_texts(fact, value))


def _texts(fact: Fact, value: Value) -> Iterator[str]:
    """A value in the ways in which it may be written, as people tell it first."""
    if isinstance(fact.type, ListType):
        assert isinstance(value, int)
        yield " | ".join(fact.type.names(Mask(value)))
    elif isinstance(fact.type, NumberType):
        assert isinstance(value, tuple)
        low, high = value
        yield show(low, high, fact.type.dimension, fact.shown_in, "us")
        yield from (show_step(low, fact.shown_in, "us", level) for level in range(_LEVELS) if fact.shown_in)
        unit = _INSIDE.get(fact.kind, "")
        yield f"{low!r} {unit}".strip() if low == high else f"at least {low!r} {unit}, at most {high!r} {unit}"
    else:
        yield "yes" if value else "no"


def _reads(reader: FactReader, fact: Fact, text: str, value: Value) -> bool:
    """Whether a text says just this value."""
    try:
        read = reader.value(fact, wire_fact(fact, read_cell(text, fact))).get(fact.name)
    except ProblemsFound:
        return False
    if isinstance(read, tuple) and isinstance(value, tuple):
        return all(abs(one - other) <= TOLERANCE for one, other in zip(read, value, strict=True))
    return read == value
