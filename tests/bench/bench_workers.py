"""Answers over HTTP by one process and by two: `PYTHONPATH=tests python -m bench.bench_workers`.

Both servers run at the same time and are asked in turn, over eight connections that are kept for a round: what has been
asked before, and what never has, the example's question on a receiver of another rating each time. It leaves much open,
so that it takes more than those of `bench_service`. Two processes can be twice as fast only where the machine has cores
for both, and for who asks, and where the connections fall to both alike: whichever is free first takes one.
"""

import json
import os
import tempfile
from collections.abc import Callable, Iterator
from itertools import count, islice
from pathlib import Path
from statistics import median
from typing import Final

from served import Served

from bench.bench_service import CONNECTIONS, PER_ROUND, Client
from bench.measuring import SMALL, Group, Row, show, taken
from fitsvc.service.examples import QUESTION
from fitsvc.store.database import upgrade

ROUNDS: Final = 2 if SMALL else 9
COMMAND: Final = "bench.bench_workers"


def new_questions() -> Iterator[bytes]:
    """Yield questions of which none was asked before: the example's, on receivers of ever other ratings."""
    for number in count():
        receiver = {"facts": {"opening": "2 in", "tongue_rating": f"{400 + number / 10_000:.4f} lb"}}
        yield json.dumps(QUESTION | {"rig": QUESTION["rig"] | {"receiver": receiver}}).encode()


def groups() -> Iterator[Group]:
    """What was never asked, and what was."""
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{Path(folder) / 'bench.db'}"
        upgrade(url)
        servers = {workers: Served(url, Path(folder) / f"log-{workers}", workers=workers) for workers in (1, 2)}
        try:
            clients = {workers: Client(server.port()) for workers, server in servers.items()}
            fresh = new_questions()
            yield _compared("never asked", clients, lambda: list(islice(fresh, PER_ROUND * CONNECTIONS)))
            yield _compared("asked before", clients, lambda: [json.dumps(QUESTION).encode()])
        finally:
            for server in servers.values():
                server.end()


def _compared(what: str, clients: dict[int, Client], bodies: Callable[[], list[bytes]]) -> Group:
    for client in clients.values():
        client.round("/v1/answers", bodies())
    rates = list[dict[int, float]]()
    for _ in range(ROUNDS):
        for client in clients.values():
            client.close()  # else the connections would be shared for good as they happened to be at first
        rates.append({workers: one.round("/v1/answers", bodies()) for workers, one in clients.items()})
    ratio = median(found[2] / found[1] for found in rates)
    one, two = (taken(None, [1 / found[workers] for found in rates]) for workers in (1, 2))
    return Group(
        f"`POST /v1/answers`, the example's question, {what}, one process and two, by the clock",
        COMMAND,
        [Row("ours", "one process", one), Row("ours", "two processes", two)],
        notes=[
            f"Two give {ratio:.2f} × the answers a second, on {os.cpu_count()} cores that the client shares.",
            "Its eight connections fall to either as they happen to, and it waits for all eight replies each time.",
        ],
    )


def main() -> None:
    """Measure and print."""
    show(groups())


if __name__ == "__main__":
    main()
