"""Many who change the same thing at once, over HTTP, and a database that is held up or goes and comes back."""

import logging
import sqlite3
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import httpx
import pytest
from demo_world import answerer
from litestar import Litestar
from litestar.testing import TestClient
from service_checks import problem
from sqlalchemy import URL, create_engine, event, make_url, text

from fitsvc.service.app import create_app
from fitsvc.service.examples import QUESTION
from fitsvc.store.api_keys import create_key
from fitsvc.store.database import Database

Client = TestClient[Litestar]
CALLERS = 6
EACH = 4


def at_once(ask: Callable[[int], Any]) -> list[Any]:
    """What callers at the same time come to."""
    with ThreadPoolExecutor(CALLERS) as pool:
        return list(pool.map(ask, range(CALLERS)))


def test_no_change_is_lost(client: Client, key: dict[str, str]) -> None:
    """Callers who each add one to what they read, under the tag they read, and begin anew where it was changed since.

    Every change is there in the end, and no other.
    """
    place, at = "/v1/vehicles/veh_counted", "0"
    client.post("/v1/vehicles", json={"id": "veh_counted", "label": at}, headers=key)

    def add(_: int) -> int:
        refused = 0
        for _ in range(EACH):
            while True:
                found = client.get(place)
                body = {"label": str(int(found.json()["label"]) + 1)}
                done = client.put(place, json=body, headers=key | {"If-Match": found.headers["etag"]})
                if done.status_code == 200:
                    break
                problem(done, 412)
                refused += 1
        return refused

    refused = sum(at_once(add))
    found = client.get(place).json()
    assert (found["label"], found["version"]) == (str(CALLERS * EACH), 1 + CALLERS * EACH)
    assert refused <= (CALLERS - 1) * CALLERS * EACH


def test_one_of_many_who_make_the_same_makes_it(client: Client, key: dict[str, str]) -> None:
    """The others are told that it is there, whoever came first."""
    body = {"sku": "ONE", "subject": "ball"}
    made = at_once(lambda _: client.post("/v1/accessories", json=body, headers=key))
    assert sorted(one.status_code for one in made) == [201] + [409] * (CALLERS - 1)
    assert {problem(one, 409)["type"] for one in made if one.status_code != 201} == {"/problems/exists"}
    assert [one["sku"] for one in client.get("/v1/accessories").json()["items"]] == ["ONE"]


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_a_file_that_another_writes_can_be_read(
    database: Database, database_url: str, client: Client, key: dict[str, str]
) -> None:
    """Who would write hears when to come back, and whoever reads is answered; then all goes on."""
    body = {"sku": "ONE", "subject": "ball"}

    @event.listens_for(database._engine, "checkout")
    def hurry(connection: Any, *_: object) -> None:
        connection.execute("PRAGMA busy_timeout=20")  # five seconds, in which others are usually done

    with closing(sqlite3.connect(make_url(database_url).database or "", isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        refused = client.post("/v1/accessories", json=body, headers=key)
        assert problem(refused, 503)["type"] == "/problems/database"
        assert refused.headers["retry-after"] == "1"
        assert client.get("/v1/accessories").json()["items"] == []
        assert client.get("/health/ready").status_code == 200
        other.execute("ROLLBACK")
    assert client.post("/v1/accessories", json=body, headers=key).status_code == 201


@contextmanager
def nobody_let_in(server: URL, name: str) -> Iterator[None]:
    """Have a database of a server take no connections, and end those there are."""
    admin = create_engine(server, isolation_level="AUTOCOMMIT")
    try:
        with admin.connect() as connection:
            connection.exec_driver_sql(f"ALTER DATABASE {name} ALLOW_CONNECTIONS false")
            ended = "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = :name"
            connection.execute(text(ended), {"name": name})
            try:
                yield
            finally:
                connection.exec_driver_sql(f"ALTER DATABASE {name} ALLOW_CONNECTIONS true")
    finally:
        admin.dispose()


@pytest.mark.parametrize("migrated_url", ["postgresql"], indirect=True)
def test_a_database_that_goes_comes_back(
    migrated_url: str, postgres_server: URL, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """While it is away what needs it is refused with when to come back, in the log with why; what does not goes on.

    Nothing has to be begun anew: the next request after it is back is answered.
    """
    name = str(make_url(migrated_url).database)
    with closing(Database(migrated_url)) as database:
        with database.session() as session:
            key = {"X-API-Key": create_key(session, "yard")[0]}
        with TestClient(create_app(database, answerer(), tmp_path / "audits"), raise_server_exceptions=False) as client:
            assert client.get("/v1/vehicles").status_code == 200
            with nobody_let_in(postgres_server, name), caplog.at_level(logging.WARNING):
                asked: list[httpx.Response] = [
                    client.get("/v1/vehicles"),
                    client.post("/v1/vehicles", json={"id": "veh_1"}, headers=key),
                    client.get("/health/ready"),
                ]
                for one in asked:
                    told = problem(one, 503)
                    assert (told["type"], one.headers["retry-after"]) == ("/problems/database", "5")
                    assert name not in str(told)
                assert caplog.text.count(name) >= len(asked)
                assert client.get("/health/live").status_code == 200
                assert client.post("/v1/answers", json=QUESTION).status_code == 200
            assert client.post("/v1/vehicles", json={"id": "veh_1"}, headers=key).status_code == 201
            assert client.get("/health/ready").status_code == 200
