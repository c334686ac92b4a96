"""What a shelf holds, folded for planning: items with equal facts are judged once, and whole columns at a time."""

from bisect import bisect_right
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar, overload

import numpy as np
from numpy.typing import NDArray

from fitsvc.answers.shelf import Folded, Item, Shelf
from fitsvc.engine.columns.bitmaps import Words, unpack
from fitsvc.engine.columns.kernel import Columns, Judged
from fitsvc.engine.columns.signatures import Array, Groups, arrays_of, group_rows, taken
from fitsvc.facts import Case
from fitsvc.rulebook.filling import ACCESSORY, BESIDE
from fitsvc.rulebook.outcomes import OUTCOME_OF, Outcome
from fitsvc.rulebook.rules import Rulebook

_T = TypeVar("_T")
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


class FoldedItems:
    """Items in memory, those with equal facts folded into the first of them by SKU."""

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
        self.catalogue = columns.catalogue([item.values for item in self.items], (subject,))
        self.places = self.catalogue.signature_of.astype(np.intp)
        self._place_of = {item.sku: place for place, item in enumerate(self.items)}

    def place_of(self, sku: str) -> int | None:
        """The place of the item under a SKU; none of one that is folded into another."""
        return self._place_of.get(sku)


class Fold:
    """The items of one subject, part after part, each held folded; an item goes by its place over all of them."""

    def __init__(self, columns: Columns, parts: Sequence[Folded]) -> None:
        parts = [part for part in parts if len(part.items)]  # rules are laid out over nothing but what there is
        self._columns, self._parts = columns, parts
        self.kinds = _chained([part.kinds for part in parts], np.uint64)
        self._ends: list[int] = np.cumsum([len(part.items) for part in parts], dtype=np.intp).tolist()
        self.items: Sequence[Item] = Chained([part.items for part in parts], self._ends)
        self.twins: Sequence[Sequence[str]] = Chained([part.twins for part in parts], self._ends)

    def of_kinds(self, kinds: int) -> NDArray[np.bool_]:
        """Which items are surely of one of these kinds."""
        found: NDArray[np.bool_] = np.equal(np.bitwise_and(self.kinds, ~np.uint64(kinds)), 0)
        return found

    def called(self, skus: Collection[str]) -> NDArray[np.bool_]:
        """Which items go by one of some SKUs."""
        found = [np.zeros(len(part.items), np.bool_) for part in self._parts]
        for flags, part in zip(found, self._parts, strict=True):
            flags[[place for sku in skus if (place := part.place_of(sku)) is not None]] = True
        return _chained(found, np.bool_)

    def judged(self, case: Case) -> tuple[Judged, ...]:
        """What a case comes to with each item in its place, not yet told item by item."""
        return tuple(self._columns.judge(part.catalogue, case) for part in self._parts)

    def alike(self, names: Sequence[str], places: NDArray[np.intp]) -> Groups:
        """Some items, by their places in order, in groups of such as are alike in some facts."""
        found, before = list[list[Array]](), self._ends[:-1]
        pieces = np.split(places, np.searchsorted(places, before))
        for part, start, some in zip(self._parts, [0, *before], pieces, strict=True):
            of, at = part.catalogue, part.places[some - start]
            known = [array for name in names if name in of.columns for array in arrays_of(taken(of.columns[name], at))]
            found.append([*known, *(of.present[name][at].astype(np.uint8) for name in names if name in of.present)])
        return group_rows([np.concatenate(arrays) for arrays in zip(*found, strict=True)], len(places))

    def works(self, judged: Sequence[Judged]) -> NDArray[np.bool_]:
        """With which items the outcome is works or conditional."""
        return ~self._flags(judged, lambda found: found["fails"] | found["undetermined"])

    def may_work(self, judged: Sequence[Judged]) -> NDArray[np.bool_]:
        """With which items nothing surely fails."""
        return ~self._flags(judged, lambda found: found["fails"])

    def _flags(self, judged: Sequence[Judged], take: Callable[[Mapping[Outcome, Words]], Words]) -> NDArray[np.bool_]:
        both = zip(judged, self._parts, strict=True)
        return _chained([unpack(take(one.bitmaps()), one.catalogue.count)[part.places] for one, part in both], np.bool_)

    def fails(self, judged: Sequence[Judged]) -> dict[int, NDArray[np.bool_]]:
        """The rules that fail with any of the items, by their numbers, and with which."""
        told = list[dict[int, NDArray[np.bool_]]]()
        for one, part in zip(judged, self._parts, strict=True):
            where = ((n, words) for n, effect, words in one.effects() if OUTCOME_OF[effect] == "fails")
            told.append({number: unpack(words, one.catalogue.count)[part.places] for number, words in where})
        nowhere = [np.zeros(len(part.items), np.bool_) for part in self._parts]
        numbers = sorted(set().union(*told))
        return {n: np.concatenate([one.get(n, none) for one, none in zip(told, nowhere, strict=True)]) for n in numbers}

    def rows(self, judged: Sequence[Judged]) -> Rows:
        """All that is told of each item."""
        book, both = self._columns.engine.rulebook, zip(judged, self._parts, strict=True)
        told = [(_rows(one, book), part.places) for one, part in both]
        fails, opens = (
            _chained([getattr(rows, name)[at] for rows, at in told], np.int16) for name in ("fails", "opens")
        )
        ball, pin = (_chained([getattr(rows, name)[at] for rows, at in told], np.bool_) for name in ("ball", "pin"))
        return Rows(self.works(judged), fails, opens, ball, pin)


