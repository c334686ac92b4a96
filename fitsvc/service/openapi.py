"""The OpenAPI 3.1 document: made from the routes' operations and the vocabulary, so that it cannot lag behind.

The framework's own generator describes Python types, and the bodies here are described by the vocabulary.
"""

from collections.abc import Iterator, Mapping
from http import HTTPStatus
from typing import Final

import msgspec
from litestar import Litestar
from litestar.handlers import HTTPRouteHandler

import fitsvc
from fitsvc.answers.answering import Answerer
from fitsvc.document import Document
from fitsvc.language.problems import ProblemsFound
from fitsvc.rulebook.rules import Rulebook
from fitsvc.service import keys, selections
from fitsvc.service.documents import RecordKind
from fitsvc.service.examples import BODIES, KEYS, MISTAKEN, QUESTION, fit
from fitsvc.service.json_schema import reference, text
from fitsvc.service.operations import IF_NONE, Operation
from fitsvc.service.problems import MEDIA_TYPE, example
from fitsvc.service.queries import Parameter
from fitsvc.service.record_shapes import key_of, title
from fitsvc.service.settings import OPEN
from fitsvc.service.shapes import components

TAGS: Final = {
    "Answers": "Will this accessory work on this rig?",
    "Audits": "Is what a whole catalogue claims true, and what is missing?",
    "Description": "This document.",
    "Health": "For the platform the service runs on.",
    "Knowledge": "What answers rest on: rules, where they come from, and the vocabulary.",
    "Log": "Who wrote what.",
    "Observations": "Facts told or measured, one after the other, never changed.",
    "Plans": "Which parts would do all of this?",
    "Records": "Vehicles, receivers, mountings and what is sold under a SKU.",
    "Remarks": "What somebody holds against a rule, for whoever keeps the rules.",
    "Rigs": "Rigs kept under a name.",
    "Selections": "Which accessories of the catalogue work on this rig?",
}
_ABOUT: Final = (
    "Answers whether a hitch-mounted accessory, or a trailer, works on a vehicle with its receiver: with reasons, "
    "margins, limits, needs, and what to measure next where it cannot be told yet. Reading and answering may be open; "
    "changing what is stored needs an API key. Every failure is a problem document (RFC 9457)."
)
_SENT: Final = {
    "ETag": "The version of what is sent, for `If-Match` and `If-None-Match`.",
    "Location": "Where the new thing is found.",
}
_WRONG: Final = {
    400: "The body or the query cannot be read.",
    401: "The API key is missing, unknown or revoked.",
    403: "The API key may not do this.",
    404: "There is no such thing.",
    408: "The body did not come in time.",
    409: "Something stored stands in the way, or what is named is not stored.",
    412: "It was changed since it was read.",
    413: "The body is too large.",
    415: "The body is not sent as what it has to be.",
    422: "What the request says cannot be.",
    428: "`If-Match` is missing.",
    429: "More is asked than the caller's share.",
    500: "The service failed; its log says how.",
    503: "More is asked than can be answered, or the database cannot be used, now.",
    507: "The disk of the service is full.",
}


def describe(app: Litestar, answerer: Answerer) -> Document:
    """Return the description of an application's documented routes."""
    paths: dict[str, Document] = {}
    for path, handler, operation in documented(app):
        kind = handler.opt.get("kind")
        entry = paths.setdefault(_path(path, kind), {})
        for method in sorted(handler.http_methods):
            entry[method.lower()] = _operation(operation, kind, path, answerer)
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "fitsvc",
            "version": fitsvc.__version__,
            "description": _ABOUT,
            "contact": {"name": "Whoever runs this service"},
            "license": {"name": "Apache-2.0", "identifier": "Apache-2.0"},
        },
        "servers": [{"url": "/"}],
        "tags": [{"name": name, "description": about} for name, about in TAGS.items()],
        "paths": {path: dict(sorted(paths[path].items())) for path in sorted(paths)},
        "components": _components(answerer.rulebook),
    }


def documented(app: Litestar) -> Iterator[tuple[str, HTTPRouteHandler, Operation]]:
    """Yield each route handler that has an operation, with its path."""
    for route in app.routes:
        for handler in getattr(route, "route_handlers", ()):
            if isinstance(handler, HTTPRouteHandler) and "operation" in handler.opt:
                yield route.path_format, handler, handler.opt["operation"]


def _components(rulebook: Rulebook) -> Document:
    key = {"type": "apiKey", "in": "header", "name": keys.HEADER, "description": "Made with `fitsvc key create NAME`."}
    return {"schemas": components(rulebook), "securitySchemes": {"ApiKey": key}}


