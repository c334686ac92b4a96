"""An audit killed at any moment and begun again ends with the same bytes."""

import multiprocessing
import os
import signal
import subprocess
import sys
import weakref
from dataclasses import dataclass
from pathlib import Path
from random import Random
from typing import Any, BinaryIO

import numpy as np
import pytest
from audit_world import PARTS, accessories, audit_of, files, rigs, small_blocks, write_csv
from driven import driven
from waiting import until

from fitsvc.audits.blocks import Block, Kernel
from fitsvc.audits.summary import run
from fitsvc.engine.columns.signatures import Catalogue
from fitsvc.language.problems import ProblemsFound

_SEED = 11
_KILLS = 10
_DRIVER = """
import os, signal, sys
from pathlib import Path
from fitsvc.audits import findings as audit_findings
from fitsvc.audits import run as audit_run
from fitsvc.audits import summary as audit_summary
from fitsvc.cli import audit, main, options
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook

rulebook = load_rulebook(data_dir("rules"))
audit.load_rules = lambda given: rulebook
audit_run.shares = lambda memory: audit_run.Shares(60, 900, 1 << 20)

def end_at(files, after, folder):
    def renamed(event, arguments):
        if event == "os.rename" and files <= sum(1 for _ in folder.rglob("*")) and not signal.getitimer(timer)[0]:
            signal.setitimer(timer, after)
    timer = signal.ITIMER_PROF
    sys.addaudithook(renamed)

for line in sys.stdin:
    files, after, out, *command = line.split()
    child = os.fork()
    if not child:
        os.dup2(2, 1)
        if files != "never":
            end_at(int(files), float(after), Path(out))
        os._exit(main(["audit", *command, "-o", out]))
    print(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), flush=True)
"""
"""Carries out the audit that each line tells in a process of its own, in blocks so small that it may end at many
moments; what takes long to load is loaded once.

The system ends such a process outright, after so much processor time from the moment that so many files stand in its
folder: the moment is the same however busy the machine is.
"""
_ENDED = -signal.SIGPROF


class Driver:
    """A process that carries out audits, one after the other, each in a process that may be killed."""

    def __init__(self, catalogue: Path) -> None:
        self._rigs = " ".join(f"--rigs {path}" for path in PARTS)
        self._catalogue = catalogue
        self._process = driven(_DRIVER)

    def __enter__(self) -> "Driver":
        return self

    def __exit__(self, *_: object) -> None:
        self._process.communicate()

    def audit(self, out: Path, files_before: int | None = None, wait: float = 0.0) -> int:
        """Audit, ended outright a moment after so many files stand in the folder; returns the exit code."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        moment = "never" if files_before is None else files_before
        self._process.stdin.write(f"{moment} {wait} {out} {self._catalogue} {self._rigs}\n")
        self._process.stdin.flush()
        return int(self._process.stdout.readline())


@dataclass(frozen=True, slots=True)
class Alone:
    """The demo's accessories as a catalogue, and what an audit of it that nothing stops writes in small blocks."""

    catalogue: Path
    written: dict[str, bytes]


@pytest.fixture(scope="module")
def alone(tmp_path_factory: pytest.TempPathFactory) -> Alone:
    """Give what the files of audits that were stopped and taken up again are held to."""
    folder = tmp_path_factory.mktemp("alone")
    catalogue = write_csv(folder / "items.csv", accessories())
    with small_blocks():
        run(audit_of(catalogue, folder / "out"))
    return Alone(catalogue, files(folder / "out"))


def test_killed_and_taken_up_again(tmp_path: Path) -> None:
    """Killed at ten random moments one after another, from reading to the last findings, the files are the same."""
    rows = accessories()
    many = [{**row, "sku": f"{row['sku']}-{n}", "fits": rigs()[n].key} for n in range(6, 10) for row in rows]
    many[5]["weight [lb]"] = "heavy"
    whole, parts, random = tmp_path / "whole", tmp_path / "parts", Random(_SEED)
    with Driver(write_csv(tmp_path / "items.csv", many)) as driver:
        assert driver.audit(whole) == 0
        written = files(whole)
        tallies = 3 * sum(name.startswith("pairs") for name in written)
        moments = sorted(random.randrange(2, tallies) for _ in range(_KILLS))
        for moment in moments:
            assert driver.audit(parts, moment, random.uniform(1e-6, 0.01)) == _ENDED
            assert not (parts / "summary.json").exists()
        assert driver.audit(parts) == 0
    assert files(parts) == written


def test_what_is_done_is_not_done_again(tmp_path: Path) -> None:
    """Begun again, an audit judges only what is not judged; ended, it does nothing at all."""
    catalogue, told = write_csv(tmp_path / "items.csv", accessories()), list[str]()
    with small_blocks():
        first = audit_of(catalogue, tmp_path / "out")
        first.judge(first.read())
        again = audit_of(catalogue, tmp_path / "out")
        again.tell = lambda stage, *_: told.append(stage)
        before = files(tmp_path / "out")
        again.judge(again.read())
        assert files(tmp_path / "out") == before
        assert "reading the catalogue" not in told
        summary = run(again)
        third = audit_of(catalogue, tmp_path / "out")
        assert third.state.spool.finished
        third.tell = lambda stage, *_: pytest.fail(stage)
        assert run(third) == summary


