"""Figures that are plausible and hardly ever so, and would be usual with another unit: `13 mm` for `13 in`."""

from collections.abc import Iterator, Mapping
from typing import Final

from fitsvc.document import Json
from fitsvc.facts import FactReader, escape
from fitsvc.language.intervals import Bounds
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.language.quantities import UNITS, QuantityError, unit_of
from fitsvc.observing.law import facts_of
from fitsvc.rulebook.vocabulary import Fact
from fitsvc.tongues import t
from fitsvc.written import exact, parted

_SPELLINGS: Final[Mapping[str, tuple[str, ...]]] = {"length": ("in", "cm", "mm"), "mass": ("lb", "kg")}
"""The units that people take for each other, those first that tell a figure of the same size."""


def slips(reader: FactReader, subject: str, facts: Mapping[str, Json], pointer: str) -> list[Problem]:
    """What of some facts, all of which can be read, looks like a slip of the unit.

    One that says how far off it may be was thought about.
    """
    found = []
    for name, value in facts.items():
        fact = facts_of(reader, subject).get(name)
        meant = _meant(reader, fact, value) if fact is not None and isinstance(value, str) else ""
        if fact is not None and meant:
            so = f"{value} ± {fact.tolerance_text}" if fact.tolerance_text else t("exactly {value}", value=value)
            message, help = (
                t("`{value}` is hardly ever so for {the}", value=value, the=fact.the),
                t("did you mean `{meant}`? If not, write `{so}`", meant=meant, so=so),
            )
            found.append(Problem(message, help, pointer=f"{pointer}/{escape(name)}", meaning=True, kind="implausible"))
    return found


def _meant(reader: FactReader, fact: Fact, text: str) -> str:
    """The same figure with a unit by which it is usual, where with its own it is not."""
    if fact.usual is None or exact(text) or isinstance(parted(text), dict) or _lies(reader, fact, text, fact.usual):
        return ""
    return next((other for other in _otherwise(fact, text) if _lies(reader, fact, other, fact.usual)), "")


def _otherwise(fact: Fact, text: str) -> Iterator[str]:
    try:
        unit, _ = unit_of(text)
    except QuantityError:
        return
    figure = text.strip().removesuffix(unit).strip()
    if unit and text.strip().endswith(unit):
        yield from (f"{figure} {other}" for other in _SPELLINGS.get(fact.kind, ()) if UNITS[other] != UNITS[unit])


def _lies(reader: FactReader, fact: Fact, value: Json, usual: Bounds) -> bool:
    """Whether a value can be read and may be one within a range."""
    try:
        found = reader.value(fact, value).get(fact.name)
    except ProblemsFound:
        return False
    return isinstance(found, tuple) and found[0] <= usual[1] and found[1] >= usual[0]
