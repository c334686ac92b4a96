"""The case that the solver's values are of, as the engine takes it."""

from typing import Final

from fitsvc.facts import Case, at_place
from fitsvc.language.truth import NO, YES
from fitsvc.language.types import ListType, NumberType, Value
from fitsvc.language.tyres import load_of, parse_tyre
from fitsvc.proving.facts import TYRES, Facts, Told
from fitsvc.proving.solver import Model
from fitsvc.proving.values import Ends
from fitsvc.rulebook.vocabulary import TYRE_PARTS

_STRANGE: Final = 1e4


def read_case(facts: Facts, model: Model, uses: int) -> Case:
    """The case that a model is of, as far as the question's variables go."""
    rig: dict[str, Value] = {}
    adapters: list[dict[str, Value]] = [{} for _ in range(facts.adapters)]
    for (place, slot), told in facts.told.items():
        if told.known.uses & uses and model.so(told.known):
            value = _value(told, model)
            if value is not None:
                (rig if place is None else adapters[place])[slot] = value
    subjects = {name for name, term in facts.subjects.items() if term.uses & uses and model.so(term)}
    rig = _with_whole_tyres(facts, rig)
    return case_of(facts, rig, subjects - {"adapter"}, adapters)


def case_of(facts: Facts, rig: dict[str, Value], subjects: set[str], adapters: list[dict[str, Value]]) -> Case:
    """The case of these facts, with all that it names."""
    about = subjects | {name.partition(".")[0] for name in rig}
    named = facts.rulebook.named
    placed = {at_place(place, name) for place, told in enumerate(adapters, 1) for name in named & told.keys()}
    return Case(rig, frozenset(about | (named & rig.keys()) | placed), tuple(adapters))


def _value(told: Told, model: Model) -> Value | None:
    """A fact's value in a model; None where it has none."""
    if isinstance(told.type, ListType):
        found = [place for place, member in enumerate(told.members) if model.so(member)]
        return told.type.member(found[0]) if found else None
    if not isinstance(told.type, NumberType):
        return YES if model.so(told.members[0]) else NO
    assert isinstance(told.value, Ends)
    return (float(model.number(told.value.low)), float(model.number(told.value.high)))


def _with_whole_tyres(facts: Facts, rig: dict[str, Value]) -> dict[str, Value]:
    """The facts with each tyre as the size tried that it comes nearest to, since its parts are not told one by one."""
    found = dict(rig)
    for name in facts.tyres:
        parts = {f"{name}.{part}" for part in TYRE_PARTS}
        if parts & rig.keys():
            near = min((tyre_values(name, text) for text in TYRES), key=lambda values: _apart(values, rig, parts))
            found = {slot: value for slot, value in found.items() if slot not in parts} | near
    return found


def _apart(values: dict[str, Value], rig: dict[str, Value], parts: set[str]) -> float:
    """How far a tyre is from what is told of it."""
    apart = 0.0
    for slot in sorted(parts):
        a, b = values.get(slot), rig.get(slot)
        if isinstance(a, tuple) and isinstance(b, tuple):
            apart += abs(a[0] - b[0]) + abs(a[1] - b[1])
        elif a is not b:
            apart += _STRANGE
    return apart


def tyre_values(name: str, text: str) -> dict[str, Value]:
    """The values of a tyre's parts by its designation."""
    tyre = parse_tyre(text)
    load = {} if tyre.load_index is None else {f"{name}.load": (load_of(tyre.load_index),) * 2}
    return {**load, f"{name}.diameter": tyre.diameter, f"{name}.width": tyre.width, f"{name}.rim": (tyre.rim, tyre.rim)}
