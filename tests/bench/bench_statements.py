"""How many statements a second a store takes, and how soon a reading's effects are told.

`PYTHONPATH=tests python -m bench.bench_statements [ACCESSORIES]`, on SQLite and on a PostgreSQL server of its own, both
of which have what they confirm on the disk.

Statements are told one after another, each a transaction of its own that is waited for; by many people at once, as a
service is told them; and many in one transaction, as a file tells them, by the command and by one request over HTTP.
Every tenth disputes what was said. Each way tells of 100 mountings of its own, of which nothing was measured before:
of a measured part some dozens of statements are kept, as here, and each that is told is held to all of them. The time
of the processor is this program's, or the service's, without the database server's and the disk's; the floor is one
flush of the disk. What a service does, one statement a transaction and effects, is measured with Python's collector of
garbage set as a service sets it.

The effects are those of the first and second readings after a start, each asked about every accessory held (a million
if not said otherwise): of a mounting that 10 of 1,000 saved rigs use, and of the receiver that all of them do. The rigs
are of 100 sorts, as 100 mountings that were measured are; and of 1,000, where each stands on a mounting of its own.
"""

import json
import os
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from time import perf_counter
from typing import Any

import httpx
from conftest import _cluster, _postgres_programs, postgres_database
from demo_world import answerer
from sqlalchemy import func
from sqlmodel import select

from bench.bench_selection import started
from bench.bench_service import used
from bench.measuring import SMALL, Group, Row, Time, asked_for, in_turn, once, show, taken
from bench.stored_catalogue import CHUNK, items
from fitsvc.garbage import collected_seldom
from fitsvc.loading.load import load_file
from fitsvc.observing.recording import effects_of, observe
from fitsvc.selection.folding import Folding
from fitsvc.selection.rows import StoredAccessory
from fitsvc.selection.segments import Segment, Snapshot, whole
from fitsvc.service.serving import COLLECTED
from fitsvc.store.api_keys import create_key
from fitsvc.store.creation import create_record
from fitsvc.store.database import Database, upgrade
from fitsvc.store.observations import Provenance
from fitsvc.store.records import Draft, chunks
from fitsvc.store.rigs import create_rig
from fitsvc.store.tables import Observation

MOUNTINGS, RIGS, FLUSHES = 100, 1_000, 30
SINGLE, TOGETHER = (100, 500) if SMALL else (500, 3_000)
PEOPLE_AT_ONCE = (16, 32)
"""A desk's, and more than a shop has: a service takes up to forty requests at a time."""
COMMAND = "bench.bench_statements"
PEOPLE = ("Ann", "Bo", "Cy")


def fill(database: Database, mountings: int = MOUNTINGS, way: str = "b") -> None:
    """Store mountings, no two alike, and rigs that use them, all by names that begin alike."""
    with database.session() as session:
        create_record(session, "receiver", Draft(key=f"rcv_{way}", facts={"opening": "2 in"}))
        for n in range(mountings):
            create_record(session, "vehicle", Draft(key=f"veh_{way}{n}", facts={"body": "suv"}))
            facts = {"height": f"{16 + n % 64 / 32} in", "pin_to_bumper": f"{4 + n / 256} in"}
            draft = Draft(key=f"mnt_{way}{n}", facts=facts, vehicle_id=f"veh_{way}{n}", receiver_id=f"rcv_{way}")
            create_record(session, "mounting", draft)
    with database.session() as session:
        for n in range(RIGS):
            create_rig(session, f"rig {n}", {"mounting": {"id": f"mnt_{way}{n % mountings}"}}, f"rig_{way}{n}")


def statement(number: int, way: str = "b") -> tuple[dict[str, Any], Provenance]:
    """One reading of a way's mountings: a tape's, most often within what was read before."""
    sixteenths = 64 + number % 3 + (40 if number % 10 == 0 else 0)
    fact = ("pin_to_bumper", "height")[number % 2]
    value = f"{sixteenths / 16 + (13 if fact == 'height' else 0)} in"
    about = {"subject": "mounting", "record": f"mnt_{way}{number % MOUNTINGS}", "facts": {fact: value}}
    return about, Provenance(kind="measured", by=PEOPLE[number % 3], note=str(number))


