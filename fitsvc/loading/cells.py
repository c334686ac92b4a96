"""What a CSV cell may hold: a value, a value with its tolerance, bounds, or candidates."""

import re
from dataclasses import dataclass
from typing import Final

from fitsvc.document import Json
from fitsvc.language.types import TruthType
from fitsvc.rulebook.vocabulary import Fact

_TOLERANCE: Final = re.compile(r"\s*(?:±|\+-|\+/-)\s*")
_BOUND: Final = re.compile(r"at (least|most)\s+", re.IGNORECASE)
_BETWEEN: Final = re.compile(r"\s*(?:,|;|\band\b)\s*(?=at (?:least|most)\b)", re.IGNORECASE)
_BARE: Final = re.compile(r"[-−]?[\d.,/ -]*\d\s*\Z", re.ASCII)


@dataclass(frozen=True, slots=True)
class Column:
    """One column of facts: its title as written, the fact's name, and the unit its bare numbers have."""

    title: str
    name: str
    unit: str = ""


def read_cell(text: str, fact: Fact | None, unit: str = "") -> Json:
    """A cell as a wire value; None when it is empty. Texts and tyres stand for themselves."""
    text = text.strip()
    if not text:
        return None
    if fact is None or fact.tyre or fact.kind == "text":
        return text
    if isinstance(fact.type, TruthType):
        return text.casefold()
    if "|" in text:
        return [_with_unit(part.strip(), unit) for part in text.split("|")]
    if _BOUND.match(text):
        return _bounds(text, unit)
    parts = _TOLERANCE.split(text)
    if len(parts) == 2:
        return {"value": _with_unit(parts[0], unit), "tolerance": _with_unit(parts[1], unit)}
    return _with_unit(text, unit)


def _bounds(text: str, unit: str) -> Json:
    """`at least 3 in, at most 4 in` as bounds; the text itself when one of them is given twice."""
    bounds = {}
    for part in _BETWEEN.split(text):
        found = _BOUND.match(part)
        key = f"at_{found[1].lower()}" if found else ""
        if not found or key in bounds:
            return text
        bounds[key] = _with_unit(part[found.end() :].strip(), unit)
    return bounds


def _with_unit(text: str, unit: str) -> str:
    return f"{text} {unit}" if unit and _BARE.match(text) else text
