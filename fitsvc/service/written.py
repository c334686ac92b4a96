"""/v1/log: who wrote what, for whoever administers."""

from typing import Final

from litestar import Response, get

from fitsvc.document import Document
from fitsvc.service.context import AnyRequest, service_of
from fitsvc.service.operations import Operation, query_of
from fitsvc.service.queries import LIMIT, Parameter
from fitsvc.service.replies import reply
from fitsvc.store.tables import Written
from fitsvc.store.written import list_written

_LOG: Final = Operation(
    id="list_writes",
    summary="Read the log of writes",
    about="A page of what was made, replaced, deleted and loaded, and of keys made and revoked, the oldest first: who, "
    "by which request, what it was before and is after. Observations stand in a log of their own.",
    tag="Log",
    gives="Writes",
    query=(
        Parameter(
            "after",
            "Give what was written after this `sequence`: the `next` of the page before.",
            {"type": "integer", "minimum": 0, "maximum": 999_999_999, "default": 0},
        ),
        LIMIT,
    ),
    scope="administer",
)


@get("/v1/log", opt=_LOG.opt, sync_to_thread=True)
def list_page(request: AnyRequest) -> Response[bytes]:
    """Give a page of the log."""
    query = query_of(request)
    with service_of(request).database.session() as session:
        found = list_written(session, after=query["after"], limit=query["limit"] + 1)
    items = [_document(line) for line in found[: query["limit"]]]
    following = items[-1]["sequence"] if len(found) > query["limit"] else None
    return reply({"items": items, "next": following}, headers={"Cache-Control": "no-store"})


def _document(line: Written) -> Document:
    return {
        "sequence": line.sequence,
        "at": line.at,
        "by": line.by,
        "request": line.request,
        "act": line.act,
        "kind": line.kind,
        "key": line.key,
        "before": line.before,
        "after": line.after,
    }
