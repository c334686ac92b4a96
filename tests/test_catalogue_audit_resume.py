"""An audit killed at any moment and begun again ends with the same bytes."""

import os
import signal
import subprocess
import sys
import time
import weakref
from collections.abc import Mapping
from pathlib import Path
from random import Random

import pytest
from audit_world import PARTS, accessories, audit_of, files, rigs, small_blocks, write_csv

from fitsvc.catalogue.audit_blocks import Block, Kernel
from fitsvc.catalogue.audit_spool import Spool
from fitsvc.catalogue.audit_summary import run
from fitsvc.engine.signatures import Catalogue, Column
from fitsvc.language.problems import ProblemsFound

_SEED = 11
_KILLS = 4
_DRIVER = """
import sys
from fitsvc.catalogue import audit_run
audit_run.shares = lambda memory: audit_run.Shares(200, 1500, 1 << 20)
from fitsvc.cli import main
sys.exit(main(sys.argv[1:]))
"""
"""The command with blocks so small that there are many moments at which it may end."""


def _command(catalogue: Path, out: Path) -> list[str]:
    rig_files = [part for path in PARTS for part in ("--rigs", str(path))]
    return [sys.executable, "-c", _DRIVER, "audit", str(catalogue), "-o", str(out), *rig_files]


def _killed(command: list[str], out: Path, files_before: int) -> bool:
    """Kill the command outright once so many files stand in its folder; whether it was killed in time."""
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    while process.poll() is None and sum(1 for _ in out.rglob("*")) < files_before:
        time.sleep(0.002)
    if process.poll() is None:
        os.kill(process.pid, signal.SIGKILL)
    return process.wait() == -signal.SIGKILL


def test_killed_and_taken_up_again(tmp_path: Path) -> None:
    """Killed at random moments one after another, from reading to the last findings, the files are the same."""
    rows = accessories()
    many = [{**row, "sku": f"{row['sku']}-{n}", "fits": rigs()[n].key} for n in range(6, 14) for row in rows]
    many[5]["weight [lb]"] = "heavy"
    catalogue = write_csv(tmp_path / "items.csv", many)
    whole, parts = tmp_path / "whole", tmp_path / "parts"
    done = subprocess.run(_command(catalogue, whole), capture_output=True, check=False, text=True)
    assert done.returncode == 0, done.stderr
    written, random = files(whole), Random(_SEED)
    tallies = 3 * sum(name.startswith("pairs") for name in written)
    moments = sorted(random.randrange(3, tallies) for _ in range(_KILLS))
    assert [_killed(_command(catalogue, parts), parts, moment) for moment in moments] == [True] * _KILLS
    assert not (parts / "summary.json").exists()
    assert subprocess.run(_command(catalogue, parts), capture_output=True, check=False).returncode == 0
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
        assert third.spool.finished
        third.tell = lambda stage, *_: pytest.fail(stage)
        assert run(third) == summary


def test_blocks_are_let_go(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What was computed for a block goes with it: at most one block and the next are held at a time."""
    held, most, make = list[weakref.ref[Catalogue]](), [0], Kernel.block

    def block(kernel: Kernel, columns: Mapping[str, Column], count: int) -> Block:
        made = make(kernel, columns, count)
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


def test_a_torn_part_is_never_taken_for_whole(tmp_path: Path) -> None:
    """A part that was being written, under its temporary name, is written anew."""
    catalogue = write_csv(tmp_path / "items.csv", accessories())
    with small_blocks():
        run(audit_of(catalogue, tmp_path / "whole"))
        torn = audit_of(catalogue, tmp_path / "out")
        torn.judge(torn.read())
        part = tmp_path / "out" / "pairs.parquet" / "part-00001-00000.parquet"
        part.write_bytes(part.read_bytes()[:100])
        (torn.spool.folder / "tally-00001-00000.npz").rename(torn.spool.folder / "tally-00001-00000.npz.part")
        run(audit_of(catalogue, tmp_path / "out"))
    assert files(tmp_path / "out") == files(tmp_path / "whole")


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


def test_a_full_disk_loses_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """When the disk is full the audit ends with the error; with room again, it is taken up where it was."""
    catalogue = write_csv(tmp_path / "items.csv", accessories())
    room, keep = [6], Spool.write_arrays

    def full(spool: Spool, name: str, arrays: object) -> None:
        room[0] -= 1
        if room[0] < 0:
            raise OSError(28, "No space left on device", str(spool.folder / name))
        keep(spool, name, arrays)  # type: ignore[arg-type]

    with small_blocks():
        run(audit_of(catalogue, tmp_path / "whole"))
        monkeypatch.setattr(Spool, "write_arrays", full)
        with pytest.raises(OSError, match="No space left"):
            run(audit_of(catalogue, tmp_path / "out"))
        monkeypatch.undo()
    with small_blocks():
        run(audit_of(catalogue, tmp_path / "out"))
    assert files(tmp_path / "out") == files(tmp_path / "whole")
