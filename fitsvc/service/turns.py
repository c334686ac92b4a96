"""One application among those that follow each other, while it answers, and until what came to it is answered."""

import asyncio
import logging

from litestar import Litestar
from litestar.types import Receive, Scope, Send

from fitsvc.service.published import Served

_log = logging.getLogger("fitsvc.service")


class Turn:
    """One application by its rulebook: begun, asked, and ended once everything inside is answered."""

    def __init__(self, served: Served, app: Litestar) -> None:
        self.digest, self.app = served.digest, app
        self._inside, self._is_over, self._empty = 0, asyncio.Event(), asyncio.Event()
        self._task: asyncio.Task[None] | None = None

    async def begin(self) -> None:
        """Start what the application keeps running; raises what it raises."""
        begun: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        self._task = asyncio.create_task(self._run(begun))
        await begun

    async def _run(self, begun: asyncio.Future[None]) -> None:
        try:
            async with self.app.lifespan():
                begun.set_result(None)
                await self._is_over.wait()
                if self._inside:
                    await self._empty.wait()
        except Exception as error:
            if begun.done():
                _log.exception("an application did not end as it should")
            else:
                begun.set_exception(error)

    async def answer(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, whole."""
        self._inside += 1
        try:
            await self.app(scope, receive, send)
        finally:
            self._inside -= 1
            if not self._inside and self._is_over.is_set():
                self._empty.set()

    async def end(self) -> None:
        """Take no more, and end once everything inside is answered."""
        self._is_over.set()
        if self._task is not None:
            await self._task
