"""What a catalogue claims: which items fit which rigs, told by rig or by vehicle (then of every rig of it).

A vehicle is told by its id or as suppliers name it, `2015-2020 Muckle long bed`.
"""

import json
import re
from array import array
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import chain
from pathlib import Path
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fitsvc.audits.chunks import WIRE, Chunk, covered_problem, name_in, shown
from fitsvc.audits.mapping import close_by
from fitsvc.audits.named_vehicles import EXCEPT, FROM, OURS, TO, VEHICLE, Meant, NamedVehicles
from fitsvc.audits.plain_rows import Cell
from fitsvc.audits.rigs import AuditRig
from fitsvc.audits.source import read_chunks
from fitsvc.caching import LruCache
from fitsvc.document import Json
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.loading.merged_cells import is_covered
from fitsvc.loading.rows import quoted
from fitsvc.rulebook.rules import Rulebook
from fitsvc.tongues import later, t

_BETWEEN: Final = re.compile(r"[;|,\s]+")
_APART: Final = re.compile(r"[;|\n]+")
_RIG: Final = "rig"
_SKU: Final = "sku"
Claimed = int | str
"""The item that a claim is about: the place of an accessory, or the number of what is none."""
_MOST_KEPT: Final = 10_000
"""Cells that are kept with what they name: a catalogue repeats them, row after row."""


_MOST_LIKE: Final = 3
"""Numbers that are told as likely meant."""
_LOST: Final = later(
    "write it as the catalogue does: one that differs in small letters or leading zeros, which spreadsheets take away, "
    "is not taken for it"
)
_OF_BALLS: Final = later("in the ball's own row `fits` names the mounts that it stands on, by their `sku`")


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


@dataclass(frozen=True, slots=True, kw_only=True)
class ClaimLine:
    """A claim as its line has it: the item's place, the line, its cells by title, and what it names.

    `unclear` says why it cannot be taken for one that holds, and `unstored` which of its vehicles no rig is of. The
    item's place is -1 where the catalogue has no such item, and where it is no accessory but `other`, by its number;
    `apart` is of a line of a file of claims.
    """

    item: int
    line: int
    cells: Mapping[str, str]
    rigs: tuple[int, ...]
    unclear: str = ""
    unstored: str = ""
    column: str = ""
    apart: bool = False
    other: str = ""


