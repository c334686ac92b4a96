"""Accessories folded for judging: what one rig comes to with each of many, kept for the rigs asked about lately."""

from bisect import bisect_right
from collections import Counter
from collections.abc import Collection, Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache
from typing import Any, Final, Literal, overload

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from fitsvc.answers.searching import Found
from fitsvc.answers.shelf import Item
from fitsvc.caching import LruCache
from fitsvc.engine.columns.bitmaps import set_at
from fitsvc.engine.columns.kernel import Columns, Judged
from fitsvc.engine.columns.signatures import arrays_of
from fitsvc.engine.verdict import Verdict
from fitsvc.facts import Case, FactReader
from fitsvc.language.intervals import TOLERANCE
from fitsvc.language.types import Mask, Value
from fitsvc.rulebook.outcomes import OUTCOMES
from fitsvc.selection.folding import Tables, array_of, catalogue_of, label_key, present_of, read_facts
from fitsvc.selection.results import SegmentResults, deciding, ranks, tally
from fitsvc.selection.rows import SUBJECT, StoredAccessory

Sort = Literal["sku", "label", "left"]
"""What items of one outcome are ordered by: their SKU, their label, or what is left to do with them on the rig."""
Flags = NDArray[np.bool_]
Facts = tuple[tuple[str, Value], ...]
"""Facts by slot, and what they are to be."""
_MOST_RIGS: Final = 32
"""Rigs, and filters, whose results are kept: what a rig comes to with each of a million items is some megabytes."""
_MOST_SHOWN: Final = 5_000
"""Rows of a segment that are kept as they stand on pages: a hundred full ones, of about half a kilobyte a row."""
_MOST_READ: Final = 10_000
"""Items of a segment whose facts are kept as read: those of a hundred full pages, of about a kilobyte each."""
_FITS: Final = OUTCOMES.index("conditional")
"""The worst outcome with which an item fits a rig."""
_RANK: Final = 40
"""Bits of a row's number below its rank."""
_STRIDE: Final = 1 << 15
"""Items looked at in one go on the way to the first few of a kind."""


def case_of(rig: Case, item: Item, reader: FactReader) -> Case:
    """The case of a rig and an item, as a question about both would have it."""
    here = rig.of_items.get(item.sku, {})
    values, texts = {**rig.facts, **item.values, **here}, {**rig.texts, **item.texts}
    return Case(values, rig.present | present_of(item, reader) | reader.named(here), rig.adapters, texts)


def maybe_of(kind: Value | None, kinds: int) -> bool:
    """Whether a kind may be one of some, given as a mask; one that is not known may be any."""
    return not isinstance(kind, int) or not kind or bool(kind & kinds)


def rig_key(rig: Case) -> Hashable:
    """What tells rigs apart in judging."""
    adapters = tuple(frozenset(adapter.items()) for adapter in rig.adapters)
    of_items = frozenset((sku, frozenset(facts.items())) for sku, facts in rig.of_items.items())
    return frozenset(rig.facts.items()), rig.present, adapters, of_items


class Strings(Sequence[str]):
    """Texts of a table, each made when it is asked for, of the table's own memory."""

    def __init__(self, table: pa.Table, name: str) -> None:
        column = table[name]
        texts = column.chunk(0) if column.num_chunks == 1 else pa.concat_arrays(column.chunks)
        _, ends, text = texts.buffers()
        # Searching looks at some twenty for each SKU: to slice bytes takes a third of what Arrow's own texts take.
        self._ends = memoryview(ends).cast("q")[texts.offset : texts.offset + len(texts) + 1]
        self._text = memoryview(b"" if text is None else text)

    def __len__(self) -> int:
        return len(self._ends) - 1

    @overload
    def __getitem__(self, row: int) -> str: ...
    @overload
    def __getitem__(self, row: slice) -> list[str]: ...
    def __getitem__(self, row: int | slice) -> str | list[str]:
        if isinstance(row, slice):
            return [self[one] for one in range(*row.indices(len(self)))]
        return str(self._text[self._ends[row] : self._ends[row + 1]], "utf-8")


def has(item: Item, facts: Facts) -> bool:
    """Whether an item has facts that are surely these: a figure, or one within bounds."""
    for name, value in facts:
        known = item.values.get(name)
        if isinstance(value, tuple) and isinstance(known, tuple):
            if known[0] < value[0] - TOLERANCE or known[1] > value[1] + TOLERANCE:
                return False
        elif known != value:
            return False
    return True


