"""/v1/vehicles, /v1/receivers, /v1/mountings and /v1/accessories: the stored records."""

from collections.abc import Mapping, Sequence
from typing import Final

from anyio import to_thread
from litestar import Response, Router, delete, get, post, put
from litestar.params import FromPath
from sqlmodel import Session

from fitsvc.document import Document, Json
from fitsvc.facts import FactReader
from fitsvc.observing.law import laws_of
from fitsvc.observing.sheet import sheet
from fitsvc.service.bodies import read_document
from fitsvc.service.changes import effects
from fitsvc.service.context import AnyRequest, service_of
from fitsvc.service.documents import KINDS, RecordKind, read_draft, record_document
from fitsvc.service.etags import etag, is_to_be_made, not_there_yet, require_match
from fitsvc.service.keys import key_name, write_of
from fitsvc.service.once import once
from fitsvc.service.operations import IDEMPOTENCY, IF_EITHER, IF_MATCH, IF_NONE, IF_NONE_MATCH, Operation, query_of
from fitsvc.service.queries import AFTER, AS_OF, LIMIT, Parameter
from fitsvc.service.replies import page, reply, stored, tagged, told_of
from fitsvc.store.creation import create_record
from fitsvc.store.records import delete_record, find_mountings, get_record, list_records, replace_record
from fitsvc.store.tables import Record
from fitsvc.store.written import Write, log_write
from fitsvc.subjects import SOLD

BODY_BYTES: Final = 128_000

_FILTERS: Final[Mapping[str, tuple[Parameter, ...]]] = {
    "mounting": tuple(
        Parameter(one, f"Only those of this {one}, by its id.", {"type": "string", "maxLength": 80})
        for one in ("vehicle", "receiver")
    ),
    "accessory": (
        Parameter("subject", "Only what is sold as this.", {"type": "string", "enum": list(SOLD)}, example="ball"),
    ),
}


def routers() -> list[Router]:
    """Return one router for each kind of record."""
    return [_router(kind) for kind in KINDS]


def _router(kind: RecordKind) -> Router:
    listed = Operation(
        id="list_{many}",
        summary="List {many}",
        about="A page of {many}, ordered by `{key}`.",
        tag="Records",
        gives="{Many}",
        query=(AFTER, LIMIT, *_FILTERS.get(kind.subject, ())),
    )
    handlers = [get("/", opt=listed.opt)(list_page), read, read_sheet, create, change, effects, remove]
    return Router(kind.path(), route_handlers=handlers, opt={"kind": kind})


async def list_page(request: AnyRequest) -> Response[bytes]:
    """Give a page of records."""
    kind, query, database = kind_of(request), query_of(request), service_of(request).database

    def work() -> list[Document]:
        with database.session() as session:
            return [record_document(record) for record in _found(session, kind, query)]

    return page(await to_thread.run_sync(work), query["limit"], kind.key)


_ONE: Final = {"key": "The {one}'s `{key}`."}

_READ: Final = Operation(
    id="get_{one}",
    summary="Get one {one}",
    about="The {one} as it stands, with how each fact is known.",
    tag="Records",
    gives="{One}",
    path=_ONE,
    headers=(IF_NONE_MATCH,),
    sends=("ETag",),
    errors=(304, 404),
    links=dict.fromkeys(("replace_{one}", "delete_{one}"), "$response.body#/{key}"),
)


@get("/{key:str}", opt=_READ.opt, sync_to_thread=True)
def read(request: AnyRequest, key: FromPath[str]) -> Response[bytes]:
    """Give one record."""
    query_of(request)
    with service_of(request).database.session() as session:
        record = get_record(session, kind_of(request).subject, key)
    return tagged(request, record_document(record), etag(record))


_SHEET: Final = Operation(
    id="get_{one}_sheet",
    summary="Get the sheet of one {one}",
    about="Each fact as it is known, with every statement of it: who said it when, with what, in what condition, and "
    "whether it counts; what was tried, and what is not known. Of the past it is told by what had been entered then.",
    tag="Records",
    gives="Sheet",
    path=_ONE,
    query=(AS_OF,),
    errors=(404,),
)


@get("/{key:str}/sheet", opt=_SHEET.opt, sync_to_thread=True)
def read_sheet(request: AnyRequest, key: FromPath[str]) -> Response[bytes]:
    """Give what is known of one record."""
    query, service = query_of(request), service_of(request)
    reader, waited = service.answerer.reader, service.selections.waited
    with service.database.session() as session:
        return reply(sheet(session, reader, kind_of(request).subject, key, query["as_of"], waited))


