"""A saved rig spelt out: its parts in place of its id, with those that a question gives beside it."""

from collections.abc import Mapping

from fitsvc.answers.parts import names_fact
from fitsvc.answers.records import Records
from fitsvc.document import Document, Json
from fitsvc.facts import FactReader
from fitsvc.language.intervals import TOLERANCE
from fitsvc.language.truth import NO, YES
from fitsvc.language.types import Mask, TruthType, Value
from fitsvc.rulebook.vocabulary import Fact
from fitsvc.subjects import RIG


def joined_rig(saved: Mapping[str, Json], rig: Mapping[str, Json]) -> Document:
    """A saved rig with the parts that a question gives beside its `id`; one left empty un-tells nothing."""
    given = {name: part for name, part in rig.items() if name != "id" and part is not None}
    return {**saved, **{name: joined_part(saved.get(name), part) for name, part in given.items()}}


def spelt_out(document: Document, records: Records, reader: FactReader) -> Document:
    """A question that has been read, with a saved rig's parts in place of its `id`."""
    rig = document.get("rig")
    if not isinstance(rig, dict) or rig.get("id") is None or records.rig(rig["id"]) is None:
        return document
    return {**document, "rig": rig_spelt_out(rig, records, reader)}


def rig_today(rig: Mapping[str, Json], reader: FactReader) -> Document:
    """A rig whose facts go by the names that they have today, so that what is given beside takes their place."""
    return {name: _part_today(name, part, reader) for name, part in rig.items()}


def _part_today(name: str, part: Json, reader: FactReader) -> Json:
    facts = part.get("facts") if isinstance(part, dict) else None
    if name not in reader.subjects or not isinstance(facts, dict):
        return part
    now = reader.today(name, facts)
    return {**part, "facts": now} if len(now) == len(facts) else part  # told twice, which reading it says


def rig_spelt_out(rig: Mapping[str, Json], records: Records, reader: FactReader) -> Document:
    """A saved rig's parts in place of its `id`, with what is given beside; no limit is lifted above its own label."""
    rig = rig_today(rig, reader)
    found = joined_rig(rig_today(records.rig(rig["id"]) or {}, reader), rig)
    for name, wire in reader.today(RIG, records.rig_told(rig["id"]).facts).items():
        subject, _, short = name.partition(".")
        if name in reader.limits and names_fact(rig, name):
            fact, given = reader.vocabulary.facts[name], rig[subject]["facts"][short]
            now = reader.slots[name].unknown if given is None else reader.value(fact, given)[name]
            if held_to(fact, now, reader.value(fact, wire)[name]) != now:
                found[subject] = {**found[subject], "facts": {**found[subject]["facts"], short: wire}}
    return found


def held_to(fact: Fact, now: Value, was: Value) -> Value:
    """What is told of a limit, no further than what its record says: as it is told where that is as strict or stricter.

    Of bounds that reach past the record's the stricter end counts, and of what lies wholly past them the record.
    """
    if isinstance(now, tuple) and isinstance(was, tuple):
        if fact.serves == "makers_demand":
            past, low = now[1] < was[0] - TOLERANCE, max(now[0], was[0])
            return was if past else now if now[0] >= was[0] - TOLERANCE else (low, max(now[1], low))
        past, high = now[0] > was[1] + TOLERANCE, min(now[1], was[1])
        return was if past else now if now[1] <= was[1] + TOLERANCE else (min(now[0], high), high)
    assert isinstance(now, int) and isinstance(was, int)
    if isinstance(fact.type, TruthType):
        strict = YES if fact.serves == "makers_demand" else NO
        return was if was == strict else now
    # Members stand in their order: of a limit none behind the record's last, of a demand none before its first.
    upwards, downwards = ~((was & -was) - 1), (1 << was.bit_length()) - 1
    kept = now & (upwards if fact.serves == "makers_demand" else downwards)
    return Mask(kept) if kept else was


def joined_part(saved: Json, part: Json) -> Json:
    """A saved rig's part with the facts given for it; a part that is named anew takes its place."""
    if not isinstance(saved, dict) or not isinstance(part, dict) or part.get("id") is not None:
        return part
    given, facts = {name: told for name, told in part.items() if told is not None}, part.get("facts")
    return {**saved, **given, **({"facts": {**(saved.get("facts") or {}), **facts}} if isinstance(facts, dict) else {})}
