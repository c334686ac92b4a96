"""How an audit's cost grows with rows, rigs and workers: `PYTHONPATH=tests python -m audit_growth [ROWS [RIGS]]`.

Audits of up to so many rows on up to so many rigs, of a catalogue that is made up and claims nothing, by one process
and on a Dask cluster of processes. Told is processor time, which a busy machine does not change much: of the process
that began the audit, which reads and writes alone, and of the workers, who share what they have to do. From these two,
fitted to rows and pairs by least squares, follows what larger ones take; what was not measured says so.
"""

import json
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from bench.bench_audit import write_catalogue
from dask_cluster import clustered

from fitsvc.audits.rigs import AuditRig
from fitsvc.audits.run import LEAST_MB, Audit, AuditOrder
from fitsvc.audits.spread import on_dask
from fitsvc.audits.summary import run
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.synthetic.columns import synthetic_rigs

ROWS: Final = 200_000
RIGS: Final = 100
_WORKERS: Final = 2
_LARGER: Final = ((10_000_000, 100, 8), (200_000_000, 100, 200))
"""Rows, rigs and workers of what is not measured: a night's, and the largest that is spoken of."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """One audit: seconds of the processor of who began it and of the workers, and MB that the former held at most."""

    rows: int
    rigs: int
    workers: int
    began: float
    worked: float
    held: float


def measured(catalogue: Path, out: Path, rows: int, rigs: int, workers: int) -> Measured:
    """Carry one audit out, by no workers in this process alone."""
    rulebook = load_rulebook(data_dir("rules"))
    of = [AuditRig(f"rig-{number:05}", "", case) for number, case in enumerate(synthetic_rigs(rulebook, rigs))]
    audit = Audit(AuditOrder(catalogue=catalogue, out=out, memory=LEAST_MB), rulebook, of, lambda *_: None)
    began = time.process_time()
    if workers:
        with clustered(workers) as client:
            audit.elsewhere = on_dask(client)
            run(audit)
    else:
        run(audit)
    children = resource.getrusage(resource.RUSAGE_CHILDREN)
    return Measured(
        rows=rows,
        rigs=rigs,
        workers=workers,
        began=time.process_time() - began,
        worked=children.ru_utime + children.ru_stime,
        held=resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
    )


def growth(rows: int, rigs: int) -> Iterator[Measured]:
    """Audits of an eighth of the rows up to all, of a tenth of the rigs, and on a cluster, each in its own process."""
    steps = [(rows // 8, rigs, 0), (rows // 4, rigs, 0), (rows // 2, rigs, 0), (rows, rigs, 0)]
    steps += [(rows, rigs // 10, 0), (rows, rigs, 1), (rows, rigs, _WORKERS)]
    rulebook = load_rulebook(data_dir("rules"))
    with tempfile.TemporaryDirectory() as folder:
        for number, (items, count, workers) in enumerate(steps):
            catalogue = Path(folder, f"{items}.csv")
            if not catalogue.exists():
                write_catalogue(catalogue, rulebook, items)
            given = [str(catalogue), str(Path(folder, f"out-{number}")), str(items), str(count), str(workers)]
            command = [sys.executable, "-m", "audit_growth", "one", *given]
            told = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True).stdout
            yield Measured(**json.loads(told.splitlines()[-1]))


def fitted(found: list[Measured]) -> tuple[float, float, float, float]:
    """Microseconds that reading and writing take a row, judging a row and a pair, and seconds that are always there.

    By least squares over what was measured: of the audits by one process all that they took, and of those on a cluster
    what who began it took, which is all but judging.
    """
    rows = []
    times = []
    for one in found:
        judging = 0.0 if one.workers else 1.0
        rows.append([1.0, one.rows, judging * one.rows, judging * one.rows * one.rigs])
        times.append(one.began)
    (fixed, reading, judging_row, judging_pair), *_ = np.linalg.lstsq(np.array(rows), np.array(times), rcond=None)
    return reading * 1e6, judging_row * 1e6, judging_pair * 1e6, fixed


def main() -> None:
    """Measure and print a table for the guide."""
    given = [int(one) for one in sys.argv[1:3]]
    rows, rigs = given[0] if given else ROWS, given[1] if len(given) > 1 else RIGS
    print("| rows | rigs | workers | who began it | workers together | held by who began it |")
    print("| ---: | ---: | ---: | ---: | ---: | ---: |")
    found = []
    for one in growth(rows, rigs):
        found.append(one)
        worked = f"{one.worked:,.1f} s" if one.workers else "–"
        told = f"{one.rows:,} | {one.rigs:,} | {one.workers or 'none'} | {one.began:,.1f} s | {worked}"
        print(f"| {told} | {one.held:,.0f} MB |", flush=True)
    reading, judging_row, judging_pair, fixed = fitted(found)
    judging = f"judging {judging_row:.0f} µs a row and {judging_pair:.2f} a pair"
    print(f"\nreading and writing {reading:.0f} µs a row, {judging}")
    for items, count, workers in _LARGER:
        alone = fixed + items * reading / 1e6
        shared = items * (judging_row + count * judging_pair) / 1e6
        print(
            f"{items:,} x {count}, not measured: {alone / 3600:.1f} h by who began it, "
            f"{shared / 3600:.1f} h of workers, so {(alone + shared / workers) / 3600:.1f} h with {workers} of them"
        )


if __name__ == "__main__":
    if sys.argv[1:2] == ["one"]:
        place, into, *counts = sys.argv[2:]
        items, count, beside = map(int, counts)
        one = measured(Path(place), Path(into), items, count, beside)
        print(json.dumps({name: getattr(one, name) for name in Measured.__slots__}))
    else:
        main()
