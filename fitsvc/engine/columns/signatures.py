"""A catalogue as columns of facts, with items of equal facts folded into one signature.

A number is two arrays of floats, its low and high ends; a list value an array of masks (uint64); a yes/no an
array of 0, 1, 2 (uint8). Unknown is what the type says unknown is, so a column has no gaps.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fitsvc.engine.columns.bitmaps import Counter
from fitsvc.language.truth import Truth
from fitsvc.language.typed import TOLD
from fitsvc.language.types import ListType, Mask, NumberType, Type, Value

Array = NDArray[np.float64] | NDArray[np.uint64] | NDArray[np.uint8]
Column = tuple[NDArray[np.float64], NDArray[np.float64]] | NDArray[np.uint64] | NDArray[np.uint8]
Presence = NDArray[np.bool_] | NDArray[np.uint8]
"""Whether something is in the question: yes or no, or truths."""
_COUNTED: Final = 8
"""Keys up to so many for each row are counted, which takes less than to sort the rows."""
_ODD: Final = (0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F)
"""Odd constants whose product spreads bits (the golden ratio's, and a prime of the xxHash family)."""


def arrays_of(column: Column) -> tuple[Array, ...]:
    """The arrays a column is made of."""
    return column if isinstance(column, tuple) else (column,)


def column_of(kind: Type, values: Iterable[Value | None]) -> Column:
    """One slot's values over all items; None is unknown."""
    unknown = kind.unknown
    filled = [unknown if value is None else value for value in values]
    if isinstance(kind, NumberType):
        ends = np.array(filled, np.float64).reshape(-1, 2)
        return np.ascontiguousarray(ends[:, 0]), np.ascontiguousarray(ends[:, 1])
    return np.array(filled, np.uint64) if isinstance(kind, ListType) else np.array(filled, np.uint8)


def value_at(kind: Type, column: Column, row: int) -> Value:
    """The value in one row of a column."""
    if isinstance(column, tuple):
        return (float(column[0][row]), float(column[1][row]))
    return Mask(int(column[row])) if isinstance(kind, ListType) else Truth(int(column[row]))


def known_at(kinds: Mapping[str, Type], columns: Mapping[str, Column], row: int) -> dict[str, Value]:
    """What is known in one row of some columns, by their names, and what was told of a figure by one end alone."""
    told = {name: value_at(kinds[name], column, row) for name, column in columns.items()}
    known = {name: value for name, value in told.items() if value != kinds[name].unknown}
    for name in tuple(known):
        kind, value = kinds[name], known[name]
        if isinstance(kind, NumberType) and isinstance(value, tuple) and (end := kind.one_end(value)) is not None:
            known[f"{name}{TOLD}"] = end
    return known


def told_in(kind: Type, column: Column) -> Column:
    """What was told of a figure: of bounds of which one end alone was told that end, else what is known of it."""
    if not isinstance(kind, NumberType) or not isinstance(column, tuple):
        return column
    (low, high), (least, most) = column, kind.unknown
    by_high, by_low = (low == least) & (high != most), (low != least) & (high == most)
    return np.where(by_low | ~by_high, low, high), np.where(by_high | ~by_low, high, low)


def whole(kind: Type, cells: Any, count: int) -> Column:
    """A value of so many rows, or one figure for all of them, as a column."""
    if isinstance(kind, NumberType):
        low, high = (np.ascontiguousarray(np.broadcast_to(end, count), np.float64) for end in cells)
        return low, high
    if isinstance(kind, ListType):
        return np.ascontiguousarray(np.broadcast_to(cells, count), np.uint64)
    return np.ascontiguousarray(np.broadcast_to(cells, count), np.uint8)


def known_rows(kind: Type, column: Column) -> NDArray[np.bool_]:
    """In which rows of a column anything is known."""
    unknown = kind.unknown if isinstance(kind.unknown, tuple) else (kind.unknown,)
    found: NDArray[np.bool_] = np.zeros(len(arrays_of(column)[0]), np.bool_)
    for array, end in zip(arrays_of(column), unknown, strict=True):
        found |= array != end
    return found


def taken(column: Column, rows: NDArray[np.intp] | slice) -> Column:
    """Some rows of a column."""
    return (column[0][rows], column[1][rows]) if isinstance(column, tuple) else column[rows]


def _bits(array: Array) -> NDArray[np.uint64]:
    if array.dtype == np.float64:
        return (array + 0.0).view(np.uint64)  # -0.0 and 0.0 are one value
    return array.astype(np.uint64)


class Groups(NamedTuple):
    """Rows folded into groups of equal ones: the first row of each group, and each row's group."""

    first: NDArray[np.intp]
    group: NDArray[np.intp]


def group_rows(columns: Sequence[Column], count: int) -> Groups:
    """Fold equal rows, by a hash that is checked: unequal rows never share a group."""
    bits = [_bits(array) for column in columns for array in arrays_of(column)]
    for seed in range(16):
        hashed = np.full(count, seed, np.uint64)
        for array in bits:
            hashed ^= array
            hashed *= np.uint64(_ODD[seed % 2])
            hashed ^= hashed >> np.uint64(29)
        _, first, group = np.unique(hashed, return_index=True, return_inverse=True)
        if all(np.array_equal(array[first][group], array) for array in bits):
            return Groups(first, group)
    raise AssertionError("sixteen hashes in a row collided")


def ranks(column: Column) -> NDArray[np.int64]:
    """Each row's place among the distinct values in order; a number is ordered by its low end, then its high one."""
    found = np.zeros(len(arrays_of(column)[0]), np.int64)
    for array in arrays_of(column):
        _, place = np.unique(array, return_inverse=True)
        found = _dense(found * (int(place.max(initial=0)) + 1) + place)
    return found


def _dense(keys: NDArray[np.int64]) -> NDArray[np.int64]:
    return _folded(keys).group.astype(np.int64)


def _folded(keys: NDArray[np.int64]) -> Groups:
    """Fold equal keys, none below nothing, in their order: by counting where that is less work than sorting."""
    most, count = int(keys.max(initial=0)) + 1, len(keys)
    if most > _COUNTED * count:
        _, first, group = np.unique(keys, return_index=True, return_inverse=True)
        return Groups(first, group)
    first_of = np.full(most, count)
    first_of[keys[::-1]] = np.arange(count)[::-1]  # of the rows of one key the one written last is the first
    there = first_of < count
    return Groups(first_of[there], (np.cumsum(there) - 1)[keys])


def order_rows(ranked: Sequence[NDArray[np.int64] | NDArray[np.int32]], count: int) -> Groups:
    """Fold rows equal in every rank; groups are numbered in the order of the ranks, the first rank first."""
    keys = np.zeros(count, np.int64)
    for rank in ranked:
        width = int(rank.max(initial=0)) + 1
        if int(keys.max(initial=0)) > (1 << 62) // width:
            keys = _dense(keys)
        keys = keys * width + rank
    return _folded(keys)


class Catalogue:
    """Items of the same subjects, folded into signatures: `columns` by slot, one row a signature, the commonest first.

    `present` tells by name whether a subject, or a fact that opens a topic, is in the question, as truths where that
    is not known of some item; `signature_of` is each item's row.
    """

    def __init__(
        self,
        subjects: frozenset[str],
        columns: Mapping[str, Column],
        present: Mapping[str, Presence],
        count: int,
    ) -> None:
        flags = {subject: bits.astype(np.uint8) for subject, bits in present.items()}
        groups = group_rows([*columns.values(), *flags.values()], count)
        sizes = np.bincount(groups.group, minlength=len(groups.first))
        # Commonest first, so that the high digits of the weights lie together; then in the items' order.
        order = np.lexsort((groups.first, -sizes))
        place = np.empty_like(order)
        place[order] = np.arange(len(order))
        first = groups.first[order]
        self.subjects, self.items, self.count = subjects, count, len(order)
        self.columns = {name: taken(column, first) for name, column in columns.items()}
        self.present = {subject: bits[first] for subject, bits in present.items()}
        self.weights = sizes[order].astype(np.int64)
        self.signature_of = place[groups.group].astype(np.uint32)
        self.counter = Counter(self.weights)

    @classmethod
    def folded(
        cls,
        subjects: frozenset[str],
        columns: Mapping[str, Column],
        present: Mapping[str, Presence],
        weights: NDArray[np.int64],
        signature_of: NDArray[np.uint32],
    ) -> "Catalogue":
        """A catalogue that was folded before, such as one in a file: its arrays are taken as they are."""
        made = cls.__new__(cls)
        made.subjects, made.items, made.count = subjects, len(signature_of), len(weights)
        made.columns, made.present = dict(columns), dict(present)
        made.weights, made.signature_of, made.counter = weights, signature_of, Counter(weights)
        return made

    def to_items(self, by_signature: NDArray[np.generic]) -> NDArray[np.generic]:
        """What holds of each signature, told of each item."""
        return by_signature[self.signature_of]


def columns_of(
    items: Sequence[Mapping[str, Value]], slots: Mapping[str, Type], progress: Callable[[str], None] | None = None
) -> dict[str, Column]:
    """The columns of some slots over items given one by one."""
    found: dict[str, Column] = {}
    for name, kind in slots.items():
        if progress:
            progress(name)
        found[name] = column_of(kind, [item.get(name) for item in items])
    return found
