"""Answers over HTTP against the same bytes prebuilt: `PYTHONPATH=tests python -m bench.bench_service`.

One server process with one worker. In it stand beside `POST /v1/answers` two routes that take the same bodies and give
the same bytes, built before in another process, so that the server has heard of none of the questions: one that
answers in the very place where plain questions are answered, behind what every request passes and before the framework
sees it, and one that the framework answers. Each is held against answers that go the same way; a body whose type is
told with its character set is answered by the framework. Of questions that are sent before it, those that leave
something open are handed on to the framework all the same; how many do not, a note tells. The server is set up as the
command sets up its own, with all compiled; those by the framework are asked when it has heard the others. One client
sends to both in turn over eight kept connections. Told is the processor time of all the server's threads a request, and
the clock's, which on one core has the client's in it.
"""

import multiprocessing
import os
import socket
import tempfile
import time
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import count
from pathlib import Path
from typing import Any

import msgspec
import uvicorn
from litestar import Response, post
from litestar.types import Receive, Scope, Send

from bench.measuring import SMALL, Group, Row, Time, show, taken
from bench.questions import questions
from fitsvc.answers.answer import Answer, encode
from fitsvc.answers.answering import Answerer
from fitsvc.answers.question import read_question
from fitsvc.answers.records import NoRecords
from fitsvc.answers.shelf import Stock
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.service import serving
from fitsvc.service.app import create_app
from fitsvc.service.context import AnyRequest
from fitsvc.service.settings import Settings
from fitsvc.service.shortcut import Shortcut, _settled
from fitsvc.store.database import Database, upgrade

CONNECTIONS = 8
PER_ROUND = 25
"""Batches a round; a batch is one request on each connection."""
ROUNDS = 4 if SMALL else 12
COMMAND = "bench.bench_service"
PLAIN, FRAMED = "application/json", "application/json; charset=utf-8"
BEFORE, THROUGH = "/prebuilt/before", "/prebuilt/through"
Prebuilt = Mapping[bytes, bytes]


