"""Whichever call fails, nothing that was confirmed is lost, nothing is half done, and asked again it is done once."""

import shutil
import tempfile
from collections.abc import Callable, Iterator
from itertools import count
from pathlib import Path
from typing import Any

import httpx
import pytest
from audit_world import accessories, audit_of, rigs, small_blocks, write_csv
from audit_world import files as files_of
from demo_world import SEED, answerer
from effort import NIGHTLY
from faults import Faults, of_connections, of_database, of_files, of_replies
from litestar import Litestar
from litestar.testing import TestClient
from sqlalchemy import func, select
from sqlmodel import SQLModel

from fitsvc.audits import state
from fitsvc.audits.blocks import Kernel
from fitsvc.audits.sheets import write_workbook
from fitsvc.audits.spool import begun
from fitsvc.audits.summary import run
from fitsvc.language.problems import ProblemsFound
from fitsvc.loading.load import load_file
from fitsvc.rulebook.rules import Rulebook
from fitsvc.selection.files import IndexFolder
from fitsvc.selection.index import SelectionIndex
from fitsvc.service.app import create_app
from fitsvc.store.api_keys import create_key
from fitsvc.store.database import Database
from fitsvc.store.errors import StoreError

Client = TestClient[Litestar]
Asks = Callable[[Client, dict[str, str], int], httpx.Response]
ROWS = (SEED / "accessories.csv").read_text("utf-8").splitlines(keepends=True)[:6]
SKUS = [row.split(",")[0] for row in ROWS[1:]]
MOST = 2_000
"""Calls that any of these takes: one that takes more would be a loop."""
WAYS = {"failed": of_database, "reply-lost": of_replies, "no-connection": of_connections}
"""How a call to a database comes to fail."""


@pytest.fixture
def shop(database: Database, tmp_path: Path) -> Iterator[tuple[Client, dict[str, str], Database]]:
    """Give a client of a service with a vehicle and a saved rig, a key for it, and another way to its database."""
    with database.session() as session:
        key = {"X-API-Key": create_key(session, "yard")[0]}
    other = Database(database.url)
    with TestClient(create_app(database, answerer(), tmp_path / "audits"), raise_server_exceptions=False) as client:
        client.post("/v1/vehicles", json={"id": "veh_1", "facts": {"year": 2020}}, headers=key)
        rig = {"id": "rig_1", "name": "One", "rig": {"vehicle": {"id": "veh_1"}}}
        assert client.post("/v1/rigs", json=rig, headers=key).status_code == 201
        yield client, key, other
    other.close()


def held(database: Database) -> dict[str, int]:
    """How many rows each table has."""
    with database.session() as session:
        tables = SQLModel.metadata.sorted_tables
        return {one.name: session.execute(select(func.count()).select_from(one)).scalar_one() for one in tables}


def observes(client: Client, key: dict[str, str], number: int) -> httpx.Response:
    """Tell what was measured."""
    told = {"subject": "vehicle", "record": "veh_1", "facts": {"wheelbase": f"{100 + number / 100:.2f} in"}}
    return client.post("/v1/observations", json=told, headers=key)


def stores(client: Client, key: dict[str, str], number: int) -> httpx.Response:
    """Store a new accessory."""
    body = {"sku": f"NEW-{number}", "subject": "accessory", "facts": {"kind": "step", "shank": "2 in"}}
    return client.post("/v1/accessories", json=body, headers=key)


def saves(client: Client, key: dict[str, str], number: int) -> httpx.Response:
    """Save a rig of what is stored."""
    body = {"id": f"rig_new_{number}", "name": "New", "rig": {"vehicle": {"id": "veh_1"}}}
    return client.post("/v1/rigs", json=body, headers=key)