_CREATE: Final = Operation(
    id="create_{one}",
    summary="Store a new {one}",
    about="Stores one {one} with one observation of its facts.",
    tag="Records",
    gives="{One}",
    status=201,
    body="New{One}",
    sends=("ETag", "Location"),
    headers=(IDEMPOTENCY,),
    errors=(409,),
    needs_key=True,
    links=dict.fromkeys(("get_{one}", "replace_{one}", "delete_{one}"), "$response.body#/{key}"),
)


@post("/", opt=_CREATE.opt, request_max_body_size=BODY_BYTES)
async def create(request: AnyRequest) -> Response[bytes]:
    """Store a new record."""
    query_of(request)
    kind, service = kind_of(request), service_of(request)
    document = await read_document(request)

    def make(session: Session) -> Response[bytes]:
        record = _create(session, kind, document, service.answerer.reader, write)
        return stored(record, record_document(record), kind.path(record.key))

    write = write_of(request)
    return await to_thread.run_sync(once, request, document, make)


def _create(session: Session, kind: RecordKind, document: Json, reader: FactReader, write: Write) -> Record:
    """Store a new record, and note it."""
    draft, told = read_draft(kind, document, reader, write.by, new=True)
    record = create_record(session, kind.subject, draft, told, laws=laws_of(reader))
    log_write(session, write, "creates", kind.subject, record.key, after=told_of(record))
    return record


_CHANGE: Final = Operation(
    id="replace_{one}",
    summary="Make one {one} what you say",
    about="With `If-None-Match: *` makes a new {one}, which must not be there; with `If-Match` makes what one source "
    "(`told.source`; none is a source too) says of the {one} what you say: a fact that keeps its value keeps how it is "
    "known, and what the same source told before and you leave out is taken back. What was measured, read off the part "
    "or tried stays.",
    tag="Records",
    gives="{One}",
    path=_ONE,
    body="{One}State",
    headers=(IF_EITHER, IF_NONE),
    sends=("ETag", "Location"),
    errors=(404, 409, 412, 428),
    also_status=(201,),
    needs_key=True,
)


@put("/{key:str}", opt=_CHANGE.opt, request_max_body_size=BODY_BYTES)
async def change(request: AnyRequest, key: FromPath[str]) -> Response[bytes]:
    """Replace a record's label and facts, or make it where the caller says that there is none."""
    query_of(request)
    kind, service = kind_of(request), service_of(request)
    document, write = await read_document(request), write_of(request)

    def work() -> Response[bytes]:
        reader = service.answerer.reader
        with service.database.session() as session:
            if is_to_be_made(request):
                whole = {kind.key: key, **document} if isinstance(document, dict) else document
                with not_there_yet():
                    record = _create(session, kind, whole, reader, write)
                return stored(record, record_document(record), kind.path(record.key))
            record = get_record(session, kind.subject, key)
            draft, told = read_draft(kind, document, reader, write.by, new=False)
            version, before = require_match(request, record), told_of(record)
            record = replace_record(
                session, kind.subject, key, draft, expected_version=version, told=told, laws=laws_of(reader)
            )
            log_write(session, write, "replaces", kind.subject, key, before, told_of(record))
            return stored(record, record_document(record))

    return await to_thread.run_sync(work)


_REMOVE: Final = Operation(
    id="delete_{one}",
    summary="Delete one {one}",
    about="Deletes one {one} that nothing names; its observations stay.",
    tag="Records",
    status=204,
    path=_ONE,
    headers=(IF_MATCH,),
    errors=(404, 409, 412, 428),
    needs_key=True,
)


@delete("/{key:str}", opt=_REMOVE.opt, sync_to_thread=True)
def remove(request: AnyRequest, key: FromPath[str]) -> None:
    """Delete a record."""
    query_of(request)
    kind = kind_of(request)
    with service_of(request).database.session() as session:
        record = get_record(session, kind.subject, key)
        version, before = require_match(request, record), told_of(record)
        laws = laws_of(service_of(request).answerer.reader)
        delete_record(session, kind.subject, key, expected_version=version, by=key_name(request), laws=laws)
        log_write(session, write_of(request), "deletes", kind.subject, key, before)


def kind_of(request: AnyRequest) -> RecordKind:
    """Return the kind of record that a request's router is for."""
    kind: RecordKind = request.route_handler.opt["kind"]
    return kind


def _found(session: Session, kind: RecordKind, query: Mapping[str, Json]) -> Sequence[Record]:
    """Find a page's records and one more, which tells whether another page follows."""
    place = {"after": query["after"], "limit": query["limit"] + 1}
    if kind.subject == "mounting":
        return find_mountings(session, query["vehicle"], query["receiver"], **place)
    return list_records(session, kind.subject, sold_as=query.get("subject"), **place)
