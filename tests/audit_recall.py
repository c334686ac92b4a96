"""How much of what is planted an audit finds, and how much else it accuses: `PYTHONPATH=tests python -m audit_recall`.

Figures that look wrong, on catalogues with realistic spread: sizes and weights are lognormal, and go with each other as
those of one trade do: what carries more bikes is heavier and longer. How far they spread about that (12 to 15 in 100)
is an estimate, from memory of such catalogues. Of what spreads further a factor of 2.2 cannot be told from an honest
figure: at 20 in 100 some 60 of 100 are found. Then cells and rows of thirty messy suppliers' files (`messy_suppliers`).
"""

import csv
import tempfile
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any, NamedTuple, cast

import numpy as np
from demo_world import answerer
from messy_suppliers import Messy, write_all
from numpy.random import Generator

from fitsvc.audits.cleaned import CATALOGUE, REMARKS, write_cleaned
from fitsvc.audits.intake import take_in
from fitsvc.audits.outliers import CatalogueFigures, Suspicious, suspicious
from fitsvc.audits.spool import Spool
from fitsvc.language.types import ListType
from fitsvc.loading.cells import read_cell
from fitsvc.loading.entries import wire_fact
from fitsvc.subjects import KIND

Columns = dict[str, Any]
VOCABULARY = answerer().rulebook.vocabulary
COUNT, PLANTED, POUND, INCH = 2_000, 100, 0.45359237, 25.4
KINDS = ("bike_carrier", "cargo_carrier", "ball_mount")


def _near(random: Generator, usual: Any, spread: float) -> Any:
    return np.asarray(usual * random.lognormal(0.0, spread, COUNT))


def _carriers(random: Generator) -> Columns:
    """Bike carriers of one to five bikes, in kilograms and millimetres."""
    bikes = random.integers(1, 6, COUNT).astype(float)
    each = _near(random, 40 * POUND, 0.15)
    length = _near(random, (14 + 5 * bikes) * INCH, 0.12)
    return {
        "bikes_max": bikes,
        "bike_weight_max": each,
        "weight": _near(random, 14 * POUND * bikes**0.8, 0.13),
        "capacity": _near(random, each * bikes, 0.08),
        "length": length,
        "rear_extent": _near(random, length * 1.3, 0.06),
        "front_setback": _near(random, 9 * INCH, 0.15),
        "width": _near(random, 44 * INCH, 0.14),
    }


def _cargo(random: Generator) -> Columns:
    """Cargo carriers, the larger the heavier."""
    width, length = _near(random, 54 * INCH, 0.2), _near(random, 22 * INCH, 0.2)
    weight = _near(random, 45 * POUND * (width * length / (54 * 22 * INCH**2)) ** 0.7, 0.13)
    return {
        "weight": weight,
        "capacity": _near(random, weight * 9, 0.14),
        "length": length,
        "rear_extent": _near(random, length * 1.2, 0.06),
        "width": width,
        "front_setback": _near(random, 8 * INCH, 0.15),
    }


def _mounts(random: Generator) -> Columns:
    """Ball mounts of the usual ratings, of which a tenth rests on the ball."""
    towed = random.choice([2000, 3500, 5000, 6000, 7500, 10000, 15000], COUNT) * POUND
    length = _near(random, 9 * INCH, 0.15)
    return {
        "trailer_rating": towed,
        "tongue_rating": _near(random, towed * 0.1, 0.06),
        "weight": _near(random, 10 * POUND * (towed / 3000) ** 0.5 * (length / (9 * INCH)) ** 0.7, 0.13),
        "length": length,
        "rear_extent": _near(random, length * 1.2, 0.05),
    }


@cache
def catalogue(seed: int) -> Columns:
    """The columns of a catalogue, of every hundredth figure nothing known; sizes and kinds as masks."""
    random = np.random.default_rng(seed)
    parts = [make(random) for make in (_carriers, _cargo, _mounts)]
    slots = VOCABULARY.slots()
    kinds, shanks = slots[KIND], slots["accessory.shank"]
    assert isinstance(kinds, ListType)
    assert isinstance(shanks, ListType)
    found: Columns = {KIND: np.repeat([np.uint64(kinds.mask(kind)) for kind in KINDS], COUNT)}
    sizes = [np.uint64(shanks.mask(size)) for size in ("1-1/4 in", "2 in")]
    found["accessory.shank"] = random.choice(sizes, 3 * COUNT)
    for name in dict.fromkeys(name for part in parts for name in part):
        figures = np.concatenate([part.get(name, np.full(COUNT, np.nan)) for part in parts])
        figures[random.random(len(figures)) < 0.01] = np.nan
        found[f"accessory.{name}"] = figures
    return found


def found_in(columns: Columns, usual: Any = None) -> list[Suspicious]:
    """What looks wrong in some columns, whole ones beside what is usual."""
    count = len(columns[KIND])

    def ends(figures: Any) -> Any:
        known = ~np.isnan(figures)
        return np.where(known, figures, 0.0), np.where(known, figures, np.inf)

    told = {name: ends(column) if column.dtype == np.float64 else column for name, column in columns.items()}
    items = SimpleNamespace(skus=range(count), columns=told)
    spool = cast(Spool, SimpleNamespace(block=lambda _: items, skus=lambda _: range(count)))
    slots = {name: kind for name, kind in VOCABULARY.slots().items() if name.startswith("accessory.")}
    slots = {name: kind for name, kind in slots.items() if name in columns}
    kinds = cast(ListType, slots[KIND])
    return list(suspicious(CatalogueFigures(spool, 1, slots, [*kinds.members, ""], VOCABULARY), usual or {}))


