"""Problem documents sent before the framework sees a request."""

from collections.abc import Sequence
from http import HTTPStatus
from typing import Any, Final

import msgspec
from litestar.types import Send

from fitsvc.service.codes import code_of, type_of

Headers = Sequence[tuple[bytes, bytes]]
CLOSE: Final = (b"connection", b"close")


async def refuse(send: Send, status: int, detail: str, headers: Headers = (), code: str = "") -> None:
    """Send a problem document of a status."""
    told = {
        "type": type_of(code or code_of(status)),
        "title": HTTPStatus(status).phrase,
        "status": status,
        "detail": detail,
    }
    body = msgspec.json.encode(told)
    start: Any = {
        "type": "http.response.start",
        "status": status,
        "headers": [
            (b"content-type", b"application/problem+json"),
            (b"content-length", str(len(body)).encode()),
            *headers,
        ],
    }
    await send(start)
    await send({"type": "http.response.body", "body": body, "more_body": False})
