"""The rulebook's part of the law by which statements become facts: how each fact is read, compared and written."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from functools import cache, lru_cache, partial
from math import ceil, floor, inf
from typing import Final

import msgspec

from fitsvc.caching import LruCache
from fitsvc.document import Json
from fitsvc.facts import FactReader, escape
from fitsvc.language.intervals import TOLERANCE, Bounds
from fitsvc.language.problems import Problem, ProblemsFound, nearest
from fitsvc.language.quantities import QuantityError, unit_of
from fitsvc.language.truth import YES
from fitsvc.language.types import ListType, Mask, TruthType
from fitsvc.language.tyres import designation
from fitsvc.observing.evidence import taught, tried
from fitsvc.observing.trials import Trials
from fitsvc.rulebook.vocabulary import Fact
from fitsvc.store.observations import adapters_of
from fitsvc.store.spans import Span, apart
from fitsvc.store.statements import TEXT, FactLaw, Laws, Trial
from fitsvc.subjects import OF_YARD, RIG
from fitsvc.tongues import t
from fitsvc.tried import CLEAR, RESULTS, SEPARATED, TOUCHED, ThingTried
from fitsvc.written import as_exact, exact, parted

_INSIDE: Final = {"length": "mm", "mass": "kg", "angle": "deg", "force": "kN", "torque": "N m", "ratio": "%"}
_TAPE: Final = 64
"""A tape's finest parts of an inch; ends that stand on none, and other units, are decimal figures."""
_FINE: Final = 10**6
_TAPED: Final = "1 in"
_encode: Final = msgspec.json.Encoder().encode
_MOST_READ: Final = 1_000
"""Values of one fact that are kept as read: a tape has some hundreds of marks that are ever told."""


@lru_cache(maxsize=8)
def laws_of(reader: FactReader) -> Laws:
    """The law of each subject by a rulebook; made once for each reader, since it keeps what it has read."""
    return cache(partial(SubjectLaw, reader))


@lru_cache(maxsize=8)
def _trials_of(reader: FactReader) -> Trials:
    return Trials(reader)


def facts_of(reader: FactReader, subject: str) -> Mapping[str, Fact]:
    """The facts that may be told of a record or a saved rig, by their names there: of a rig by their whole names."""
    if subject != RIG:
        return reader.subjects[subject]
    return {fact.name: fact for part in OF_YARD for fact in reader.subjects[part].values()}


def rig_problems(reader: FactReader, facts: Mapping[str, Json], pointer: str) -> list[Problem]:
    """What is wrong with facts that are told of one saved rig, each by its whole name."""
    problems, known = list[Problem](), dict(facts_of(reader, RIG))
    known |= {was: known[now] for was, now in reader.names_today(RIG).items() if now in known}
    for name, value in facts.items():
        subject, place = name.partition(".")[0], f"{pointer}/{escape(name)}"
        if name in known:
            found: list[Problem] = []
            reader.read(subject, {known[name].short: value}, "", found, {}, {})
            problems += [replace(one, pointer=place + one.pointer.partition(known[name].short)[2]) for one in found]
        else:
            near = nearest(name, known)
            help = (
                t("did you mean `{near}`?", near=near)
                if near
                else t("of a rig is told such as `{name}`", name=next(iter(known)))
            )
            problems.append(Problem(t("there is no fact `{name}` of a rig", name=name), help, pointer=place))
    return problems


