"""A file is whole or as it was, whatever befalls the writer; a lock keeps processes off each other."""

import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from fitsvc import files
from fitsvc.files import NO_ROOM, PART, locked, write_text, written, written_folder

_KILLED = """
import os, signal, sys
from pathlib import Path
from fitsvc.files import written
with written(Path(sys.argv[1])) as beside:
    beside.write_text("the new one")
    os.kill(os.getpid(), signal.SIGKILL)
"""
_HOLDS = """
import sys
from pathlib import Path
from fitsvc.files import locked
with locked(Path(sys.argv[1]), shared=sys.argv[2] == "shared") as held:
    print(held, flush=True)
    sys.stdin.read()
"""


@contextmanager
def holder(path: Path, how: str = "alone") -> Iterator[subprocess.Popen[str]]:
    """Give a process that holds a lock until it is told to end."""
    command = [sys.executable, "-c", _HOLDS, str(path), how]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None and process.stdin is not None
        assert process.stdout.readline() == "True\n"
        yield process
        process.stdin.close()


def test_killed_before_the_new_name_the_old_file_is_left(tmp_path: Path) -> None:
    """A process that ends between the writing and the renaming has changed nothing, and is no hindrance to the next."""
    path = tmp_path / "a.txt"
    path.write_text("the old one")
    ended = subprocess.run([sys.executable, "-c", _KILLED, str(path)], check=False)
    assert ended.returncode == -signal.SIGKILL
    assert path.read_text() == "the old one"
    write_text(path, "the third")
    assert {one.name: one.read_text() for one in tmp_path.iterdir()} == {"a.txt": "the third"}


def test_an_error_leaves_the_old_file_and_nothing_beside(tmp_path: Path) -> None:
    """Whatever is raised while a file, or a folder, is written."""
    write_text(tmp_path / "a.txt", "the old one")
    with pytest.raises(KeyboardInterrupt), written(tmp_path / "a.txt") as beside:
        beside.write_text("half")
        raise KeyboardInterrupt
    with pytest.raises(ValueError, match="half"), written_folder(tmp_path / "b", tmp_path / "new") as new:
        (new / "one").write_text("half")
        raise ValueError("half way")
    assert [one.name for one in tmp_path.iterdir()] == ["a.txt"]
    assert (tmp_path / "a.txt").read_text() == "the old one"


def test_a_folder_is_there_once_all_of_its_files_are(tmp_path: Path) -> None:
    """What a dead writer left at the place beside is no part of it."""
    (tmp_path / "new").mkdir()
    (tmp_path / "new" / "left").write_text("half")
    with written_folder(tmp_path / "b", tmp_path / "new") as new:
        (new / "one").write_text("1")
        assert not (tmp_path / "b").exists()
    assert [str(one.relative_to(tmp_path)) for one in tmp_path.rglob("*")] == ["b", "b/one"]


def test_a_full_disk_tells(tmp_path: Path) -> None:
    """The error says that there is no room, and the old file is left (`/dev/full` is a device without any: full(4))."""
    write_text(tmp_path / "a.txt", "the old one")
    (tmp_path / f"a.txt{PART}").symlink_to("/dev/full")
    with pytest.raises(OSError, match="No space left") as told:
        write_text(tmp_path / "a.txt", "the new one")
    assert told.value.errno in NO_ROOM
    assert {one.name: one.read_text() for one in tmp_path.iterdir()} == {"a.txt": "the old one"}


def test_two_processes_exclude_each_other(tmp_path: Path) -> None:
    """While one holds a lock another has it not; it is to be had once that process ends, however it ends."""
    path = tmp_path / "lock"
    with holder(path) as process:
        with locked(path, wait=False) as held:
            assert not held
        with locked(path, shared=True, wait=False) as held:
            assert not held
        process.kill()
        with locked(path) as held:
            assert held
    with locked(path, wait=False) as held:
        assert held


def test_a_shared_lock_is_held_by_many(tmp_path: Path) -> None:
    """Any number share it, and none of them lets one have it alone."""
    path = tmp_path / "lock"
    with holder(path, "shared"), holder(path, "shared"):
        with locked(path, shared=True, wait=False) as held:
            assert held
        with locked(path, wait=False) as held:
            assert not held


def test_one_process_locks_out_its_own_threads_too(tmp_path: Path) -> None:
    """A lock belongs to whoever took it, not to the process; and it is let go of after an error."""
    path = tmp_path / "lock"
    with pytest.raises(ValueError, match="within"), locked(path):
        with locked(path, wait=False) as held:
            assert not held
        raise ValueError("within")
    with locked(path, wait=False) as held:
        assert held


def test_where_there_are_no_locks_it_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A system without shared locks is told of as one, and a folder that is not there as what it is."""
    with pytest.raises(FileNotFoundError), locked(tmp_path / "none" / "lock"):
        pass
    monkeypatch.setattr(files, "fcntl", None)
    with pytest.raises(OSError, match="has no locks that processes can share"), locked(tmp_path / "lock"):
        pass
    assert not list(tmp_path.iterdir())
