"""How time and memory grow with items and with rules: `PYTHONPATH=tests python -m bench.bench_growth`.

Two tables and a plot, as they stand in the guide. Each line is measured in a process of its own: processor time,
which other work on the machine does not stretch, and the memory that the process holds beside what it held before.

Fewer rules than the rulebook has are taken from it evenly. More are its own once more: a copy shares with its
original what depends on the rig alone, or on the items alone, but is judged and kept for itself.
"""

import gc
import os
import resource
import time
from collections.abc import Sequence
from dataclasses import replace
from multiprocessing import get_context
from pathlib import Path
from statistics import median

from bench.bench_columns import ENGINE, SUBJECTS, ours
from fitsvc.engine.columns.kernel import Columns
from fitsvc.engine.point import Point
from fitsvc.synthetic.columns import synthetic_accessories, synthetic_rigs

ITEMS, RULES = (10_000, 100_000, 1_000_000), (30, 60, 120, 240)
SEEN, NEW = 40, 20
Figures = tuple[int, float, float, float, float, float]
"""Signatures; seconds to fold and index; milliseconds of a never-seen rig and of a seen one; MB held, and at most."""


def engine_of(rules: int) -> Point:
    """The rulebook cut or stretched to so many rules."""
    own = ENGINE.rulebook.rules
    if rules <= len(own):
        some = tuple(own[place * len(own) // rules] for place in range(rules))
    else:
        copies = -(-rules // len(own))
        some = tuple(replace(rule, id=f"{rule.id} {copy}") for copy in range(copies) for rule in own)[:rules]
    return Point(replace(ENGINE.rulebook, rules=some))


def resident() -> float:
    """The memory this process holds now, in MB (Linux)."""
    gc.collect()
    return int(Path("/proc/self/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") / (1 << 20)


def measured(items: int, rules: int | None) -> Figures:
    """One catalogue: its index, then rigs never seen and seen."""
    engine = ENGINE if rules is None else engine_of(rules)
    made = synthetic_accessories(ENGINE.rulebook, items)
    rigs = synthetic_rigs(ENGINE.rulebook, SEEN + NEW)
    before = resident()
    start = time.process_time()
    columns = Columns(engine)
    catalogue = columns.catalogue_of(made.columns, SUBJECTS, items)
    columns.index(catalogue, 0)
    indexed = time.process_time() - start

    def milliseconds(rig: int) -> float:
        start = time.process_time()
        ours(columns, catalogue, rigs[rig])
        return (time.process_time() - start) * 1e3

    new = [milliseconds(rig) for rig in range(SEEN + NEW)][SEEN:]
    warm = [milliseconds(rig) for rig in range(SEEN + NEW)]
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return catalogue.count, indexed, median(new), median(warm), resident() - before, most


def apart(items: int, rules: int | None) -> Figures:
    """The same in a process of its own."""
    with get_context("spawn").Pool(1) as pool:
        return pool.apply(measured, (items, rules))


def table(of: str, rows: Sequence[tuple[str, Figures]]) -> None:
    """A table in Markdown."""
    print(f"\n| {of} | signatures | fold and index | a new rig | a rig seen | held | most |\n|{' ---: |' * 7}")
    for name, (signatures, indexed, new, warm, held, most) in rows:
        cells = (name, f"{signatures:,}", f"{indexed:.2f} s", f"{new:.2f} ms", f"{warm:.3f} ms", f"{held:.0f} MB")
        print("".join(f"| {cell} " for cell in (*cells, f"{most:.0f} MB")) + "|")


def plot(rows: Sequence[tuple[str, Figures]]) -> None:
    """A new rig's time as bars."""
    longest = max(figures[2] for _, figures in rows)
    print("\n```text\na new rig, ms")
    for name, (_, _, new, *_) in rows:
        print(f"{name:>15} {'█' * max(1, round(40 * new / longest))} {new:.2f}")
    print("```")


def main() -> None:
    """Run all."""
    items = [(f"{count:,}", apart(count, None)) for count in ITEMS]
    rules = [(str(count), apart(100_000, count)) for count in RULES]
    table("items", items)
    table("rules, 100,000 items", rules)
    plot(
        [(f"{name} items", figures) for name, figures in items]
        + [(f"{name} rules", figures) for name, figures in rules]
    )
    print(f"\n{items[-1][1][4]:.0f} MB for a million items")


if __name__ == "__main__":
    main()
