"""A catalogue put in place by one request to a service: `PYTHONPATH=tests python -m bench.bench_catalogue [RECORDS]`.

A hundred thousand made-up accessories as JSON Lines, sent by `POST /v1/catalogue` to a server that is run as the
command runs it, on SQLite and on a PostgreSQL server of its own, both of which have what they confirm on the disk: all
of them new, tried before without being stored (`dry_run`); then a hundredth of them changed; and the same again, of
which nothing is new. From the first byte sent to the reply; the time of the processor is the service's, without the
database server's.
"""

import json
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from time import perf_counter

import httpx
from demo_world import answerer

from bench.bench_selection import started
from bench.bench_service import used
from bench.bench_statements import urls
from bench.measuring import SMALL, Group, Row, Time, asked_for, show
from bench.stored_catalogue import items
from fitsvc.store.api_keys import create_key
from fitsvc.store.database import Database, upgrade

COMMAND = "bench.bench_catalogue"
RECORDS = 5_000 if SMALL else 100_000
CATALOGUE = "/v1/catalogue?source=bench"


def lines(records: int, changed_each: int = 0) -> bytes:
    """Accessories as JSON Lines; the label of each so many is another one."""
    told = list[str]()
    for number, (sku, label, facts, _) in enumerate(items(answerer().rulebook, records)):
        name = f"{label}, new" if changed_each and number % changed_each == 0 else label
        told.append(f'{{"subject": "accessory", "sku": "{sku}", "label": {json.dumps(name)}, "facts": {facts}}}\n')
    return "".join(told).encode()


def groups() -> Iterator[Group]:
    """Both databases: a catalogue tried, stored, changed in part, and sent again."""
    count = RECORDS if SMALL else asked_for(RECORDS)
    whole, changed = lines(count), lines(count, 100)
    with urls() as found:
        for name, url in found.items():
            upgrade(url)
            with TemporaryDirectory() as folder:
                rows, note = sent(url, Path(folder), whole, changed, count)
            title = f"A catalogue of {count:,} records over HTTP, on {name}"
            yield Group(title, COMMAND, rows, notes=[f"{len(whole) / 1e6:.0f} MB of JSON Lines. {note}"])


def sent(url: str, folder: Path, whole: bytes, changed: bytes, count: int) -> tuple[list[Row], str]:
    """What each request took, the first one that stores all of it first, and what came of them."""
    database = Database(url)
    with database.session() as session:
        key, _ = create_key(session, "bench", ("publish",))
    database.close()
    server, port, _ = started(url, folder)
    headers = {"X-API-Key": key, "Content-Type": "application/x-ndjson"}

    def send(body: bytes, more: str = "") -> tuple[Time, dict[str, object]]:
        spent, clock = used(server.pid), perf_counter()
        reply = httpx.post(f"http://127.0.0.1:{port}{CATALOGUE}{more}", content=body, headers=headers, timeout=3_000)
        spent, clock = used(server.pid) - spent, perf_counter() - clock
        assert reply.status_code == 200, reply.text[:2_000]
        return Time(spent, clock, spent, spent, 1), reply.json()

    try:
        tried, told = send(whole, "&dry_run=yes")
        assert told["stored"] == {"accessory": count}, told
        stored, told = send(whole)
        assert told["stored"] == {"accessory": count}, told
        replaced, told = send(changed)
        assert told["replaced"] == -(-count // 100), told
        again, told = send(changed)
        assert told["unchanged"] == count, told
    finally:
        server.terminate()
        server.join()
    rows = [
        Row("ours", "all of them new", stored),
        Row("ours", "the same tried before, without being stored", tried),
        Row("ours", "one in a hundred changed", replaced),
        Row("ours", "the same again, nothing changed", again),
    ]
    return rows, "No rig is saved, whose fits would be told."


def main() -> None:
    """Measure and print."""
    show(groups())


if __name__ == "__main__":
    main()
