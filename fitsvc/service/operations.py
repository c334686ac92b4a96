"""What is told of an operation in the API's description, and what its handler reads of a request."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from email.utils import format_datetime
from typing import Any, Final, cast

from fitsvc.language.problems import Problem
from fitsvc.service.context import AnyRequest, service_of
from fitsvc.service.problems import problem
from fitsvc.service.queries import PIN, Parameter, check_headers, read_query
from fitsvc.tongues import later, t

WAITS: Final = "pin-waits"
"""By what name a request says that the rulebook that it is pinned to cannot answer yet."""
RETRY_SECONDS: Final = "60"
_LONGEST: Final = 4_000
"""Characters of a header that lists tags: some hundred of them."""
IF_MATCH: Final = Parameter(
    "If-Match",
    "The `ETag` of what you read, so that nobody's change in between is lost; `*` for any.",
    {"type": "string", "maxLength": _LONGEST},
    required=True,
    example='"3-5c2a9b1f0e4d"',
)
"""Any text: one that is no tag is of no version (412), as one of a version that is no more."""
IF_EITHER: Final = replace(IF_MATCH, required=False)
IF_NONE: Final = Parameter(
    "If-None-Match", "`*`: make it, which must not be there yet.", {"type": "string", "enum": ["*"]}
)
"""A change under any other is refused: passed over, a tag that holds would not stop it."""
IDEMPOTENCY: Final = Parameter(
    "Idempotency-Key",
    "A text of your own for this request: sent again within a day, it is answered as it was and nothing is done twice.",
    {"type": "string", "minLength": 1, "maxLength": 120, "pattern": "^[!-~]+$"},
    form=later("1 to 120 printable characters without blanks"),
)
"""Without an example: whoever sends that one for a second request too is refused, and so are all who copy it."""
IF_NONE_MATCH: Final = Parameter(
    "If-None-Match",
    "The `ETag` you have: what is still the same is answered with 304 and no body.",
    {"type": "string", "maxLength": _LONGEST},
)


_READS: Final = {
    "Answers": "ask",
    "Plans": "ask",
    "Selections": "ask",
    "Audits": "audit",
    "Health": "",
    "Description": "",
}
_CHANGES: Final = {"Records": "edit", "Rigs": "edit", "Observations": "record", "Remarks": "record", "Audits": "audit"}
"""What a key must be made for, by the tag of what it asks for or changes."""


@dataclass(frozen=True, slots=True)
class Deprecation:
    """When an operation was given up for another, and from when on it may be gone."""

    since: datetime
    sunset: datetime

    @property
    def headers(self) -> list[tuple[bytes, bytes]]:
        """What every reply says of it: `Deprecation` (RFC 9745), `Sunset` (RFC 8594), and where more is told."""
        return [
            (b"deprecation", f"@{int(self.since.timestamp())}".encode()),
            (b"sunset", format_datetime(self.sunset, usegmt=True).encode()),
            (b"link", b'</guide/shop>; rel="deprecation"; type="text/html"'),
        ]


@dataclass(frozen=True, slots=True, kw_only=True)
class Operation:
    """One operation, as the API's description tells it.

    `scope` is what a key must be made for; left out, it follows from the tag, and from whether something is changed
    (`needs_key`). `uploads` are the media types of a body that is a file, each with an example or None; `also` are
    media types beside `media`, and `also_status` statuses that are answered as `status` is. One that is
    `deprecated` still does what it did. In its texts `{one}` and `{many}` stand for the kind of record of its router.
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
    scope: str = ""
    uploads: Mapping[str, str | None] = field(default_factory=dict)
    also: tuple[str, ...] = ()
    also_status: tuple[int, ...] = ()
    deprecated: Deprecation | None = None

    @property
    def needs(self) -> str:
        """What a key must be made for; nothing where none is ever needed."""
        return self.scope or (_CHANGES if self.needs_key else _READS).get(self.tag, "read")

    @property
    def opt(self) -> dict[str, Any]:
        """The handler option that carries it."""
        return {"operation": self}


def query_of(request: AnyRequest) -> dict[str, Any]:
    """Read the query as the operation of this request declares it, and hold the headers to what it declares.

    Raises a problem of status 400 for what is not as declared, of 404 or 503 where another rulebook is pinned.
    """
    operation: Operation = request.route_handler.opt["operation"]
    if operation.headers:
        check_headers(request, operation.headers)
    found = read_query(request, operation.query)
    if found.get(PIN.name) not in (None, service_of(request).answerer.rulebook.digest):
        raise _not_pinned(request)
    return found


def _not_pinned(request: AnyRequest) -> Exception:
    """Why a request is not answered by the rulebook that it is pinned to."""
    if cast(Any, request.scope).get(WAITS):
        told = t("others are answered by another rulebook that is not in force: one at a time is kept beside it")
        return problem(503, told, headers={"Retry-After": RETRY_SECONDS})
    message, help = (
        t("no rulebook of that digest is kept here"),
        t("leave `pin` out, or name one that answers told here"),
    )
    return problem(404, f"{message}; {help}", [Problem(message, help, parameter=PIN.name)])