@pytest.mark.parametrize("asks", [observes, stores, saves], ids=lambda asks: asks.__name__)
@pytest.mark.parametrize("way", WAYS)
def test_a_write_is_done_once_or_not_at_all(
    shop: tuple[Client, dict[str, str], Database],
    database: Database,
    monkeypatch: pytest.MonkeyPatch,
    asks: Asks,
    way: str,
) -> None:
    """Every call to the database fails in turn: all or nothing is there, and sent again it is there once."""
    client, key, other = shop
    faults = WAYS[way](database, monkeypatch)
    before = held(other)
    assert asks(client, key | {"Idempotency-Key": "first"}, MOST).status_code == 201
    whole = _more(before, held(other))
    for number in count(1):
        before, headers = held(other), key | {"Idempotency-Key": f"n-{number}"}
        faults.fail(number)
        found = asks(client, headers, number)
        if not faults.fired():
            assert found.status_code == 201
            break
        assert number < MOST
        done = _more(before, held(other))
        assert done in ({}, whole), number
        assert found.status_code == 201 or found.status_code >= 500, number
        assert found.status_code != 201 or done == whole, number
        again = asks(client, headers, number)
        assert again.status_code == 201, again.text
        assert _more(before, held(other)) == whole, number
    assert number > (2 if way == "failed" else 1)


def _more(before: dict[str, int], after: dict[str, int]) -> dict[str, int]:
    return {name: after[name] - rows for name, rows in before.items() if after[name] != rows}


@pytest.mark.parametrize("way", WAYS)
def test_a_catalogue_is_put_in_place_whole(
    shop: tuple[Client, dict[str, str], Database], database: Database, monkeypatch: pytest.MonkeyPatch, way: str
) -> None:
    """Whichever call fails while one catalogue takes the place of another, the shop sells the one or the other.

    By day one call in three fails, each of them by night.
    """
    client, key, _ = shop
    headers = key | {"Content-Type": "text/csv"}

    def send(name: str) -> httpx.Response:
        rows = "".join(f"{name}-{number},accessory,step,2 in\n" for number in range(3))
        body = f"sku,subject,kind,shank\n{rows}".encode()
        return client.post("/v1/catalogue?mode=replace&source=feed", content=body, headers=headers)

    faults = WAYS[way](database, monkeypatch)
    first = send("OLD")
    assert first.status_code == 200, first.text
    sold = {f"OLD-{number}" for number in range(3)}
    for number in count(1, 1 if NIGHTLY or way != "failed" else 3):
        wanted = {f"N{number}-{one}" for one in range(3)}
        faults.fail(number)
        found = send(f"N{number}")
        fired = faults.fired()
        now = {one["sku"] for one in client.get("/v1/accessories").json()["items"]}
        assert now in (sold, wanted), number
        assert found.status_code != 200 or now == wanted, number
        if not fired:
            assert found.status_code == 200
            break
        assert number < MOST
        sold = now
    assert number > (5 if way == "failed" else 1)


@pytest.mark.parametrize("way", ["failed", "no-connection"])
def test_a_file_is_loaded_whole(database: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, way: str) -> None:
    """Whichever call fails while a file is loaded, nothing of it is there, and loaded again all of it is."""
    other, faults = Database(database.url), WAYS[way](database, monkeypatch)
    before = held(other)
    file = tmp_path / "accessories.csv"
    file.write_text("".join(ROWS), "utf-8")
    for number in count(1):
        faults.fail(number)
        try:
            load_file(database, answerer().reader, file)
        except StoreError:
            assert faults.fired()
            assert held(other) == before, number
        else:
            assert not faults.fired()
            break
        assert number < MOST
    assert number > (5 if way == "failed" else 1)
    assert _more(before, held(other))["observation"] == 5
    other.close()


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_an_index_is_published_whole(database: Database, tmp_path: Path) -> None:
    """Whichever call to a file fails while the index is written, it answers, and the next one to open it has it whole.

    What was begun and not ended is not there afterwards. By day one call in eight fails, each of them by night.
    """
    (tmp_path / "accessories.csv").write_text("".join(ROWS), "utf-8")
    load_file(database, answerer().reader, tmp_path / "accessories.csv")
    wanted = _items(database, None)
    assert len(wanted) == 5
    for number in count(1, 1 if NIGHTLY else 8):
        folder = IndexFolder(tmp_path / f"index-{number}", database, answerer().rulebook.digest)
        with pytest.MonkeyPatch.context() as patched:
            faults = of_files(patched, pieces=True)
            faults.fail(number)
            assert _items(database, folder) == wanted, number
            fired = faults.fired()
        assert _items(database, folder) == wanted, number
        assert not list(folder.path.glob("new-*")), number
        assert folder.newest() is not None, number
        if not fired:
            break
        assert number < MOST
    assert number > 5


