"""A made-up catalogue of any size in which faults are planted, and the list of them: what an audit has to find.

The items are variants of models (colours, packs and sellers repeat a model's facts; few models sell most), a sixteenth
as many as items. Every item fits some of the rigs and is claimed to fit just those, but for what is planted, so that an
audit finds nothing else. The same size and seed give the same bytes.
"""

import csv
import json
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from random import Random
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from fitsvc.audits.blocks import Kernel
from fitsvc.audits.reading import items_of_columns
from fitsvc.audits.rigs import AuditRig, read_rigs
from fitsvc.facts import FactReader
from fitsvc.rulebook.rules import Rulebook
from fitsvc.synthetic.shop import COLOURS, TITLES, models, rig_records
from fitsvc.synthetic.usual import UsualKind, usual_of

CATALOGUE, SHOP, RIGS, PLANTED = "catalogue.csv", "accessories.csv", "rigs.jsonl", "planted.csv"
RIG_COUNT: Final = 40
LEAST: Final = 500
_ITEMS_OF_MODEL: Final = 16
_POUND: Final = 0.45359237
_RATES: Final[Mapping[str, float]] = {
    "bad_cell": 2,
    "repeated_sku": 0.5,
    "missing_sku": 0.5,
    "ragged_row": 0.5,
    "unknown_rig": 1,
    "false_claim": 3,
    "undecided_claim": 3,
    "unclaimed": 2,
    "kilograms": 1,
    "fits_nothing": 1,
}
"""Faults by name, and how many are planted in a thousand items."""
_BAD: Final = (
    ("weight [lb]", "heavy"),
    ("shank", "50 mm"),
    ("kind", "bal_mount"),
    ("weight [lb]", "-4"),
    ("plug", "round_9"),
    ("length", "9"),
)
_FITS, _UNDETERMINED, _FAILS = 1, 2, 3
_PLACE: Final = {title: place for place, title in enumerate(TITLES)}
_BATCH: Final = 20_000

Progress = Callable[[str, int, int], None]
Outcomes = NDArray[np.int8]


@dataclass(slots=True)
class PlantedRow:
    """One row of the catalogue being made: its SKU, label, cells and the rigs it is claimed to fit."""

    sku: str
    label: str
    cells: list[str]
    fits: list[str]

    def row(self) -> list[str]:
        """The row."""
        return [self.sku, self.label, *self.cells, " ".join(self.fits)]


