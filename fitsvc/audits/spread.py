"""An audit's pairs judged by many machines: by Dask (`fitsvc[dask]`) or Spark, whole or as pairs alone.

A whole audit reads its catalogue and writes its findings where it is begun, and has its blocks judged by the workers,
which see the same folder: each block is a task, and what it gives goes to files that are whole or not there. So the
bytes are those of one machine, whichever worker judged what, and an audit whose driver was killed is taken up again
where it was. A block is held by a lock while it is judged, so that of two workers that were given it (one was taken
for dead, or has outlived its driver) the second finds it done.

The pairs alone of a catalogue too large for one machine to read are judged file by file (`judge_files`).
"""

import errno
import threading
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import islice
from pathlib import Path
from typing import Any, Final

import pyarrow.parquet as pq

from fitsvc import __version__
from fitsvc.audits.blocks import judge_in_parts
from fitsvc.audits.judging import BlockTask, Elsewhere, judge_one
from fitsvc.audits.pairs import write_part
from fitsvc.audits.spool import begun
from fitsvc.audits.state import AuditState, Task
from fitsvc.caching import LruCache
from fitsvc.files import NO_ROOM
from fitsvc.language.problems import Problem, ProblemsFound

PAIRS_IN_PART: Final = 1_000_000
_RETRIES: Final = 5
_AHEAD: Final = 4
"""Blocks that wait at a cluster for each thread of its workers: so many that none is idle, and their claims are few."""
_STATES: Final = LruCache[str, AuditState](1)
_ONE_AT_A_TIME: Final = threading.Lock()
"""What a process keeps of judged signatures is one thread's: a worker of several threads judges with one."""


def on_dask(client: Any) -> Elsewhere:
    """What judges an audit's blocks on the workers of a Dask cluster (a `Client` of it).

    What is wrong for certain ends the audit at once; else a task is tried again, and where its worker died as often
    as the cluster allows. ChildProcessError when the cluster gave a block up: the same audit then goes on.
    """

    def judge(task: Task, parts: Sequence[BlockTask]) -> Iterator[int]:
        from distributed import KilledWorker, as_completed
        from distributed.client import FutureCancelledError

        shared = client.scatter(_for_all(task), broadcast=True, hash=False)
        waiting = iter(parts)

        def begin(count: int) -> list[Any]:
            some = islice(waiting, count)
            return [client.submit(judge_shared, shared, part, retries=_RETRIES, pure=False) for part in some]

        first = begin(_AHEAD * max(1, sum(client.nthreads().values())))
        running: Any = as_completed(first, loop=client.loop)  # type: ignore[no-untyped-call]  # of a library without types
        for done in running:
            try:
                rows = _rows_of(done.result())
            except (KilledWorker, FutureCancelledError) as error:
                raise ChildProcessError(errno.ECHILD, f"the cluster gave up a block: {error}") from None
            running.update(begin(1))
            yield rows

    return judge


def on_spark(context: Any) -> Elsewhere:
    """The same by Spark (a `SparkContext`), with fitsvc on every worker; it is told once all blocks are judged."""

    def judge(task: Task, parts: Sequence[BlockTask]) -> Iterator[int]:
        shared = context.broadcast(_for_all(task))
        each = context.parallelize(parts, max(1, len(parts))).map(lambda part: judge_shared(shared.value, part))
        yield from map(_rows_of, each.collect())

    return judge


def _for_all(task: Task) -> Task:
    """A task as it is to workers, which may be at work in another folder."""
    return replace(task, out=task.out.absolute())


def _rows_of(found: int | Exception) -> int:
    if isinstance(found, Exception):
        raise found
    return found


def judge_shared(task: Task, part: BlockTask) -> int | Exception:
    """Judge a block of an audit that another process began, and return how many items it has.

    What would be wrong again if it were done again is returned: raised, it would be taken for a worker's fault.
    """
    try:
        with _ONE_AT_A_TIME:
            state = _STATES.get(f"{task.out} {task.run}", lambda: _state_of(task))
            with state.spool.helping(), state.spool.holding(part.number), task.spoken():
                judge_one(state, part, lambda _: None)
    except ProblemsFound as found:
        return found
    except OSError as error:
        if error.errno in NO_ROOM:
            return error
        raise
    return part.rows


def _state_of(task: Task) -> AuditState:
    """A task in the hands of a worker; ProblemsFound where it is none of what the worker can see or is."""
    if task.run["program"] != __version__:
        help = f"install fitsvc {task.run['program']} on every worker"
        raise ProblemsFound([Problem(f"a worker has fitsvc {__version__}", help)])
    if begun(task.out) != task.run:
        help = "name a folder that every worker sees by the same path"
        raise ProblemsFound([Problem("a worker does not see the audit's folder", help, file=str(task.out))])
    return AuditState(task)


def judge_file(items: str, rigs: str, out: str, rules: str | None = None, pairs: int = PAIRS_IN_PART) -> int:
    """Judge the items of one Parquet file with the rigs of another; returns how many pairs were written to `out`."""
    folder, name, count = Path(out), Path(items).stem, 0
    tables = judge_in_parts(pq.read_table(items), pq.read_table(rigs), rules, pairs)
    for part, table in enumerate(tables):
        write_part(folder / f"{name}-{part:05}.parquet", table)
        count += len(table)
    return count


def judge_files(
    client: Any, items: Sequence[Path], rigs: Path, out: Path, rules: Path | None = None, pairs: int = PAIRS_IN_PART
) -> int:
    """Judge many files of items on a Dask cluster; returns how many pairs there are.

    The files' names tell their pairs apart: ProblemsFound where two have one name. What is wrong with some files is
    raised once the others are judged, each by its name; a task that found it is not done again, as it would find the
    same. Under Spark `judge_in_parts` goes through `mapInArrow`, its tables cast to `plain(PAIRS)`.
    """
    places: dict[str, Path] = {}
    for path in items:
        if (first := places.setdefault(path.stem, path)) is not path:
            help = "give each file a name of its own: their pairs would be written over each other"
            raise ProblemsFound([Problem(f"has the name of {first}", help, file=str(path))])
    out.mkdir(parents=True, exist_ok=True)
    shared = None if rules is None else str(rules)
    tasks = [
        client.submit(_judged, str(path), str(rigs), str(out), shared, pairs, retries=_RETRIES, pure=False)
        for path in items
    ]
    done = client.gather(tasks)
    if problems := [problem for _, found in done for problem in found]:
        raise ProblemsFound(problems)
    return sum(count for count, _ in done)


def _judged(items: str, rigs: str, out: str, rules: str | None, pairs: int) -> tuple[int, list[Problem]]:
    """How many pairs one file has, or what is wrong with it: raised, it would be taken for a worker's fault."""
    try:
        return judge_file(items, rigs, out, rules, pairs), []
    except ProblemsFound as found:
        return 0, [replace(problem, file=items) for problem in found.problems]