def _items(database: Database, folder: IndexFolder | None) -> dict[str, Any]:
    """The accessories that an index holds."""
    found = SelectionIndex(answerer(), database, folder=folder).held()
    return {sku: item.values for sku in SKUS if (item := found.item(sku)) is not None}


@pytest.fixture
def compiled_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Have the rules compiled once for many audits: two thirds of the time of a small one, and no call to a file."""
    made = dict[int, Kernel]()

    def kernel(rulebook: Rulebook, most_kept: int) -> Kernel:
        if most_kept not in made:
            made[most_kept] = Kernel(rulebook, most_kept)
        return made[most_kept]

    monkeypatch.setattr(state, "Kernel", kernel)


@pytest.mark.usefixtures("compiled_once")
def test_an_audit_ends_with_the_same_bytes(tmp_path: Path) -> None:
    """Whichever call to a file fails, it ends with the error or to its end, and begun again as one that nothing stops.

    By day one call in fifty fails, each of them by night.
    """
    catalogue, some = write_csv(tmp_path / "items.csv", accessories()[:12]), rigs()[:2]
    with small_blocks():
        run(audit_of(catalogue, tmp_path / "whole", some))
        whole, failed = files_of(tmp_path / "whole"), 0
        for number in count(1, 1 if NIGHTLY else 50):
            out = tmp_path / str(number)
            with pytest.MonkeyPatch.context() as patched:
                faults = of_files(patched, pieces=True)
                faults.fail(number)
                try:
                    run(audit_of(catalogue, out, some))
                except OSError:
                    failed += 1
                fired = faults.fired()
            run(audit_of(catalogue, out, some))
            assert files_of(out) == whole, number
            if not fired:
                break
            assert number < MOST
    assert failed > 2


def test_a_workbook_that_cannot_be_written_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whichever call to a file fails, no file of rows stays open, nor behind, unless it is the one to remove it."""
    aside = tmp_path / "aside"
    aside.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(aside))
    failed, left = 0, list[int]()
    for number in count(1):
        with pytest.MonkeyPatch.context() as patched:
            faults = of_files(patched, pieces=True)
            faults.fail(number)
            try:
                write_workbook(tmp_path / f"{number}.xlsx", "Rows", ["a"], [9], [["one"], [2]])
            except OSError:
                failed += 1
            fired = faults.fired()
        left += [number] if list(aside.iterdir()) else []
        for one in aside.iterdir():
            shutil.rmtree(one)
        if not fired:
            break
        assert number < MOST
    assert failed > 2
    assert left in ([], [number - 1])


def test_a_disk_that_fails_is_no_reason_to_begin_anew(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody is told to remove an audit that cannot be read for a moment; of one that is damaged they are."""
    run_file = tmp_path / ".spool" / "run.json"
    run_file.parent.mkdir()
    run_file.write_text('{"of": "these"}', "utf-8")
    faults = of_files(monkeypatch)
    faults.fail(1)
    with pytest.raises(OSError, match="No space left"):
        begun(tmp_path)
    assert faults.fired()
    assert begun(tmp_path) == {"of": "these"}
    run_file.write_text("{", "utf-8")
    with pytest.raises(ProblemsFound, match="begin anew"):
        begun(tmp_path)


def test_faults_are_counted() -> None:
    """The one that is asked for fails, and none before or after it."""
    faults = Faults()
    faults.fail(2)
    faults.call()
    with pytest.raises(Exception, match="disk I/O error"):
        faults.call()
    faults.call()
    assert faults.fired()
    assert not faults.fired()
