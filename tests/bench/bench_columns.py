"""Whole catalogues against SQL of the same rules in a database: `PYTHONPATH=tests python -m bench.bench_columns`.

Medians and ratios measured side by side in one run, one thread each, in processor time, which other work on the
machine does not stretch; two cores against one in time of day. With `small`, a tenth of the rigs. The SQL is
written from the rules by `sql_rules`, and its results are held to ours before it is timed.
"""

import os
import resource
import sys
import time
from collections.abc import Callable, Sequence
from multiprocessing import get_context
from statistics import median

from bench.sql_engine import Database
from fitsvc.engine.columns.kernel import Columns
from fitsvc.engine.columns.signatures import Catalogue
from fitsvc.engine.point import Point
from fitsvc.facts import Case
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.synthetic.columns import synthetic_accessories, synthetic_rigs

ENGINE = Point(load_rulebook(data_dir("rules")))
SUBJECTS = ("accessory",)


def timed(work: Callable[[], object], clock: Callable[[], float] = time.process_time) -> float:
    """Seconds of one call."""
    start = clock()
    work()
    return clock() - start


def ours(columns: Columns, catalogue: Catalogue, rig: Case) -> object:
    """The outcome of each signature, and the counts by outcome and by rule and result."""
    judged = columns.judge(catalogue, rig)
    return judged.outcome(), judged.counts(), judged.rule_counts()


def counted(columns: Columns, catalogue: Catalogue, rigs: Sequence[Case]) -> int:
    """Counts by outcome and by rule of every rig; the number of items that work."""
    works = 0
    for judged in columns.judge_all(catalogue, rigs):
        judged.rule_counts()
        works += judged.counts()["works"]
    return works


def line(work: str, mine: float, theirs: float, least: float) -> None:
    """One row of the table."""
    told = f"{mine * 1e3:9.3f} ms {theirs * 1e3:10.1f} ms {theirs / mine:8.0f} x   at least {least:g} x"
    print(f"{work:66} {told}", flush=True)


def one_rig(items: int, models: int, least: float, least_new: float, work: str) -> None:
    """One rig against a catalogue, warm and never seen, beside the database.

    Warm is a rig seen before. `again` asks for the same rig five times in a row; `in turn` goes through all the rigs
    seen, over and over, as a shop's visitors would. A never-seen rig comes after 40 others.
    """
    made = synthetic_accessories(ENGINE.rulebook, items, models=models)
    columns = Columns(ENGINE)
    start = time.process_time()
    catalogue = columns.catalogue_of(made.columns, SUBJECTS, items)
    columns.index(catalogue, 0)
    print(f"{items:,} items, {catalogue.count:,} signatures, indexed in {time.process_time() - start:.2f} s")
    rigs = synthetic_rigs(ENGINE.rulebook, 60)
    database = Database(columns.program(catalogue.subjects, 0), catalogue, threads=1)

    def one(rig: Case) -> float:
        return timed(lambda: ours(columns, catalogue, rig))

    for rig in rigs[:40]:  # what a service has seen before a never-seen rig comes
        one(rig)
    new = [one(rig) for rig in rigs[40:]]
    again = [median(one(rig) for _ in range(5)) for rig in rigs[40:]]
    in_turn = [one(rig) for _ in range(5) for rig in rigs]
    theirs = []
    for rig in rigs[40:]:
        database.check(columns, catalogue, rig)
        theirs.append(min(timed(lambda rig=rig: database.one(rig)) for _ in range(2)))  # type: ignore[misc]
    line(f"1 rig x {work}, warm, again", median(again), median(theirs), least)
    line(f"1 rig x {work}, warm, in turn", median(in_turn), median(theirs), least)
    line(f"a never-seen rig x {work}", median(new), median(theirs), least_new)


def many_rigs(rigs: int, items: int, sample: int) -> None:
    """Many rigs against a catalogue from an empty cache, beside the database on a sample of the rigs."""
    made = synthetic_accessories(ENGINE.rulebook, items)
    all_rigs = synthetic_rigs(ENGINE.rulebook, rigs, seed=7)
    columns = Columns(ENGINE)
    catalogue = columns.catalogue_of(made.columns, SUBJECTS, items)
    columns.index(catalogue, 0)
    mine = timed(lambda: counted(columns, catalogue, all_rigs))
    database = Database(columns.program(catalogue.subjects, 0), catalogue, threads=1)
    database.check_many(columns, catalogue, all_rigs[:10])
    joined = timed(lambda: database.many(all_rigs[:sample]))
    singly = timed(lambda: [database.one(rig) for rig in all_rigs[:sample]])
    theirs = min(joined, singly) * rigs / sample
    line(f"{rigs:,} rigs x {items:,} items ({catalogue.count:,} signatures), empty cache", mine, theirs, 25)
    print(
        f"  {rigs * items / mine:.2e} pairs/s; the database on {sample} of the rigs, scaled: "
        f"cross join {joined:.1f} s, rig by rig {singly:.1f} s"
    )
    by_clock, by_work = zip(*(two_cores(catalogue, all_rigs) for _ in range(3)), strict=True)
    print(
        f"{'two cores against one, the same work':66} {median(by_clock):8.2f} x   at least 1.6 x; by processor time "
        f"{median(by_work):.2f} x"
    )


def two_cores(catalogue: Catalogue, rigs: Sequence[Case]) -> tuple[float, float]:
    """How many times faster two processes that share the catalogue are, each with its own cache.

    They take the rigs piece by piece, as each is done with the last, since some rigs take twice as long as others.
    By the time of day, which other work on the machine spoils; and by the processor time of the slower of the two.
    """
    columns = Columns(ENGINE)
    columns.index(catalogue, 0)
    _shared.update(columns=columns, catalogue=catalogue, rigs=rigs)
    pieces = [range(start, min(start + _PIECE, len(rigs))) for start in range(0, len(rigs), _PIECE)]
    start = time.perf_counter()
    with get_context("fork").Pool(2) as pool:
        parts = pool.map(_part, pieces, chunksize=1)
    two = time.perf_counter() - start
    start, work = time.perf_counter(), time.process_time()
    works = counted(columns, catalogue, rigs)
    one, work = time.perf_counter() - start, time.process_time() - work
    assert works == sum(part[0] for part in parts)
    each: dict[int, float] = {}
    for _, process, took in parts:
        each[process] = each.get(process, 0.0) + took
    return one / two, work / max(each.values())


_PIECE = 500
_shared: dict[str, object] = {}


def _part(piece: range) -> tuple[int, int, float]:
    """The number of items that work, which process counted them, and the processor time it took."""
    rigs: Sequence[Case] = _shared["rigs"]  # type: ignore[assignment]
    work = time.process_time()
    works = counted(_shared["columns"], _shared["catalogue"], rigs[piece.start : piece.stop])  # type: ignore[arg-type]
    return works, os.getpid(), time.process_time() - work


def main() -> None:
    """Run all."""
    small = "small" in sys.argv[1:]
    print(f"processors: {os.cpu_count()}, load average {os.getloadavg()[0]:.1f}; ours against the database, medians")
    one_rig(1_000_000, 60_000, 40, 40, "1,000,000 items (60,000 signatures)")
    one_rig(100_000, 100_000, 100, 80, "100,000 items, all distinct")
    many_rigs(1_000 if small else 10_000, 100_000, 20 if small else 50)
    print(f"most memory held: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss >> 10} MB")


if __name__ == "__main__":
    main()
