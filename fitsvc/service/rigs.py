"""/v1/rigs: rigs kept under a name, to be asked about by their id."""

from collections.abc import Mapping
from typing import Final

from anyio import to_thread
from litestar import Response, Router, delete, get, post, put
from litestar.params import FromPath
from sqlmodel import Session

from fitsvc.answers.question import read_question
from fitsvc.document import Document, Json
from fitsvc.facts import FactReader
from fitsvc.inventory.stored import StoreRecords
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.observing.sheet import sheet
from fitsvc.service.bodies import read_document, read_object
from fitsvc.service.context import AnyRequest, service_of
from fitsvc.service.documents import KEPT, finish, rig_document
from fitsvc.service.etags import etag, is_to_be_made, not_there_yet, require_match
from fitsvc.service.keys import write_of
from fitsvc.service.once import once
from fitsvc.service.operations import IDEMPOTENCY, IF_EITHER, IF_MATCH, IF_NONE, IF_NONE_MATCH, Operation, query_of
from fitsvc.service.queries import AFTER, AS_OF, LIMIT
from fitsvc.service.replies import page, reply, stored, tagged, told_of
from fitsvc.store.rigs import create_rig, delete_rig, get_rig, list_rigs, replace_rig
from fitsvc.store.tables import SavedRig
from fitsvc.store.written import Write, log_write
from fitsvc.subjects import RIG
from fitsvc.tongues import t

PATH: Final = "/v1/rigs"
BODY_BYTES: Final = 256_000
_ONE: Final = {"key": "The rig's `id`."}


def router() -> Router:
    """Return the routes of saved rigs."""
    return Router(PATH, route_handlers=[list_page, read, read_sheet, create, change, remove])


_LIST: Final = Operation(
    id="list_rigs",
    summary="List saved rigs",
    about="A page of saved rigs, ordered by `id`.",
    tag="Rigs",
    gives="SavedRigs",
    query=(AFTER, LIMIT),
)


@get("/", opt=_LIST.opt, sync_to_thread=True)
def list_page(request: AnyRequest) -> Response[bytes]:
    """Give a page of saved rigs."""
    query = query_of(request)
    with service_of(request).database.session() as session:
        found = list_rigs(session, after=query["after"], limit=query["limit"] + 1)
    return page([rig_document(rig) for rig in found], query["limit"], "id")


_READ: Final = Operation(
    id="get_rig",
    summary="Get one saved rig",
    about="A rig as it was saved, with what was told of this very one.",
    tag="Rigs",
    gives="SavedRig",
    path=_ONE,
    headers=(IF_NONE_MATCH,),
    sends=("ETag",),
    errors=(304, 404),
    links=dict.fromkeys(("replace_rig", "delete_rig"), "$response.body#/id"),
)


@get("/{key:str}", opt=_READ.opt, sync_to_thread=True)
def read(request: AnyRequest, key: FromPath[str]) -> Response[bytes]:
    """Give one saved rig."""
    query_of(request)
    with service_of(request).database.session() as session:
        rig = get_rig(session, key)
    return tagged(request, rig_document(rig), etag(rig))


_SHEET: Final = Operation(
    id="get_rig_sheet",
    summary="Get the sheet of one saved rig",
    about="What was told of this very rig, over what its records say: each fact as it is known, with every statement "
    "of it. Of the past it is told by what had been entered then.",
    tag="Rigs",
    gives="Sheet",
    path=_ONE,
    query=(AS_OF,),
    errors=(404,),
)


@get("/{key:str}/sheet", opt=_SHEET.opt, sync_to_thread=True)
def read_sheet(request: AnyRequest, key: FromPath[str]) -> Response[bytes]:
    """Give what was told of one saved rig."""
    query, service = query_of(request), service_of(request)
    with service.database.session() as session:
        found = sheet(session, service.answerer.reader, RIG, key, query["as_of"], service.selections.waited)
    return reply(found)


_CREATE: Final = Operation(
    id="create_rig",
    summary="Save a rig",
    about="Keeps the `rig` of a question under a name; its records must be stored.",
    tag="Rigs",
    gives="SavedRig",
    status=201,
    body="NewRig",
    headers=(IDEMPOTENCY,),
    sends=("ETag", "Location"),
    errors=(409,),
    needs_key=True,
    links=dict.fromkeys(("get_rig", "replace_rig", "delete_rig"), "$response.body#/id"),
)


