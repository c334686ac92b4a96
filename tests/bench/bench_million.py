"""A million items stored and served by one process: `PYTHONPATH=tests python -m bench.bench_million [ITEMS [FOLDER]]`.

It is served as the command serves it. The first page and the first plan after it is ready, its index opened from its
file; pages at 50 a second, each timed from when it was due, of rigs of which one in ten is new, alone and while another
process changes items, as many as are 1,000 a second if it keeps up, from before the first page; and the memory of the
server, its own and its share of the files that it maps, at most with all of these. With a folder the database is kept
there for the next time: storing a million items takes longer than all that is measured.
"""

import asyncio
import multiprocessing
import os
import sys
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from time import perf_counter
from typing import Any

import httpx
import numpy as np

from bench.bench_selection import A_SECOND, CHANGED_A_SECOND, ask, change, held, rig, started, steadily
from bench.bench_service import used
from bench.measuring import SMALL, Group, Row, Time, asked_for, holding, peak, show
from bench.stored_catalogue import store
from fitsvc.inventory.changes import newest
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.store.database import Database, upgrade

COMMAND = "bench.bench_million"
ITEMS, RIGS = (5_000, 20) if SMALL else (1_000_000, 200)
PAGE, PLAN = "/v1/selections?limit=50", "/v1/plans"


def groups() -> Iterator[Group]:
    """What is waited for at a start, while items change, and what is held."""
    count = ITEMS if SMALL else asked_for(ITEMS)
    with tempfile.TemporaryDirectory() as made:
        folder = Path(sys.argv[2] if len(sys.argv) > 2 and not SMALL and sys.argv[1].isdigit() else made)
        url, book = f"sqlite:///{folder / f'{count}.db'}", load_rulebook(data_dir("rules"))
        if not (folder / f"{count}.db").exists():
            store(url, book, count)
        empty = f"sqlite:///{Path(made) / 'empty.db'}"
        upgrade(empty)
        bare, _, _ = started(empty, Path(made))
        nothing = sum(held(bare.pid))
        bare.terminate()
        bare.join()
        first, _, built = started(url, folder)
        first.terminate()
        first.join()
        server, port, opened = started(url, folder)
        try:
            told = f"The server was ready in {opened:.1f} s, before there was an index in {built:.1f} s."
            yield from _asked(url, server.pid, port, count, told, nothing)
        finally:
            server.terminate()
            server.join()


def _asked(url: str, server: int, port: int, count: int, told: str, nothing: float) -> Iterator[Group]:
    memory = {"another that has nothing stored": nothing, "when it is ready": sum(held(server))}
    memory["of that, of files that it maps"] = held(server)[1]
    with httpx.Client(base_url=f"http://127.0.0.1:{port}", timeout=1200) as client:
        wishes = {"rig": rig(1)["rig"], "wishes": [{"kind": "bike_carrier", "load": rig(1)["load"]}]}
        for what, path, body in (("page", PAGE, rig(0)), ("plan", PLAN, wishes)):
            title = f"The first {what} after a start, {count:,} items stored"
            yield Group(title, COMMAND, [Row("ours", "fitsvc", _first(client, server, path, body))], notes=[told])
        ask(client, PAGE, [rig(number) for number in range(1, RIGS)])
    memory[f"after pages for {RIGS} rigs"] = sum(held(server))
    title = f"A page of 50, {A_SECOND} a second, one rig in ten new, {count:,} items stored"
    yield Group(title, COMMAND, _pages(_steadily(port)))
    before = _told(url)
    with changing(url, count) as who:
        start, busy = perf_counter(), [used(of) for of in (server, who.process, os.getpid())]
        pages = _steadily(port)
        spent = [used(of) - was for of, was in zip((server, who.process, os.getpid()), busy, strict=True)]
        spent = [one / (perf_counter() - start) for one in spent]
    memory[f"after {CHANGED_A_SECOND:,} items a second changed"] = sum(held(server))
    memory["at most"] = peak(server)
    notes = [
        f"{_told(url) - before:,} items were changed in {who.seconds:.0f} s.",
        "Meanwhile the server had {:.0%} of a core, who changes {:.0%}, and who asks {:.0%}.".format(*spent),
        "A page tells the store as it was when it was last looked at: a second or two before, five at the most.",
    ]
    yield Group(f"{title}, while {CHANGED_A_SECOND:,} items a second change", COMMAND, _pages(pages), notes=notes)
    yield Group(f"Memory of a server, {count:,} items stored", COMMAND, [holding(*one) for one in memory.items()])


class Changer:
    """Who changes items: its process, and when it is over, the seconds that it took."""

    process = 0
    seconds = 0.0


@contextmanager
def changing(url: str, items: int) -> Iterator[Changer]:
    """While another process changes items, from when it begins until it is done."""
    spawn, told = multiprocessing.get_context("spawn"), Changer()
    begun, took = spawn.Event(), spawn.SimpleQueue()
    process = spawn.Process(target=_change, args=(url, items, begun, took))
    process.start()
    begun.wait()
    told.process = process.pid or 0
    yield told
    process.join()
    assert process.exitcode == 0
    told.seconds = took.get()


def _change(url: str, items: int, begun: Any, took: Any) -> None:
    """Change items, and tell that it begins, and how many seconds it took."""
    start = list[float]()

    def begin() -> None:
        begun.set()
        start.append(perf_counter())

    change(url, items, [], begin)
    took.put(perf_counter() - start[0])


def _told(url: str) -> int:
    """How many statements the store has."""
    database = Database(url)
    try:
        with database.session() as session:
            return newest(session)
    finally:
        database.close()


def _first(client: httpx.Client, server: int, path: str, body: Mapping[str, Any]) -> Time:
    """The server's processor time, and what somebody waits."""
    before = used(server)
    clock = float(ask(client, path, [body])[0]) / 1e3
    spent = used(server) - before
    return Time(spent, clock, spent, spent, 1)


def _steadily(port: int) -> tuple[float, float]:
    """Seconds of the middle page, and of the one that 99 in 100 are no slower than."""
    middle, late = np.percentile(asyncio.run(steadily(port))[:, 1], [50, 99]) / 1e3
    return float(middle), float(late)


def _pages(seconds: tuple[float, float]) -> list[Row]:
    names = "the middle one", "99 in 100 are no slower"
    return [Row("ours", name, Time(None, one, one, one, 1)) for name, one in zip(names, seconds, strict=True)]


def main() -> None:
    """Measure and print."""
    show(groups())


if __name__ == "__main__":
    main()
