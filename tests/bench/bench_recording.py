"""Answers recorded, and given again: `PYTHONPATH=tests python -m bench.bench_recording [ANSWERS]`.

Two servers with one worker each, of which one keeps what it answers as `fitsvc serve --record` does, are asked the same
questions in turn, none of them twice (10,000 if not said; on Linux: the time of other processes is read from `/proc`).
Then `fitsvc replay` gives all that was kept again, in a process of its own, from start to end.
"""

import multiprocessing
import resource
import socket
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from itertools import count
from pathlib import Path
from typing import Final

import msgspec
import uvicorn

from bench.bench_service import CONNECTIONS, PER_ROUND, Client, Side
from bench.measuring import Group, Row, asked_for, once, show, taken
from bench.questions import questions
from fitsvc.answers.answering import Answerer
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.service import serving
from fitsvc.service.app import create_app
from fitsvc.service.settings import Settings
from fitsvc.store.database import Database, upgrade

COMMAND: Final = "bench.bench_recording"
A_ROUND: Final = PER_ROUND * CONNECTIONS


def serve(port: int, folder: Path, record: Path | None) -> None:
    """Run a server, as the command sets it up."""
    answerer = Answerer(load_rulebook(data_dir("rules")))
    answerer.prepare()
    settings = Settings(record=record)
    app = create_app(Database(f"sqlite:///{folder / 'bench.db'}"), answerer, settings=settings)
    serving._run(uvicorn.Server(serving._config(app, settings)), [serving._listen("127.0.0.1", port)], None)


@contextmanager
def server(folder: Path, record: Path | None) -> Iterator[tuple[Client, int]]:
    """A server in a process of its own: who asks it, and its process."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    process = multiprocessing.get_context("spawn").Process(target=serve, args=(port, folder, record), daemon=True)
    process.start()
    assert process.pid is not None
    try:
        yield Client(port), process.pid
    finally:
        process.terminate()
        process.join()


def asked(answers: int) -> list[bytes]:
    """Bytes of so many questions, no two alike."""
    drawn = (msgspec.json.encode(one) for seed in count(10) for one in questions(2_000, seed))
    found = dict[bytes, None]()
    while len(found) < answers:
        found[next(drawn)] = None
    return [*found]


def groups(answers: int) -> Iterator[Group]:
    """An answer recorded, beside one that is not; and all of them given again."""
    bodies = asked(answers)
    with tempfile.TemporaryDirectory() as made:
        folder, record = Path(made), Path(made) / "kept"
        upgrade(f"sqlite:///{folder / 'bench.db'}")
        kept, plain = Side("/v1/answers", "application/json"), Side("/v1/answers", "application/json")
        with server(folder, record) as recording, server(folder, None) as other:
            sides = [(kept, recording), (plain, other)]
            for start in range(0, len(bodies), A_ROUND):
                for side, (client, process) in sides:
                    side.ask(client, process, bodies[start : start + A_ROUND])
                sides.reverse()  # neither is always asked first
        files = sorted(record.iterdir())
        size = sum(one.stat().st_size for one in files)
        rows = [Row("ours", "recorded", kept.time()), Row("floor", "not recorded", plain.time())]
        notes = [f"{len(bodies):,} answers are {size / 1e6:.0f} MB."]
        yield Group("`POST /v1/answers`, recorded", COMMAND, rows, notes=notes)
        command = [
            sys.executable,
            "-m",
            "fitsvc",
            "replay",
            *map(str, files),
            "--database",
            f"sqlite:///{folder / 'bench.db'}",
        ]
        before, told = resource.getrusage(resource.RUSAGE_CHILDREN), list[str]()
        _, clock = once(partial(_replay, command, told))
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
        yield Group(
            "`fitsvc replay`, start to end", COMMAND, [Row("ours", told[0], taken([used], [clock]))], notes=[told[0]]
        )


def _replay(command: list[str], told: list[str], _: int) -> None:
    ran = subprocess.run(command, check=False, capture_output=True, text=True)
    told += ran.stdout.splitlines()[-1:] or [ran.stderr.strip()]


def main() -> None:
    """Measure and print."""
    show(groups(max(asked_for(10_000) // A_ROUND, 2) * A_ROUND))


if __name__ == "__main__":
    main()
