"""What is done to every request and response at the outermost edge: HEAD, headers that guard, counting."""

import re
from time import perf_counter
from typing import Any, Final, cast
from urllib.parse import unquote

from litestar.enums import ScopeType
from litestar.types import ASGIApp, HTTPResponseBodyEvent, Message, Receive, Scope, Send

from fitsvc.service.leaving import LEFT
from fitsvc.service.logs import REQUEST, log_request, request_id
from fitsvc.service.metrics import Metrics

_GUARDING: Final = [(b"x-content-type-options", b"nosniff")]
_KEYED: Final = (b"/v1/accessories/", b"/v1/rigs/", b"/records/", b"/edit/")
_SLASH: Final = re.compile("%2f", re.IGNORECASE)
INNER_SLASH: Final = "\ue000"
"""What stands for a slash within a part of a path until the part is read: no SKU has it, as it is not printable."""


class Edge:
    """The application as the server sees it."""

    def __init__(self, app: ASGIApp, metrics: Metrics) -> None:
        self._app, self._metrics = app, metrics

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request, which for HEAD is a GET whose body stays here."""
        if scope["type"] != ScopeType.HTTP:
            await self._app(scope, receive, send)
            return
        method, started, status = scope["method"], perf_counter(), LEFT
        request = request_id(dict(scope["headers"]).get(b"x-request-id", b""))
        REQUEST.set(request)
        cast(Any, scope)["request_id"] = request
        elsewhere = _without_slash(scope)
        _keep_slashes(scope)
        inner = cast(Scope, {**scope, "method": "GET"}) if method == "HEAD" else scope

        async def send_on(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                message["headers"] = [
                    *_allowing(inner, message["headers"]),
                    *_GUARDING,
                    *_deprecated(inner),
                    (b"x-request-id", request.encode()),
                ]
            elif message["type"] == "http.response.body" and method == "HEAD":
                message = cast(HTTPResponseBodyEvent, {**message, "body": b""})
            await send(message)

        try:
            await (_moved(elsewhere, send_on) if elsewhere else self._app(inner, receive, send_on))
        except Exception:
            status = 500
            raise
        finally:
            took = perf_counter() - started
            self._metrics.request(method, _route(inner), status, took)
            log_request(_told(inner, request, method, status, took))


def _told(scope: Any, request: str, method: str, status: int, took: float) -> dict[str, Any]:
    """A request as it is logged: by its route, never its path or query, which may hold what is nobody's business."""
    holder = scope.get("state", {}).get("holder")
    told = {"request": request, "method": method, "route": _route(scope), "status": status, "ms": round(took * 1e3, 3)}
    told |= {"key": holder.name} if holder is not None else {}
    return told | ({"outcome": scope["outcome"]} if "outcome" in scope else {})


def _keep_slashes(scope: Any) -> None:
    """Let a `/` within a SKU or an id, sent as `%2F`, stand for itself and not part the path."""
    raw = (scope.get("raw_path") or b"").partition(b"?")[0]  # some servers leave the query on it
    if b"%2f" in raw.lower() and raw.startswith(_KEYED):
        scope["path"] = unquote(_SLASH.sub(INNER_SLASH, raw.decode("ascii", "replace")))


def _without_slash(scope: Any) -> bytes:
    """The address of which one with a slash at its end is a second name, with its query; nothing where it has none."""
    path: bytes = (scope.get("raw_path") or scope["path"].encode()).partition(b"?")[0]
    if not path.endswith(b"/") or not path.strip(b"/"):
        return b""
    query: bytes = scope["query_string"]
    return b"/" + path.strip(b"/") + (b"?" + query if query else b"")


async def _moved(where: bytes, send: Send) -> None:
    """Send to the one name that a thing has, by the same method: a cache keeps it once."""
    headers = [(b"location", where), (b"content-length", b"0")]
    await send({"type": "http.response.start", "status": 308, "headers": headers})
    await send({"type": "http.response.body", "body": b"", "more_body": False})


def _deprecated(scope: Any) -> list[tuple[bytes, bytes]]:
    """What a reply of an operation says that is given up."""
    handler = scope.get("route_handler")
    operation = handler.opt.get("operation") if handler is not None else None
    return operation.deprecated.headers if operation is not None and operation.deprecated else []


def _allowing(scope: Any, headers: Any) -> list[tuple[bytes, bytes]]:
    """Complete `Allow`: the framework may name one route's methods only, and HEAD goes wherever GET does."""
    given = list(headers)
    named = {word for name, value in given if name.lower() == b"allow" for word in value.decode().split(", ")}
    if not named:
        return given
    template = scope.get("path_template")
    routes = (one for one in scope["litestar_app"].routes if getattr(one, "path_format", None) == template)
    methods = named.union(*(one.methods for one in routes))
    methods |= {"HEAD"} if "GET" in methods else set()
    others = [(name, value) for name, value in given if name.lower() != b"allow"]
    return [*others, (b"allow", ", ".join(sorted(methods)).encode())]


def _route(scope: Any) -> str:
    return str(scope.get("path_template") or "none")


class Slashes:
    """An application to which each part of a path comes with the slashes that are within it."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request, whose path has been parted."""
        given = cast(Any, scope).get("path_params") or {}
        for name, value in given.items():
            if isinstance(value, str) and INNER_SLASH in value:
                given[name] = value.replace(INNER_SLASH, "/")
        await self._app(scope, receive, send)