class ClaimReader:
    """Turns names of rigs and vehicles into places, and notes names that are neither.

    `of_ours` are the claims that are unclear for what is not stored of our own vehicles alone.
    """

    def __init__(
        self,
        rigs: Sequence[AuditRig],
        file: str,
        rulebook: Rulebook,
        tell: Callable[[ClaimLine], object] = lambda _: None,
    ) -> None:
        """`tell` is told of every claim as its line has it."""
        self.file, self._tell, self.apart = file, tell, False
        self._places: dict[str, list[int]] = {}
        for place, rig in enumerate(rigs):
            for name in dict.fromkeys((rig.key, rig.vehicle)):
                if name:
                    self._places.setdefault(name, []).append(place)
        self.named = NamedVehicles(rigs, rulebook)
        self._count = len(rigs)
        self._pairs = array("q")
        self._kept = LruCache[str, list[tuple[str, Meant]]](_MOST_KEPT)
        self.of_others: dict[str, set[int]] = {}
        self.balls: set[str] = set()
        self.untold = Counter[tuple[str, str]]()
        self.of_ours = 0

    def add(self, item: Claimed, cell: Cell, line: int, title: str, own: Mapping[str, str]) -> Iterator[Problem]:
        """Take the claims about one item in one cell of its row; yields what is wrong with them."""
        for said, meant in self._in_cell(cell or ""):
            yield from self.take(item, meant, line, title, {**own, title: said})

    def take(self, item: Claimed, meant: Meant, line: int, title: str, own: Mapping[str, str]) -> Iterator[Problem]:
        """Take one claim about one item; yields why it is unclear. What may be meant as well is not claimed."""
        if isinstance(item, int):
            self._pairs.extend(item * self._count + place for place in meant.rigs)
        else:
            self.of_others.setdefault(item, set()).update(meant.rigs)
        place, other = (item, "") if isinstance(item, int) else (-1, item)
        told = {"unclear": meant.problem, "unstored": meant.unstored, "column": title, "other": other}
        self._tell(ClaimLine(item=place, line=line, cells=own, rigs=meant.rigs, apart=self.apart, **told))
        self.untold.update(meant.untold)
        self.of_ours += meant.help == OURS
        if meant.problem:
            yield Problem(meant.problem, t(meant.help), pointer=title, file=self.file, line=line)

    def of_no_item(
        self, line: int, own: Mapping[str, str], sku: str, title: str, likely: Sequence[str] = ()
    ) -> Problem:
        """Tell a claim about an item that the catalogue has not, or a ball, and return what is wrong with it.

        What is `likely` meant is told, and not taken for it.
        """
        told = t("{what} is a ball, which fits mounts" if sku in self.balls else "{what} is no item", what=quoted(sku))
        if likely:
            listed = t("` or `").join(quoted(one)[1:-1] for one in likely)
            told = t("{what} is no item: is {likely} meant?", what=quoted(sku), likely=f"`{listed}`")
        self._tell(ClaimLine(item=-1, line=line, cells=own, rigs=(), unclear=told, column=title, apart=self.apart))
        help = t("it is the `sku` of a row of the catalogue that could be read")
        help = t(_LOST) if likely else t(_OF_BALLS) if sku in self.balls else help
        return Problem(told, help, pointer=title, file=self.file, line=line)

    def has_ids(self, cell: str) -> bool:
        """Whether a cell has the id of a rig or of a vehicle among what it names."""
        return any(name in self._places for name in names_in(cell))

    def _in_cell(self, cell: str) -> list[tuple[str, Meant]]:
        """What a cell names: all of its ids together, and each vehicle that is named otherwise."""
        found = self._kept.find(cell)
        return self._kept.get(cell, lambda: self._named_in(cell)) if found is None else found

    def _named_in(self, cell: str) -> list[tuple[str, Meant]]:
        if is_covered(cell):
            return [(shown(cell), _of_covered(cell))]
        if cell.startswith(WIRE) and not _lists_names(listed := json.loads(cell.removeprefix(WIRE))):
            said = json.dumps(listed, ensure_ascii=False)
            told = t("{what} is neither a rig nor a vehicle", what=quoted(said))
            return [(said, Meant(problem=told, help=t('write a name, or a list of them: `["rig_a", "rig_b"]`')))]
        names = names_in(cell)
        ids = [name for name in names if name in self._places]
        places = dict.fromkeys(place for name in ids for place in self._places[name])
        found = [("; ".join(ids), Meant(rigs=tuple(places)))] if ids else []
        if len(ids) < len(names):
            found += [(said, self._called(said)) for said in self._phrases(cell)]
        return found

    def _phrases(self, cell: str) -> Iterator[str]:
        """What a cell names otherwise than by ids; a name beside ids is one by itself."""
        listed = names_in(cell) if cell.startswith(WIRE) else _APART.split(cell)
        for phrase in filter(None, (one.strip() for one in listed)):
            words = names_in(phrase)
            known = [word for word in words if word in self._places]
            yield from [word for word in words if word not in self._places] if known else [phrase]

    def _called(self, said: str) -> Meant:
        """What a vehicle named in words is; of a single word that is known of none, that it is no id either."""
        found = self.named.meant({VEHICLE: said})
        if not found.rigs and not found.may and len(names_in(said)) == 1:
            help = t("it is the id of one of the rigs, or of a vehicle of theirs, or a vehicle's years, make and model")
            return Meant(problem=t("{what} is neither a rig nor a vehicle", what=quoted(said)), help=help)
        return found

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
    if not cell or is_covered(cell):
        return []
    if cell.startswith(WIRE):
        listed = json.loads(cell.removeprefix(WIRE))
        return [_text_of(name) for name in (listed if isinstance(listed, list) else [listed])]
    return [name for name in _BETWEEN.split(cell.strip()) if name]


def _of_covered(cell: str) -> Meant:
    """What a cell that a merged one covers comes to: nothing that is certain."""
    wrong = covered_problem(cell)
    return Meant(problem=wrong.message, help=wrong.help)


def _lists_names(listed: Json) -> bool:
    """Whether a value is a name, or a list of them; a figure may be one too."""
    each = listed if isinstance(listed, list) else [listed]
    return all(isinstance(one, str | int | float) and not isinstance(one, bool) for one in each)


def _text_of(name: Json) -> str:
    return name if isinstance(name, str) else json.dumps(name, ensure_ascii=False)


def read_ball_claims(
    told: Iterable[tuple[str, str, int]], items: Mapping[str, int], file: str, title: str
) -> tuple[dict[str, list[str]], list[Problem]]:
    """The mounts that each ball is claimed to stand on, and what is wrong with the names of others.

    `told` are a ball, the cell of its claims and the line, `items` the accessories of the whole catalogue.
    """
    found: dict[str, list[str]] = {}
    problems: list[Problem] = []
    for sku, cell, line in told:
        said = names_in(cell) if cell.startswith(WIRE) else [one.strip() for one in _APART.split(cell)]
        names = [name for one in said for name in ([one] if one in items else names_in(one))]
        problems += [replace(covered_problem(cell, title), file=file, line=line)] if is_covered(cell) else []
        found[sku] = sorted({name for name in names if name in items})
        problems += [_no_accessory(name, title, file, line) for name in dict.fromkeys(names) if name not in items]
    return found, problems


def _no_accessory(name: str, title: str, file: str, line: int) -> Problem:
    """A name that a ball is claimed for, which is no accessory of the catalogue."""
    told = t("{what} is no accessory of the catalogue", what=quoted(name))
    return Problem(told, t(_OF_BALLS), pointer=title, file=file, line=line)


