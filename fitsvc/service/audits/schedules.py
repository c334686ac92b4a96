"""/v1/schedules: audits of suppliers' files every day at a time of day, and what each run came to."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Final

from anyio import to_thread
from litestar import Response, Router, delete, get, post
from litestar.params import FromPath
from sqlmodel import Session

from fitsvc.audits.intake import mapping_of
from fitsvc.document import Document, Json
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.service.audits.deliveries import path_fault
from fitsvc.service.audits.folder import Audits
from fitsvc.service.audits.nightly import kept_mapping
from fitsvc.service.audits.notices import host_of, run_document
from fitsvc.service.bodies import read_document, read_object
from fitsvc.service.context import AnyRequest, Service, service_of
from fitsvc.service.documents import finish
from fitsvc.service.keys import holder, key_name, write_of
from fitsvc.service.operations import Operation, query_of
from fitsvc.service.queries import AFTER, LIMIT, Parameter
from fitsvc.service.replies import page, reply, told_of
from fitsvc.store.errors import Conflict, NotFound
from fitsvc.store.schedules import (
    Planned,
    ask_run,
    create_schedule,
    delete_schedule,
    get_schedule,
    list_schedules,
    newest_runs,
)
from fitsvc.store.tables import Notice, Schedule, ScheduledRun
from fitsvc.store.webhooks import MOST_ATTEMPTS
from fitsvc.store.written import Write, log_write
from fitsvc.tongues import t, tongue

PATH: Final = "/v1/schedules"
KIND: Final = "schedule"
MEMBERS: Final = ("supplier", "file", "claims", "at", "zone")
_NEEDED: Final = ("supplier", "file", "at")
_ONE: Final = {"key": "The schedule's `id`."}
_FRESH: Final = {"Cache-Control": "no-store"}


def router() -> Router:
    """Return the routes."""
    return Router(PATH, route_handlers=[list_page, create, read, remove, run, runs])


_LIST: Final = Operation(
    id="list_schedules",
    summary="List schedules",
    about="A page of schedules, ordered by `id`, each with its newest run.",
    tag="Audits",
    gives="Schedules",
    query=(AFTER, LIMIT),
)


@get("/", opt=_LIST.opt, sync_to_thread=True)
def list_page(request: AnyRequest) -> Response[bytes]:
    """Give a page of schedules."""
    query = query_of(request)
    with service_of(request).database.session() as session:
        seen = [one for one in list_schedules(session, after=query["after"]) if may_see(request, one)]
        items = [schedule_document(session, one) for one in seen[: query["limit"] + 1]]
    return page(items, query["limit"], "id")


_CREATE: Final = Operation(
    id="create_schedule",
    summary="Have a supplier's file audited every day",
    about="Has a file below the operator's deliveries audited at a time of day, by the mapping that is kept of the "
    "supplier, against the audit before; whom the operator named is told what came of it, and told too where it could "
    "not be audited. 409 where the operator has named no deliveries.",
    tag="Audits",
    gives="Schedule",
    status=201,
    body="NewSchedule",
    sends=("Location",),
    needs_key=True,
    errors=(409,),
    links={"get_schedule": "$response.body#/id"},
)


@post("/", opt=_CREATE.opt)
async def create(request: AnyRequest) -> Response[bytes]:
    """Keep a schedule."""
    query_of(request)
    service, document = service_of(request), await read_document(request)
    finish(read_object(document, MEMBERS, _NEEDED))
    write, spoken = write_of(request), tongue().code

    def work() -> Document:
        require_deliveries(service)
        told = {name: document.get(name) for name in MEMBERS}
        with service.database.session() as session:
            made = planned(session, service.audits, told, write, spoken)
            return schedule_document(session, made)

    made = await to_thread.run_sync(work)
    return reply(made, 201, {"Location": f"{PATH}/{made['id']}"})


_READ: Final = Operation(
    id="get_schedule",
    summary="Get one schedule",
    about="When it is due next, and its newest run.",
    tag="Audits",
    gives="Schedule",
    path=_ONE,
    errors=(404,),
)


@get("/{key:str}", opt=_READ.opt, sync_to_thread=True)
def read(request: AnyRequest, key: FromPath[str]) -> Response[bytes]:
    """Give one schedule."""
    query_of(request)
    with service_of(request).database.session() as session:
        return reply(schedule_document(session, schedule_of(request, session, key)), headers=_FRESH)


_REMOVE: Final = Operation(
    id="delete_schedule",
    summary="Delete a schedule",
    about="Ends a schedule, with what its runs came to and what of them is still to be told. Its audits stay.",
    tag="Audits",
    status=204,
    path=_ONE,
    errors=(404,),
    needs_key=True,
)


@delete("/{key:str}", opt=_REMOVE.opt, sync_to_thread=True)
def remove(request: AnyRequest, key: FromPath[str]) -> None:
    """Delete a schedule."""
    query_of(request)
    with service_of(request).database.session() as session:
        schedule_of(request, session, key)
        ended(session, key, write_of(request))


_RUN: Final = Operation(
    id="run_schedule",
    summary="Run a schedule now",
    about="Has a schedule's file audited out of its time, once no other run is at work. 409 where a run of it is under "
    "way.",
    tag="Audits",
    gives="ScheduledRun",
    status=202,
    path=_ONE,
    errors=(404, 409),
    needs_key=True,
)


@post("/{key:str}/run", opt=_RUN.opt, status_code=202, sync_to_thread=True)
def run(request: AnyRequest, key: FromPath[str]) -> Response[bytes]:
    """Run a schedule now."""
    query_of(request)
    require_deliveries(service_of(request))
    with service_of(request).database.session() as session:
        schedule = schedule_of(request, session, key)
        made = ask_run(session, key, key_name(request))
        return reply(_run(schedule, made, ()), 202, _FRESH)


_BEFORE: Final = Parameter(
    "before",
    "Give what was run before this `run`: the `next` of the page before.",
    {"type": "integer", "minimum": 1, "maximum": 999_999_999_999},
)
_RUNS: Final = Operation(
    id="list_runs",
    summary="See what the runs of a schedule came to",
    about="A page of runs, the newest first: the audit that each made, what is new since the one before, why it could "
    "not be made where that is so, and who was told.",
    tag="Audits",
    gives="ScheduledRuns",
    path=_ONE,
    query=(_BEFORE, LIMIT),
    errors=(404,),
)


@get("/{key:str}/runs", opt=_RUNS.opt, sync_to_thread=True)
def runs(request: AnyRequest, key: FromPath[str]) -> Response[bytes]:
    """Give a page of runs."""
    query = query_of(request)
    with service_of(request).database.session() as session:
        schedule = schedule_of(request, session, key)
        found = newest_runs(session, key, before=query["before"], limit=query["limit"] + 1)
        items = [_run(schedule, one, notices) for one, notices in found[: query["limit"]]]
    following = items[-1]["run"] if len(found) > query["limit"] else None
    return reply({"items": items, "next": following}, headers=_FRESH)


def planned(session: Session, audits: Audits, told: Document, write: Write, language: str) -> Schedule:
    """Keep a schedule of what a caller says; ProblemsFound or InvalidValue with everything that is wrong with it."""
    problems = []
    for name in ("file", "claims"):
        path = told.get(name)
        if isinstance(path, str) and (fault := path_fault(path)):
            problems.append(Problem(f"`{path[:60]}` {fault}", pointer=f"/{name}", meaning=True))
    if isinstance(supplier := told.get("supplier"), str):
        problems += _supplier_problems(audits, supplier)
    if problems:
        raise ProblemsFound(problems)
    left_out = {"claims": "", "zone": "UTC"}
    given: dict[str, Any] = {name: told[name] if told.get(name) is not None else left_out.get(name) for name in MEMBERS}
    one = Planned(**given, language=language, created_by=write.by)
    made = create_schedule(session, one)
    log_write(session, write, "creates", KIND, made.id, after=told_of(made))
    return made


def _supplier_problems(audits: Audits, supplier: str) -> list[Problem]:
    try:
        mapping_of(audits.root, supplier)
    except ProblemsFound as found:
        return [replace(one, pointer="/supplier", meaning=True) for one in found.problems]
    if kept_mapping(audits, supplier) is not None:
        return []
    message = t("no mapping of `{supplier}` is kept here", supplier=supplier[:60])
    help = t("take its file in first, at /intake or by `fitsvc intake`")
    return [Problem(message, help, pointer="/supplier", meaning=True, kind="missing record")]


def ended(session: Session, key: str, write: Write) -> None:
    """End a schedule; NotFound."""
    before = told_of(get_schedule(session, key))
    delete_schedule(session, key)
    log_write(session, write, "deletes", KIND, key, before=before)


def require_deliveries(service: Service) -> None:
    """Raise Conflict where the operator has not said where suppliers' files come in, so that nothing would be run."""
    if not service.nightly.deliveries:
        raise Conflict(t("this service carries out no schedules: it was started without `--deliveries`"))


