"""In which language people are spoken to: one `t()` for every text that is for them, and what each language has for it.

A text is written in English where it is said, and looked up by its own words: one without words in a language is told
in English, and one whose English has changed is not told by words that were made for another.
"""

import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from datetime import date
from typing import Final

ARTICLE: Final = "the "
_CLAUSE: Final = "whether "


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tongue:
    """One language: its code (BCP 47), its words for each English text, and labels with their articles.

    `spoken` are labels in the language with their articles; `joins` are what two words come to where they meet, such
    as `de el` to `del`; `decimal` is the mark that parts a figure's whole from its rest.
    """

    code: str
    texts: Mapping[str, str] = field(default_factory=dict, repr=False)
    spoken: Mapping[str, str] = field(default_factory=dict, repr=False)
    joins: tuple[tuple["re.Pattern[str]", str], ...] = ()
    decimal: str = "."

    def say(self, text: str) -> str:
        """The words for a text; its English where there are none."""
        return self.texts.get(text, text)

    def joined(self, text: str) -> str:
        """A text put together, with words that meet as they are written then."""
        for met, written in self.joins:
            text = met.sub(written, text)
        return text


ENGLISH: Final = Tongue(code="en")
_SPOKEN: ContextVar[Tongue] = ContextVar("tongue", default=ENGLISH)


def tongue() -> Tongue:
    """The language that is spoken now."""
    return _SPOKEN.get()


@contextmanager
def speaking(one: Tongue) -> Iterator[None]:
    """Speak a language for a while."""
    before = _SPOKEN.set(one)
    try:
        yield
    finally:
        _SPOKEN.reset(before)


def t(text: str, /, **values: object) -> str:
    """A text in the language that is spoken, with values in its `{braces}`."""
    one = _SPOKEN.get()
    if one is ENGLISH:
        return text.format_map(values) if values else text
    said = one.say(text)
    return one.joined(said.format_map(values) if values else said)


def counted(number: int) -> str:
    """A number of things, with its thousands parted as the language does."""
    one = _SPOKEN.get()
    if one is ENGLISH:
        return f"{number:,}"
    from babel.numbers import format_decimal  # loaded for those who read another language

    return str(format_decimal(number, locale=one.code.replace("-", "_")))


def dated(day: date, form: str) -> str:
    """A day in words, by a pattern of CLDR's that is itself a text: `d MMMM y`."""
    from babel.dates import format_date  # loaded for those who read of days

    return str(format_date(day, t(form), locale=_SPOKEN.get().code.replace("-", "_")))


def later(text: str) -> str:
    """A text that is told by `t()` later, when it is known in which language."""
    return text


def spoken(label: str) -> str:
    """A label as it stands within a sentence, with its article; that of a yes or no is a clause and has none."""
    one = _SPOKEN.get()
    if one is ENGLISH:
        return label if label.startswith(_CLAUSE) else f"{ARTICLE}{label}"
    return one.spoken.get(label) or (label if label.startswith(one.say(_CLAUSE)) else one.say(ARTICLE) + label)


def is_language(code: str) -> bool:
    """Whether a code is that of a language, such as `es`, whose figures and days can be written (CLDR)."""
    from babel import Locale, UnknownLocaleError  # loaded where there are words in another language

    try:
        Locale.parse(code)
    except (UnknownLocaleError, ValueError):
        return False
    return code.isalpha() and code.islower()


def is_clause(thing: str) -> bool:
    """Whether what is spoken of is a yes or no: `whether the carrier tilts`."""
    return thing.startswith(t(_CLAUSE))


def as_said(thing: str) -> str:
    """A yes or no as a plain statement: `whether the carrier tilts` as `the carrier tilts`."""
    return thing.removeprefix(t(_CLAUSE))
