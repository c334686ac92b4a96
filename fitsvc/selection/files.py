"""Segments in files, which the services of a machine map into their memory instead of reading the store again.

Each state of a store under a rulebook has a folder of its own. It is written under another name, brought to the
disk, and renamed when it is whole; it is never changed, only removed when a newer one is there, and whoever has it
mapped keeps it. What is read is first held to the checksum that was written beside it.
"""

import hashlib
import json
import logging
import os
import shutil
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Final, NamedTuple

import pyarrow as pa
from sqlalchemy import make_url

import fitsvc
from fitsvc.document import Json
from fitsvc.files import locked, written_folder
from fitsvc.selection.folding import Tables
from fitsvc.store.database import Database

_FORMAT: Final = 1
_TOLD: Final = "index.json"
_NEW: Final = "new-"
_log = logging.getLogger("fitsvc.selection")


def index_root(given: Path | None, database: Database) -> Path:
    """The folder for indexes: the one given, FITSVC_INDEX, beside a SQLite file, or in the user's cache folder."""
    if given or os.environ.get("FITSVC_INDEX"):
        return (given or Path(os.environ["FITSVC_INDEX"])).absolute()
    url = make_url(database.shown_url)
    if url.get_backend_name() == "sqlite":
        return Path(f"{Path(str(url.database)).absolute()}.index")
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "fitsvc" / "index"


class Saved(NamedTuple):
    """A saved index: its tables, and what its builder told of it."""

    tables: Tables
    told: Mapping[str, Json]


class IndexFolder:
    """The saved indexes of one store under one rulebook."""

    def __init__(self, root: Path, database: Database, digest: str) -> None:
        url = make_url(database.shown_url)
        where = str(Path(str(url.database)).resolve()) if url.get_backend_name() == "sqlite" else url.database
        self._of = [_FORMAT, fitsvc.__version__, digest, url.get_backend_name(), url.host, url.port, where]
        self.path = root / hashlib.blake2b(json.dumps(self._of).encode(), digest_size=12).hexdigest()

    def newest(self) -> Saved | None:
        """The newest index that is whole; None without one."""
        for folder in self._folders():
            try:
                return self._open(folder)
            except (OSError, ValueError, KeyError, TypeError, pa.ArrowException) as error:
                _log.warning("the selection index in %s cannot be used and is made anew: %s", folder, error)
        return None

    def save(self, tables: Tables, told: Mapping[str, Json]) -> Saved:
        """Save an index and give it back as it is then mapped; OSError when that cannot be done."""
        folder = self.path / f"{max(map(_number, self._folders()), default=0) + 1:010}"
        with written_folder(folder, self.path / f"{_NEW}{os.getpid()}") as new:
            files = {name: _write(new / f"{name}.arrow", table) for name, table in tables._asdict().items()}
            text = json.dumps({**told, "of": self._of, "files": files})
            (new / _TOLD).write_text(f"{_check(text)}\n{text}", "utf-8")
        for old in [*self.path.glob(f"{_NEW}*"), *self._folders()]:
            if old != folder:
                shutil.rmtree(old, ignore_errors=True)  # the caller has the lock: nobody else is at work on them
        return self._open(folder)

    @contextmanager
    def lock(self) -> Iterator[None]:
        """Let nobody else build meanwhile, on this machine; OSError where the folder cannot be used."""
        self.path.mkdir(mode=0o700, parents=True, exist_ok=True)
        with locked(self.path / "lock"):
            yield

    def _folders(self) -> list[Path]:
        """The saved ones, the newest first."""
        found = (folder for folder in self.path.glob("*") if folder.name.isdigit())
        return sorted(found, key=_number, reverse=True)

    def _open(self, folder: Path) -> Saved:
        check, _, text = (folder / _TOLD).read_text(encoding="utf-8").partition("\n")
        if check != _check(text):
            raise ValueError(f"{_TOLD} is not as it was written")
        told = json.loads(text)
        if told["of"] != self._of:
            raise ValueError("it is of another store or rulebook")
        tables = Tables(*(_map(folder / f"{name}.arrow", told["files"][name]) for name in Tables._fields))
        return Saved(tables, told)


def _number(folder: Path) -> int:
    return int(folder.name)


def _check(text: str) -> str:
    return hashlib.blake2b(text.encode(), digest_size=32).hexdigest()


def _write(path: Path, table: pa.Table) -> str:
    """Write a table in one piece and give its checksum."""
    with pa.OSFile(str(path), "wb") as sink, pa.ipc.new_file(sink, table.schema) as writer:
        for batch in table.combine_chunks().to_batches():
            writer.write_batch(batch)
    with path.open("rb") as file:
        return hashlib.file_digest(file, "blake2b").hexdigest()


def _map(path: Path, check: str) -> pa.Table:
    """A written table, mapped, when it is as it was written."""
    with path.open("rb") as file:
        if hashlib.file_digest(file, "blake2b").hexdigest() != check:
            raise ValueError(f"{path.name} is not as it was written")
    return pa.ipc.open_file(pa.memory_map(str(path))).read_all()
