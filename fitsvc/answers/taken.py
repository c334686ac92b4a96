"""A stored vehicle taken for one that is told in part: whether it can be that one, and whether it surely is.

It surely is only where make, model and model year are told and agree, and so does each other name or count in which the
stored vehicles of that make and model differ. A figure that is told otherwise than it is stored is of another vehicle;
but a rating told higher, of which the lower counts, and what changes on one vehicle with its tyres, springs and
equipment, only leave it open. Several that go by what is told are surely meant only where no other of their make, model
and model year is stored.
"""

from collections.abc import Iterable, Mapping, Sequence
from math import isfinite
from typing import Final

from fitsvc.answers.records import Named
from fitsvc.document import Json
from fitsvc.facts import FactReader
from fitsvc.language.intervals import TOLERANCE
from fitsvc.language.problems import ProblemsFound
from fitsvc.language.truth import NO, UNKNOWN, YES
from fitsvc.language.types import TruthType, Type, Value
from fitsvc.rulebook.vocabulary import Fact

_ROUNDED: Final = 0.002
"""Of a figure: what a label's pounds and its kilograms may differ by, each rounded to ten; an estimate."""


def folded(text: str) -> str:
    """A text as it is compared."""
    return " ".join(text.split()).casefold()


def agree(one: Value, other: Value) -> bool:
    """Whether two values of a count or a choice leave something that both allow."""
    if isinstance(one, tuple) and isinstance(other, tuple):
        return one[0] <= other[1] and other[0] <= one[1]
    assert isinstance(one, int) and isinstance(other, int)
    return bool(one & other)


def apart(kind: Type, one: Value, other: Value) -> bool:
    """Whether two values of a fact leave nothing that both allow, whichever of a label's units was rounded."""
    if isinstance(one, tuple) and isinstance(other, tuple):
        size = max((abs(end) for end in (*one, *other) if isfinite(end)), default=0.0)
        return max(one[0] - other[1], other[0] - one[1]) > max(TOLERANCE, _ROUNDED * size)
    return {one, other} == {NO, YES} if isinstance(kind, TruthType) else not agree(one, other)


def within(kind: Type, one: Value, other: Value) -> bool:
    """Whether all that one value of a fact allows is allowed by the other."""
    if isinstance(one, tuple) and isinstance(other, tuple):
        return other[0] <= one[0] and one[1] <= other[1]
    assert isinstance(one, int) and isinstance(other, int)
    return other in (one, UNKNOWN) if isinstance(kind, TruthType) else one & ~other == 0


def told_otherwise(
    reader: FactReader, figures: Mapping[str, Json], values: Mapping[str, Value]
) -> tuple[list[str], list[str]]:
    """The figures told that a stored vehicle has otherwise: those that rule it out, and those that only leave it open.

    Of a figure that is stored as it is assumed nothing follows.
    """
    facts, out, open_ = reader.vocabulary.facts, list[str](), list[str]()
    changing = {name for fact in facts.values() if fact.leans_on for name in (fact.name, *fact.leans_on)}
    for name, now in values.items():
        fact, wire = facts.get(name), figures.get(name.partition(".")[2])
        if fact is None or wire is None or not name.startswith("vehicle.") or not isinstance(now, tuple):
            continue
        was = _figure(reader, name, wire)
        off = 0.0 if was is None else max(now[0] - was[1], was[0] - now[1])
        if was is None or off <= max(TOLERANCE, _ROUNDED * abs(was[1])):
            continue
        raised = name in reader.ratings and now[0] > was[1]
        (open_ if raised or name in changing or fact.effort == "scales" else out).append(name)
    return out, [*open_, *_other_tyres(reader, figures, values)]


def _other_tyres(reader: FactReader, figures: Mapping[str, Json], values: Mapping[str, Value]) -> list[str]:
    """The tyres told that are of another size than a stored vehicle's: as many vehicles have, and so do others."""
    found = []
    for fact in reader.subjects["vehicle"].values():
        wire = figures.get(fact.short) if fact.tyre else None
        was = _slots(reader, fact, wire) if wire is not None else {}
        sizes = [(was[slot], values[slot]) for slot in was.keys() & values.keys() if not slot.endswith(".load")]
        found += [fact.name] if any(not agree(one, other) for one, other in sizes) else []
    return found


def _slots(reader: FactReader, fact: Fact, wire: Json) -> dict[str, Value]:
    """What is stored of a fact; nothing where that cannot be read."""
    try:
        return reader.value(fact, wire)
    except ProblemsFound:
        return {}


def _figure(reader: FactReader, name: str, wire: Json) -> tuple[float, float] | None:
    found = _slots(reader, reader.vocabulary.facts[name], wire).get(name)
    return found if isinstance(found, tuple) else None


def surely_is(
    vehicle: Named,
    values: Mapping[str, Value],
    texts: Mapping[str, str],
    always: Sequence[str],
    others: Iterable[Named],
) -> bool:
    """Whether a stored vehicle is named so that no other can be meant; `others` are all of its make and model."""
    said = [_said(one) for one in others]
    own, told = _said(vehicle), {name: folded(text) for name, text in texts.items()} | _settled(values)
    apart = {name for one in said for name in one if len({each.get(name) for each in said}) > 1}
    return all(name in own and told.get(name) == own[name] for name in {*always, *apart})


def surely_all(
    meant: Sequence[Named],
    values: Mapping[str, Value],
    texts: Mapping[str, str],
    always: Sequence[str],
    others: Iterable[Named],
) -> bool:
    """Whether several stored vehicles are all that can be meant; `others` are all of their make and model.

    Each other must be of a name or a model year that is told to be another: one that a trim or a figure rules out says
    that vehicles of the name differ, and that more may be than are stored.
    """
    told = {name: folded(text) for name, text in texts.items()} | _settled(values)
    keys = {one.key for one in meant}
    named = all(name in (said := _said(one)) and said[name] == told.get(name) for one in meant for name in always)
    rest = [_said(one) for one in others if one.key not in keys]
    return named and all(any(said.get(name, told[name]) != told[name] for name in always) for said in rest)


def _said(vehicle: Named) -> dict[str, object]:
    """What a stored vehicle says of its names and counts, as it is compared."""
    return {name: folded(text) for name, text in vehicle.texts.items()} | _settled(vehicle.values)


def _settled(values: Mapping[str, Value]) -> dict[str, object]:
    """The counts that are told exactly."""
    return {name: one[0] for name, one in values.items() if isinstance(one, tuple) and one[0] == one[1]}
