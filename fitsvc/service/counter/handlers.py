"""The counter's routes: every page is plain HTML of our own, told by its address alone, and changes nothing."""

from datetime import UTC, datetime
from typing import Final
from urllib.parse import urlsplit, urlunsplit

from litestar import Response, get
from litestar.datastructures import Cookie
from litestar.params import FromPath
from litestar.response import Redirect
from litestar.types import ControllerRouterHandler

from fitsvc.drawing.rating_bars import rating_bars
from fitsvc.drawing.several_view import views_of_several
from fitsvc.drawing.side_view import side_view
from fitsvc.drawing.sketches import sketch
from fitsvc.drawing.whole_view import whole_view
from fitsvc.language.problems import Problem
from fitsvc.service.context import AnyRequest, service_of
from fitsvc.service.counter import (
    api_pages,
    editing,
    intake_pages,
    measuring,
    remark_pages,
    schedule_pages,
    whatif,
    yard,
)
from fitsvc.service.counter.also import each_of
from fitsvc.service.counter.asked import ask_page, asked_lines, asker_of, wrong_with
from fitsvc.service.counter.audit_pages import audit, audits, scorecard
from fitsvc.service.counter.book import book_of
from fitsvc.service.counter.choosing import place_of
from fitsvc.service.counter.comparing import compare
from fitsvc.service.counter.fits import fits
from fitsvc.service.counter.guide import guide, guide_page
from fitsvc.service.counter.links import link, write_fields
from fitsvc.service.counter.offering import Offers
from fitsvc.service.counter.record_pages import handlers as record_handlers
from fitsvc.service.counter.rendering import assets, fields_of, leave_number_out, not_there, page, shown_units
from fitsvc.service.counter.seeing import see
from fitsvc.service.counter.selling import sell
from fitsvc.service.counter.telling import JUST, just_of, just_typed, other_units, qr_code
from fitsvc.service.counter.then import BY, rulebook_of, then_told
from fitsvc.service.counter.visit import kept_in
from fitsvc.service.earlier import digits_of
from fitsvc.service.problems import problem
from fitsvc.service.speaking import CHOICE
from fitsvc.tongues import later, t

_TYPES: Final = {"css": "text/css", "js": "text/javascript", "svg": "image/svg+xml"}
_A_YEAR: Final = 365 * 24 * 60 * 60
_NOTHING: Final = Problem(
    later("nothing is asked about yet"), later("choose what goes into the opening, a trailer or a spare")
)


@get("/", before_request=leave_number_out, sync_to_thread=True)
def ask(request: AnyRequest) -> Response[str]:
    """Give the page that asks, with what may be meant by what is typed so far."""
    fields, system = fields_of(request)
    with service_of(request).database.session() as session:
        asker = asker_of(request, session)
        return ask_page(request, asker, asker.chooser.settle(fields), system, ())


@get("/answer", before_request=leave_number_out, sync_to_thread=True)
def answer(request: AnyRequest) -> Response[str] | Redirect:
    """Give the answer to the question that the address asks; what cannot be read goes back to be mended.

    An address that says the same with more words is sent on to the shortest, which is the one to keep.
    """
    fields, system = fields_of(request)
    service = service_of(request)
    just = just_of(service.answerer.rulebook, fields)
    fields.pop(JUST, None)
    by = rulebook_of(fields)
    with service.database.session() as session:
        asker = asker_of(request, session)
        settled = asker.chooser.settle(fields)
        asked = asker.read(settled.fields, system)
        problems = wrong_with(settled, asked.problems)
        if asked.question is None or problems:
            return ask_page(request, asker, settled, system, problems or (_NOTHING,))
        read, told = asked.question, write_fields(asked.document)
        kept = told | shown_units(system)
        same = (kept | by | ({JUST: just} if just else {})) == dict(request.query_params.multi_items())
        if not asked.left_out and not same:
            return Redirect(link("/answer", kept | by | ({JUST: just} if just else {})), status_code=303)
        found = service.answerer.answer(asked.document, asker.records, system, service.shop.shelf(session))
        then = then_told(service, by, asked, asker.records, system, found)
        lines = asked_lines(asker, told, read.case, system, asked.things)
        offers = Offers(service=service, asker=asker, document=asked.document, system=system)
        offered, instead = offers.of(read, found), offers.accessories(read)
    # The case of several vehicles has the facts of none of them: there is no one side, and no one chain, to draw.
    one = len(read.candidates) < 2 and not asked.things
    drawn = (service.answerer.wording, read.case, system)
    alone = whole_view(*drawn, labels=read.labels) if one else None
    pictures = views_of_several(service.answerer, asked.things, system) if asked.things else [alone] if alone else []
    side = side_view(*drawn, labels=read.labels) if one else None
    chart = rating_bars(service.answerer.wording, read.case, system) if one else None
    service.metrics.answer(found.outcome)
    rig = {name: text for name, text in kept.items() if name.partition(".")[0] not in ("accessory", "also")}
    return page(
        request,
        "answer.html",
        seen=see(service.answerer, found, told, system, offered),
        instead=instead,
        each=each_of(found, asked.document, system),
        asked=lines,
        fields=kept,
        label=service.answerer.wording.label,
        the=service.answerer.wording.the,
        change=link("/", kept),
        keep=link("/measure", keep) if (keep := kept_in(kept, service.answerer.reader, system)) else "",
        fits=link("/fits", rig),
        sell=link("/sell", {name: text for name, text in rig.items() if place_of(name) != "ball"}),
        pictures=pictures,
        side=side,
        chart=chart,
        left_out=asked.left_out,
        just=just_typed(found, just),
        then=then,
        other_units=other_units(kept, system),
        today=datetime.now(UTC).date().isoformat(),
        address=_public(request) + link("/answer", kept | {BY: digits_of(found.rulebook.digest)}),
        qr=qr_code(
            _public(request) + link("/answer", kept), t("The address of this answer")
        ),  # each sign is a dot more
    )


