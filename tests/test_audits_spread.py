"""The same whole audit on a cluster of processes, one of which dies in the middle."""

import errno
import os
import pickle
import signal
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from audit_world import accessories, audit_of, files, rigs, small_blocks, summary, write_csv
from dask_cluster import clustered
from waiting import until

from fitsvc.audits import spread as spread_module
from fitsvc.audits.judging import BlockTask
from fitsvc.audits.spread import judge_shared, on_dask, on_spark
from fitsvc.audits.state import Task
from fitsvc.audits.summary import run
from fitsvc.language.problems import Problem, ProblemsFound

_DRIVER = """
import sys
from pathlib import Path
from audit_world import audit_of, small_blocks
from distributed import Client
from fitsvc.audits.spread import on_dask
from fitsvc.audits.summary import run
with small_blocks(6, 30), Client(sys.argv[1]) as client:
    audit = audit_of(Path(sys.argv[2]), Path(sys.argv[3]))
    audit.elsewhere = on_dask(client)
    run(audit)
"""


@pytest.fixture
def catalogue(tmp_path: Path) -> Path:
    """A catalogue with claims, a bad cell, a bad row and a trailer."""
    rows = [{**row, "subject": "", "fits": rigs()[place % 5].key} for place, row in enumerate(accessories())]
    rows[4]["weight [lb]"] = "heavy"
    rows[9]["sku"] = rows[8]["sku"]
    rows.append({**dict.fromkeys(rows[0], ""), "sku": "T-1", "subject": "trailer"})
    return write_csv(tmp_path / "items.csv", rows)


def test_a_whole_audit_on_a_cluster_is_that_of_one_machine(catalogue: Path, tmp_path: Path) -> None:
    """The driver is killed, then a worker: given again, every file has the bytes that one process writes."""
    alone, spread = tmp_path / "alone", tmp_path / "spread"
    with small_blocks(6, 30):
        run(audit_of(catalogue, alone))
        parts = len(list(alone.glob("pairs.parquet/*")))
        with clustered() as client:
            workers = set(client.run(os.getpid).values())
            address = str(client.scheduler_info()["address"])
            command = [sys.executable, "-c", _DRIVER, address, str(catalogue), str(spread)]
            driver = subprocess.Popen(command, env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)})
            until(lambda: driver.poll() is not None or any(spread.glob("pairs.parquet/*.parquet")), "the first pairs")
            driver.kill()
            assert driver.wait() == -signal.SIGKILL
            before = len(list(spread.glob("pairs.parquet/*.parquet")))
            assert 0 < before < parts
            again, killed = audit_of(catalogue, spread), list[int]()
            again.elsewhere = on_dask(client)
            again.tell = lambda stage, done, total: _kill_once(min(workers), killed) if 0 < done < total else None
            run(again)
            assert killed and min(workers) not in client.run(os.getpid).values()
    assert files(spread) == files(alone)
    assert summary(spread)["faults"].items() >= {"bad_rows": 1, "bad_cells": 1}.items()


def _kill_once(worker: int, killed: list[int]) -> None:
    if not killed:
        os.kill(worker, signal.SIGKILL)
        killed.append(worker)


def _task(catalogue: Path, out: Path) -> tuple[Task, BlockTask]:
    """An audit that is begun and read, and its first block."""
    with small_blocks(6, 30):
        audit = audit_of(catalogue, out)
        report = audit.read()
    (out / "pairs.parquet").mkdir()
    return audit.state.task, BlockTask(0, min(6, report.items), None)


def test_a_worker_that_cannot_judge_says_why_once(
    catalogue: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of another folder, another fitsvc, or with no room: returned and not raised, so that nothing tries it again."""
    task, part = _task(catalogue, tmp_path / "out")
    assert judge_shared(task, part) == judge_shared(task, part) == part.rows
    for other, why in (
        (replace(task, out=tmp_path / "mine"), "does not see the audit's folder"),
        (replace(task, run={**task.run, "program": "0.0.1"}), "a worker has fitsvc"),
    ):
        told = judge_shared(other, part)
        assert isinstance(told, ProblemsFound) and why in str(told)
    assert not (tmp_path / "mine").exists()

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(spread_module, "judge_one", full)
    told = judge_shared(task, part)
    assert isinstance(told, OSError) and told.errno == errno.ENOSPC


def test_what_a_worker_found_wrong_arrives_word_for_word() -> None:
    """By its own way of being packed: what Dask packs by is a library's, which Spark's workers do not have."""
    found = ProblemsFound([Problem("a worker has fitsvc 0.0.1", "install it", file="out")])
    make, of = found.__reduce__()
    assert str(make(*of)) == str(found) and make(*of).problems == found.problems


class _Context:
    """Stands for Spark: what is broadcast, and a list that is mapped, each of its parts made anew by pickling."""

    def broadcast(self, value: Any) -> Any:
        """Share a value."""
        return SimpleNamespace(value=pickle.loads(pickle.dumps(value)))  # noqa: S301  # what was packed here itself

    def parallelize(self, values: list[Any], parts: int) -> "_Context":
        """Spread a list."""
        self._values = values
        assert parts == len(values)
        return self

    def map(self, work: Callable[[Any], Any]) -> "_Context":
        """Work on each."""
        self._values = [work(pickle.loads(pickle.dumps(one))) for one in self._values]  # noqa: S301  # likewise
        return self

    def collect(self) -> list[Any]:
        """What came of it."""
        return self._values


def test_what_is_handed_to_spark_is_all_that_a_worker_needs(catalogue: Path, tmp_path: Path) -> None:
    """A task and a block, as they arrive elsewhere; a fault of a worker's is raised where the audit was begun."""
    with small_blocks():
        run(audit_of(catalogue, tmp_path / "alone"))
        spread = audit_of(catalogue, tmp_path / "spread")
        spread.elsewhere = on_spark(_Context())
        run(spread)
        assert files(tmp_path / "spread") == files(tmp_path / "alone")
        strange = audit_of(catalogue, tmp_path / "strange")
        strange.state.task = replace(strange.state.task, run={**strange.state.task.run, "program": "0.0.1"})
        strange.elsewhere = on_spark(_Context())
        with pytest.raises(ProblemsFound, match="a worker has fitsvc"):
            strange.judge(strange.read())