def write_planted(folder: Path, rulebook: Rulebook, count: int, tell: Progress, seed: int = 1) -> dict[str, int]:
    """Write the catalogue with its faults, the same items without them for a store, the rigs and the list of faults.

    Returns how many faults of each sort are planted.
    """
    reader, random = FactReader(rulebook), Random(f"{seed}-faults")
    kinds = usual_of(rulebook).kinds
    with (folder / RIGS).open("w", encoding="utf-8") as stream:
        stream.writelines(json.dumps(record) + "\n" for record in rig_records(RIG_COUNT, seed))
    rigs = read_rigs([folder / RIGS], reader)
    made = list(models(kinds, max(LEAST // 8, count // _ITEMS_OF_MODEL), seed))
    kept, outcomes = _fitting(rulebook, reader, rigs, made, tell)
    total = {name: max(1, round(count * rate / 1000)) for name, rate in _RATES.items()}
    places = sorted(random.sample(range(1, count), sum(total.values())))
    faults = [name for name, number in total.items() for _ in range(number)]
    random.shuffle(faults)
    planting = _Planting(random, kinds, [rig.key for rig in rigs], dict(zip(places, faults, strict=True)))
    with ExitStack() as files:
        catalogue, shop, planted = (
            csv.writer(
                files.enter_context((folder / name).open("w", encoding="utf-8", newline="")), lineterminator="\n"
            )
            for name in (CATALOGUE, SHOP, PLANTED)
        )
        catalogue.writerow(["sku", "label", *TITLES, "fits"])
        shop.writerow(["subject", "sku", "label", *TITLES])
        planted.writerow(["fault", "row", "sku", "column", "rig"])
        for number, model in enumerate(_model_of_items(count, len(kept), seed)):
            item = _item(number, model, kept[model], planting.keys, outcomes[:, model])
            shop.writerow(["accessory", *item.row()[:-1]])
            row, told = planting.planted(number, item, outcomes[:, model])
            catalogue.writerow(row)
            planted.writerows(told)
            if number % _BATCH == 0:
                tell("writing the catalogue", number, count)
    tell("writing the catalogue", count, count)
    return planting.counts


def _fitting(
    rulebook: Rulebook, reader: FactReader, rigs: Sequence[AuditRig], made: Sequence[Mapping[str, str]], tell: Progress
) -> tuple[list[list[str]], Outcomes]:
    """The cells of those models that fit some rig, and their outcomes by rig and model."""
    kernel, kept, outcomes = Kernel(rulebook), list[list[str]](), list[Outcomes]()
    for start in range(0, len(made), _BATCH):
        some = made[start : start + _BATCH]
        cells = {title: [one[title] for one in some] for title in TITLES} | {"sku": list(map(str, range(len(some))))}
        items, _, bad = items_of_columns(cells, reader, "the models")
        assert not bad
        block = kernel.block(items)
        found = np.array([result.outcome[block.signature_of] for _, result in block.judge(rigs)], np.int8)
        fitting = np.any(found <= _FITS, axis=0).tolist()
        outcomes.append(found[:, fitting])
        kept += [list(one.values()) for one, fits in zip(some, fitting, strict=True) if fits]
        tell("making models", start + len(some), len(made))
    return kept, np.concatenate(outcomes, axis=1)


def _model_of_items(count: int, made: int, seed: int) -> NDArray[np.intp]:
    """Each item's model: every model is there, and the first ones sell most."""
    rng = np.random.Generator(np.random.PCG64(seed))
    once = np.arange(min(made, count))
    again = (made * rng.random(count - len(once)) ** 2).astype(np.intp)
    found = np.concatenate([once, again])
    rng.shuffle(found)
    return found


def _item(number: int, model: int, cells: Sequence[str], keys: Sequence[str], outcomes: Outcomes) -> PlantedRow:
    colour = COLOURS[number % len(COLOURS)]
    label = f"Fellside {model:05} {cells[_PLACE['kind']].replace('_', ' ')}, {colour}"
    fits = [keys[rig] for rig in np.flatnonzero(outcomes <= _FITS).tolist()]
    return PlantedRow(f"FS-{model:05}-{colour.upper()}-{number:07}", label, list(cells), fits)


class _Planting:
    """Plants each fault in the first item at its place, or after it, that can have it."""

    def __init__(
        self, random: Random, kinds: Mapping[str, UsualKind], keys: list[str], places: Mapping[int, str]
    ) -> None:
        self.random, self.kinds, self.keys, self.places = random, kinds, keys, places
        self.counts = dict.fromkeys(_RATES, 0)
        self._waiting: list[str] = []
        self._good = ""

    def planted(self, number: int, item: PlantedRow, outcomes: Outcomes) -> tuple[list[str], list[list[Any]]]:
        """The item's row, and what is planted in it for the list of faults."""
        if number in self.places:
            self._waiting.append(self.places[number])
        sku = item.sku
        for place, fault in enumerate(self._waiting):
            made = getattr(self, f"_{fault}")(item, outcomes)
            if made is not None:
                row, column, rig = made
                del self._waiting[place]
                self.counts[fault] += 1
                return row, [[fault, number + 2, sku, column, rig]]
        self._good = sku
        return item.row(), []

    def _bad_cell(self, item: PlantedRow, _: Outcomes) -> tuple[list[str], str, str]:
        title, cell = self.random.choice(_BAD)
        item.cells[_PLACE[title]] = cell
        return item.row(), title, ""

    def _repeated_sku(self, item: PlantedRow, _: Outcomes) -> tuple[list[str], str, str] | None:
        if not self._good:
            return None
        item.sku = self._good
        return item.row(), "sku", ""

    def _missing_sku(self, item: PlantedRow, _: Outcomes) -> tuple[list[str], str, str]:
        item.sku = ""
        return item.row(), "sku", ""

    def _ragged_row(self, item: PlantedRow, _: Outcomes) -> tuple[list[str], str, str]:
        return [*item.row(), "more"], "", ""

    def _unknown_rig(self, item: PlantedRow, _: Outcomes) -> tuple[list[str], str, str]:
        item.fits.append("rig_nowhere")
        return item.row(), "fits", "rig_nowhere"

    def _false_claim(self, item: PlantedRow, outcomes: Outcomes) -> tuple[list[str], str, str] | None:
        return self._claim(item, outcomes == _FAILS)

    def _undecided_claim(self, item: PlantedRow, outcomes: Outcomes) -> tuple[list[str], str, str] | None:
        return self._claim(item, outcomes == _UNDETERMINED)

    def _claim(self, item: PlantedRow, of: NDArray[np.bool_]) -> tuple[list[str], str, str] | None:
        if not of.any():
            return None
        key = self.keys[self.random.choice(np.flatnonzero(of).tolist())]
        item.fits.append(key)
        return item.row(), "fits", key

    def _unclaimed(self, item: PlantedRow, _: Outcomes) -> tuple[list[str], str, str]:
        key = item.fits.pop(self.random.randrange(len(item.fits)))
        return item.row(), "fits", key

    def _kilograms(self, item: PlantedRow, _: Outcomes) -> tuple[list[str], str, str] | None:
        """A weight that its kind's heavier half would not show up: in kilograms it stands apart from all of them."""
        cell, usual = item.cells[_PLACE["weight [lb]"]], self.kinds[item.cells[_PLACE["kind"]]].usual["weight"][0]
        if not cell or float(cell) > usual:
            return None
        item.cells[_PLACE["weight [lb]"]] = f"{float(cell) * _POUND:.2f}"
        return item.row(), "weight [lb]", ""

    def _fits_nothing(self, item: PlantedRow, _: Outcomes) -> tuple[list[str], str, str]:
        item.cells[_PLACE["shank"]], item.fits = "3 in", []
        return item.row(), "shank", ""
