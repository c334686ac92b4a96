"""What a question tells of a stored thing held against its record: whether it is another's, and what leans on it."""

from collections.abc import Mapping, Sequence
from typing import Final

from fitsvc.answers.called_vehicle import identity_told
from fitsvc.answers.gathering import Gathered
from fitsvc.answers.parts import names_fact
from fitsvc.answers.records import NAMES, Doubt, Named, Stored, sure_of
from fitsvc.answers.taken import agree, folded, told_otherwise
from fitsvc.answers.vin import signs_apart
from fitsvc.document import Json
from fitsvc.language.intervals import equal
from fitsvc.language.truth import NO, YES
from fitsvc.language.types import ListType
from fitsvc.language.tyres import designation
from fitsvc.rulebook.vocabulary import Fact
from fitsvc.tongues import t

_ANEW: Final = 0.05
"""Of a figure of a vehicle: what two who measure the same one differ by at most; an estimate."""


def hold_to_its_record(gathered: Gathered, rig: Mapping[str, Json]) -> None:
    """Ask whether a vehicle is the stored one that it is said to be, where what is told of it is another's.

    One that comes with a saved rig or a mounting only, and not by its own id, is not called by another's name: what
    was measured on the one is not of the other. Nor has it a trim or a model year that another stored one has. And
    whoever says that it is the same does not tell another name, count or choice of it: one of the two is a slip, and
    which is not known. A figure may be measured anew, but not to be another vehicle's, as a wheelbase is.
    """
    for one in gathered.taken if not gathered.problems else ():
        if one.subject != "vehicle":
            continue
        others = _another(gathered, sure_of(one))
        part = rig.get("vehicle")
        by_name = isinstance(part, dict) and part.get("id") is None
        called = [name for short in NAMES if (name := f"vehicle.{short}") in others and names_fact(rig, name)]
        if by_name and called:
            _another_is_called(gathered, rig, called[0], one)
        elif by_name and others:
            _refuse_another(gathered, rig, one, others)
        vocabulary = gathered.reader.vocabulary
        names = [name for name in (*gathered.reader.naming, *vocabulary.serving("number_signs")) if name in others]
        names += [name for name in others if name not in names and _is_far_off(gathered, name, one)]
        if names and identity_told(gathered) == YES and not gathered.problems:
            _is_not_the_same(gathered, rig, names[0], one)
        for name in others if not gathered.problems else ():
            said = (gathered.told_here[name], t("this question"), "")
            wire = one.facts[name.partition(".")[2]]
            gathered.doubts[name] = Doubt("disputed", (said, (wire, t("its record"), "")))
            gathered.present.update(gathered.reader.vocabulary.serving("identity"))


def _is_far_off(gathered: Gathered, name: str, one: Stored) -> bool:
    """Whether a figure is told otherwise than on record by more than it can be measured anew."""
    now, wire = gathered.values.get(name), one.facts.get(name.partition(".")[2])
    was = None if wire is None else gathered.reader.value(gathered.reader.vocabulary.facts[name], wire).get(name)
    if not isinstance(now, tuple) or not isinstance(was, tuple):
        return False
    return max(now[0] - was[1], was[0] - now[1]) > _ANEW * max(abs(was[0]), abs(was[1]))


def _names(gathered: Gathered) -> list[str]:
    """The facts that a vehicle is called by: its names, and its model year."""
    vocabulary = gathered.reader.vocabulary
    texts = [name for name, fact in gathered.reader.naming.items() if fact.kind == "text"]
    return [*texts, *vocabulary.serving("model_year")]


def _is_not_the_same(gathered: Gathered, rig: Mapping[str, Json], name: str, one: Stored) -> None:
    """Refuse that a vehicle is the very one stored where it is called by what the stored one is not."""
    fact = gathered.reader.vocabulary.facts[name]
    message = t(
        "it is told to be the very vehicle `{vehicle}` ({label}), whose {fact} is {was}, not {told}",
        vehicle=one.key,
        label=one.label,
        fact=fact.label,
        was=one.facts[fact.short],
        told=gathered.told_here[name],
    )
    help = t(
        "one of the two is a slip: leave `{fact}` out if it is that vehicle, or else name the one it is", fact=name
    )
    pointer = f"/rig/vehicle/facts/{fact.short}" if names_fact(rig, name) else "/rig/id" if rig.get("id") else "/rig"
    gathered.complain(pointer, message, help, True, "other record")


def _refuse_another(gathered: Gathered, rig: Mapping[str, Json], one: Stored, others: Sequence[str]) -> None:
    """Refuse the trim or year of another stored vehicle over what comes with a saved rig or a mounting of this one."""
    called_by = _names(gathered)
    names = [name for name in others if name in called_by]
    other = _stored_so(gathered, one, names) if names else None
    if other is None:
        return
    fact = gathered.reader.vocabulary.facts[names[0]]
    message = t(
        "vehicle `{vehicle}` ({label}) has as {fact} {was}, not {told}",
        vehicle=one.key,
        label=one.label,
        fact=fact.label,
        was=one.facts[fact.short],
        told=gathered.told_here[fact.name],
    )
    help = t("name `{other}` ({its_label}), or leave out what is not so", other=other.key, its_label=other.label)
    pointer = "/rig/id" if rig.get("id") is not None else "/rig/mounting/id"
    gathered.complain(pointer, message, help, True, "other record")


