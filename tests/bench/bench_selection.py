"""Pages of a selection over HTTP: `PYTHONPATH=tests python -m bench.bench_selection [ITEMS [FOLDER]]`.

A made-up catalogue is stored in a SQLite file and served by one process as the command serves it. Without a number, the
guide's table: pages of 50 with reasons of 100,000 items, for rigs that the client has asked about and for ones that it
has not. With a number of ITEMS, their index is built, and opened again from its file, and pages are asked for in more
ways; then at 50 a second, each timed from when it was due, and at the end the same again while another process changes
1,000 items a second. With a folder the database is kept there for the next time.
"""

import asyncio
import json
import logging
import multiprocessing
import os
import random
import resource
import socket
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import httpx
import numpy as np
from numpy.typing import NDArray

from bench.bench_service import used
from bench.measuring import SMALL, Group, Row, Time, asked_for, show, taken
from bench.stored_catalogue import store
from fitsvc.facts import FactReader
from fitsvc.observing.telling import Telling
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.service import serving
from fitsvc.store.database import Database
from fitsvc.store.observations import Provenance

ITEMS = 1_000_000
COMMAND = "bench.bench_selection"
PAGES, TOGETHER = 100, 10
A_SECOND = 50
SECONDS = 20
CONNECTIONS = 8
CHANGED_A_SECOND, BATCH = 1_000, 20


def serve(port: int, url: str, folder: Path) -> None:
    """Run the server, as the command runs it."""
    logging.basicConfig(level=logging.ERROR)
    serving.serve("127.0.0.1", port, url, audits=folder / "audits", index=folder / "index")


def rig(number: int) -> dict[str, Any]:
    """One of many rigs."""
    receiver = {"opening": "2 in", "pin_hole": "5/8 in", "tongue_rating": f"{300 + number} lb"}
    mounting = {"height": "17 in", "pin_to_bumper": f"{3 + number % 40 / 10} in"}
    load = {"bikes": 2, "bike_weight": f"{30 + number % 30} lb", "cargo_weight": "120 lb"}
    return {"rig": {"receiver": {"facts": receiver}, "mounting": {"facts": mounting}}, "load": {"facts": load}}


def ask(client: httpx.Client, path: str, bodies: Sequence[Mapping[str, Any]]) -> NDArray[np.float64]:
    """Milliseconds of each request."""
    times = []
    for body in bodies:
        start = time.perf_counter()
        response = client.post(path, json=body)
        times.append((time.perf_counter() - start) * 1e3)
        assert response.status_code == 200, response.text
    return np.array(times)


def told(name: str, times: NDArray[np.float64]) -> None:
    """Print a row of the table."""
    middle, late = np.percentile(times, [50, 99])
    print(f"{name:52} {middle:8.1f} ms {late:8.1f} ms", flush=True)


async def steadily(port: int) -> NDArray[np.float64]:
    """When each request was due, and the milliseconds from then, at so many a second, one rig in ten being new.

    They are sent over kept connections with as little of the client's own work as can be: it would be timed too.
    """
    times = list[tuple[float, float]]()
    free: asyncio.Queue[tuple[asyncio.StreamReader, asyncio.StreamWriter]] = asyncio.Queue()
    for _ in range(CONNECTIONS):
        free.put_nowait(await asyncio.open_connection("127.0.0.1", port))

    async def one(due: float, sent: bytes) -> None:
        await asyncio.sleep(max(0.0, due - time.perf_counter()))
        reader, writer = await free.get()
        writer.write(sent)
        head = await reader.readuntil(b"\r\n\r\n")
        assert head.startswith(b"HTTP/1.1 200 "), head
        await reader.readexactly(int(head.lower().partition(b"content-length:")[2].split(b"\r", 1)[0]))
        times.append((due, (time.perf_counter() - due) * 1e3))
        free.put_nowait((reader, writer))

    requests = [_request(rig(1000 + n if n % 10 == 0 else n % 10)) for n in range(A_SECOND * SECONDS)]
    start = time.perf_counter() + 0.5
    await asyncio.gather(*(one(start + n / A_SECOND, sent) for n, sent in enumerate(requests)))
    while not free.empty():
        free.get_nowait()[1].close()
    return np.array(times)


def _request(body: Mapping[str, Any]) -> bytes:
    sent = json.dumps(body).encode()
    return (
        b"POST /v1/selections?limit=50 HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\n"
        b"Content-Length: %d\r\n\r\n%b" % (len(sent), sent)
    )


def change(url: str, items: int, done: list[int], begin: Callable[[], object] = bool) -> None:
    """Change items over the same seconds, in batches of twenty each when it is due; how many is put into `done`.

    A batch is a transaction, and is told as a file's statements are.
    """
    database, rng, reader = Database(url), random.Random(5), FactReader(load_rulebook(data_dir("rules")))
    begin()
    start = time.perf_counter()
    while (wait := len(done) * BATCH / CHANGED_A_SECOND) < SECONDS:
        time.sleep(max(0.0, start + wait - time.perf_counter()))
        with database.session() as session:
            skus, telling = [f"SYN-{number:07}" for number in rng.sample(range(items), BATCH)], Telling(session, reader)
            telling.open("accessory", skus)
            for sku in skus:
                facts = {"weight": f"{rng.randrange(20, 90)} lb"}
                telling.tell("accessory", sku, facts, Provenance(kind="measured"))
            telling.finish()
        done.append(BATCH)
    print(f"  changed meanwhile: {sum(done):,} items in {time.perf_counter() - start:.0f} s", flush=True)


