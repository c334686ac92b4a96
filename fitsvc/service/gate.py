"""Who comes in: by what name a service is called, how a request is framed, from which pages, and how many at a time."""

from typing import Any, Final, cast

from litestar.types import ASGIApp, Message, Receive, Scope, Send

from fitsvc.service.limits import Limits
from fitsvc.service.metrics import Metrics
from fitsvc.service.refusals import CLOSE, Headers, refuse
from fitsvc.service.settings import Settings

PLATFORM: Final = frozenset({"/health/live", "/health/ready", "/metrics"})
"""What a platform asks is answered however much else is asked."""
_METHODS: Final = b"GET, HEAD, POST, PUT, DELETE, OPTIONS"
_MAY_SEND: Final = (
    b"Content-Type, X-API-Key, If-Match, If-None-Match, Idempotency-Key, X-Request-Id, Accept, Accept-Encoding"
)
_MAY_READ: Final = b"ETag, Location, Retry-After, RateLimit, RateLimit-Policy, X-Request-Id, Link"
_DAY: Final = b"86400"


class Gate:
    """An application that only what may come in reaches."""

    def __init__(self, app: ASGIApp, settings: Settings, metrics: Metrics) -> None:
        self._app, self._settings, self._inside = app, settings, 0
        self._metrics = metrics
        self._limits = Limits(settings.per_minute)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request in, or say why not."""
        headers = _headers(scope)
        if b"transfer-encoding" in headers and b"content-length" in headers:
            detail = "a request has `Content-Length` or `Transfer-Encoding`, never both: it is not sure where it ends"
            await refuse(send, 400, detail, [CLOSE], "ambiguous-end")
        elif not self._called(headers.get(b"host", b"")):
            detail = "this service does not go by the name in `Host`; its operator lists names with `--trusted-host`"
            await refuse(send, 421, detail)
        elif (crossing := self._crossing(headers)) and _asks_beforehand(scope, headers):
            await _allow(send, crossing)
        elif self._inside >= self._settings.inside and scope["path"] not in PLATFORM:
            detail = "more is asked at this moment than can be answered: ask again shortly"
            await refuse(send, 503, detail, [(b"retry-after", b"1"), *crossing])
        else:
            allowed, told = (True, ()) if scope["path"] in PLATFORM else self._limits.taken(scope, headers)
            if allowed:
                more = (*told, *crossing)
                await self._let_in(scope, receive, _telling(send, more) if more else send)
            else:
                wait = told[-1][1].rpartition(b"=")[2]
                await refuse(
                    send, 429, "more is asked than one caller's share", [(b"retry-after", wait), *told, *crossing]
                )

    async def _let_in(self, scope: Scope, receive: Receive, send: Send) -> None:
        self._inside += 1
        self._metrics.inside.inc()
        try:
            await self._app(scope, receive, send)
        finally:
            self._inside -= 1
            self._metrics.inside.dec()

    def _called(self, host: bytes) -> bool:
        """Whether a `Host` header names this service; the port is the listening socket's matter."""
        if not self._settings.hosts:
            return True
        name = host.decode("latin-1").lower()
        name = name.partition("]")[0] + "]" if name.startswith("[") else name.partition(":")[0]
        return name in self._settings.hosts

    def _crossing(self, headers: dict[bytes, bytes]) -> Headers:
        """The headers by which a browser lets another site's page read the response; none where it may not."""
        origin, allowed = headers.get(b"origin"), self._settings.origins
        if origin is None or not allowed or ("*" not in allowed and origin.decode("latin-1") not in allowed):
            return ()
        told = b"*" if "*" in allowed else origin
        allow = (b"access-control-allow-origin", told)
        return (allow, (b"access-control-expose-headers", _MAY_READ), (b"vary", b"Origin"))


def _headers(scope: Scope) -> dict[bytes, bytes]:
    return dict(cast(Any, scope)["headers"])


def _asks_beforehand(scope: Scope, headers: dict[bytes, bytes]) -> bool:
    return cast(Any, scope)["method"] == "OPTIONS" and b"access-control-request-method" in headers


async def _allow(send: Send, crossing: Headers) -> None:
    told = [
        *crossing,
        (b"access-control-allow-methods", _METHODS),
        (b"access-control-allow-headers", _MAY_SEND),
        (b"access-control-max-age", _DAY),
    ]
    start: Any = {"type": "http.response.start", "status": 204, "headers": told}
    await send(start)
    await send({"type": "http.response.body", "body": b"", "more_body": False})


def _telling(send: Send, more: Headers) -> Send:
    async def tell(message: Message) -> None:
        if message["type"] == "http.response.start":
            message["headers"] = [*message["headers"], *more]
        await send(message)

    return tell
