"""What is told of an operation in the API's description, and what its handler reads of a request."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from fitsvc.service.context import AnyRequest
from fitsvc.service.queries import Parameter, read_query

IF_MATCH: Final = Parameter(
    "If-Match",
    "The `ETag` of what you read, so that nobody's change in between is lost; `*` for any.",
    {"type": "string"},
    required=True,
    example='"3-5c2a9b1f0e4d"',
)
IF_NONE_MATCH: Final = Parameter(
    "If-None-Match", "The `ETag` you have: what is still the same is answered with 304 and no body.", {"type": "string"}
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Operation:
    """One operation, as the API's description tells it.

    `uploads` are the media types of a body that is a file, each with an example or None; `also` are media types beside
    `media`. In its texts `{one}` and `{many}` stand for the kind of record of the router it is in.
    """

    id: str
    summary: str
    about: str
    tag: str
    gives: str = ""
    status: int = 200
    body: str = ""
    query: tuple[Parameter, ...] = ()
    headers: tuple[Parameter, ...] = ()
    sends: tuple[str, ...] = ()
    errors: tuple[int, ...] = ()
    media: str = "application/json"
    path: Mapping[str, str] = field(default_factory=dict)
    links: Mapping[str, str] = field(default_factory=dict)
    needs_key: bool = False
    uploads: Mapping[str, str | None] = field(default_factory=dict)
    also: tuple[str, ...] = ()

    @property
    def opt(self) -> dict[str, Any]:
        """The handler option that carries it."""
        return {"operation": self}


def query_of(request: AnyRequest) -> dict[str, Any]:
    """Read the query as the operation of this request declares it."""
    operation: Operation = request.route_handler.opt["operation"]
    return read_query(request, operation.query)