def _operation(operation: Operation, kind: RecordKind | None, path: str, answerer: Answerer) -> Document:
    words = _words(kind)
    body, gives = operation.body.format(**words), operation.gives.format(**words)
    document: Document = {
        "operationId": operation.id.format(**words),
        "summary": operation.summary.format(**words),
        "description": operation.about.format(**words),
        "tags": [operation.tag],
        "security": _security(operation),
        "parameters": [
            *(_path_parameter(name, operation, kind, fit(answerer)) for name in operation.path),
            *(_parameter(one, "query") for one in operation.query),
            *(_parameter(one, "header") for one in operation.headers),
        ],
    }
    if operation.deprecated:
        document["deprecated"] = True
    if body:
        content: Document = {"schema": reference(body)}
        content |= {"examples": {"example": {"value": BODIES[body]}}} if fit(answerer) else {}
        document["requestBody"] = {"required": True, "content": {"application/json": content}}
    if operation.uploads:
        content = {media: _upload(sent, fit(answerer)) for media, sent in operation.uploads.items()}
        document["requestBody"] = {"required": True, "content": content}
    document["responses"] = _responses(operation, gives, words, answerer)
    return document


def _responses(operation: Operation, gives: str, words: Mapping[str, str], answerer: Answerer) -> Document:
    done: Document = {"description": HTTPStatus(operation.status).phrase}
    if operation.sends:
        done["headers"] = {name: {"description": _SENT[name], "schema": {"type": "string"}} for name in operation.sends}
    if gives:
        done["content"] = {media: {"schema": reference(gives)} for media in (operation.media, *operation.also)}
    if gives == "Answered" and fit(answerer):
        value = msgspec.to_builtins(answerer.answer(QUESTION))
        done["content"][operation.media]["examples"] = {"example": {"value": value}}
    if gives == "Selection" and fit(answerer):
        value = msgspec.to_builtins(selections.example(answerer))
        done["content"][operation.media]["examples"] = {"example": {"value": value}}
    if operation.links:
        done["links"] = {
            name.format(**words): {"operationId": name.format(**words), "parameters": _linked(name, value, words)}
            for name, value in operation.links.items()
        }
    responses = {operation.status: done}
    responses |= {status: done | {"description": HTTPStatus(status).phrase} for status in operation.also_status}
    for status in sorted({*operation.errors, *_usual(operation)}):
        responses[status] = _failure(status, answerer)
    return {str(status): response for status, response in responses.items()}


def _upload(sent: str | None, shown: bool) -> Document:
    """Return how a file is sent, as the bytes it is; one that is text has an example that the rulebook can read."""
    examples: Document = {"examples": {"example": {"value": sent}}} if shown and sent is not None else {}
    return {"schema": text(minLength=1, format="binary")} | examples


def _linked(name: str, value: str, words: Mapping[str, str]) -> Document:
    found = {words.get("key", "id"): value.format(**words)}
    changes = name.startswith(("replace", "delete"))
    return found | ({"If-Match": "$response.header.ETag"} if changes else {})


def _failure(status: int, answerer: Answerer) -> Document:
    if status == 304:
        return {"description": "It is what the caller has.", "headers": {"ETag": {"schema": {"type": "string"}}}}
    content: Document = {"schema": reference("Problem")}
    if status == 400:
        content["examples"] = {"example": {"value": _mistaken(answerer)}}
    return {"description": _WRONG[status], "content": {MEDIA_TYPE: content}}


def _mistaken(answerer: Answerer) -> Document:
    """Return what a question with a mistake is answered with."""
    try:
        answerer.answer(MISTAKEN)
    except ProblemsFound as found:
        return example(found)
    raise AssertionError("the example of a mistake is none any more")


def _usual(operation: Operation) -> set[int]:
    """Return the failures that follow from what an operation reads and does."""
    statuses = {400, 500, 503}
    if operation.body:
        statuses |= {408, 413, 415, 422}
    if operation.query:
        statuses |= {422}
    if operation.body or operation.tag == "Selections":
        statuses |= {409}
    return statuses | ({401, 403} if operation.needs else set())


def _security(operation: Operation) -> list[Document]:
    """Return how a caller shows who it is; where an operator may open it, not at all is one way."""
    if operation.needs_key or operation.needs not in ("", *OPEN):
        return [{"ApiKey": []}]
    return [{}, {"ApiKey": []}] if operation.needs else []


def _parameter(one: Parameter, place: str) -> Document:
    document: Document = {
        "name": one.name,
        "in": place,
        "description": one.about,
        "required": one.required,
        "schema": dict(one.schema),
    }
    return document if one.example is None else document | {"example": one.example}


def _path_parameter(name: str, operation: Operation, kind: RecordKind | None, shown_too: bool) -> Document:
    """Return a parameter of a path, with an example of the demo's that is there, but for what no demo has yet."""
    shown, about = _key(name, kind), operation.path[name].format(**_words(kind))
    made = IF_NONE in operation.headers
    schema: Document = key_of(kind) if made else {"type": "string", "minLength": 1}
    told: Document = {"name": shown, "in": "path", "required": True, "description": about, "schema": schema}
    example = KEYS.get(name if name in ("rule", "sku") else kind.subject if kind else f"{operation.tag}/{name}")
    return told | {"example": example} if example and shown_too else told


def _path(path: str, kind: RecordKind | None) -> str:
    return path.replace("{key}", "{" + _key("key", kind) + "}")


def _key(name: str, kind: RecordKind | None) -> str:
    return name if name != "key" else kind.key if kind else "id"


def _words(kind: RecordKind | None) -> dict[str, str]:
    if kind is None:
        return {}
    one, many = kind.subject, kind.many
    return {"one": one, "many": many, "One": title(one), "Many": title(many), "key": kind.key}
