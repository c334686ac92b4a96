"""/v1/audits: whole catalogues sent as files, judged beside the service."""

from collections.abc import Mapping
from itertools import islice
from typing import Final

from anyio import to_thread
from litestar import Response, Router, delete, get, post, put
from litestar.handlers import HTTPRouteHandler
from litestar.params import FromPath

from fitsvc.answers.records import NoRecords
from fitsvc.audits.rigs import CARRIED, check_carried
from fitsvc.document import Document, Json
from fitsvc.facts import FactReader
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.service import examples
from fitsvc.service.audits import results
from fitsvc.service.audits.folder import FILES, FORMATS, AuditFolder, Audits
from fitsvc.service.audits.private import audit_of, may_see
from fitsvc.service.audits.upload import receive
from fitsvc.service.bodies import read_document, read_object
from fitsvc.service.context import AnyRequest, service_of
from fitsvc.service.documents import finish
from fitsvc.service.keys import key_name
from fitsvc.service.operations import Operation, query_of
from fitsvc.service.queries import AFTER, LIMIT
from fitsvc.service.replies import page, reply
from fitsvc.store.tables import LABEL
from fitsvc.store.validation import Checks
from fitsvc.tongues import t, tongue

UPLOADS: Final[Mapping[str, str | None]] = {**dict.fromkeys(FORMATS), **examples.UPLOADS}
"""What files may be sent as, with an example of each that has one."""
MEMBERS: Final = ("id", "name", "against", *CARRIED)
_BODY_BYTES: Final = 64_000
_FRESH: Final = {"Cache-Control": "no-store"}
_ONE: Final = {"key": "The audit's `id`."}


def router() -> Router:
    """Return the routes."""
    sending = [_sending(name) for name in FILES]
    handlers = [list_page, create, read, remove, *sending, start, cancel, *results.handlers]
    return Router("/v1/audits", route_handlers=handlers)


_LIST: Final = Operation(
    id="list_audits",
    summary="List audits",
    about="A page of audits, ordered by `id`.",
    tag="Audits",
    gives="Audits",
    query=(AFTER, LIMIT),
)


@get("/", opt=_LIST.opt, sync_to_thread=True)
def list_page(request: AnyRequest) -> Response[bytes]:
    """Give a page of audits."""
    query, audits = query_of(request), service_of(request).audits
    after = (one for one in audits.listed() if one.key > (query["after"] or ""))
    # A folder that is half deleted is no audit, and must not take a place on the page: it would end the list early.
    whole = islice((one for one in after if one.told() and may_see(request, one)), query["limit"] + 1)
    return page([folder.document() for folder in whole], query["limit"], "id")


_CREATE: Final = Operation(
    id="create_audit",
    summary="Make a new audit",
    about=(
        "Makes an audit to which files are then sent, and which is then started. A load, ball or trailer given here is "
        "what every rig carries or tows. `against` names a finished audit to compare with. Its page and its list of "
        "what to mend are in the language of this request."
    ),
    tag="Audits",
    gives="Audit",
    status=201,
    body="NewAudit",
    sends=("Location",),
    errors=(409, 507),
    needs_key=True,
    links={"get_audit": "$response.body#/id", "start_audit": "$response.body#/id"},
)


@post("/", opt=_CREATE.opt, request_max_body_size=_BODY_BYTES)
async def create(request: AnyRequest) -> Response[bytes]:
    """Make a new audit."""
    query_of(request)
    service, document, spoken = service_of(request), await read_document(request), tongue().code

    def work() -> Document:
        told = _read_new(document, service.audits, service.answerer.reader)
        made = {"created_by": key_name(request), "language": spoken}
        return service.audits.create(document.get("id"), told | made).document()

    made = await to_thread.run_sync(work)
    return reply(made, 201, {"Location": f"/v1/audits/{made['id']}"})


_READ: Final = Operation(
    id="get_audit",
    summary="Get one audit",
    about="How far it is, with the time left while it runs, and what was wrong with its files.",
    tag="Audits",
    gives="Audit",
    path=_ONE,
    errors=(404,),
)


@get("/{key:str}", opt=_READ.opt, sync_to_thread=True)
def read(request: AnyRequest, key: FromPath[str]) -> Response[bytes]:
    """Give one audit."""
    query_of(request)
    return _audit(audit_of(request, key))


_REMOVE: Final = Operation(
    id="delete_audit",
    summary="Delete an audit",
    about="Deletes an audit that is not running, with its files and results.",
    tag="Audits",
    status=204,
    path=_ONE,
    errors=(404, 409),
    needs_key=True,
)


@delete("/{key:str}", opt=_REMOVE.opt, sync_to_thread=True)
def remove(request: AnyRequest, key: FromPath[str]) -> None:
    """Delete an audit."""
    query_of(request)
    audit_of(request, key).delete()


