"""The counter's routes: every page is plain HTML of our own, told by its address alone, and changes nothing."""

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any, Final

from litestar import Response, get
from litestar.params import FromPath
from litestar.response import Redirect
from litestar.types import ControllerRouterHandler
from msgspec.structs import replace
from sqlmodel import Session

from fitsvc.document import Json
from fitsvc.drawing.rating_bars import rating_bars
from fitsvc.drawing.side_view import side_view
from fitsvc.drawing.sketches import sketch
from fitsvc.language.display import System
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.selection.query import SelectionQuery
from fitsvc.selection.segments import BEST_FIRST
from fitsvc.selection.selector import Selection, read_rig_told
from fitsvc.service.context import AnyRequest, service_of
from fitsvc.service.counter import measuring, remark_pages, yard
from fitsvc.service.counter.asking import FIND, PAGE, Asker
from fitsvc.service.counter.audit_pages import audit, audits
from fitsvc.service.counter.fields import FieldMaker
from fitsvc.service.counter.guide import guide, guide_page
from fitsvc.service.counter.links import ONE_EACH, PLACES, Fields, cell, link, write_fields
from fitsvc.service.counter.record_pages import handlers as record_handlers
from fitsvc.service.counter.rendering import assets, fields_of, not_there, page, shown_units
from fitsvc.service.counter.seeing import see
from fitsvc.service.problems import problem
from fitsvc.subjects import KIND

_TYPES: Final = {"css": "text/css", "js": "text/javascript", "svg": "image/svg+xml"}
_TITLES: Final[Mapping[str, str]] = {
    "rig": "Saved rig",
    "vehicle": "Vehicle",
    "receiver": "Receiver",
    "mounting": "Mounting",
    "spare": "Spare",
    "accessory": "Accessory",
    "ball": "Ball",
    "trailer": "Trailer",
    "load": "Load",
    **dict.fromkeys(PLACES, "In the opening"),
}
_NOTHING: Final = Problem("nothing is asked about yet", "choose what goes into the opening, a trailer or a spare")
_FILTERS: Final = ("kind", "outcome", "text", "after")
_PAGE_ITEMS: Final = 50
_COUNTED: Final[Mapping[str, str]] = {
    "works": "work",
    "conditional": "work only if something is seen to",
    "undetermined": "need a measurement first",
    "fails": "do not work",
}


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
        asker = _asker(request, session)
        question = {name: text for name, text in fields.items() if not name.startswith(FIND) and name not in PAGE}
        document, read, problems = asker.read(question, system)
        if read is None or problems:
            return _ask_page(request, fields, system, problems or (_NOTHING,))
        told = write_fields(document)
        kept = told | shown_units(system)
        if kept != dict(request.query_params.multi_items()):
            return Redirect(link("/answer", kept), status_code=303)
        found = service.answerer.answer(document, asker.records, system, service.shop.shelf(session))
        lines = _asked(asker, told)
    # The case of several vehicles has the facts of none of them: there is no one side, and no one chain, to draw.
    one = len(read.candidates) < 2
    side = side_view(service.answerer.wording, read.case, system, labels=read.labels) if one else None
    chart = rating_bars(service.answerer.wording, read.case, system) if one else None
    service.metrics.answer(found.outcome)
    rig = {name: text for name, text in kept.items() if name.partition(".")[0] != "accessory"}
    return page(
        request,
        "answer.html",
        seen=see(service.answerer, found, told, system),
        asked=lines,
        fields=kept,
        label=service.answerer.wording.label,
        the=service.answerer.wording.the,
        change=link("/", kept),
        fits=link("/fits", rig),
        side=side,
        chart=chart,
        today=datetime.now(UTC).date().isoformat(),
        address=str(request.base_url).rstrip("/") + link("/answer", kept),
    )


@get("/fits", sync_to_thread=True)
def fits(request: AnyRequest) -> Response[str] | Redirect:
    """Give a page of the catalogue as the rig of the address takes it, the best first."""
    fields, system = fields_of(request)
    service, filters = service_of(request), {name: fields.pop(name, "").strip() for name in _FILTERS}
    with service.database.session() as session:
        asker = _asker(request, session)
        question = {name: text for name, text in fields.items() if not name.startswith(FIND) and name not in PAGE}
        question = {name: text for name, text in question.items() if name.partition(".")[0] != "accessory"}
        document, problems = asker.rig(question, system)
        told = write_fields(document)
        kept = told | {name: text for name, text in filters.items() if text} | shown_units(system)
        if not problems and kept != dict(request.query_params.multi_items()):
            return Redirect(link("/fits", kept), status_code=303)
        lines = _asked(asker, told)
        found = None
        if document and not problems:
            try:
                rig, disputed = read_rig_told(document, service.answerer, asker.records)
                found = replace(_selected(request, document, rig, filters, system), disputed=disputed)
            except ProblemsFound as refused:
                problems = list(refused.problems)
    rest = told | shown_units(system)
    shown = (
        [(one, link("/answer", {**told, "accessory": one.sku, **shown_units(system)})) for one in found.items]
        if found
        else []
    )
    return page(
        request,
        "fits.html",
        status=422 if problems else 200,
        problems=problems,
        asked=lines,
        found=found,
        items=shown,
        counts=[(one, getattr(found.counts.outcomes, one)) for one in BEST_FIRST] if found else [],
        counted=_COUNTED,
        fields=rest,
        filters=filters,
        kinds=_kinds(request),
        change=link("/", rest),
        following=link("/fits", {**kept, "after": found.next}) if found and found.next else "",
    )


