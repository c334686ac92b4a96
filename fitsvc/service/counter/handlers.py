"""The counter's routes: every page is plain HTML of our own, told by its address alone, and changes nothing."""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Final

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
from fitsvc.facts import Case
from fitsvc.language.display import System
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.language.types import NumberType
from fitsvc.selection.query import SelectionQuery
from fitsvc.selection.segments import BEST_FIRST
from fitsvc.selection.selector import Selection, read_rig_told
from fitsvc.service.context import AnyRequest, service_of
from fitsvc.service.counter import editing, measuring, remark_pages, yard
from fitsvc.service.counter.asking import Asker
from fitsvc.service.counter.audit_pages import audit, audits
from fitsvc.service.counter.choosing import FIND, ON, Settled, place_of
from fitsvc.service.counter.fields import FieldMaker
from fitsvc.service.counter.guide import guide, guide_page
from fitsvc.service.counter.links import ONE_EACH, PLACES, Fields, alike, cell, link, write_fields
from fitsvc.service.counter.record_pages import handlers as record_handlers
from fitsvc.service.counter.rendering import assets, fields_of, not_there, page, shown_units
from fitsvc.service.counter.seeing import see
from fitsvc.service.counter.selling import sell
from fitsvc.service.counter.visit import kept_in
from fitsvc.service.problems import problem
from fitsvc.subjects import KIND, SOLD

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
_LOOK_AGAIN: Final = Problem(
    "what was told of another vehicle or receiver was let go",
    "look at what is asked now, and answer again",
    meaning=True,
)
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
    with service_of(request).database.session() as session:
        asker = _asker(request, session)
        return _ask_page(request, asker, asker.chooser.settle(fields), system, ())


@get("/answer", sync_to_thread=True)
def answer(request: AnyRequest) -> Response[str] | Redirect:
    """Give the answer to the question that the address asks; what cannot be read goes back to be mended.

    An address that says the same with more words is sent on to the shortest, which is the one to keep.
    """
    fields, system = fields_of(request)
    service = service_of(request)
    with service.database.session() as session:
        asker = _asker(request, session)
        settled = asker.chooser.settle(fields)
        asked = asker.read(settled.fields, system)
        problems = _wrong(settled, asked.problems)
        if asked.question is None or problems:
            return _ask_page(request, asker, settled, system, problems or (_NOTHING,))
        read, told = asked.question, write_fields(asked.document)
        kept = told | shown_units(system)
        if not asked.left_out and kept != dict(request.query_params.multi_items()):
            return Redirect(link("/answer", kept), status_code=303)
        found = service.answerer.answer(asked.document, asker.records, system, service.shop.shelf(session))
        lines = _asked(asker, told, read.case, system)
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
        keep=link("/measure", keep) if (keep := kept_in(kept, service.answerer.reader, system)) else "",
        fits=link("/fits", rig),
        side=side,
        chart=chart,
        left_out=asked.left_out,
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
        settled = asker.chooser.settle(_without_accessory(fields))
        asked = asker.rig(_without_accessory(settled.fields), system)
        document, problems = asked.document, _wrong(settled, asked.problems)
        if fields.get(ON) and problems:
            return _ask_page(request, asker, settled, system, problems)
        told = write_fields(document)
        kept = told | {name: text for name, text in filters.items() if text} | shown_units(system)
        if not problems and not asked.left_out and kept != dict(request.query_params.multi_items()):
            return Redirect(link("/fits", kept), status_code=303)
        lines = _asked(asker, told, None, system)
        found = None
        several = asker.chooser.several(settled.fields)
        if len(several) > 1:
            problems = [Problem(f"{len(several)} vehicles go by that name", "choose which one it is", meaning=True)]
        elif document and not problems:
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
        left_out=asked.left_out,
        several=[(one.label or one.key, link("/fits", _of(kept, one.key))) for one in several if len(several) > 1],
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
    return Asker(service.answerer, service.shop, session, service.selections)


def _of(fields: Fields, vehicle: str) -> dict[str, str]:
    """The fields with the vehicle named by its id."""
    return {"vehicle": vehicle, **{name: text for name, text in fields.items() if place_of(name) != "vehicle"}}


