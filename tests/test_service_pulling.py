"""Rules are pulled by whom they are signed by, and by when: whatever is offered else, the last good ones go on."""

import http.server
import json
import os
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.error import HTTPError
from urllib.request import urlopen

import msgspec
import pytest
from changed_rules import changed
from demo_world import answerer
from faults import of_database, of_replies
from litestar.testing import TestClient
from served import Served
from waiting import LONGEST, until

from fitsvc.cli import main
from fitsvc.language.problems import ProblemsFound
from fitsvc.rulebook.cache import cached_rulebook
from fitsvc.rulebook.folder import lay_out, texts_of
from fitsvc.service import fetching, pulling
from fitsvc.service.app import create_app
from fitsvc.service.metrics import Metrics
from fitsvc.service.published import Published
from fitsvc.service.pulling import PullFrom, Pulling, pull
from fitsvc.service.releases import make_release
from fitsvc.service.serving import serve
from fitsvc.service.signatures import Signer, Trusted, make_key
from fitsvc.store.database import Database
from fitsvc.store.errors import StoreError
from fitsvc.store.publications import activate, in_force, list_publications, publish, roll_back
from fitsvc.store.pulls import LONGEST_PAUSE, begin_pull, hold_pull, last_pull, note_failed_pull, rest
from fitsvc.store.tables import Pull, now
from fitsvc.store.written import Write

SHELL = Write(by="a test")
BEGAN = datetime(2026, 1, 1, tzinfo=UTC)
Reply = Callable[[http.server.BaseHTTPRequestHandler], None]


class Offering(http.server.ThreadingHTTPServer):
    """A web server that offers a body, with validators, or answers as it is told; it keeps what it was asked."""

    daemon_threads = True

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), _Handler)
        self.body, self.tag, self.modified = b"", "", ""
        self.reply: Reply | None = None
        self.asked = list[Mapping[str, str]]()
        self.thread = threading.Thread(target=self.serve_forever, kwargs={"poll_interval": 0.01})
        self.thread.start()

    @property
    def url(self) -> str:
        """Where the release is."""
        return f"http://127.0.0.1:{self.server_port}/rules.release?shop=1"

    def end(self) -> None:
        """Listen no longer."""
        self.shutdown()
        self.thread.join()
        self.server_close()


class _Handler(http.server.BaseHTTPRequestHandler):
    server: Offering

    def do_GET(self) -> None:
        """Give the release, or what else is told to."""
        self.server.asked.append({name.lower(): one for name, one in self.headers.items()})
        with suppress(OSError):  # whoever asks may have gone
            (self.server.reply or _gives)(self)

    def log_message(self, format: str, *args: object) -> None:
        """Say nothing."""


def _gives(handler: Any) -> None:
    """As a web server does, with both validators."""
    server, asked = handler.server, handler.server.asked[-1]
    known = {"if-none-match": server.tag, "if-modified-since": server.modified}
    is_known = any(value and asked.get(name) == value for name, value in known.items())
    _head(handler, 304 if is_known else 200, {} if is_known else {"Content-Length": str(len(server.body))})
    if not is_known:
        handler.wfile.write(server.body)


def _head(handler: Any, status: int, headers: Mapping[str, str]) -> None:
    handler.send_response(status)
    offered = {"ETag": handler.server.tag, "Last-Modified": handler.server.modified}
    for name, value in {**{name: one for name, one in offered.items() if one}, **headers}.items():
        handler.send_header(name, value)
    handler.end_headers()


@pytest.fixture
def offering() -> Iterator[Offering]:
    """Give a web server."""
    running = Offering()
    yield running
    running.end()


@pytest.fixture
def signer(tmp_path: Path) -> Signer:
    """Give the key of who makes the rules."""
    make_key(tmp_path / "key")
    return Signer(tmp_path / "key")


def texts(says: str) -> dict[str, str]:
    """The files of a rulebook that says this and no more."""
    caution = f"cautions:\n  - {{id: c, text: {says}., source: {{kind: common_practice}}}}\n"
    return {"rulebook.yaml": f"name: ours\n{caution}"}


def digest_of(files: Mapping[str, str], below: Path) -> str:
    """The digest of a rulebook."""
    folder = below / f"laid{len(list(below.iterdir()))}"
    lay_out(files, folder)
    return cached_rulebook(folder).digest


