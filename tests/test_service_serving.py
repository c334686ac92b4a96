"""The service as a process of its own: starting, answering, and stopping without losing a request."""

import gc
import http.client
import json
import os
import shutil
import signal
import socket
import threading
from collections import Counter
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
import uvicorn
from demo_world import SEED, answerer
from served import BODY, Served, ask, connected, reply
from waiting import LONGEST, until

from fitsvc.language.problems import ProblemsFound
from fitsvc.loading.load import load_file
from fitsvc.service.serving import COLLECTED, _config, _listen, serve
from fitsvc.service.settings import Settings
from fitsvc.store.api_keys import create_key
from fitsvc.store.database import Database
from fitsvc.store.errors import NotMigrated

CROWD = 500
HEAD = (
    f"POST /v1/answers HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\nContent-Length: {len(BODY)}\r\n"
)
SHARE = 2
"""Requests a minute that a caller may send."""


@pytest.fixture
def served(url: str, tmp_path: Path) -> Iterator[Served]:
    """Give a running server on a free port of this machine only."""
    server = Served(url, tmp_path / "server.log")
    yield server
    server.end()


@pytest.fixture(scope="module")
def standing(migrated: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[int]:
    """Give the port of a server for all tests that leave it as it is."""
    folder = tmp_path_factory.mktemp("standing")
    shutil.copy(migrated, folder / "fitsvc.db")
    server = Served(f"sqlite:///{folder / 'fitsvc.db'}", folder / "server.log")
    yield server.port()
    server.end()


@pytest.mark.parametrize("sent", [signal.SIGTERM, signal.SIGINT])
def test_a_request_in_flight_is_finished(served: Served, sent: signal.Signals) -> None:
    """A signal between the halves of a request: it is answered, new connections are not, and the exit code is 0."""
    port = served.port()
    head = f"{HEAD}Expect: 100-continue\r\n\r\n".encode()
    with socket.create_connection(("127.0.0.1", port), LONGEST) as connection:
        connection.sendall(head)
        assert connection.recv(100).startswith(b"HTTP/1.1 100 ")  # the service waits for the body
        connection.sendall(BODY[:20])
        served.process.send_signal(sent)
        until(lambda: _is_closed(port), "the server to take no more connections")
        assert served.process.poll() is None
        connection.sendall(BODY[20:])
        with closing(http.client.HTTPResponse(connection)) as response:
            response.begin()
            assert response.status == 200
            assert json.loads(response.read())["outcome"]
    assert served.process.wait(LONGEST) == 0
    assert "Traceback" not in served.log.read_text()


def _is_closed(port: int) -> bool:
    try:
        socket.create_connection(("127.0.0.1", port), LONGEST).close()
    except OSError:
        return True
    return False


def test_a_body_far_too_large_is_answered(standing: int) -> None:
    """A caller who sends 30 MB hears that it is too much, as a problem document, and not a broken connection."""
    headers = {"Content-Type": "application/json", "Connection": "close"}
    response, body = reply(standing, "POST", "/v1/answers", b" " * 30_000_000, headers)
    assert (response.status, response.getheader("content-type")) == (413, "application/problem+json")
    assert "larger than" in json.loads(body)["detail"]


def test_many_callers_at_once_are_all_answered(standing: int) -> None:
    """Answers to many at the same time are the same bytes."""
    found = list[tuple[int, bytes]]()
    threads = [threading.Thread(target=lambda: found.extend(ask(standing) for _ in range(5))) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(found) == 40
    assert len(set(found)) == 1
    assert found[0][0] == 200


def test_a_crowd_is_answered_or_told_to_come_back(served: Served) -> None:
    """Five hundred ask at the same time, each on a connection of its own: none is left without a whole reply.

    When they have left, the server holds no more files and connections open than before.
    """
    port, folder = served.port(), Path(f"/proc/{served.process.pid}/fd")
    assert ask(port)[0] == 200
    before, asked = len(list(folder.iterdir())), f"{HEAD}Connection: close\r\n\r\n".encode() + BODY
    statuses = Counter[int]()
    with connected(port, CROWD) as crowd:
        for one in crowd:
            one.sendall(asked)
        for one in crowd:
            with one, closing(http.client.HTTPResponse(one)) as response:
                response.begin()
                assert response.read().endswith(b"}")
                assert response.status == 200 or response.headers["retry-after"], response.status
                statuses[response.status] += 1
    assert set(statuses) <= {200, 503} and statuses[200] >= 256
    until(lambda: len(list(folder.iterdir())) <= before, "the connections to be let go of")


def test_an_end_under_load_leaves_no_reply_half_sent(served: Served) -> None:
    """Callers ask over and over when the signal comes: each gets whole replies, then none, and never a part of one."""
    port, whole = served.port(), list[int]()
    broken = list[Exception]()

    def keep_asking() -> None:
        try:
            while True:
                status, body = ask(port)
                assert status == 200 and json.loads(body)["outcome"]
                whole.append(status)
        except ConnectionError:  # nobody listens any more, or let go of who had not been answered
            return
        except Exception as error:
            broken.append(error)

    threads = [threading.Thread(target=keep_asking) for _ in range(16)]
    for thread in threads:
        thread.start()
    until(lambda: len(whole) > 50, "the callers to be at it")
    served.process.send_signal(signal.SIGTERM)
    for thread in threads:
        thread.join()
    assert broken == []
    assert served.process.wait(LONGEST) == 0
    assert "Traceback" not in served.log.read_text()


def test_the_server_names_nothing_of_itself(standing: int) -> None:
    """No header tells which server it is, and a path is decoded once."""
    response, body = reply(standing, "GET", "/v1/accessories/%252F")
    assert "`%2F`" in json.loads(body)["detail"]
    assert response.getheader("server") is None
    assert response.getheader("x-content-type-options") == "nosniff"


def test_workers_share_address_index_and_counts(url: str, tmp_path: Path) -> None:
    """Two processes answer on one address over one mapped index and count together.

    One that dies is replaced, and a signal to the first ends all of them.
    """
    rows = (SEED / "accessories.csv").read_text("utf-8").splitlines(keepends=True)
    (tmp_path / "accessories.csv").write_text("".join(rows[:4]), "utf-8")
    with closing(Database(url)) as database:
        load_file(database, answerer().reader, tmp_path / "accessories.csv")
    server = Served(url, tmp_path / "server.log", workers=2)
    try:
        port = server.port()
        first = until(lambda: _workers_over_index(server, 2), "both workers to have the index")
        assert len({file for files in first.values() for file in files}) == len(first[min(first)])
        asked = 20
        assert [ask(port)[0] for _ in range(asked)] == [200] * asked
        counted = rf'fitsvc_requests_total{{method="POST",route="/v1/answers",status="200"}} {asked}.0'
        until(lambda: counted in _text(port, "/metrics"), "the last request, counted once it is answered, to be told")
        os.kill(min(first), signal.SIGKILL)
        until(lambda: len(set(_workers_over_index(server, 2) or ()) - set(first)) == 1, "another in its place")
        assert [ask(port)[0] for _ in range(asked)] == [200] * asked
        server.process.send_signal(signal.SIGTERM)
        assert server.process.wait(LONGEST) == 0
        assert "Traceback" not in server.log.read_text()
    finally:
        server.end()


def _workers_over_index(server: Served, count: int) -> dict[int, set[str]] | None:
    """The files of the index that each worker has mapped; None until so many have, and one has as many as another."""
    pid = server.process.pid
    told = Path(f"/proc/{pid}/task/{pid}/children").read_text()
    files = {int(child): _mapped(int(child)) for child in told.split()}
    return files if len(files) == count and all(files.values()) and len(set(map(len, files.values()))) == 1 else None


def _mapped(pid: int) -> set[str]:
    lines = Path(f"/proc/{pid}/maps").read_text().splitlines()
    return {line.split()[-1] for line in lines if line.endswith(".arrow")}


def _text(port: int, path: str) -> str:
    return reply(port, "GET", path)[1].decode()


@pytest.mark.parametrize(("proxy", "known"), [("127.0.0.1", True), ("127.0.0.0/8", True), ("192.0.2.1", False)])
def test_who_asks_through_a_proxy_has_a_share_of_their_own(url: str, tmp_path: Path, proxy: str, known: bool) -> None:
    """A proxy that is trusted says for whom it asks, by what it wrote itself, the last; nobody else is believed."""
    server = Served(url, tmp_path / "server.log", proxies=[proxy], per_minute=SHARE)

    def asked(told: str) -> int:
        return reply(server.port(), "GET", "/v1/vehicles", headers={"X-Forwarded-For": told})[0].status

    try:
        assert [asked(f"198.51.100.{number}, 203.0.113.7") for number in range(SHARE + 1)] == [200] * SHARE + [429]
        assert asked("203.0.113.8") == (200 if known else 429)
    finally:
        server.end()


def test_what_is_no_proxy_is_told(url: str) -> None:
    """A name, and a network that is none: the address is asked for."""
    for wrong in ("proxy.example", "10.0.0.5/24"):
        with pytest.raises(ProblemsFound, match="is not the address of a proxy"):
            serve("127.0.0.1", 0, url, settings=Settings(proxies=(wrong,)))


@pytest.mark.parametrize("host", ["0.0.0.0", "::"])
def test_no_open_door_without_a_key(url: str, host: str) -> None:
    """Beyond this machine nothing is served before there is a key to keep callers from changing things."""
    with pytest.raises(ProblemsFound) as found:
        serve(host, 0, url)
    assert "fitsvc key create NAME" in found.value.problems[0].help


def test_with_a_key_the_door_opens(url: str, tmp_path: Path) -> None:
    """Once there is a key, all addresses are listened on, and nothing is open that its operator does not open."""
    database = Database(url)
    with database.session() as session:
        create_key(session, "yard")
    database.close()
    server = Served(url, tmp_path / "server.log", "0.0.0.0")
    try:
        assert ask(server.port())[0] == 401
        server.process.terminate()
        assert server.process.wait(LONGEST) == 0
    finally:
        server.end()


def test_a_port_that_is_taken_is_told(url: str) -> None:
    """A port in use, one that is none, and a host that is none are told as what they are."""
    busy = pytest.raises(ProblemsFound, match=r"cannot listen on 127\.0\.0\.1")
    with socket.create_server(("127.0.0.1", 0)) as taken, busy:
        serve("127.0.0.1", taken.getsockname()[1], url)
    with pytest.raises(ProblemsFound, match="is not a port"):
        serve("127.0.0.1", 70_000, url)
    with pytest.raises(ProblemsFound, match="is not an address"):
        serve("nowhere.invalid", 0, url)


def test_idle_connections_outlive_a_balancers() -> None:
    """A balancer lets go after 60 s, as is usual, and must be the first to: else it sends into a closed connection."""
    assert _config(None, Settings()).timeout_keep_alive > 60
    assert _config(None, Settings(keep_alive=90)).timeout_keep_alive == 90


def test_small_pieces_are_sent_at_once() -> None:
    """The event loop switches off the waiting for more (40 ms a response) only where the socket names TCP."""
    with _listen("127.0.0.1", 0) as listening, socket.create_connection(listening.getsockname()):
        accepted, _ = listening.accept()
        with accepted:
            assert accepted.proto == socket.IPPROTO_TCP


def test_tables_come_first(tmp_path: Path) -> None:
    """A database without tables is told before anything is served."""
    with pytest.raises(NotMigrated, match="fitsvc db upgrade"):
        serve("127.0.0.1", 0, f"sqlite:///{tmp_path / 'none.db'}")


def test_what_serving_sets_is_given_back(url: str, monkeypatch: pytest.MonkeyPatch, none_set_aside: None) -> None:
    """Serving that ends leaves the process's own handlers, and its collector of garbage, as they were.

    While it serves the collector passes over what was there at the start: a whole collection holds all requests up.
    """

    def own(*_: object) -> None:
        """Take a signal that comes too early or too late."""

    before, over = signal.signal(signal.SIGTERM, own), threading.Event()
    usual, serving = gc.get_threshold(), list[tuple[int, tuple[int, int, int]]]()
    run = uvicorn.Server.run

    def looked_at(server: uvicorn.Server, sockets: list[socket.socket] | None = None) -> None:
        serving.append((gc.get_freeze_count(), gc.get_threshold()))
        run(server, sockets)

    monkeypatch.setattr(uvicorn.Server, "run", looked_at)

    def stop() -> None:
        while not over.wait(0.5):
            os.kill(os.getpid(), signal.SIGTERM)

    stopping = threading.Thread(target=stop)
    stopping.start()
    try:
        serve("127.0.0.1", 0, url)
        assert signal.getsignal(signal.SIGTERM) is own
        [(put_aside, thresholds)] = serving
        assert put_aside > 10_000 and thresholds == COLLECTED
        assert not gc.get_freeze_count() and gc.get_threshold() == usual
    finally:
        over.set()
        stopping.join()
        signal.signal(signal.SIGTERM, before)
