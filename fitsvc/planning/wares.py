"""What a shelf holds, folded for planning: items with equal facts are judged once, and whole columns at a time."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fitsvc.answers.shelf import Item, Shelf
from fitsvc.engine.columns.bitmaps import unpack
from fitsvc.engine.columns.kernel import Columns, Judged
from fitsvc.engine.columns.signatures import Catalogue
from fitsvc.facts import Case
from fitsvc.rulebook.filling import ACCESSORY, BESIDE
from fitsvc.rulebook.outcomes import OUTCOME_OF
from fitsvc.rulebook.rules import Rulebook

SOLD = (ACCESSORY, "adapter", *BESIDE)


@dataclass(frozen=True, slots=True)
class Rows:
    """What a case comes to with each of some items, a row an item.

    `works` where the outcome is works or conditional; `fails` counts the blocking rules that fail, `opens` all
    else that is not settled: cautions, doubts, needs. `ball` and `pin` are where a need is open that a ball fills, or
    another accessory.
    """

    works: NDArray[np.bool_]
    fails: NDArray[np.int16]
    opens: NDArray[np.int16]
    ball: NDArray[np.bool_]
    pin: NDArray[np.bool_]


class Fold:
    """Items of one subject, those with equal facts folded into the first of them by SKU; `twins` are its others."""

    def __init__(self, columns: Columns, subject: str, items: Sequence[Item]) -> None:
        first: dict[frozenset[object], int] = {}
        self.items: list[Item] = []
        self.twins: list[list[str]] = []
        for item in items:
            place = first.setdefault(frozenset(item.values.items()), len(self.items))
            if place == len(self.items):
                self.items.append(item)
                self.twins.append([])
            else:
                self.twins[place].append(item.sku)
        self.kinds = np.array([_mask(item) for item in self.items], np.uint64)
        self._columns = columns
        self._catalogue: Catalogue = columns.catalogue([item.values for item in self.items], (subject,))

    def of_kinds(self, kinds: int) -> NDArray[np.bool_]:
        """Which items are surely of one of these kinds."""
        return np.equal(np.bitwise_and(self.kinds, ~np.uint64(kinds)), 0)

    def judged(self, case: Case) -> Judged:
        """What a case comes to with each item in its place, not yet told item by item."""
        return self._columns.judge(self._catalogue, case)

    def works(self, judged: Judged) -> NDArray[np.bool_]:
        """With which items the outcome is works or conditional."""
        found = judged.bitmaps()
        return ~unpack(found["fails"] | found["undetermined"], judged.catalogue.count)[self._catalogue.signature_of]

    def may_work(self, judged: Judged) -> NDArray[np.bool_]:
        """With which items nothing surely fails."""
        return ~unpack(judged.bitmaps()["fails"], judged.catalogue.count)[self._catalogue.signature_of]

    def rows(self, judged: Judged) -> Rows:
        """All that is told of each item."""
        rows = _rows(judged, self._columns.engine.rulebook)
        place = self._catalogue.signature_of
        return Rows(self.works(judged), rows.fails[place], rows.opens[place], rows.ball[place], rows.pin[place])


class Wares:
    """A shelf's accessories, adapters and balls, folded."""

    def __init__(self, columns: Columns, shelf: Shelf) -> None:
        self._lists = [shelf.items(subject) for subject in SOLD]
        self.accessories, self.adapters, self.balls = (
            Fold(columns, subject, items) for subject, items in zip(SOLD, self._lists, strict=True)
        )

    def are_of(self, shelf: Shelf) -> bool:
        """Whether a shelf still holds just these."""
        return all(items is shelf.items(subject) for subject, items in zip(SOLD, self._lists, strict=True))


def _mask(item: Item) -> int:
    """The kinds an item may be; none known is all."""
    return item.kind if isinstance(item.kind, int) else (1 << 64) - 1


def _rows(judged: Judged, rulebook: Rulebook) -> Rows:
    count = judged.catalogue.count
    failing, open_ = np.zeros(count, np.int16), np.zeros(count, np.int16)
    wanting = {subject: np.zeros(count, np.bool_) for subject in (ACCESSORY, *BESIDE)}
    for number, effect, words in judged.effects():
        where = unpack(words, count)
        total = failing if OUTCOME_OF[effect] == "fails" else open_
        total += where
        fills = rulebook.needs[number - len(rulebook.rules)].fills if effect == "open_needs" else None
        if fills is not None:
            wanting[fills.subject] |= where
    beside = np.logical_or.reduce([wanting[subject] for subject in BESIDE])
    return Rows(np.zeros(0, np.bool_), failing, open_, beside, wanting[ACCESSORY])
