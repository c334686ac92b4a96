"""How many statements a second a store takes, and how soon a reading's effects are told.

`PYTHONPATH=tests python -m bench.bench_statements [ACCESSORIES]`, on SQLite and on a PostgreSQL server of its own.

Statements are told one a transaction, as people do, and many in one, as a file does; every tenth disputes what was
said. The effects are those of one reading on the saved rigs that use its mounting, of 1,000 that are saved, each asked
about every accessory stored (10,000 if not said otherwise).
"""

import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from time import perf_counter
from typing import Any

from conftest import _cluster, _postgres_programs, postgres_database
from demo_world import answerer

from bench.stored_catalogue import store
from fitsvc.loading.load import load_file
from fitsvc.observing.recording import effects_of, observe
from fitsvc.selection.index import SelectionIndex
from fitsvc.store.creation import create_record
from fitsvc.store.database import Database
from fitsvc.store.observations import Provenance
from fitsvc.store.records import Draft
from fitsvc.store.rigs import create_rig

MOUNTINGS, RIGS, SINGLE, TOGETHER = 100, 1_000, 1_000, 3_000
PEOPLE = ("Ann", "Bo", "Cy")


def fill(database: Database) -> None:
    """Store mountings, and rigs that use them."""
    with database.session() as session:
        create_record(session, "receiver", Draft(key="rcv_b", facts={"opening": "2 in"}))
        for n in range(MOUNTINGS):
            create_record(session, "vehicle", Draft(key=f"veh_b{n}", facts={"body": "suv"}))
            draft = Draft(key=f"mnt_b{n}", facts={"height": "17 in"}, vehicle_id=f"veh_b{n}", receiver_id="rcv_b")
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


def told(database: Database, first: int, count: int) -> float:
    """Statements a second, each a transaction of its own."""
    reader, began = answerer().reader, perf_counter()
    for number in range(first, first + count):
        with database.session() as session:
            about, how = statement(number)
            observe(session, reader, about, how, rigs=False)
    return count / (perf_counter() - began)


def loaded(database: Database, first: int, count: int) -> float:
    """Statements a second of a file that is loaded, from reading it to the end of its transaction."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "told.jsonl"
        rows = []
        for number in range(first, first + count):
            about, how = statement(number)
            rows.append(json.dumps({**about, "kind": how.kind, "by": how.by, "note": how.note}))
        path.write_text("\n".join(rows))
        began = perf_counter()
        load_file(database, answerer().reader, path)
        return count / (perf_counter() - began)


def effect(database: Database) -> tuple[float, int]:
    """Seconds from a reading to its effects, once the index is there, and how many rigs were judged."""
    index, reader = SelectionIndex(answerer(), database), answerer().reader
    index.held()
    about = {"subject": "mounting", "record": "mnt_b7", "facts": {"pin_to_bumper": "9 in"}}
    began = perf_counter()
    with database.session() as session:
        seen = observe(session, reader, about, Provenance(kind="measured", by="Di"))
    found = effects_of(answerer().engine, reader, seen.touched, index.held)
    return perf_counter() - began, found.rigs


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


def main() -> None:
    """Print the figures for both databases."""
    accessories = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    with urls() as found:
        for name, url in found.items():
            store(url, answerer().rulebook, accessories)
            database = Database(url)
            fill(database)
            single, together = told(database, 0, SINGLE), loaded(database, SINGLE, TOGETHER)
            seconds, rigs = effect(database)
            database.close()
            print(f"{name}: {single:,.0f} statements/s one a transaction, {together:,.0f}/s in a file;", end=" ")
            print(f"effects on {rigs} of {RIGS:,} rigs with {accessories:,} accessories in {seconds:.2f} s")


if __name__ == "__main__":
    main()
