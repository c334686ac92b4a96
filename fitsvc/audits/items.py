"""Some items of a catalogue that is audited, as typed columns, and what came of reading it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from hashlib import sha256
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fitsvc.engine.columns.signatures import Column, arrays_of, known_rows, taken
from fitsvc.language.types import Type

_SPREAD: Final = np.uint64(0x9E3779B97F4A7C15)


class Items(NamedTuple):
    """Some items: their SKUs, their lines in the file, and their typed columns by slot.

    `unread` tells by slot of which items something is said that could not be read, of the slots where that is so: such
    a fact is not known, nor whether the item has it.
    """

    skus: list[str]
    lines: NDArray[np.int64]
    columns: dict[str, Column]
    unread: dict[str, NDArray[np.bool_]]

    def part(self, rows: slice) -> "Items":
        """Some of them."""
        columns = {name: taken(column, rows) for name, column in self.columns.items()}
        return Items(self.skus[rows], self.lines[rows], columns, {name: f[rows] for name, f in self.unread.items()})


@dataclass(slots=True, kw_only=True)
class ReadReport:
    """What came of reading a catalogue; `columns` says what each column that was read is, by its title.

    `file` is what the catalogue is called, `claims_file` the file of claims, in which `bad_claims_apart` stand.
    `untold` are the vehicles of which too little is stored to tell whether they are claimed, with what that is and of
    how many claims; for nothing else `claims_of_ours` are unclear.
    """

    blocks: int = 0
    items: int = 0
    rows: int = 0
    bad_rows: int = 0
    bad_cells: int = 0
    rows_of_bad_cells: int = 0
    problems: int = 0
    bad_claims: int = 0
    file: str = ""
    claims_file: str = ""
    bad_claims_apart: int = 0
    claims_of_ours: int = 0
    claims: int = 0
    other_subjects: dict[str, int] = field(default_factory=dict)
    claims_told: bool = False
    columns: dict[str, str] = field(default_factory=dict)
    passed_over: list[str] = field(default_factory=list)
    meant: dict[str, str] = field(default_factory=dict)
    mapped_in_vain: list[str] = field(default_factory=list)
    claims_passed_over: list[str] = field(default_factory=list)
    claims_meant: dict[str, str] = field(default_factory=dict)
    claim_titles: list[str] = field(default_factory=list)
    untold: list[tuple[str, str, int]] = field(default_factory=list)


def digests(items: Items, slots: Mapping[str, Type]) -> NDArray[np.uint64]:
    """A digest of the known facts of each item, whatever the order of the facts; what is not told adds nothing."""
    count, columns = len(items.skus), items.columns
    found = np.zeros(count, np.uint64)
    for name, flags in items.unread.items():
        found[flags] += np.uint64(int.from_bytes(sha256(f"unread {name}".encode()).digest()[:8], "little"))
    for name in sorted(slots.keys() & columns.keys()):
        known = known_rows(slots[name], columns[name])
        mixed = np.full(count, int.from_bytes(sha256(name.encode()).digest()[:8], "little"), np.uint64)
        for array in arrays_of(columns[name]):
            bits = (array + 0.0).view(np.uint64) if array.dtype == np.float64 else array.astype(np.uint64)
            mixed = (mixed ^ bits) * _SPREAD
            mixed ^= mixed >> np.uint64(29)
        mixed *= _SPREAD
        found[known] += mixed[known]
    return found


def joined(blocks: Sequence[Items]) -> Items:
    """Items of several blocks, one after the other."""
    names = blocks[0].columns
    columns: dict[str, Column] = {}
    for name in names:
        parts = [arrays_of(block.columns[name]) for block in blocks]
        ends = [np.concatenate(arrays) for arrays in zip(*parts, strict=True)]
        columns[name] = (ends[0], ends[1]) if len(ends) == 2 else ends[0]
    unread = {
        name: np.concatenate([block.unread.get(name, np.zeros(len(block.skus), np.bool_)) for block in blocks])
        for name in dict.fromkeys(name for block in blocks for name in block.unread)
    }
    skus = [sku for block in blocks for sku in block.skus]
    return Items(skus, np.concatenate([block.lines for block in blocks]), columns, unread)
