"""/v1/worklist: which readings on the yard decide most of the catalogue's answers."""

from typing import Final

from anyio import to_thread
from litestar import Response, get

from fitsvc.observing.worklist import WorkList, work_list
from fitsvc.selection.waiting import MOST_FACTS
from fitsvc.service.context import AnyRequest, Service, service_of
from fitsvc.service.operations import Operation, query_of
from fitsvc.service.queries import Parameter
from fitsvc.service.replies import reply

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


@get("/v1/worklist", opt=_WORK.opt)
async def worklist(request: AnyRequest) -> Response[bytes]:
    """Give the readings that decide most."""
    query, service = query_of(request), service_of(request)

    def work() -> Response[bytes]:
        service.selections.check()
        return reply(made_list(service, query["limit"]))

    return await to_thread.run_sync(work, limiter=service.threads.lists)


def made_list(service: Service, most: int) -> WorkList:
    """So many readings that decide most; it may take as long as a plan, and so has a place of its own.

    What the yard waits for is kept until the store changes, and is the same for lists of any length and language.
    """
    with service.database.session() as session:
        return work_list(session, service.answerer.reader, service.selections.yard(session), most)
