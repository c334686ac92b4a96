"""/v1/{records}/{key}/effects: what a change of a record would do, told before it is made."""

from typing import Final

from anyio import to_thread
from litestar import Response, post
from litestar.params import FromPath

from fitsvc.document import Document
from fitsvc.observing.law import laws_of
from fitsvc.observing.recording import Watch, effects_of
from fitsvc.service.bodies import read_document
from fitsvc.service.context import AnyRequest, service_of
from fitsvc.service.documents import RecordKind, read_draft, record_document
from fitsvc.service.keys import key_name
from fitsvc.service.observed import effects_document
from fitsvc.service.operations import Operation, query_of
from fitsvc.service.replies import reply
from fitsvc.store.records import get_record, replace_record
from fitsvc.store.statements import RANK, SEEN
from fitsvc.store.tables import Record

BODY_BYTES: Final = 128_000
EFFECTS: Final = Operation(
    id="try_{one}",
    summary="What a change of one {one} would do",
    about="Takes the body of a change and stores nothing: answers with the {one} as it would stand, how many facts "
    "that somebody saw on it would no longer be known, and the saved rigs that would answer otherwise.",
    tag="Records",
    gives="Would{One}",
    path={"key": "The {one}'s `{key}`."},
    body="{One}State",
    errors=(404, 409),
    needs_key=True,
)


@post("/{key:str}/effects", opt=EFFECTS.opt, status_code=200, request_max_body_size=BODY_BYTES)
async def effects(request: AnyRequest, key: FromPath[str]) -> Response[bytes]:
    """Tell what a change of a record would do."""
    query_of(request)
    service, document = service_of(request), await read_document(request)
    kind: RecordKind = request.route_handler.opt["kind"]
    reader = service.answerer.reader

    def work() -> Document:
        draft, told = read_draft(kind, document, reader, key_name(request), new=False)
        with service.database.session() as session:
            record = get_record(session, kind.subject, key)
            watch, seen = Watch(session, reader, kind.subject, record), _seen(record)
            record = replace_record(session, kind.subject, key, draft, told=told, laws=laws_of(reader))
            touched, would, lost = watch.touched(), record_document(record), len(seen - _seen(record))
            session.rollback()
        found = effects_of(service.answerer.columns, reader, touched, service.selections.index.held)
        return {"record": would, "no_longer_seen": lost, "rigs": effects_document(found, touched.left_off)}

    return reply(await to_thread.run_sync(work))


def _seen(record: Record) -> set[str]:
    """The facts of a record that are known since somebody saw them on the part."""
    return {name for name, how in record.provenance.items() if RANK[how["kind"]] == SEEN and name in record.facts}
