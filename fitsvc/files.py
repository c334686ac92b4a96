"""Files that are whole or not there, and locks that keep processes off each other's files.

A file is written beside its place, brought to the disk and renamed, so that whoever reads sees the old one or the new
one, whenever the writer is killed and whatever fails. A lock is the system's own on an open file (`flock`), which it
takes back when the process ends, however it ends. The well-kept libraries for locks do not serve: what `filelock` has
for all systems is held by one alone, and here many must be able to hold one together (to ask whether somebody works is
not to look like one who does); its lock for many stands on a database, and `portalocker`'s needs a driver on Windows.
"""

import errno
import os
import shutil
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Final

try:
    import fcntl
except ImportError:
    fcntl = None  # type: ignore[assignment]  # on Windows, where there is no such module

NO_ROOM: Final = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG})
"""What the system says where a disk, or a user's share of it, is full or a file may not grow."""
_OF_THE_MACHINE: Final = NO_ROOM | {errno.EIO, errno.ENOMEM, errno.EMFILE, errno.ENFILE}
PART: Final = ".part"
"""What the name of a file ends in while it is written."""


def of_the_machine(error: BaseException) -> bool:
    """Whether a disk fails, or the machine has no more to give: nothing is wrong with the file that was to be read."""
    return isinstance(error, OSError) and error.errno in _OF_THE_MACHINE


@contextmanager
def written(path: Path) -> Iterator[Path]:
    """A place to write a file to; moved to its own once it is whole and on the disk, and gone after an error.

    One process at a time may write a file: where there may be several, they hold a lock (`locked`) meanwhile.
    """
    beside = path.with_name(path.name + PART)
    try:
        yield beside
        sync(beside)
        beside.replace(path)
    except BaseException:
        beside.unlink(missing_ok=True)
        raise


def write_text(path: Path, text: str) -> None:
    """Write a small file in one piece."""
    with written(path) as beside:
        beside.write_text(text, "utf-8")


@contextmanager
def written_folder(path: Path, beside: Path) -> Iterator[Path]:
    """The same for a folder whose files are never changed: made anew at a place beside, and renamed to its own."""
    shutil.rmtree(beside, ignore_errors=True)
    beside.mkdir()
    try:
        yield beside
        for file in beside.iterdir():
            sync(file)
        sync(beside)
        beside.rename(path)
        sync(path.parent)
    finally:
        shutil.rmtree(beside, ignore_errors=True)


def sync(path: Path) -> None:
    """Bring a file, or the names in a folder, to the disk."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


@contextmanager
def locked(path: Path, *, shared: bool = False, wait: bool = True) -> Iterator[bool]:
    """Hold the lock of a file, which is made where it is not there; whether it was to be had, if not to `wait` for.

    One alone holds it, or any number that `shared` it. OSError where its folder does not exist or cannot be used.
    """
    if fcntl is None:
        raise OSError("this system has no locks that processes can share: run it on Linux or macOS")
    how = (fcntl.LOCK_SH if shared else fcntl.LOCK_EX) | (0 if wait else fcntl.LOCK_NB)
    handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
    with ExitStack() as held:
        held.callback(os.close, handle)
        try:
            fcntl.flock(handle, how)
        except BlockingIOError:
            yield False
            return
        yield True
