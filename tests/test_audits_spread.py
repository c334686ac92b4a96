"""The same pairs on a cluster of processes, one of which dies in the middle."""

import os
import signal
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from audit_world import accessories, files, rigs
from distributed import Client, LocalCluster
from waiting import until

from fitsvc.audits.rigs import rigs_table
from fitsvc.audits.spread import judge_file, judge_files
from fitsvc.language.problems import ProblemsFound

_FILES = 12
_PAIRS = 300


@pytest.fixture
def parts(tmp_path: Path) -> list[Path]:
    """Spread the demo's accessories, with some claims, over Parquet files."""
    rows = [{title: cell or None for title, cell in row.items()} for row in accessories()]
    for number, row in enumerate(rows):
        row["fits"] = rigs()[number % 5].key if number % 3 == 0 else ""
    schema = pa.schema([(title, pa.string()) for title in rows[0]])
    (tmp_path / "items").mkdir()
    paths = [tmp_path / "items" / f"part-{number:02}.parquet" for number in range(_FILES)]
    for number, path in enumerate(paths):
        pq.write_table(pa.Table.from_pylist(rows[number::_FILES], schema), path)
    pq.write_table(rigs_table(rigs()), tmp_path / "rigs.parquet")
    return paths


def _kill(worker: int, out: Path, written: list[int]) -> None:
    """Kill a worker outright once the first pairs are written, and note how many files there were then."""
    until(lambda: any(out.glob("*.parquet")), "the first pairs")
    os.kill(worker, signal.SIGKILL)
    written.append(len(list(out.glob("*.parquet"))))


def test_a_worker_dies_and_the_bytes_are_the_same(parts: list[Path], tmp_path: Path) -> None:
    """Two worker processes, one killed in the middle, write byte for byte what one process writes."""
    alone, spread, shared = tmp_path / "alone", tmp_path / "spread", tmp_path / "rigs.parquet"
    alone.mkdir()
    counted = sum(judge_file(str(path), str(shared), str(alone), None, _PAIRS) for path in parts)
    assert counted == len(accessories()) * len(rigs())
    written: list[int] = []
    with (
        LocalCluster(n_workers=2, threads_per_worker=1, host="127.0.0.1", dashboard_address=None) as cluster,  # type: ignore[no-untyped-call]  # of a library without types
        Client(cluster) as client,  # type: ignore[no-untyped-call]  # as above
    ):
        workers = set(client.run(os.getpid).values())
        killer = threading.Thread(target=_kill, args=(min(workers), spread, written))
        killer.start()
        assert judge_files(client, parts, shared, spread, pairs=_PAIRS) == counted
        killer.join()
        assert len(workers) == 2
        assert min(workers) not in client.run(os.getpid).values()
    assert 0 < written[0] < len(files(alone))
    assert {name: text for name, text in files(spread).items() if not name.endswith(".part")} == files(alone)


class _Inline:
    """Stands for a cluster: does each task as it comes, and again what raises, as often as it may be."""

    def __init__(self) -> None:
        self.tries = 0

    def submit(self, work: Callable[..., Any], *given: Any, retries: int, pure: bool) -> Any:
        """Do a task."""
        for left in reversed(range(retries + 1)):
            self.tries += 1
            try:
                return work(*given)
            except Exception:
                if not left:
                    raise
        raise AssertionError(pure)

    def gather(self, done: list[Any]) -> list[Any]:
        """What came of the tasks."""
        return done


def test_what_is_wrong_with_a_file_is_told_by_its_name_and_not_tried_again(parts: list[Path], tmp_path: Path) -> None:
    """The other files are judged; a row without a number costs one try, and says in which file it stands."""
    spread, client = tmp_path / "spread", _Inline()
    bad = tmp_path / "nameless.parquet"
    pq.write_table(pa.table({"sku": ["A-1", ""], "kind": ["step", "step"]}), bad)
    with pytest.raises(ProblemsFound) as told:
        judge_files(client, [bad, *parts[:2]], tmp_path / "rigs.parquet", spread, pairs=_PAIRS)
    assert {one.file for one in told.value.problems} == {str(bad)}
    assert client.tries == 3
    assert {path.name.rpartition("-")[0] for path in spread.glob("*.parquet")} == {path.stem for path in parts[:2]}


def test_files_of_one_name_are_refused(tmp_path: Path) -> None:
    """As engines name them, in two folders: before anything is judged, not written over each other."""
    items = [tmp_path / folder / "part-00000.parquet" for folder in ("one", "two")]
    with pytest.raises(ProblemsFound, match="has the name of"):
        judge_files(None, items, tmp_path / "rigs.parquet", tmp_path / "out")