class _FactsOfRows:
    """Reads the different facts of a table, by their numbers."""

    def __init__(self, reader: FactReader, facts: Strings) -> None:
        self._reader, self._facts = reader, facts

    def __call__(self, number: int) -> Item | None:
        return read_facts(self._reader, self._facts[number])


class Segment:
    """Some items in the order of their SKUs; never changed."""

    def __init__(self, columns: Columns, reader: FactReader, tables: Tables) -> None:
        self._columns, self.tables = columns, tables
        self.skus, self.labels = Strings(tables.items, "sku"), Strings(tables.items, "label")
        self._facts_of, self.marks = array_of(tables.items, "facts"), array_of(tables.items, "mark")
        self._by_label = array_of(tables.items, "by_label")
        self.catalogue = catalogue_of(columns, tables)
        # Of nothing that holds this, so that it and all of its memory go as soon as no one else holds it.
        self._read = lru_cache(_MOST_READ)(_FactsOfRows(reader, Strings(tables.facts, "json")))
        self._judged = LruCache[Hashable, SegmentResults](_MOST_RIGS)
        self._left = LruCache[Hashable, NDArray[np.uint8]](_MOST_RIGS)
        self.matching = LruCache[Hashable, Flags](_MOST_RIGS)
        self.shown = LruCache[Hashable, Any](_MOST_SHOWN)

    def __len__(self) -> int:
        return len(self.skus)

    def prepare(self) -> None:
        """Make ready what judging any rig without adapters needs."""
        self._columns.index(self.catalogue, 0)

    def lay_out(self, *, adapted: bool = False) -> None:
        """Make ready what judging by cases needs: what is open of the items with each of its values, as a rig of which
        nothing is known has it, by itself and with all that a question may bring; or what a plan with adapters needs.
        """
        adapters: tuple[Mapping[str, Value], ...] = ({},) if adapted else ()
        subjects = self._columns.engine.rulebook.vocabulary.subjects.items()
        there = frozenset(name for name, subject in subjects if subject.presence == "always")
        for present in (there, there | {name for name, _ in subjects} - {SUBJECT, "adapter"}):
            self._columns.judge(self.catalogue, Case({}, present, adapters, opened=adapted)).bitmaps_among()
        self.let_go(len(adapters))

    def let_go(self, adapters: int = 0) -> None:
        """Keep nothing that only made this ready; nobody may ask meanwhile."""
        self._columns.index(self.catalogue, adapters).let_go()

    def item(self, row: int) -> Item:
        """An item."""
        read = self._read(int(self._facts_of[row]))
        assert read is not None
        return Item(SUBJECT, self.skus[row], self.labels[row], read.values, read.texts)

    def rows(self, places: NDArray[np.intp]) -> Iterator[StoredAccessory]:
        """Some items as they are stored."""
        some = self.tables.items.take(pa.array(places))
        facts = self.tables.facts["json"].take(some["facts"])
        told = (column.to_pylist() for column in (some["sku"], some["label"], facts, some["mark"]))
        return map(StoredAccessory, *told)

    @cached_property
    def kinds(self) -> tuple[list[Value | None], NDArray[np.intp]]:
        """The distinct kinds, and each item's among them."""
        kinds, number = np.unique(array_of(self.tables.facts, "kind"), return_inverse=True)
        return [Mask(int(kind)) or None for kind in kinds], number[self._facts_of]

    def containing(self, pattern: str) -> Flags:
        """Which items have a pattern in their label or SKU, as they are searched."""
        return np.asarray(pc.match_substring_regex(self.tables.items["searched"], pattern).to_numpy(), np.bool_)

    def being(self, facts: Facts) -> Flags:
        """Which items have facts that are surely these, as `has` tells it; a fact that no rule reads is none's."""
        found = np.ones(self.catalogue.count, np.bool_)
        for name, value in facts:
            arrays = arrays_of(self.catalogue.columns[name])
            if isinstance(value, tuple):
                low, high = arrays
                found &= (low >= value[0] - TOLERANCE) & (high <= value[1] + TOLERANCE)
            else:
                found &= arrays[0] == value
        return found[self.catalogue.signature_of]

    def called(self, skus: Collection[str]) -> Flags:
        """Which items go by one of some SKUs."""
        found = np.zeros(len(self), np.bool_)
        found[[row for sku in skus if (row := self.find(sku)) is not None]] = True
        return found

    def find(self, sku: str) -> int | None:
        """The row of a SKU."""
        row = bisect_right(self.skus, sku) - 1
        return row if row >= 0 and self.skus[row] == sku else None

    def first(
        self, told: SegmentResults, place: int, passing: Flags, sort: Sort, after: tuple[str, str] | None, most: int
    ) -> list[int]:
        """The first rows of an outcome in an order, of those that pass and are beyond a key."""
        found, by_label = list[int](), sort == "label"
        start = 0
        if after is not None:
            if by_label:
                start = bisect_right(range(len(self)), after, key=self._label_key)
            else:
                start = bisect_right(self.skus, after[1])
        while start < len(self) and len(found) < most:
            some = self._by_label[start : start + _STRIDE] if by_label else slice(start, start + _STRIDE)
            hits = np.flatnonzero(passing[some] & (self.outcomes(told, some) == place))[: most - len(found)]
            found += (some[hits] if not isinstance(some, slice) else hits + start).tolist()
            start += _STRIDE
        return found

    def least(
        self,
        told: SegmentResults,
        left: NDArray[np.uint8],
        place: int,
        passing: Flags,
        after: tuple[int, str] | None,
        most: int,
    ) -> list[tuple[int, int]]:
        """The first rows of an outcome by what is left to do and SKU, beyond a rank and SKU, with their ranks."""
        rows = np.flatnonzero(passing & (told.outcomes == place)[self.catalogue.signature_of])
        order = (left[self.catalogue.signature_of[rows]].astype(np.int64) << _RANK) + rows
        if after is not None:
            order = order[order >= (after[0] << _RANK) + bisect_right(self.skus, after[1])]
        if len(order) > most:
            order = np.partition(order, most)[:most]
        return [(int(one & ((1 << _RANK) - 1)), int(one >> _RANK)) for one in np.sort(order)]

    def left(self, rig: Case, key: Hashable) -> NDArray[np.uint8]:
        """How much a rig leaves to do with each signature, within its outcome (see `Verdict.left_to_do`)."""
        return self._left.get(key, lambda: self._ranked(rig, key))

    def _ranked(self, rig: Case, key: Hashable) -> NDArray[np.uint8]:
        judged = self._columns.judge(self.catalogue, rig)
        self._judged.get(key, lambda: self._told(judged))  # judging is what takes the time, and both are asked for
        return ranks(judged)

    def differing(self, one: SegmentResults, other: SegmentResults, passing: Flags) -> NDArray[np.intp]:
        """The rows, of those that pass, with which two rigs come to different outcomes."""
        return np.flatnonzero((one.outcomes != other.outcomes)[self.catalogue.signature_of] & passing)

    def fitting(self, one: SegmentResults, other: SegmentResults, passing: Flags) -> NDArray[np.intp]:
        """The rows, of those that pass, that fit two rigs alike."""
        alike = (one.outcomes == other.outcomes) & (one.outcomes <= _FITS)
        return np.flatnonzero(alike[self.catalogue.signature_of] & passing)

    def maybe_of(self, kinds: int) -> Flags:
        """Which items may be of one of some kinds, given as a mask."""
        own, number = self.kinds
        return np.array([maybe_of(kind, kinds) for kind in own], np.bool_)[number]

    def outcomes(self, told: SegmentResults, some: NDArray[Any] | slice | list[int]) -> NDArray[np.uint8]:
        """The places of the outcomes of some items."""
        return told.outcomes[self.catalogue.signature_of[some]]

    def _label_key(self, place: int) -> tuple[str, str]:
        row = int(self._by_label[place])
        return label_key(self.labels[row]), self.skus[row]

    def judge(self, rig: Case, key: Hashable) -> SegmentResults:
        """What a rig comes to with each item."""
        return self._judged.get(key, lambda: self._told(self._columns.judge(self.catalogue, rig)))

    def _told(self, judged: Judged) -> SegmentResults:
        outcomes, decided = judged.outcome(), list(deciding(judged))
        names, kinds = self.kinds
        if f"{SUBJECT}.kind" in self.catalogue.columns:
            by_kind = tally(self._kind_of_signature, outcomes, self.catalogue.weights)
        else:
            by_kind = tally(kinds, outcomes[self.catalogue.signature_of])
        places = np.zeros(len(OUTCOMES), np.int64)
        for (_, place), count in by_kind.items():
            places[place] += count
        named = Counter({(names[kind], place): count for (kind, place), count in by_kind.items()})
        by_code: Counter[tuple[int, int]] = Counter()
        for one in decided:  # a caution may decide twice: where it fails, and where it is open
            by_code[one.number, one.place] += self.catalogue.counter.of(one.where)
        return SegmentResults(outcomes, decided, places, named, by_code)

    @cached_property
    def _kind_of_signature(self) -> NDArray[np.intp]:
        """The kind of each signature's items: they are all of one where rules read it."""
        found = np.zeros(self.catalogue.count, np.intp)
        found[self.catalogue.signature_of] = self.kinds[1]
        return found

    def counts(
        self, told: SegmentResults, gone: NDArray[np.intp]
    ) -> tuple[Counter[tuple[Value | None, int]], Counter[tuple[int, int]]]:
        """The counts of what a rig comes to with the items: those of all without the few that are gone."""
        of_kind, of_code = Counter(told.kinds), Counter(told.by_code)
        if len(gone):
            names, kinds = self.kinds
            for (kind, place), count in tally(kinds[gone], self.outcomes(told, gone)).items():
                of_kind[names[kind], place] -= count
            signatures = self.catalogue.signature_of[gone]
            for one in told.decided:
                of_code[one.number, one.place] -= int(set_at(one.where, signatures).sum())
        return +of_kind, +of_code