class Chained(Sequence[_T]):
    """Several sequences as one, of which `ends` says where each ends."""

    def __init__(self, parts: Sequence[Sequence[_T]], ends: Sequence[int]) -> None:
        self._parts, self._ends = parts, ends

    def __len__(self) -> int:
        return self._ends[-1] if self._ends else 0

    @overload
    def __getitem__(self, place: int) -> _T: ...
    @overload
    def __getitem__(self, place: slice) -> list[_T]: ...
    def __getitem__(self, place: int | slice) -> _T | list[_T]:
        if isinstance(place, slice):
            return [self[one] for one in range(*place.indices(len(self)))]
        part = bisect_right(self._ends, place)
        return self._parts[part][place - (self._ends[part - 1] if part else 0)]


class Kept:
    """What is sold as each subject, folded once for as long as a shelf holds just these; safe to share."""

    def __init__(self, columns: Columns) -> None:
        self.columns = columns
        self._folded: dict[str, tuple[Sequence[Item], FoldedItems]] = {}

    def of(self, shelf: Shelf, subject: str) -> FoldedItems:
        """The items of a subject; two that ask at once may both fold them, to the same."""
        items, known = shelf.items(subject), self._folded.get(subject)
        if known is None or known[0] is not items:
            self._folded[subject] = known = (items, FoldedItems(self.columns, subject, items))
        return known[1]


class Wares:
    """A shelf's accessories, adapters and balls, folded; accessories as an index holds them, where there is one."""

    def __init__(self, kept: Kept, shelf: Shelf) -> None:
        self._held = shelf.folded()
        subjects = SOLD if self._held is None else SOLD[1:]
        self._lists = {subject: shelf.items(subject) for subject in subjects}
        folds: dict[str, list[Folded]] = {name: [kept.of(shelf, name)] for name in subjects}
        if self._held is not None:
            parts, loose = self._held
            folds[ACCESSORY] = [*parts, FoldedItems(kept.columns, ACCESSORY, loose)]
        self.accessories, self.adapters, self.balls = (Fold(kept.columns, folds[name]) for name in SOLD)

    def are_of(self, shelf: Shelf) -> bool:
        """Whether a shelf still holds just these."""
        if self._held is not shelf.folded():
            return False
        return all(items is shelf.items(subject) for subject, items in self._lists.items())


def _chained(pieces: Sequence[NDArray[Any]], kind: type[np.generic]) -> NDArray[Any]:
    """Several columns of a kind as one, or nothing."""
    return np.concatenate([np.zeros(0, kind), *pieces])


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
        if fills is not None and fills.subject in wanting:
            wanting[fills.subject] |= where
    beside = np.logical_or.reduce([wanting[subject] for subject in BESIDE])
    return Rows(np.zeros(0, np.bool_), failing, open_, beside, wanting[ACCESSORY])
