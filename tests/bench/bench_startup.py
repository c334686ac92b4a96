"""What the commands cost before they do anything: processor time of whole processes, beside the bare interpreter.

`PYTHONPATH=tests python -m bench.bench_startup`. The bare interpreter is the floor. Each command runs in a process of
its own, as `python -m fitsvc`, user and system time together; the commands take turns, so that a busy machine is unfair
to none. The first round is not counted: in it Python compiles the modules, which an installed package brings compiled.
"""

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from time import perf_counter
from typing import Final

from bench.measuring import SMALL, Group, Row, Time, show, taken

ROUNDS: Final = 2 if SMALL else 5
COMMAND: Final = "bench.bench_startup"
FITSVC: Final = [sys.executable, "-m", "fitsvc"]
BARE: Final = "the bare interpreter"
QUESTION: Final = {
    "rig": {"receiver": {"facts": {"opening": "2 in"}}},
    "accessory": {"facts": {"kind": "ball_mount", "shank": "1-1/4 in"}},
}


def times_of(command: Sequence[str], environment: Mapping[str, str]) -> tuple[float, float]:
    """Seconds of one run, of the processor and of the clock."""
    start = perf_counter()
    process = subprocess.Popen(command, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    assert process.stderr is not None
    told = process.stderr.read()
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    process.stderr.close()
    if process.returncode != 0:
        sys.exit(f"{' '.join(command)} ended with {process.returncode}: {told.decode()}")
    return used.ru_utime + used.ru_stime, perf_counter() - start


def measured(jobs: Mapping[str, tuple[Sequence[str], Mapping[str, str]]]) -> dict[str, Time]:
    """What each command takes, the commands taken in turn."""
    times: dict[str, list[tuple[float, float]]] = {name: [] for name in jobs}
    for number in range(ROUNDS + 1):
        for name, (command, environment) in jobs.items():
            took = times_of(command, environment)
            times[name] += [took] if number else []
    return {name: taken(*zip(*kept, strict=True)) for name, kept in times.items()}


def groups() -> Iterator[Group]:
    """Each command beside the bare interpreter."""
    with tempfile.TemporaryDirectory() as folder:
        question, database = Path(folder, "question.json"), f"sqlite:///{folder}/demo.db"
        question.write_text(json.dumps(QUESTION))
        compiled = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
        kept = {**compiled, "PYTHONPYCACHEPREFIX": f"{folder}/compiled", "FITSVC_CACHE": f"{folder}/cache"}
        none_kept = {**kept, "FITSVC_CACHE": "off"}
        times_of([*FITSVC, "demo", "--database", database], kept)
        stored = ["--database", database, "--rig", "rig_farm_muckle", "--accessory", "TUG-2-D2-10"]
        found = measured(
            {
                BARE: ([sys.executable, "-c", "pass"], kept),
                "fitsvc --help": ([*FITSVC, "--help"], kept),
                "fitsvc answer QUESTION.json": ([*FITSVC, "answer", str(question)], kept),
                "fitsvc answer QUESTION.json --json": ([*FITSVC, "answer", str(question), "--json"], kept),
                "FITSVC_CACHE=off fitsvc answer QUESTION.json --json": (
                    [*FITSVC, "answer", str(question), "--json"],
                    none_kept,
                ),
                "fitsvc answer --database URL --rig ID --accessory SKU": ([*FITSVC, "answer", *stored], kept),
            }
        )
    bare = Row("floor", BARE, found.pop(BARE))
    for name, took in found.items():
        yield Group(f"`{name}`, start to end", COMMAND, [Row("ours", "a process of its own", took), bare])


def main() -> None:
    """Measure and print."""
    show(groups())


if __name__ == "__main__":
    main()
