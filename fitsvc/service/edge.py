"""What is done to every request and response at the outermost edge: HEAD, headers that guard, counting."""

from time import perf_counter
from typing import Any, Final, cast

from litestar.enums import ScopeType
from litestar.types import ASGIApp, HTTPResponseBodyEvent, Message, Receive, Scope, Send

from fitsvc.service.leaving import LEFT
from fitsvc.service.metrics import Metrics

_GUARDING: Final = [(b"x-content-type-options", b"nosniff")]


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
        inner = cast(Scope, {**scope, "method": "GET"}) if method == "HEAD" else scope

        async def send_on(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                message["headers"] = [*_allowing(inner, message["headers"]), *_GUARDING]
            elif message["type"] == "http.response.body" and method == "HEAD":
                message = cast(HTTPResponseBodyEvent, {**message, "body": b""})
            await send(message)

        try:
            await self._app(inner, receive, send_on)
        except Exception:
            status = 500
            raise
        finally:
            self._metrics.request(method, _route(inner), status, perf_counter() - started)


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
