"""Changing the rulebook of a running service for another, between two requests.

Everything that rests on a rulebook is one application, made whole beside the one that answers. A request is answered
by the application that it came to, to its end; the next one by the new. Whatever fails on the way leaves the old.
"""

import asyncio
import gc
import logging
from collections.abc import Callable
from contextlib import suppress
from typing import Any, Final

from anyio import CapacityLimiter, to_thread
from litestar import Litestar

from fitsvc.service.pinned import OneBeside, Pinned
from fitsvc.service.published import Followed, Served
from fitsvc.service.turns import Turn

EVERY: Final = 1.0
"""Seconds between looks at the store, each of one row."""
_log = logging.getLogger("fitsvc.service")


class Changeover:
    """An application that follows the rulebook in force; what is pinned to another is answered by that one."""

    def __init__(
        self,
        published: Followed,
        first: Served,
        make: Callable[[Served], Litestar],
        every: float = EVERY,
        pinned: Pinned | None = None,
    ) -> None:
        self._published, self._make, self._every = published, make, every
        self._turn = (first, make(first))
        self._now: Turn | None = None
        self._one = CapacityLimiter(1)  # beside the threads that requests are worked on in
        self._ending: set[asyncio.Task[None]] = set()
        self._beside = OneBeside(pinned) if pinned else None

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """Handle one request by the application that answers now."""
        if scope["type"] == "lifespan":
            await self._live(receive, send)
        else:
            assert self._now is not None
            turn = await self._beside.of(scope, self._now) if self._beside else self._now
            await turn.answer(scope, receive, send)

    async def _live(self, receive: Any, send: Any) -> None:
        await receive()
        try:
            await self.begin()
        except Exception as error:
            await send({"type": "lifespan.startup.failed", "message": str(error)})
            raise
        following = asyncio.create_task(self._follow())
        await send({"type": "lifespan.startup.complete"})
        await receive()
        following.cancel()
        with suppress(asyncio.CancelledError):
            await following
        await self.end()
        await send({"type": "lifespan.shutdown.complete"})

    async def begin(self) -> None:
        """Let the first application answer."""
        now = Turn(*self._turn)
        await now.begin()
        self._now = now

    async def end(self) -> None:
        """End every application."""
        if self._now is not None:
            await self._now.end()
        if self._beside is not None:
            await self._beside.end()
        await asyncio.gather(*self._ending)

    async def _follow(self) -> None:
        while True:
            await asyncio.sleep(self._every)
            try:
                await self.look()
            except Exception:  # a store that is away for a while; what answers goes on
                _log.exception("the rulebook in force could not be looked up")

    async def look(self) -> None:
        """Look which rulebook is in force, and change over to it if it is another that can be served."""
        assert self._now is not None
        made = await to_thread.run_sync(self._other, self._now.digest, limiter=self._one)
        if made is None:
            return
        new, old = Turn(*made), self._now
        await new.begin()
        self._now = new
        gc.unfreeze()  # what was set aside when serving began may go with the old one
        _log.info("the rulebook in force is now %s", new.digest)
        ending = asyncio.create_task(old.end())
        self._ending.add(ending)
        ending.add_done_callback(self._ending.discard)

    def _other(self, digest: str) -> tuple[Served, Litestar] | None:
        wanted = self._published.in_force()
        if wanted is None or wanted == digest:
            return None
        served = self._published.load(wanted)
        return None if served is None else (served, self._make(served))
