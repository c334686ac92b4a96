"""Small audits over the demo world, for tests: its accessories and rigs, in blocks small enough to be many."""

import csv
import json
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any

import pyarrow.fs as pf
import pyarrow.parquet as pq
import pytest
from demo_world import SEED, answerer

from fitsvc.audits import run as audit_run
from fitsvc.audits.rigs import AuditRig, read_rigs
from fitsvc.audits.run import Audit, AuditOrder
from fitsvc.audits.state import Shares
from fitsvc.audits.summary import run
from fitsvc.facts import Case
from fitsvc.language.types import Value
from fitsvc.loading.cells import read_cell
from fitsvc.loading.entries import wire_fact

PARTS = [SEED / name for name in ("vehicles.yaml", "receivers.yaml", "mountings.yaml", "accessories.csv")]
Rows = list[dict[str, str]]


@cache
def rigs() -> list[AuditRig]:
    """The demo's saved rigs, some with adapters and a spare, and every mounting as a rig."""
    return [*read_rigs([SEED / "rigs.yaml", *PARTS], answerer().reader), *read_rigs(PARTS, answerer().reader)]


def accessories() -> Rows:
    """The demo's accessories as rows of texts, with an empty column of claims."""
    with (SEED / "accessories.csv").open(encoding="utf-8", newline="") as stream:
        rows = [row for row in csv.DictReader(stream) if row["subject"] == "accessory"]
    facts = answerer().reader.vocabulary.of("accessory")
    kept = [title for title in rows[0] if title.split(" [")[0] in facts or title == "sku"]
    return [{**{title: row[title] for title in kept}, "fits": ""} for row in rows]


def facts_of(row: Mapping[str, str]) -> dict[str, Value]:
    """The facts of one row by the loader's own reading, cell by cell, with what is told by one end."""
    reader, values = answerer().reader, dict[str, Value]()
    known = reader.vocabulary.of("accessory")
    for title, cell in row.items():
        name, _, unit = title.removesuffix("]").partition(" [")
        if name in known and cell:
            values |= reader.value(known[name], wire_fact(known[name], read_cell(cell, known[name], unit)))
    return values | reader.told_by_one_end(values)


def pair_of(rig: AuditRig, facts: Mapping[str, Value]) -> Case:
    """The question of one rig with one item."""
    values = {**rig.case.facts, **facts}
    return Case(values, rig.case.present | {"accessory"} | answerer().reader.named(values), rig.case.adapters)


def write_csv(path: Path, rows: Iterable[Mapping[str, str]]) -> Path:
    """Write rows as a CSV file."""
    listed = list(rows)
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, list(listed[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(listed)
    return path


@contextmanager
def small_blocks(rows: int = 40, pairs: int = 400, processes: int = 1) -> Iterator[None]:
    """Let audits work in blocks of so many items, parts of so many pairs, and so many processes."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(audit_run, "shares", lambda memory: Shares(rows, pairs, 1 << 20, processes))
        yield


def audit(catalogue: Path, out: Path, of: Sequence[AuditRig] | None = None, **asked: Any) -> dict[str, Any]:
    """Audit a catalogue; returns the summary."""
    return run(audit_of(catalogue, out, of, **asked))


def audit_of(catalogue: Path, out: Path, of: Sequence[AuditRig] | None = None, **asked: Any) -> Audit:
    """An audit that is not carried out yet."""
    rulebook = asked.pop("rulebook", answerer().rulebook)
    return Audit(
        AuditOrder(catalogue=catalogue, out=out, **asked), rulebook, rigs() if of is None else of, lambda *_: None
    )


def pairs(out: Path) -> Rows:
    """The pairs of an audit, in the order of the parts."""
    parts = sorted((out / "pairs.parquet").glob("*.parquet"))
    return [row for part in parts for row in pq.read_table(part).to_pylist()]


def found(out: Path, name: str) -> Rows:
    """The rows of a file of findings."""
    with (out / f"{name}.csv").open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def files(out: Path) -> dict[str, bytes]:
    """Every file of an audit with its bytes."""
    return {str(path.relative_to(out)): path.read_bytes() for path in sorted(out.rglob("*")) if path.is_file()}


DAY = re.compile(rb'<dt>Audited on</dt><dd><b>[^<]+</b></dd>|"day": "[^"]*"')
"""Where an audit's page and summary tell the day on which it was made."""


def pair_bytes(storage: pf.FileSystem, folder: str) -> dict[str, bytes]:
    """The bytes of each file of pairs, by its name without what tells of where the items stand."""
    found = {}
    for one in storage.get_file_info(pf.FileSelector(folder)):
        if one.path.endswith(".parquet"):
            with storage.open_input_file(one.path) as stream:
                found[re.sub("-[0-9a-f]{16}-", "-", one.base_name)] = stream.readall()
    assert found
    return found


def undated(out: Path) -> dict[str, bytes]:
    """Every file of an audit with its bytes, but for the day on which it was made."""
    return {name: DAY.sub(b"", content) for name, content in files(out).items()}


def summary(out: Path) -> dict[str, Any]:
    """An audit's summary."""
    read: dict[str, Any] = json.loads((out / "summary.json").read_text("utf-8"))
    return read
