"""Pages at the counter over HTTP: `PYTHONPATH=tests python -m bench.bench_counter [ITEMS]` (100,000 if not said).

The demo's catalogue of that size is stored in a SQLite file and served by one process; one client asks for pages as
a clerk does, each question once, and beside each answer's page for the same answer from the API in turn. The very
first request is told apart: it waits for the selection index to be made, and reads the vehicles' names.
"""

import random
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterable, Mapping
from pathlib import Path
from statistics import median
from typing import Any

import httpx
from counter_browser import running

from fitsvc.service.counter.links import link, write_fields

ITEMS = 100_000
PAGES = 200
ASKED_MS = 150


def questions(client: httpx.Client, seed: int) -> list[dict[str, Any]]:
    """Questions about stored rigs and items, each of them another one."""
    draw = random.Random(seed)
    rigs = [one["id"] for one in client.get("/v1/rigs?limit=100").json()["items"]]
    skus = [one["sku"] for one in client.get("/v1/accessories?limit=1000").json()["items"]]
    return [
        {
            "rig": {"id": draw.choice(rigs)},
            "accessory": {"sku": draw.choice(skus)},
            "load": {"facts": {"bikes": 1 + n % 4, "bike_weight": f"{25 + n % 40} lb"}},
        }
        for n in range(PAGES)
    ]


def times(client: httpx.Client, paths: Iterable[str]) -> list[float]:
    """Milliseconds of each page."""
    found = []
    for path in paths:
        start = time.perf_counter()
        reply = client.get(path)
        found.append((time.perf_counter() - start) * 1000)
        assert reply.status_code == 200, (path, reply.text)
    return found


def answers(client: httpx.Client, asked: Iterable[Mapping[str, Any]]) -> tuple[list[float], list[float]]:
    """Milliseconds of each question's page, and of its answer from the API, asked in turn."""
    pages, plain = [], []
    for question in asked:
        pages += times(client, [link("/answer", write_fields(question))])
        start = time.perf_counter()
        reply = client.post("/v1/answers", json=question)
        plain.append((time.perf_counter() - start) * 1000)
        assert reply.status_code == 200, reply.text
    return pages, plain


def told(what: str, found: list[float], beside: list[float] | None = None) -> None:
    """Print one line: the median, the 95th of a hundred, and the ratio to what stands beside it."""
    p95 = sorted(found)[int(len(found) * 0.95)]
    ratio = f", {median(found) / median(beside):5.2f} of the API's answer" if beside else ""
    print(f"{what:32} median {median(found):7.1f} ms, p95 {p95:7.1f} ms{ratio}")


def main() -> None:
    """Measure and print."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else ITEMS
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / "shop"
        command = [sys.executable, "-m", "fitsvc", "demo", "--size", str(count), "--into", str(place)]
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        with (
            running(f"sqlite:///{place / 'demo.db'}", place) as counter,
            httpx.Client(base_url=counter.url, timeout=600, follow_redirects=True) as client,
        ):
            measure(client, count)


def measure(client: httpx.Client, count: int) -> None:
    """Ask, and print what it took."""
    asked = questions(client, 1)
    first, _ = answers(client, asked[:1])
    print(f"{count:,} items, one process, {PAGES} pages of each kind, over loopback; asked for: p95 {ASKED_MS} ms")
    print(f"{'the very first answer':32} {first[0]:14.1f} ms")
    words = ("bike", "tray", "mount 2", "step", "2 in drop", "zzz", "carrier two", "hitch")
    told("the page that asks", times(client, ["/"] * PAGES))
    told("typing an accessory", times(client, [f"/?find.accessory={words[n % len(words)]}+{n}" for n in range(PAGES)]))
    told("typing a vehicle", times(client, [f"/?find.vehicle={20 + n % 10}" for n in range(PAGES)]))
    pages, plain = answers(client, asked[1:])
    told("an answer's page", pages, plain)
    told("the API's answer", plain)
    mountings = [one["id"] for one in client.get("/v1/mountings?limit=200").json()["items"]]
    told("the first question at a vehicle", times(client, [f"/measure?mounting={one}" for one in mountings]))
    told("a fitment sheet", times(client, [f"/records/mounting/{one}" for one in mountings]))
    told("what to measure on the yard", times(client, ["/worklist"]))


if __name__ == "__main__":
    main()
