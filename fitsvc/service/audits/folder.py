"""What is kept of audits that callers ask for: a folder each, which server and worker processes share.

What holds: whoever carries an audit out holds a lock on its folder, which the system takes back when the process ends,
however it ends. So an audit is never carried out twice at a time, by whatever number of servers and machines that share
the folder, as long as its file system keeps locks between them (local disks do, and NFS from version 4 on). An audit
that was begun stays `queued` until it has an end, so that one whose machine fell over is taken up again.
"""

import hashlib
import json
import os
import secrets
import shutil
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from fitsvc.audits.results import tables_of
from fitsvc.audits.rigs import CARRIED
from fitsvc.document import Document, Json
from fitsvc.files import locked, write_text
from fitsvc.language.problems import Problem
from fitsvc.store.errors import AlreadyExists, Conflict, NotFound
from fitsvc.store.validation import PREFIXES, new_id

_PREFIX: Final = PREFIXES["audit"]
FORMATS: Final[Mapping[str, str]] = {
    "text/csv": "csv",
    "text/tab-separated-values": "tsv",
    "application/x-ndjson": "jsonl",
    "application/jsonl": "jsonl",
    "application/vnd.apache.parquet": "parquet",
    "application/yaml": "yaml",
    "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet": "xlsx",
    "application/vnd.oasis.opendocument.spreadsheet": "ods",
}
"""How the formats of files are called when they are sent."""
FILES: Final[Mapping[str, tuple[str, ...]]] = {
    "catalogue": ("csv", "tsv", "jsonl", "parquet", "xlsx", "ods"),
    "claims": ("csv", "tsv", "jsonl", "parquet", "xlsx", "ods"),
    "rigs": ("jsonl", "yaml", "csv"),
    "mapping": ("yaml",),
}
"""The files of an audit, and the formats that each may have."""
BEFORE: Final = ("new", "failed", "interrupted", "cancelled")
"""The states in which nobody works on an audit, and it may be changed and begun."""
STATES: Final = (*BEFORE, "queued", "running", "finished")
MOST_BYTES: Final = 2_000_000_000
"""The largest file that is taken, unless the server is told otherwise."""
STORED_RIGS: Final = "rigs.parquet"
"""The store's rigs as they were when the audit began."""
STORED_GOODS: Final = "goods.json"
"""What is usual of the store's goods, and its adapters, as they were then."""
DIFFERENCE: Final = "difference.json"
"""What a nightly audit found that the one before it had not."""
SUPPLIERS: Final = "suppliers"
"""The folder beside the audits with the mappings and newest files of suppliers."""


def audits_root(given: Path | None = None) -> Path:
    """The folder that audits are kept in: the one given, FITSVC_AUDITS, or `fitsvc-audits` in the current folder."""
    return (given or Path(os.environ.get("FITSVC_AUDITS") or "fitsvc-audits")).absolute()


