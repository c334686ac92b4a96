"""The pages of remarks: say that a rule is wrong in an answer, and read what was said, for whoever keeps the rules."""

from collections.abc import Mapping, Sequence
from typing import Final

from anyio import to_thread
from litestar import Response, Router, get, post
from litestar.params import FromPath
from litestar.response import Redirect

from fitsvc.language.display import System
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.service.context import AnyRequest, Service, service_of
from fitsvc.service.counter.asked import asker_of
from fitsvc.service.counter.links import link, write_fields
from fitsvc.service.counter.lookup import EntryTold
from fitsvc.service.counter.rendering import fields_of, not_there, page
from fitsvc.service.counter.sheet_view import day
from fitsvc.service.counter.writing import sent
from fitsvc.service.remarks import remarked
from fitsvc.store.errors import Conflict, InvalidValue, NotFound
from fitsvc.store.remarks import close_remark, newest_remarks
from fitsvc.store.tables import Remark
from fitsvc.tongues import later, t

PATH: Final = "/remarks"
_MOST: Final = 100
_OWN: Final = ("rule", "text", "by", "units")
_NO_RULE: Final = later("There is no rule, limit or need of that name. The page of rules lists all.")


@get("/", sync_to_thread=True)
def remarks(request: AnyRequest) -> Response[str]:
    """List the newest remarks that are open, or those closed; of one rule where it is named."""
    fields, _ = fields_of(request)
    return _listed(request, fields.get("rule") or None, bool(fields.get("closed")))


def _listed(
    request: AnyRequest, rule: str | None, closed: bool, problems: Sequence[Problem] = (), status: int = 200
) -> Response[str]:
    service = service_of(request)
    with service.database.session() as session:
        found = newest_remarks(session, rule, closed=closed, limit=_MOST)
    told = [(one, _title(service, one), _address(one), day(one.made_at)) for one in found]
    entry = service.library.entry(rule) if rule else None
    return page(
        request, "remarks.html", status=status, told=told, rule=entry, closed=closed, problems=problems, day=day
    )


@get("/new", sync_to_thread=True)
def new(request: AnyRequest) -> Response[str]:
    """Ask what is wrong with a rule, in the answer that the rest of the address asks for."""
    fields, system = fields_of(request)
    entry = service_of(request).library.entry(fields.get("rule", ""))
    return _form(request, entry, fields, system, ()) if entry else not_there(request, t(_NO_RULE))


@post("/", status_code=200)
async def send(request: AnyRequest) -> Response[str]:
    """Keep a remark."""
    form, service = await sent(request), service_of(request)
    system: System = "metric" if form.fields.get("units") == "metric" else "us"

    def work() -> Response[str]:
        entry = service.library.entry(form.fields.get("rule", ""))
        if entry is None:
            return not_there(request, t(_NO_RULE))
        if form.refused:
            return _form(request, entry, form.fields, system, [Problem(form.refused)], form.status)
        with service.database.session() as session:
            document = asker_of(request, session).read(_asked(form.fields), system).document
        told = {"rule": entry.id, "text": form.fields.get("text", ""), "question": document or None}
        try:
            remarked(service, told | {"by": form.fields.get("by")}, form.by)
        except ProblemsFound as found:
            return _form(request, entry, form.fields, system, found.problems, 422)
        except InvalidValue as found:
            problems = [Problem(f"{one.field.removeprefix('/')} {one.message}") for one in found.problems]
            return _form(request, entry, form.fields, system, problems, 422)
        return page(request, "remark_kept.html", rule=entry, back=_answer(form.fields))

    return await to_thread.run_sync(work)


@post("/{key:str}/close", status_code=200)
async def close(request: AnyRequest, key: FromPath[str]) -> Response[str] | Redirect:
    """Close a remark, by a key that may edit."""
    form, service = await sent(request, "edit"), service_of(request)

    def work() -> Response[str] | Redirect:
        if form.refused:
            return _listed(request, None, False, [Problem(form.refused)], form.status)
        try:
            with service.database.session() as session:
                close_remark(session, key, form.fields.get("because", ""), form.fields.get("by") or form.by)
        except NotFound:
            return not_there(request, t("There is no such remark. The page of remarks lists all."))
        except (Conflict, InvalidValue) as refused:
            return _listed(request, None, False, [Problem(str(refused))], 409)
        return Redirect(f"{PATH}?closed=yes", status_code=303)

    return await to_thread.run_sync(work)


def _form(
    request: AnyRequest,
    entry: EntryTold,
    fields: Mapping[str, str],
    system: System,
    problems: object,
    status: int = 200,
) -> Response[str]:
    kept = _asked(fields) | ({"units": system} if system != "us" else {})
    return page(
        request,
        "remark_new.html",
        status=status,
        rule=entry,
        kept=kept,
        back=_answer(fields),
        problems=problems,
        text=fields.get("text", ""),
        by=fields.get("by", ""),
    )


def _asked(fields: Mapping[str, str]) -> dict[str, str]:
    """The fields of the question that the rule was met in."""
    return {name: text for name, text in fields.items() if name not in _OWN}


def _answer(fields: Mapping[str, str]) -> str:
    """The address of the answer in question; nothing where the rule itself was looked at."""
    asked = _asked(fields)
    return link("/answer", asked) if asked else ""


def _title(service: Service, one: Remark) -> str:
    entry = service.library.entry(one.rule)
    return entry.title if entry else one.rule


def _address(one: Remark) -> str:
    return link("/answer", write_fields(one.question)) if one.question else ""


def router() -> Router:
    """Return the routes of remarks."""
    return Router(PATH, route_handlers=[remarks, new, send, close])
