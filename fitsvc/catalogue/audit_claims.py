"""What a catalogue claims: which items fit which rigs, told by rig or by vehicle (then of every rig of it)."""

import json
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fitsvc.catalogue.audit_rigs import AuditRig
from fitsvc.catalogue.audit_source import WIRE, name_in, read_chunks
from fitsvc.catalogue.rows import quoted
from fitsvc.language.problems import Problem, ProblemsFound

_BETWEEN: Final = re.compile(r"[;|,\s]+")


class Claims(NamedTuple):
    """Claimed pairs, each once, in the order of items and within it of rigs; both by their places."""

    item: NDArray[np.int64]
    rig: NDArray[np.int64]

    def of(self, start: int, end: int) -> "Claims":
        """The claims about some items, told by their places among them."""
        low, high = np.searchsorted(self.item, (start, end))
        return Claims(self.item[low:high] - start, self.rig[low:high])

    def among(self, rigs: range) -> "Claims":
        """The claims about some rigs, told by their places among them."""
        there = (self.rig >= rigs.start) & (self.rig < rigs.stop)
        return Claims(self.item[there], np.asarray(self.rig[there] - rigs.start))


class ClaimReader:
    """Turns names of rigs and vehicles into places, and notes names that are neither."""

    def __init__(self, rigs: Sequence[AuditRig], file: str) -> None:
        self.file = file
        self._places: dict[str, list[int]] = {}
        for place, rig in enumerate(rigs):
            for name in dict.fromkeys((rig.key, rig.vehicle)):
                if name:
                    self._places.setdefault(name, []).append(place)
        self._items: list[int] = []
        self._rigs: list[int] = []

    def add(self, item: int, names: Iterable[str], line: int, title: str) -> Iterator[Problem]:
        """Take the claims about one item; yields what is wrong with them."""
        for name in names:
            places = self._places.get(name)
            if places is None:
                help = "it is the id of one of the rigs, or of a vehicle of theirs"
                yield Problem(f"{quoted(name)} is neither a rig nor a vehicle", help, pointer=title, file=self.file,
                              line=line)  # fmt: skip
                continue
            self._items += [item] * len(places)
            self._rigs += places

    def claims(self) -> Claims:
        """All claims."""
        pairs = np.unique(np.array([self._items, self._rigs], np.int64).reshape(2, -1), axis=1)
        return Claims(np.ascontiguousarray(pairs[0]), np.ascontiguousarray(pairs[1]))


def names_in(cell: str | None) -> list[str]:
    """The names in a cell of claims: parted by blanks, commas, semicolons or bars, or a JSON list of them."""
    if not cell:
        return []
    if cell.startswith(WIRE):
        listed = json.loads(cell.removeprefix(WIRE))
        return [str(name) for name in listed] if isinstance(listed, list) else [str(listed)]
    return [name for name in _BETWEEN.split(cell.strip()) if name]


def read_claims_file(path: Path, items: Mapping[str, int], reader: ClaimReader) -> list[Problem]:
    """Take the claims of a file of `sku` and `rig`; what is wrong with single lines is returned."""
    problems: list[Problem] = []
    for chunk in read_chunks(path, problems, {}):
        if not {"sku", "rig"} <= chunk.cells.keys():
            if not chunk.lines and chunk.cells.keys() == set():
                continue
            help = "a file of claims has the columns `sku` and `rig`"
            raise ProblemsFound([Problem("the file names no `sku` or no `rig`", help, file=str(path), line=1)])
        for line, sku, rig in zip(chunk.lines, chunk.cells["sku"], chunk.cells["rig"], strict=True):
            place = items.get(name_in(sku))
            if place is None:
                help = "it is the `sku` of a row of the catalogue that could be read"
                problems.append(Problem(f"{quoted(sku or '')} is no item", help, pointer="sku", file=str(path),
                                        line=line))  # fmt: skip
            else:
                problems += reader.add(place, names_in(rig), line, "rig")
    return problems
