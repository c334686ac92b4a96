"""A language that is none: each known text with other letters, so that what is told in English is seen at a glance."""

import re
from collections.abc import Iterator
from html.parser import HTMLParser
from typing import Final

from babel.dates import get_month_names

from fitsvc.rulebook.tongues import tongue_of
from fitsvc.tongues import Tongue

_PLAIN: Final = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ"
_OTHER: Final = "áƀćđéƒǵĥíĵķłɱńóƥqŕšţúṽŵӿýźÁƁĆĐÉƑǴĤÍĴĶŁṀŃÓƤQŔŠŢÚṼŴӾÝŹ"
_LETTERS: Final = str.maketrans(_PLAIN, _OTHER)
_KEPT: Final = re.compile(r"(\{[^{}]*\}|\\\d|`[^`]*`)")
_WORD: Final = re.compile(r"[A-Za-z]{3,}")
_TOLD: Final = ("aria-label", "placeholder", "title", "alt", "data-told")
_SILENT: Final = ("code", "pre", "script", "style")
_ADDRESS: Final = re.compile(r"https?://\S+|\bobs_[0-9a-f]+")
_UNITS: Final = ("deg", "ISO", "VIN", "SUV")
_MONTHS: Final = "|".join(
    name for width in ("wide", "abbreviated") for name in get_month_names(width, locale="es").values()
)
_DAY: Final = re.compile(rf"\b\d{{1,2}} (?:{_MONTHS}) \d{{4}}\b")
"""A day is told with the month's name in Spanish, whichever month the pages are made in."""
PATTERNS: Final = ("d MMMM y", "d MMM y")
"""Texts that are patterns of dates."""


def pseudo(text: str) -> str:
    """A text with other letters; its values and what stands in backquotes are as they were."""
    return "".join(part if place % 2 else part.translate(_LETTERS) for place, part in enumerate(_KEPT.split(text)))


def pseudo_tongue(texts: set[str], labels: set[str]) -> Tongue:
    """A language that has words for these texts and labels, and for no others."""
    told = {text: text if text in PATTERNS else pseudo(text) for text in texts}
    return tongue_of("es", told, {label: pseudo(f"the {label}") for label in labels}, articles=(pseudo("the"),))


class _Reading(HTMLParser):
    """Collects what a page tells people: its text, and attributes that are read out."""

    def __init__(self) -> None:
        super().__init__()
        self.told: list[str] = []
        self._silent: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if (
            tag in _SILENT
            or "sku" in (given.get("class") or "").split()
            or given.get("lang")
            or given.get("translate") == "no"
        ):
            self._silent.append(tag)
        self.told += [value for name, value in attrs if name in _TOLD and value]

    def handle_endtag(self, tag: str) -> None:
        if self._silent and self._silent[-1] == tag:
            self._silent.pop()

    def handle_data(self, data: str) -> None:
        if not self._silent or self._silent == ["html"]:
            self.told.append(data)


def told_on(html: str) -> list[str]:
    """What a page tells people, in pieces."""
    reading = _Reading()
    reading.feed(html)
    return [one for one in (piece.strip() for piece in reading.told) if one]


def left_in_english(pieces: list[str], names: list[str]) -> Iterator[str]:
    """The pieces with a word of plain letters, what is a name or an address left out."""
    for piece in pieces:
        left = _DAY.sub("", _ADDRESS.sub("", piece))
        for name in names:
            left = left.replace(name, "")
        if words := [word for word in _WORD.findall(left) if word not in _UNITS]:
            yield f"{', '.join(words)}: {piece[:160]}"
