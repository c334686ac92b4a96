"""Replies made smaller for callers who can read them so: a page of a thousand items is a tenth as large.

A compressed reply has an entity tag of its own, as RFC 9110 (8.8.3) wants of another representation: the plain one's
with a mark, which is taken off what callers send back.
"""

import gzip
from http import HTTPStatus
from typing import Any, Final, cast

from anyio import to_thread
from litestar.types import ASGIApp, Message, Receive, Scope, Send

SMALLEST: Final = 1_000
"""Bytes: what is smaller goes in one packet either way."""
_LARGE: Final = 50_000
"""Bytes that are compressed beside the event loop: a millisecond's work."""
_LEVEL: Final = 4
_KINDS: Final = (b"application/json", b"application/problem+json", b"text/", b"application/x-ndjson", b"image/svg+xml")
_MARK: Final = b'-gz"'
_HAS: Final = b"if-none-match"
_SENT_BACK: Final = frozenset({b"if-match", _HAS})
_VARIES: Final = (b"vary", b"Accept-Encoding")


class Compressing:
    """An application whose larger replies are compressed where the caller takes them so."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request."""
        headers = dict(cast(Any, scope)["headers"])
        had = headers.get(_HAS, b"")
        if any(_MARK in headers.get(name, b"") for name in _SENT_BACK):
            cast(Any, scope)["headers"] = [_unmarked(*pair) for pair in cast(Any, scope)["headers"]]
        takes = _takes_gzip(headers.get(b"accept-encoding", b""))
        await self._app(scope, receive, _Sending(send, had).send if takes or _MARK in had else send)


class _Sending:
    """One reply on its way out; `had` are the tags, as they were sent back, of what the caller has."""

    def __init__(self, send: Send, had: bytes) -> None:
        self._send, self._had, self._start = send, had, cast(Any, None)

    async def send(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self._start = message
        elif self._start is None:
            await self._send(message)
        else:
            start, self._start = self._start, None
            await self._begin(start, cast(Any, message))

    async def _begin(self, start: Any, message: Any) -> None:
        """Send the head, once it is known how large a reply in one piece is."""
        body = message.get("body", b"")
        whole = not message.get("more_body") and len(body) >= SMALLEST
        if start["status"] == HTTPStatus.NOT_MODIFIED:
            marked = [_marked(*pair) for pair in start["headers"]]
            if any(name.lower() == b"etag" and tag in self._had for name, tag in marked):
                start["headers"] = [*marked, _VARIES]
        elif whole and _is_text(start["headers"]):
            packed = _pack(body) if len(body) < _LARGE else await to_thread.run_sync(_pack, body)
            start["headers"] = [
                *(_marked(*pair) for pair in start["headers"] if pair[0].lower() != b"content-length"),
                (b"content-length", str(len(packed)).encode()),
                (b"content-encoding", b"gzip"),
                _VARIES,
            ]
            message = {**message, "body": packed}
        await self._send(start)
        await self._send(message)


def _pack(body: bytes) -> bytes:
    return gzip.compress(body, _LEVEL, mtime=0)


def _takes_gzip(accepted: bytes) -> bool:
    """Whether `Accept-Encoding` lists gzip, and not as what is refused."""
    for one in accepted.lower().split(b","):
        name, _, quality = one.partition(b";")
        if name.strip() in (b"gzip", b"*"):
            return quality.replace(b" ", b"") not in (b"q=0", b"q=0.0", b"q=0.00", b"q=0.000")
    return False


def _is_text(headers: Any) -> bool:
    told = {name.lower(): value for name, value in headers}
    return b"content-encoding" not in told and told.get(b"content-type", b"").startswith(_KINDS)


def _marked(name: bytes, value: bytes) -> tuple[bytes, bytes]:
    return (name, value[:-1] + _MARK) if name.lower() == b"etag" and value.endswith(b'"') else (name, value)


def _unmarked(name: bytes, value: bytes) -> tuple[bytes, bytes]:
    return (name, value.replace(_MARK, b'"')) if name.lower() in _SENT_BACK else (name, value)
