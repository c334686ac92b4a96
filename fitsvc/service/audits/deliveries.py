"""Suppliers' files where they come in: a folder of the operator's, or a storage that Arrow or fsspec knows.

Who plans an audit names a path below it and no more, so that nobody has the service read what the operator did not
mean to be read.
"""

import hashlib
import logging
import re
import secrets
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path, PurePosixPath
from typing import Final

import pyarrow as pa
import pyarrow.fs as pf

from fitsvc.audits.pair_files import storage_of
from fitsvc.files import PART, of_the_machine, sync
from fitsvc.service.audits.folder import FILES
from fitsvc.tongues import t

_PIECE: Final = 1 << 20
_FORMATS: Final[Mapping[str, str]] = {name: name for name in FILES["catalogue"]} | {"txt": "csv"}
_LETTER: Final = r"[^\u0000-\u001f\u007f/\\]"
_BELOW: Final = rf"(?:(?!\.{{1,2}}/){_LETTER}+/)*(?!\.{{1,2}}$){_LETTER}+"
_ENDINGS: Final = "|".join("".join(f"[{one.upper()}{one}]" for one in ending) for ending in _FORMATS)
PATTERN: Final = rf"^(?:(?!\.{{1,2}}/){_LETTER}+/)*{_LETTER}+\.(?:{_ENDINGS})$"
"""What the path of a file below the deliveries is like: names between slashes, none `.` or `..`, and a known ending."""
_log = logging.getLogger("fitsvc.audits")


@dataclass(frozen=True, slots=True, kw_only=True)
class Delivered:
    """A file as it was taken over: where it stands, its format, bytes, digest, and when it was last written."""

    part: Path
    format: str
    size: int
    sha256: str
    modified_at: datetime | None


class NotDelivered(Exception):
    """A file cannot be taken over: the state that its run comes to, and why, for people."""

    def __init__(self, state: str, why: str) -> None:
        super().__init__(why)
        self.state, self.why = state, why


def path_fault(path: str) -> str:
    """Return what is wrong with the path of a file below the deliveries; nothing where it is one."""
    if not re.fullmatch(_BELOW, path):
        return t("is no path below the deliveries: write it as in `thorn/catalogue.csv`, without `..`")
    if not re.fullmatch(PATTERN, path):
        return t("is no file that is audited: its name ends in one of {endings}", endings=", ".join(_FORMATS))
    return ""


def take(root: str, path: str, folder: Path, most: int, is_wanted: Callable[[], bool]) -> Delivered:
    """Copy a file of at most so many bytes into a folder, as long as it is wanted.

    One that is written to meanwhile is not taken: nobody could say what of it was read. Raises NotDelivered, with why,
    and OSError where the machine has no more to give.
    """
    if fault := path_fault(path):
        raise NotDelivered("refused", f"`{path}` {fault}")
    try:
        storage, base = storage_of(root)
        place = f"{base.rstrip('/')}/{path}"
        if isinstance(storage, pf.LocalFileSystem) and not Path(place).resolve().is_relative_to(Path(base).resolve()):
            raise NotDelivered("refused", t("`{path}` leads out of the deliveries", path=path))
        return _copied(storage, place, path, folder, most, is_wanted)
    except NotDelivered:
        raise
    except Exception as error:  # what a storage's library raises is its own
        if of_the_machine(error):
            raise
        _log.exception("`%s` could not be read where deliveries come in", path)
        why = error.strerror if isinstance(error, OSError) and error.strerror else type(error).__name__
        told = t("`{path}` could not be read: {why}; the service's log has more", path=path, why=why)
        raise NotDelivered("failed", told) from error


def _copied(
    storage: pf.FileSystem, place: str, path: str, folder: Path, most: int, is_wanted: Callable[[], bool]
) -> Delivered:
    before = _found(storage, place, path)
    too_large = t("`{path}` is larger than the {most} MB that are taken", path=path, most=f"{most / 1e6:.6g}")
    if before.size is not None and before.size > most:
        raise NotDelivered("refused", too_large)
    part = folder / f"delivery.{secrets.token_hex(4)}{PART}"
    digest, size = hashlib.sha256(), 0
    try:
        # What is packed is not unpacked on the way: it is taken as it was sent.
        with storage.open_input_stream(place, compression=None) as stream, part.open("wb") as kept:
            while piece := stream.read(_PIECE):
                size += len(piece)
                if size > most:
                    raise NotDelivered("refused", too_large)
                if not is_wanted():
                    raise NotDelivered("waiting", "the server ends")  # the next one begins anew
                digest.update(piece)
                kept.write(piece)
        after = _found(storage, place, path)
        if (after.size, after.mtime) != (before.size, before.mtime) or after.size not in (None, size):
            told = t("`{path}` was written to while it was read: have it run again once it is whole", path=path)
            raise NotDelivered("failed", told)
        if not size:
            raise NotDelivered("refused", t("`{path}` is empty", path=path))
        sync(part)
    except BaseException:
        part.unlink(missing_ok=True)
        raise
    kept_as, sha256 = _FORMATS[_format(path)], digest.hexdigest()
    return Delivered(part=part, format=kept_as, size=size, sha256=sha256, modified_at=after.mtime)


def _found(storage: pf.FileSystem, place: str, path: str) -> pa.fs.FileInfo:
    found = storage.get_file_info(place)
    if found.type == pf.FileType.NotFound:
        raise NotDelivered("missing", t("`{path}` is not there", path=path))
    if found.type != pf.FileType.File:
        raise NotDelivered("refused", t("`{path}` is no file", path=path))
    return found


def _format(path: str) -> str:
    return PurePosixPath(path).suffix.removeprefix(".").casefold()
