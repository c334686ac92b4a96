"""Pages of a selection over HTTP: `PYTHONPATH=tests python -m bench.bench_selection [ITEMS]` (100,000 if not said).

A made-up catalogue is stored in a SQLite file and served by one process with one worker; one client asks for pages
of 50 with reasons, for rigs that it has asked about and for ones that it has not, at first and while a writer changes
an item every 20 ms. No other system is in it: what a page costs beside a database's own is not measured here.
"""

import multiprocessing
import resource
import socket
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import httpx
import numpy as np
import uvicorn
from numpy.typing import NDArray

from fitsvc.catalogue.synthetic import synthetic_accessories
from fitsvc.engine.signatures import Column
from fitsvc.language.types import ListType, NumberType, TextType
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.rulebook.rules import Rulebook
from fitsvc.rulebook.vocabulary import Fact
from fitsvc.service.app import create_app
from fitsvc.store.creation import bulk_create
from fitsvc.store.database import Database, upgrade
from fitsvc.store.observations import Told
from fitsvc.store.records import Draft, add_observation

ITEMS = 100_000
PAGES = 200
UNITS = {"length": " mm", "mass": " kg", "angle": " deg", "force": " kN", "torque": " N m", "count": ""}


def wire(fact: Fact, value: Any) -> Any:
    """A value as it is written in a question; None where nothing is known."""
    kind = fact.type
    assert not isinstance(kind, TextType | None)
    if value == kind.unknown:
        return None
    if isinstance(kind, ListType):
        return [member for i, member in enumerate(kind.members) if value >> i & 1]
    if not isinstance(kind, NumberType):
        return value == 2
    assert fact.range is not None
    low, high = (min(max(end, fact.range[0]), fact.range[1]) for end in value)
    if fact.kind == "count":
        return int(low)
    ends = [f"{end * 100} %" if fact.kind == "ratio" else f"{end:.4f}{UNITS[fact.kind]}" for end in (low, high)]
    return ends[0] if low == high else {"at_least": ends[0], "at_most": ends[1]}


def drafts(rulebook: Rulebook, count: int) -> Iterator[Draft]:
    """The items as they are stored."""
    made = synthetic_accessories(rulebook, count)
    facts = rulebook.vocabulary.of("accessory")
    known = {short: made.columns[fact.name] for short, fact in facts.items() if fact.name in made.columns}
    for row in range(count):
        told = {short: wire(facts[short], _cell(column, row)) for short, column in known.items()}
        yield Draft(f"SYN-{row:07}", f"Item {row % 9973} of {row}", told)


def _cell(column: Column, row: int) -> Any:
    return (float(column[0][row]), float(column[1][row])) if isinstance(column, tuple) else int(column[row])


def serve(port: int, url: str) -> None:
    """Run the server."""
    uvicorn.run(create_app(Database(url), load_rulebook(data_dir("rules"))), port=port, log_level="error")


def rig(number: int) -> dict[str, Any]:
    """One of many rigs."""
    receiver = {"opening": "2 in", "pin_hole": "5/8 in", "tongue_rating": f"{300 + number} lb"}
    mounting = {"height": "17 in", "pin_to_bumper": f"{3 + number % 40 / 10} in"}
    load = {"bikes": 2, "bike_weight": f"{30 + number % 30} lb", "cargo_weight": "120 lb"}
    return {"rig": {"receiver": {"facts": receiver}, "mounting": {"facts": mounting}}, "load": {"facts": load}}


def ask(client: httpx.Client, bodies: Sequence[Mapping[str, Any]], query: str) -> NDArray[np.float64]:
    """Milliseconds of each request."""
    times = []
    for body in bodies:
        start = time.perf_counter()
        response = client.post(f"/v1/selections?limit=50{query}", json=body)
        times.append((time.perf_counter() - start) * 1e3)
        assert response.status_code == 200, response.text
    return np.array(times)


def show(name: str, times: NDArray[np.float64]) -> None:
    """Print a row of the table."""
    middle, late = np.percentile(times, [50, 99])
    print(f"{name:44} {middle:8.1f} ms {late:8.1f} ms", flush=True)


def change(url: str, count: int) -> None:
    """Change an item every 20 ms."""
    database = Database(url)
    for number in range(10**9):
        with database.session() as session:
            key = f"SYN-{number * 7919 % count:07}"
            add_observation(session, "accessory", key, {"weight": f"{20 + number % 60} lb"}, Told("measured"))
        time.sleep(0.02)


def main() -> None:
    """Measure and print."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else ITEMS
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{Path(folder) / 'bench.db'}"
        upgrade(url)
        database = Database(url)
        start = time.perf_counter()
        with database.session() as session:
            bulk_create(session, "accessory", drafts(load_rulebook(data_dir("rules")), count))
        print(f"{count} items stored in {time.perf_counter() - start:.0f} s")
        spawn = multiprocessing.get_context("spawn")
        server = spawn.Process(target=serve, args=(port, url), daemon=True)
        server.start()
        measure(port, url, count)
        server.terminate()
        server.join()
    print(f"the server's memory at most: {resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024:.0f} MB")


def measure(port: int, url: str, count: int) -> None:
    """Ask, and print the table."""
    with httpx.Client(
        base_url=f"http://127.0.0.1:{port}", timeout=1200, transport=httpx.HTTPTransport(retries=9)
    ) as client:
        start = time.perf_counter()
        while True:
            try:
                client.get("/health/live")
                break
            except httpx.ConnectError:
                time.sleep(0.2)
        start = time.perf_counter()
        ask(client, [rig(0)], "")
        print(f"the index read and folded, and a first page: {time.perf_counter() - start:.1f} s")
        print(f"{'a page of 50':44} {'median':>11} {'99 %':>11}")
        show("a rig asked about before", ask(client, [rig(0)] * PAGES, ""))
        show("the same, compact", ask(client, [rig(0)] * PAGES, "&detail=compact"))
        show("the same, of one kind", ask(client, [rig(0)] * PAGES, "&kind=bike_carrier"))
        show("a rig never asked about", ask(client, [rig(number) for number in range(1, PAGES)], ""))
        writer = multiprocessing.get_context("spawn").Process(target=change, args=(url, count), daemon=True)
        writer.start()
        time.sleep(2)
        show("a rig asked about before, a writer at work", ask(client, [rig(0)] * PAGES, ""))
        writer.terminate()
        writer.join()


if __name__ == "__main__":
    main()
