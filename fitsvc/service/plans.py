"""/v1/plans: a rig and wishes in, the smallest sets of parts from the catalogue out."""

from typing import Final

from anyio import to_thread
from litestar import Response, post
from litestar.enums import MediaType

from fitsvc.inventory.stored import StoreRecords
from fitsvc.language.display import System
from fitsvc.observing.resting import tell_what_rests
from fitsvc.planning.plan import encode
from fitsvc.service.bodies import read_document
from fitsvc.service.context import AnyRequest, service_of
from fitsvc.service.operations import Operation, query_of
from fitsvc.service.queries import PIN, UNITS, words

BODY_BYTES: Final = 256_000

_INCLUDE: Final = words(
    "include",
    "Tell more: with each wish of a set `rests_on`, the facts that its proving answer rests on, with how each is "
    "known, by whom and since when.",
    ("rests_on",),
)
_PLAN: Final = Operation(
    id="plan",
    summary="Plan a rig",
    about=(
        "Finds the smallest sets of receiver, adapters, accessories, balls and pins with which every wish works, and "
        "tells for each wish the question that proves it, the next best sets, and why the nearest misses fail. "
        "With `together` all wishes hold at the same time, in one receiver. "
        "The same rulebook, catalogue and wishes give the same bytes. Nothing is stored."
    ),
    tag="Plans",
    gives="Plan",
    body="Wishes",
    query=(UNITS, _INCLUDE, PIN),
    errors=(404,),
)


@post("/v1/plans", opt=_PLAN.opt, status_code=200, request_max_body_size=BODY_BYTES)
async def plan(request: AnyRequest) -> Response[bytes]:
    """Plan for wishes."""
    query = query_of(request)
    system: System = query["units"]
    service, document = service_of(request), await read_document(request)

    def work() -> bytes:
        with service.database.session() as session:
            shelf = service.shop.shelf(session)
            records = StoreRecords(session, service.shop.vehicles)
            found = service.planner.plan(document, records, shelf, system)
            if query["include"]:
                tell_what_rests(session, service.answerer, found, records, system)
            return encode(found)

    return Response(await to_thread.run_sync(work, limiter=service.threads.searches), media_type=MediaType.JSON)
