"""Answers over HTTP against the same bytes prebuilt: `PYTHONPATH=tests python -m bench.bench_service`.

One server process with one worker; in it, beside `POST /v1/answers`, a route that reads the same body and
returns the same bytes, built beforehand. One client process sends to both in turn, over eight kept
connections, questions with inline facts only.
"""

import multiprocessing
import socket
import tempfile
import time
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from statistics import median
from typing import Any

import msgspec
import uvicorn
from litestar import Response, post

from bench.questions import questions
from fitsvc.answers.answer import encode
from fitsvc.answers.answering import Answerer
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.service.app import create_app
from fitsvc.service.context import AnyRequest, service_in
from fitsvc.store.database import Database, upgrade

CONNECTIONS = 8
QUESTIONS = 60
ROUNDS = 25
PER_ROUND = 25
"""Batches a round; a batch is one request on each connection."""


def serve(port: int, url: str) -> None:
    """Run the server with both routes."""
    app = create_app(Database(url), Answerer(load_rulebook(data_dir("rules"))))
    answerer = service_in(app).answerer
    prebuilt = {msgspec.json.encode(q): encode(answerer.answer(q)) for q in questions(QUESTIONS)}

    @post("/prebuilt", status_code=200)
    async def built(request: AnyRequest) -> Response[bytes]:
        return Response(prebuilt[await request.body()], media_type="application/json")

    app.register(built)
    uvicorn.run(app, port=port, log_level="error", access_log=False)


class Client:
    """Kept connections that send one request each and then read every reply."""

    def __init__(self, port: int) -> None:
        self.port = port
        self.sockets = [self._connect() for _ in range(CONNECTIONS)]

    def _connect(self) -> socket.socket:
        for _ in range(200):
            try:
                found = socket.create_connection(("127.0.0.1", self.port))
                found.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                return found
            except OSError:
                time.sleep(0.1)
        raise SystemExit("the server did not start")

    def round(self, path: str, bodies: Sequence[bytes]) -> float:
        """Requests a second of one round."""
        start, count = time.perf_counter(), 0
        for batch in range(PER_ROUND):
            for i, connection in enumerate(self.sockets):
                body = bodies[(batch * CONNECTIONS + i) % len(bodies)]
                head = f"POST {path} HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\n"
                connection.sendall(f"{head}Content-Length: {len(body)}\r\n\r\n".encode() + body)
            for connection in self.sockets:
                status = _reply(connection)
                assert status == b"200", status
                count += 1
        return count / (time.perf_counter() - start)


def _reply(connection: socket.socket) -> bytes:
    received = b""
    while b"\r\n\r\n" not in received:
        received += connection.recv(65536)
    head, _, body = received.partition(b"\r\n\r\n")
    length = next(
        int(line.split(b":")[1]) for line in head.split(b"\r\n") if line.lower().startswith(b"content-length")
    )
    while len(body) < length:
        body += connection.recv(65536)
    return head.split(b" ", 2)[1]


def main() -> None:
    """Measure and print."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{Path(folder) / 'bench.db'}"
        upgrade(url)
        process = multiprocessing.get_context("spawn").Process(target=serve, args=(port, url), daemon=True)
        process.start()
        asked: list[dict[str, Any]] = questions(QUESTIONS)
        bodies = [msgspec.json.encode(question) for question in asked]
        answerer = Answerer(load_rulebook(data_dir("rules")))
        told = Counter(answerer.answer(question).outcome for question in asked)
        client = Client(port)
        for path in ("/v1/answers", "/prebuilt"):
            client.round(path, bodies)
        rates: dict[str, list[float]] = {"/v1/answers": [], "/prebuilt": []}
        for _ in range(ROUNDS):
            for path, found in rates.items():
                found.append(client.round(path, bodies))
        process.terminate()
        process.join()
    answers, prebuilt = (median(found) for found in rates.values())
    # Of rounds that follow each other, so that what slows the machine for a while slows both.
    ratio = median(ours / theirs for ours, theirs in zip(*rates.values(), strict=True))
    outcomes = ", ".join(f"{count} {outcome}" for outcome, count in told.most_common())
    print(f"answers: {outcomes}")
    print(f"{QUESTIONS} different questions, one worker, {CONNECTIONS} connections, medians of {ROUNDS} rounds in turn")
    print(f"prebuilt bytes         {prebuilt:8.0f} requests/s")
    print(f"POST /v1/answers       {answers:8.0f} requests/s {ratio:6.3f}   (at least 0.6)")


if __name__ == "__main__":
    main()