class Maker:
    """Who makes rules, with a key, and lets them out from day to day."""

    def __init__(self, signer: Signer, below: Path) -> None:
        self.signer, self.below, self.day = signer, below, 0

    def release(self, says: str, day: int = 0, holds_from: datetime | None = None) -> tuple[bytes, str]:
        """A release, of the next day or of some day, and its digest."""
        files = texts(says)
        digest = digest_of(files, self.below)
        self.day = day or self.day + 1
        return make_release(digest, files, self.signer, BEGAN + timedelta(days=self.day), holds_from), digest


@pytest.fixture
def maker(signer: Signer, tmp_path: Path) -> Maker:
    """Give who makes the rules."""
    (tmp_path / "made").mkdir()
    return Maker(signer, tmp_path / "made")


def held(database: Database) -> str | None:
    """What is in force."""
    with database.session() as session:
        return next(iter(in_force(session, now())), None)


def stands(database: Database) -> Pull:
    """How it stands with what is pulled."""
    with database.session() as session:
        found = last_pull(session)
    assert found is not None
    return found


def test_what_is_new_is_taken_and_what_is_known_is_not_sent(
    sqlite: Database, offering: Offering, maker: Maker, signer: Signer
) -> None:
    """By the entity tag, by the time of the last change, or by both; nothing changes where nothing is new."""
    trusted = Trusted([signer.name])
    then = "Sat, 03 Jan 2026 00:00:00 GMT"
    for tag, modified in (('"a"', ""), ("", then), ('W/"b"', then.replace("03", "04"))):
        offering.body, digest = maker.release(f"Take care {tag}")
        offering.tag, offering.modified = tag, modified
        found = pull(sqlite, offering.url, trusted)
        assert found is not None and (found.digest, held(sqlite)) == (digest, digest)
        assert pull(sqlite, offering.url, trusted) is None
        sent = {name: value for name, value in offering.asked[-1].items() if name.startswith("if-")}
        told = {"if-none-match": tag, "if-modified-since": modified}
        assert sent == {name: value for name, value in told.items() if value}
        assert (stands(sqlite).attempts, stands(sqlite).tag, stands(sqlite).digest) == (0, tag, digest)
    offering.tag = offering.modified = ""
    assert pull(sqlite, offering.url, trusted) is None, "sent again without a word that it is the same"
    with sqlite.session() as session:
        assert len(list_publications(session)) == 3
    asked = offering.asked[-1]
    assert not asked.keys() & {"authorization", "cookie", "proxy-authorization"}


def _says(status: int, headers: Mapping[str, str] | None = None, body: bytes = b"") -> Reply:
    def reply(handler: Any) -> None:
        _head(handler, status, {"Content-Length": str(len(body)), **(headers or {})})
        handler.wfile.write(body)

    return reply


