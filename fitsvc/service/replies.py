"""Responses: JSON bytes, pages of a list, and what has not changed since the caller read it."""

from collections.abc import Mapping, Sequence
from hashlib import blake2b
from typing import Final
from urllib.parse import quote

import msgspec
from litestar import Response
from litestar.enums import MediaType
from sqlmodel import SQLModel

from fitsvc.document import Document, Json
from fitsvc.service.context import AnyRequest, service_of
from fitsvc.service.etags import Versioned, etag, unchanged
from fitsvc.tongues import ENGLISH, tongue

_REVALIDATE: Final = {"Cache-Control": "no-cache"}


def reply(document: Json, status: int = 200, headers: Mapping[str, str] | None = None) -> Response[bytes]:
    """Return a document as JSON; bytes are JSON already."""
    body = document if isinstance(document, bytes) else msgspec.json.encode(document)
    return Response(body, status_code=status, media_type=MediaType.JSON, headers=dict(headers or {}))


def tagged(request: AnyRequest, document: Json, tag: str) -> Response[bytes]:
    """Return a document with its entity tag, or 304 where the caller has it already."""
    tag = tag if tongue() is ENGLISH else f'{tag[:-1]}-{tongue().code}"'
    headers = _REVALIDATE | {"ETag": tag}
    if unchanged(request, tag):
        return Response(b"", status_code=304, headers=headers, media_type=MediaType.JSON)
    return reply(document, headers=headers)


def by_bytes(request: AnyRequest, body: bytes, about: Sequence[str]) -> Response[bytes]:
    """Return JSON with a tag of its bytes, which is the same for as long as they are, and what a cache files it under.

    `about` names what it is made from, so that a cache on the way can let go of all that has to do with one thing.
    """
    return cached(request, body, f'"{blake2b(body, digest_size=16).hexdigest()}"', about)


def cached(request: AnyRequest, body: bytes, tag: str, about: Sequence[str]) -> Response[bytes]:
    """Return JSON with its tag, what a cache files it under, and how long one may keep it, as the operator has it."""
    response = tagged(request, body, tag)
    response.headers["Cache-Tag"] = ",".join(quote(one, safe=":") for one in about)
    if seconds := service_of(request).max_age:
        whose = "public" if "ask" in service_of(request).public else "private"
        response.headers["Cache-Control"] = f"{whose}, max-age={seconds}, stale-while-revalidate={seconds}"
    return response


def stored(thing: Versioned, document: Json, location: str = "") -> Response[bytes]:
    """Return what was stored, created when it has a location, with its entity tag."""
    headers = {"ETag": etag(thing)}
    return reply(document, 201, headers | {"Location": location}) if location else reply(document, headers=headers)


def page(found: Sequence[Document], limit: int, key: str) -> Response[bytes]:
    """Return a page of documents, found with one beyond the limit to know whether more follow."""
    items = list(found[:limit])
    after = items[-1][key] if len(found) > limit else None
    return reply({"items": items, "next": after}, headers=_REVALIDATE)


def told_of(thing: SQLModel) -> Document:
    """Return a stored thing as the log keeps it."""
    told: Document = msgspec.to_builtins(thing.model_dump())
    return told