class SubjectLaw:
    """The law of one subject's facts."""

    def __init__(self, reader: FactReader, subject: str) -> None:
        self._subject, self._reader, self._facts = subject, reader, facts_of(reader, subject)
        self._known: dict[str, FactLaw] = {}
        self._trials = _trials_of(reader)

    def whole(self, name: str) -> str:
        """A fact's name with its subject before it; those of a rig have it."""
        return name if self._subject == RIG else f"{self._subject}.{name}"

    def fact(self, name: str) -> FactLaw:
        """The law of one fact; what the rulebook no longer has is a text."""
        found = self._known.get(name)
        if found is None:
            fact = self._facts.get(name)
            found = self._known[name] = TEXT if fact is None else self._law(fact)
        return found

    def taught(self, evidence: Mapping[str, Json]) -> Mapping[str, Json]:
        """What was tried, as statements of facts."""
        return taught(evidence)

    def bounded(self, evidence: Mapping[str, Json], around: Mapping[str, Json]) -> Mapping[str, Json]:
        """What follows from an accessory that was tried, in inches as its rig is measured."""
        return self._follows(evidence, around, self._trials.bounds) if "sku" in evidence else {}

    def supposed(self, evidence: Mapping[str, Json], around: Mapping[str, Json]) -> Mapping[str, Json]:
        """What would follow besides, did it touch what the rulebook holds it against: it may have been other parts."""
        return self._follows(evidence, around, self._trials.supposed) if "sku" in evidence else {}

    def teaches(self, evidence: Mapping[str, Json]) -> Sequence[str]:
        """The facts of which what was tried may state something."""
        state = self._trials.states.get(evidence.get("state", ""))
        return [name.partition(".")[2] for name in state.bears_on] if state else list(taught(evidence))

    def tried(self, evidence: Mapping[str, Json]) -> Trial | ThingTried | None:
        """What was tried, as it answers for the very same thing.

        Of a trial that a newer version took, and that is told as none is here, the worst is taken, and it settles
        nothing.
        """
        state = self._trials.states.get(evidence.get("state", ""))
        if state is None:
            return tried(evidence)
        name, result = state.bears_on[0].partition(".")[2], str(evidence.get("result"))
        if not self._trials.known(evidence):
            if result == CLEAR:
                return None
            result = result if result in RESULTS else TOUCHED
        through = SEPARATED.join(map(str, adapters_of(evidence)))
        return ThingTried(fact=name, sku=str(evidence.get("sku")), how=state.title, result=result, through=through)

    def changed(self, name: str, was: Json, now: Json) -> bool:
        """Whether a fact that others lean on is surely not what it was: texts and spans that share nothing."""
        fact = self._reader.vocabulary.facts[name]
        before, after = (_read(self._reader, fact, value, "published")[1] for value in (was, now))
        return bool(was != now) if before is None or after is None else apart(before, after)

    def _follows(
        self, evidence: Mapping[str, Json], around: Mapping[str, Json], spans: Callable[..., Mapping[str, Bounds]]
    ) -> dict[str, Json]:
        return {name: self.fact(name).write(span, _TAPED) for name, span in spans(evidence, around).items()}

    def _law(self, fact: Fact) -> FactLaw:
        return FactLaw(
            read=_remembering(partial(_read, self._reader, fact)),
            write=_writer(fact),
            rating=fact.rating or fact.serves == "makers_limit",
            gathered=fact.gathered,
            leans_on=fact.leans_on,
            plausible=fact.range,
        )


_Read = Callable[[Json, str], tuple[Json, Span | None]]


def _remembering(read: _Read) -> _Read:
    """The same reading, with what it gave kept: all that was said of a record is read whenever a word is added."""
    kept = LruCache[tuple[str | bytes, str], tuple[Json, Span | None]](_MOST_READ)

    def reading(value: Json, kind: str) -> tuple[Json, Span | None]:
        text = isinstance(value, str)
        try:
            key = value if text else _encode(value), kind  # in which `true`, `1` and `1.0` differ
        except (TypeError, ValueError, OverflowError, RecursionError):  # no document can have it
            return read(value, kind)
        found = kept.find(key)
        if found is None:
            found = read(value, kind)
            kept.keep(key, found)
        return found if text else (value, found[1])  # what is no text counts as it was told

    return reading


