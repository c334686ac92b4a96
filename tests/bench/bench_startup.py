"""What the commands cost before they do anything: processor time of whole processes, beside the bare interpreter.

`PYTHONPATH=tests python -m bench.bench_startup`; nothing is asserted. Each command runs in a process of its own,
user and system time together; the commands take turns, so that a busy machine is unfair to none. The first round
is not counted: in it Python compiles the modules, which an installed package brings compiled.
"""

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from statistics import median
from typing import Final

ROUNDS: Final = 9
FITSVC: Final = [sys.executable, "-m", "fitsvc"]
BARE: Final = "the bare interpreter"
QUESTION: Final = {
    "rig": {"receiver": {"facts": {"opening": "2 in"}}},
    "accessory": {"facts": {"kind": "ball_mount", "shank": "1-1/4 in"}},
}


def processor_time(command: Sequence[str], environment: Mapping[str, str]) -> float:
    """The processor time of one run, in seconds."""
    process = subprocess.Popen(command, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    assert process.stderr is not None
    told = process.stderr.read()
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    process.stderr.close()
    if process.returncode != 0:
        sys.exit(f"{' '.join(command)} ended with {process.returncode}: {told.decode()}")
    return used.ru_utime + used.ru_stime


def measured(jobs: Mapping[str, tuple[Sequence[str], Mapping[str, str]]]) -> dict[str, float]:
    """The median processor time of each command, the commands taken in turn."""
    times: dict[str, list[float]] = {name: [] for name in jobs}
    for number in range(ROUNDS + 1):
        for name, (command, environment) in jobs.items():
            took = processor_time(command, environment)
            times[name] += [took] if number else []
    return {name: median(kept) for name, kept in times.items()}


def main() -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as folder:
        question, database = Path(folder, "question.json"), f"sqlite:///{folder}/demo.db"
        question.write_text(json.dumps(QUESTION))
        compiled = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
        kept = {**compiled, "PYTHONPYCACHEPREFIX": f"{folder}/compiled", "FITSVC_CACHE": f"{folder}/cache"}
        none_kept = {**kept, "FITSVC_CACHE": "off"}
        demo = processor_time([*FITSVC, "demo", "--database", database], kept)
        stored = ["--database", database, "--rig", "rig_farm_muckle", "--accessory", "TUG-2-D2-10"]
        found = measured(
            {
                BARE: ([sys.executable, "-c", "pass"], kept),
                "fitsvc --help": ([*FITSVC, "--help"], kept),
                "fitsvc answer QUESTION.json": ([*FITSVC, "answer", str(question)], kept),
                "fitsvc answer QUESTION.json --json": ([*FITSVC, "answer", str(question), "--json"], kept),
                "the same, no rulebook kept": ([*FITSVC, "answer", str(question), "--json"], none_kept),
                "fitsvc answer --database URL --rig ID --accessory SKU": ([*FITSVC, "answer", *stored], kept),
            }
        )
    bare = found[BARE]
    print(f"processor time, median of {ROUNDS} runs, and how much of it is above the bare interpreter's")
    for name, took in found.items():
        print(f"{took:7.3f} s {took - bare:7.3f} s  {name}")
    print(f"{demo:7.3f} s {demo - bare:7.3f} s  fitsvc demo --database URL (once)")


if __name__ == "__main__":
    main()
