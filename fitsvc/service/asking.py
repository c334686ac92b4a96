"""/v1/answers: a question in, its answer out."""

from datetime import datetime
from typing import Final

from anyio import to_thread
from litestar import Response, post
from litestar.enums import MediaType

from fitsvc.answers.answer import Answer, encode
from fitsvc.document import Json
from fitsvc.inventory.stored import StoreRecords
from fitsvc.language.display import System
from fitsvc.observing.earlier import EarlierRecords
from fitsvc.observing.law import laws_of
from fitsvc.service.bodies import read_document
from fitsvc.service.context import AnyRequest, Service, service_of
from fitsvc.service.operations import Operation, query_of
from fitsvc.service.queries import AS_OF, UNITS

BODY_BYTES: Final = 256_000

_ANSWER: Final = Operation(
    id="answer",
    summary="Ask whether it works",
    about=(
        "Answers a question about stored records, inline facts, or both. The same rulebook digest and the same "
        "question give the same bytes. Nothing is stored. With `together`, several things on one rig are judged at "
        "once: the outcome is the worst of all, each thing's own answer stands under `together`, and `spoils` says "
        "what stands against all of them at once, and between which. With `as_of` stored records are taken as they "
        "were known then, and no remedies are told: what was on the shelf is not looked for."
    ),
    tag="Answers",
    gives="Answer",
    body="Question",
    query=(UNITS, AS_OF),
)


@post("/v1/answers", opt=_ANSWER.opt, status_code=200, request_max_body_size=BODY_BYTES)
async def answer(request: AnyRequest) -> Response[bytes]:
    """Answer a question by the store; the plainest ones are answered by `shortcut` and do not come here."""
    query, service = query_of(request), service_of(request)
    document = await read_document(request)
    found = await to_thread.run_sync(_from_store, service, document, query["units"], query["as_of"])
    service.metrics.answer(found.outcome)
    return Response(encode(found), media_type=MediaType.JSON)


def _from_store(service: Service, document: Json, system: System, as_of: datetime | None) -> Answer:
    with service.database.session() as session:
        if as_of is not None:
            laws = laws_of(service.answerer.reader)
            earlier = EarlierRecords(session, laws, as_of, service.shop.vehicles)
            return service.answerer.answer(document, earlier, system)
        records = StoreRecords(session, service.shop.vehicles)
        return service.answerer.answer(document, records, system, service.shop.shelf(session))
