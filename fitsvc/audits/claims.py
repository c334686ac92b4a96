"""What a catalogue claims: which items fit which rigs, told by rig or by vehicle (then of every rig of it)."""

import json
import re
from array import array
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fitsvc.audits.rigs import AuditRig
from fitsvc.audits.source import WIRE, name_in, read_chunks
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.loading.rows import quoted

_BETWEEN: Final = re.compile(r"[;|,\s]+")


class Claims(NamedTuple):
    """Claimed pairs, each once, in the order of items and within it of rigs; both by their places."""

    item: NDArray[np.int32]
    rig: NDArray[np.int32]

    def of(self, start: int, end: int) -> "Claims":
        """The claims about some items, told by their places among them."""
        low, high = np.searchsorted(self.item, (start, end))
        return Claims(np.asarray(self.item[low:high] - start, np.int32), self.rig[low:high])

    def among(self, rigs: range) -> "Claims":
        """The claims about some rigs, told by their places among them."""
        there = (self.rig >= rigs.start) & (self.rig < rigs.stop)
        return Claims(self.item[there], np.asarray(self.rig[there] - rigs.start, np.int32))


class ClaimReader:
    """Turns names of rigs and vehicles into places, and notes names that are neither."""

    def __init__(self, rigs: Sequence[AuditRig], file: str) -> None:
        self.file = file
        self._places: dict[str, list[int]] = {}
        for place, rig in enumerate(rigs):
            for name in dict.fromkeys((rig.key, rig.vehicle)):
                if name:
                    self._places.setdefault(name, []).append(place)
        self._count = len(rigs)
        self._pairs = array("q")

    def add(self, item: int, names: Iterable[str], line: int, title: str) -> Iterator[Problem]:
        """Take the claims about one item; yields what is wrong with them."""
        for name in names:
            places = self._places.get(name)
            if places is None:
                help = "it is the id of one of the rigs, or of a vehicle of theirs"
                yield Problem(
                    f"{quoted(name)} is neither a rig nor a vehicle", help, pointer=title, file=self.file, line=line
                )
                continue
            self._pairs.extend(item * self._count + place for place in places)

    def claims(self) -> Claims:
        """All claims, which the reader lets go of."""
        told = np.frombuffer(self._pairs, np.int64)
        # Sorted where they stand: there may be many more claims than items.
        told.sort()
        pairs = told[np.append(True, told[1:] != told[:-1])] if len(told) else told
        self._pairs, told = array("q"), pairs
        item = (pairs // self._count).astype(np.int32)
        return Claims(item, (pairs - item.astype(np.int64) * self._count).astype(np.int32))


def names_in(cell: str | None) -> list[str]:
    """The names in a cell of claims: parted by blanks, commas, semicolons or bars, or a JSON list of them."""
    if not cell:
        return []
    if cell.startswith(WIRE):
        listed = json.loads(cell.removeprefix(WIRE))
        return [str(name) for name in listed] if isinstance(listed, list) else [str(listed)]
    return [name for name in _BETWEEN.split(cell.strip()) if name]


def read_claims_file(path: Path, items: Mapping[str, int], reader: ClaimReader) -> list[Problem]:
    """Take the claims of a file of `sku` and `rig`; what is wrong with single lines is returned.

    ProblemsFound when the file has no such columns.
    """
    problems: list[Problem] = []
    for chunk in read_chunks(path, problems, {}, ("sku", "rig")):
        if not {"sku", "rig"} <= chunk.cells.keys():
            if not chunk.lines and chunk.cells.keys() == set():
                continue
            help = "a file of claims has the columns `sku` and `rig`"
            raise ProblemsFound([Problem("the file names no `sku` or no `rig`", help, file=str(path), line=1)])
        for line, sku, rig in zip(chunk.lines, chunk.cells["sku"], chunk.cells["rig"], strict=True):
            place = items.get(name_in(sku))
            if place is None:
                help = "it is the `sku` of a row of the catalogue that could be read"
                problems.append(
                    Problem(f"{quoted(sku or '')} is no item", help, pointer="sku", file=str(path), line=line)
                )
            else:
                problems += reader.add(place, names_in(rig), line, "rig")
    return problems