def _read(reader: FactReader, fact: Fact, value: Json, kind: str) -> tuple[Json, Span | None]:
    """A value as it counts, and what it allows; a tape that nobody gave a tolerance has its usual one."""
    if kind == "measured" and fact.tolerance:
        value = _with_tolerance(fact, value)
    try:
        slots = reader.value(fact, value)
    except ProblemsFound:
        return value, None
    if fact.tyre:
        return value, frozenset({designation(str(value))})
    found = slots.get(fact.name)
    if isinstance(found, tuple):
        return value, found
    if isinstance(found, int):
        return value, _members(fact, found)
    return value, None


def _with_tolerance(fact: Fact, value: Json) -> Json:
    if not isinstance(value, str) or exact(value) or isinstance(parted(value), dict):
        return value
    return {"value": value, "tolerance": fact.tolerance_text}


def _members(fact: Fact, mask: int) -> frozenset[str]:
    if isinstance(fact.type, ListType):
        return frozenset(fact.type.names(Mask(mask)))
    return frozenset({"yes" if mask == YES else "no"})


def _writer(fact: Fact) -> Callable[[Span, Json], Json]:
    if isinstance(fact.type, ListType):
        return partial(_written_members, fact.type.members)
    if isinstance(fact.type, TruthType):
        return lambda span, like: (span == frozenset({"yes"})) if len(span) == 1 else None
    return partial(_written, fact) if fact.range else _designation


def _written_members(members: tuple[str, ...], span: Span, like: Json) -> Json:
    found = [member for member in members if member in span]
    return found[0] if len(found) == 1 else found


def _designation(span: Span, like: Json) -> Json:
    """A tyre by its designation; of several possible ones a fact can tell none."""
    assert isinstance(span, frozenset)
    return next(iter(span)) if len(span) == 1 else None


def _written(fact: Fact, span: Span, like: Json) -> Json:
    """A range in the unit that one of its statements was told in, each end rounded away from the middle.

    At an end of what is plausible it is rounded inwards, as what lies beyond could not be read. None where all is
    possible.
    """
    assert isinstance(span, tuple) and fact.range
    if fact.kind == "count":
        ends: Mapping[str, Json] = {"at_least": span[0], "at_most": span[1]}
        found = {key: int(end) for key, end in ends.items() if abs(end) < inf}
        return found["at_least"] if span[0] == span[1] else found
    unit, size = _unit(fact, like)
    low = (
        {} if span[0] == -inf else {"at_least": _end(span[0], unit, size, ceil if span[0] <= fact.range[0] else floor)}
    )
    high = {} if span[1] == inf else {"at_most": _end(span[1], unit, size, floor if span[1] >= fact.range[1] else ceil)}
    return {**low, **high} or None


def _unit(fact: Fact, like: Json) -> tuple[str, float]:
    """The unit of the first figure of a value, and its size inside; else the fact's own inside unit."""
    told = parted(like)
    text = next((one for one in told.values() if isinstance(one, str)), "") if isinstance(told, dict) else str(told)
    try:
        unit, size = unit_of(str(as_exact(text)))
    except QuantityError:
        unit, size = "", 1.0
    if fact.kind == "ratio":
        return "%", 0.01
    return (unit, size) if unit else (_INSIDE[fact.kind], 1.0)


def _end(value: float, unit: str, size: float, away: Callable[[float], int]) -> str:
    """One end of a range: on a tape's step where it stands on one, else a decimal figure rounded outwards."""
    count = round(value / size * _TAPE)
    if unit == "in" and abs(count * size / _TAPE - value) <= TOLERANCE:
        return f"{_on_tape(count)} in"
    nearest = round(value / size * _FINE)
    millionths = nearest if abs(nearest * size / _FINE - value) <= TOLERANCE / 2 else away(value / size * _FINE)
    return f"{millionths / _FINE:.6f}".rstrip("0").rstrip(".") + f" {unit}"


def _on_tape(count: int) -> str:
    """A count of sixty-fourths as a tape has it: `-1-3/8`."""
    whole, rest = divmod(abs(count), _TAPE)
    part = str(Fraction(rest, _TAPE)) if rest else ""
    figure = "-".join(filter(None, (str(whole) if whole or not part else "", part)))
    return f"-{figure}" if count < 0 else figure
