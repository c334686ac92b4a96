"""Memory that is free goes back to the system, where the C library can give it back."""

import sys
from subprocess import run

_HELD = """
from pathlib import Path
from threading import Thread
from fitsvc.heap import give_back, use_one_heap


def held():
    lines = Path("/proc/self/smaps_rollup").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("Anonymous:")) // 1024


def work(kept):
    some = [bytes(2_000) for _ in range(50_000)]
    kept.append(some[-1])  # what lies behind keeps the end of a heap from going by itself


use_one_heap()
kept = []
for _ in range(3):
    one = Thread(target=work, args=(kept,))
    one.start()
    one.join()
before = held()
give_back()
print(before - held())
"""


def test_what_is_free_is_given_back() -> None:
    """Of a hundred megabytes that threads used, most; what is in use stays."""
    told = run([sys.executable, "-c", _HELD], capture_output=True, text=True, check=True)
    assert int(told.stdout) > 50
