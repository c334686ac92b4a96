"""What an observation teaches: evidence and measurements turned to facts that only tighten, and what contradicts.

A spare that stowed raises the largest diameter known to stow, one that did not lowers the smallest known not
to. A measurement that agrees with an earlier one leaves what both allow. What disagrees is never lost: the
later one holds, the log keeps both, and the observer is told of every statement that cannot hold beside it.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Final

from fitsvc.document import Document, Json
from fitsvc.facts import FactReader
from fitsvc.language.intervals import TOLERANCE
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.language.types import ListType, NumberType, Value
from fitsvc.language.tyres import TyreError, parse_tyre
from fitsvc.rulebook.vocabulary import Fact
from fitsvc.store.tables import Observation, Record

FITS, BLOCKED = "spare_fits_up_to", "spare_blocked_from"
OTHER: Final = {FITS: BLOCKED, BLOCKED: FITS}
EVIDENCE: Final = ("tyre", "stowed")
LATEST: Final = 500
"""How many of a record's latest observations are held against a new one."""

_INSIDE: Final = {"length": "mm", "mass": "kg", "angle": "deg", "force": "kN", "torque": "N m", "ratio": "%"}


@dataclass(frozen=True, slots=True)
class Conclusion:
    """The facts to record, and what was said where they are not just that."""

    facts: Document
    evidence: Document | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Saying:
    """One statement of a fact: its value, how it is known, by whom, when, and in which observation."""

    fact: str
    value: Json
    kind: str
    by: str
    at: datetime
    observation: str


@dataclass(frozen=True, slots=True)
class Contradiction:
    """A fact with statements that cannot all hold, the newest last."""

    fact: str
    because: str
    said: tuple[Saying, ...] = field(default=())


def read_evidence(evidence: Json, subject: Json, pointer: str) -> list[Problem]:
    """Return what is wrong with evidence: a tyre, and whether it stowed in the spare's place with this receiver."""
    if not isinstance(evidence, dict):
        help = 'write `{"tyre": "265/70R17", "stowed": true}`'
        return [Problem("`evidence` is not an object", help, pointer=pointer)]
    problems = [
        Problem(f"`{name}` has no place in evidence", "it has `tyre` and `stowed`", pointer=f"{pointer}/{name}")
        for name in evidence
        if name not in EVIDENCE
    ]
    if subject != "mounting":
        help = "a spare stows, or does not, with a receiver on a vehicle: name their mounting"
        problems.append(Problem(f"a {subject} has no evidence of a spare", help, pointer=pointer, meaning=True))
    if not isinstance(evidence.get("stowed"), bool):
        help = "write true where the spare went in, rubbing or not, and false where it did not"
        problems.append(Problem("`stowed` is neither true nor false", help, pointer=f"{pointer}/stowed"))
    tyre = evidence.get("tyre")
    if not isinstance(tyre, str):
        help = "write it as on the sidewall, such as `245/75R16`"
        return [*problems, Problem("`tyre` is not a tyre designation", help, pointer=f"{pointer}/tyre")]
    try:
        parse_tyre(tyre)
    except TyreError as error:
        problems.append(Problem(error.message, error.help, pointer=f"{pointer}/tyre"))
    return problems


def conclude(
    reader: FactReader,
    subject: str,
    record: Record,
    facts: Mapping[str, Json],
    evidence: Mapping[str, Json] | None,
    kind: str,
) -> Conclusion:
    """The facts that follow from what was said of a record, given what is known of it; all has been checked."""
    known, concluded, said = reader.subjects[subject], dict(facts), {}
    for name, wire in facts.items():
        earlier = record.facts.get(name) if _measured(record, name) and kind == "measured" else None
        tightened = _tightened(reader, known[name], earlier, wire)
        if tightened is not None:
            concluded[name], said[name] = tightened, wire
    if evidence is None:
        return Conclusion(concluded, {"facts": said} if said else None)
    name, bound = _bound(evidence)
    earlier, least = concluded.get(name, record.facts.get(name)), name == FITS
    if earlier is None or _beyond(reader, known[name], earlier, bound, least=least):
        concluded[name] = _millimetres(bound)
    return Conclusion(concluded, {**evidence, **({"facts": said} if said else {})})


def _measured(record: Record, name: str) -> bool:
    return record.provenance.get(name, {}).get("kind") == "measured"


def _bound(evidence: Mapping[str, Json]) -> tuple[str, float]:
    """The fact that a spare's stowing bounds, by the diameter that is sure."""
    low, high = parse_tyre(evidence["tyre"]).diameter
    return (FITS, low) if evidence["stowed"] else (BLOCKED, high)


def _beyond(reader: FactReader, fact: Fact, earlier: Json, bound: float, *, least: bool) -> bool:
    """Whether a bound says more than what is known already."""
    value = _value(reader, fact, earlier)
    assert isinstance(value, tuple)
    return bound > value[0] + TOLERANCE if least else bound < value[1] - TOLERANCE


