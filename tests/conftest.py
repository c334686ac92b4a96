"""Fixtures that several tests share."""

import atexit
import os
import pwd
import secrets
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from copy import copy
from functools import lru_cache
from pathlib import Path
from typing import Any

import pytest
from counter_browser import DESKTOP, Counter, Seen, browsing, context, serving
from demo_world import SEED, answerer
from effort import NIGHTLY, load_profile
from hook_world import Receiver
from litestar import Litestar
from litestar.datastructures import State
from litestar.events import SimpleEventEmitter
from litestar.testing import TestClient
from playwright.sync_api import Browser, Page
from sqlalchemy import URL, NullPool, create_engine, make_url
from sqlmodel import SQLModel
from waiting import LONGEST

from fitsvc.answers.answering import Answerer
from fitsvc.audits import blocks as audit_blocks
from fitsvc.engine.point import Point
from fitsvc.garbage import collected_seldom
from fitsvc.loading.load import load_file
from fitsvc.planning.planner import Planner
from fitsvc.rulebook import cache as rulebook_cache
from fitsvc.rulebook import yaml_events
from fitsvc.rulebook.rules import Example, Rulebook
from fitsvc.service import app as service_app
from fitsvc.service.app import create_app
from fitsvc.service.openapi import describe
from fitsvc.service.selecting import Selections
from fitsvc.store import database as store
from fitsvc.store.api_keys import create_key
from fitsvc.store.engines import CONNECT, parse_url

load_profile()
# Audits that tests send are kept out of the folder the tests are run in.
os.environ["FITSVC_AUDITS"] = tempfile.mkdtemp(prefix="fitsvc-audits-")
atexit.register(shutil.rmtree, os.environ["FITSVC_AUDITS"], ignore_errors=True)
# Rulebooks that the tests check are kept for all processes of one run, and for no later one.
if "FITSVC_CACHE" not in os.environ:
    os.environ["FITSVC_CACHE"] = tempfile.mkdtemp(prefix="fitsvc-cache-")
    atexit.register(shutil.rmtree, os.environ["FITSVC_CACHE"], ignore_errors=True)
collect_ignore = [] if NIGHTLY else ["test_service_killed.py", "test_service_stock.py"]
"""What takes many minutes, and whose promise is held in a shorter way by day."""
SEED_FILES = ("vehicles.yaml", "receivers.yaml", "mountings.yaml", "trailers.yaml", "accessories.csv", "rigs.yaml")
_FAST = {"fsync": "off", "synchronous_commit": "off", "full_page_writes": "off", "max_connections": "200"}


_ASIDE = ExitStack()


def pytest_collection_finish() -> None:
    """Leave what is imported and collected out of each later search for garbage, and search more rarely.

    The searches took an eighth of all that tests take, and a third of audits that set aside and took back by
    themselves; nothing that is measured here is a process's size.
    """
    _ASIDE.enter_context(collected_seldom(20_000, 20, 20))


