"""What is pinned to a rulebook is answered by that one or by none, whichever is in force."""

import asyncio
from collections.abc import Callable, Coroutine
from functools import partial
from pathlib import Path
from typing import Any

import httpx
import pytest
from changed_rules import changed
from demo_world import answerer
from litestar import Litestar, Response, get

from fitsvc.rulebook.cache import cached_rulebook
from fitsvc.rulebook.folder import texts_of
from fitsvc.service.app import create_app
from fitsvc.service.changeover import Changeover
from fitsvc.service.examples import QUESTION
from fitsvc.service.metrics import Metrics
from fitsvc.service.operations import WAITS
from fitsvc.service.pinned import HELD_SECONDS, OneBeside, Pinned
from fitsvc.service.published import Published, Served
from fitsvc.service.settings import OPEN, Settings
from fitsvc.service.turns import Turn
from fitsvc.store.database import Database
from fitsvc.store.publications import activate, publish
from fitsvc.store.written import Write

SHELL = Write(by="a test")
NOWHERE = "sha256:" + "0" * 64
RIG = {"rig": QUESTION["rig"]}
ASKS = {
    "/v1/answers": QUESTION,
    "/v1/selections": RIG,
    "/v1/matches": {"rigs": [RIG["rig"]], "skus": ["ONE"]},
}
Asks = Callable[[httpx.AsyncClient, Changeover], Coroutine[Any, Any, None]]


@pytest.fixture(scope="module")
def new(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give the shipped rules with another title: what they come to is the same, and their digest is not."""
    return changed(tmp_path_factory.mktemp("new"), "coupling.yaml", "title: ", "title: As changed, ")


def served_so(database: Database, folder: Path, asks: Asks) -> None:
    """Ask a service that began by the shipped rules, and follows what is published in its store."""
    published, metrics = Published(database, folder), Metrics()

    def make(served: Served, *, answers_only: bool = False) -> Litestar:
        known = (Settings(public=OPEN), served.rules, metrics, published, answers_only)
        return create_app(database, served.answerer, folder / "audits", 1_000_000, None, *known)

    async def run() -> None:
        pinned = Pinned(published, partial(make, answers_only=True))
        app = Changeover(published, Served(answerer(), None), make, pinned=pinned)
        await app.begin()
        try:
            asgi: Any = app
            async with httpx.AsyncClient(transport=httpx.ASGITransport(asgi), base_url="http://localhost") as client:
                await asks(client, app)
        finally:
            await app.end()

    asyncio.run(run())


@pytest.mark.usefixtures("none_set_aside")
def test_what_is_pinned_is_answered_by_that_rulebook(sqlite: Database, new: Path, tmp_path: Path) -> None:
    """The one before and the one in force each answer who is pinned to it; one that is kept nowhere is not found."""
    digest, first = cached_rulebook(new).digest, answerer().rulebook.digest

    async def asks(client: httpx.AsyncClient, app: Changeover) -> None:
        with sqlite.session() as session:
            publish(session, digest, "mine", texts_of(new), SHELL)
            activate(session, digest, SHELL, "a reason")
        await app.look()
        for path, body in ASKS.items():
            for told in ({}, {"pin": digest}, {"pin": first}):
                reply = await client.post(path, params=told, json=body)
                assert reply.json()["rulebook"]["digest"] == told.get("pin", digest), (path, told)
            missing = await client.post(path, params={"pin": NOWHERE}, json=body)
            assert missing.status_code == 404, missing.text
            assert [one["parameter"] for one in missing.json()["errors"]] == ["pin"]
        other = await client.post("/v1/answers", params={"pin": first[:20]}, json=QUESTION)
        assert (other.status_code, other.json()["errors"][0]["parameter"]) == (400, "pin")
        counted = (await client.get("/metrics")).text
        assert f'fitsvc_rulebook{{digest="{digest}"}} 1.0' in counted
        assert f'fitsvc_rulebook{{digest="{first}"}} 1.0' not in counted

    served_so(sqlite, tmp_path, asks)


class Two:
    """Two rulebooks to be pinned to, each with an application that tells it, by a clock that is set."""

    def __init__(self) -> None:
        self.now, self.digests, self.ended = 0.0, ["sha256:" + "1" * 64, "sha256:" + "2" * 64], list[str]()
        pinned: Any = self
        self.beside = OneBeside(pinned, lambda: self.now)

    def keeps(self, digest: str) -> bool:
        """Whether it is one of the two."""
        return digest in self.digests

    def made(self, digest: str) -> Any:
        """What answers by a digest."""

        @get("/")
        async def told() -> Response[str]:
            return Response(digest)

        def ended() -> None:
            self.ended.append(digest)

        app = Litestar([told], openapi_config=None, on_shutdown=[ended])
        return Named(digest), app


class Named:
    """A rulebook by its digest alone."""

    def __init__(self, digest: str) -> None:
        self.digest = digest


def test_one_other_rulebook_is_kept_at_a_time() -> None:
    """While somebody asks by one, who is pinned to another is told when to come back; then the first goes."""

    async def run() -> None:
        two = Two()
        now: Any = Turn(*two.made(two.digests[0]))
        now.digest = "in force"

        async def of(pin: str) -> tuple[str, bool]:
            scope: dict[str, Any] = {"query_string": f"units=us&pin={pin}".encode()}
            return (await two.beside.of(scope, now)).digest, bool(scope.get(WAITS))

        one, other = two.digests
        assert await of("sha256:") == ("in force", False)
        assert await of(NOWHERE) == ("in force", False)
        assert await of(one) == (one, False)
        two.now += HELD_SECONDS - 1
        assert await of(other) == ("in force", True)
        assert await of(one) == (one, False)
        two.now += HELD_SECONDS - 1
        assert await of(other) == ("in force", True)
        two.now += 1
        assert await of(other) == (other, False)
        assert two.ended == [one]
        await two.beside.end()
        assert two.ended == [one, other]

    asyncio.run(run())


def test_who_waits_for_another_rulebook_is_told_when_to_come_back(
    sqlite: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """503 with `Retry-After`, as of anything that cannot be answered now."""

    async def waits(self: OneBeside, scope: Any, otherwise: Turn) -> Turn:
        scope[WAITS] = True
        return otherwise

    monkeypatch.setattr(OneBeside, "of", waits)

    async def asks(client: httpx.AsyncClient, _: Changeover) -> None:
        found = await client.post("/v1/answers", params={"pin": NOWHERE}, json=QUESTION)
        assert (found.status_code, found.headers["retry-after"]) == (503, "60")

    served_so(sqlite, tmp_path, asks)
