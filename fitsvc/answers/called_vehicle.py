"""A vehicle that a question calls by its name: which of the stored ones it may be, and whether it surely is.

One that goes by what is told is taken, as one that it may be unless what is told leaves no other; several are the
question's candidates.
"""

from collections.abc import Mapping, Sequence

from fitsvc.answers.gathering import Gathered
from fitsvc.answers.records import NAMES, Named, Stored
from fitsvc.answers.taken import surely_all, surely_is, told_otherwise
from fitsvc.answers.vin import signs_apart
from fitsvc.document import Json
from fitsvc.language.truth import NO, UNKNOWN, YES
from fitsvc.language.types import ListType, Value


def vehicle_called(gathered: Gathered, rig: Mapping[str, Json]) -> Stored | None:
    """The one stored vehicle that is meant by the facts given for it; several are noted as candidates."""
    mounting = rig.get("mounting")
    if not any(f"vehicle.{name}" in gathered.texts for name in NAMES):
        return None
    if isinstance(mounting, dict) and mounting.get("id") is not None:
        return None
    facts = gathered.reader.naming
    values = {name: value for name, value in gathered.values.items() if name in facts}
    texts = {name: text for name, text in gathered.texts.items() if name in facts}
    gathered.vehicle = rig["vehicle"]
    found = gathered.records.vehicles(values, texts)
    gathered.candidates = _meant(gathered, found or ())
    if found is not None and not found:
        gathered.unstored = _unmatched(gathered, values, texts)
    if gathered.candidates and not _surely_of(gathered, gathered.candidates, values, texts) and not _guess(gathered):
        gathered.candidates = ()
    if len(gathered.candidates) != 1:
        return None
    one = gathered.candidates[0]
    stored = gathered.subject("vehicle", {**gathered.vehicle, "id": one.key}, "/rig/vehicle")
    for short in gathered.guessed:
        gathered.values.pop(f"vehicle.{short}", None)
    return stored


def _meant(gathered: Gathered, found: Sequence[Named]) -> tuple[Named, ...]:
    """Those of the vehicles that go by a name that no figure told rules out, nor that it is told to be another."""
    if identity_told(gathered) == NO:
        return ()
    ruled_out = [
        [*told_otherwise(gathered.reader, one.figures, gathered.values)[0], *_other_signs(gathered, one)]
        for one in found
    ]
    meant = tuple(one for one, out in zip(found, ruled_out, strict=True) if not out)
    if found and not meant:
        gathered.unstored = tuple(dict.fromkeys(name for out in ruled_out for name in out))
    return meant


def _other_signs(gathered: Gathered, one: Named) -> list[str]:
    """The fact of the signs in its number, where those told are not a stored vehicle's."""
    signs = gathered.reader.vocabulary.serving("number_signs")
    told = {
        name: (gathered.texts[name], one.figures.get(name.partition(".")[2]))
        for name in signs
        if name in gathered.texts
    }
    return [name for name, (said, own) in told.items() if isinstance(own, str) and signs_apart(said, own)]


def _surely_of(
    gathered: Gathered, meant: Sequence[Named], values: Mapping[str, Value], texts: Mapping[str, str]
) -> bool:
    """Whether what is told names a stored vehicle so that it can be no other, or all of a make, model and year."""
    if any(told_otherwise(gathered.reader, one.figures, gathered.values)[1] for one in meant):
        return False
    always = [f"vehicle.{name}" for name in NAMES] + gathered.reader.vocabulary.serving("model_year")
    if any(name not in values and name not in texts for name in always):
        return False
    others = gathered.records.vehicles({}, {name: texts[name] for name in always if name in texts})
    if len(meant) == 1:
        return surely_is(meant[0], values, texts, always, others or ())
    return surely_all(meant, values, texts, always, others or ())


def identity_told(gathered: Gathered) -> int:
    """Whether the vehicle is told to be the stored one that goes by its name: the first of what it may be."""
    told = [gathered.values.get(name) for name in gathered.reader.vocabulary.serving("identity")]
    return {1: YES, 2: NO}.get(told[0], UNKNOWN) if told and isinstance(told[0], int) else UNKNOWN


def _guess(gathered: Gathered) -> bool:
    """Ask whether the vehicle is the stored one, unless that is told; false where no fact can ask it.

    Of several each is asked by itself, as the question is then put about it.
    """
    for name in gathered.reader.vocabulary.serving("identity"):
        fact = gathered.reader.vocabulary.facts[name]
        assert isinstance(fact.type, ListType)
        if len(gathered.candidates) == 1:
            gathered.present.add(name)
        if identity_told(gathered) == UNKNOWN:
            gathered.guessed = {fact.short: list(fact.type.members)}
        return True
    return False


def _unmatched(gathered: Gathered, values: Mapping[str, Value], texts: Mapping[str, str]) -> tuple[str, ...]:
    """The facts by which no stored vehicle is found: make and model first, each beside those that find some."""
    told: dict[str, Value | str] = {**texts, **values}
    names = [f"vehicle.{name}" for name in NAMES if f"vehicle.{name}" in texts]
    kept: list[str] = []
    for name in dict.fromkeys([*names, *told]):
        some = [*kept, name]
        these = ({n: values[n] for n in some if n in values}, {n: texts[n] for n in some if n in texts})
        if gathered.records.vehicles(*these):
            kept = some
    return tuple(name for name in dict.fromkeys([*names, *told]) if name not in kept)