@pytest.fixture
def none_set_aside() -> Iterator[None]:
    """Have a collector as another program has it, that is kept from nothing."""
    _ASIDE.close()
    yield
    pytest_collection_finish()


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[URL]:
    """Give a PostgreSQL server in which databases may be made: a named one, or a throw-away cluster."""
    if named := os.environ.get("FITSVC_TEST_POSTGRES_URL"):
        yield parse_url(named)
        return
    folder = Path(tempfile.mkdtemp(prefix="fitsvc-postgres-"))
    try:
        with _cluster(_postgres_programs(), folder) as url:
            yield url
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture(scope="session")
def migrated(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give a SQLite file with all tables and no rows, to copy."""
    file = tmp_path_factory.mktemp("migrated") / "empty.db"
    store.upgrade(f"sqlite:///{file}")
    return file


@pytest.fixture
def url(migrated: Path, tmp_path: Path) -> str:
    """Give the URL of a migrated SQLite database without rows."""
    shutil.copy(migrated, tmp_path / "fitsvc.db")
    return f"sqlite:///{tmp_path / 'fitsvc.db'}"


@pytest.fixture(scope="session")
def postgres_template(postgres_server: URL) -> Iterator[str]:
    """Give the name of a PostgreSQL database with all tables and no rows, to copy."""
    with postgres_database(postgres_server, "template0") as url:
        store.upgrade(_text(url))
        yield str(url.database)


@pytest.fixture(params=["sqlite", "postgresql"])
def empty_url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """Give the URL of a database without tables, on each kind of database in turn."""
    if request.param == "sqlite":
        yield f"sqlite:///{tmp_path / 'empty.db'}"
    else:
        with postgres_database(request.getfixturevalue("postgres_server"), "template0") as url:
            yield _text(url)


@pytest.fixture(params=["sqlite", "postgresql"])
def migrated_url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """Give the URL of a migrated database of the test's own, for one that changes its tables, on each kind in turn."""
    if request.param == "sqlite":
        yield request.getfixturevalue("url")
    else:
        server = request.getfixturevalue("postgres_server")
        with postgres_database(server, request.getfixturevalue("postgres_template")) as url:
            yield _text(url)


@pytest.fixture(scope="session")
def postgres_emptied(postgres_server: URL, postgres_template: str) -> Iterator[URL]:
    """Give a migrated PostgreSQL database that tests have one after the other, emptied in between.

    To make and drop one for each test takes five times as long.
    """
    with postgres_database(postgres_server, postgres_template) as url:
        yield url


@pytest.fixture(params=["sqlite", "postgresql"])
def database_url(request: pytest.FixtureRequest) -> Iterator[str]:
    """Give the URL of a migrated database without rows, on each kind of database in turn."""
    if request.param == "sqlite":
        yield request.getfixturevalue("url")
    else:
        url = request.getfixturevalue("postgres_emptied")
        yield _text(url)
        _empty(url)


def _empty(url: URL) -> None:
    """Leave a PostgreSQL database as it was migrated: nobody in it, no rows, and numbers from one on."""
    tables = ", ".join(f'"{table.name}"' for table in SQLModel.metadata.sorted_tables)
    engine = create_engine(url, poolclass=NullPool)
    with engine.begin() as connection:
        connection.exec_driver_sql(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
            "WHERE datname = current_database() AND pid <> pg_backend_pid()"
        )
        connection.exec_driver_sql(f"TRUNCATE {tables} RESTART IDENTITY")


@pytest.fixture
def database(database_url: str) -> Iterator[store.Database]:
    """Give a migrated database without rows, on each kind of database in turn."""
    opened = store.Database(database_url)
    yield opened
    opened.close()


@pytest.fixture
def sqlite(url: str) -> Iterator[store.Database]:
    """Give a migrated SQLite database without rows, for what is the same on each kind of database."""
    opened = store.Database(url)
    yield opened
    opened.close()


@contextmanager
def postgres_database(server: URL, template: str) -> Iterator[URL]:
    """Give the URL of a database made for a while."""
    name = f"fitsvc_test_{secrets.token_hex(6)}"
    admin = create_engine(server, isolation_level="AUTOCOMMIT")
    try:
        with admin.connect() as connection:
            connection.exec_driver_sql(f"CREATE DATABASE {name} TEMPLATE {template}")
        yield server.set(database=name)
        with admin.connect() as connection:
            connection.exec_driver_sql(f"DROP DATABASE {name} WITH (FORCE)")
    finally:
        admin.dispose()


def _postgres_programs() -> Path:
    """Return the folder of initdb and pg_ctl, the newest version's."""
    folders = [path.parent for path in Path("/usr/lib/postgresql").glob("*/bin/initdb")]
    if folders:
        return max(folders, key=lambda folder: int(folder.parent.name))
    if on_path := shutil.which("initdb"):
        return Path(on_path).resolve().parent
    pytest.fail(
        "the store is tested on PostgreSQL too, and none is installed: install the Debian package "
        "`postgresql`, or set FITSVC_TEST_POSTGRES_URL to a server where databases may be made",
        pytrace=False,
    )


@contextmanager
def _cluster(programs: Path, folder: Path, settings: Mapping[str, str] = _FAST) -> Iterator[URL]:
    """Run a cluster of its own on a free loopback port; the server refuses to run as root."""
    password = secrets.token_hex(16)
    (folder / "password").write_text(password)
    as_user: list[str | Path] = ["runuser", "-u", "postgres", "--"] if os.geteuid() == 0 else []
    if as_user:
        owner = pwd.getpwnam("postgres")
        for path in (folder, folder / "password"):
            os.chown(path, owner.pw_uid, owner.pw_gid)
    data, port = folder / "data", _free_port()
    owned = ["-U", "fitsvc", "-A", "scram-sha-256", f"--pwfile={folder / 'password'}"]
    _run([*as_user, programs / "initdb", "-D", data, *owned, "--no-sync", "-E", "UTF8", "--locale=C.UTF-8"])
    own = {"listen_addresses": "127.0.0.1", "port": port, "unix_socket_directories": folder}
    options = " ".join(f"-c {name}={value}" for name, value in {**settings, **own}.items())
    control = [*as_user, programs / "pg_ctl", "-D", data, "-w"]
    _run([*control, "-l", folder / "log", "-o", options, "start"], folder / "log")
    try:
        yield URL.create("postgresql+psycopg", "fitsvc", password, "127.0.0.1", port, "postgres")
    finally:
        _run([*control, "-m", "immediate", "stop"])


def _run(command: list[str | Path], log: Path | None = None) -> None:
    # A server started here keeps the pipe of captured output open, so output goes to a file.
    with tempfile.TemporaryFile("w+") as output:
        done = subprocess.run(command, stdout=output, stderr=subprocess.STDOUT, cwd="/", check=False)
        if done.returncode:
            output.seek(0)
            told = output.read() + (log.read_text() if log and log.exists() else "")
            pytest.fail(f"cannot run a PostgreSQL server for the tests:\n{told}", pytrace=False)


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _text(url: URL) -> str:
    return make_url(url).render_as_string(hide_password=False)


@pytest.fixture(scope="session", autouse=True)
def connected_in_its_time() -> Iterator[None]:
    """Let a database that is there be waited for, however busy the machine is."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setitem(CONNECT, "connect_timeout", int(LONGEST))
        yield


@pytest.fixture(scope="session", autouse=True)
def described_once() -> Iterator[None]:
    """Let the applications of one answerer share their description: it is the same, and a third of making one."""
    made = dict[Answerer, Any]()

    def described(app: Litestar, answerer: Answerer) -> Any:
        if answerer not in made:
            made[answerer] = describe(app, answerer)
        return made[answerer]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(service_app, "describe", described)
        yield


@pytest.fixture(scope="session", autouse=True)
def parsed_once() -> Iterator[None]:
    """Let the rulebooks that tests load with one place changed share the trees of all other files: half of a loading.

    A tree is not changed by what reads it, and holds its file's name and text, by which it is found here.
    """
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(yaml_events, "read", lru_cache(maxsize=500)(yaml_events.read))
        yield


@pytest.fixture(scope="session", autouse=True)
def kept_once() -> Iterator[None]:
    """Let the commands that tests run in this process share a rulebook that was kept, and so what is compiled of it.

    Each finds it kept by itself; nothing changes a rulebook once it is made.
    """
    made, find = dict[tuple[Path, str], Rulebook](), rulebook_cache._find

    def found(where: Path, key: str, examples: Mapping[str, tuple[Example, ...]]) -> Rulebook | None:
        kept = find(where, key, examples)
        return kept and made.setdefault((where, key), kept)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(rulebook_cache, "_find", found)
        yield


@pytest.fixture(scope="session", autouse=True)
def routed_once() -> Iterator[None]:
    """Let the applications of one rulebook share their routes: to enter them takes four times what most requests do.

    Each has a state, an event loop's hooks and a way in of its own, which is all that differs.
    """
    made, listed = dict[tuple[str, ...], Litestar](), service_app._routes

    def routes(shared: Selections) -> Any:
        return [shared]

    def routed(route_handlers: list[Selections], **settings: Any) -> Litestar:
        (shared,) = route_handlers
        kinds = tuple(shared.selector.kinds)
        if kinds not in made:
            made[kinds] = Litestar(route_handlers=listed(shared), **settings)
        app = copy(made[kinds])
        app.state, app.event_emitter = State(), SimpleEventEmitter([])
        app.on_startup, app.on_shutdown = settings["on_startup"], settings["on_shutdown"]
        app.asgi_router = copy(app.asgi_router)
        app.asgi_router.app = app
        # What the router is wrapped in turns errors into responses, and has nothing of the application but the router.
        wrapped: Any = copy(made[kinds].asgi_handler)
        assert wrapped.app is made[kinds].asgi_router
        wrapped.app = app.asgi_router
        app.asgi_handler = wrapped
        return app

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(service_app, "_routes", routes)
        patch.setattr(service_app, "Litestar", routed)
        yield


@pytest.fixture(scope="session", autouse=True)
def prepared_once() -> Iterator[None]:
    """Let the audits of one rulebook share its compiled rules, which takes longer than to judge what a test audits.

    What each learns of its own items stays its own.
    """
    made = dict[int, Point]()

    def prepared(rulebook: Rulebook) -> Point:
        # The point holds its rulebook, so that no other can come to have the same id.
        return made.get(id(rulebook)) or made.setdefault(id(rulebook), Point(rulebook))

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(audit_blocks, "Point", prepared)
        yield


@pytest.fixture(scope="session", autouse=True)
def compiled_late() -> Iterator[None]:
    """Let rules that a service takes here be compiled as they are asked for: to prepare them takes some seconds.

    What is asked then waits for that, and is the same. A service that prepares all is begun in `warm`.
    """
    with pytest.MonkeyPatch.context() as patch:
        for one in (Answerer, Planner):
            patch.setattr(one, "prepare", lambda self: None)
        yield


@pytest.fixture(scope="session")
def rulebook() -> Rulebook:
    """Give the rulebook that ships with fitsvc."""
    return answerer().rulebook


@pytest.fixture
def client(database: store.Database, tmp_path: Path) -> Iterator[TestClient[Litestar]]:
    """Give a client of the service over a database without rows, on each kind of database in turn."""
    with TestClient(create_app(database, answerer(), tmp_path / "audits"), raise_server_exceptions=False) as opened:
        yield opened


@pytest.fixture
def key(database: store.Database) -> dict[str, str]:
    """Give the header that lets a caller change what is stored."""
    with database.session() as session:
        return {"X-API-Key": create_key(session, "yard")[0]}


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    """Give a server that is sent what changed."""
    running = Receiver()
    yield running
    running.end()


@pytest.fixture(scope="session")
def pages(tmp_path_factory: pytest.TempPathFactory, migrated: Path) -> Iterator[TestClient[Litestar]]:
    """Give a client of the pages over the demo's records, in this process; nothing there may be changed."""
    folder = tmp_path_factory.mktemp("pages")
    shutil.copy(migrated, folder / "demo.db")
    opened = store.Database(f"sqlite:///{folder / 'demo.db'}")
    for name in SEED_FILES:
        load_file(opened, answerer().reader, SEED / name)
    with TestClient(create_app(opened, answerer(), folder / "audits"), raise_server_exceptions=False) as client:
        yield client
    opened.close()


@pytest.fixture(scope="session")
def counter(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Counter]:
    """Give the service as a process of its own on the demo's data."""
    with serving(tmp_path_factory.mktemp("counter")) as running:
        yield running


# A browser's thread counts as one with a running event loop, which would hinder other modules' tests.
@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Give a real browser."""
    with browsing() as running:
        yield running


@pytest.fixture
def page(browser: Browser, counter: Counter) -> Iterator[Page]:
    """Give an empty page of a desktop's size, which may ask no other host and has nothing to complain of at the end."""
    with context(browser, counter, DESKTOP) as window:
        opened, seen = window.new_page(), Seen(counter.url)
        seen.watch(opened)
        yield opened
        assert (seen.elsewhere, seen.told) == ([], [])