def _each(count: int, tell: Callable[[], object]) -> Time:
    """What each of so many statements takes while they are told."""
    used, clock = once(lambda _: tell())
    return taken([used / count], [clock / count])


def _observed(database: Database, number: int, way: str = "b") -> None:
    about, how = statement(number, way)
    with database.session() as session:
        observe(session, answerer().reader, about, how, rigs=False)


def alone(database: Database, first: int) -> Time:
    """A statement that is a transaction of its own, one after another."""

    def tell() -> None:
        for number in range(first, first + SINGLE):
            _observed(database, number)

    with collected_seldom(*COLLECTED):
        return _each(SINGLE, tell)


def at_once(database: Database, people: int) -> Time:
    """The same by so many people at once, each of whom waits for theirs; nothing of it is lost."""
    fill(database, way=f"p{people}_")
    before, tell = _count(database), partial(_observed, database, way=f"p{people}_")
    with ThreadPoolExecutor(people) as pool, collected_seldom(*COLLECTED):
        list(pool.map(tell, range(people)))  # each has a connection
        time = _each(TOGETHER, lambda: list(pool.map(tell, range(people, people + TOGETHER))))
    assert _count(database) - before == TOGETHER + people
    return time


def _count(database: Database) -> int:
    with database.session() as session:
        return session.exec(select(func.count()).select_from(Observation)).one()


def in_a_file(database: Database) -> Time:
    """One of a file's statements, from reading it to the end of its transaction."""
    fill(database, way="f")
    with TemporaryDirectory() as folder:
        path = Path(folder) / "told.jsonl"
        path.write_text(_lines("f"))
        return _each(TOGETHER, lambda: load_file(database, answerer().reader, path))


def _lines(way: str) -> str:
    """Statements as a file of JSON Lines has them."""
    told = (statement(number, way) for number in range(TOGETHER))
    return "\n".join(json.dumps({**about, "kind": how.kind, "by": how.by, "note": how.note}) for about, how in told)


def in_a_request(database: Database) -> Time:
    """One of a request's statements, from sending it to a service to its reply; the processor's time is its own."""
    fill(database, way="r")
    with database.session() as session:
        key, _ = create_key(session, "bench")
    before = _count(database)
    with TemporaryDirectory() as folder:
        server, port, _ = started(database.url, Path(folder))
        try:
            spent, clock = used(server.pid), perf_counter()
            headers = {"X-API-Key": key, "Content-Type": "application/x-ndjson"}
            sent = httpx.post(f"http://127.0.0.1:{port}{CATALOGUE}", content=_lines("r"), headers=headers, timeout=600)
            spent, clock = used(server.pid) - spent, perf_counter() - clock
        finally:
            server.terminate()
            server.join()
    assert sent.status_code == 200 and _count(database) - before == TOGETHER, sent.text
    return taken([spent / TOGETHER], [clock / TOGETHER])


def flushed() -> Time:
    """One flush of what was written to a file, where the databases are."""
    with TemporaryDirectory() as folder, (Path(folder) / "flushed").open("wb", buffering=0) as file:

        def flush(_: int) -> None:
            file.write(bytes(4096))
            os.fsync(file.fileno())

        (time,) = in_turn(FLUSHES, 1, flush)
    return Time(None, time.wall, time.wall or 0.0, time.wall or 0.0, 1)


def held(accessories: int) -> Snapshot:
    """So many made-up accessories, ready to be judged as a service holds them."""
    columns, reader, folding = answerer().columns, answerer().reader, Folding(answerer().columns, answerer().reader)
    for some in chunks(items(answerer().rulebook, accessories), CHUNK):
        folding.add([StoredAccessory(sku, label, facts, 0) for sku, label, facts, _ in some])
    segment = Segment(columns, reader, folding.tables())
    segment.prepare()
    segment.lay_out()
    return Snapshot(revision="bench", parts=(whole(segment),), loose=(), unreadable=0)


