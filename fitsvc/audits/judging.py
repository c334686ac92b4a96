"""Second stage of an audit: its blocks of items judged with all rigs, by this process or by several beside each other.

Each part comes from one block and one group of rigs alone, so that the files are the same whoever judged what. A
process that helps ends at once when the one it helps does, and none begins before all earlier ones have ended.
"""

import fcntl
import multiprocessing
import os
import threading
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import pyarrow as pa

from fitsvc.audits.blocks import Kernel, pairs_table
from fitsvc.audits.claims import Claims
from fitsvc.audits.items import read_block
from fitsvc.audits.missing import OpenFacts
from fitsvc.audits.pairs import pairs_folder, part_of, write_part
from fitsvc.audits.rigs import AuditRig
from fitsvc.audits.spool import Spool
from fitsvc.audits.tally import Tally, Teller
from fitsvc.rulebook.rules import Rulebook

_TOLD_EVERY: Final = 0.5
_LOCK: Final = "judging.lock"


@dataclass(frozen=True, slots=True)
class Shares:
    """How the memory of one process is shared out: items in a block, pairs in a part, bytes of results kept; and how
    many processes there may be."""

    rows: int
    pairs: int
    kept: int
    processes: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """All that a process needs to judge blocks of an audit."""

    out: Path
    run: Mapping[str, Any]
    format: str
    rulebook: Rulebook
    rigs: Sequence[AuditRig]
    shares: Shares


@dataclass(frozen=True, slots=True)
class Part:
    """One block to be judged: its number, how many items it has, and what is claimed of them."""

    number: int
    rows: int
    claims: Claims | None


class Judging:
    """A task under way in this process."""

    def __init__(self, task: Task) -> None:
        self.task, self.rigs = task, task.rigs
        self.spool = Spool(task.out, task.run)
        # What is kept is kept twice, for bare receivers and for those with adapters in them.
        self.kernel = Kernel(task.rulebook, task.shares.kept // 2)
        self.facts = OpenFacts(self.kernel)

    def groups(self, rows: int) -> list[range]:
        """The rigs in groups of which each makes one part with a block of so many items."""
        size = max(1, self.task.shares.pairs // rows)
        return [range(start, min(start + size, len(self.rigs))) for start in range(0, len(self.rigs), size)]

    def is_judged(self, part: Part) -> bool:
        """Whether a block is judged with every rig already."""
        return all(self.spool.has(tally_name(part.number, group)) for group in range(len(self.groups(part.rows))))

    def judge(self, part: Part, tell: Callable[[int], None]) -> None:
        """Judge a block with every group of rigs that is not judged yet; `tell` is told of the pairs done."""
        items = read_block(self.spool, part.number)
        block = self.kernel.block(items.columns, part.rows)
        skus, teller = pa.array(items.skus, pa.string()), Teller(self.kernel, self.facts)
        for group, places in enumerate(self.groups(part.rows)):
            if self.spool.has(tally_name(part.number, group)):
                continue
            rigs = [self.rigs[place] for place in places]
            tally = Tally(self.kernel, self.facts, block, len(rigs))
            results = []
            for place, (rig, (judged, result)) in enumerate(zip(rigs, block.judge(rigs), strict=True)):
                tally.add(place, rig, judged, result)
                results.append(result)
            of_group = part.claims.among(places) if part.claims else None
            path = part_of(self.task.out, self.task.format, part.number, group)
            write_part(path, pairs_table(block, skus, rigs, results, of_group))
            rows = teller.rows(items, rigs, block, results, tally.waiting, of_group) if of_group else []
            self.spool.write(f"claims-{part.number:05}-{group:05}.json", rows)
            self.spool.write_arrays(tally_name(part.number, group), tally.arrays(of_group, results))
            tell(part.rows * places.stop)

    def judge_all(self, parts: Sequence[Part], tell: Callable[[int, int], None]) -> None:
        """Judge all blocks that are not judged; `tell` is told how many pairs of how many are done."""
        pairs_folder(self.task.out, self.task.format).mkdir(exist_ok=True)
        total = sum(part.rows for part in parts) * len(self.rigs)
        left = [part for part in parts if not self.is_judged(part)]
        done = total - sum(part.rows for part in left) * len(self.rigs)
        self._await_helpers()
        processes = min(self.task.shares.processes, len(left))
        if processes > 1:
            self._judge_beside(left, processes, lambda more: tell(done + more, total))
            return
        for part in left:
            self.judge(part, lambda more, before=done: tell(before + more, total))  # type: ignore[misc]
            done += part.rows * len(self.rigs)
        tell(total, total)

    def _judge_beside(self, left: Sequence[Part], processes: int, tell: Callable[[int], None]) -> None:
        done = 0
        # A process made anew, and not a copy of this one, has none of its threads or locks in it.
        context = multiprocessing.get_context("spawn")
        pool = ProcessPoolExecutor(processes, context, _help, (self.task,))
        try:
            waiting: set[Future[int]] = {pool.submit(_judge, part) for part in left}
            while waiting:
                ended, waiting = wait(waiting, _TOLD_EVERY, FIRST_COMPLETED)
                done += sum(one.result() for one in ended) * len(self.rigs)
                tell(done)
        except BaseException:
            for process in list(pool._processes.values()):
                process.terminate()
            raise
        finally:
            pool.shutdown(cancel_futures=True)

    def _await_helpers(self) -> None:
        """Wait until no process helps any more that an audit left behind when it was killed."""
        with (self.spool.folder / _LOCK).open("w") as stream:
            fcntl.flock(stream, fcntl.LOCK_EX)


_helping: list[Judging] = []
_held: list[Any] = []


def _help(task: Task) -> None:
    """Begin to help: get ready, and see to it that this process does not outlive the one it helps."""
    threading.Thread(target=_end_with_parent, daemon=True).start()
    pa.set_cpu_count(1)
    judging = Judging(task)
    stream = (judging.spool.folder / _LOCK).open("w")
    fcntl.flock(stream, fcntl.LOCK_SH)
    _held.append(stream)
    _helping.append(judging)


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    assert parent is not None
    parent.join()
    os._exit(1)


def _judge(part: Part) -> int:
    _helping[0].judge(part, lambda _: None)
    return part.rows


def tally_name(block: int, group: int) -> str:
    """The name under which a part's counts are kept; once they are there, the part is done."""
    return f"tally-{block:05}-{group:05}.npz"
