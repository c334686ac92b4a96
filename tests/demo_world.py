"""The demo world in memory, read from `seed_demo` without a store, for tests and benchmarks."""

import csv
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from fitsvc.answers.answering import Answerer
from fitsvc.answers.records import Named, Stored
from fitsvc.answers.shelf import Stock, read_items
from fitsvc.answers.vehicles import Vehicles
from fitsvc.language.types import Value
from fitsvc.loading.cells import read_cell
from fitsvc.paths import data_dir
from fitsvc.rulebook.cache import cached_rulebook
from fitsvc.rulebook.vocabulary import Fact
from fitsvc.rulebook.yaml_text import read_yaml_file, to_plain
from fitsvc.subjects import SOLD

SEED = Path(__file__).parent.parent / "seed_demo"


@dataclass(frozen=True, slots=True)
class World:
    """Every record and rig of the demo files; as question records, it is the store's stand-in."""

    records: tuple[Stored, ...]
    rigs: Mapping[str, Mapping[str, Any]]

    @property
    def earlier(self) -> bool:
        """Whether it is as of an earlier time."""
        return False

    def find(self, subject: str, key: str) -> Stored | None:
        """The record under an id or SKU."""
        return next((record for record in self.records if record.key == key), None)

    def keys_near(self, subject: str, key: str) -> list[str]:
        """Every id or SKU there is."""
        return list(self.rigs) if subject == "rig" else [record.key for record in self.records]

    def mountings(self, vehicle: str | None, receiver: str) -> list[Stored]:
        """The mountings of a receiver on a vehicle, or on whichever."""
        return [
            record
            for record in self.records
            if record.links.get("receiver") == receiver and vehicle in (None, record.links.get("vehicle"))
        ]

    def rig(self, key: str) -> Mapping[str, Any] | None:
        """A saved rig's parts."""
        return self.rigs[key]["rig"] if key in self.rigs else None

    def rig_told(self, key: str) -> Stored:
        """Nothing was told of a single rig."""
        return Stored(subject="rig", key=key, label="", facts={})

    def vehicles(self, values: Mapping[str, Value], texts: Mapping[str, str]) -> list[Named]:
        """The vehicles that agree with these naming facts."""
        return Vehicles(answerer().reader, self.of("vehicle")).agreeing(values, texts)

    def of(self, subject: str) -> list[Stored]:
        """The records of one subject."""
        return [record for record in self.records if record.subject == subject]


def yaml_of(name: str) -> Any:
    """A demo file's plain content."""
    return to_plain(read_yaml_file(SEED / name))


def _wire(plain: Any) -> Any:
    """A YAML text as JSON would have it: digits alone are a count."""
    return int(plain) if isinstance(plain, str) and plain.isdigit() else plain


def _yaml_records(name: str) -> Iterator[Stored]:
    file = yaml_of(name)
    for entry in file["records"]:
        assumed = entry.get("assumed", {})
        facts = {**entry["facts"], **assumed, **entry.get("measured", {}).get("facts", {})}
        wired = {fact: _wire(value) for fact, value in facts.items()}
        links = {part: entry[part] for part in ("vehicle", "receiver") if part in entry}
        key = entry["sku" if file["subject"] == "trailer" else "id"]
        yield Stored(
            subject=file["subject"],
            key=key,
            label=entry["label"],
            facts=wired,
            assumed=frozenset(assumed),
            links=links,
        )


def _csv_records(name: str) -> Iterator[Stored]:
    vocabulary = answerer().rulebook.vocabulary
    with (SEED / name).open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file, strict=True):
            key, subject, label = (row.pop(column) for column in ("sku", "subject", "label"))
            known = vocabulary.of(subject)
            cells = dict(_cell(column, text, known) for column, text in row.items() if text)
            yield Stored(subject=subject, key=key, label=label, facts=cells)


def _cell(column: str, text: str, known: Mapping[str, Fact]) -> tuple[str, Any]:
    name, _, unit = column.partition(" [")
    return name, _wire(read_cell(text, known.get(name), unit.rstrip("]")))


@cache
def world() -> World:
    """The whole demo world."""
    files = ("vehicles.yaml", "receivers.yaml", "mountings.yaml", "trailers.yaml")
    records = [record for name in files for record in _yaml_records(name)]
    rigs = {rig["id"]: rig for rig in yaml_of("rigs.yaml")["rigs"]}
    return World((*records, *_csv_records("accessories.csv")), rigs)


@cache
def answerer() -> Answerer:
    """The real rulebook, ready to answer."""
    return Answerer(cached_rulebook(data_dir("rules")))


def question(name: str) -> dict[str, Any]:
    """One of the demo's questions."""
    document: dict[str, Any] = json.loads((SEED / "questions" / name).read_text("utf-8"))
    return document


ASKED = {entry["file"]: entry for entry in yaml_of("questions/index.yaml")["questions"]}
"""The questions by file, with the clerk's words and what they come to."""
OF_ONE = [name for name in ASKED if "together" not in question(name)]
"""The questions about one thing."""


@cache
def stock() -> Stock:
    """Everything the demo world sells, and the receivers that mount on its vehicles, as a shelf."""
    records = world().records
    receivers = {one.key: one for one in records if one.subject == "receiver"}
    mountings: dict[str, list[tuple[Stored, Stored]]] = {}
    for one in records:
        if one.subject == "mounting":
            mountings.setdefault(one.links["vehicle"], []).append((one, receivers[one.links["receiver"]]))
    sold = (one for one in records if one.subject in SOLD)
    return Stock(read_items(answerer().reader, sold), mountings)
