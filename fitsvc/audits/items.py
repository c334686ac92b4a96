"""Some items of a catalogue that is audited, as typed columns, and what came of reading it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from hashlib import sha256
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fitsvc.engine.columns.signatures import Column, arrays_of, known_at, known_rows, taken
from fitsvc.language.types import Type, Value

Flags = dict[str, NDArray[np.bool_]]
"""By slot of which items something holds."""
_SPREAD: Final = np.uint64(0x9E3779B97F4A7C15)


class Items(NamedTuple):
    """Some items: their SKUs, their lines in the file, and their typed columns by slot.

    `unread` tells by slot of which items something is said that could not be read, of the slots where that is so: such
    a fact is not known, nor whether the item has it. `named` tells so of which items a fact is told by what leaves all
    of it open, such as a bound that nothing can be below: the item has it, and no more is known.
    """

    skus: list[str]
    lines: NDArray[np.int64]
    columns: dict[str, Column]
    unread: Flags
    named: Flags

    def part(self, rows: slice) -> "Items":
        """Some of them."""
        columns = {name: taken(column, rows) for name, column in self.columns.items()}
        unread, named = ({name: one[rows] for name, one in flags.items()} for flags in (self.unread, self.named))
        return Items(self.skus[rows], self.lines[rows], columns, unread, named)

    def facts_of(self, place: int, slots: Mapping[str, Type]) -> dict[str, Value]:
        """The facts that are told of one item by their slots, as a question has them: those told and open, too."""
        told = known_at(slots, self.columns, place)
        return told | {name: slots[name].unknown for name, flags in self.named.items() if flags[place]}

    def unread_of(self, place: int) -> set[str]:
        """The facts of which something is said of one item that could not be read."""
        return {name for name, flags in self.unread.items() if flags[place]}


@dataclass(slots=True, kw_only=True)
class ReadReport:
    """What came of reading a catalogue; `columns` says what each column that was read is, by its title.

    `sheets_left` are the sheets of a workbook that are not read, each with its rows. `ignored` are those of the columns
    passed over of which the mapping says to: what they are somebody may still tell.
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
    ignored: list[str] = field(default_factory=list)
    sheets_left: dict[str, int] = field(default_factory=dict)
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
    for word, every in (("unread", items.unread), ("named", items.named)):
        for name, flags in every.items():
            found[flags] += np.uint64(int.from_bytes(sha256(f"{word} {name}".encode()).digest()[:8], "little"))
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
    unread, named = (
        _joined(blocks, flags) for flags in ([one.unread for one in blocks], [one.named for one in blocks])
    )
    skus = [sku for block in blocks for sku in block.skus]
    return Items(skus, np.concatenate([block.lines for block in blocks]), columns, unread, named)


def _joined(blocks: Sequence[Items], flags: Sequence[Flags]) -> Flags:
    """Flags of several blocks, one after the other, of all slots that some of them has flags of."""
    return {
        name: np.concatenate(
            [own.get(name, np.zeros(len(block.skus), np.bool_)) for block, own in zip(blocks, flags, strict=True)]
        )
        for name in dict.fromkeys(name for own in flags for name in own)
    }
