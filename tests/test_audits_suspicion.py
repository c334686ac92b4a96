"""Figures that look wrong, on catalogues with realistic spread: how many planted are found, how many honest accused."""

import numpy as np
import pytest
from audit_recall import COUNT, INCH, KINDS, POUND, SORTS, Columns, catalogue, found_in, planted_slips
from numpy.typing import NDArray

from fitsvc.audits import outliers
from fitsvc.audits.usual_figures import Floats


@pytest.mark.parametrize("sort", SORTS)
def test_planted_slips_are_found(sort: str) -> None:
    """At least 90 of 100 of each sort, told by their item and fact; most for what they are."""
    hits = planted_slips(sort)
    assert hits.found >= 90
    assert hits.named >= 0.9 * hits.found
    assert hits.accused <= 3 * COUNT / 1_000


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_honest_rows_are_not_accused(seed: int) -> None:
    """At most one in 1,000 rows of a catalogue in which nothing is wrong."""
    assert len({one.item for one in found_in(catalogue(seed))}) <= 3 * COUNT / 1_000


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
    usual, columns = _usual(catalogue(4)), dict(catalogue(5))
    assert not [one for one in found_in(columns, usual) if one.item < 0]
    columns[f"accessory.{name}"] = columns[f"accessory.{name}"] * factor
    (whole,) = (one for one in found_in(columns, usual) if one.item < 0)
    assert (whole.fact, whole.guess) == (name, f"the whole column: {words}")


def test_two_whole_columns_under_each_others_titles() -> None:
    """They are told as swapped, and not as a slip of each, though one is some ten times the other."""
    usual, columns = _usual(catalogue(4)), dict(catalogue(5))
    weight, capacity = columns["accessory.weight"], columns["accessory.capacity"]
    both = ~np.isnan(weight) & ~np.isnan(capacity)
    columns |= {
        "accessory.weight": np.where(both, capacity, weight),
        "accessory.capacity": np.where(both, weight, capacity),
    }
    told = {one.fact: one.guess for one in found_in(columns, usual) if one.item < 0}
    words = "the whole column: accessory's own weight and accessory's capacity are swapped"
    assert told == {"weight": words, "capacity": words}


def test_a_large_catalogue_is_looked_at_in_pieces(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of more items than are held together the same slips are found, by what is usual of a sample of them."""
    columns, name = dict(catalogue(7)), "accessory.weight"
    columns[name] = columns[name].copy()
    rows = np.flatnonzero(~np.isnan(columns[name]))[::60]
    columns[name][rows] *= 10.0
    held, of = list[int](), outliers.CatalogueFigures.of

    def counted(here: outliers.CatalogueFigures, rows: NDArray[np.intp]) -> tuple[Floats, Floats]:
        held.append(len(rows))
        return of(here, rows)

    monkeypatch.setattr(outliers.CatalogueFigures, "of", counted)
    monkeypatch.setattr(outliers, "_TOGETHER", 700)
    told = {one.item for one in found_in(columns) if one.fact == "weight"}
    assert len(told & set(rows.tolist())) >= 0.95 * len(rows)
    assert len(told - set(rows.tolist())) <= 3 * COUNT / 1_000
    assert max(held) == 700 and len(held) > 3 * COUNT / 700
