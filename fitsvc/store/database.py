"""The database: where it is, sessions on it, and bringing its tables up to date."""

import os
import shutil
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Final

from sqlalchemy import URL, inspect, text
from sqlalchemy.engine import Connection
from sqlmodel import Session

from fitsvc.paths import data_dir
from fitsvc.store.engines import file_of, make_engine, parse_url, plain_errors
from fitsvc.store.errors import NotMigrated, StoreError, Unreachable
from fitsvc.store.flushing import Flushed, has_written

if TYPE_CHECKING:
    from alembic.config import Config

HEAD: Final = "0015"
"""The last migration. It stands here since Alembic takes long to load, and only migrating needs it."""
_ROOM: Final = 20_000_000
"""Bytes that a disk should have left: the log of a SQLite file grows to some megabytes before it is taken in."""
_MIGRATION_LOCK = 7_203_114


def default_url() -> str:
    """Return the URL in FITSVC_DATABASE_URL, or the file `fitsvc.db` in the current folder."""
    return os.environ.get("FITSVC_DATABASE_URL") or "sqlite:///fitsvc.db"


class Database:
    """One database and its pool of connections."""

    def __init__(self, url: str | None = None) -> None:
        self._url = parse_url(url or default_url())
        self._engine = make_engine(self._url)
        self._file = file_of(self._url)
        self._flushed = Flushed(self._file.with_name(f"{self._file.name}-wal")) if self._file else None
        self._opened: tuple[int, int] | None = None
        self._was_current = False

    @property
    def url(self) -> str:
        """The URL with its password, for another process that opens the database."""
        return self._url.render_as_string(hide_password=False)

    @property
    def shown_url(self) -> str:
        """The URL without its password."""
        return self._url.render_as_string(hide_password=True)

    @contextmanager
    def session(self) -> Iterator[Session]:
        """Give a session: committed at the end and safe from a cut of the power, rolled back when anything is raised.

        After a StoreError inside, leave the block: the session may not be fit for more.
        Records stay readable afterwards. A session used after its end would take a connection that nobody gives back,
        and raises instead.
        """
        self._require_the_file()
        made = Session(self._engine, expire_on_commit=False, close_resets_only=False)
        with plain_errors(self._url), made as session:
            yield session
            session.flush()
            writes = self._flushed is not None and has_written(session)
            session.commit()
        if writes and self._flushed is not None:
            self._flushed.wait()

    def check(self) -> None:
        """Raise Unreachable or NotMigrated unless the database is ready for use, for writing too.

        Once it was, it may be brought up to a newer version's tables while it is in use: migrations only add to what
        older versions read and write, so that servers of two versions go on side by side until all are of the newer.
        """
        self._require_the_file()
        with plain_errors(self._url), self._engine.connect() as connection:
            found = revision_of(connection)
            if not (self._was_current and found is not None and found > HEAD):
                _require_head(found, self.shown_url)
            self._was_current = True
            if self._file is None:
                if connection.execute(text("SHOW transaction_read_only")).scalar() == "on":
                    raise Unreachable(f"the database `{self.shown_url}` can only be read")
            else:
                _require_room(self._file)

    def _require_the_file(self) -> None:
        """Raise Unreachable when another file has taken the place of the one that was opened.

        Connections go on with the old one, and what they write would be lost with it.
        """
        if self._file is None:
            return
        try:
            told = self._file.stat()
        except OSError:
            found = None
        else:
            found = told.st_dev, told.st_ino
        self._opened = self._opened or found
        if self._opened is not None and found != self._opened:
            what = "was deleted" if found is None else "was replaced by another file"
            raise Unreachable(f"the database `{self.shown_url}` {what} while it was open: start anew")

    def close(self) -> None:
        """Close all connections."""
        self._engine.dispose()


def _require_room(file: Path) -> None:
    """Raise Unreachable when a file can only be read, or its disk is all but full."""
    if not os.access(file, os.W_OK) or not os.access(file.parent, os.W_OK):
        raise Unreachable(f"the database `{file}` can only be read")
    if shutil.disk_usage(file.parent).free < _ROOM:
        raise Unreachable(f"the disk of the database `{file}` has less than {_ROOM // 10**6} MB left")


def upgrade(url: str | None = None, revision: str = "head") -> None:
    """Create or update the tables, as far as a revision; does nothing when they are up to date."""
    from alembic import command

    _run(command.upgrade, url, revision)


def downgrade(url: str, revision: str) -> None:
    """Take the tables back to an earlier revision, `base` for none; the data in them goes."""
    from alembic import command

    _run(command.downgrade, url, revision)


def is_current(url: str | None = None) -> bool:
    """Tell whether the tables are those of this version of fitsvc."""
    database = Database(url)
    try:
        database.check()
    except NotMigrated:
        return False
    finally:
        database.close()
    return True


def migration_config(url: str) -> "Config":
    """Return the settings for migration commands; there is no settings file."""
    from alembic.config import Config

    config = Config(stdout=sys.stdout)  # its own is the one there was when it was loaded
    config.set_main_option("script_location", str(data_dir("migrations")).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    config.attributes["url"] = parse_url(url)
    return config


@contextmanager
def migration_connection(url: URL) -> Iterator[Connection]:
    """Give a connection on which one migration runs as one transaction, and no other beside it."""
    engine = make_engine(url, for_migration=True)
    try:
        with plain_errors(url), engine.connect() as connection:
            if url.get_backend_name() == "sqlite":
                connection.exec_driver_sql("BEGIN IMMEDIATE")
            else:
                connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_MIGRATION_LOCK})")
            yield connection
            connection.commit()
    finally:
        engine.dispose()


def _run(step: "Callable[[Config, str], None]", url: str | None, revision: str) -> None:
    from alembic.util.exc import CommandError

    config = migration_config(url or default_url())
    try:
        step(config, revision)
    except CommandError as error:
        raise StoreError(f"cannot migrate the database: {error}") from error


def revision_of(connection: Connection) -> str | None:
    """The migration that a database's tables are of; None where it has no tables."""
    if not inspect(connection).has_table("alembic_version"):
        return None
    return connection.execute(text("SELECT version_num FROM alembic_version")).scalar()


def _require_head(found: str | None, where: str) -> None:
    if found == HEAD:
        return
    from alembic.script import ScriptDirectory

    known = ScriptDirectory.from_config(migration_config("sqlite:///unused")).walk_revisions()
    if found and found not in {script.revision for script in known}:
        raise NotMigrated(f"the database `{where}` was made by a newer fitsvc: install that version or newer")
    raise NotMigrated(f"the database `{where}` is not up to date: run `fitsvc db upgrade`")