def test_blocks_are_let_go(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What was computed for a block goes with it: at most one block and the next are held at a time."""
    held, most, make = list[weakref.ref[Catalogue]](), [0], Kernel.block

    def block(kernel: Kernel, *rest: Any) -> Block:
        made = make(kernel, *rest)
        held.append(weakref.ref(made.catalogue))
        most[0] = max(most[0], sum(one() is not None for one in held))
        return made

    monkeypatch.setattr(Kernel, "block", block)
    catalogue = write_csv(tmp_path / "items.csv", accessories())
    with small_blocks(20, 10_000):
        audit = audit_of(catalogue, tmp_path / "out")
        audit.judge(audit.read())
    assert len(held) > 5
    assert most[0] <= 2


def test_a_torn_part_is_never_taken_for_whole(alone: Alone, tmp_path: Path) -> None:
    """A part that was being written, under its temporary name, is written anew."""
    with small_blocks():
        torn = audit_of(alone.catalogue, tmp_path / "out")
        torn.judge(torn.read())
        part = tmp_path / "out" / "pairs.parquet" / "part-00001-00000.parquet"
        part.write_bytes(part.read_bytes()[:100])
        (torn.state.spool.folder / "tally-00001-00000.npz").rename(
            torn.state.spool.folder / "tally-00001-00000.npz.part"
        )
        run(audit_of(alone.catalogue, tmp_path / "out"))
    assert files(tmp_path / "out") == alone.written


def test_another_audit_does_not_take_the_folder(tmp_path: Path) -> None:
    """A folder that another audit began or ended, or that holds anything else, is refused and left as it is."""
    rows = accessories()
    catalogue, other = write_csv(tmp_path / "a.csv", rows), write_csv(tmp_path / "b.csv", rows[1:])
    audit = audit_of(catalogue, tmp_path / "out")
    with pytest.raises(ProblemsFound, match="another audit that was not ended"):
        audit_of(other, tmp_path / "out")
    run(audit)
    before = files(tmp_path / "out")
    with pytest.raises(ProblemsFound, match="results of another audit") as told:
        audit_of(other, tmp_path / "out")
    assert "its catalogue differ" in told.value.problems[0].help
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "letter.txt").write_text("dear")
    with pytest.raises(ProblemsFound, match="is not empty"):
        audit_of(catalogue, tmp_path / "mine")
    assert files(tmp_path / "out") == before


def test_a_full_disk_loses_nothing(alone: Alone, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """When the disk is full the audit ends with the error; with room again, it is taken up where it was."""
    room, keep = [6], np.savez

    def full(stream: BinaryIO, **arrays: Any) -> None:
        room[0] -= 1
        if room[0] < 0:
            raise OSError(28, "No space left on device", stream.name)
        keep(stream, **arrays)

    with small_blocks():
        monkeypatch.setattr(np, "savez", full)
        with pytest.raises(OSError, match="No space left"):
            run(audit_of(alone.catalogue, tmp_path / "out"))
        monkeypatch.undo()
    with small_blocks():
        run(audit_of(alone.catalogue, tmp_path / "out"))
    assert files(tmp_path / "out") == alone.written


def test_several_processes_write_the_same_bytes(alone: Alone, tmp_path: Path) -> None:
    """Judged by two processes beside this one, the files are the same; so are they when one of the two is killed."""
    with small_blocks(processes=2):
        run(audit_of(alone.catalogue, tmp_path / "beside"))
        killed = audit_of(alone.catalogue, tmp_path / "killed")
        killed.tell = _kill_a_helper
        with pytest.raises(ChildProcessError, match="helped to judge was ended"):
            run(killed)
        assert not (tmp_path / "killed" / "summary.json").exists()
        run(audit_of(alone.catalogue, tmp_path / "killed"))
    assert files(tmp_path / "beside") == files(tmp_path / "killed") == alone.written


def _kill_a_helper(stage: str, done: int, total: int) -> None:
    """Once some pairs are judged, kill one of the processes that judge."""
    if stage == "judging pairs" and done:
        os.kill(max(child.pid or 0 for child in multiprocessing.active_children()), signal.SIGKILL)


def test_helpers_end_with_the_process_they_help(alone: Alone, tmp_path: Path) -> None:
    """An audit killed outright leaves no process behind, and is taken up again with the same bytes."""
    out = tmp_path / "out"
    command = [sys.executable, "-c", _BESIDE, str(alone.catalogue), str(out)]
    process = subprocess.Popen(
        command,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        env=os.environ | {"PYTHONPATH": str(Path(__file__).parent)},
    )
    until(lambda: process.poll() is not None or any(out.glob("pairs.parquet/*.parquet")), "the first pairs")
    assert any(out.glob("pairs.parquet/*.parquet"))
    os.kill(process.pid, signal.SIGKILL)
    process.wait()
    with small_blocks(processes=2):
        run(audit_of(alone.catalogue, out))
    assert files(out) == alone.written


_BESIDE = """
import sys
from pathlib import Path
from audit_world import audit_of, small_blocks
from fitsvc.audits.summary import run
if __name__ == "__main__":
    with small_blocks(processes=2):
        run(audit_of(Path(sys.argv[1]), Path(sys.argv[2])))
"""


def test_what_another_version_has_begun_is_refused_in_words(tmp_path: Path) -> None:
    """Its parts are kept otherwise, and would be read for what they are not."""
    write_csv(tmp_path / "a.csv", accessories()[:3])
    for kept in ("[]", None):
        out = tmp_path / f"out-{kept}"
        begun = audit_of(tmp_path / "a.csv", out, rigs()[:2])
        begun.read()
        layout = out / ".spool" / "layout.json"
        layout.write_text(kept, "utf-8") if kept else layout.unlink()
        with pytest.raises(ProblemsFound, match="another version of fitsvc has begun"):
            audit_of(tmp_path / "a.csv", out, rigs()[:2])