def _cut(handler: Any) -> None:
    body = handler.server.body
    _head(handler, 200, {"Content-Length": str(len(body))})
    handler.wfile.write(body[: len(body) // 2])
    handler.close_connection = True


def _cut_in_a_chunk(handler: Any) -> None:
    handler.protocol_version = "HTTP/1.1"
    _head(handler, 200, {"Transfer-Encoding": "chunked"})
    handler.wfile.write(b"40\r\n" + handler.server.body[:20])
    handler.close_connection = True


def _cut_without_a_length(handler: Any) -> None:
    _head(handler, 200, {})
    handler.wfile.write(handler.server.body[:-9])


def _endless(handler: Any) -> None:
    _head(handler, 200, {})
    for _ in range(10_000):
        handler.wfile.write(b" " * 65_536)


def _drips(handler: Any) -> None:
    _head(handler, 200, {"Content-Length": "1000"})
    for _ in range(1000):
        handler.wfile.write(b" ")
        time.sleep(0.02)


def _drips_a_head(handler: Any) -> None:
    handler.wfile.write(b"HTTP/1.0 200 OK\r\n")
    for number in range(1000):
        handler.wfile.write(f"X-{number}: 1\r\n".encode())
        time.sleep(0.02)


def _waits(handler: Any) -> None:
    handler.connection.recv(1)  # until nobody waits any more


def _nonsense(handler: Any) -> None:
    handler.wfile.write(b"nonsense\r\n\r\n")


BAD_REPLIES: dict[str, tuple[Reply, str]] = {
    "a body that is cut off": (_cut, "it was cut off after"),
    "a chunk that is cut off": (_cut_in_a_chunk, "cannot be reached: IncompleteRead"),
    "a body of no length that is cut off": (_cut_without_a_length, "that is no release"),
    "a fault": (_says(500, body=b"oops"), "it answered 500"),
    "nothing there": (_says(404), "it answered 404"),
    "no content": (_says(204), "it answered 204"),
    "a part": (_says(206, body=b"{"), "it answered 206"),
    "a loop": (_says(302, {"Location": "/rules.release?shop=1"}), "nobody is followed"),
    "elsewhere": (_says(308, {"Location": "http://127.0.0.1:1/"}), "nobody is followed"),
    "a length that is too large": (_says(200, {"Content-Length": "100000001"}), "larger than"),
    "no end": (_endless, "larger than"),
    "compressed": (_says(200, {"Content-Encoding": "gzip"}, b"\x1f\x8b"), "sent compressed"),
    "a slow body": (_drips, "did not come within"),
    "a slow head": (_drips_a_head, "did not come within"),
    "no word": (_waits, "cannot be reached: timed out"),
    "no HTTP": (_nonsense, "cannot be reached"),
    "a page": (_says(200, body=b"<!doctype html><p>Moved"), "that is no release"),
    "deep brackets": (_says(200, body=b"[" * 90_000), "that is no release"),
    "another member": (_says(200, body=b'{"format": "fitsvc release 1", "more": 1}'), "that is no release"),
}  # fmt: skip
SLOW = {"a slow body": (LONGEST, 0.8), "a slow head": (LONGEST, 0.8), "no word": (0.5, LONGEST)}
"""Seconds to wait for a piece and for all of it, where one of them is to run out; on a busy machine no other does."""


def test_whatever_else_is_offered_the_last_good_one_goes_on(
    sqlite: Database, offering: Offering, maker: Maker, signer: Signer, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each is told as what it is, and kept for who looks; nobody is followed; and then the next release is taken."""
    monkeypatch.setattr(fetching, "MOST_BYTES", 100_000)
    trusted = Trusted([signer.name])
    offering.body, first = maker.release("Take care")
    assert pull(sqlite, offering.url, trusted)
    offering.body, second = maker.release("Take more care")
    for failed, (what, (reply, told)) in enumerate(BAD_REPLIES.items(), 1):
        seconds, longest = SLOW.get(what, (LONGEST, LONGEST))
        monkeypatch.setattr(fetching, "_SECONDS", seconds)
        monkeypatch.setattr(fetching, "_LONGEST", longest)
        offering.reply, before = reply, len(offering.asked)
        with pytest.raises(ProblemsFound) as found:
            pull(sqlite, offering.url, trusted)
        assert told in str(found.value), what
        assert (len(offering.asked) - before, held(sqlite)) == (1, first), what
        kept = stands(sqlite)
        assert told in kept.failure and (kept.attempts, kept.digest) == (failed, first), what
    offering.reply = None
    assert pull(sqlite, offering.url, trusted) and held(sqlite) == second
    assert (stands(sqlite).failure, stands(sqlite).attempts) == ("", 0)
    with pytest.raises(ProblemsFound, match=r"cannot be reached: .*refused"):
        pull(sqlite, "http://127.0.0.1:1/", trusted)


def test_a_304_that_nobody_asked_for_is_no_release(
    sqlite: Database, offering: Offering, maker: Maker, signer: Signer
) -> None:
    """Where nothing is known yet, nothing can be unchanged."""
    offering.reply = _says(304)
    with pytest.raises(ProblemsFound, match="it answered 304"):
        pull(sqlite, offering.url, Trusted([signer.name]))
    assert held(sqlite) is None


def _changed(data: bytes, **members: object) -> bytes:
    return json.dumps({**json.loads(data), **members}).encode()


def test_what_is_signed_is_what_and_when(
    sqlite: Database, offering: Offering, maker: Maker, signer: Signer, tmp_path: Path
) -> None:
    """With a file, a time or a key other than was signed nothing is taken, nor with a signature that is gone."""
    make_key(tmp_path / "stranger")
    stranger, trusted = Signer(tmp_path / "stranger"), Trusted([signer.name])
    good, digest = maker.release("Take care")
    plain, late = json.loads(good), "2026-06-01T00:00:00Z"
    other = make_release(digest, texts("Take care"), stranger, BEGAN + timedelta(days=9), None)
    theirs = json.loads(other)["signatures"][stranger.name]
    for body, told in (
        (_changed(good, files=texts("Take no care")), "is not of these files"),
        (_changed(good, files={**plain["files"], "a.yaml": "topic: a\n"}), "is not of these files"),
        (_changed(good, digest="sha256:" + "0" * 64), "is not of these files"),
        (_changed(good, made_at=late), "is not of these times"),
        (_changed(good, holds_from=late), "is not of these times"),
        (_changed(good, made_at="2026-01-02T00:00:00"), "its times have no zone"),
        (_changed(good, signatures={}), "signed by nobody"),
        (_changed(good, signatures={signer.name: theirs}), "is not of these files"),
        (other, f"signed only by {stranger.name}"),
    ):
        offering.body = body
        with pytest.raises(ProblemsFound) as found:
            pull(sqlite, offering.url, trusted)
        assert told in str(found.value)
        assert held(sqlite) is None
    offering.body = good
    with pytest.raises(ProblemsFound, match="signed by a key that you trust"):
        pull(sqlite, offering.url, Trusted())
    assert pull(sqlite, offering.url, trusted)
    published = Published(sqlite, tmp_path, trusted)
    assert published.first().digest == digest, "a server that asks for the key answers by it"


def test_an_older_release_is_not_passed_off_as_the_newest(
    sqlite: Database, offering: Offering, maker: Maker, signer: Signer, tmp_path: Path
) -> None:
    """Not from the same place, not from another, nor one of the same time; who wants it back releases it anew."""
    trusted = Trusted([signer.name])
    old, old_digest = maker.release("Take care")
    new, new_digest = maker.release("Take more care")
    twin, _ = maker.release("Take other care", day=maker.day)
    for body in (old, new):
        offering.body = body
        assert pull(sqlite, offering.url, trusted)
    elsewhere = tmp_path / "elsewhere.release"
    for body in (old, twin):
        offering.body = body
        elsewhere.write_bytes(body)
        for source in (offering.url, str(elsewhere)):
            with pytest.raises(ProblemsFound, match="was taken before"):
                pull(sqlite, source, trusted)
            assert held(sqlite) == new_digest
    offering.body = maker.release("Take care")[0]
    found = pull(sqlite, offering.url, trusted)
    assert found is not None and held(sqlite) == old_digest == found.digest
    offering.body = maker.release("Take care", day=400_000)[0]
    with pytest.raises(ProblemsFound, match="which is still to come"):
        pull(sqlite, offering.url, trusted)


def test_what_a_shop_decides_itself_holds_until_there_is_a_newer_release(
    sqlite: Database, offering: Offering, maker: Maker, signer: Signer
) -> None:
    """A look that finds nothing new does not bring back what somebody rolled back."""
    trusted = Trusted([signer.name])
    offering.body, first = maker.release("Take care")
    assert pull(sqlite, offering.url, trusted)
    offering.body, _ = maker.release("Take more care")
    assert pull(sqlite, offering.url, trusted)
    with sqlite.session() as session:
        roll_back(session, SHELL, "it refuses too much")
    assert pull(sqlite, offering.url, trusted) is None and held(sqlite) == first
    offering.body, third = maker.release("Take much more care")
    assert pull(sqlite, offering.url, trusted) and held(sqlite) == third


def test_what_holds_from_a_later_day_waits_for_it(
    sqlite: Database, offering: Offering, maker: Maker, signer: Signer
) -> None:
    """It is there before its day, which an offline shop may have missed: then it holds at once."""
    trusted, tomorrow = Trusted([signer.name]), now() + timedelta(days=1)
    offering.body, first = maker.release("Take care")
    assert pull(sqlite, offering.url, trusted)
    offering.body, second = maker.release("Take more care", holds_from=tomorrow)
    found = pull(sqlite, offering.url, trusted)
    assert found is not None and (found.holds_from, held(sqlite)) == (tomorrow, first)
    with sqlite.session() as session:
        assert in_force(session, tomorrow)[0] == second
    offering.body, third = maker.release("Take much more care", holds_from=BEGAN)
    assert pull(sqlite, offering.url, trusted) and held(sqlite) == third


def test_what_is_not_sound_is_not_taken(
    sqlite: Database, offering: Offering, maker: Maker, signer: Signer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What does not load here or has another digest here, whose example is not kept, a path out of the folder."""
    trusted, good = Trusted([signer.name]), texts("Take care")
    example = "{gives: undetermined, so: open}, {accessory.length: 1 in, gives: passes}"
    example += ", {accessory.length: 1-3/4 in, gives: fails, so: blocks}"
    topic = (
        "topic: a\nabout: b\nrules:\n  - {id: r, title: t, requires: accessory.length < 2 in, severity: blocking, "
        f"fails_because: no, source: {{kind: common_practice}}, examples: [{example}]}}\n"
    )
    facts = "  length: {type: length, range: [0 in, 9 in], label: l, meaning: m, how_to_measure: h, effort: tape}\n"
    accessory = f"subject: accessory\ntitle: t\npresence: asked\nfacts:\n{facts}"
    wrong = good | {"a.yaml": topic, "vocabulary/accessory.yaml": accessory}
    for files, digest, told in (
        (good | {"a.yaml": "topic: a\nrules: 1\n"}, "sha256:1", "a.yaml"),
        (good, "sha256:" + "0" * 64, "it reads as sha256:"),
        (wrong, digest_of(wrong, tmp_path / "made"), "gives passes"),
        (good | {"../a.yaml": "topic: a\n"}, "sha256:1", "is not the path of a rule file"),
    ):
        maker.day += 1
        offering.body = make_release(digest, files, signer, BEGAN + timedelta(days=maker.day), None)
        with pytest.raises(ProblemsFound) as found:
            pull(sqlite, offering.url, trusted)
        assert told in str(found.value) and held(sqlite) is None
    with sqlite.session() as session:
        assert list_publications(session) == []


def test_a_looser_release_needs_a_name_here_too(
    sqlite: Database, offering: Offering, maker: Maker, signer: Signer, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What `publish` would ask of a folder is asked of a release, on this shop's own rigs and goods."""
    from fitsvc.language.problems import Problem

    asked = list[tuple[str, ...]]()

    def unsigned(database: Database, rulebook: object, below: Path, trusted: Trusted, *, theirs: bool) -> list[Problem]:
        assert theirs  # who releases them signs, and not who pulls
        asked.append(trusted.names)
        return [Problem("1 rule says yes to more, and nobody has signed for that")]

    monkeypatch.setattr("fitsvc.service.publishing.unsigned_here", unsigned)
    offering.body, _ = maker.release("Take care")
    with pytest.raises(ProblemsFound, match="nobody has signed for that"):
        pull(sqlite, offering.url, Trusted([signer.name]))
    assert asked == [(signer.name,)] and held(sqlite) is None


def test_a_folder_is_read_where_its_file_is_another(
    sqlite: Database, maker: Maker, signer: Signer, tmp_path: Path
) -> None:
    """A folder, or the file; not before it is whole; and what is no file, or is not there, is told."""
    trusted, folder = Trusted([signer.name]), tmp_path / "shared"
    folder.mkdir()
    with pytest.raises(ProblemsFound, match="cannot be read: no such file"):
        pull(sqlite, str(folder), trusted)
    good, digest = maker.release("Take care")
    file = folder / "rules.release"
    file.write_bytes(good[:-40])
    with pytest.raises(ProblemsFound, match="that is no release"):
        pull(sqlite, str(folder), trusted)
    file.write_bytes(good)
    assert pull(sqlite, str(folder), trusted) and held(sqlite) == digest
    os.utime(file, ns=(file.stat().st_atime_ns, file.stat().st_mtime_ns))
    assert pull(sqlite, str(folder), trusted) is None
    assert pull(sqlite, str(file), trusted) is None, "another source, and the same release"
    file.unlink()
    os.mkfifo(file)
    with pytest.raises(ProblemsFound, match="what is there is no file"):
        pull(sqlite, str(folder), trusted)
    for source, told in (("ftp://a/b", "no address"), ("http://", "no address"), ("http://u@a/b", "no address"),
                         ("http://a:b/", "no address"), ("", "no place"), ("x" * 600, "no place")):  # fmt: skip
        with pytest.raises(ProblemsFound, match=told):
            pull(sqlite, source, trusted)


def test_other_comments_are_the_same_rules(
    sqlite: Database, offering: Offering, maker: Maker, signer: Signer, tmp_path: Path
) -> None:
    """A publication is never changed: one that is there and signed serves, and one that is not does not."""
    trusted = Trusted([signer.name])
    offering.body, digest = maker.release("Take care")
    assert pull(sqlite, offering.url, trusted)
    commented = {name: f"# better\n{text}" for name, text in texts("Take care").items()}
    offering.body = make_release(digest, commented, signer, BEGAN + timedelta(days=50), None)
    found = pull(sqlite, offering.url, trusted)
    assert found is not None and (found.digest, held(sqlite)) == (digest, digest)
    with sqlite.session() as session:
        (kept,) = list_publications(session)
        assert kept.files == texts("Take care")
        other = digest_of(texts("Take more care"), tmp_path / "made")
        publish(session, other, "ours", texts("Take more care"), SHELL)
        activate(session, other, SHELL, "unsigned")
    commented = {name: f"# better\n{text}" for name, text in texts("Take more care").items()}
    offering.body = make_release(other, commented, signer, BEGAN + timedelta(days=51), None)
    with pytest.raises(ProblemsFound, match="with other comments or examples"):
        pull(sqlite, offering.url, trusted)


@pytest.mark.parametrize("faulty", [of_database, of_replies])
def test_a_pull_that_dies_leaves_old_or_new(
    database: Database,
    monkeypatch: pytest.MonkeyPatch,
    maker: Maker,
    signer: Signer,
    tmp_path: Path,
    faulty: Any,
) -> None:
    """At each statement and commit: what is in force, what is published and what counts as taken are of one piece."""
    file, trusted = tmp_path / "a.release", Trusted([signer.name])
    body, before = maker.release("Take care")
    file.write_bytes(body)
    assert pull(database, str(file), trusted)
    faults, seen, fired = faulty(database, monkeypatch), set(), True
    at = 1
    while fired:
        body, digest = maker.release(f"Take care {at}")
        file.write_bytes(body)
        faults.fail(at)
        with suppress(StoreError, ProblemsFound):
            pull(database, str(file), trusted)
        fired = faults.fired()
        with database.session() as session:
            kept = [one.digest for one in list_publications(session)]
            row = begin_pull(session, str(file))
        assert held(database) == row.digest and row.digest in (before, digest)
        assert (digest in kept) == (row.digest == digest)
        seen.add(row.digest == digest)
        if row.digest != digest:
            assert pull(database, str(file), trusted), at
        before, at = digest, at + 1
    assert seen == {True, False} and at > 3


def test_servers_take_turns(database: Database) -> None:
    """One at a time, not before it is due; longer apart while nothing can be had; a clock set back holds nobody up."""
    minute = timedelta(minutes=1)
    with database.session() as session:
        begin_pull(session, "http://a/")
        assert hold_pull(session, "http://a/") and not hold_pull(session, "http://a/")
        assert minute * 0.9 < rest(session, "http://a/", minute).due_at - now() <= minute
        assert not hold_pull(session, "http://a/")
        for attempts in (1, 2, 3, 20):
            for _ in range(attempts - begin_pull(session, "http://a/").attempts):
                note_failed_pull(session, "http://a/", "it answered 500")
            pause = rest(session, "http://a/", minute).due_at - now()
            wanted = min(minute * 2 ** (attempts - 1), timedelta(hours=1))
            assert wanted * 0.9 < pause <= wanted
        row = begin_pull(session, "http://a/")
        row.due_at = now() + 2 * LONGEST_PAUSE
        session.add(row)
        session.flush()
        assert hold_pull(session, "http://a/")


def test_a_server_pulls_in_a_process_of_its_own(
    sqlite: Database, offering: Offering, maker: Maker, signer: Signer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Health and counters tell how it stands, be it well or not, and it is tried again; one that dies is told too."""
    monkeypatch.setattr(pulling, "_EVERY", 0.02)
    metrics, trusted = Metrics(), (signer.name,)
    from_ = PullFrom(offering.url, timedelta(seconds=0.01), trusted)
    server = Pulling(sqlite, from_, metrics)
    offering.body, digest = maker.release("Take care")
    published = Published(sqlite, tmp_path)
    app = create_app(sqlite, answerer(), tmp_path / "audits", metrics=metrics, published=published)
    with TestClient(app) as client:
        assert "pulled" not in client.get("/health/ready").json()
        server.turn()
        told = client.get("/health/ready").json()
        assert (told["status"], told["in_force"], told["pulled"]["digest"]) == ("ready", digest, digest)
        assert (told["pulled"]["from"], told["pulled"]["made_at"][:10]) == ("127.0.0.1", "2026-01-02")
        assert told["pulled"]["failures"] == 0 and "failure" not in told["pulled"]
        offering.reply = _says(500)
        until(lambda: _turned(server).attempts, "a look that fails")
        told = client.get("/health/ready")
        assert (told.status_code, told.json()["in_force"]) == (200, digest)
        assert (told.json()["pulled"]["failure"], told.json()["pulled"]["failures"]) == ("it answered 500", 1)
        assert "?shop=1" not in told.text
        text = metrics.text().decode()
        assert "fitsvc_pull_failures 1.0" in text
        made = (BEGAN + timedelta(days=1)).timestamp()
        assert f"fitsvc_release_made_timestamp_seconds {made:.9e}"[:45] in text
        monkeypatch.setattr("sys.executable", "/bin/false")
        until(lambda: _turned(server).attempts == 2, "a look that dies")
        assert "its process ended with 1" in client.get("/health/ready").json()["pulled"]["failure"]


def _turned(server: Pulling) -> Pull:
    server.turn()
    return stands(server._database)


def test_commands_release_and_pull(
    url: str, tmp_path: Path, signer: Signer, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is released comes out as it went in; each refusal says what to do."""
    monkeypatch.setenv("FITSVC_DATABASE_URL", url)
    lay_out(texts("Take care"), tmp_path / "mine")
    file = tmp_path / "mine.release"
    making = ["rules", "release", str(tmp_path / "mine"), "--to", str(file)]
    assert main(making) == 2
    assert "a release must be signed" in capsys.readouterr().err
    assert main([*making, "--sign", str(tmp_path / "key")]) == 0
    digest = capsys.readouterr().out.split()[-1]
    assert msgspec.json.decode(file.read_bytes())["files"] == texts_of(tmp_path / "mine")
    taking = ["rules", "pull", str(file)]
    assert main(taking) == 2
    assert "signed by a key that you trust" in capsys.readouterr().err
    assert main([*taking, "--signed-by", signer.name]) == 0
    assert capsys.readouterr().out.splitlines()[-1] == digest
    assert main([*taking, "--signed-by", signer.name]) == 0
    assert capsys.readouterr().out == "there is no newer release\n"
    make_key(tmp_path / "other")
    assert main([*taking, "--signed-by", Signer(tmp_path / "other").name]) == 2, "known, and of a key not trusted here"
    assert "no newer release" not in capsys.readouterr().out
    with pytest.raises(ProblemsFound, match="no other is pulled"):
        serve(rules=tmp_path, pulled=PullFrom("a", timedelta(seconds=9), (signer.name,)))
    with pytest.raises(ProblemsFound, match="signed by a key that you trust"):
        serve(pulled=PullFrom("a", timedelta(seconds=9), ()))


def test_a_running_server_changes_over_to_what_is_offered(
    url: str, offering: Offering, maker: Maker, signer: Signer, tmp_path: Path
) -> None:
    """From the command to the answer: its two processes pull once, change over, and keep it when the source is gone."""
    files = texts_of(changed(tmp_path, "coupling.yaml", "title: ", "title: As released, "))
    digest = digest_of(files, maker.below)
    offering.body, offering.tag = make_release(digest, files, signer, BEGAN, None), '"a"'
    options = ["--pull", offering.url, "--pull-every", "5", "--signed-by", signer.name, "--workers", "2"]
    server = Served(url, tmp_path / "server.log", options=[*options, "--audits", str(tmp_path / "audits")])
    try:
        address = f"http://127.0.0.1:{server.port()}/health/ready"

        def ready() -> Any:
            with suppress(HTTPError), urlopen(address) as response:
                return json.loads(response.read())
            return {}  # its index is not open yet, or lags on a busy machine

        until(lambda: ready().get("rulebook") == digest, "the server to change over")
        assert all("if-none-match" in one for one in offering.asked[1:]), "the two take turns"
        offering.reply = _says(500)
        told = until(lambda: (told := ready()).get("pulled", {}).get("failures") and told, "a look that fails")
        assert told["pulled"]["digest"] == digest
        # Either of the two may have told so, and one that lags goes on to what was taken.
        until(lambda: ready().get("rulebook") == digest, "either to answer by what was taken")
        server.process.terminate()
        assert server.process.wait(LONGEST) == 0
    finally:
        server.end()
