"""Second stage of an audit: its blocks of items judged with all rigs, by this process or by several beside each other.

Each part comes from one block and one group of rigs alone, so that the files are the same whoever judged what. A
process that helps ends at once when the one it helps does, and none begins before all earlier ones have ended.
"""

import errno
import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from itertools import pairwise
from multiprocessing.connection import Connection, wait
from multiprocessing.context import SpawnProcess
from typing import Final

import pyarrow as pa

from fitsvc.audits.blocks import pairs_table, touched_of
from fitsvc.audits.claims import Claims
from fitsvc.audits.pairs import pairs_folder, part_of, write_part
from fitsvc.audits.state import AuditState, Task
from fitsvc.audits.tally import ClaimTeller, Tally

_TOLD_EVERY: Final = 0.5
"""Seconds after which whoever waits is told how far it is."""
_TURNS: Final = 2
"""How often each process has something to judge at the least, so that none waits long for the slowest."""
_ENDED: Final = "a process that helped to judge was ended, as a system does that is short of memory"


@dataclass(frozen=True, slots=True)
class BlockTask:
    """One block to be judged: its number, how many items it has, and what is claimed of them.

    `groups` are those of rigs that it is to be judged with, all where none are named.
    """

    number: int
    rows: int
    claims: Claims | None
    groups: range | None = None


Elsewhere = Callable[[Task, Sequence[BlockTask]], Iterator[int]]
"""Judges blocks of a task by other machines, and tells of each how many items it had once it is judged."""


def judge_all(
    state: AuditState,
    parts: Sequence[BlockTask],
    tell: Callable[[int, int], None],
    elsewhere: Elsewhere | None = None,
) -> None:
    """Judge all blocks that are not judged; `tell` is told how many pairs of how many are done."""
    pairs_folder(state.out, state.task.format).mkdir(exist_ok=True)
    rigs = len(state.rigs)
    total = sum(part.rows for part in parts) * rigs
    left = [part for part in parts if not _is_judged(state, part)]
    done = total - sum(part.rows for part in left) * rigs
    state.spool.await_helpers()
    if elsewhere is not None:
        for rows in elsewhere(state.task, left):
            done += rows * rigs
            tell(done, total)
        state.spool.await_helpers()  # one that was taken for dead may still be at work on what another has done
        return
    shared = list(_shared_out(state, left, state.task.shares.processes))
    if (processes := min(state.task.shares.processes, len(shared))) > 1:
        _judge_beside(state, shared, processes, lambda more: tell(done + more, total))
        return
    for part in left:
        judge_one(state, part, _on_top_of(done, total, tell))
        done += part.rows * rigs
    tell(total, total)


def _is_judged(state: AuditState, part: BlockTask) -> bool:
    """Whether a block is judged with every rig already."""
    return all(state.spool.is_judged(part.number, group) for group in range(len(state.groups(part.rows))))