class AuditFolder:
    """One audit."""

    def __init__(self, path: Path) -> None:
        self.path, self.key, self.out = path, path.name, path / "out"

    def told(self) -> Document:
        """What the audit was made with."""
        return _read(self.path / "audit.json") or {}

    def made(self) -> tuple[str, int]:
        """Its id and when it was made, which tell it from one that had the id before it."""
        try:
            return self.key, (self.path / "audit.json").stat().st_ctime_ns
        except FileNotFoundError:
            return self.key, 0

    def state(self) -> str:
        """The state it is in."""
        kept = str((_read(self.path / "state.json") or {}).get("state", "new"))
        return "running" if kept == "queued" and self.is_held() else kept

    def document(self) -> Document:
        """The audit as the API shows it."""
        told, kept, state = self.told(), _read(self.path / "state.json") or {}, self.state()
        progress = _read(self.path / "progress.json") if state in ("queued", "running") else None
        files = [{"name": name, **one} for name, one in sorted(self.files().items())]
        return {
            "id": self.key,
            "name": told.get("name", ""),
            "state": state,
            "created_at": told.get("created_at"),
            "created_by": told.get("created_by", ""),
            "against": told.get("against"),
            "asked": {name: told["carried"][name] for name in CARRIED if name in told.get("carried", {})},
            "files": [{name: one[name] for name in ("name", "format", "bytes", "sha256")} for one in files],
            "progress": progress,
            "problems": kept.get("problems", []),
            "results": tables_of(self.out) if state == "finished" else [],
        }

    def files(self) -> dict[str, Document]:
        """The files that were sent, by name."""
        found: dict[str, Document] = _read(self.path / "files.json") or {}
        return found

    def file(self, name: str) -> Path | None:
        """Where a file that was sent stands."""
        found = self.files().get(name)
        return self.path / found["file"] if found else None

    def add_file(
        self, name: str, part: Path, format: str, size: int, sha256: str, modified_at: str | None = None
    ) -> None:
        """Take a file that is whole, or raise Conflict; results from before it are of something else, and go."""
        with self._changing():
            self._require(BEFORE, "its files can be sent before it is started")
            if self.is_held():
                raise Conflict(f"audit `{self.key}` is still being ended; try again in a moment")
            self.forget()
            kept, files = f"{name}-{secrets.token_hex(4)}.{format}", self.files()
            part.replace(self.path / kept)
            before = files.get(name)
            files[name] = {"file": kept, "format": format, "bytes": size, "sha256": sha256}
            files[name] |= {"modified_at": modified_at} if modified_at else {}
            write(self.path / "files.json", files)
            write(self.path / "state.json", {"state": "new"})
            if before:
                (self.path / before["file"]).unlink(missing_ok=True)

    def forget(self) -> None:
        """Let go of all that was done."""
        shutil.rmtree(self.out, ignore_errors=True)
        for kept in (STORED_RIGS, STORED_GOODS, DIFFERENCE):
            (self.path / kept).unlink(missing_ok=True)

    def start(self) -> None:
        """Let it be carried out, or taken up again; Conflict where there is nothing to audit."""
        with self._changing():
            state = self.state()
            if state not in BEFORE:
                return
            if "catalogue" not in self.files():
                raise Conflict(f"audit `{self.key}` has no catalogue yet; send it to `files/catalogue`, then start it")
            write(self.path / "state.json", {"state": "queued"})

    def cancel(self) -> None:
        """Let it not be carried out any further; what is done is kept."""
        with self._changing():
            if self.state() in ("queued", "running"):
                write(self.path / "state.json", {"state": "cancelled"})

    def end(self, state: str, problems: Sequence[Problem] = ()) -> None:
        """Note how an audit that was to be carried out ended; one that was cancelled meanwhile stays so."""
        with self._changing():
            if self.is_wanted():
                write(self.path / "state.json", {"state": state, "problems": [_shown(one) for one in problems]})

    def is_wanted(self) -> bool:
        """Whether it is still to be carried out."""
        return (_read(self.path / "state.json") or {}).get("state") == "queued"

    def is_ended(self) -> bool:
        """Whether it is finished, and will never be anything else."""
        return (_read(self.path / "state.json") or {}).get("state") == "finished"

    def tell(self, stage: str, done: int, total: int, seconds_left: float | None) -> None:
        """Note how far it is."""
        left = None if seconds_left is None else round(seconds_left)
        write(self.path / "progress.json", {"stage": stage, "done": done, "total": total or None, "seconds_left": left})

    def delete(self) -> None:
        """Remove it with all its files; Conflict while somebody works on it."""
        with self.holding() as held:
            if not held or self.is_wanted():
                raise Conflict(f"audit `{self.key}` is {'running' if not held else 'queued'}; cancel it first")
            # Without what it was made with it is no audit any more, whatever of it is left if this is cut short.
            (self.path / "audit.json").unlink(missing_ok=True)
            shutil.rmtree(self.path, ignore_errors=True)

    @contextmanager
    def holding(self) -> Iterator[bool]:
        """Hold the lock of whoever carries the audit out, if nobody does."""
        with _locked(self.path / "lock", wait=False) as held:
            yield held

    def is_held(self) -> bool:
        """Whether somebody carries it out now."""
        with _locked(self.path / "lock", shared=True, wait=False) as free:
            return not free

    @contextmanager
    def _changing(self) -> Iterator[None]:
        with _locked(self.path / "state.lock"):
            yield

    def _require(self, states: Sequence[str], what: str) -> None:
        state = self.state()
        if state not in states:
            raise Conflict(f"audit `{self.key}` is {state}: {what}")


class Audits:
    """All audits of a service."""

    def __init__(self, root: Path) -> None:
        self.root = root

    def create(self, key: str | None, told: Mapping[str, Json]) -> AuditFolder:
        """Make a new audit; AlreadyExists when there is one under the key."""
        made = key or new_id("audit")
        folder = AuditFolder(self.root / made)
        self.root.mkdir(parents=True, exist_ok=True)
        try:
            folder.path.mkdir()
        except FileExistsError:
            raise AlreadyExists("audit", [made]) from None
        write(folder.path / "audit.json", {**told, "created_at": f"{datetime.now(UTC):%Y-%m-%dT%H:%M:%S.%fZ}"})
        return folder

    def get(self, key: str) -> AuditFolder:
        """One audit, or NotFound."""
        folder = AuditFolder(self.root / key)
        if not key.startswith(_PREFIX) or "/" in key or "\0" in key or not folder.told():
            raise NotFound("audit", key)
        return folder

    def finished(self) -> list[AuditFolder]:
        """Those that have ended well, and have results."""
        return [one for one in self.listed() if one.told() and one.is_ended()]

    def listed(self) -> list[AuditFolder]:
        """All audits, in the order of their ids."""
        return [AuditFolder(path) for path in sorted(self.root.glob(f"{_PREFIX}*"))]


def digest_of(path: Path) -> str:
    """The digest of a file's bytes, as it is told of the files of an audit."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def write(path: Path, document: Json) -> None:
    """Write a small document; nobody else writes it meanwhile, by one of the locks or since it is being made."""
    write_text(path, json.dumps(document, ensure_ascii=False))


def _read(path: Path) -> Json:
    try:
        return json.loads(path.read_text("utf-8"))
    except (OSError, ValueError):
        return None


@contextmanager
def _locked(path: Path, *, shared: bool = False, wait: bool = True) -> Iterator[bool]:
    """Hold a lock of an audit; NotFound where it has been deleted."""
    with ExitStack() as stack:
        try:
            held = stack.enter_context(locked(path, shared=shared, wait=wait))
        except FileNotFoundError:
            raise NotFound("audit", path.parent.name) from None
        yield held


def _shown(one: Problem) -> Document:
    """A problem with a file, without where the service keeps it."""
    name = Path(one.file).name.partition("-")[0] if one.file else ""
    kept = {"detail": one.message, "help": one.help, "file": name, "line": one.line, "column": one.pointer}
    return {name: value for name, value in kept.items() if value}
