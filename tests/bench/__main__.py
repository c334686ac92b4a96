"""All benchmarks in one go: `PYTHONPATH=tests python -m bench [small]`.

Whole, in some minutes, they are kept for the guide's tables and chart, which are then written anew. `small`, in about
one, they are told and added to the history in `.ci/speed.jsonl`, so that what has become slower is seen in a diff.
Nothing is asserted. Each module of a group's name measures that group alone.
"""

import time
import traceback
from importlib import import_module
from typing import Final

from bench import report
from bench.measuring import SMALL, Group, show
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook

MODULES: Final = (
    "bench_point",
    "bench_answer",
    "bench_service",
    "bench_next",
    "bench_plans",
    "bench_matches",
    "bench_columns",
    "bench_selection",
    "bench_audit",
    "bench_workers",
    "bench_startup",
)
"""In the order of the guide. What needs a million stored items, or the machine for longer, is run by itself."""


def main() -> None:
    """Measure all, and keep it."""
    on_what, start, groups, missing = report.on_what(), time.perf_counter(), list[Group](), list[str]()
    for name in MODULES:
        began = time.perf_counter()
        try:
            groups += show(import_module(f"bench.{name}").groups())
        except Exception:  # the others are not lost for one; the guide says which is missing
            traceback.print_exc()
            missing.append(name)
        print(f"-- {name}: {time.perf_counter() - began:.0f} s", flush=True)
    book, grown = load_rulebook(data_dir("rules")), list[report.Growth]()
    if not SMALL:
        try:
            grown = import_module("bench.bench_growth").growth()
        except Exception:  # likewise
            traceback.print_exc()
            missing.append("bench_growth")
    run = report.Run(
        **on_what,
        digest=book.digest,
        rules=len(book.rules),
        needs=len(book.needs),
        groups=groups,
        growth=grown,
        missing=missing,
    )
    if SMALL:
        report.note(run)
    else:
        report.keep(run)
        import_module("documents").main()  # here, so that no process that is started for a group loads what it needs
    print(f"\nall in {time.perf_counter() - start:.0f} s")


if __name__ == "__main__":
    main()
