"""Requests that are sent again, since nobody knows whether the first came through: done once, answered twice."""

from collections.abc import Callable
from hashlib import blake2b
from typing import Final

import msgspec
from litestar import Response
from litestar.enums import MediaType
from sqlmodel import Session

from fitsvc.document import Document, Json
from fitsvc.language.problems import Problem
from fitsvc.service.context import AnyRequest, service_of
from fitsvc.service.keys import key_name
from fitsvc.service.operations import IDEMPOTENCY
from fitsvc.service.problems import problem
from fitsvc.store.database import Database
from fitsvc.store.errors import StoreError
from fitsvc.store.tables import KeptReply
from fitsvc.store.written import keep_reply, kept_reply
from fitsvc.tongues import t

_KEPT_HEADERS: Final = ("ETag", "Location")


def sent_once(request: AnyRequest) -> bool:
    """Whether a request came with an idempotency key."""
    return request.headers.get(IDEMPOTENCY.name.lower()) is not None


def once(request: AnyRequest, document: Json, make: Callable[[Session], Response[bytes]]) -> Response[bytes]:
    """Make something in one transaction, unless a request with the same idempotency key of this caller has made it.

    The reply is kept in the transaction that it tells of, so that both are there or neither is. A problem is raised
    where the key came with another request. Of two that come at the same time the one that is later in the store has
    the reply of the other.
    """
    token, database = request.headers.get(IDEMPOTENCY.name.lower()), service_of(request).database
    if token is None:
        with database.session() as session:
            return make(session)
    by, asked = key_name(request), _digest(request, document)
    try:
        return _once(database, by, token, asked, make)
    except StoreError:
        with database.session() as session:
            kept = kept_reply(session, by, token)
        if kept is None:
            raise
        return _again(kept, asked)


def _once(
    database: Database, by: str, token: str, asked: str, make: Callable[[Session], Response[bytes]]
) -> Response[bytes]:
    """Make something and keep its reply, unless one is kept already; StoreError where another was quicker."""
    with database.session() as session:
        kept = kept_reply(session, by, token)
        if kept is not None:
            return _again(kept, asked)
        reply = make(session)
        headers: Document = {name: reply.headers[name] for name in _KEPT_HEADERS if name in reply.headers}
        body = bytes(reply.content).decode()
        status = reply.status_code or 201
        keep_reply(session, KeptReply(by=by, token=token, request=asked, status=status, headers=headers, body=body))
        return reply


def _again(kept: KeptReply, asked: str) -> Response[bytes]:
    if kept.request != asked:
        detail, help = t("this `Idempotency-Key` came with another request before"), t("use a new one for each")
        one = Problem(detail, help, parameter=IDEMPOTENCY.name)
        raise problem(422, f"{detail}: {help}", [one], code="repeated")
    return Response(kept.body.encode(), status_code=kept.status, headers=kept.headers, media_type=MediaType.JSON)


def _digest(request: AnyRequest, document: Json) -> str:
    told = msgspec.json.encode((request.method, request.url.path, document), order="deterministic")
    return blake2b(told, digest_size=16).hexdigest()