def _stored_so(gathered: Gathered, one: Stored, names: Sequence[str]) -> Named | None:
    """Another stored vehicle of its make and model, or of those told, that has the texts and counts told."""
    values = {name: gathered.values[name] for name in names if name in gathered.values}
    texts = {name: gathered.texts[name] for name in names if name in gathered.texts}
    own = {f"vehicle.{short}": str(one.facts[short]) for short in NAMES if one.facts.get(short) is not None}
    for other in gathered.records.vehicles(values, {**own, **texts}) or ():
        has = [folded(other.texts.get(name, "")) == folded(text) for name, text in texts.items()]
        has += [name in other.values and agree(other.values[name], value) for name, value in values.items()]
        if other.key != one.key and has and all(has):
            return other
    return None


def _another_is_called(gathered: Gathered, rig: Mapping[str, Json], name: str, one: Stored) -> None:
    """Refuse a vehicle's name that is not the name of the vehicle whose mounting the question goes by."""
    by = "id" if rig.get("id") is not None else "mounting/id"
    message = t(
        "`{key}` is on vehicle `{vehicle}` ({label}), whose {fact} is {was}, not {told}",
        key=rig["id"] if by == "id" else rig["mounting"]["id"],
        vehicle=one.key,
        label=one.label,
        fact=gathered.reader.vocabulary.facts[name].label,
        was=one.facts[name.partition(".")[2]],
        told=gathered.told_here[name],
    )
    help = t("leave the vehicle's name out, or leave `{by}` out and tell what was measured on this vehicle", by=by)
    gathered.complain(f"/rig/{by}", message, help, True)


def hold_to_its_place(gathered: Gathered, rig: Mapping[str, Json]) -> None:
    """Refuse a stored mounting of a receiver that is told here to be fastened elsewhere: it was measured there."""
    if gathered.problems:
        return
    taken = {one.subject: one for one in gathered.taken}
    mounting, receiver = taken.get("mounting"), taken.get("receiver")
    for name in gathered.reader.vocabulary.serving("fastened_to") if mounting and receiver else ():
        assert mounting is not None and receiver is not None
        wire, now = sure_of(receiver).get(name), gathered.values.get(name)
        fact = gathered.reader.vocabulary.facts[name]
        if wire is None or now is None or name not in gathered.told_here:
            continue
        if agree(now, gathered.reader.value(fact, wire)[name]):
            continue
        part = rig.get("mounting")
        by_mounting = isinstance(part, dict) and part.get("id") is not None
        message = t(
            "`{key}` was measured on receiver `{receiver}` ({label}), whose {fact} is {was}, not {told}",
            key=mounting.key,
            receiver=receiver.key,
            label=receiver.label,
            fact=fact.label,
            was=wire,
            told=gathered.told_here[name],
        )
        help = t("tell the receiver by its own facts, and what was measured on it, without a stored mounting")
        pointer = "/rig/mounting/id" if by_mounting else "/rig/id" if rig.get("id") is not None else "/rig/receiver"
        gathered.complain(pointer, message, help, True, "other record")


def _another(gathered: Gathered, on_record: Mapping[str, Json]) -> list[str]:
    """The names, choices and figures told that a record has otherwise; of a rating, the lower counts anyway."""
    if gathered.told_here.keys().isdisjoint(on_record):
        return []
    told = {name: gathered.values[name] for name in gathered.told_here if name in gathered.values}
    figures = {name.partition(".")[2]: wire for name, wire in on_record.items() if name not in gathered.reader.ratings}
    found = told_otherwise(gathered.reader, figures, told)[0]
    for name, fact in gathered.reader.naming.items():
        if name not in on_record or name not in gathered.told_here or name in found:
            continue
        if fact.kind == "text":
            differs = name in gathered.texts and folded(gathered.texts[name]) != folded(str(on_record[name]))
        else:
            was = gathered.reader.value(fact, on_record[name]).get(name)
            differs = name in told and was is not None and not agree(was, told[name])
        found += [name] if differs else []
    return found + [name for name in _other_number(gathered, on_record) if name not in found]


def _other_number(gathered: Gathered, on_record: Mapping[str, Json]) -> list[str]:
    """The signs of a vehicle's number that are told, where no number has both them and those of the record."""
    names = gathered.reader.vocabulary.serving("number_signs")
    both = [(name, gathered.texts.get(name, ""), str(on_record.get(name) or "")) for name in names]
    return [name for name, told, was in both if told and was and signs_apart(told, was)]


def leave_what_leant(gathered: Gathered) -> None:
    """Take what is stored of a fact for not known where what it leans on is told here to be another."""
    if gathered.problems or not gathered.stored:
        return
    for fact in gathered.reader.vocabulary.facts.values():
        if not fact.leans_on or fact.name not in gathered.stored or fact.name in gathered.told_here:
            continue
        changed = tuple(on for on in fact.leans_on if _is_another(gathered, gathered.reader.vocabulary.facts[on]))
        if changed:
            gathered.forget(fact.name)
            gathered.doubts[fact.name] = Doubt("stale", ((gathered.stored[fact.name], "", ""),), changed)


def _is_another(gathered: Gathered, fact: Fact) -> bool:
    """Whether what is told here of a fact cannot be what is stored of it; not known is no other."""
    if fact.name not in gathered.told_here or gathered.stored.get(fact.name) is None:
        return False
    if fact.tyre:
        tyre = gathered.texts.get(fact.name)
        return tyre is not None and designation(tyre) != designation(str(gathered.stored[fact.name]))
    was, now = gathered.reader.value(fact, gathered.stored[fact.name]).get(fact.name), gathered.values.get(fact.name)
    if isinstance(was, tuple) and isinstance(now, tuple):
        return equal(was, now) == NO
    return isinstance(was, int) and isinstance(now, int) and isinstance(fact.type, ListType) and not was & now