def _shared_out(state: AuditState, left: Sequence[BlockTask], processes: int) -> Iterator[BlockTask]:
    """The blocks that are left, in parts by groups of rigs where they are too few to keep all processes busy."""
    parts = -(-processes * _TURNS // len(left)) if left else 1
    for part in left:
        groups = len(state.groups(part.rows))
        ends = sorted({groups * number // parts for number in range(parts + 1)})
        yield from (replace(part, groups=range(first, end)) for first, end in pairwise(ends))


def _on_top_of(done: int, total: int, tell: Callable[[int, int], None]) -> Callable[[int], None]:
    """Tell of a block's pairs on top of those of the blocks before it."""
    return lambda more: tell(done + more, total)


def judge_one(state: AuditState, part: BlockTask, tell: Callable[[int], None]) -> None:
    """Judge a block with every group of rigs that is not judged yet; `tell` is told of the pairs done."""
    items = state.spool.block(part.number)
    block = state.kernel.block(items, touched_of(items.skus, state.rigs))
    skus, teller = pa.array(items.skus, pa.string()), ClaimTeller(state.kernel, state.facts)
    every = state.groups(part.rows)
    for group in part.groups or range(len(every)):
        if state.spool.is_judged(part.number, group):
            continue
        places = every[group]
        rigs = [state.rigs[place] for place in places]
        tally = Tally(state.kernel, state.facts, block, len(rigs))
        results = []
        for place, (rig, (judged, result)) in enumerate(zip(rigs, block.judge(rigs), strict=True)):
            tally.add(place, rig, judged, result)
            results.append(result)
        of_group = part.claims.among(places) if part.claims else None
        path = part_of(state.out, state.task.format, part.number, group)
        write_part(path, pairs_table(block, skus, rigs, results, of_group))
        fates = teller.fates(items, rigs, block, results, tally.waiting, of_group) if of_group else []
        carried = teller.carried(items, rigs, block, results, of_group) if of_group else []
        state.spool.keep_part(part.number, group, tally.counts(of_group, results), fates, carried)
        tell(part.rows * places.stop)


def _pairs(state: AuditState, part: BlockTask) -> int:
    """How many pairs a block has with the rigs that it is to be judged with."""
    of = state.groups(part.rows)
    return part.rows * sum(len(of[group]) for group in part.groups or range(len(of)))


def _judge_beside(state: AuditState, left: Sequence[BlockTask], processes: int, tell: Callable[[int], None]) -> None:
    """Judge blocks by processes beside this one, each sent another when it has judged one."""
    waiting, busy, done = iter(left), set[Connection](), 0
    with _helpers(state.task, processes) as free:
        while True:
            for pipe, part in zip(free, waiting, strict=False):
                _send(pipe, part)
                busy.add(pipe)
            if not busy:
                return
            free = [pipe for pipe in wait(busy, _TOLD_EVERY) if isinstance(pipe, Connection)]
            done += sum(_receive(pipe) for pipe in free)
            busy.difference_update(free)
            tell(done)


@contextmanager
def _helpers(task: Task, count: int) -> Iterator[list[Connection]]:
    """Processes that judge the blocks sent to them, and send how many pairs each had; they are ended at the end."""
    # A process made anew, and not a copy of this one, has none of its threads or locks in it.
    context = multiprocessing.get_context("spawn")
    pipes, processes = list[Connection](), list[SpawnProcess]()
    try:
        for _ in range(count):
            pipe, other = context.Pipe()
            pipes.append(pipe)
            process = context.Process(target=_help, args=(task, other), daemon=True)
            process.start()
            processes.append(process)
            other.close()
        yield pipes
    finally:
        for process in processes:
            process.terminate()
        for process in processes:
            process.join()
        for pipe in pipes:
            pipe.close()


def _send(pipe: Connection, part: BlockTask) -> None:
    try:
        pipe.send(part)
    except OSError:
        raise ChildProcessError(errno.ECHILD, _ENDED) from None


def _receive(pipe: Connection) -> int:
    """How many pairs were judged; what went wrong with them is raised."""
    try:
        found: int | Exception = pipe.recv()
    except (EOFError, OSError):
        raise ChildProcessError(errno.ECHILD, _ENDED) from None
    if isinstance(found, Exception):
        raise found
    return found


def _help(task: Task, pipe: Connection) -> None:
    """Judge what comes through a pipe, in a process that does not outlive the one it helps."""
    threading.Thread(target=_end_with_parent, daemon=True).start()
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # who ends the whole ends this process too, and says so once
    pa.set_cpu_count(1)
    try:
        state = AuditState(task)
        with state.spool.helping(), task.spoken():
            while True:
                part = pipe.recv()
                judge_one(state, part, lambda _: None)
                pipe.send(_pairs(state, part))
    except Exception as error:
        pipe.send(error)


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    assert parent is not None
    parent.join()
    os._exit(1)
