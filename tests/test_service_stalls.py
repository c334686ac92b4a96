"""No caller holds up the others: whatever is asked, however it is sent, and whoever leaves in the middle."""

import ast
import json
import shutil
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack, suppress
from pathlib import Path
from typing import Any, Final

import pytest
from demo_world import answerer
from litestar import Litestar
from litestar.testing import TestClient
from served import BODY, Served, connected, reply
from waiting import LONGEST, until

from fitsvc import service
from fitsvc.answers.answer import Answer
from fitsvc.answers.answering import Answerer
from fitsvc.answers.trying import Trying
from fitsvc.facts import Case
from fitsvc.service.examples import QUESTION
from fitsvc.service.threads import ANSWERS, INLINE, THREADS
from fitsvc.wanted import NotWanted, still_wanted, wanted_until

INSIDE = 20
OPEN: dict[str, dict[str, object]] = {part: {"facts": {}} for part in ("accessory", "load", "trailer", "ball")}
COSTLY = {"rig": {"receiver": {"facts": {}}, "adapters": [{"facts": {}}] * 4}, **OPEN}
"""The costliest question that random search has found: everything is open, behind four adapters."""


@pytest.fixture(scope="module")
def server(migrated: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """Give a running server that lets few in and waits for nobody."""
    folder = tmp_path_factory.mktemp("stalls")
    shutil.copy(migrated, folder / "fitsvc.db")
    running = Served(
        f"sqlite:///{folder / 'fitsvc.db'}", folder / "log", inside=INSIDE, header_seconds=1, body_seconds=1
    )
    yield running
    running.end()


def head(length: int | str, *more: str) -> bytes:
    """Return the head of a question of so many bytes."""
    lines = (
        "POST /v1/answers HTTP/1.1",
        "Host: localhost",
        "Content-Type: application/json",
        f"Content-Length: {length}",
        *more,
    )
    return "\r\n".join([*lines, "", ""]).encode()


def ask(port: int, document: object, blanks: int = 0) -> int:
    """Ask a question, with blanks behind it, and return the status."""
    body = json.dumps(document) + " " * blanks
    return reply(port, "POST", "/v1/answers", body, {"Content-Type": "application/json"})[0].status


def said(port: int, sent: bytes) -> bytes:
    """Send bytes on a connection of its own and return all that comes until it is closed."""
    with socket.create_connection(("127.0.0.1", port), LONGEST) as connection:
        connection.sendall(sent)
        found = b""
        while piece := connection.recv(65536):
            found += piece
    return found


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
@pytest.mark.parametrize(("query", "places"), [("", INLINE), ("?as_of=2026-05-09T14:30:00Z", ANSWERS)])
def test_health_answers_while_costly_questions_run(
    client: TestClient[Litestar], monkeypatch: pytest.MonkeyPatch, query: str, places: int
) -> None:
    """The loop is free while costly questions are worked on, more than there are threads for, and the store is at hand.

    It is order, not time: each is held where its answer is worked out until health has been asked and answered.
    """
    statuses, begun, let_go = list[int](), list[int](), threading.Event()
    answer = Answerer.answer

    def held(self: Answerer, *given: Any, **named: Any) -> Answer:
        begun.append(threading.get_ident())
        assert let_go.wait(LONGEST)
        return answer(self, *given, **named)

    def send(blanks: int) -> None:
        # No two bodies alike, as what was asked before is answered at once.
        body = json.dumps(COSTLY) + " " * blanks
        reply = client.post(f"/v1/answers{query}", content=body, headers={"content-type": "application/json"})
        statuses.append(reply.status_code)

    monkeypatch.setattr(Answerer, "answer", held)
    threads = [threading.Thread(target=send, args=(blanks,)) for blanks in range(THREADS + 2)]
    for thread in threads:
        thread.start()
    try:
        until(lambda: len(begun) == places, "all places for answers to be taken")
        for _ in threads:
            for path in ("/health/live", "/health/ready", "/v1/vehicles"):
                assert client.get(path).status_code == 200
        assert (len(set(begun)), statuses) == (places, [])
    finally:
        let_go.set()
        for thread in threads:
            thread.join()
    assert statuses == [200] * len(threads)


ON_THE_LOOP: Final = {
    "/health/live",
    "/metrics",
    "/openapi.json",
    "/speak/{code:str}",
    "/v1/needs",
    "/v1/rulebooks",
    "/v1/rules",
    "/v1/rules/{rule:path}",
    "/v1/vocabulary",
}
"""What is answered on the event loop: from memory, in some milliseconds, the first time too."""


def test_what_takes_long_to_make_is_made_beside_the_loop() -> None:
    """A page of the rulebook or the guide takes half a second when it is first asked for: nobody waits for that."""
    found = set[str]()
    for file in Path(service.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text("utf-8"))):
            told = {one.arg: one.value for one in node.keywords} if isinstance(node, ast.Call) else {}
            if isinstance(node, ast.Call) and ast.unparse(told.get("sync_to_thread", ast.Constant(None))) == "False":
                found.add(ast.literal_eval(node.args[0]))
    assert found == ON_THE_LOOP


