"""A running service changes its rulebook for another: between two requests, and by whatever dies old or new."""

import asyncio
import json
import re
from pathlib import Path
from typing import Any

import pytest
from changed_rules import changed
from demo_world import answerer
from faults import Faults, of_database, of_files
from litestar import Litestar, Response, get
from waiting import LONGEST

from fitsvc.answers.answering import Answerer
from fitsvc.cli.app import main
from fitsvc.paths import data_dir
from fitsvc.rulebook.cache import cached_rulebook
from fitsvc.rulebook.folder import lay_out, texts_of
from fitsvc.service.app import create_app
from fitsvc.service.changeover import Changeover
from fitsvc.service.examples import QUESTION
from fitsvc.service.metrics import Metrics
from fitsvc.service.published import Published, Served
from fitsvc.service.settings import OPEN, Settings
from fitsvc.service.speaking import spoken_tongues
from fitsvc.store.database import Database
from fitsvc.store.publications import activate, publish
from fitsvc.store.written import Write

SHELL = Write(by="a test")
BODY = json.dumps(QUESTION).encode()


@pytest.fixture(scope="module")
def new(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give the shipped rules with another title: what they come to is the same, and their digest is not."""
    folder = tmp_path_factory.mktemp("new")
    return changed(folder, "coupling.yaml", "title: ", "title: As changed, ")


def put(database: Database, folder: Path) -> str:
    """Publish a folder and bring it into force."""
    digest = cached_rulebook(folder).digest
    with database.session() as session:
        publish(session, digest, "mine", texts_of(folder), SHELL)
        activate(session, digest, SHELL, "a reason")
    return digest


def tiny(served: Served) -> Litestar:
    """An application that says by which rulebook it answers, twice, with a pause between."""

    @get("/")
    async def told() -> Response[str]:
        first = served.digest
        await asyncio.sleep(0.001)
        return Response(f"{first} {served.answerer.rulebook.digest}")

    return Litestar([told], openapi_config=None)


async def ask(app: Any, path: str = "/", body: bytes = b"", pause: Any = None) -> tuple[int, bytes]:
    """Send one request, with its body in two halves and something done between them."""
    sent: list[Any] = []
    halves = [body[: len(body) // 2], body[len(body) // 2 :]]
    type_, length = (b"content-type", b"application/json"), (b"content-length", str(len(body)).encode())
    scope = {
        "type": "http",
        "method": "POST" if body else "GET",
        "path": path,
        "raw_path": path.encode(),
        "query_string": b"",
        "headers": [(b"host", b"localhost"), type_, length],
        "client": ("127.0.0.1", 1),
        "server": ("localhost", 80),
        "scheme": "http",
        "http_version": "1.1",
        "root_path": "",
    }

    async def receive() -> dict[str, object]:
        if len(halves) == 1 and pause is not None:
            await pause()
        if not halves:
            await asyncio.Event().wait()  # it stays
        return {"type": "http.request", "body": halves.pop(0), "more_body": bool(halves)}

    async def send(message: Any) -> None:
        sent.append(message)

    await app(scope, receive, send)
    return sent[0]["status"], b"".join(one.get("body", b"") for one in sent)


@pytest.mark.usefixtures("none_set_aside")
def test_a_request_is_answered_by_what_it_came_to(sqlite: Database, new: Path, tmp_path: Path) -> None:
    """The rulebook changes between the halves of a body: this answer is by the old one, the next by the new."""
    # The other half of the body comes once another rulebook is made ready, on a machine that may be busy.
    settings, metrics = Settings(public=OPEN, body_seconds=LONGEST), Metrics()
    published = Published(sqlite, tmp_path)

    def make(served: Served) -> Litestar:
        known = (settings, served.rules, metrics, published)
        return create_app(sqlite, served.answerer, tmp_path / "audits", 1_000_000, None, *known)

    async def run() -> None:
        first = Served(answerer(), None)
        app = Changeover(published, first, make)
        await app.begin()
        digest = put(sqlite, new)
        status, body = await ask(app, "/v1/answers", BODY, app.look)
        assert (status, json.loads(body)["rulebook"]["digest"]) == (200, first.digest)
        status, body = await ask(app, "/v1/answers", BODY)
        assert (status, json.loads(body)["rulebook"]["digest"]) == (200, digest)
        told = json.loads((await ask(app, "/health/ready"))[1])
        assert told == {"status": "ready", "rulebook": digest, "in_force": digest}
        text = (await ask(app, "/metrics"))[1].decode()
        assert f'fitsvc_rulebook{{digest="{digest}"}} 1.0' in text
        assert f'fitsvc_rulebook{{digest="{first.digest}"}} 0.0' in text
        await app.end()

    asyncio.run(run())


@pytest.mark.usefixtures("none_set_aside")
@pytest.mark.parametrize("kind", ["database", "files"])
def test_two_servers_change_over_or_stay(
    sqlite: Database, new: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str
) -> None:
    """One dies at some step of its change, the other does not: each answers by the old one or the new one, whole.

    Every step at the database, and of the many files each thirteenth: whoever died begins anew, and gets there.
    """
    monkeypatch.setenv("FITSVC_CACHE", str(tmp_path / "cache"))
    known = {(book := cached_rulebook(new)).digest: Answerer(book), answerer().rulebook.digest: answerer()}
    monkeypatch.setattr("fitsvc.service.published.Answerer", lambda book: known[book.digest])
    tongues = spoken_tongues(None)  # read each time, where that may fail, and made ready once
    monkeypatch.setattr("fitsvc.service.published.spoken_tongues", lambda rules: spoken_tongues(rules) and tongues)
    wanted = book.digest
    put(sqlite, data_dir("rules"))
    faults: Faults = of_database(sqlite, monkeypatch) if kind == "database" else of_files(monkeypatch)
    kept = {digest: f"{digest} {digest}".encode() for digest in (answerer().rulebook.digest, wanted)}

    async def change(below: Path, at: int) -> bool:
        published = Published(sqlite, below)
        app = Changeover(published, Served(answerer(), None), tiny)
        await app.begin()
        faults.fail(at)
        looking = asyncio.create_task(app.look())
        while not looking.done():
            assert (await ask(app))[1] in kept.values()
        fired, failed = faults.fired(), looking.exception() is not None
        assert failed <= fired
        found = (await ask(app))[1]
        assert found == kept[wanted] if not failed and not published.refused else found in kept.values()
        await app.end()
        assert Published(sqlite, below / "again").first().digest == wanted
        return fired

    put(sqlite, new)
    fired = [True]
    while fired[-1]:
        at = 1 + (len(fired) - 1) * (1 if kind == "database" else 13)
        (tmp_path / str(at) / "again").mkdir(parents=True)
        fired.append(asyncio.run(change(tmp_path / str(at), at)))
    assert len(fired) > 4


def test_one_that_cannot_be_read_leaves_the_last_good_one(
    sqlite: Database, new: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Rules of another version, as it were: what answers goes on, a server that begins takes the one before."""
    good = put(sqlite, new)
    texts = texts_of(new) | {"road.yaml": "topic: road\nrules: not a list\n"}
    bad = "sha256:" + "0" * 64
    with sqlite.session() as session:
        publish(session, bad, "mine", texts, SHELL)
        activate(session, bad, SHELL, "a reason")
    published = Published(sqlite, tmp_path)
    found = published.first()
    assert (found.digest, published.in_force()) == (good, bad)
    assert "road.yaml" in published.refused[bad]
    with pytest.raises(ValueError, match="not the path of a rule file"):
        lay_out({"../rulebook.yaml": ""}, tmp_path / "out")


def test_commands_bring_into_force_and_take_out(
    url: str, tmp_path: Path, new: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A folder becomes a publication only when its examples are kept, and comes out as it went in."""
    monkeypatch.setenv("FITSVC_DATABASE_URL", url)
    assert main(["rules", "rollback", "--because", "worse"]) == 2
    told = capsys.readouterr().err
    assert "answer by fitsvc's own already" in told and "help: `fitsvc rules published` lists" in told
    broken = changed(tmp_path, "coupling.yaml", "gives: passes", "gives: fails, so: blocks")
    assert main(["rules", "publish", str(broken)]) == 1
    assert "coupling.yaml" in capsys.readouterr().out
    database = Database(url)
    digest = put(database, new)
    database.close()
    assert main(["rules", "activate", digest[:19], "--from", "2020-01-01", "--because", "better"]) == 2
    assert "in force already" in capsys.readouterr().err
    assert main(["rules", "rollback", "--because", "worse"]) == 2
    told = capsys.readouterr().err
    assert "none was in force before" in told and "to go back to fitsvc's own, `fitsvc rules publish` it" in told
    assert main(["rules", "published", digest, "--to", str(tmp_path / "out")]) == 0
    assert texts_of(tmp_path / "out") == texts_of(new)
    in_force = re.compile(rf"^from .*  {digest[:19]}  (.*)  in force$", re.MULTILINE)
    assert main(["rules", "published"]) == 0
    assert in_force.findall(capsys.readouterr().out) == ["a test: a reason"]
    assert main(["rules", "activate", digest[:19], "--because", "again"]) == 0
    assert main(["rules", "published"]) == 0
    assert in_force.findall(capsys.readouterr().out) == ["in the shell: again"]
    assert main(["rules", "published", digest]) == 2