def _without_accessory(fields: Fields) -> dict[str, str]:
    """The fields that tell of the rig and what is beside it."""
    return {name: text for name, text in fields.items() if place_of(name) != "accessory"}


def _wrong(settled: Settled, problems: Sequence[Problem]) -> list[Problem]:
    """What keeps a question from being asked: typed and not chosen, let go and not looked at again, or unreadable."""
    again = [_LOOK_AGAIN] if settled.let_go else []
    return [*again, *settled.problems, *problems]


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
    """List the rulebook's entries by topic, those that have what is looked for."""
    text = request.query_params.get("text", "").strip()
    return page(request, "rules.html", topics=service_of(request).library.found(text), text=text)


@get("/rules/{rule:path}", sync_to_thread=False)
def rule(request: AnyRequest, rule: FromPath[str]) -> Response[str]:
    """Give one rule, limit or need."""
    found = service_of(request).library.entry(str(rule).removeprefix("/"))
    if found is None:
        return not_there(request, "There is no rule, limit or need of that name. The page of rules lists all.")
    return page(request, "rule.html", rule=found)


@get("/facts", sync_to_thread=False)
def facts(request: AnyRequest) -> Response[str]:
    """List the facts by subject, those that have what is looked for."""
    text = request.query_params.get("text", "").strip()
    return page(request, "facts.html", subjects=service_of(request).library.found_facts(text), text=text)


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


def _ask_page(
    request: AnyRequest, asker: Asker, settled: Settled, system: System, problems: Sequence[Problem]
) -> Response[str]:
    fields, vocabulary = settled.fields, service_of(request).answerer.rulebook.vocabulary
    shown = asker.page(settled, system, problems)
    places = FieldMaker(vocabulary, fields, problems, system)
    status = 200 if not problems else 422 if all(one.meaning for one in problems) else 400
    searched = (f"{FIND}{place}" for place in (*ONE_EACH, *PLACES))
    filled = {name: fields.get(name, "") for name in (*ONE_EACH, "with", *searched)}
    left_out = asker.rig(fields, system).left_out
    return page(
        request,
        "ask.html",
        status=status,
        page=shown,
        fields=filled,
        system=system,
        problems=problems,
        left_out=left_out,
        at=places.errors_at,
    )


def _asked(asker: Asker, told: Fields, case: Case | None, system: System) -> list[tuple[str, str]]:
    """What was asked, a line for each part: the record's label, and the facts given beside it as understood."""
    lines: dict[str, list[str]] = {}
    for name, text in told.items():
        place = next((one for one in PLACES if name == one or name.startswith(f"{one}.")), name.partition(".")[0])
        if place not in _TITLES:
            continue
        if name == place:
            subject = "adapter" if place in PLACES else place
            record = asker.records.find(subject, text) if subject != "rig" else None
            label = (record.label if record else "") or text
            number = f" ({text})" if subject in SOLD and label != text else ""
            lines.setdefault(place, []).insert(0, label + number)
        else:
            lines.setdefault(place, []).append(_fact_asked(asker, place, name, text, case, system))
    return [(_TITLES[place], ", ".join(said)) for place, said in lines.items()]


def _fact_asked(asker: Asker, place: str, name: str, text: str, case: Case | None, system: System) -> str:
    """A fact that was asked about as it was typed, and beside that as it is understood where that reads otherwise."""
    fact = asker.vocabulary.facts.get(f"{place.partition('.')[0]}.{name.removeprefix(place + '.')}")
    label, typed = fact.label if fact else name, cell(text)
    if fact is None or not isinstance(fact.type, NumberType) or case is None or fact.name not in case.facts:
        return f"{label} {typed}"
    understood = asker.answerer.wording.fact_text(fact.name, case, system)
    return f"{label} {typed}" + ("" if alike(understood, typed) else f" (understood as {understood})")


def handlers() -> list[ControllerRouterHandler]:
    """Return the counter's routes."""
    own = [ask, answer, sell, fits, rules, rule, facts, fact, audits, audit, guide, guide_page, asset]
    return [*own, *record_handlers(), yard.worklist, measuring.router(), editing.router(), remark_pages.router()]
