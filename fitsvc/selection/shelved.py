"""The accessories held for selecting, as a plan takes them from the shelf: one of those that rules cannot tell apart.

So the first plan of a large store waits for nothing to be read: what the index holds folded is judged as it is.
"""

from collections.abc import Callable, Sequence
from functools import partial
from typing import TypeVar, overload

import numpy as np
from numpy.typing import NDArray

from fitsvc.answers.shelf import Item
from fitsvc.engine.columns.signatures import Catalogue
from fitsvc.selection.segments import LiveSegment, Snapshot

_ANY_KIND = (1 << 64) - 1
_T = TypeVar("_T")


class Lazy(Sequence[_T]):
    """A sequence of which each member is made when it is asked for."""

    def __init__(self, count: int, make: Callable[[int], _T]) -> None:
        self._count, self._make = count, make

    def __len__(self) -> int:
        return self._count

    @overload
    def __getitem__(self, place: int) -> _T: ...
    @overload
    def __getitem__(self, place: slice) -> list[_T]: ...
    def __getitem__(self, place: int | slice) -> _T | list[_T]:
        if isinstance(place, slice):
            return [self._make(one) for one in range(*place.indices(self._count))]
        return self._make(place)


class Shelved:
    """What is left of a segment, those of one signature as the first of them by SKU; `twins` are the others' SKUs."""

    def __init__(self, part: LiveSegment) -> None:
        segment = part.segment
        alive = np.flatnonzero(part.alive)
        self.catalogue: Catalogue = segment.catalogue
        self.places: NDArray[np.intp]
        self.places, first = np.unique(segment.catalogue.signature_of[alive], return_index=True)
        rows = alive[first]
        names, number = segment.kinds
        masks = np.array([kind if isinstance(kind, int) else _ANY_KIND for kind in names], np.uint64)
        self.kinds: NDArray[np.uint64] = masks[number[rows]]
        self._segment, self._alive, self._rows = segment, part.alive, rows
        self.items: Sequence[Item] = Lazy(len(rows), lambda place: segment.item(int(rows[place])))
        twins = partial(_twins, part, self.places, rows)
        self.twins: Sequence[Sequence[str]] = Lazy(len(rows), twins)

    def place_of(self, sku: str) -> int | None:
        """The place of the item under a SKU; none of one that is a twin."""
        row = self._segment.find(sku)
        if row is None or not self._alive[row]:
            return None
        place = int(np.searchsorted(self.places, self._segment.catalogue.signature_of[row]))
        return place if self._rows[place] == row else None


def _twins(part: LiveSegment, places: NDArray[np.intp], rows: NDArray[np.intp], place: int) -> list[str]:
    """The SKUs of what is left of a part with a signature, but for the row that stands for them."""
    same = np.flatnonzero((part.segment.catalogue.signature_of == places[place]) & part.alive)
    return [part.segment.skus[int(row)] for row in same if row != rows[place]]


def shelved(held: Snapshot) -> tuple[list[Shelved], Sequence[Item]]:
    """The accessories of a snapshot: those held folded, and those held loose."""
    return [Shelved(part) for part in held.parts], held.loose
