"""A made-up catalogue of any size in a database, written by plain inserts as the store itself would write it.

The items are those of `synthetic_accessories`, as people write them; each is a record with one observation.
"""

import json
from collections.abc import Iterator
from typing import Any

from sqlalchemy import create_engine, event
from sqlmodel import SQLModel

from fitsvc.engine.columns.signatures import Column
from fitsvc.language.types import ListType, NumberType, TextType
from fitsvc.rulebook.rules import Rulebook
from fitsvc.rulebook.vocabulary import Fact
from fitsvc.store.database import upgrade
from fitsvc.store.tables import now
from fitsvc.synthetic.columns import synthetic_accessories

UNITS = {"length": " mm", "mass": " kg", "angle": " deg", "force": " kN", "torque": " N m", "count": ""}
CHUNK = 20_000


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
    ends = [f"{end * 100} %" if fact.kind == "ratio" else _short(fact, end) for end in (low, high)]
    return ends[0] if low == high else {"at_least": ends[0], "at_most": ends[1]}


def _short(fact: Fact, end: float) -> str:
    """A figure with four decimals: at an end of what is plausible those that are within it, or it would be refused."""
    assert fact.range is not None
    found = round(end, 4)
    found += 1e-4 * ((found < fact.range[0]) - (found > fact.range[1]))
    return f"{found:.4f}{UNITS[fact.kind]}"


def _cell(column: Column, row: int) -> Any:
    return (float(column[0][row]), float(column[1][row])) if isinstance(column, tuple) else int(column[row])


def items(rulebook: Rulebook, count: int) -> Iterator[tuple[str, str, str, str]]:
    """SKU, label, facts and where each fact is from, the last two as JSON."""
    made = synthetic_accessories(rulebook, count)
    facts = rulebook.vocabulary.of("accessory")
    known = {short: made.columns[fact.name] for short, fact in facts.items() if fact.name in made.columns}
    written: dict[tuple[Any, ...], str] = {}
    for row in range(count):
        cells = tuple(_cell(column, row) for column in known.values())
        if cells not in written:
            told = {short: wire(facts[short], cell) for short, cell in zip(known, cells, strict=True)}
            written[cells] = json.dumps({short: value for short, value in told.items() if value is not None})
        how = {"kind": "published", "observation": f"obs_{row:08}"}
        text = written[cells]
        yield f"SYN-{row:07}", f"Item {row % 9973} of {row}", text, json.dumps(dict.fromkeys(json.loads(text), how))


def store(url: str, rulebook: Rulebook, count: int) -> None:
    """Make the database."""
    upgrade(url)
    engine, at = create_engine(url), now()
    stamp = at.strftime("%Y-%m-%d %H:%M:%S.%f") if url.startswith("sqlite") else at

    @event.listens_for(engine, "connect")
    def hurry(connection: Any, _: object) -> None:
        if url.startswith("sqlite"):
            connection.execute("PRAGMA synchronous=OFF")

    tables = SQLModel.metadata.tables
    mark = "?" if url.startswith("sqlite") else "%s"
    record = ("sku", "label", "facts", "provenance", "version", "created_at", "updated_at", "subject")
    told = ("id", "subject", "record_id", "facts", "kind", "by", "at", "note", "recorded_at")
    records, observations = list[tuple[Any, ...]](), list[tuple[Any, ...]]()

    def write() -> None:
        with engine.begin() as connection:
            for table, columns, rows in (("accessory", record, records), ("observation", told, observations)):
                assert set(columns) <= set(tables[table].columns.keys())
                marks = ", ".join([mark] * len(columns))
                named = ", ".join(f'"{column}"' for column in columns)
                connection.exec_driver_sql(f"INSERT INTO {table} ({named}) VALUES ({marks})", rows)
                rows.clear()

    for sku, label, facts, provenance in items(rulebook, count):
        key = f"obs_{sku[4:].rjust(8, '0')}"
        records.append((sku, label, facts, provenance, 1, stamp, stamp, "accessory"))
        observations.append((key, "accessory", sku, facts, "published", "", stamp, "", stamp))
        if len(records) == CHUNK:
            write()
    if records:
        write()
    engine.dispose()