def schedule_of(request: AnyRequest, session: Session, key: str) -> Schedule:
    """Return a schedule that the caller may see, or raise NotFound: that there is another one is not told either."""
    found = get_schedule(session, key)
    if not may_see(request, found):
        raise NotFound(KIND, key)
    return found


def may_see(request: AnyRequest, schedule: Schedule) -> bool:
    """Tell whether a caller may see a schedule, as it is with audits: its maker, and whoever administers."""
    if "audit" in service_of(request).public:
        return True
    caller = holder(request)
    return caller is not None and (caller.administers or schedule.created_by == caller.name)


def schedule_document(session: Session, one: Schedule) -> Document:
    """Return a schedule as the API shows it."""
    newest = newest_runs(session, one.id, limit=1)
    return {
        "id": one.id,
        "supplier": one.supplier,
        "file": one.file,
        "claims": one.claims or None,
        "at": one.at,
        "zone": one.zone,
        "created_by": one.created_by,
        "created_at": one.created_at,
        "due_at": one.due_at,
        "newest": _run(one, *newest[0]) if newest else None,
    }


def _run(schedule: Schedule, run: ScheduledRun, notices: Sequence[Notice]) -> Document:
    return run_document(schedule, run) | {"notices": [_notice(one) for one in notices]}


def _notice(one: Notice) -> Json:
    """Whether somebody was told: where, but not the whole address, which may have a secret in it."""
    waits = one.told_at is None and one.attempts < MOST_ATTEMPTS
    return {
        "to": host_of(one.address),
        "told_at": one.told_at,
        "attempts": one.attempts,
        "failure": one.failure or None,
        "due_at": one.due_at if waits else None,
    }