def started(url: str, folder: Path, how: Callable[[int, str, Path], None] = serve) -> tuple[Any, int, float]:
    """A server that is ready, its port, and the seconds it took."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    server = multiprocessing.get_context("spawn").Process(target=how, args=(port, url, folder), daemon=True)
    start = time.perf_counter()
    server.start()
    while True:
        try:
            if httpx.get(f"http://127.0.0.1:{port}/health/ready", timeout=600).status_code == 200:
                return server, port, time.perf_counter() - start
        except httpx.TransportError:
            pass
        time.sleep(0.05)


def processor_seconds(process: int) -> float:
    """Processor time that a process has used, which other work on the machine does not stretch."""
    told = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    return (int(told[11]) + int(told[12])) / os.sysconf("SC_CLK_TCK")


def memory(process: int) -> str:
    """What a process holds for itself, and of files that it shares, in MB."""
    own, shared = held(process)
    return f"{own:.0f} MB its own, {shared:.0f} MB of mapped files"


def held(process: int) -> tuple[float, float]:
    """The same two figures."""
    told = dict(line.split(":", 1) for line in Path(f"/proc/{process}/smaps_rollup").read_text().splitlines()[1:])
    own, shared = (int(told[name].split()[0]) / 1024 for name in ("Anonymous", "Pss_File"))
    return own, shared


def main() -> None:
    """Measure and print."""
    if not any(one.isdigit() for one in sys.argv[1:]):
        show(groups())
        return
    count = asked_for(ITEMS)
    with tempfile.TemporaryDirectory() as made:
        folder = Path(sys.argv[2] if len(sys.argv) > 2 else made)
        url = f"sqlite:///{folder / f'{count}.db'}"
        if not (folder / f"{count}.db").exists():
            start = time.perf_counter()
            store(url, load_rulebook(data_dir("rules")), count)
            print(f"{count:,} items stored in {time.perf_counter() - start:.0f} s")
        print(f"processors: {os.cpu_count()}, load average {os.getloadavg()[0]:.1f}")
        for how in ("the server ready, its index built or opened", "the server ready, its index opened from its file"):
            server, port, seconds = started(url, folder)
            print(f"{how}: {seconds:.1f} s; {memory(server.pid)}", flush=True)
            if how.endswith("built or opened"):
                server.terminate()
                server.join()
        measure(port, server.pid)
        print(f"after that: {memory(server.pid)}")
        writer = multiprocessing.get_context("spawn").Process(target=change, args=(url, count, []))
        writer.start()
        times = asyncio.run(steadily(port))[:, 1]
        writer.join()
        told(f"the same while {CHANGED_A_SECOND:,} items a second change", times)
        server.terminate()
        server.join()
    print(f"a server's memory at most: {resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024:.0f} MB")


def groups() -> Iterator[Group]:
    """Pages of a smaller catalogue: a rig never asked about, and one that was, by the clock of the one who asks."""
    with tempfile.TemporaryDirectory() as made:
        folder, count = Path(made), 5_000 if SMALL else 100_000
        url, pages = f"sqlite:///{folder / 'bench.db'}", PAGES // 5 if SMALL else PAGES
        store(url, load_rulebook(data_dir("rules")), count)
        server, port, _ = started(url, folder)
        path = "/v1/selections?limit=50"
        with httpx.Client(base_url=f"http://127.0.0.1:{port}", timeout=1200) as client:
            ask(client, path, [rig(0)])
            new = _timed(client, server.pid, path, [rig(number) for number in range(1, pages + 1)])
            again = _timed(client, server.pid, path, [rig(0)] * pages)
        holds = memory(server.pid)
        server.terminate()
        server.join()
    title = f"A page of 50 of what fits, with reasons and counts, over HTTP, {count:,} items stored: a rig"
    yield Group(
        f"{title} never asked about",
        COMMAND,
        [Row("ours", "fitsvc", new)],
        notes=[f"The server holds {holds} at the end."],
    )
    yield Group(f"{title} asked about before", COMMAND, [Row("ours", "fitsvc", again)], again=True)


def _timed(client: httpx.Client, process: int, path: str, bodies: Sequence[Mapping[str, Any]]) -> Time:
    """The server's processor time a page, and what somebody waits, in rounds of some pages."""
    processor, wall = list[float](), list[float]()
    for start in range(0, len(bodies), TOGETHER):
        some, before = bodies[start : start + TOGETHER], used(process)
        wall.append(float(ask(client, path, some).mean()) / 1e3)
        processor.append((used(process) - before) / len(some))
    return taken(processor, wall)


def measure(port: int, server: int) -> None:
    """Ask, and print the table."""
    path = "/v1/selections?limit=50"
    with httpx.Client(base_url=f"http://127.0.0.1:{port}", timeout=1200) as client:
        print(f"the first page of all: {ask(client, path, [rig(0)])[0]:.1f} ms")
        print(f"{'a page of 50':52} {'median':>11} {'99 %':>11}")
        told("a rig asked about before", ask(client, path, [rig(0)] * PAGES))
        told("the same, compact", ask(client, f"{path}&detail=compact", [rig(0)] * PAGES))
        told("the same, of one kind", ask(client, f"{path}&kind=bike_carrier", [rig(0)] * PAGES))
        told("a rig never asked about", ask(client, path, [rig(number) for number in range(1, PAGES)]))
        before = processor_seconds(server)
        times = asyncio.run(steadily(port))[:, 1]
        used = processor_seconds(server) - before
        told(f"at {A_SECOND} a second, one rig in ten new", times)
        print(f"{'  the server in processor time, a page':52} {used / len(times) * 1e3:8.1f} ms")


if __name__ == "__main__":
    main()