def test_what_is_refused_for_want_of_room_says_when_to_come_back(server: Served) -> None:
    """While as many as are let in send slowly, another is answered 503 with `Retry-After`, and the platform is not."""
    port, slow = server.port(), list[socket.socket]()
    with ExitStack() as held:

        def refused() -> bytes | None:
            # Nobody is waited for longer than a second: on a busy machine the first may be gone when the last comes.
            for _ in range(INSIDE):
                slow.append(held.enter_context(socket.create_connection(("127.0.0.1", port), LONGEST)))
                slow[-1].sendall(head(100) + b"{")
            told = said(port, head(len(BODY), "Connection: close") + BODY)
            return told if b" 503 " in told.partition(b"\r\n")[0] else None

        told = until(refused, "the service to be full")
        assert b"retry-after: 1" in told.lower()
        assert b"application/problem+json" in told
        assert b" 200 " in said(port, b"GET /health/live HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n")
        # A body that does not come in time is not waited for any longer.
        assert b" 408 " in slow[0].recv(4096)
    until(lambda: ask(port, QUESTION) == 200, "the service to have room again")


def test_half_a_head_is_not_waited_for(server: Served) -> None:
    """A connection whose headers do not come is closed, the first request's and a later one's."""
    assert said(server.port(), b"GET /health/live HTTP/1.1\r\nHost: loc") == b""
    with socket.create_connection(("127.0.0.1", server.port()), LONGEST) as connection:
        connection.sendall(b"GET /health/live HTTP/1.1\r\nHost: localhost\r\n\r\n")
        assert b" 200 " in connection.recv(65536)
        connection.sendall(b"GET /health/live HTTP/1.1\r\nHos")
        while connection.recv(65536):
            pass


def test_a_request_whose_end_is_not_sure_is_refused(server: Served) -> None:
    """With both `Content-Length` and `Transfer-Encoding` nothing behind it is taken as a request (RFC 9112, 6.1)."""
    smuggled = b"0\r\n\r\nGET /health/live HTTP/1.1\r\nHost: localhost\r\n\r\n"
    found = said(server.port(), head(4, "Transfer-Encoding: chunked") + smuggled)
    assert found.count(b"HTTP/1.1 ") == 1
    assert b" 400 " in found


def test_two_lengths_are_refused(server: Served) -> None:
    """Two lengths that differ: where the body ends is not sure (RFC 9112, 6.3), so what stands behind is not read."""
    found = said(
        server.port(), head(4, "Content-Length: 60") + b"null" + b"GET /health/live HTTP/1.1\r\nHost: a\r\n\r\n"
    )
    assert found.count(b"HTTP/1.1 ") == 1
    assert b" 400 " in found


