"""Audits by servers that are killed, run out of disk, lose callers or share a store: nothing lost or done twice."""

import os
import resource
import signal
import socket
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
from audit_world import audit, undated
from demo_world import answerer
from served import NO_TLS, Served, ask
from waiting import LONGEST, until

from fitsvc.audits.rigs import read_rigs
from fitsvc.service.audits.folder import AuditFolder
from fitsvc.store.api_keys import create_key
from fitsvc.store.database import Database
from fitsvc.synthetic.planted import CATALOGUE, RIGS, write_planted

_ITEMS = 1_500


class Caller:
    """Somebody with a key who audits the one catalogue."""

    def __init__(self, port: int, key: dict[str, str], made: Path) -> None:
        self.port, self.made, self.key = port, made, key

    def request(self, method: str, path: str, **given: Any) -> httpx.Response:
        """Ask for something of audits."""
        headers = self.key | given.pop("headers", {})
        url = f"http://127.0.0.1:{self.port}/v1/audits{path}"
        return httpx.request(method, url, headers=headers, timeout=LONGEST, verify=NO_TLS, **given)

    def prepare(self, name: str) -> None:
        """Make an audit, and send its files."""
        assert self.request("POST", "", json={"id": name}).status_code == 201
        for file, kind, path in (("rigs", "application/x-ndjson", RIGS), ("catalogue", "text/csv", CATALOGUE)):
            assert self.send(name, file, kind, (self.made / path).read_bytes()).status_code == 200

    def send(self, name: str, file: str, kind: str, content: bytes) -> httpx.Response:
        """Send a file."""
        return self.request("PUT", f"/{name}/files/{file}", content=content, headers={"Content-Type": kind})

    def start(self, name: str) -> None:
        """Start an audit."""
        assert self.request("POST", f"/{name}/start").status_code == 202

    def audit(self, name: str) -> Any:
        """The audit as it is."""
        return self.request("GET", f"/{name}").json()

    def ended(self, name: str) -> Any:
        """The audit once it is carried out no more."""
        while (told := self.audit(name))["state"] in ("queued", "running"):
            time.sleep(0.1)
        return told


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make a catalogue with planted faults, and audit it without a service."""
    folder = tmp_path_factory.mktemp("made")
    write_planted(folder, answerer().rulebook, _ITEMS, lambda *_: None)
    audit(folder / CATALOGUE, folder / "audit", read_rigs([folder / RIGS], answerer().reader))
    return folder


@pytest.fixture
def served(url: str, tmp_path: Path) -> Iterator[Served]:
    """Give a running server."""
    server = Served(url, tmp_path / "server.log")
    yield server
    server.end()
    _end_workers(tmp_path / "audits")


def _key(url: str) -> dict[str, str]:
    database = Database(url)
    with database.session() as session:
        made = {"X-API-Key": create_key(session, "yard")[0]}
    database.close()
    return made


def _workers(folder: Path) -> set[int]:
    """The processes that carry out audits of a folder."""
    found = set()
    for entry in Path("/proc").glob("[0-9]*/cmdline"):
        try:
            words = entry.read_bytes().split(b"\0")
        except OSError:
            continue
        if b"fitsvc.service.audits.worker" in words and any(word.startswith(bytes(folder)) for word in words):
            found.add(int(entry.parent.name))
    return found


def _end_workers(folder: Path) -> None:
    for pid in _workers(folder):
        os.kill(pid, signal.SIGKILL)


def _has_pairs(folder: AuditFolder) -> bool:
    """Whether some pairs are written; to be asked often: a worker gives way to whoever asks, on a busy machine too."""
    return any(folder.out.glob("pairs.parquet/*.parquet"))


def _kill_worker_once_it_has_begun(folder: AuditFolder) -> None:
    """Kill the process of an audit outright once some of its pairs are written."""
    until(lambda: _has_pairs(folder), "the first pairs")
    workers = _workers(folder.path)
    assert len(workers) == 1
    os.kill(workers.pop(), signal.SIGKILL)


def test_a_caller_who_hangs_up_a_full_disk_and_a_killed_worker(
    served: Served, url: str, made: Path, tmp_path: Path
) -> None:
    """Each is told as what it is, the service answers throughout, and the audit comes to the same files in the end."""
    caller = Caller(served.port(), _key(url), made)
    folder = AuditFolder(tmp_path / "audits" / "aud_one")
    caller.prepare("aud_one")
    sent = caller.audit("aud_one")["files"]

    content = (made / CATALOGUE).read_bytes()
    head = (
        f"PUT /v1/audits/aud_one/files/catalogue HTTP/1.1\r\nHost: localhost\r\n"
        f"X-API-Key: {caller.key['X-API-Key']}\r\n"
        f"Content-Type: text/csv\r\nContent-Length: {len(content)}\r\n\r\n"
    ).encode()
    with socket.create_connection(("127.0.0.1", caller.port), LONGEST) as connection:
        connection.sendall(head + content[: len(content) // 2])
        until(lambda: list(folder.path.glob("*.part")), "the service to begin to write")
    until(lambda: not list(folder.path.glob("*.part")), "the service to let go of what came by half")
    assert caller.audit("aud_one")["files"] == sent

    full = resource.prlimit(served.process.pid, resource.RLIMIT_FSIZE)
    resource.prlimit(served.process.pid, resource.RLIMIT_FSIZE, (60_000, full[1]))
    refused = caller.send("aud_one", "catalogue", "text/csv", content)
    assert (refused.status_code, refused.json()["title"]) == (507, "Insufficient Storage")
    assert not list(folder.path.glob("*.part"))
    assert caller.audit("aud_one")["files"] == sent
    caller.start("aud_one")
    told = caller.ended("aud_one")
    assert (told["state"], told["problems"][0]["detail"]) == ("interrupted", "the disk of the service is full")
    assert ask(caller.port)[0] == 200
    resource.prlimit(served.process.pid, resource.RLIMIT_FSIZE, full)

    caller.start("aud_one")
    _kill_worker_once_it_has_begun(folder)
    told = caller.ended("aud_one")
    assert (told["state"], told["problems"][0]["detail"]) == (
        "interrupted",
        "the audit's process was ended by signal 9",
    )
    caller.start("aud_one")
    assert caller.ended("aud_one")["state"] == "finished"
    assert undated(folder.out) == undated(made / "audit")
    assert ask(caller.port)[0] == 200


def test_a_killed_server_goes_on_when_it_is_started_again(served: Served, url: str, made: Path, tmp_path: Path) -> None:
    """Server and worker killed outright in the middle: the next server carries the audit through by itself."""
    caller = Caller(served.port(), _key(url), made)
    caller.prepare("aud_one")
    caller.start("aud_one")
    folder = AuditFolder(tmp_path / "audits" / "aud_one")
    until(lambda: _has_pairs(folder), "the first pairs")
    served.process.kill()
    _end_workers(folder.path)
    assert folder.is_wanted()
    again = Served(url, tmp_path / "again.log")
    try:
        later = Caller(again.port(), caller.key, made)
        assert later.ended("aud_one")["state"] == "finished"
    finally:
        again.end()
    assert undated(folder.out) == undated(made / "audit")


def test_two_servers_of_one_store_do_not_do_it_twice(
    postgres_server: Any, postgres_template: str, made: Path, tmp_path: Path
) -> None:
    """Two servers over one PostgreSQL and one folder: an audit has one process alone, and both give its results."""
    from conftest import postgres_database

    with postgres_database(postgres_server, postgres_template) as at:
        url = at.render_as_string(hide_password=False)
        servers = [Served(url, tmp_path / f"{n}.log", audits=tmp_path / "audits") for n in range(2)]
        try:
            key = _key(url)
            one, other = (Caller(server.port(), key, made) for server in servers)
            one.prepare("aud_one")
            other.start("aud_one")
            folder, holders = AuditFolder(tmp_path / "audits" / "aud_one"), set[int]()
            while one.audit("aud_one")["state"] in ("queued", "running"):
                now = _holders(folder.path / "lock")
                assert len(now) <= 1
                holders |= now
                time.sleep(0.02)  # a worker gives way to whoever asks: without a pause it would hardly come to work
            assert len(holders) == 1
            assert one.audit("aud_one") == other.audit("aud_one")
            assert other.audit("aud_one")["state"] == "finished"
            summaries = [caller.request("GET", "/aud_one/summary").content for caller in (one, other)]
            assert summaries[0] == summaries[1]
        finally:
            for server in servers:
                server.end()
            _end_workers(tmp_path / "audits")
    assert undated(folder.out) == undated(made / "audit")


def _holders(path: Path) -> set[int]:
    """The processes that hold a lock for themselves alone on a file, as the system lists them."""
    inode = f":{path.stat().st_ino}" if path.exists() else ":none"
    rows = (line.split() for line in Path("/proc/locks").read_text().splitlines())
    return {int(row[4]) for row in rows if "->" not in row and row[3] == "WRITE" and row[5].endswith(inode)}
