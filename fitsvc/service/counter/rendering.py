"""How the counter's pages are filled and guarded, and what a page's address tells it."""

import hashlib
import re
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any, Final
from urllib.parse import urlencode

from jinja2 import Environment, PackageLoader, StrictUndefined
from litestar import Response
from litestar.exceptions import HTTPException
from litestar.response import Redirect
from markupsafe import Markup, escape

from fitsvc.answers.phrases import joined
from fitsvc.answers.vin import read_vin
from fitsvc.fact_values import as_written
from fitsvc.language.display import System
from fitsvc.service.context import AnyRequest, service_of
from fitsvc.service.counter.fields import sentence
from fitsvc.service.counter.links import spread
from fitsvc.service.counter.marks import mark, mark_to_repeat
from fitsvc.service.counter.plainly import field_id, plainly
from fitsvc.service.counter.seeing import OUTCOMES
from fitsvc.service.counter.texts import Texts
from fitsvc.service.problems import as_problem
from fitsvc.service.speaking import usual_system
from fitsvc.tongues import counted, later, t, tongue

_HTML: Final = "text/html"
_GUARDED: Final = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; "
    "connect-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'",
    "Referrer-Policy": "same-origin",
    "Cache-Control": "no-cache",
}
_PAGES: Final = (
    ("/", later("Ask")),
    ("/sell", later("Sell")),
    ("/fits", later("What fits")),
    ("/measure", later("Measure")),
)
"""The pages of every day, in the header."""
_MORE_PAGES: Final = (
    ("/records", later("Records")),
    ("/worklist", later("To measure")),
    ("/rules", later("Rules")),
    ("/remarks", later("Remarks")),
    ("/facts", later("Facts")),
    ("/audits", later("Audits")),
    ("/guide", later("Guide")),
    ("/docs", later("The API")),
)
"""The pages of whoever keeps the rules and the store, below every page."""
_NUMBERED: Final = ("find.vehicle", "find")
"""The fields in which a vehicle's number may be typed or scanned."""
_QUOTED: Final = re.compile("`([^`]+)`")
_NUMBER: Final = re.compile(r"(\([^\s()]{1,24}\))")
"""A longer number is parted, lest it make a phone's page wider than the phone."""
_FINDINGS: Final = {
    "passes": (mark("works"), later("passes")),
    "caution": (mark("conditional"), later("mind")),
    "open": (mark("undetermined"), later("not known")),
    "fails": (mark("fails"), later("fails")),
}
_RESULTS: Final = {"passes": later("passes"), "fails": later("fails"), "undetermined": later("undetermined")}
"""What a rule can come to where it applies, in words."""
_ABOUTS: Final = (
    ("accessory", later("Something in the receiver")),
    ("trailer", later("A trailer")),
    ("spare", later("A bigger spare")),
)


@cache
def templates() -> Environment:
    """The templates of the pages."""
    found = Environment(
        loader=PackageLoader(__package__),
        autoescape=True,
        extensions=[Texts],
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    found.filters |= {"sentence": sentence, "plainly": plainly, "field_id": field_id}
    found.filters["written"] = lambda wire: t("not known") if wire is None else as_written(wire)
    found.filters["joined"] = joined
    found.filters["t"] = found.globals["t"] = t
    found.filters["coded"] = coded
    found.filters["unbroken"] = unbroken
    found.globals["thousands"] = counted
    found.filters["uncapped"] = lambda text: text[:1].lower() + text[1:]
    found.filters["id"] = lambda name: name.replace(".", "-").replace("_", "-")
    found.globals |= {
        "version": _version(),
        "pages": _PAGES,
        "more_pages": _MORE_PAGES,
        "mark": mark,
        "marks": {outcome: mark(outcome) for outcome in OUTCOMES},
        "words": OUTCOMES,
        "finding_marks": _FINDINGS,
        "passing_marks": mark_to_repeat("works"),
        "abouts": _ABOUTS,
        "results": _RESULTS,
    }
    return found


def coded(text: str) -> Markup:
    """A text with what is written in backquotes shown as such."""
    return Markup(_QUOTED.sub(r"<code>\1</code>", str(escape(text))))  # noqa: S704  # it is escaped


def unbroken(text: str) -> Markup:
    """A text whose item numbers, each in brackets behind its name, are not parted at the end of a line."""
    return Markup(_NUMBER.sub(r'<span class="nb">\1</span>', str(escape(text))))  # noqa: S704  # it is escaped


def page(request: AnyRequest, template: str, *, status: int = 200, **shown: Any) -> Response[str]:
    """Fill a page's template."""
    service = service_of(request)
    known: dict[str, Any] = {
        "here": request.url.path,
        "rulebook": service.answerer.rulebook,
        "operator": service.operator,
        "tongue": tongue(),
        "tongues": service.tongues,
    }
    body = templates().get_template(template).render(known, **shown)
    return Response(body, status_code=status, media_type=_HTML, headers=_GUARDED)


def no_such_address(request: AnyRequest, refused: HTTPException) -> Response[Any]:
    """A page for people at an address that leads nowhere; programs get the problem as they always do."""
    by_people = "text/html" in request.headers.get("accept", "") and not request.url.path.startswith("/v1/")
    if by_people:
        return not_there(
            request, t("Nothing is at this address. A page may have moved, or the address lacks a letter.")
        )
    return as_problem(refused).to_response(request)


def not_there(request: AnyRequest, detail: str) -> Response[str]:
    """A page that says what is not there."""
    return page(request, "problem.html", status=404, title=t("There is no such page"), detail=detail)


@cache
def assets() -> Mapping[str, bytes]:
    """The pages' files by name; the drawings' styles are among them."""
    folder = files(__package__).joinpath("static")
    found = {one.name: one.read_bytes() for one in folder.iterdir()}
    return found | {"drawing.css": files("fitsvc.drawing").joinpath("drawing.css").read_bytes()}


def _version() -> str:
    """A word that changes with the pages' files, so that browsers may keep them."""
    return hashlib.sha256(b"".join(content for _, content in sorted(assets().items()))).hexdigest()[:12]


def fields_of(request: AnyRequest) -> tuple[dict[str, str], System]:
    """The fields of a request's address, and the units they ask for.

    The units of the browser's region are those of a page that asks nothing yet: what an address asks is the same
    whoever opens it, so that its bare numbers are in inches and pounds unless it says otherwise.
    """
    fields = spread(request.query_params.multi_items())
    if not fields:
        return fields, usual_system(request.headers.get("accept-language", ""))
    return fields, "metric" if fields.get("units") == "metric" else "us"


async def leave_number_out(request: AnyRequest) -> Redirect | None:
    """Send who typed a vehicle's whole number on to the same page with what many share of it.

    So that the number is in no address that is kept, sent or printed.
    """
    fields = list(request.query_params.multi_items())
    short = [(name, vin.short if name in _NUMBERED and (vin := read_vin(text)) else text) for name, text in fields]
    return None if short == fields else Redirect(f"{request.url.path}?{urlencode(short)}", status_code=303)


def shown_units(system: System) -> dict[str, str]:
    """The field that keeps the units, where they are not the usual ones."""
    return {} if system == "us" else {"units": system}
