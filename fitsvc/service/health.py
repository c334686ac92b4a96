"""/health/live, /health/ready and /metrics: what a platform asks."""

from typing import Final

from anyio import to_thread
from litestar import Response, get

from fitsvc.document import Document
from fitsvc.service.context import AnyRequest, Service, service_of
from fitsvc.service.fetching import told_as
from fitsvc.service.metrics import CONTENT_TYPE
from fitsvc.service.operations import Operation, query_of
from fitsvc.service.replies import reply

_LIVE: Final = Operation(
    id="is_live",
    summary="Is it running?",
    about="Answers as long as the process does.",
    tag="Health",
    gives="Health",
)


@get("/health/live", opt=_LIVE.opt, sync_to_thread=False)
def live(request: AnyRequest) -> Response[bytes]:
    """Say that the process runs."""
    query_of(request)
    return _healthy(request, "live")


_READY: Final = Operation(
    id="is_ready",
    summary="Can it work?",
    about="Answers 200 when the database can be reached and written to, is the one that was opened and has room, its "
    "tables are up to date, and the index for selections is open and follows it. `rulebook` is what it answers by, and "
    "`in_force` the published one that holds now, a second ahead of it at the most: where it cannot be served here, "
    "`refused` says why, and the one before it goes on. It is null where none was published. Of a folder that is "
    "served it is as the folder was last read, and `refused` says what was wrong with it since. "
    "`pulled` tells how it stands with rules that are pulled, where they are: what was taken last, and what was wrong "
    "since.",
    tag="Health",
    gives="Health",
)


@get("/health/ready", opt=_READY.opt)
async def ready(request: AnyRequest) -> Response[bytes]:
    """Say whether the database and the index can be used."""
    query_of(request)
    service = service_of(request)
    return await to_thread.run_sync(_ready, request, service, limiter=service.threads.health)


def _ready(request: AnyRequest, service: Service) -> Response[bytes]:
    service.database.check()
    service.selections.check()
    published = service.published
    wanted = published.in_force() if published else None
    told: Document = {"in_force": wanted}
    if published and wanted is not None and wanted in published.refused:
        told["refused"] = published.refused[wanted]
    if published and (stands := published.pulled()) is not None:
        told["pulled"] = {
            "from": told_as(stands.source),
            "digest": stands.digest or None,
            "made_at": stands.made_at,
            "looked_at": stands.looked_at,
            "failures": stands.attempts,
        } | ({"failure": stands.failure} if stands.failure else {})
    return _healthy(request, "ready", told)


_METRICS: Final = Operation(
    id="get_metrics",
    summary="Counters for Prometheus",
    about="Requests, times and answers by outcome.",
    tag="Health",
    gives="Metrics",
    scope="read",
    media="text/plain",
)


@get("/metrics", opt=_METRICS.opt, sync_to_thread=False)
def metrics(request: AnyRequest) -> Response[bytes]:
    """Give the counters."""
    query_of(request)
    service = service_of(request)
    service.metrics.index_age.set(service.selections.index.age)
    return Response(service.metrics.text(), media_type=CONTENT_TYPE)


def _healthy(request: AnyRequest, status: str, more: Document | None = None) -> Response[bytes]:
    headers = {"Cache-Control": "no-store"}
    told = {"status": status, "rulebook": service_of(request).answerer.rulebook.digest} | (more or {})
    return reply(told, headers=headers)
