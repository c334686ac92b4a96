"""/v1/worklist: which readings on the yard decide most of the catalogue's answers."""

from typing import Final

from litestar import Response, get

from fitsvc.inventory.changes import newest
from fitsvc.observing.worklist import work_list
from fitsvc.selection.waiting import MOST_FACTS
from fitsvc.service.context import AnyRequest, service_of
from fitsvc.service.operations import Operation, query_of
from fitsvc.service.queries import Parameter
from fitsvc.service.replies import reply
from fitsvc.tongues import tongue

_WORK: Final = Operation(
    id="get_worklist",
    summary="What to measure next",
    about="The readings, over all mountings, that decide most of the answers that are undetermined: each mounting is "
    "taken as a rig with every accessory, without a load, and each reading is told with how many answers it surely "
    "decides after those before it. Only what is learnt at the vehicle is asked for: read, measured or weighed.",
    tag="Observations",
    gives="WorkList",
    query=(
        Parameter(
            "limit",
            "How many readings to give at most.",
            {"type": "integer", "minimum": 1, "maximum": 50, "default": MOST_FACTS},
            example=3,
        ),
    ),
)


@get("/v1/worklist", opt=_WORK.opt, sync_to_thread=True)
def worklist(request: AnyRequest) -> Response[bytes]:
    """Give the readings that decide most."""
    query, service = query_of(request), service_of(request)
    service.selections.check()
    shared, reader = service.selections, service.answerer.reader
    held = shared.index.held()
    with service.database.session() as session:
        # The same store gives the same list, which a page asks for again and again.
        key = (held.revision, newest(session), query["limit"], tongue())
        found = shared.work.get(key, lambda: work_list(session, reader, shared.waiting, held, query["limit"]))
    return reply(found)