class Before:
    """An application with prebuilt answers given before the framework sees the request."""

    def __init__(self, app: Any, prebuilt: Prebuilt) -> None:
        self._app, self._prebuilt = app, prebuilt

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer from what is prebuilt, or hand the request on."""
        if scope.get("path") != BEFORE:
            await self._app(scope, receive, send)
            return
        message: Any = await receive()
        told = self._prebuilt[message["body"]]
        headers = [(b"content-type", b"application/json"), (b"content-length", str(len(told)).encode())]
        await send({"type": "http.response.start", "status": 200, "headers": headers})
        await send({"type": "http.response.body", "body": told, "more_body": False})


def serve(port: int, folder: Path) -> None:
    """Run the server with all routes."""
    prebuilt = dict(msgspec.msgpack.decode((folder / "prebuilt").read_bytes(), type=list[tuple[bytes, bytes]]))
    answerer = Answerer(load_rulebook(data_dir("rules")))
    answerer.prepare()
    app = create_app(Database(f"sqlite:///{folder / 'bench.db'}"), answerer)

    @post(THROUGH, status_code=200)
    async def through(request: AnyRequest) -> Response[bytes]:
        return Response(prebuilt[await request.body()], media_type="application/json")

    app.register(through)
    _put_before(app.asgi_handler, prebuilt)
    serving._run(uvicorn.Server(serving._config(app, Settings())), [serving._listen("127.0.0.1", port)], None)


def _put_before(outer: Any, prebuilt: Prebuilt) -> None:
    """Put the prebuilt answers where the short way begins."""
    while not isinstance(outer._app, Shortcut):
        outer = outer._app
    outer._app = Before(outer._app, prebuilt)


class Client:
    """Kept connections that send one request each and then read every reply.

    They are made when they are first used: a server closes one on which nothing is asked for some seconds.
    """

    def __init__(self, port: int) -> None:
        self.port = port
        self.sockets = list[socket.socket]()

    def _connect(self) -> socket.socket:
        for _ in range(600):
            try:
                found = socket.create_connection(("127.0.0.1", self.port))
                found.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                return found
            except OSError:
                time.sleep(0.1)
        raise SystemExit("the server did not start")

    def close(self) -> None:
        """Let go of all connections; new ones are made when they are next used."""
        while self.sockets:
            self.sockets.pop().close()

    def round(self, path: str, bodies: Sequence[bytes], kind: str = PLAIN) -> float:
        """Requests a second of one round."""
        self.sockets = self.sockets or [self._connect() for _ in range(CONNECTIONS)]
        start, done = time.perf_counter(), 0
        for batch in range(PER_ROUND):
            for i, connection in enumerate(self.sockets):
                body = bodies[(batch * CONNECTIONS + i) % len(bodies)]
                head = f"POST {path} HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: {kind}\r\n"
                connection.sendall(f"{head}Content-Length: {len(body)}\r\n\r\n".encode() + body)
            for connection in self.sockets:
                status = _reply(connection)
                assert status == b"200", status
                done += 1
        return done / (time.perf_counter() - start)


def _reply(connection: socket.socket) -> bytes:
    received = b""
    while b"\r\n\r\n" not in received:
        received += _more(connection)
    head, _, body = received.partition(b"\r\n\r\n")
    length = next(
        int(line.split(b":")[1]) for line in head.split(b"\r\n") if line.lower().startswith(b"content-length")
    )
    while len(body) < length:
        body += _more(connection)
    return head.split(b" ", 2)[1]


def _more(connection: socket.socket) -> bytes:
    received = connection.recv(65536)
    if not received:
        raise ConnectionError("the server closed a connection that was to be kept")
    return received


def used(process: int) -> float:
    """Seconds of the processor that all threads of a process have had (Linux)."""
    told = (file.read_text() for file in Path(f"/proc/{process}/task").glob("*/schedstat"))
    return sum(int(one.split()[0]) for one in told) / 1e9


class Side:
    """One route, asked in rounds, and what each request of a round took the server and the clock."""

    def __init__(self, path: str, kind: str) -> None:
        self.path, self.kind = path, kind
        self.processor, self.wall = list[float](), list[float]()

    def ask(self, client: Client, process: int, bodies: Sequence[bytes]) -> None:
        """One round."""
        before, requests = used(process), PER_ROUND * CONNECTIONS
        self.wall.append(1 / client.round(self.path, bodies, self.kind))
        self.processor.append((used(process) - before) / requests)

    def time(self) -> Time:
        """What a request takes; the first round, in which both warm up, is left out."""
        return taken(self.processor[1:], self.wall[1:])


def asked() -> dict[str, list[bytes]]:
    """Bodies of questions by how they are asked, no two alike but those asked again."""
    sent = (msgspec.json.encode(one) for seed in count(10) for one in questions(2_000, seed))
    seen, found = set[bytes](), list[bytes]()
    need = (ROUNDS + 1) * PER_ROUND * CONNECTIONS
    for body in sent:
        if body not in seen:
            seen.add(body)
            found.append(body)
        if len(found) == 2 * need:
            break
    return {"before": found[:need], "through": found[need:]}


def groups() -> Iterator[Group]:
    """Never asked, on either way; asked again."""
    answerer, bodies = Answerer(load_rulebook(data_dir("rules"))), asked()
    answers = {body: answerer.answer(msgspec.json.decode(body)) for of in bodies.values() for body in of}
    told = {way: outcomes(answers[body] for body in of) for way, of in bodies.items()}
    plain = sum(_is_plain(answerer, body) for body in bodies["before"])
    told["before"] += f"; {plain / len(bodies['before']):.0%} are answered before it, the others leave something open"
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        upgrade(f"sqlite:///{folder / 'bench.db'}")
        (folder / "prebuilt").write_bytes(msgspec.msgpack.encode([(body, encode(of)) for body, of in answers.items()]))
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        server = multiprocessing.get_context("spawn").Process(target=serve, args=(port, folder), daemon=True)
        server.start()
        assert server.pid is not None
        try:
            yield from _asked_of(Client(port), server.pid, bodies, told)
        finally:
            server.terminate()
            server.join()


def outcomes(of: Iterable[Answer]) -> str:
    """How many answers come to each outcome."""
    return ", ".join(f"{many:,} {one}" for one, many in Counter(one.outcome for one in of).most_common())


def _is_plain(answerer: Answerer, body: bytes) -> bool:
    """Whether a question is answered before the framework, by a store that sells nothing and was looked at lately."""
    question = read_question(msgspec.json.decode(body), answerer.reader, NoRecords())
    return _settled(answerer.engine.evaluate(question.case), Stock([], {}))


def _asked_of(
    client: Client, process: int, bodies: Mapping[str, list[bytes]], told: Mapping[str, str]
) -> Iterator[Group]:
    per, ways = PER_ROUND * CONNECTIONS, {"before": (PLAIN, BEFORE), "through": (FRAMED, THROUGH)}
    words = {"before": "before the framework", "through": "by the framework"}
    again, sent = Side("/v1/answers", PLAIN), Side(BEFORE, PLAIN)
    for way, (kind, path) in ways.items():
        ours, built = Side("/v1/answers", kind), Side(path, kind)
        for start in range(0, len(bodies[way]), per):
            for side in (ours, built):
                side.ask(client, process, bodies[way][start : start + per])
            if way == "before":
                for side in (again, sent):
                    side.ask(client, process, bodies[way][:per])
        rate = built.time().middle / ours.time().middle
        yield Group(
            f"`POST /v1/answers`, never asked, {words[way]}",
            COMMAND,
            [
                Row("ours", "fitsvc, the server's share of a request", ours.time()),
                Row("floor", "the same bytes prebuilt, the same way", built.time()),
            ],
            notes=[f"{rate:.2f} of the prebuilt route's requests a second of the server; answers: {told[way]}."],
        )
    rows = [
        Row("ours", "fitsvc, an answer that is kept", again.time()),
        Row("floor", "the same bytes prebuilt, the same way", sent.time()),
    ]
    yield Group("`POST /v1/answers`, asked again", COMMAND, rows, again=True)


def main() -> None:
    """Measure and print."""
    print(f"{os.cpu_count()} cores, {CONNECTIONS} connections, {ROUNDS} rounds of {PER_ROUND * CONNECTIONS} requests")
    show(groups())


if __name__ == "__main__":
    main()
