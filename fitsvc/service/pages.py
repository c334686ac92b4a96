"""/openapi.json: the API's description."""

from typing import Final

from litestar import Response, get

from fitsvc.service.context import AnyRequest, service_of
from fitsvc.service.operations import Operation, query_of
from fitsvc.service.replies import tagged

_DESCRIPTION: Final = Operation(
    id="get_openapi",
    summary="Get the API's description",
    about="The OpenAPI 3.1 document of this service.",
    tag="Description",
    gives="Description",
    errors=(304,),
    sends=("ETag",),
)


@get("/openapi.json", opt=_DESCRIPTION.opt, sync_to_thread=False)
def description(request: AnyRequest) -> Response[bytes]:
    """Give the OpenAPI document."""
    query_of(request)
    described = service_of(request).description
    return tagged(request, described.body, described.tag)
