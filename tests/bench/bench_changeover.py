"""How soon a server goes by another rulebook: `PYTHONPATH=tests python -m bench.bench_changeover [TURNS]` (10).

The shipped rules, and a copy with another title, are published in a store on SQLite; `fitsvc serve` answers the same
question over and over, while one is brought into force after the other by `fitsvc rules activate`. Told is what a
server uses for a turn beside its answers, and the clock's from the end of that command to the first answer by the new
rulebook; and how many answers were given meanwhile, by which rulebook, and with which status.
"""

import json
import os
import socket
import subprocess
import sys
import tempfile
import time
from collections import Counter
from http.client import HTTPConnection
from pathlib import Path
from typing import Final

from changed_rules import changed

from bench.bench_service import used
from bench.measuring import Group, Row, asked_for, show, taken
from fitsvc.paths import data_dir

COMMAND: Final = "bench.bench_changeover"
QUESTION: Final = json.dumps(
    {
        "rig": {"receiver": {"facts": {"opening": "2 in", "pin_hole": "5/8 in"}}},
        "accessory": {"facts": {"kind": "step", "shank": "2 in", "pin": "5/8 in"}},
    }
)
TYPE: Final = {"Content-Type": "application/json"}
LONGEST: Final = 120.0


def fitsvc(*arguments: str) -> str:
    """What a command prints last."""
    ran = subprocess.run([sys.executable, "-m", "fitsvc", *arguments], check=True, capture_output=True, text=True)
    return ran.stdout.splitlines()[-1]


class Asking:
    """One who asks over and over."""

    def __init__(self, port: int) -> None:
        self.connection, self.seen = HTTPConnection("127.0.0.1", port, timeout=LONGEST), Counter[str]()

    def by(self) -> str:
        """The rulebook of the next answer."""
        self.connection.request("POST", "/v1/answers", QUESTION, TYPE)
        reply = self.connection.getresponse()
        told = json.loads(reply.read())
        self.seen[f"{reply.status}"] += 1
        return str(told["rulebook"]["digest"])

    def until(self, digest: str) -> float:
        """Seconds until a rulebook answers."""
        start = time.perf_counter()
        while self.by() != digest:
            if time.perf_counter() - start > LONGEST:
                raise SystemExit("the server did not change over")
            time.sleep(0.01)
        return time.perf_counter() - start


def begun(port: int) -> Asking:
    """Who asks, once the server is there."""
    for _ in range(1200):
        try:
            asking = Asking(port)
            asking.by()
        except OSError:
            time.sleep(0.1)
        else:
            return asking
    raise SystemExit("the server did not start")


def group(folder: Path, turns: int) -> Group:
    """Turn over, so many times."""
    database = ("--database", f"sqlite:///{folder / 'bench.db'}")
    fitsvc("db", "upgrade", *database)
    other = changed(folder, "coupling.yaml", "title: ", "title: As changed, ")
    digests = [fitsvc("rules", "check", str(one)) for one in (data_dir("rules"), other)]
    for one in (data_dir("rules"), other):
        fitsvc("rules", "publish", str(one), *database)
    fitsvc("rules", "activate", digests[0], "--because", "first", *database)
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = [sys.executable, "-m", "fitsvc", "serve", "--port", str(port), *database]
    server = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        asking, processor, clock = begun(port), list[float](), list[float]()
        asking.until(digests[0])
        for turn in range(1, turns + 1):
            fitsvc("rules", "activate", digests[turn % 2], "--because", "a turn", *database)
            before, answered = used(server.pid), asking.seen.total()
            clock.append(asking.until(digests[turn % 2]))
            all_of_it, turned = used(server.pid) - before, asking.seen.total() - answered
            idle = used(server.pid)
            for _ in range(turned):
                asking.by()
                time.sleep(0.01)
            processor.append(max(all_of_it - (used(server.pid) - idle), 0.0))
    finally:
        server.terminate()
        server.wait()
    statuses = ", ".join(f"{count:,} with {status}" for status, count in asking.seen.items())
    row = Row("ours", "until the first answer by the new rulebook", taken(processor, clock))
    return Group("Another rulebook in force, one server", COMMAND, [row], notes=[f"Answers: {statuses}."])


def main() -> None:
    """Measure and print."""
    os.environ.pop("FITSVC_RULES", None)
    with tempfile.TemporaryDirectory() as made:
        show([group(Path(made), asked_for(10))])


if __name__ == "__main__":
    main()