_SENT: Final = {
    "catalogue": "The accessories: `sku`, a column for each fact (`shank`, `weight [lb]`), and maybe `fits` with the "
    "rigs or vehicles that each is claimed to fit.",
    "claims": "Which `sku` is claimed to fit which `rig`, where the catalogue does not say it.",
    "rigs": "Rigs as records, with the vehicles, receivers and mountings that they name; without them the store's rigs "
    "are taken.",
    "mapping": "What the columns of the catalogue are, where they have other names.",
}


def _sending(name: str) -> HTTPRouteHandler:
    """Return the route to which one of an audit's files is sent."""
    uploads = {media: sent for media, sent in UPLOADS.items() if FORMATS[media] in FILES[name]}
    operation = Operation(
        id=f"send_audit_{name}",
        summary=f"Send an audit's {name}",
        about=(
            f"{_SENT[name]} The body is the file itself, and `Content-Type` says what it is. A file that was sent "
            "before is replaced once the new one is whole."
        ),
        tag="Audits",
        gives="Audit",
        path=_ONE,
        errors=(404, 409, 413, 415, 507),
        needs_key=True,
        uploads=uploads,
    )

    async def send_file(request: AnyRequest, key: FromPath[str]) -> Response[bytes]:
        query_of(request)
        folder = await to_thread.run_sync(service_of(request).audits.get, key)
        sent = await receive(request, name, folder.path, service_of(request).audit_bytes)
        try:
            await to_thread.run_sync(folder.add_file, name, *sent)
        finally:
            sent.part.unlink(missing_ok=True)
        return await to_thread.run_sync(_audit, folder)

    path = f"/{{key:str}}/files/{name}"
    return put(path, opt=operation.opt, request_max_body_size=None)(send_file)


_START: Final = Operation(
    id="start_audit",
    summary="Start an audit",
    about=(
        "Lets the service carry the audit out, one after the other. One that was cancelled, interrupted or has "
        "failed goes on where it was."
    ),
    tag="Audits",
    gives="Audit",
    status=202,
    path=_ONE,
    errors=(404, 409, 507),
    needs_key=True,
)


@post("/{key:str}/start", opt=_START.opt, status_code=202, sync_to_thread=True)
def start(request: AnyRequest, key: FromPath[str]) -> Response[bytes]:
    """Start an audit."""
    query_of(request)
    folder = audit_of(request, key)
    folder.start()
    return _audit(folder, 202)


_CANCEL: Final = Operation(
    id="cancel_audit",
    summary="Cancel an audit",
    about="Ends an audit that waits or runs; what is done is kept until it is started again or deleted.",
    tag="Audits",
    gives="Audit",
    status=202,
    path=_ONE,
    errors=(404, 507),
    needs_key=True,
)


@post("/{key:str}/cancel", opt=_CANCEL.opt, status_code=202, sync_to_thread=True)
def cancel(request: AnyRequest, key: FromPath[str]) -> Response[bytes]:
    """Cancel an audit."""
    query_of(request)
    folder = audit_of(request, key)
    folder.cancel()
    return _audit(folder, 202)


def _audit(folder: AuditFolder, status: int = 200) -> Response[bytes]:
    return reply(folder.document(), status, _FRESH)


def _read_new(document: Json, audits: Audits, reader: FactReader) -> Document:
    """What a new audit is made with; ProblemsFound with everything that is wrong with it."""
    problems = read_object(document, MEMBERS)
    checks = Checks()
    if document.get("id") is not None:
        checks.key("audit", document["id"])
    if document.get("name") is not None:
        checks.text("/name", document["name"], LABEL)
    carried = {name: document[name] for name in CARRIED if document.get(name) is not None}
    for name, part in carried.items():
        if not isinstance(part, dict) or set(part) != {"facts"}:
            problems.append(
                Problem(t("`{name}` has `facts` alone", name=name), t('write `{"facts": {...}}`'), pointer=f"/{name}")
            )
    problems += [Problem(one.message, pointer=one.field, meaning=True, kind=one.kind) for one in checks.problems]
    problems += _against_problems(document, audits)
    if not problems:
        try:
            check_carried(carried, reader, NoRecords())
        except ProblemsFound as found:
            problems += found.problems
    finish(problems)
    return {"name": document.get("name") or "", "against": document.get("against"), "carried": carried}


def _against_problems(document: Mapping[str, Json], audits: Audits) -> list[Problem]:
    against = document.get("against")
    if against is None:
        return []
    if not isinstance(against, str):
        return [Problem(t("`against` is not a text"), t("write the id of a finished audit"), pointer="/against")]
    state = next((one.state() for one in audits.listed() if one.key == against), None)
    if state == "finished":
        return []
    message = (
        t("audit `{against}` is `{state}`", against=against[:60], state=state)
        if state
        else t("there is no audit `{against}`", against=against[:60])
    )
    return [Problem(message, t("name a finished audit"), pointer="/against", meaning=True, kind="missing record")]
