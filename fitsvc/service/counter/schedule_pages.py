"""The pages of nightly audits: what is planned, what each run came to, and forms to plan, run now and end one.

They go without scripts: each step is a form with a key in it.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Final

from anyio import to_thread
from litestar import Response, Router, get, post
from litestar.params import FromPath
from litestar.response import Redirect
from sqlmodel import Session

from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.service.audits.folder import SUPPLIERS
from fitsvc.service.audits.notices import host_of
from fitsvc.service.audits.run_words import RUN_WORDS, headline, lines, local
from fitsvc.service.audits.schedules import ended, may_see, planned, require_deliveries, schedule_of
from fitsvc.service.context import AnyRequest, service_of
from fitsvc.service.counter.rendering import not_there, page
from fitsvc.service.counter.writing import FormSent, sent
from fitsvc.store.errors import Conflict, InvalidValue, NotFound
from fitsvc.store.schedules import ask_run, list_schedules, newest_runs
from fitsvc.store.tables import Notice, Schedule, ScheduledRun
from fitsvc.store.webhooks import MOST_ATTEMPTS
from fitsvc.store.written import Write
from fitsvc.tongues import later, t, tongue

PATH: Final = "/audits/schedules"
_MOST_RUNS: Final = 31
"""A month of nights."""
_MOST_SUPPLIERS: Final = 500
_FIELDS: Final = ("supplier", "file", "claims", "at", "zone", "key")
_NO_SCHEDULE: Final = later("There is no such schedule. The page of nightly audits lists all.")


@dataclass(frozen=True, slots=True, kw_only=True)
class RunShown:
    """One run as a page shows it: how it stands, one line of it, lines that say more, its audit, and who was told."""

    number: int
    state: str
    is_bad: bool
    summary: str
    lines: Sequence[str]
    audit: str
    told: Sequence[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class ScheduleShown:
    """One schedule as a page shows it, with its newest run, if there is one."""

    id: str
    supplier: str
    file: str
    claims: str
    when: str
    due: str
    newest: RunShown | None


@get("/", sync_to_thread=True)
def schedules(request: AnyRequest) -> Response[str]:
    """List what is planned, with a form for more."""
    return _listed(request, FormSent({}, ""), ())


@post("/", status_code=200)
async def plan(request: AnyRequest) -> Response[str] | Redirect:
    """Keep a schedule."""
    form = await sent(request, "audit")

    def work() -> Response[str] | Redirect:
        if form.refused:
            return _listed(request, form, [Problem(form.refused, pointer="/key")])
        service = service_of(request)
        told = {name: form.fields.get(name) for name in _FIELDS[:-1]} | {"supplier": form.fields.get("supplier", "")}
        told |= {name: told[name] or "" for name in ("file", "at")}
        try:
            require_deliveries(service)
            with service.database.session() as session:
                planned(session, service.audits, told, Write(by=form.by), tongue().code)
        except ProblemsFound as found:
            return _listed(request, form, found.problems)
        except InvalidValue as found:
            return _listed(request, form, [Problem(one.message, pointer=one.field) for one in found.problems])
        except Conflict as refused:
            return _listed(request, form, [Problem(str(refused))])
        return Redirect(PATH, status_code=303)

    return await to_thread.run_sync(work)


@get("/{key:str}", sync_to_thread=True)
def schedule(request: AnyRequest, key: FromPath[str]) -> Response[str]:
    """Give one schedule with what its runs came to."""
    return _one(request, key, ())


@post("/{key:str}/run", status_code=200)
async def run(request: AnyRequest, key: FromPath[str]) -> Response[str] | Redirect:
    """Have a schedule run now."""

    def work(session: Session, by: str) -> None:
        require_deliveries(service_of(request))
        ask_run(session, key, by)

    return await _done(request, key, work, f"{PATH}/{key}")


@post("/{key:str}/delete", status_code=200)
async def delete(request: AnyRequest, key: FromPath[str]) -> Response[str] | Redirect:
    """End a schedule."""
    return await _done(request, key, lambda session, by: ended(session, key, Write(by=by)), PATH)


async def _done(
    request: AnyRequest, key: str, work: Callable[[Session, str], None], then: str
) -> Response[str] | Redirect:
    """Do something with a schedule by the key that a form has, and go on to a page; or say why it is not done."""
    form, service = await sent(request, "audit"), service_of(request)

    def doing() -> Response[str] | Redirect:
        if form.refused:
            return _one(request, key, [Problem(form.refused)], form.status)
        try:
            with service.database.session() as session:
                schedule_of(request, session, key)
                work(session, form.by)
        except NotFound:
            return not_there(request, t(_NO_SCHEDULE))
        except Conflict as refused:
            return _one(request, key, [Problem(str(refused))], 409)
        return Redirect(then, status_code=303)

    return await to_thread.run_sync(doing)


def _listed(request: AnyRequest, form: FormSent, problems: Sequence[Problem]) -> Response[str]:
    service = service_of(request)
    with service.database.session() as session:
        seen = [one for one in list_schedules(session) if may_see(request, one)]
        told = [_shown(one, newest_runs(session, one.id, limit=1)) for one in seen]
    known = sorted(path.stem for path in islice((service.audits.root / SUPPLIERS).glob("*.yaml"), _MOST_SUPPLIERS))
    at = {name: [one for one in problems if one.pointer == f"/{name}"] for name in _FIELDS}
    status = form.status if form.refused else 422 if problems else 200
    return page(
        request,
        "schedules.html",
        status=status,
        told=told,
        suppliers=known,
        is_served=bool(service.nightly.deliveries),
        fields={name: form.fields.get(name, "") for name in _FIELDS[:-1]},
        problems=problems,
        at=at,
    )


def _one(request: AnyRequest, key: str, problems: Sequence[Problem], status: int = 200) -> Response[str]:
    service = service_of(request)
    try:
        with service.database.session() as session:
            one = schedule_of(request, session, key)
            runs = newest_runs(session, key, limit=_MOST_RUNS)
    except NotFound:
        return not_there(request, t(_NO_SCHEDULE))
    shown = [_run(one, each, notices) for each, notices in runs]
    told = _shown(one, runs[:1])
    return page(request, "schedule.html", status=status, one=told, runs=shown, problems=problems)


def _shown(one: Schedule, newest: Sequence[tuple[ScheduledRun, Sequence[Notice]]]) -> ScheduleShown:
    return ScheduleShown(
        id=one.id,
        supplier=one.supplier,
        file=one.file,
        claims=one.claims,
        when=f"{one.at} ({one.zone})",
        due=local(one.due_at, one.zone),
        newest=_run(one, *newest[0]) if newest else None,
    )


def _run(schedule: Schedule, run: ScheduledRun, notices: Sequence[Notice]) -> RunShown:
    assert run.sequence is not None
    has_ended = run.told is not None
    return RunShown(
        number=run.sequence,
        state=t(RUN_WORDS[run.state]),
        is_bad=has_ended and run.state != "finished",
        summary=headline(schedule, run) if has_ended else t("Not done yet"),
        lines=list(lines(schedule, run)) if has_ended else [],
        audit=run.audit,
        told=[_notice(schedule, one) for one in notices],
    )


def _notice(schedule: Schedule, one: Notice) -> str:
    """Whether an address was told, in words."""
    to = host_of(one.address)
    if one.told_at is not None:
        return t("{to}: told at {at}", to=to, at=local(one.told_at, schedule.zone))
    if not one.attempts:
        return t("{to}: about to be told", to=to)
    if one.attempts >= MOST_ATTEMPTS:
        return t("{to}: NOT told, and given up: {failure}", to=to, failure=one.failure)
    return t("{to}: not told yet, and tried again: {failure}", to=to, failure=one.failure)


def router() -> Router:
    """Return the routes of nightly audits."""
    return Router(PATH, route_handlers=[schedules, plan, schedule, run, delete])
