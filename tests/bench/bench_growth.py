"""How time and memory grow with items and with rules: `PYTHONPATH=tests python -m bench.bench_growth`.

Two tables, as they stand in the guide. Each line is measured in a process of its own: processor time,
which other work on the machine does not stretch, the memory that the process holds beside what it held before, and the
most that it held in all since then, with the interpreter, the rulebook and the columns of the made-up items.

Fewer rules than the rulebook has are taken from it evenly. More are its own once more: a copy shares with its
original what depends on the rig alone, or on the items alone, but is judged and kept for itself.
"""

import gc
import os
import time
from dataclasses import replace
from multiprocessing import get_context
from pathlib import Path
from statistics import median
from typing import Final

from bench.bench_columns import ENGINE, SUBJECTS, ours
from bench.measuring import SMALL, forget_peak, peak
from bench.report import Figures, Growth, table
from fitsvc.engine.columns.kernel import Columns
from fitsvc.engine.point import Point
from fitsvc.synthetic.columns import synthetic_accessories, synthetic_rigs

ITEMS: Final = (10_000, 100_000) if SMALL else (10_000, 100_000, 1_000_000)
OWN: Final = len(ENGINE.rulebook.rules)
RULES: Final = (OWN // 4, OWN // 2, OWN, 2 * OWN)
RULES_ON: Final = 10_000 if SMALL else 100_000
SEEN, NEW = 40, 20


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
    forget_peak()
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
    return catalogue.count, indexed, median(new), median(warm), resident() - before, peak()


def apart(items: int, rules: int | None) -> Figures:
    """The same in a process of its own."""
    with get_context("spawn").Pool(1) as pool:
        return pool.apply(measured, (items, rules))


def growth() -> list[Growth]:
    """Both tables: as items grow, and as rules do."""
    items = [(f"{count:,}", apart(count, None)) for count in ITEMS]
    rules = [(str(count), apart(RULES_ON, count)) for count in RULES]
    return [("items", items), (f"rules, {RULES_ON:,} items", rules)]


def main() -> None:
    """Run all."""
    for of, rows in growth():
        print(f"\n{table(of, rows)}")


if __name__ == "__main__":
    main()
