"""An audit end to end: `PYTHONPATH=tests python -m bench.bench_audit [ITEMS [RIGS]]` (100,000 and 200).

A made-up catalogue as CSV, that claims nothing, against made-up rigs: file in, Parquet and counts out. Beside it
DuckDB reads the same CSV file, and reads and writes the same pairs as Parquet, doing nothing with them: the floor.
First one process against one thread, then two against two.
"""

import csv
import resource
import sys
import tempfile
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import Any

import duckdb
import pyarrow as pa

from bench.measuring import SMALL, Group, Row, Time, once, show, taken
from fitsvc.audits.rigs import AuditRig
from fitsvc.audits.run import LEAST_MB, Audit, AuditOrder
from fitsvc.audits.summary import run
from fitsvc.engine.columns.signatures import Column
from fitsvc.language.types import ListType, NumberType, Type, Value
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.rulebook.rules import Rulebook
from fitsvc.rulebook.vocabulary import Fact
from fitsvc.synthetic.columns import synthetic_accessories, synthetic_rigs

USUAL = (5_000, 50) if SMALL else (100_000, 200)
COMMAND = "bench.bench_audit"
UNITS = {"length": " mm", "mass": " kg", "angle": " deg", "force": " kN", "torque": " N m"}


def cell(fact: Fact, kind: Type, value: Value) -> str:
    """A value as a catalogue's cell; empty where nothing is known."""
    if value == kind.unknown:
        return ""
    if isinstance(value, tuple):
        assert fact.range is not None
        low, high = (min(max(end, fact.range[0]), fact.range[1]) for end in value)
        if fact.kind == "count":
            return f"{low:.0f}"
        ends = [f"{end * 100:.4f} %" if fact.kind == "ratio" else f"{end:.4f}{UNITS[fact.kind]}" for end in (low, high)]
        return ends[0] if low == high else f"at least {ends[0]}, at most {ends[1]}"
    if isinstance(kind, ListType):
        return "|".join(member for place, member in enumerate(kind.members) if value >> place & 1)
    return "yes" if value else "no"


def texts(rulebook: Rulebook, name: str, column: Column) -> list[str]:
    """A column as cells."""
    kind, fact = rulebook.vocabulary.slots()[name], rulebook.vocabulary.fact_of(name)
    assert fact is not None
    values: list[Any] = list(zip(*map(list, column), strict=True)) if isinstance(column, tuple) else column.tolist()
    assert isinstance(kind, NumberType) == isinstance(column, tuple)
    return [cell(fact, kind, value) for value in values]


def write_catalogue(path: Path, rulebook: Rulebook, items: int) -> None:
    """Write a made-up catalogue."""
    columns = synthetic_accessories(rulebook, items).columns
    cells = [texts(rulebook, name, column) for name, column in columns.items()]
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(["sku", *(name.split(".", 1)[1] for name in columns)])
        for number, row in enumerate(zip(*cells, strict=True)):
            writer.writerow([f"SKU-{number:07}", *row])


def by_duckdb(catalogue: Path, pairs: Path, out: Path, threads: int) -> None:
    """Read the catalogue, and read and write the pairs."""
    connection = duckdb.connect()
    connection.execute(f"set threads = {threads}; set enable_progress_bar = false")
    connection.execute("create table items as select * from read_csv(?, all_varchar = true)", [str(catalogue)])
    read = f"select * from read_parquet('{pairs}/*.parquet')"
    connection.execute(f"copy ({read}) to '{out}' (format parquet, compression zstd, compression_level 1)")


def groups() -> Iterator[Group]:
    """An audit by one process, and by two."""
    items, rigs = (
        int(given) if given.isdigit() else usual
        for given, usual in zip((*sys.argv[1:3], "", "")[:2], USUAL, strict=True)
    )
    rulebook = load_rulebook(data_dir("rules"))
    of = [AuditRig(f"rig-{number:05}", "", case) for number, case in enumerate(synthetic_rigs(rulebook, rigs))]
    pa.set_cpu_count(1)
    with tempfile.TemporaryDirectory() as folder:
        catalogue = Path(folder, "catalogue.csv")
        write_catalogue(catalogue, rulebook, items)
        for cores in (1, 2):
            out, duck = Path(folder, f"out-{cores}"), Path(folder, f"duck-{cores}.parquet")
            asked = AuditOrder(catalogue=catalogue, out=out, memory=cores * LEAST_MB)
            ours = once(lambda _, asked=asked: run(Audit(asked, rulebook, of, lambda *_: None)))  # type: ignore[misc]  # a lambda with a default is untyped to the checker
            most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss >> 10
            of_files = partial(by_duckdb, catalogue, out / "pairs.parquet", duck, cores)
            theirs = once(lambda _, work=of_files: work())  # type: ignore[misc]  # as above
            yield Group(
                f"An audit, {items:,} rows on {rigs:,} rigs, CSV in to Parquet out, "
                f"{'one process' if cores == 1 else 'two processes, by the clock'}",
                COMMAND,
                [
                    Row("ours", "fitsvc", _by_the_clock(ours, cores)),
                    Row(
                        "floor",
                        f"DuckDB reads and writes the same files, threads: {cores}",
                        _by_the_clock(theirs, cores),
                    ),
                ],
                # of several processes this one sees no more than what DuckDB held in it before
                notes=[f"Ours held {most:,} MB at most, the made-up catalogue among it."] if cores == 1 else [],
            )


def _by_the_clock(both: tuple[float, float], cores: int) -> Time:
    """Both times of one process; of several, whose work this one does not see, the clock's alone."""
    used, clock = both
    return taken([used] if cores == 1 else None, [clock])


def main() -> None:
    """Measure and print."""
    show(groups())


if __name__ == "__main__":
    main()