class _ClaimColumns:
    """What the columns of a file of claims are: by their names, whatever their letters' case."""

    def __init__(self, titles: Sequence[str], named: NamedVehicles) -> None:
        known = {name: name for name in (_SKU, _RIG, *named.columns)} | {"years": "year", "but": "except"}
        found = {title: known.get(title.strip().casefold(), "") for title in titles}
        self.sku = next((title for title, name in found.items() if name == _SKU), "")
        self.rig = next((title for title, name in found.items() if name == _RIG), "")
        order = {FROM: 0, TO: 1}
        naming = [(order.get(name, 2), name, title) for title, name in found.items() if name not in ("", _SKU, _RIG)]
        self.vehicle = {name: title for _, name, title in sorted(naming)}
        naming_one = (name for name in named.columns if name in self.vehicle and name not in (EXCEPT, FROM, TO))
        self.called = next((self.vehicle[name] for name in naming_one), "")
        left = [title for title, name in known.items() if name not in found.values()]
        near = close_by((title for title, name in found.items() if not name), left)
        self.passed_over = {title: near.get(title, "") for title, name in found.items() if not name}


def read_claims_file(
    path: Path, items: Mapping[str, int], reader: ClaimReader, passed_over: dict[str, str]
) -> Iterator[Problem]:
    """Take the claims of a file, of `sku` and `rig`, or a vehicle's names in columns of their own.

    Yields what is wrong with single lines; columns that say nothing are added to `passed_over`, each with what it was
    probably to be. ProblemsFound when the file has no such columns.
    """
    problems: list[Problem] = []
    alike = _Alike([items, reader.of_others])
    for chunk in read_chunks(path, problems, {}):
        yield from _taken(problems)
        columns = _ClaimColumns(list(chunk.cells), reader.named)
        if not columns.sku or not (columns.rig or columns.vehicle):
            if not chunk.lines and not chunk.cells:
                continue
            listed = ", ".join(f"`{name}`" for name in reader.named.columns)
            help = f"a file of claims has the columns `sku` and `rig`, or instead of `rig` some of {listed}"
            raise ProblemsFound([Problem("the file names no `sku` or no `rig`", help, file=str(path), line=1)])
        passed_over |= columns.passed_over
        for row, line in enumerate(chunk.lines):
            yield from _claim(chunk, row, line, columns, items, reader, alike)
    yield from _taken(problems)


def _taken(problems: list[Problem]) -> list[Problem]:
    found = list(problems)
    problems.clear()
    return found


class _Alike:
    """The numbers of a catalogue by what is left of them without capitals and leading zeros."""

    def __init__(self, numbers: Sequence[Iterable[str]]) -> None:
        self._numbers = numbers
        self._by_rest: dict[str, tuple[str, ...]] | None = None

    def to(self, sku: str) -> Sequence[str]:
        """The first numbers that are like another but for these; nothing where there are none."""
        if self._by_rest is None:  # only where some number is not there: it is as large as the catalogue
            self._by_rest = {}
            for number in chain.from_iterable(self._numbers):
                others = self._by_rest.get(rest := _rest(number), ())
                self._by_rest[rest] = (*others, number)[:_MOST_LIKE]
        return self._by_rest.get(_rest(sku), ())


def _rest(sku: str) -> str:
    return sku.casefold().lstrip("0")


def _claim(
    chunk: Chunk,
    row: int,
    line: int,
    columns: _ClaimColumns,
    items: Mapping[str, int],
    reader: ClaimReader,
    alike: _Alike,
) -> Iterator[Problem]:
    """Take one line of a file of claims."""
    own = {title: name_in(cells[row]) for title, cells in chunk.cells.items()}
    sku = own[columns.sku]
    place = items.get(sku)
    if place is None and sku not in reader.of_others:
        yield reader.of_no_item(line, own, sku, columns.sku, () if sku in reader.balls else alike.to(sku))
        return
    item: Claimed = sku if place is None else place
    for title in filter(None, (columns.rig, *columns.vehicle.values())):
        if is_covered(cell := chunk.cells[title][row]):
            yield from reader.take(item, _of_covered(cell or ""), line, title, own)
            return
    rig = chunk.cells[columns.rig][row] if columns.rig else None
    cells = {name: own[title] for name, title in columns.vehicle.items() if own[title].strip()}
    has_ids = reader.has_ids(cells.get(VEHICLE, ""))
    if bool(rig) != has_ids and len(cells) == has_ids:
        title = columns.rig if rig else columns.vehicle[VEHICLE]
        yield from reader.add(item, chunk.cells[title][row], line, title, own)
        return
    twice = Meant(problem=t("a rig and a vehicle's names are told at once"), help=t("keep one of them"))
    meant = twice if rig or has_ids else reader.named.meant(cells)
    told = columns.vehicle.get(meant.column) or columns.rig or columns.called
    yield from reader.take(item, meant, line, told, own)
