"""The yard's work list: which readings, on which vehicles, decide most of what is undetermined today."""

from typing import Final

from anyio import to_thread
from litestar import Response, get

from fitsvc.observing.worklist import WorkReading
from fitsvc.service.context import AnyRequest, service_of
from fitsvc.service.counter.fields import sentence
from fitsvc.service.counter.links import link
from fitsvc.service.counter.record_pages import record_href
from fitsvc.service.counter.rendering import page
from fitsvc.service.worklist import made_list

_MOST: Final = 12
"""So many readings are a morning's work."""


@get("/worklist")
async def worklist(request: AnyRequest) -> Response[str]:
    """List what to measure next, what decides most first."""
    service = service_of(request)

    def work() -> Response[str]:
        found = made_list(service, _MOST)
        readings = [(one, sentence(one.label), _to(one)) for one in found.readings]
        return page(request, "worklist.html", found=found, readings=readings)

    return await to_thread.run_sync(work, limiter=service.threads.lists)


def _to(one: WorkReading) -> str:
    """Where a reading is told: the measuring page of a mounting, or the part's own sheet."""
    if one.subject == "mounting":
        return link("/measure", {"mounting": one.record})
    return record_href(one.subject, one.record)