def effect(database: Database, about: dict[str, Any], catalogue: Snapshot) -> tuple[Time, int]:
    """From a reading to its effects, and how many rigs were judged."""
    reader, found = answerer().reader, list[int]()

    def tell(_: int) -> None:
        with database.session() as session:
            seen = observe(session, reader, about, Provenance(kind="measured", by="Di"))
        found.append(effects_of(answerer().columns, reader, seen.touched, lambda: catalogue).rigs)

    with collected_seldom(*COLLECTED):
        used, clock = once(tell)
    return taken([used], [clock]), found[0]


@contextmanager
def urls() -> Iterator[dict[str, str]]:
    """An empty database of each kind, both on the disk before they confirm anything."""
    with (
        TemporaryDirectory() as folder,
        TemporaryDirectory() as own,
        _cluster(_postgres_programs(), Path(own), {"max_connections": "200"}) as server,
        postgres_database(server, "template0") as url,
    ):
        postgres = url.render_as_string(hide_password=False)
        yield {"SQLite": f"sqlite:///{folder}/bench.db", "PostgreSQL": postgres}


READINGS = (
    {"subject": "mounting", "record": "mnt_b7", "facts": {"pin_to_bumper": "9 in"}},
    {"subject": "mounting", "record": "mnt_b9", "facts": {"pin_to_bumper": "9 in"}},
    {"subject": "receiver", "record": "rcv_b", "facts": {"tongue_rating": "300 lb"}},
    {"subject": "receiver", "record": "rcv_b", "facts": {"pin_hole": "1/2 in"}},
)
CATALOGUE = "/v1/catalogue"


def groups() -> Iterator[Group]:
    """Both databases: statements, and what a reading changes."""
    catalogue, floor = held(20_000 if SMALL else asked_for(1_000_000)), Row("floor", "one flush of the disk", flushed())
    answerer().prepare()  # as a service does before it takes requests
    with urls() as found:
        for name, url in found.items():
            upgrade(url)
            database = Database(url)
            fill(database)
            singly = [Row("ours", "one after another, each waited for", alone(database, 0))]
            singly += [
                Row("ours", f"by {n} people at once, each waited for", at_once(database, n)) for n in PEOPLE_AT_ONCE
            ]
            yield Group(f"Statements told one a transaction, on {name}", COMMAND, [*singly, floor])
            rows = [
                Row("ours", f"each of {TOGETHER:,}, read, checked and stored together", in_a_file(database)),
                Row(
                    "ours",
                    f"each of {TOGETHER:,}, the same by one request to a service",
                    in_a_request(database),
                ),
            ]
            yield Group(f"Statements told in a file, on {name}", COMMAND, rows)
            yield from _effects(database, catalogue, MOUNTINGS, name)
            database.close()
    with TemporaryDirectory() as folder:
        url = f"sqlite:///{folder}/bench.db"
        upgrade(url)
        database = Database(url)
        fill(database, RIGS)
        yield from _effects(database, catalogue, RIGS, "SQLite")
        database.close()


def _effects(database: Database, catalogue: Snapshot, sorts: int, name: str) -> Iterator[Group]:
    """From readings to their effects, of records used by rigs of so many sorts."""
    for number, about in enumerate(READINGS):
        time, rigs = effect(database, about, catalogue)
        nth, record = ("first", "second")[number % 2], about["subject"]
        of = f"A {record}'s {nth} reading, to its effects on {rigs:,} of {RIGS:,} rigs of {sorts:,} sorts, on {name}"
        title = f"{of}, {catalogue.items:,} accessories held"
        yield Group(title, COMMAND, [Row("ours", f"fitsvc, {about['facts']}", time)])


def main() -> None:
    """Measure and print."""
    show(groups())


if __name__ == "__main__":
    main()
