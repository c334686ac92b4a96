"""What a CSV cell may hold: a value, a value with its tolerance, bounds, or candidates."""

import re
from dataclasses import dataclass
from typing import Final

from fitsvc.document import Json
from fitsvc.fact_values import as_written
from fitsvc.language.types import TruthType
from fitsvc.rulebook.vocabulary import Fact
from fitsvc.tongues import ENGLISH, speaking
from fitsvc.written import Bounding, parted, without_plus

_BARE: Final = re.compile(r"[-−+]?[\d.,/⁄¼½¾⅛⅜⅝⅞ -]*[\d¼½¾⅛⅜⅝⅞]\s*\Z", re.ASCII)

BETWEEN: Final = "|"
"""Between candidates, and between several adapters that something tried hung on."""

_AROUND: Final = re.compile(
    r"((?:(?:exactly|up to|not? more than|max(?:imum|\.)?) +)?)(.*?)((?: +max(?:imum|\.)?)?)",
    re.IGNORECASE | re.DOTALL,
)
"""A figure and the words about it that it is the most there may be, or just it: `up to 35`, `35 max`, `exactly 35`."""


@dataclass(frozen=True, slots=True)
class Column:
    """One column of facts: its title as written, the fact's name, and the unit its bare numbers have."""

    title: str
    name: str
    unit: str = ""


def read_cell(text: str, fact: Fact | None, unit: str = "", words: Bounding | None = None) -> Json:
    """A cell as a wire value; None when it is empty. Texts and tyres stand for themselves.

    `words` are those by which people say what a figure is at least or at most, so that its unit is put behind it.
    """
    text = text.strip()
    if not text:
        return None
    if fact is None or fact.tyre or fact.kind == "text":
        return text
    if isinstance(fact.type, TruthType):
        return text.casefold()
    text = without_plus(fact, text)
    if BETWEEN in text:
        return [_with_unit(part.strip(), unit) for part in text.split(BETWEEN)]
    told = parted(text := words.as_bound(text) if words and unit else text)
    if isinstance(told, dict):
        return {key: _with_unit(part, unit) for key, part in told.items()}
    return _with_unit(text, unit)


def written_cell(value: Json) -> str:
    """A wire value as a cell that reads as it, whoever the words are for."""
    with speaking(ENGLISH):
        return BETWEEN.join(map(str, value)) if isinstance(value, list) else as_written(value)


def _with_unit(text: str, unit: str) -> str:
    if not unit:
        return text
    before, figure, behind = _AROUND.fullmatch(text).groups()  # type: ignore[union-attr]  # all of it may be the figure
    return f"{before}{figure} {unit}{behind}" if _BARE.match(figure) else text