def _asker(request: AnyRequest, session: Session) -> Asker:
    service = service_of(request)
    return Asker(service.answerer, service.shop, session, service.selections.named)


def _selected(request: AnyRequest, document: Json, rig: Json, filters: Mapping[str, str], system: System) -> Selection:
    """What the rig comes to with the catalogue, by the filters; ProblemsFound when one of them says nothing."""
    shared = service_of(request).selections
    for name, known in (("kind", shared.selector.kinds), ("outcome", BEST_FIRST)):
        if filters[name] and filters[name] not in known:
            raise ProblemsFound(
                [Problem(f"`{filters[name][:60]}` is no {name}", f"one of {', '.join(known)}", meaning=True)]
            )
    kinds, outcomes = (frozenset(filter(None, (filters[name],))) for name in ("kind", "outcome"))
    wanted = SelectionQuery(
        question=document,
        kinds=kinds,
        outcomes=outcomes,
        text=filters["text"],
        sort="sku",
        limit=_PAGE_ITEMS,
        after=filters["after"] or None,
        compact=False,
        system=system,
    )
    return shared.selector.select(shared.index.held(), rig, wanted)


def _kinds(request: AnyRequest) -> list[tuple[str, str]]:
    kind = service_of(request).answerer.rulebook.vocabulary
    words = kind.words.get(kind.facts[KIND].kind, {}) if KIND in kind.facts else {}
    return sorted(words.items(), key=lambda one: one[1])


@get("/rules", sync_to_thread=False)
def rules(request: AnyRequest) -> Response[str]:
    """List the rulebook's entries by topic."""
    return page(request, "rules.html", library=service_of(request).library)


@get("/rules/{rule:path}", sync_to_thread=False)
def rule(request: AnyRequest, rule: FromPath[str]) -> Response[str]:
    """Give one rule, limit or need."""
    found = service_of(request).library.entry(str(rule).removeprefix("/"))
    if found is None:
        return not_there(request, "There is no rule, limit or need of that name. The page of rules lists all.")
    return page(request, "rule.html", rule=found)


@get("/facts", sync_to_thread=False)
def facts(request: AnyRequest) -> Response[str]:
    """List the facts by subject."""
    return page(request, "facts.html", library=service_of(request).library)


@get("/facts/{fact:str}", sync_to_thread=False)
def fact(request: AnyRequest, fact: FromPath[str]) -> Response[str]:
    """Give one fact."""
    found = service_of(request).library.fact(fact)
    if found is None:
        return not_there(request, "There is no fact of that name. The page of facts lists all.")
    return page(request, "fact.html", told=found, sketch=sketch(found.fact))


@get("/counter/{name:str}", sync_to_thread=True)
def asset(name: FromPath[str]) -> Response[bytes]:
    """Give one of the pages' files."""
    content = assets().get(name)
    if content is None:
        raise problem(404, f"there is no file `{name[:60]}`")
    kind = _TYPES[name.rpartition(".")[2]]
    return Response(content, media_type=kind, headers={"Cache-Control": "max-age=86400"})


def _ask_page(request: AnyRequest, fields: Fields, system: System, problems: Any) -> Response[str]:
    service = service_of(request)
    with service.database.session() as session:
        shown = _asker(request, session).page(fields, system, problems)
    places = FieldMaker(service.answerer.rulebook.vocabulary, fields, problems, system)
    status = 200 if not problems else 422 if all(one.meaning for one in problems) else 400
    searched = (f"{FIND}{place}" for place in (*ONE_EACH, *PLACES))
    filled = {name: fields.get(name, "") for name in (*ONE_EACH, "rig", "with", *searched)}
    return page(
        request,
        "ask.html",
        status=status,
        page=shown,
        fields=filled,
        system=system,
        problems=problems,
        at=places.errors_at,
    )


def _asked(asker: Asker, told: Fields) -> list[tuple[str, str]]:
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


def handlers() -> list[ControllerRouterHandler]:
    """Return the counter's routes."""
    own = [ask, answer, fits, rules, rule, facts, fact, audits, audit, guide, guide_page, asset]
    return [*own, *record_handlers(), yard.worklist, measuring.router(), remark_pages.router()]