def _public(request: AnyRequest) -> str:
    """Where the pages are reached."""
    return service_of(request).operator.address or str(request.base_url).rstrip("/")


@get("/rules", sync_to_thread=True)
def rules(request: AnyRequest) -> Response[str]:
    """List the rulebook's entries by topic, those that have what is looked for."""
    text = request.query_params.get("text", "").strip()
    return page(request, "rules.html", topics=service_of(request).library.found(text), text=text)


@get("/rules/book", sync_to_thread=True)
def rules_book(request: AnyRequest) -> Response[str]:
    """Give the rulebook as one book, to read through or to print."""
    return page(request, "book.html", book=book_of(service_of(request).library))


@get("/rules/{rule:path}", sync_to_thread=True)
def rule(request: AnyRequest, rule: FromPath[str]) -> Response[str]:
    """Give one rule, limit or need."""
    library = service_of(request).library
    found = library.entry(str(rule).removeprefix("/"))
    if found is None:
        return not_there(request, t("There is no rule, limit or need of that name. The page of rules lists all."))
    return page(request, "rule.html", rule=found, borders=library.borders(found.id))


@get("/facts", sync_to_thread=True)
def facts(request: AnyRequest) -> Response[str]:
    """List the facts by subject, those that have what is looked for."""
    text = request.query_params.get("text", "").strip()
    return page(request, "facts.html", subjects=service_of(request).library.found_facts(text), text=text)


@get("/facts/{fact:str}", sync_to_thread=True)
def fact(request: AnyRequest, fact: FromPath[str]) -> Response[str]:
    """Give one fact."""
    found = service_of(request).library.fact(fact)
    if found is None:
        return not_there(request, t("There is no fact of that name. The page of facts lists all."))
    return page(request, "fact.html", told=found, sketch=sketch(found.fact))


@get("/speak/{code:str}", sync_to_thread=False)
def speak(request: AnyRequest, code: FromPath[str]) -> Response[str] | Redirect:
    """Keep the language that a person chose in a cookie, and go back to the page it was chosen on."""
    if code not in dict(service_of(request).tongues):
        return not_there(request, t("There are no words in that language here."))
    kept = Cookie(CHOICE, value=code, max_age=_A_YEAR, samesite="lax", httponly=True)
    return Redirect(_page_before(request), status_code=303, cookies=[kept], headers={"Cache-Control": "no-store"})


def _page_before(request: AnyRequest) -> str:
    """The page of ours that a link was followed on, else the first one."""
    before = urlsplit(request.headers.get("referer", ""))
    ours = before.netloc == request.headers.get("host") and before.path.startswith("/") and before.path[1:2] != "/"
    return urlunsplit(("", "", before.path, before.query, "")) if ours else "/"


@get("/counter/{name:str}", sync_to_thread=True)
def asset(name: FromPath[str]) -> Response[bytes]:
    """Give one of the pages' files."""
    content = assets().get(name)
    if content is None:
        raise problem(404, t("there is no file `{name}`", name=name[:60]))
    kind = _TYPES[name.rpartition(".")[2]]
    return Response(content, media_type=kind, headers={"Cache-Control": "max-age=86400"})


def handlers() -> list[ControllerRouterHandler]:
    """Return the counter's routes."""
    own = [
        ask,
        answer,
        sell,
        fits,
        compare,
        rules,
        rules_book,
        rule,
        facts,
        fact,
        audits,
        scorecard,
        audit,
        guide,
        guide_page,
        speak,
        asset,
    ]
    more = [*record_handlers(), *api_pages.handlers(), yard.worklist]
    return [
        *own,
        *more,
        measuring.router(),
        editing.router(),
        intake_pages.router(),
        schedule_pages.router(),
        remark_pages.router(),
        whatif.router(),
    ]
