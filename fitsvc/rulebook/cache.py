"""Checked rulebooks in the user's cache folder, so that no command reads and checks the same rules again.

One is found by a digest over all that it comes from: the rule files, fitsvc's own source of the language and the
rulebook, and Python's version. Whatever is wrong with a file there, or with the folder, the rules are read
afresh: nothing is lost by deleting it, and a rulebook that has faults never comes to stand there.

The folder is used only where nobody else may write to it; even so what is read is data, never code, and its
checksum must fit. `FITSVC_CACHE` names another folder; `off` does without.
"""

import hashlib
import os
import stat
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import suppress
from functools import cache, cached_property, partial
from io import FileIO
from pathlib import Path
from typing import Final

import fitsvc
from fitsvc.files import locked, written
from fitsvc.rulebook.dating import today
from fitsvc.rulebook.encoding import decode, encode
from fitsvc.rulebook.folder import kept_files, passed_over
from fitsvc.rulebook.rules import Example, Rulebook
from fitsvc.rulebook.yaml_text import LARGEST_FILE

MOST_KEPT: Final = 8
"""A shop tries a few versions of its rules beside fitsvc's own; what was longest not used goes first."""
_LOCK: Final = ".lock"
_LARGEST: Final = 64_000_000
_CHECKSUM: Final = hashlib.sha256().digest_size
_SOURCES: Final = ("language", "rulebook")


def cached_rulebook(folder: Path) -> Rulebook:
    """The rulebook in a folder, checked now or before; ProblemsFound has every problem of every file."""
    contents = _contents(folder)
    where = _where() if contents else None
    if contents is None or where is None:
        return _read(folder, {})
    key = _key(folder, contents)
    found = _find(where, key, _Examples(partial(_read, folder, contents)))
    if found is None:
        found = _read(folder, contents)
        _keep(where, key, found)
    return found


class _Examples(Mapping[str, tuple[Example, ...]]):
    """The examples of a rulebook that was kept, read from its files when the first is asked for."""

    def __init__(self, read: Callable[[], Rulebook]) -> None:
        self._read = read

    @cached_property
    def _all(self) -> Mapping[str, tuple[Example, ...]]:
        return self._read().examples

    def __getitem__(self, id: str) -> tuple[Example, ...]:
        return self._all[id]

    def __iter__(self) -> Iterator[str]:
        return iter(self._all)

    def __len__(self) -> int:
        return len(self._all)


def _read(folder: Path, contents: Mapping[Path, bytes]) -> Rulebook:
    from fitsvc.rulebook.loader import load_rulebook  # brings all that reads and checks rules

    return load_rulebook(folder, contents)


def _contents(folder: Path) -> dict[Path, bytes] | None:
    """The bytes of every rule file; None when one cannot be read or is none, which reading the rules will tell."""
    contents: dict[Path, bytes] = {}
    try:
        if any(passed_over(folder)):
            return None
        for path in kept_files(folder).values():
            if not path.is_file():
                return None
            with path.open("rb") as stream:
                contents[path] = stream.read(LARGEST_FILE + 1)
    except OSError:
        return None
    return contents


def _key(folder: Path, contents: Mapping[Path, bytes]) -> str:
    """The name of a rulebook: a digest over all that it comes from, and the folder's name, which problems tell."""
    parts = [_own_source(), sys.version.encode(), folder.name.encode()]
    if any(b"holds_" in data for data in contents.values()):
        parts.append(today().isoformat().encode())  # what holds today may not hold tomorrow
    for name, path in kept_files(folder).items():
        parts += [name.encode(), contents.get(path, b"")]
    return _digest(parts)


@cache
def _own_source() -> bytes:
    """What fitsvc itself makes a rulebook with."""
    parts = [fitsvc.__version__.encode()]
    for name in _SOURCES:
        for path in sorted((Path(fitsvc.__file__).parent / name).rglob("*.*")):
            parts += [path.name.encode(), path.read_bytes()] if path.suffix in (".py", ".json") else []
    return _digest(parts).encode()


def _digest(parts: Iterable[bytes]) -> str:
    digest = hashlib.sha256()
    for part in parts:
        digest.update(len(part).to_bytes(8, "big") + part)
    return digest.hexdigest()


def _where() -> Path | None:
    """The folder that rulebooks are kept in, made if need be; None where there is none that is the user's alone."""
    named = os.environ.get("FITSVC_CACHE", "")
    if named == "off" or not hasattr(os, "geteuid"):
        return None
    try:
        own = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "fitsvc"
        folder = (Path(named) if named else own) / "rulebooks"
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        return folder if stat.S_ISDIR(_own(folder.lstat()).st_mode) else None
    except (OSError, RuntimeError):
        return None


def _own(found: os.stat_result) -> os.stat_result:
    """Hold a file to be the user's own, and nobody else's to write."""
    if found.st_uid != os.geteuid() or found.st_mode & (stat.S_IWGRP | stat.S_IWOTH):
        raise PermissionError("others may write here")
    return found


def _find(where: Path, key: str, examples: Mapping[str, tuple[Example, ...]]) -> Rulebook | None:
    with suppress(OSError, ValueError):
        with FileIO(where / key, opener=_at_once) as stream:
            _own(os.fstat(stream.fileno()))
            data = stream.read(_LARGEST) or b""
        if data[:_CHECKSUM] == _checksum(key, data[_CHECKSUM:]):
            found = decode(data[_CHECKSUM:], examples)
            _note_use(where / key)
            return found
    return None


def _note_use(path: Path) -> None:
    """Let a rulebook outstay those that nobody asks for, as fitsvc's own outstays the versions that a shop tries."""
    with suppress(OSError):
        os.utime(path)


def _at_once(path: str, flags: int) -> int:
    """Open a file by its own name, and whatever stands there instead without waiting for it."""
    return os.open(path, flags | os.O_NOFOLLOW | os.O_NONBLOCK)


def _keep(where: Path, key: str, rulebook: Rulebook) -> None:
    """Write a rulebook, unless another process is writing one; whoever reads meanwhile finds a whole one or none."""
    data = encode(rulebook)
    with suppress(OSError), locked(where / _LOCK, wait=False) as alone:
        if alone:
            with written(where / key) as beside:
                beside.touch(0o600)
                beside.write_bytes(_checksum(key, data) + data)
            kept = (path for path in where.iterdir() if path.name != _LOCK)
            for old in sorted(kept, key=lambda path: path.lstat().st_mtime)[:-MOST_KEPT]:
                old.unlink()


def _checksum(key: str, data: bytes) -> bytes:
    return hashlib.sha256(key.encode() + data).digest()