SORTS: dict[str, tuple[str, float | str, str]] = {
    "kilograms as pounds": ("weight", POUND, "kilograms written as pounds"),
    "pounds as kilograms": ("weight", 1 / POUND, "pounds written as kilograms"),
    "capacity in kilograms": ("capacity", POUND, "kilograms written as pounds"),
    "centimetres as inches": ("length", 2.54, "centimetres written as inches"),
    "inches as centimetres": ("rear_extent", 1 / 2.54, "inches written as centimetres"),
    "millimetres as inches": ("length", INCH, "millimetres written as inches"),
    "a place too many": ("weight", 10.0, "a decimal place too many"),
    "a place too few": ("rear_extent", 0.1, "a decimal place too few"),
    "weight and capacity": ("weight", "capacity", "swapped"),
    "ratings": ("trailer_rating", "tongue_rating", "swapped"),
    "front and rear": ("rear_extent", "front_setback", "swapped"),
}


class Hits(NamedTuple):
    """Of the slips planted of a sort how many are found, how many of these for what they are; rows accused beside."""

    found: int
    named: int
    accused: int


def planted_slips(sort: str) -> Hits:
    """Plant 100 slips of a sort in 6,000 rows, and look for what looks wrong."""
    name, slip, words = SORTS[sort]
    columns, random = dict(catalogue(7)), np.random.default_rng(11)
    own = columns[f"accessory.{name}"].copy()
    other = columns[f"accessory.{slip}"].copy() if isinstance(slip, str) else own
    rows = random.choice(np.flatnonzero(~np.isnan(own) & ~np.isnan(other)), PLANTED, replace=False)
    if isinstance(slip, str):
        own[rows], other[rows] = other[rows], own[rows]
        columns[f"accessory.{slip}"] = other
    else:
        own[rows] *= slip
    columns[f"accessory.{name}"] = own
    told = found_in(columns)
    guesses = {one.item: one.guess for one in told if one.fact == name}
    hits = [row for row in rows.tolist() if row in guesses]
    accused = {one.item for one in told} - set(rows.tolist())
    return Hits(len(hits), sum(words in guesses[row] for row in hits), len(accused))


class Taken(NamedTuple):
    """What came of the thirty files by the drafts alone: items that came through, of how many; rows lost, and planted
    so; facts read right, wrong and not at all; cells planted, and those that were told.
    """

    items: int
    through: int
    lost: int
    lost_planted: int
    right: int
    wrong: int
    missed: int
    planted: frozenset[tuple[str, str, str]]
    told: frozenset[tuple[str, str, str]]


def rows_of_text(path: Path) -> list[dict[str, str]]:
    """The rows of a text of cells."""
    with path.open(encoding="utf-8-sig", newline="") as stream:
        return list(csv.DictReader(stream))


@cache
def value_of(fact: str, text: str) -> object:
    """What a text reads as."""
    reader = answerer().reader
    known = reader.vocabulary.of("accessory")[fact]
    (value,) = reader.value(known, wire_fact(known, read_cell(text, known))).values()
    return tuple(round(end, 6) for end in value) if isinstance(value, tuple) else value


def _told(messy: Messy, columns: Mapping[str, Any], out: Path) -> set[tuple[str, str]]:
    """What the remarks tell, by item and fact."""
    found = set()
    for row in rows_of_text(out / REMARKS):
        title = next(title for title, column in columns.items() if column.name == "sku")
        for remark in filter(None, row["remarks"].split("; ")):
            column = columns.get(remark.split(": ")[0])
            if column is not None and row[title] and "stands in a row before" not in remark:
                found.add((row[title], column.name))
    return found


def taken_files(folder: Path) -> Taken:
    """Take the thirty files in, and hold what was read of them to what they were made of."""
    reader, every = answerer().reader, write_all(folder)
    counts, planted, told = dict.fromkeys(("through", "lost", "right", "wrong", "missed"), 0), set(), set()
    for messy in every:
        taken = take_in(messy.path, reader, folder / "suppliers", messy.path.name.split(".")[0])
        out = folder / f"{messy.path.name}-out"
        made = write_cleaned(messy.path, reader, taken.mapping, out)
        read = {row["sku"]: row for row in rows_of_text(out / CATALOGUE)}
        assert read.keys() <= messy.items.keys()
        counts["through"] += len(read)
        counts["lost"] += made.bad_rows
        for sku, facts in messy.items.items():
            for fact, text in facts.items():
                cell = read.get(sku, {}).get(fact, "")
                counts["missed"] += not cell
                counts["right"] += bool(cell) and value_of(fact, cell) == value_of(fact, text)
                counts["wrong"] += bool(cell) and value_of(fact, cell) != value_of(fact, text)
        planted |= {(messy.path.name, *one) for one in messy.odd}
        told |= {(messy.path.name, *one) for one in _told(messy, taken.mapping.columns, out)}
    return Taken(
        items=sum(len(one.items) for one in every),
        lost_planted=sum(one.lost for one in every),
        planted=frozenset(planted),
        told=frozenset(told),
        **counts,
    )


def main() -> None:
    """Print the table of the guide."""
    print("| planted | found | told for what it is | honest rows accused |\n| --- | ---: | ---: | ---: |")
    for sort in SORTS:
        hits = planted_slips(sort)
        print(f"| {sort} | {hits.found} of {PLANTED} | {hits.named} | {hits.accused} of {3 * COUNT - PLANTED:,} |")
    with tempfile.TemporaryDirectory() as folder:
        taken = taken_files(Path(folder))
    told = f"{len(taken.told & taken.planted)} of {len(taken.planted)}"
    print(f"| cells of thirty messy files | {told} | | {len(taken.told - taken.planted)} |")
    print(
        f"\n{taken.through} of {taken.items} items came through, {taken.right:,} facts read right, {taken.wrong} wrong."
    )


if __name__ == "__main__":
    main()
