"""An audit end to end: `PYTHONPATH=tests python -m bench.bench_audit [ITEMS [RIGS]]`.

A made-up catalogue as CSV, that claims nothing, against made-up rigs: file in, Parquet and counts out; many rows on one
rig, and fewer on many. Beside it DuckDB reads the same CSV file, and reads and writes the same pairs as Parquet, doing
nothing with them: the floor. Then two processes, beside the one. Each audit is carried out by a process of its own that
has read the rulebook and made up the rigs, so that what it holds is an audit's and nothing else's.
"""

import csv
import sys
import tempfile
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import duckdb
import pyarrow as pa

from bench.measuring import SMALL, Group, Row, once, peak, show, taken
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

USUAL = ((5_000, 1), (5_000, 50)) if SMALL else ((1_000_000, 1), (100_000, 1_000))
AT_A_TIME = 100_000
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
    """A column as cells, each distinct one made once."""
    kind, fact = rulebook.vocabulary.slots()[name], rulebook.vocabulary.fact_of(name)
    assert fact is not None
    values: list[Any] = list(zip(*map(list, column), strict=True)) if isinstance(column, tuple) else column.tolist()
    assert isinstance(kind, NumberType) == isinstance(column, tuple)
    cells = {value: cell(fact, kind, value) for value in set(values)}
    return [cells[value] for value in values]


def write_catalogue(path: Path, rulebook: Rulebook, items: int) -> None:
    """Write a made-up catalogue, so many rows at a time."""
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        for seed, start in enumerate(range(0, items, AT_A_TIME), start=1):
            columns = synthetic_accessories(rulebook, min(AT_A_TIME, items - start), seed=seed).columns
            if not start:
                writer.writerow(["sku", *(name.split(".", 1)[1] for name in columns)])
            cells = [texts(rulebook, name, column) for name, column in columns.items()]
            for number, row in enumerate(zip(*cells, strict=True), start=start):
                writer.writerow([f"SKU-{number:07}", *row])


def parsed_by_duckdb(catalogue: Path) -> duckdb.DuckDBPyConnection:
    """Read the catalogue."""
    connection = duckdb.connect()
    connection.execute("set threads = 1; set enable_progress_bar = false")
    connection.execute("create table items as select * from read_csv(?, all_varchar = true)", [str(catalogue)])
    return connection


def written_by_duckdb(catalogue: Path, pairs: Path, out: Path) -> None:
    """Read the catalogue, and read and write the pairs."""
    read = f"select * from read_parquet('{pairs}/*.parquet')"
    parsed_by_duckdb(catalogue).execute(
        f"copy ({read}) to '{out}' (format parquet, compression zstd, compression_level 1)"
    )


def groups() -> Iterator[Group]:
    """Audits by one process, and of the larger by two."""
    rulebook = load_rulebook(data_dir("rules"))
    given = tuple(int(one) for one in sys.argv[1:3] if one.isdigit())
    for items, rigs in [(*given, *USUAL[0][len(given) :])] if given else USUAL:
        with tempfile.TemporaryDirectory() as folder:
            catalogue = Path(folder, "catalogue.csv")
            write_catalogue(catalogue, rulebook, items)
            yield from _audits(Path(folder), AuditOrder(catalogue=catalogue, out=Path(folder)), rigs)


def carried_out(order: AuditOrder, rigs: int) -> tuple[float, float, float]:
    """Seconds of the processor and of the clock that an audit takes this process, and the most that it has held."""
    pa.set_cpu_count(1)
    rulebook = load_rulebook(data_dir("rules"))
    of = [AuditRig(f"rig-{number:05}", "", case) for number, case in enumerate(synthetic_rigs(rulebook, rigs))]
    return *once(lambda _: run(Audit(order, rulebook, of, lambda *_: None))), peak()


def _audits(folder: Path, asked: AuditOrder, rigs: int) -> Iterator[Group]:
    """One catalogue: by one process beside DuckDB and its parse alone, and by two beside one."""

    def audited(cores: int) -> tuple[float, float, float]:
        order = replace(asked, out=folder / f"out-{cores}", memory=cores * LEAST_MB)
        with ProcessPoolExecutor(1, get_context("spawn")) as apart:
            return apart.submit(carried_out, order, rigs).result()

    with asked.catalogue.open("rb") as stream:
        rows = sum(1 for _ in stream) - 1
    title = f"An audit, {rows:,} rows on {rigs:,} rig{'s' if rigs > 1 else ''}, CSV in to Parquet out"
    alone = audited(1)
    parsed = once(lambda _: parsed_by_duckdb(asked.catalogue))
    written = once(lambda _: written_by_duckdb(asked.catalogue, folder / "out-1" / "pairs.parquet", folder / "duck"))
    yield Group(
        f"{title}, one process",
        COMMAND,
        [
            Row("ours", "fitsvc", taken([alone[0]], [alone[1]])),
            Row("floor", "DuckDB reads and writes the same files, one thread", taken([written[0]], [written[1]])),
            Row("floor", "DuckDB parses the same file, one thread", taken([parsed[0]], [parsed[1]])),
        ],
        notes=[f"Ours held {alone[2]:,.0f} MB at most, the program and the rulebook among it."],
    )
    if rigs > 1:
        beside = audited(2)
        yield Group(
            f"{title}, two processes beside one, by the clock",
            COMMAND,
            [
                Row("ours", "fitsvc, two processes", taken(None, [beside[1]])),
                Row("beside", "fitsvc, one process", taken(None, [alone[1]])),
            ],
        )


def main() -> None:
    """Measure and print."""
    show(groups())


if __name__ == "__main__":
    main()
