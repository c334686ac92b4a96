"""The counter's routes: every page is plain HTML of our own, told by its address alone, and changes nothing."""

import hashlib
from collections.abc import Mapping
from datetime import UTC, datetime
from functools import cache
from importlib.resources import files
from typing import Any, Final

from jinja2 import Environment, PackageLoader, StrictUndefined
from litestar import Response, get
from litestar.handlers import HTTPRouteHandler
from litestar.params import FromPath
from litestar.response import Redirect

from fitsvc.language.display import System
from fitsvc.language.problems import Problem
from fitsvc.service.context import AnyRequest, service_of
from fitsvc.service.counter.asking import FIND, PAGE, Asker
from fitsvc.service.counter.fields import FieldMaker, sentence
from fitsvc.service.counter.links import KEYS, PLACES, Fields, cell, link, spread, write_fields
from fitsvc.service.counter.seeing import OUTCOMES, see
from fitsvc.service.problems import problem

_HTML: Final = "text/html; charset=utf-8"
_GUARDED: Final = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; "
    "connect-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'",
    "Referrer-Policy": "same-origin",
    "Cache-Control": "no-cache",
}
_TYPES: Final = {"css": "text/css", "js": "text/javascript", "svg": "image/svg+xml"}
_PAGES: Final = (("/", "Ask"),)
_MARKS: Final = {"works": "✓", "conditional": "!", "undetermined": "?", "fails": "✗"}
_FINDINGS: Final = {
    "passes": ("✓", "passes"), "caution": ("!", "mind"), "open": ("?", "not known"), "fails": ("✗", "fails"),
}  # fmt: skip
_ABOUTS: Final = (
    ("accessory", "Something in the receiver"), ("trailer", "A trailer"), ("spare", "A bigger spare"),
)  # fmt: skip
_TITLES: Final[Mapping[str, str]] = {
    "rig": "Saved rig", "vehicle": "Vehicle", "receiver": "Receiver", "mounting": "Mounting", "spare": "Spare",
    "accessory": "Accessory", "ball": "Ball", "trailer": "Trailer", "load": "Load",
    **dict.fromkeys(PLACES, "In the opening"),
}  # fmt: skip
_NOTHING: Final = Problem("nothing is asked about yet", "choose what goes into the opening, a trailer or a spare")


@cache
def _environment() -> Environment:
    found = Environment(
        loader=PackageLoader(__package__), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True,
    )  # fmt: skip
    found.filters["sentence"] = sentence
    found.filters["id"] = lambda name: name.replace(".", "-").replace("_", "-")
    found.globals |= {
        "version": _version(), "pages": _PAGES, "marks": _MARKS, "words": OUTCOMES, "finding_marks": _FINDINGS,
        "abouts": _ABOUTS,
    }  # fmt: skip
    return found


def page(request: AnyRequest, template: str, *, status: int = 200, **shown: Any) -> Response[str]:
    """Fill a page's template."""
    rulebook = service_of(request).answerer.rulebook
    body = _environment().get_template(template).render(here=request.url.path, rulebook=rulebook, **shown)
    return Response(body, status_code=status, media_type=_HTML, headers=_GUARDED)


def not_there(request: AnyRequest, detail: str) -> Response[str]:
    """A page that says what is not there."""
    return page(request, "problem.html", status=404, title="There is no such page", detail=detail)


def _version() -> str:
    """A word that changes with the pages' files, so that browsers may keep them."""
    folder = files(__package__).joinpath("static")
    content = b"".join(one.read_bytes() for one in sorted(folder.iterdir(), key=lambda one: one.name))
    return hashlib.sha256(content).hexdigest()[:12]


def fields_of(request: AnyRequest) -> tuple[dict[str, str], System]:
    """The fields of a request's address, and the units they ask for."""
    fields = spread(request.query_params.multi_items())
    return fields, "metric" if fields.get("units") == "metric" else "us"


def shown_units(system: System) -> dict[str, str]:
    """The field that keeps the units, where they are not the usual ones."""
    return {} if system == "us" else {"units": system}


