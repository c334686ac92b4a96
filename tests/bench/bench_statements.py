"""How many statements a second a store takes, and how soon a reading's effects are told.

`PYTHONPATH=tests python -m bench.bench_statements [ACCESSORIES]`, on SQLite and on a PostgreSQL server of its own.

Statements are told one a transaction, as people do, and many in one, as a file does; every tenth disputes what was
said. The rate by the processor's time alone is this program's share, without the server's and the disk's.

The effects are those of the first readings after a start, each asked about every accessory held (a million if not said
otherwise): of a mounting that 10 of 1,000 saved rigs use, and of the receiver that all of them do. The rigs are of 100
sorts, as 100 mountings that were measured are.
"""

import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from time import perf_counter, process_time
from typing import Any

from conftest import _cluster, _postgres_programs, postgres_database
from demo_world import answerer

from bench.stored_catalogue import CHUNK, items
from fitsvc.loading.load import load_file
from fitsvc.observing.recording import effects_of, observe
from fitsvc.selection.folding import Folding
from fitsvc.selection.rows import StoredAccessory
from fitsvc.selection.segments import Segment, Snapshot, whole
from fitsvc.store.creation import create_record
from fitsvc.store.database import Database, upgrade
from fitsvc.store.observations import Provenance
from fitsvc.store.records import Draft, chunks
from fitsvc.store.rigs import create_rig

MOUNTINGS, RIGS, SINGLE, TOGETHER = 100, 1_000, 1_000, 3_000
PEOPLE = ("Ann", "Bo", "Cy")


def fill(database: Database) -> None:
    """Store mountings, and rigs that use them."""
    with database.session() as session:
        create_record(session, "receiver", Draft(key="rcv_b", facts={"opening": "2 in"}))
        for n in range(MOUNTINGS):
            create_record(session, "vehicle", Draft(key=f"veh_b{n}", facts={"body": "suv"}))
            facts = {"height": f"{16 + n / 32} in", "pin_to_bumper": f"{4 + n / 32} in"}
            draft = Draft(key=f"mnt_b{n}", facts=facts, vehicle_id=f"veh_b{n}", receiver_id="rcv_b")
            create_record(session, "mounting", draft)
    with database.session() as session:
        for n in range(RIGS):
            create_rig(session, f"rig {n}", {"mounting": {"id": f"mnt_b{n % MOUNTINGS}"}}, f"rig_b{n}")


def statement(number: int) -> tuple[dict[str, Any], Provenance]:
    """One reading: a tape's, most often within what was read before."""
    sixteenths = 64 + number % 3 + (40 if number % 10 == 0 else 0)
    fact = ("pin_to_bumper", "height")[number % 2]
    value = f"{sixteenths / 16 + (13 if fact == 'height' else 0)} in"
    about = {"subject": "mounting", "record": f"mnt_b{number % MOUNTINGS}", "facts": {fact: value}}
    return about, Provenance(kind="measured", by=PEOPLE[number % 3], note=str(number))


Rate = tuple[float, float]
"""Statements a second, and a second of this program's own processor time."""


def _rate(count: int, tell: Callable[[], object]) -> Rate:
    began, used = perf_counter(), process_time()
    tell()
    return count / (perf_counter() - began), count / (process_time() - used)


def told(database: Database, first: int, count: int) -> Rate:
    """The rate of statements that are each a transaction of its own."""
    reader = answerer().reader

    def tell() -> None:
        for number in range(first, first + count):
            with database.session() as session:
                about, how = statement(number)
                observe(session, reader, about, how, rigs=False)

    return _rate(count, tell)


def loaded(database: Database, first: int, count: int) -> Rate:
    """The rate of a file's statements, from reading it to the end of its transaction."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "told.jsonl"
        rows = []
        for number in range(first, first + count):
            about, how = statement(number)
            rows.append(json.dumps({**about, "kind": how.kind, "by": how.by, "note": how.note}))
        path.write_text("\n".join(rows))
        return _rate(count, lambda: load_file(database, answerer().reader, path))


def held(accessories: int) -> Snapshot:
    """So many made-up accessories, ready to be judged as a service holds them."""
    columns, reader, folding = answerer().columns, answerer().reader, Folding(answerer().columns, answerer().reader)
    for some in chunks(items(answerer().rulebook, accessories), CHUNK):
        folding.add([StoredAccessory(sku, label, facts, 0) for sku, label, facts, _ in some])
    segment = Segment(columns, reader, folding.tables())
    segment.prepare()
    return Snapshot(revision="bench", parts=(whole(segment),), loose=(), unreadable=0)


def effect(database: Database, about: dict[str, Any], catalogue: Snapshot) -> tuple[float, float, int]:
    """Seconds from a reading to its effects, those of the processor alone, and how many rigs were judged."""
    reader, began, used = answerer().reader, perf_counter(), process_time()
    with database.session() as session:
        seen = observe(session, reader, about, Provenance(kind="measured", by="Di"))
    found = effects_of(answerer().engine, reader, seen.touched, lambda: catalogue)
    return perf_counter() - began, process_time() - used, found.rigs


@contextmanager
def urls() -> Iterator[dict[str, str]]:
    """An empty database of each kind."""
    with (
        TemporaryDirectory() as folder,
        TemporaryDirectory() as own,
        _cluster(_postgres_programs(), Path(own)) as server,
        postgres_database(server, "template0") as url,
    ):
        postgres = url.render_as_string(hide_password=False)
        yield {"SQLite": f"sqlite:///{folder}/bench.db", "PostgreSQL": postgres}


READINGS = (
    {"subject": "mounting", "record": "mnt_b7", "facts": {"pin_to_bumper": "9 in"}},
    {"subject": "receiver", "record": "rcv_b", "facts": {"tongue_rating": "300 lb"}},
)


def main() -> None:
    """Print the figures for both databases."""
    catalogue = held(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
    answerer().prepare()  # as a service does before it takes requests
    with urls() as found:
        for name, url in found.items():
            upgrade(url)
            database = Database(url)
            fill(database)
            for way, (rate, own) in (
                ("one a transaction", told(database, 0, SINGLE)),
                ("in a file", loaded(database, SINGLE, TOGETHER)),
            ):
                print(f"{name}, {way}: {rate:,.0f} statements/s, {own:,.0f} a second of the processor")
            for about in READINGS:
                seconds, own, rigs = effect(database, about, catalogue)
                print(f"{name}, effects of a {about['subject']}'s reading on {rigs:,} of {RIGS:,} rigs", end=" ")
                print(f"with {catalogue.items:,} accessories: {seconds:.2f} s, {own:.2f} of the processor")
            database.close()


if __name__ == "__main__":
    main()
