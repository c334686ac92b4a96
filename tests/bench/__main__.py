"""All benchmarks in one go: `PYTHONPATH=tests python -m bench [small | MODULE ...]`.

Whole, they are kept for the guide's tables and chart, which are then written anew; each as soon as it is measured, so
that what is broken off loses only the rest. With modules named, these alone are measured and take the place of what
was kept of them; the guide says of each of the others when and by which rulebook it was measured. `small`, in some
minutes, they are told and added to the history in `.ci/speed.json`, a figure at the end of each line, so that what has
become slower is seen in the diff; it is committed with the change.
Nothing is asserted. Each module of a group's name measures that group alone, in a process of its own here too, so that
none holds or has held what another did.
"""

import sys
import time
import traceback
from concurrent.futures import ProcessPoolExecutor
from importlib import import_module
from multiprocessing import get_context

from bench import report
from bench.measuring import SMALL
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook


def main() -> None:
    """Measure all, or what is named, and keep it."""
    every = report.MODULES[: -len(report.LONG)] if SMALL else report.MODULES
    named = [name for name in every if name in sys.argv[1:]]
    if unknown := [one for one in sys.argv[1:] if one not in (*every, "small")]:
        raise SystemExit(f"there is no benchmark {', '.join(unknown)}: name some of {', '.join(every)}")
    start, book = time.perf_counter(), load_rulebook(data_dir("rules"))
    run = report.begun(book.digest, len(book.rules), len(book.needs), every, report.kept() if named else None)
    for name in named or every:
        began = time.perf_counter()
        try:
            with ProcessPoolExecutor(1, get_context("spawn")) as apart:
                found = apart.submit(report.measured, name).result()
            took = time.perf_counter() - began
            run = report.with_part(run, name, **found, took=took)
        except Exception:  # the others are not lost for one; the guide says which is missing
            traceback.print_exc()
        if not SMALL:
            report.keep(run)
        print(f"-- {name}: {time.perf_counter() - began:.0f} s", flush=True)
    if SMALL:
        report.note(run)
    else:
        import_module("documents").main()  # here, so that no process that is started for a group loads what it needs
    print(f"\nall in {time.perf_counter() - start:.0f} s")


if __name__ == "__main__":
    main()