def _tightened(reader: FactReader, fact: Fact, earlier: Json, wire: Json) -> Json | None:
    """What an earlier value and a new one both allow, where that is less than the new one allows alone."""
    if earlier is None or wire is None or fact.tyre:
        return None
    old, new = _value(reader, fact, earlier), _value(reader, fact, wire)
    if isinstance(old, tuple) and isinstance(new, tuple) and isinstance(fact.type, NumberType):
        both = (max(old[0], new[0]), min(old[1], new[1]))
        return None if both == new or both[0] > both[1] else _written(fact, both)
    if isinstance(old, int) and isinstance(new, int) and isinstance(fact.type, ListType):
        mask = old & new
        members = [member for i, member in enumerate(fact.type.members) if mask >> i & 1]
        return None if mask in (0, new) else members if len(members) > 1 else members[0]
    return None


def _written(fact: Fact, bounds: tuple[float, float]) -> Json:
    """Bounds inside as a fact is written."""
    if fact.kind == "count":
        return {"at_least": int(bounds[0]), "at_most": int(bounds[1])}
    scale, unit = (100 if fact.kind == "ratio" else 1), _INSIDE[fact.kind]
    return {key: f"{end * scale:.9g} {unit}" for key, end in zip(("at_least", "at_most"), bounds, strict=True)}


def _value(reader: FactReader, fact: Fact, wire: Json) -> Value | None:
    """A fact's value; None for a text, or for a value that is no longer one."""
    try:
        slots = reader.value(fact, wire)
    except ProblemsFound:
        return None
    return slots.get(f"{fact.name}.diameter") if fact.tyre else slots.get(fact.name)


def contradictions(
    reader: FactReader, subject: str, earlier: Iterable[Observation], new: Observation
) -> list[Contradiction]:
    """What was said before of a record that cannot hold beside a new observation; guesses contradict nothing."""
    if new.kind == "assumed":
        return []
    known, standing = reader.subjects[subject], _standing(earlier)
    found = []
    for name, wire in _said(new).items():
        if wire is None or name not in known:
            continue
        fact = known[name]
        against = [one for one in standing.get(name, ()) if _apart(reader, fact, one.value, wire)]
        if against:
            because = f"{fact.the} cannot be {_shown(wire)} and {_shown(against[-1].value)}"
            found.append(Contradiction(name, because, (*against, _saying(new, name, wire))))
    return found + _spare(reader, known, standing, new)


def _said(observation: Observation) -> Document:
    """What was said, before anything was concluded from it; of a spare its own diameter, though it teaches nothing."""
    evidence = observation.evidence or {}
    said = {**observation.facts, **evidence.get("facts", {})}
    if "tyre" in evidence:
        name, bound = _bound(evidence)
        said[name] = _millimetres(bound)
    return said


def _millimetres(bound: float) -> str:
    return f"{bound:.3f}".rstrip("0").rstrip(".") + " mm"


def _standing(earlier: Iterable[Observation]) -> dict[str, list[Saying]]:
    """What has been said of each fact and was not taken back; guesses left out."""
    found: dict[str, list[Saying]] = {}
    for one in earlier:
        for name, wire in _said(one).items():
            if wire is None:
                found.pop(name, None)
            elif one.kind != "assumed":
                found.setdefault(name, []).append(_saying(one, name, wire))
    return found


def _saying(one: Observation, name: str, wire: Json) -> Saying:
    return Saying(fact=name, value=wire, kind=one.kind, by=one.by, at=one.at, observation=one.id)


def _apart(reader: FactReader, fact: Fact, one: Json, other: Json) -> bool:
    """Whether two values of a fact have nothing in common; a raised or lowered bound of the spare has."""
    if fact.short in (FITS, BLOCKED) or fact.kind == "text":
        return False
    old, new = _value(reader, fact, one), _value(reader, fact, other)
    if isinstance(old, tuple) and isinstance(new, tuple):
        return old[0] > new[1] + TOLERANCE or new[0] > old[1] + TOLERANCE
    if isinstance(old, int) and isinstance(new, int):
        return not old & new if isinstance(fact.type, ListType) else old != new
    return False


def _spare(
    reader: FactReader, known: Mapping[str, Fact], standing: Mapping[str, Sequence[Saying]], new: Observation
) -> list[Contradiction]:
    """A spare said to stow that is no smaller than one said not to, where either is told now."""
    told = {name: _saying(new, name, wire) for name, wire in _said(new).items() if name in OTHER and wire is not None}
    for name, one in told.items():
        other = OTHER[name]
        before = [*standing.get(other, ()), *([told[other]] if other in told else ())]
        against = [each for each in before if _crossed(reader, known, {name: one.value, other: each.value})]
        if against:
            value = {name: one.value, other: against[-1].value}
            because = f"a spare of {_shown(value[FITS])} is known to stow, and one of {_shown(value[BLOCKED])} not to"
            return [Contradiction(name, because, (*against, one))]
    return []


def _crossed(reader: FactReader, known: Mapping[str, Fact], said: Mapping[str, Json]) -> bool:
    """Whether what stows is surely no smaller than what does not."""
    fits, blocked = (_value(reader, known[name], said[name]) for name in (FITS, BLOCKED))
    return isinstance(fits, tuple) and isinstance(blocked, tuple) and fits[0] >= blocked[1] - TOLERANCE


def _shown(wire: Json) -> str:
    """A value as it was written, in one line."""
    if isinstance(wire, dict):
        if "tolerance" in wire:
            return f"{wire['value']} ± {wire['tolerance']}"
        return ", ".join(f"{name.replace('_', ' ')} {value}" for name, value in wire.items())
    return " or ".join(map(str, wire)) if isinstance(wire, list) else str(wire)
