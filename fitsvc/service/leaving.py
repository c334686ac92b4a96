"""A caller who leaves ends the work for them, and a body that does not come ends the wait for it."""

from asyncio import Task, create_task
from threading import Event
from time import monotonic
from typing import Any, cast

from anyio import CancelScope, fail_after
from litestar.types import ASGIApp, Message, Receive, Scope, Send

from fitsvc.service.problems import problem
from fitsvc.service.settings import SLOWEST
from fitsvc.tongues import t
from fitsvc.wanted import wanted_until

LEFT = 499
"""The status under which a request is counted whose caller has left; nobody is sent it."""


class Leaving:
    """An application whose work for a request ends when its caller has left."""

    def __init__(self, app: ASGIApp, body_seconds: float) -> None:
        self._app, self._seconds = app, body_seconds

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request for as long as it is wanted."""
        watched = _Watched(receive, send, self._seconds)
        if cast(Any, scope)["method"] in ("GET", "HEAD"):
            watched.await_end()
        try:
            with watched.scope, wanted_until(watched.left):
                await self._app(scope, watched.receive, watched.send)
        finally:
            watched.end()


class _Watched:
    """One request being handled; once its body is there, whatever is received next says that the caller has left."""

    def __init__(self, receive: Receive, send: Send, seconds: float) -> None:
        self._receive, self._send = receive, send
        self._seconds, self._started, self._bytes = seconds, monotonic(), 0
        self.scope, self.left = CancelScope(), Event()
        self._answered = False
        self._watching: Task[Any] | None = None

    async def receive(self) -> Any:
        """Give the next piece of the body, and when it is whole begin to look whether the caller stays."""
        if self._watching is not None:
            return await self._watching
        message = await self._in_time()
        if message["type"] == "http.request" and not message.get("more_body"):
            self.await_end()
        return message

    async def _in_time(self) -> Any:
        """The next message: what of the body has come by now must have come at a bearable pace."""
        due = self._started + self._seconds + self._bytes / SLOWEST
        try:
            with fail_after(max(due - monotonic(), 0.0)):
                message = cast(Any, await self._receive())
        except TimeoutError:
            headers = {"Connection": "close"}
            raise problem(408, t("the body did not come in time: send it in one go"), headers=headers) from None
        self._bytes += len(message.get("body", b""))
        return message

    async def send(self, message: Message) -> None:
        """Send on; after the last piece nothing is left to end. Who has left is not sent what ended the work."""
        if self.left.is_set():
            return
        if message["type"] == "http.response.body" and not message.get("more_body"):
            self._answered = True
        await self._send(message)

    def await_end(self) -> None:
        """Begin to look whether the caller stays."""
        self._watching = create_task(self._watch())

    async def _watch(self) -> Any:
        message = cast(Any, await self._receive())
        while message["type"] == "http.request":  # the empty body of a GET
            message = cast(Any, await self._receive())
        if not self._answered:
            self.left.set()
            self.scope.cancel()
        return message

    def end(self) -> None:
        """Look no longer."""
        if self._watching is not None:
            self._watching.cancel()