@get("/", sync_to_thread=True)
def ask(request: AnyRequest) -> Response[str]:
    """Give the page that asks, with what may be meant by what is typed so far."""
    fields, system = fields_of(request)
    return _ask_page(request, fields, system, ())


@get("/answer", sync_to_thread=True)
def answer(request: AnyRequest) -> Response[str] | Redirect:
    """Give the answer to the question that the address asks; what cannot be read goes back to be mended.

    An address that says the same with more words is sent on to the shortest, which is the one to keep.
    """
    fields, system = fields_of(request)
    service = service_of(request)
    with service.database.session() as session:
        asker = Asker(service.answerer, service.shop, session)
        question = {name: text for name, text in fields.items() if not name.startswith(FIND) and name not in PAGE}
        document, read, problems = asker.read(question, system)
        if read is None or problems:
            return _ask_page(request, fields, system, problems or (_NOTHING,))
        told = write_fields(document)
        kept = told | shown_units(system)
        if kept != dict(request.query_params.multi_items()):
            return Redirect(link("/answer", kept), status_code=303)
        found = service.answerer.answer(document, asker.records, system, service.shop.shelf(session))
        lines = _asked(asker, told, read.labels)
    service.metrics.answer(found.outcome)
    rig = {name: text for name, text in kept.items() if name.partition(".")[0] != "accessory"}
    return page(
        request, "answer.html", seen=see(service.answerer, found, told, system), asked=lines, fields=kept,
        label=service.answerer.wording.label, change=link("/", kept), fits=link("/fits", rig), side=None, chart=None,
        today=datetime.now(UTC).date().isoformat(), address=str(request.base_url).rstrip("/") + link("/answer", kept),
    )  # fmt: skip


@get("/counter/{name:str}", sync_to_thread=True)
def asset(name: FromPath[str]) -> Response[bytes]:
    """Give one of the pages' files."""
    file = files(__package__).joinpath("static", name)
    kind = _TYPES.get(name.rpartition(".")[2])
    if kind is None or "/" in name or not file.is_file():
        raise problem(404, f"there is no file `{name[:60]}`")
    return Response(file.read_bytes(), media_type=kind, headers={"Cache-Control": "max-age=86400"})


def _ask_page(request: AnyRequest, fields: Fields, system: System, problems: Any) -> Response[str]:
    service = service_of(request)
    with service.database.session() as session:
        shown = Asker(service.answerer, service.shop, session).page(fields, system, problems)
    places = FieldMaker(service.answerer.rulebook.vocabulary, fields, problems, system)
    status = 200 if not problems else 422 if all(one.meaning for one in problems) else 400
    filled = {name: fields.get(name, "") for name in (*KEYS, "rig", "with", *(f"{FIND}{p}" for p in (*KEYS, *PLACES)))}
    return page(
        request, "ask.html", status=status, page=shown, fields=filled, system=system, problems=problems,
        at=places.errors_at,
    )  # fmt: skip


def _asked(asker: Asker, told: Fields, labels: Mapping[str, str]) -> list[tuple[str, str]]:
    """What was asked, a line for each part: the record's label, and the facts given beside it."""
    lines: dict[str, list[str]] = {}
    vocabulary = asker.vocabulary
    for name, text in told.items():
        place = next((one for one in PLACES if name == one or name.startswith(f"{one}.")), name.partition(".")[0])
        if place not in _TITLES:
            continue
        if name == place:
            subject = "adapter" if place in PLACES else place
            record = asker.records.find(subject, text) if subject != "rig" else None
            lines.setdefault(place, []).insert(0, (record.label if record else "") or text)
        else:
            fact = vocabulary.facts.get(f"{place.partition('.')[0]}.{name.removeprefix(place + '.')}")
            lines.setdefault(place, []).append(f"{fact.label if fact else name} {cell(text)}")
    return [(_TITLES[place], ", ".join(said)) for place, said in lines.items()]


def handlers() -> list[HTTPRouteHandler]:
    """Return the counter's routes."""
    return [ask, answer, asset]
