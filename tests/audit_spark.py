"""A whole audit by Spark, against that of one machine: `PYTHONPATH=tests:DIR python -m audit_spark`.

By `local-cluster`: a driver, and two executors, each a Java process with Python workers of its own. The driver is
killed in the middle, and a worker's process after that; given again, every file has the bytes that one process writes.
What would be wrong again is told once. By itself: Spark is larger than all other libraries of the tests together, and
wants Java 17 or later, so it goes into a folder of its own (`pip install --target DIR pyspark`).
"""

import os
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from threading import Thread
from time import perf_counter
from typing import Any

from audit_world import accessories, audit_of, files, rigs, small_blocks, write_csv
from waiting import until

from fitsvc.audits.spread import on_spark
from fitsvc.audits.summary import run
from fitsvc.language.problems import ProblemsFound

_DRIVER = """
import sys
from pathlib import Path
from audit_spark import spark
from audit_world import audit_of, small_blocks
from fitsvc.audits.spread import on_spark
from fitsvc.audits.summary import run
with small_blocks(6, 30), spark() as context:
    audit = audit_of(Path(sys.argv[1]), Path(sys.argv[2]))
    audit.elsewhere = on_spark(context)
    run(audit)
"""


@contextmanager
def spark(workers: int = 2) -> Iterator[Any]:
    """A Spark cluster of so many executors on this machine, each of one core, for a while."""
    from pyspark import SparkConf, SparkContext

    os.environ["PYSPARK_PYTHON"] = sys.executable
    conf = SparkConf().setMaster(f"local-cluster[{workers},1,1024]").setAppName("audit")
    conf.set("spark.executorEnv.PYTHONPATH", os.pathsep.join(sys.path))
    conf.set("spark.ui.enabled", "false").set("spark.driver.bindAddress", "127.0.0.1")
    conf.set("spark.driver.host", "127.0.0.1").set("spark.log.level", "ERROR")
    context = SparkContext(conf=conf)
    try:
        yield context
    finally:
        context.stop()


def _catalogue(folder: Path) -> Path:
    """A catalogue with claims, a bad cell and a bad row."""
    rows = [{**row, "subject": "", "fits": rigs()[place % 5].key} for place, row in enumerate(accessories())]
    rows[4]["weight [lb]"] = "heavy"
    rows[9]["sku"] = rows[8]["sku"]
    return write_csv(folder / "items.csv", rows)


def main() -> None:
    """Audit by one process, by Spark with its driver and a worker killed, and what fails on every worker."""
    with tempfile.TemporaryDirectory() as made, small_blocks(6, 30):
        folder = Path(made)
        catalogue, alone, spread = _catalogue(folder), folder / "alone", folder / "spread"
        run(audit_of(catalogue, alone))
        parts = len(list(alone.glob("pairs.parquet/*")))
        environment = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}
        command = [sys.executable, "-c", _DRIVER, str(catalogue), str(spread)]
        driver = subprocess.Popen(command, env=environment, start_new_session=True)
        until(lambda: driver.poll() is not None or any(spread.glob("pairs.parquet/*.parquet")), "the first pairs")
        os.killpg(driver.pid, signal.SIGKILL)
        driver.wait()
        before = len(list(spread.glob("pairs.parquet/*.parquet")))
        print(f"the driver was killed with {before} of {parts} files of pairs written")
        with spark() as context:
            begun = perf_counter()
            again = audit_of(catalogue, spread)
            again.elsewhere = on_spark(context)
            run(again)
            assert files(spread) == files(alone)
            print(
                f"taken up again by {len(_pids(context))} workers: {len(files(alone))} files with the bytes of one "
                f"process, in {perf_counter() - begun:.1f} s"
            )
            _killed(context, catalogue, folder / "killed")
            assert files(folder / "killed") == files(alone)
            print("a worker killed in the middle: the same bytes")
            _told_once(context, catalogue, folder / "strange")


def _pids(context: Any) -> set[int]:
    return set(context.parallelize(range(8), 8).map(lambda _: os.getpid()).collect())


def _killed(context: Any, catalogue: Path, out: Path) -> None:
    """A whole audit, of which one worker is killed as soon as the first pairs are there."""
    audit, killed = audit_of(catalogue, out), list[int]()
    audit.elsewhere = on_spark(context)

    def kill() -> None:
        until(lambda: any(out.glob("pairs.parquet/*.parquet")), "the first pairs")
        killed.append(_workers()[0])
        os.kill(killed[0], signal.SIGKILL)

    thread = Thread(target=kill)
    thread.start()
    run(audit)
    thread.join()
    assert killed


def _workers() -> list[int]:
    """The processes of which each executor's Python workers are forked."""
    told = (one for one in Path("/proc").iterdir() if one.name.isdigit())
    return [int(one.name) for one in told if b"pyspark.daemon" in _command(one)]


def _command(process: Path) -> bytes:
    try:
        return (process / "cmdline").read_bytes()
    except OSError:  # it is over meanwhile
        return b""


def _told_once(context: Any, catalogue: Path, out: Path) -> None:
    """A worker that has another fitsvc says so, and nothing tries it again."""
    audit = audit_of(catalogue, out)
    task = audit.state.task
    audit.state.task = replace(task, run={**task.run, "program": "0.0.1"})
    audit.elsewhere = on_spark(context)
    report = audit.read()
    try:
        audit.judge(report)
    except ProblemsFound as told:
        assert "a worker has fitsvc" in str(told), told
        print("another fitsvc on the workers: told, and not tried again")
    else:
        raise AssertionError("a worker with another fitsvc judged")


if __name__ == "__main__":
    main()
