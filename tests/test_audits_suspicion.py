"""Figures that look wrong, on catalogues with realistic spread: how many planted are found, how many honest accused.

Sizes and weights are lognormal, and go with each other as those of one trade do: what carries more bikes is heavier and
longer. How far they spread about that (12 to 15 in 100) is an estimate, from memory of such catalogues. Of what spreads
further a factor of 2.2 cannot be told from an honest figure: at 20 in 100 some 60 of 100 are found.
"""

from functools import cache
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest
from demo_world import answerer
from numpy.random import Generator

from fitsvc.audits import outliers
from fitsvc.audits.outliers import Suspicious, suspicious
from fitsvc.audits.spool import Spool
from fitsvc.language.types import ListType
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
def _catalogue(seed: int) -> Columns:
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


def _found(columns: Columns, usual: Any = None) -> list[Suspicious]:
    count = len(columns[KIND])

    def column(_: int, name: str, end: int | None = None) -> Any:
        if end is None:
            return columns[name]
        known = columns.get(name, np.full(count, np.nan))
        return np.where(np.isnan(known), (0.0, np.inf)[end], known)

    spool = cast(Spool, SimpleNamespace(column=column, skus=lambda _: range(count)))
    slots = {name: kind for name, kind in VOCABULARY.slots().items() if name.startswith("accessory.")}
    slots = {name: kind for name, kind in slots.items() if name in columns}
    kinds = cast(ListType, slots[KIND])
    return list(suspicious(spool, 1, slots, [*kinds.members, ""], VOCABULARY, usual=usual))


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


@pytest.mark.parametrize("sort", SORTS)
def test_planted_slips_are_found(sort: str) -> None:
    """At least 90 of 100 of each sort, told by their item and fact; most for what they are."""
    name, slip, words = SORTS[sort]
    columns, random = dict(_catalogue(7)), np.random.default_rng(11)
    own = columns[f"accessory.{name}"].copy()
    other = columns[f"accessory.{slip}"].copy() if isinstance(slip, str) else own
    rows = random.choice(np.flatnonzero(~np.isnan(own) & ~np.isnan(other)), PLANTED, replace=False)
    if isinstance(slip, str):
        own[rows], other[rows] = other[rows], own[rows]
        columns[f"accessory.{slip}"] = other
    else:
        own[rows] *= slip
    columns[f"accessory.{name}"] = own
    told = _found(columns)
    found = {one.item: one.guess for one in told if one.fact == name}
    hits = [row for row in rows.tolist() if row in found]
    assert len(hits) >= 90
    assert sum(words in found[row] for row in hits) >= 0.9 * len(hits)
    assert len({one.item for one in told} - set(rows.tolist())) <= 3 * COUNT / 1_000


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_honest_rows_are_not_accused(seed: int) -> None:
    """At most one in 1,000 rows of a catalogue in which nothing is wrong."""
    assert len({one.item for one in _found(_catalogue(seed))}) <= 3 * COUNT / 1_000


def _usual(columns: Columns) -> dict[tuple[str, str], float]:
    """The medians of a catalogue's figures, by kind and fact."""
    found = {}
    for number, kind in enumerate(KINDS):
        for name, figures in columns.items():
            of_kind = figures[number * COUNT : (number + 1) * COUNT]
            if figures.dtype == np.float64 and (~np.isnan(of_kind)).sum() >= 8:
                found[kind, name.removeprefix("accessory.")] = float(np.log(np.nanmedian(of_kind)))
    return found


@pytest.mark.parametrize(
    ("name", "factor", "words"),
    [
        ("weight", POUND, "kilograms written as pounds"),
        ("length", 2.54, "centimetres written as inches"),
        ("width", INCH, "millimetres written as inches"),
        ("capacity", 10.0, "a decimal place too many"),
    ],
)
def test_a_whole_column_in_another_unit(name: str, factor: float, words: str) -> None:
    """A column that is wrong from end to end is told once, beside what is usual of the goods of a store."""
    usual, columns = _usual(_catalogue(4)), dict(_catalogue(5))
    assert not [one for one in _found(columns, usual) if one.item < 0]
    columns[f"accessory.{name}"] = columns[f"accessory.{name}"] * factor
    (whole,) = (one for one in _found(columns, usual) if one.item < 0)
    assert (whole.fact, whole.guess) == (name, f"the whole column: {words}")


def test_a_large_catalogue_is_looked_at_in_pieces(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of more items than are held together the same slips are found, by what is usual of a sample of them."""
    columns, name = dict(_catalogue(7)), "accessory.weight"
    columns[name] = columns[name].copy()
    rows = np.flatnonzero(~np.isnan(columns[name]))[::60]
    columns[name][rows] *= 10.0
    monkeypatch.setattr(outliers, "_TOGETHER", 700)
    told = {one.item for one in _found(columns) if one.fact == "weight"}
    assert len(told & set(rows.tolist())) >= 0.95 * len(rows)
    assert len(told - set(rows.tolist())) <= 3 * COUNT / 1_000