@post("/", opt=_CREATE.opt, request_max_body_size=BODY_BYTES)
async def create(request: AnyRequest) -> Response[bytes]:
    """Save a rig."""
    query_of(request)
    service, document, write = service_of(request), await read_document(request), write_of(request)

    def make(session: Session) -> Response[bytes]:
        name, rig = _read(document, session, service.answerer.reader, new=True)
        return _made(session, create_rig(session, name, rig, document.get("id")), write)

    return await to_thread.run_sync(once, request, document, make)


def _made(session: Session, rig: SavedRig, write: Write) -> Response[bytes]:
    log_write(session, write, "creates", "rig", rig.id, after=told_of(rig))
    return stored(rig, rig_document(rig), f"{PATH}/{rig.id}")


_CHANGE: Final = Operation(
    id="replace_rig",
    summary="Replace a saved rig",
    about="With `If-None-Match: *` saves a new rig, which must not be there; with `If-Match` gives a saved rig a new "
    "name and content.",
    tag="Rigs",
    gives="SavedRig",
    path=_ONE,
    body="RigState",
    headers=(IF_EITHER, IF_NONE),
    sends=("ETag", "Location"),
    errors=(404, 409, 412, 428),
    also_status=(201,),
    needs_key=True,
)


@put("/{key:str}", opt=_CHANGE.opt, request_max_body_size=BODY_BYTES)
async def change(request: AnyRequest, key: FromPath[str]) -> Response[bytes]:
    """Replace a saved rig."""
    query_of(request)
    service, document, write = service_of(request), await read_document(request), write_of(request)

    def work() -> Response[bytes]:
        with service.database.session() as session:
            if is_to_be_made(request):
                name, rig = _read(document, session, service.answerer.reader, new=False)
                with not_there_yet():
                    made = create_rig(session, name, rig, key)
                return _made(session, made, write)
            found = get_rig(session, key)
            name, rig = _read(document, session, service.answerer.reader, new=False)
            version, before = require_match(request, found), told_of(found)
            changed = replace_rig(session, key, name, rig, expected_version=version)
            log_write(session, write, "replaces", "rig", key, before, told_of(changed))
            return stored(changed, rig_document(changed))

    return await to_thread.run_sync(work)


_REMOVE: Final = Operation(
    id="delete_rig",
    summary="Delete a saved rig",
    about="Its records stay, and so does the log of what was told of it.",
    tag="Rigs",
    status=204,
    path=_ONE,
    headers=(IF_MATCH,),
    errors=(404, 412, 428),
    needs_key=True,
)


@delete("/{key:str}", opt=_REMOVE.opt, sync_to_thread=True)
def remove(request: AnyRequest, key: FromPath[str]) -> None:
    """Delete a saved rig."""
    query_of(request)
    with service_of(request).database.session() as session:
        found = get_rig(session, key)
        version, before = require_match(request, found), told_of(found)
        delete_rig(session, key, expected_version=version)
        log_write(session, write_of(request), "deletes", "rig", key, before)


def _read(document: Json, session: Session, reader: FactReader, *, new: bool) -> tuple[str, Document]:
    """Read a body's name and rig; a rig is well formed when a question could be asked about it."""
    members = ("id", "name", "rig") if new else ("name", "rig")
    problems = read_object(document, members, ("name", "rig"), told=KEPT | {"id": "the id stands in the path"})
    rig = document.get("rig")
    if isinstance(rig, dict) and rig.get("id") is not None:
        message, help = (
            t("a rig is kept of its parts, not by another rig's id"),
            t("leave it out and give that rig's parts"),
        )
        problems.append(Problem(message, help, pointer="/rig/id", meaning=isinstance(rig["id"], str)))
    elif rig is not None:
        try:
            read_question({"rig": rig, "accessory": {}}, reader, StoreRecords(session))
        except ProblemsFound as found:
            problems += found.problems
    finish(problems)
    return document["name"], _said(rig)


def _said(rig: Mapping[str, Json]) -> Document:
    """A rig without the members that are null, which say nothing; a fact that is null is said not to be known."""
    parts = {name: part for name, part in rig.items() if part is not None}
    return {name: _part_said(part) for name, part in parts.items()}


def _part_said(part: Json) -> Json:
    if isinstance(part, list):
        return [_part_said(one) for one in part]
    return {name: told for name, told in part.items() if told is not None} if isinstance(part, dict) else part
