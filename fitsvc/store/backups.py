"""A database to one file while it is in use, and back: by SQLite's online copy, or PostgreSQL's own programs."""

import os
import shutil
import sqlite3
import subprocess
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path
from typing import Final

from sqlalchemy import URL

from fitsvc.files import written
from fitsvc.store.database import default_url, migration_connection, revision_of
from fitsvc.store.engines import file_of, parse_url
from fitsvc.store.errors import StoreError, shown

_SQLITE: Final = b"SQLite format 3\0"
_DUMP: Final = b"PGDMP"
"""How a file begins that `pg_dump` wrote."""
_LONGEST: Final = 500


def back_up(url: str | None, file: Path) -> None:
    """Copy a database as it is at one moment to a new file, whatever is written meanwhile; StoreError if it cannot be.

    The file is there whole, or not at all.
    """
    found = parse_url(url or default_url())
    if file.exists():
        raise StoreError(f"`{file}` is there already: give a new name, so that no backup is lost")
    source = file_of(found)
    try:
        with written(file) as beside:
            if source is None:
                _run("pg_dump", found, ["--format=custom", f"--file={beside}"])
            else:
                _copy(source, beside)
    except OSError as error:
        raise StoreError(f"cannot write `{file}`: {error.strerror}") from error


def restore(url: str | None, file: Path) -> None:
    """Put a backup in place of a database that is not there, or has no tables; StoreError for any other, and no change.

    A SQLite file is looked through before it is put in place; PostgreSQL takes all of a dump, or nothing.
    """
    found = parse_url(url or default_url())
    target, kind = file_of(found), _kind_of(file)
    wanted = _DUMP if target is None else _SQLITE
    if kind != wanted:
        is_one, other = ("SQLite", "PostgreSQL") if kind == _SQLITE else ("PostgreSQL", "SQLite")
        raise StoreError(f"`{file}` is a backup of {is_one}: it cannot become a database of {other}")
    if target is None:
        with migration_connection(found) as connection:
            if revision_of(connection) is not None:
                raise StoreError("the database has tables already: restore into an empty one, and let servers use that")
        _run("pg_restore", found, ["--clean", "--if-exists", "--no-owner", "--single-transaction", str(file)])
        return
    if target.exists():
        raise StoreError(f"`{target}` is there already: stop the servers that use it and move it away first")
    try:
        with written(target) as beside:
            _copy(file, beside)
            _look_through(file, beside)
    except OSError as error:
        raise StoreError(f"cannot write `{target}`: {error.strerror}") from error


def _kind_of(file: Path) -> bytes:
    try:
        with file.open("rb") as opened:
            head = opened.read(len(_SQLITE))
    except OSError as error:
        raise StoreError(f"cannot read `{file}`: {error.strerror}") from error
    for kind in (_SQLITE, _DUMP):
        if head.startswith(kind):
            return kind
    raise StoreError(f"`{file}` is no backup: `fitsvc db backup FILE` makes one")


def _copy(source: Path, target: Path) -> None:
    """Copy a SQLite file as it is at one moment."""
    if not source.exists():
        raise StoreError(f"there is no database at `{source}`")
    try:
        with (
            closing(sqlite3.connect(f"{source.absolute().as_uri()}?mode=ro", uri=True)) as opened,
            closing(sqlite3.connect(target)) as copied,
        ):
            # In one step: its log lets others write meanwhile, and in several it would begin anew with each write.
            opened.backup(copied)
    except sqlite3.Error as error:
        raise StoreError(f"cannot copy `{source}`: {error}") from error


def _look_through(file: Path, copy: Path) -> None:
    """Raise StoreError unless a copy is whole, and has fitsvc's tables."""
    try:
        with closing(sqlite3.connect(copy)) as opened:
            (told,) = opened.execute("PRAGMA integrity_check(1)").fetchone()
            (tables,) = opened.execute("SELECT count(*) FROM sqlite_master WHERE name = 'alembic_version'").fetchone()
    except sqlite3.Error as error:
        told, tables = str(error), 1
    if told != "ok":
        raise StoreError(f"`{file}` is damaged: {told}")
    if not tables:
        raise StoreError(f"`{file}` is no backup of fitsvc: it has other tables")


def _run(program: str, url: URL, arguments: Sequence[str]) -> None:
    """Run one of PostgreSQL's programs on a database; its password goes by the environment, where no list shows it."""
    found = shutil.which(program)
    if found is None:
        raise StoreError(f"there is no `{program}` here: install PostgreSQL's client programs, of the server's version")
    bare = URL.create("postgresql", url.username, None, url.host, url.port, url.database, url.query)
    named = bare.render_as_string()
    environment = os.environ | ({"PGPASSWORD": str(url.password)} if url.password else {})
    command = [found, "--no-password", f"--dbname={named}", *arguments]
    done = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
    if done.returncode:
        raise StoreError(f"`{program}` ended with {done.returncode}: {shown(done.stderr.strip(), _LONGEST)}")
