"""The HTTP server that fitsvc uses against two others: `PYTHONPATH=tests python -m bench.bench_servers`.

Each serves the same two applications in a process of its own with one worker, all asked in turn over kept connections:
one that gives prebuilt bytes, where all that is spent is the HTTP server's, and fitsvc, asked what it has answered
before. Told is the server's processor time a request. The others come with `pip install granian hypercorn`.
"""

import importlib
import multiprocessing
import socket
import tempfile
from collections.abc import Iterator
from typing import Any, Final

import msgspec
import uvicorn
import uvloop
from litestar.types import Receive, Scope, Send

from bench.bench_service import CONNECTIONS, PER_ROUND, PLAIN, Client, used
from bench.measuring import SMALL, Group, Row, show, taken
from bench.questions import questions
from fitsvc.answers.answering import Answerer
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.service.app import create_app
from fitsvc.service.protocol import protocol
from fitsvc.service.settings import Settings
from fitsvc.store.database import Database, upgrade

ROUNDS: Final = 4 if SMALL else 12
COMMAND: Final = "bench.bench_servers"
BYTES, BUILT = b"{}" * 1_000, "/prebuilt"


class Both:
    """Prebuilt bytes on one path, fitsvc on all others."""

    def __init__(self, app: Any) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Give the bytes, or hand the request on."""
        if scope.get("path") != BUILT:
            await self._app(scope, receive, send)
            return
        await receive()
        headers = [(b"content-type", b"application/json"), (b"content-length", str(len(BYTES)).encode())]
        await send({"type": "http.response.start", "status": 200, "headers": headers})
        await send({"type": "http.response.body", "body": BYTES, "more_body": False})


def by_uvicorn(app: Any, port: int) -> None:
    """Serve as `fitsvc serve` does."""
    http = protocol(Settings().header_seconds)
    uvicorn.run(app, port=port, http=http, log_level="error", access_log=False)


def by_granian(app: Any, port: int) -> None:
    """Serve in this process by a server that reads HTTP in compiled code."""
    granian = importlib.import_module("granian.server.embed")
    interface = importlib.import_module("granian.constants").Interfaces.ASGI
    server = granian.Server(app, port=port, interface=interface, log_enabled=False)
    uvloop.run(server.serve())


def by_hypercorn(app: Any, port: int) -> None:
    """Serve by one that speaks HTTP/2 and 3 too."""
    config = importlib.import_module("hypercorn.config").Config()
    config.bind = [f"127.0.0.1:{port}"]
    config.loglevel = "ERROR"
    uvloop.run(importlib.import_module("hypercorn.asyncio").serve(app, config))


SERVERS: Final = {"uvicorn, as fitsvc uses it": by_uvicorn, "granian": by_granian, "hypercorn": by_hypercorn}


def serve(name: str, port: int, folder: str) -> None:
    """Run one of them."""
    app = create_app(Database(f"sqlite:///{folder}/bench.db"), Answerer(load_rulebook(data_dir("rules"))))
    SERVERS[name](Both(app), port)


def groups() -> Iterator[Group]:
    """Prebuilt bytes, and answers asked before, by each server."""
    bodies = [msgspec.json.encode(one) for one in questions(PER_ROUND * CONNECTIONS, 10)]
    with tempfile.TemporaryDirectory() as folder:
        upgrade(f"sqlite:///{folder}/bench.db")
        started = {name: _started(name, folder) for name in SERVERS}
        try:
            for what, path in (("prebuilt bytes", BUILT), ("`POST /v1/answers`, asked before", "/v1/answers")):
                rows = _asked_of(started, path, bodies)
                yield Group(f"{what}, by three HTTP servers", COMMAND, rows)
        finally:
            for process, _ in started.values():
                process.terminate()
                process.join()


def _started(name: str, folder: str) -> tuple[Any, int]:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    process = multiprocessing.get_context("spawn").Process(target=serve, args=(name, port, folder), daemon=True)
    process.start()
    return process, port


def _asked_of(started: dict[str, tuple[Any, int]], path: str, bodies: list[bytes]) -> list[Row]:
    took: dict[str, list[tuple[float, float]]] = {name: [] for name in started}
    for _ in range(ROUNDS + 1):
        for name, (process, port) in started.items():
            client = Client(port)  # new ones each round: an idle one is closed by some while the others are asked
            before = used(process.pid)
            wall = 1 / client.round(path, bodies, PLAIN)
            took[name].append(((used(process.pid) - before) / (PER_ROUND * CONNECTIONS), wall))
            for one in client.sockets:
                one.close()
    rows = list[Row]()
    for name, found in took.items():
        processor, clock = zip(*found[1:], strict=True)
        rows.append(Row("beside" if rows else "ours", name, taken(processor, clock)))
    return rows


def main() -> None:
    """Measure and print."""
    show(groups())


if __name__ == "__main__":
    main()
