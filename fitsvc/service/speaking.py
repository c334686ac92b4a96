"""In which of its languages the service answers: by `Accept-Language`, as pages, answers, sheets and problems alike.

Whoever looks at pages may choose another one, which a cookie keeps; what programs ask is answered by its header alone.
"""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from functools import lru_cache
from http import HTTPStatus
from pathlib import Path
from typing import Any, Final, cast

from babel import Locale, UnknownLocaleError
from babel.numbers import get_decimal_symbol
from litestar.enums import ScopeType
from litestar.types import ASGIApp, Message, Receive, Scope, Send

import fitsvc
from fitsvc.language.display import System
from fitsvc.paths import data_dir
from fitsvc.rulebook.folder import TONGUES, core_of
from fitsvc.rulebook.tongues import read_tongues
from fitsvc.tongues import ENGLISH, Tongue, speaking

_LONGEST: Final = 200
"""Of the header no more bytes are read: a browser sends a handful of languages."""
_POINT: Final = "."
_WITH_POINT: Final = "419"
"""The region of a language as it is written with a decimal point where its own locale has a comma (UN M.49)."""
CHOICE: Final = "tongue"
"""The cookie that keeps which language a person has chosen."""
_FOR_PROGRAMS: Final = "/v1/"
_CUSTOMARY: Final = frozenset({"us", "lr", "mm"})
"""Where inches and pounds are the usual units (CLDR, measurementData)."""
_TEXTS: Final = (b"text/html", b"application/json", b"application/problem+json", b"image/svg+xml")


@lru_cache(maxsize=8)
def spoken_tongues(rules: Path | None) -> dict[str, Tongue]:
    """The languages that fitsvc and a folder of rules have words for, by their codes; read once.

    A folder has fitsvc's own words for what its rules say as fitsvc's do, and its own go before; those of an overlay
    go behind its core's.
    """
    found, core = {}, core_of(rules) if rules else None
    folders = [Path(fitsvc.__file__).parent, data_dir("rules"), *([rules] if rules else []), *([core] if core else [])]
    for code, one in read_tongues(*(folder / TONGUES for folder in folders)).items():
        found[code] = replace(one, decimal=get_decimal_symbol(code))
        if found[code].decimal != _POINT:
            code = f"{code}-{_WITH_POINT}"
            found[code] = replace(one, code=code)
    return found


def tongue_for(header: str, known: Mapping[str, Tongue]) -> Tongue:
    """The best of the known languages for an `Accept-Language` (RFC 9110); English where it names none of them."""
    for wanted in _wanted(header):
        language = wanted.partition("-")[0]
        if language == ENGLISH.code:
            return ENGLISH
        if language in known:
            with_point = known.get(f"{language}-{_WITH_POINT}")
            return with_point if with_point and _decimal(wanted) == _POINT else known[language]
    return ENGLISH


def with_point(code: str, known: Mapping[str, Tongue]) -> Tongue | None:
    """A language as it is written with a decimal point, in which the figures of a file can be read while it is spoken.

    None where there are no words for it.
    """
    if code == ENGLISH.code:
        return ENGLISH
    one = known.get(f"{code}-{_WITH_POINT}") or known.get(code)
    return replace(one, decimal=_POINT) if one else None


def chosen_tongue(choice: str, header: str, known: Mapping[str, Tongue]) -> Tongue:
    """The language that a person has chosen, with figures as the browser's region writes them; else by the header."""
    if choice != ENGLISH.code and choice not in known:
        return tongue_for(header, known)
    region = _region(header)
    return tongue_for(f"{choice}-{region}" if region else choice, known)


def choices(known: Mapping[str, Tongue]) -> list[tuple[str, str]]:
    """The languages to choose from, each by its code and its own name."""
    return [(code, _own_name(code)) for code in (ENGLISH.code, *sorted(one for one in known if "-" not in one))]


def _own_name(code: str) -> str:
    try:
        return str(Locale.parse(code).get_display_name(code)).capitalize()
    except UnknownLocaleError:
        return code


def usual_system(header: str) -> System:
    """The units of a browser's region; where it tells none, inches and pounds, in which this trade speaks."""
    region = _region(header)
    return "us" if not region or region in _CUSTOMARY else "metric"


def _region(header: str) -> str:
    """The region of the most wanted language, two letters; nothing where it has none."""
    _, *rest = next(_wanted(header), "").split("-")
    return next((part for part in rest if len(part) == len("us")), "")


def _wanted(header: str) -> Iterator[str]:
    """The languages of a header, the most wanted first; none that is refused."""
    found = []
    for part in header[:_LONGEST].split(","):
        name, _, quality = part.strip().partition(";")
        weight = quality.replace(" ", "").removeprefix("q=") or "1"
        share = float(weight) if weight.replace(".", "", 1).isdigit() else 0.0
        found += [(-share, name.strip().lower())] if share else []
    yield from (name for _, name in sorted(found, key=lambda one: one[0]))


def _decimal(wanted: str) -> str:
    """The decimal mark of a locale, by CLDR; of one that is not known, its language's."""
    language, *rest = wanted.split("-")
    for name in ("_".join([language, *(part.upper() for part in rest)]), language):
        try:
            return get_decimal_symbol(name)
        except (UnknownLocaleError, ValueError):
            continue
    return _POINT


def _chosen(cookies: bytes) -> str:
    """The language that a request's cookies name."""
    each = (one.strip().partition("=") for one in cookies.decode("latin-1").split(";"))
    return next((value for name, _, value in each if name == CHOICE), "")


class Speaking:
    """An application that is spoken to in the language of each request."""

    def __init__(self, app: ASGIApp, known: Mapping[str, Tongue]) -> None:
        self._app, self._known = app, known

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request in its language."""
        if scope["type"] != ScopeType.HTTP or not self._known:
            await self._app(scope, receive, send)
            return
        headers = dict(cast(Any, scope)["headers"])
        header = headers.get(b"accept-language", b"").decode("latin-1")
        for_people = not scope["path"].startswith(_FOR_PROGRAMS)
        choice = _chosen(headers.get(b"cookie", b"")) if for_people else ""
        one = chosen_tongue(choice, header, self._known) if header or choice else ENGLISH
        varies = b"Accept-Language, Cookie" if for_people else b"Accept-Language"

        async def send_on(message: Message) -> None:
            if message["type"] == "http.response.start":
                told = dict(message["headers"]).get(b"content-type", b"")
                same = message["status"] == HTTPStatus.NOT_MODIFIED  # of a text, as all that has a tag is
                if same or told.startswith(_TEXTS):
                    message["headers"] = [*message["headers"], (b"vary", varies)]
                    if one is not ENGLISH and not same:
                        message["headers"] = [*message["headers"], (b"content-language", one.code.encode())]
            await send(message)

        with speaking(one):
            await self._app(scope, receive, send_on)
