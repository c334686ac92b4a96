"""The HTTP server's connections, with a limit to how long a request's headers may take."""

import asyncio
from typing import Any, cast

from uvicorn.protocols.http.auto import AutoHTTPProtocol


def protocol(header_seconds: float) -> type[asyncio.Protocol]:
    """Return the server's class of connections, which closes one whose headers take more than so many seconds."""

    class Timed(cast(Any, AutoHTTPProtocol)):  # type: ignore[misc]  # which class it is depends on what is installed
        """A connection on which a request that has begun has so many seconds to be told."""

        _late: asyncio.TimerHandle | None = None

        def connection_made(self, transport: asyncio.BaseTransport) -> None:
            super().connection_made(transport)
            self._wait()

        def data_received(self, data: bytes) -> None:
            super().data_received(data)
            if self._is_told():
                self._stop_waiting()
            elif self._late is None:
                self._wait()

        def connection_lost(self, exc: Exception | None) -> None:
            self._stop_waiting()
            super().connection_lost(exc)

        def _is_told(self) -> bool:
            """Whether a request has come whole and is being answered."""
            return self.cycle is not None and not self.cycle.response_complete

        def _wait(self) -> None:
            self._late = self.loop.call_later(header_seconds, self._give_up)

        def _stop_waiting(self) -> None:
            if self._late is not None:
                self._late.cancel()
                self._late = None

        def _give_up(self) -> None:
            self._late = None
            if not self._is_told():
                self.transport.close()

    return Timed