@pytest.mark.parametrize(
    "path",
    [
        "/counter/../../etc/passwd",
        "/counter/..%2f..%2fetc%2fpasswd",
        "/counter/%2e%2e/%2e%2e/etc/passwd",
        "/guide/..%5c..%5cetc%5cpasswd",
        "/counter/%252e%252e%252fetc%252fpasswd",
        "//etc/passwd",
        "/guide//etc/passwd",
        "/v1/audits/..%2f..%2fetc/summary",
        "/v1/audits/aud_..%2f..%2fetc/files",
        "/docs/..%2f..%2fetc%2fpasswd",
    ],
)
def test_no_path_leads_out_of_the_house(server: Served, path: str) -> None:
    """However the way up is written, there is nothing."""
    found = said(server.port(), f"GET {path} HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n".encode())
    assert found.split()[1] in (b"404", b"405", b"400"), found[:200]
    assert b"root:" not in found


def test_a_crowd_of_half_requests_is_borne(server: Served) -> None:
    """Five hundred begin a request at once and send no more: others are answered, and they are let go of."""
    port = server.port()
    with connected(port, 500) as crowd:
        for one in crowd:
            # On a busy machine the first is let go of before the last has begun.
            with suppress(ConnectionError):
                one.sendall(b"GET /health/live HTTP/1.1\r\nHost: loc")
        assert ask(port, QUESTION) == 200
        for one in crowd:
            with suppress(ConnectionResetError):
                assert one.recv(100) == b""


def test_only_its_own_names_are_answered_here(server: Served) -> None:
    """On the loopback address a page of another site that calls its name by this address reads nothing."""
    for name, status in (("localhost", b" 200 "), ("127.0.0.1:80", b" 200 "), ("shop.example", b" 421 ")):
        sent = f"GET /health/live HTTP/1.1\r\nHost: {name}\r\nConnection: close\r\n\r\n".encode()
        assert status in said(server.port(), sent), name


def test_a_caller_who_leaves_ends_the_work(server: Served) -> None:
    """Questions that wait for a thread while their callers leave are not begun: they are counted under 499."""
    port, body = server.port(), json.dumps(COSTLY).encode()
    metrics = b"GET /metrics HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n"
    for _ in range(2):
        for _ in range(INSIDE):
            with socket.create_connection(("127.0.0.1", port), LONGEST) as connection:
                connection.sendall(head(len(body)) + body)
        until(lambda: ask(port, {}) == 422, "room again")
    until(lambda: b'route="/v1/answers",status="499"' in said(port, metrics), "callers who left to be counted")


def test_work_that_nobody_waits_for_is_not_wanted() -> None:
    """Within a caller's time work goes on, and ends at the next step once the caller has left."""
    left = threading.Event()
    still_wanted()
    with wanted_until(left):
        still_wanted()
        left.set()
        with pytest.raises(NotWanted):
            still_wanted()
    still_wanted()


def test_an_answer_is_left_off_in_the_middle(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whose caller leaves while what to learn next is looked for is not looked for any further.

    What had been found by then spoils nothing: asked again, the question is answered as it was before.
    """
    question = {"rig": {"receiver": {"facts": {}}, "adapters": [{"facts": {}}]}, "accessory": {"facts": {}}}
    before, left, tried = answerer().answer(question), threading.Event(), list[int]()
    judging = Trying.judging

    def counted(self: Trying, number: int) -> Callable[[Case], str]:
        judge = judging(self, number)

        def judged(case: Case) -> str:
            tried.append(number)
            if len(tried) == 50:
                left.set()
            return judge(case)

        return judged

    monkeypatch.setattr(Trying, "judging", counted)
    with wanted_until(left), pytest.raises(NotWanted):
        answerer().answer(question)
    assert len(tried) == 50
    assert answerer().answer(question) == before
    assert len(tried) > 100


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_a_large_body_that_fails_is_walked_beside_the_loop(client: TestClient[Litestar]) -> None:
    """A quarter of a megabyte of brackets is refused while another caller is answered all along."""
    body, done = b"[" + b"[]," * 80_000 + b"[]]", threading.Event()

    def send() -> None:
        assert client.post("/v1/answers", content=body, headers={"content-type": "application/json"}).status_code == 400
        done.set()

    sending = threading.Thread(target=send)
    sending.start()
    asked = 0
    while not done.is_set():
        assert client.get("/health/live").status_code == 200
        asked += 1
    sending.join()
    assert asked > 1
