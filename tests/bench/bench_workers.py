"""Answers over HTTP by one process and by two: `PYTHONPATH=tests python -m bench.bench_workers`.

Both servers run at the same time and are asked in turn, over kept connections: what has been asked before, and what
never has, which takes the processor. Two processes can be twice as fast only where the machine has cores for both, and
for who asks.
"""

import json
import tempfile
from collections.abc import Callable, Iterator
from itertools import count, islice
from pathlib import Path
from statistics import median
from typing import Final

from served import Served

from bench.bench_service import CONNECTIONS, PER_ROUND, Client
from fitsvc.service.examples import QUESTION
from fitsvc.store.database import upgrade

ROUNDS: Final = 15


def new_questions() -> Iterator[bytes]:
    """Yield questions of which none was asked before: the example's, on receivers of ever other ratings."""
    for number in count():
        receiver = {"facts": {"opening": "2 in", "tongue_rating": f"{400 + number / 10_000:.4f} lb"}}
        yield json.dumps(QUESTION | {"rig": QUESTION["rig"] | {"receiver": receiver}}).encode()


def main() -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{Path(folder) / 'bench.db'}"
        upgrade(url)
        servers = {workers: Served(url, Path(folder) / f"log-{workers}", workers=workers) for workers in (1, 2)}
        try:
            clients = {workers: Client(server.port()) for workers, server in servers.items()}
            fresh = new_questions()
            _compare("asked before", clients, lambda: [json.dumps(QUESTION).encode()])
            _compare("never asked", clients, lambda: list(islice(fresh, PER_ROUND * CONNECTIONS)))
        finally:
            for server in servers.values():
                server.end()


def _compare(what: str, clients: dict[int, Client], bodies: Callable[[], list[bytes]]) -> None:
    for client in clients.values():
        client.round("/v1/answers", bodies())
    rates = [{workers: one.round("/v1/answers", bodies()) for workers, one in clients.items()} for _ in range(ROUNDS)]
    ratio = median(found[2] / found[1] for found in rates)
    one, two = (median(found[workers] for found in rates) for workers in (1, 2))
    print(
        f"{what}: one process {one:.0f} answers/s, two {two:.0f}: {ratio:.2f} times  (at least 1.8 where cores allow)"
    )


if __name__ == "__main__":
    main()
