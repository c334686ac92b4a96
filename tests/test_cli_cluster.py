"""`fitsvc audit --cluster` as it is given in a shell, to its end, on a cluster of processes of which one is killed."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from audit_world import accessories, small_blocks, undated, write_csv
from dask_cluster import clustered
from demo_world import SEED
from waiting import LONGEST, until

from fitsvc.cli import audit, main
from fitsvc.files import locked

_COMMAND = """
import sys
from audit_world import small_blocks
from fitsvc.cli import main
with small_blocks(20, 100):
    sys.exit(main(sys.argv[1:]))
"""
"""The command, in blocks so small that the demo's goods make several."""
_RIGS = [f"--rigs={SEED / name}" for name in ("vehicles.yaml", "receivers.yaml", "mountings.yaml")]


@pytest.fixture
def catalogue(tmp_path: Path) -> str:
    """The demo's goods as a catalogue."""
    return str(write_csv(tmp_path / "items.csv", accessories()))


def test_the_command_ends_well_though_a_worker_is_killed(catalogue: str, tmp_path: Path) -> None:
    """The bytes are those of one machine; a block is held back meanwhile, so that work is left however fast all is."""
    alone, spread = tmp_path / "alone", tmp_path / "spread"
    with small_blocks(20, 100):
        assert main(["audit", catalogue, *_RIGS, "-o", str(alone)]) == 0
    (spread / ".spool").mkdir(parents=True)
    said = tmp_path / "said.txt"
    with (
        clustered() as client,
        said.open("wb") as output,
    ):
        workers = set(client.run(os.getpid).values())
        address = str(client.scheduler_info()["address"])
        process = subprocess.Popen(
            [sys.executable, "-c", _COMMAND, "audit", catalogue, *_RIGS, "-o", str(spread), "--cluster", address],
            stdout=output,
            stderr=output,
            env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)},
        )
        try:
            with locked(spread / ".spool" / "block-00000.lock"):
                until(lambda: process.poll() is not None or any(spread.glob("pairs.parquet/*")), "the first pairs")
                assert process.poll() is None, said.read_text("utf-8")
                os.kill(min(workers), signal.SIGKILL)
            assert process.wait(LONGEST) == 0, said.read_text("utf-8")
            assert min(workers) not in client.run(os.getpid).values()
        finally:
            process.kill()
            process.wait()
    assert undated(spread) == undated(alone)
    assert "All of it:" in said.read_text("utf-8")


def test_a_cluster_that_is_not_there_is_told(
    catalogue: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Its address is what to look at; nothing is judged then."""
    monkeypatch.setattr(audit, "_CONNECT", 0.2)
    for address in ("tcp://127.0.0.1:1", "nowhere://x:1"):
        given = ["audit", catalogue, *_RIGS, "-o", str(tmp_path / "out"), "--cluster", address]
        assert main(given) == 2
        said = capsys.readouterr().err
        assert address in said and "tcp://HOST:PORT" in said
    assert not (tmp_path / "out" / "pairs.parquet").exists()
