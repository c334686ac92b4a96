"""An audit's pairs judged by many machines: by Dask (`fitsvc[dask]`) or Spark, each block of it a task.

A whole audit reads its catalogue and writes its findings where it is begun, and has its blocks judged by the workers,
which see the same folder: each block is a task, and what it gives goes to files that are whole or not there. So the
bytes are those of one machine, whichever worker judged what, and an audit whose driver was killed is taken up again
where it was. A block is held by a lock while it is judged, so that of two workers that were given it (one was taken
for dead, or has outlived its driver) the second finds it done.

The pairs alone of a catalogue too large for one machine to read are judged by `pair_files`.
"""

import errno
import threading
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import islice
from typing import Any, Final

from fitsvc import __version__
from fitsvc.audits.judging import BlockTask, Elsewhere, judge_one
from fitsvc.audits.spool import begun
from fitsvc.audits.state import AuditState, Task
from fitsvc.caching import LruCache
from fitsvc.files import of_the_machine
from fitsvc.language.problems import Problem, ProblemsFound

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
        if of_the_machine(error):
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
