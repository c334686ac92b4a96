"""The pairs of a catalogue too large for one machine, judged by Dask (`fitsvc[dask]`) file by file.

The catalogue stands as Parquet files that every worker can read. Each is one task, and its pairs go to files of its
own that are whole or not there; a task that a dead worker left is done again and writes the same bytes. Under Spark
the same function goes through `mapInArrow`, with fitsvc on every worker. No test holds it; it was tried by hand once,
with PySpark 4.3 on one machine (pandas before 3, PYSPARK_PYTHON naming the Python that has fitsvc), and gave the pairs
that `judge_block` gives:

    from fitsvc.audits.blocks import PAIRS, judge_in_parts
    from fitsvc.audits.pairs import plain
    from fitsvc.audits.rigs import read_rigs, rigs_table
    rigs = rigs_table(read_rigs(paths, reader))
    def judge(batches):
        for batch in batches:
            for table in judge_in_parts(pa.Table.from_batches([batch]), rigs, None, 1_000_000):
                yield from table.cast(plain(PAIRS)).to_batches()
    schema = "rig string, sku string, outcome string, rules string, claimed boolean, rulebook string"
    spark.read.parquet("items/").mapInArrow(judge, schema)
"""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import pyarrow.parquet as pq

from fitsvc.audits.blocks import judge_in_parts
from fitsvc.audits.pairs import write_part
from fitsvc.language.problems import Problem, ProblemsFound

PAIRS_IN_PART: Final = 1_000_000
_RETRIES: Final = 5


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
    same.
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
