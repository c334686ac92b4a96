"""Requests that are pinned to a rulebook: answered by that one, whichever is in force, or by none.

A shop so goes on by the rulebook it knows until it has compared, and no two of its pages are of different ones. One
that is not in force is made ready when it is first asked for, and kept beside what answers. It is one at a time: each
takes some seconds to be made and as much room as what answers, so another takes its place only when nobody has asked by
it for a while.
"""

import asyncio
import logging
from collections.abc import Callable
from dataclasses import dataclass
from time import monotonic
from typing import Any, Final
from urllib.parse import parse_qs

from anyio import CapacityLimiter, to_thread
from litestar import Litestar

from fitsvc.service.operations import RETRY_SECONDS, WAITS
from fitsvc.service.published import Followed, Served, own_digest, served_by
from fitsvc.service.queries import PIN
from fitsvc.service.turns import Turn
from fitsvc.store.errors import StoreError

HELD_SECONDS: Final = float(RETRY_SECONDS)
"""How long one is kept for those who ask by it now and then, before another may take its place."""
_log = logging.getLogger("fitsvc.service")


@dataclass(frozen=True, slots=True)
class Pinned:
    """Which rulebook requests may be pinned to, and how an application is made that does nothing but answer by it."""

    published: Followed
    make: Callable[[Served], Litestar]

    def keeps(self, digest: str) -> bool:
        """Whether the rulebook of a digest is kept here."""
        return digest == own_digest() or self.published.keeps(digest)

    def made(self, digest: str) -> tuple[Served, Litestar] | None:
        """The application of a digest that is kept; None where it cannot be read here."""
        served = self.published.load(digest) if self.published.keeps(digest) else served_by(None)
        return None if served is None else (served, self.make(served))


class OneBeside:
    """The application beside the one that answers, by which pinned requests are answered."""

    def __init__(self, pinned: Pinned, now: Callable[[], float] = monotonic) -> None:
        self._pinned, self._now = pinned, now
        self._one, self._making = CapacityLimiter(1), asyncio.Lock()
        self._turn: Turn | None = None
        self._asked = 0.0

    async def of(self, scope: Any, otherwise: Turn) -> Turn:
        """What answers a request: the one that it is pinned to, or the other, which refuses one that it is not."""
        digest = _digest(scope["query_string"])
        if not digest or digest == otherwise.digest:
            return otherwise
        async with self._making:
            if self._turn is None or self._turn.digest != digest:
                try:
                    changed = await self._change(digest)
                except StoreError as error:
                    _log.warning("%s", error)
                    changed = False
                if not changed:
                    scope[WAITS] = changed is False
                    return otherwise
            self._asked = self._now()
            assert self._turn is not None
            return self._turn

    async def _change(self, digest: str) -> bool | None:
        """Let another rulebook answer: whether it does by now; None where it never will."""
        if not await to_thread.run_sync(self._pinned.keeps, digest, limiter=self._one):
            return None
        if self._turn is not None and self._now() - self._asked < HELD_SECONDS:
            return False
        made = await to_thread.run_sync(self._pinned.made, digest, limiter=self._one)
        if made is None:
            return None
        new = Turn(*made)
        await new.begin()
        before, self._turn = self._turn, new
        if before is not None:
            await before.end()
        return True

    async def end(self) -> None:
        """End it."""
        if self._turn is not None:
            await self._turn.end()


def _digest(query: bytes) -> str:
    """The digest in a query; nothing where it has none, or is not one, which is refused where queries are read."""
    if f"{PIN.name}=".encode() not in query:
        return ""
    told = parse_qs(query.decode("latin-1")).get(PIN.name, [""])
    try:
        return str(PIN.read(told[0])) if len(told) == 1 else ""
    except ValueError:
        return ""