@dataclass(frozen=True, slots=True)
class LiveSegment:
    """A segment without those of its items that have changed or gone since."""

    segment: Segment
    alive: Flags
    gone: NDArray[np.intp]

    @property
    def left(self) -> int:
        """How many items are left."""
        return len(self.alive) - len(self.gone)

    def without(self, rows: Sequence[int]) -> "LiveSegment":
        """The part without some more of its items."""
        alive = self.alive.copy()
        alive[list(rows)] = False
        return replace(self, alive=alive, gone=np.concatenate([self.gone, np.array(rows, np.intp)]))

    def places(self, told: SegmentResults) -> NDArray[np.int64]:
        """How many of the items left come to each outcome, by its place."""
        return told.places - np.bincount(self.segment.outcomes(told, self.gone), minlength=len(BEST_FIRST))

    def rows(self) -> Iterator[StoredAccessory]:
        """The items that are left."""
        return self.segment.rows(np.flatnonzero(self.alive))


def whole(segment: Segment) -> LiveSegment:
    """A segment with all of its items."""
    return LiveSegment(segment, np.ones(len(segment), np.bool_), np.zeros(0, np.intp))


def _of_rigs() -> LruCache[Hashable, Any]:
    return LruCache(_MOST_RIGS)


def _of_texts() -> LruCache[str, Found]:
    return LruCache(_MOST_RIGS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Snapshot:
    """The accessories of one revision of the catalogue: folded ones in parts, and the latest changed as they are.

    `unreadable` is how many have facts that cannot be read by the vocabulary: they are in none of the rest.
    """

    revision: str
    parts: tuple[LiveSegment, ...]
    loose: tuple[Item, ...]
    unreadable: int
    counted: LruCache[Hashable, Any] = field(default_factory=_of_rigs)
    judged: LruCache[Hashable, list[Verdict]] = field(default_factory=_of_rigs)
    matched: LruCache[Hashable, list[NDArray[np.int64]]] = field(default_factory=_of_rigs)
    found: LruCache[str, Found] = field(default_factory=_of_texts)
    parted: LruCache[Hashable, "Snapshot"] = field(default_factory=_of_rigs)

    def apart(self, skus: Collection[str]) -> "Snapshot":
        """The same with the items under some SKUs held loose: those of which a rig knows more than their columns."""
        return self.parted.get(frozenset(skus), lambda: self._apart(sorted(skus))) if skus else self

    def _apart(self, skus: Sequence[str]) -> "Snapshot":
        parts, loose = list[LiveSegment](), list(self.loose)
        for part in self.parts:
            rows = [row for sku in skus if (row := part.segment.find(sku)) is not None and part.alive[row]]
            loose += map(part.segment.item, rows)
            parts.append(part.without(rows) if rows else part)
        return Snapshot(revision=self.revision, parts=tuple(parts), loose=tuple(loose), unreadable=self.unreadable)

    def item(self, sku: str) -> Item | None:
        """The item under a SKU, if it is held and can be judged."""
        for part in self.parts:
            if (row := part.segment.find(sku)) is not None and part.alive[row]:
                return part.segment.item(row)
        return next((item for item in self.loose if item.sku == sku), None)

    @property
    def items(self) -> int:
        """How many can be judged."""
        return sum(part.left for part in self.parts) + len(self.loose)


BEST_FIRST: Final = OUTCOMES
"""The order of outcomes on a page."""
