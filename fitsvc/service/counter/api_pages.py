"""The pages of the interface for programs: what can be asked, what goes in and comes back, and what problems mean."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from http import HTTPStatus
from typing import Any, Final

import msgspec
from litestar import Response, get
from litestar.handlers import HTTPRouteHandler
from litestar.params import FromPath

from fitsvc.document import Document, Json
from fitsvc.service.codes import CODES, OF_ERRORS
from fitsvc.service.context import AnyRequest, service_of
from fitsvc.service.counter.rendering import not_there, page
from fitsvc.tongues import later, t

_METHODS: Final = ("get", "post", "put", "patch", "delete")
_REF: Final = "#/components/schemas/"
_NOT_THERE: Final = later("There is nothing of that name in the API. The page of the API lists all.")


@dataclass(frozen=True, slots=True, kw_only=True)
class OperationShown:
    """One thing that can be asked: by which method and path, what it takes, and what comes back, as described."""

    id: str
    method: str
    path: str
    summary: str
    about: str
    key: bool
    parameters: Sequence[Document]
    body: Document | None
    example: str
    replies: Sequence["ReplyShown"]


@dataclass(frozen=True, slots=True)
class ReplyShown:
    """What comes back: its status, what that says, the schema of its body, and an example of it."""

    status: str
    about: str
    schema: Document | None
    example: str


@dataclass(frozen=True, slots=True)
class Described:
    """The description as its pages need it: operations by tag, and schemas."""

    about: str
    tags: Mapping[str, tuple[str, Sequence[OperationShown]]]
    operations: Mapping[str, OperationShown]
    schemas: Mapping[str, Document]


@get("/docs", sync_to_thread=True)
def docs(request: AnyRequest) -> Response[str]:
    """List what can be asked."""
    return page(request, "docs.html", api=_described(service_of(request).description.body))


@get("/docs/{name:str}", sync_to_thread=True)
def operation(request: AnyRequest, name: FromPath[str]) -> Response[str]:
    """Give one operation."""
    found = _described(service_of(request).description.body).operations.get(name)
    return page(request, "operation.html", one=found) if found else not_there(request, t(_NOT_THERE))


@get("/docs/schemas/{name:str}", sync_to_thread=True)
def schema(request: AnyRequest, name: FromPath[str]) -> Response[str]:
    """Give one schema."""
    found = _described(service_of(request).description.body).schemas.get(name)
    return page(request, "schema.html", name=name, schema=found) if found else not_there(request, t(_NOT_THERE))


@get("/problems", sync_to_thread=True)
def problem_codes(request: AnyRequest) -> Response[str]:
    """List the codes of problems."""
    return page(request, "problems.html", codes=CODES, of_errors=OF_ERRORS, one="")


@get("/problems/{code:str}", sync_to_thread=True)
def problem_code(request: AnyRequest, code: FromPath[str]) -> Response[str]:
    """Tell what one code means, and what to do."""
    shown, of_errors = ({code: known[code]} if code in known else {} for known in (CODES, OF_ERRORS))
    if shown or of_errors:
        return page(request, "problems.html", codes=shown, of_errors=of_errors, one=code)
    return not_there(request, t("There is no problem of that name. The page of problems lists all."))


@lru_cache(maxsize=2)
def _described(body: bytes) -> Described:
    """The description read; it is the same for as long as the rules are."""
    told: Document = msgspec.json.decode(body)
    operations = [
        _operation(method, path, entry[method])
        for path, entry in told["paths"].items()
        for method in _METHODS
        if method in entry
    ]
    tags: dict[str, tuple[str, list[OperationShown]]] = {one["name"]: (one["description"], []) for one in told["tags"]}
    for one, tag in operations:
        tags[tag][1].append(one)
    return Described(
        about=told["info"]["description"],
        tags=tags,
        operations={one.id: one for one, _ in operations},
        schemas=told["components"]["schemas"],
    )


def _operation(method: str, path: str, told: Document) -> tuple[OperationShown, str]:
    content = (told.get("requestBody") or {}).get("content") or {}
    body: Document = next(iter(content.values()), {})
    shown = OperationShown(
        id=told["operationId"],
        method=method.upper(),
        path=path,
        summary=told["summary"],
        about=told["description"],
        key=bool(told.get("security")) and {} not in told["security"],
        parameters=told.get("parameters") or [],
        body=body.get("schema"),
        example=_example(body),
        replies=[_reply(status, one) for status, one in told["responses"].items()],
    )
    return shown, told["tags"][0]


def _reply(status: str, told: Document) -> ReplyShown:
    content: Document = next(iter((told.get("content") or {}).values()), {})
    said = told["description"]
    about = HTTPStatus(int(status)).phrase if said == "OK" and status.isdigit() else said
    return ReplyShown(status, about, content.get("schema"), _example(content))


def _example(content: Document) -> str:
    """The first example of a body, as it is sent."""
    examples: Any = content.get("examples") or {}
    value: Json = next((one.get("value") for one in examples.values()), None)
    return "" if value is None else value if isinstance(value, str) else json.dumps(value, indent=2, ensure_ascii=False)


def handlers() -> list[HTTPRouteHandler]:
    """Return the routes of these pages."""
    return [docs, operation, schema, problem_codes, problem_code]
