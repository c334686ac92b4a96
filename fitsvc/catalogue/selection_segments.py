"""Accessories folded for judging: what one rig comes to with each of many, kept for the rigs asked about lately."""

from bisect import bisect_right
from collections import Counter, OrderedDict
from collections.abc import Callable, Hashable, Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from threading import Lock
from typing import Any, Final, Generic, Literal, NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from fitsvc.answers.shelf import Item
from fitsvc.engine.bitmaps import Words, unpack
from fitsvc.engine.columns import OUTCOMES, Columns, Judged
from fitsvc.engine.point import Verdict
from fitsvc.facts import Case, FactReader
from fitsvc.language.types import Value
from fitsvc.rulebook.rules import Rule, Rulebook

SUBJECT: Final = "accessory"
Sort = Literal["sku", "label"]
Flags = NDArray[np.bool_]
T = TypeVar("T")
_RIGS_KEPT: Final = 32


class Kept(Generic[T]):
    """The results made lately, by key; shared by threads, each result made once at a time."""

    def __init__(self, most: int = _RIGS_KEPT) -> None:
        self._most, self._lock = most, Lock()
        self._found: OrderedDict[Hashable, T] = OrderedDict()

    def get(self, key: Hashable, make: Callable[[], T]) -> T:
        """The result under a key, made if it is not kept."""
        with self._lock:
            found = self._found.pop(key, None)
            if found is None:
                found = make()
            self._found[key] = found
            if len(self._found) > self._most:
                self._found.popitem(last=False)
            return found


class Told(NamedTuple):
    """What a rig comes to with each item of a segment: the outcome's place in `OUTCOMES`, and the code's number.

    `kinds` and `by_code` count all of its items by kind and by code, each with the outcome's place.
    """

    outcomes: NDArray[np.uint8]
    codes: NDArray[np.int16]
    kinds: Counter[tuple[Value | None, int]]
    by_code: Counter[tuple[int, int]]


def case_of(rig: Case, item: Item, reader: FactReader) -> Case:
    """The case of a rig and an item, as a question about both would have it."""
    values, texts = {**rig.facts, **item.values}, {**rig.texts, **item.texts}
    return Case(values, rig.present | present_of(item, reader), rig.adapters, texts)


def present_of(item: Item, reader: FactReader) -> frozenset[str]:
    """What an item brings into a question."""
    return frozenset({SUBJECT, *reader.named(item.values)})


def rig_key(rig: Case) -> Hashable:
    """What tells rigs apart in judging."""
    adapters = tuple(frozenset(adapter.items()) for adapter in rig.adapters)
    return frozenset(rig.facts.items()), rig.present, adapters


def codes_of(verdict: Verdict, rules: int) -> list[int]:
    """The rules and needs that bring an outcome about, in the order in which findings are told.

    A rule goes by its number, a need by its number after the rules.
    """
    if verdict.outcome == "fails":
        return sorted(verdict.fails)
    if verdict.outcome == "undetermined":
        return sorted(verdict.unknown)
    needs = [rules + number for number in sorted(verdict.open_needs)]
    return [*sorted(verdict.cautions), *sorted(verdict.doubts), *needs]


def label_key(label: str) -> str:
    """What labels are ordered by: capitals and small letters alike."""
    return label.casefold()


class Segment:
    """Some items in the order of their SKUs; never changed."""

    def __init__(self, columns: Columns, reader: FactReader, items: Iterable[Item]) -> None:
        self.items = sorted(items, key=lambda item: item.sku)
        self.skus = [item.sku for item in self.items]
        present = [present_of(item, reader) for item in self.items]
        self._columns = columns
        self._catalogue = columns.catalogue([item.values for item in self.items], {SUBJECT}, present)
        self._judged = Kept[Told]()
        self.matching = Kept[Flags]()

    @cached_property
    def kinds(self) -> tuple[list[Value | None], NDArray[np.intp]]:
        """The distinct kinds, and each item's among them."""
        numbers: dict[Value | None, int] = {}
        rows = [numbers.setdefault(item.kind, len(numbers)) for item in self.items]
        return list(numbers), np.array(rows, np.intp)

    @cached_property
    def texts(self) -> list[str]:
        """Label and SKU of each item, as they are searched."""
        return [searched(item) for item in self.items]

    @cached_property
    def _by_label(self) -> tuple[NDArray[np.intp], list[tuple[str, str]]]:
        """The items' places in the order of their labels, and the keys of that order."""
        keyed = sorted((label_key(item.label), item.sku, row) for row, item in enumerate(self.items))
        return np.array([row for _, _, row in keyed], np.intp), [(label, sku) for label, sku, _ in keyed]

    def find(self, sku: str) -> int | None:
        """The row of a SKU."""
        row = bisect_right(self.skus, sku) - 1
        return row if row >= 0 and self.skus[row] == sku else None

    def first(self, rows: Flags, sort: Sort, after: tuple[str, str] | None, most: int) -> Sequence[int]:
        """The first of some rows in an order, of those beyond a key."""
        if sort == "sku":
            start = 0 if after is None else bisect_right(self.skus, after[1])
            return [int(row) + start for row in np.flatnonzero(rows[start:])[:most]]
        order, keys = self._by_label
        start = 0 if after is None else bisect_right(keys, after)
        left = order[start:]
        return [int(row) for row in left[np.flatnonzero(rows[left])[:most]]]

    def judge(self, rig: Case, key: Hashable) -> Told:
        """What a rig comes to with each item."""
        return self._judged.get(key, lambda: self._judge(rig))

    def _judge(self, rig: Case) -> Told:
        judged = self._columns.judge(self._catalogue, rig)
        outcomes, codes = judged.outcome(), deciding(judged, self._columns.engine.rulebook)
        of, weights = self._catalogue.signature_of, self._catalogue.weights
        names, kinds = self.kinds
        if f"{SUBJECT}.kind" in self._catalogue.columns:
            kind_of = np.zeros(self._catalogue.count, np.intp)
            kind_of[of] = kinds
            by_kind = _tally(kind_of, outcomes, weights)
        else:
            by_kind = _tally(kinds, outcomes[of])
        named = Counter({(names[kind], place): count for (kind, place), count in by_kind.items()})
        return Told(outcomes[of], codes[of], named, _tally(codes, outcomes, weights))

    def counts(self, told: Told, alive: Flags) -> tuple[Counter[tuple[Value | None, int]], Counter[tuple[int, int]]]:
        """The counts of what a rig comes to with some of the items: those of all without the few that are gone."""
        gone = np.flatnonzero(~alive)
        names, kinds = self.kinds
        of_kind, of_code = Counter(told.kinds), Counter(told.by_code)
        for (kind, place), count in _tally(kinds[gone], told.outcomes[gone]).items():
            of_kind[names[kind], place] -= count
        of_code.subtract(_tally(told.codes[gone], told.outcomes[gone]))
        return +of_kind, +of_code


def _tally(
    numbers: NDArray[np.integer[Any]], places: NDArray[np.uint8], weights: NDArray[np.int64] | None = None
) -> Counter[tuple[int, int]]:
    """How many rows, or how much weight, have each number (from -1) with each place of an outcome."""
    mixed = (numbers.astype(np.intp) + 1) * len(OUTCOMES) + places
    counts = np.bincount(mixed, weights)
    found = ((int(row), round(float(counts[row]))) for row in np.flatnonzero(counts))
    return Counter({(row // len(OUTCOMES) - 1, row % len(OUTCOMES)): count for row, count in found})


def searched(item: Item) -> str:
    """An item's label and SKU, as they are searched."""
    return f"{item.label}\n{item.sku}".casefold()


def deciding(judged: Judged, rulebook: Rulebook) -> NDArray[np.int16]:
    """For each signature the first rule or need that brings its outcome about, as `codes_of` has it; -1 for none."""
    count = judged.catalogue.count
    found = np.full(count, -1, np.int16)
    left = dict(zip(("fails", "unknown", "doubts"), (words.copy() for words in judged.bitmaps()), strict=True))
    for number, words, name in _in_order(judged, rulebook):
        taken = words & left[name]
        if taken.any():
            found[unpack(taken, count)] = number
            left[name] ^= taken
    return found


def _in_order(judged: Judged, rulebook: Rulebook) -> Iterable[tuple[int, Words, str]]:
    """Each rule's and need's bitmaps with what they bring about: failures before doubts, and needs at the end."""
    entries = list(enumerate(judged.entries))
    rules = list(zip(entries, rulebook.rules, strict=False))
    for (number, entry), rule in rules:
        if entry.fails is not None:
            yield number, entry.fails, "fails" if rule.severity == "blocking" else "doubts"
    for (number, entry), rule in rules:
        if entry.undetermined is not None:
            yield number, entry.undetermined, "unknown" if _leaves_open(rule) else "doubts"
    for number, entry in entries[len(rules) :]:
        if entry.fails is not None:
            yield number, entry.fails, "doubts"


def _leaves_open(rule: Rule) -> bool:
    return rule.severity == "blocking" and rule.if_unknown == "undetermined"


@dataclass(frozen=True, slots=True)
class Part:
    """A segment without those of its items that have changed or gone since."""

    segment: Segment
    alive: Flags
    left: int

    def without(self, rows: Sequence[int]) -> "Part":
        """The part without some more of its items."""
        alive = self.alive.copy()
        alive[list(rows)] = False
        return Part(self.segment, alive, int(alive.sum()))

    def items(self) -> list[Item]:
        """The items that are left."""
        return [self.segment.items[row] for row in np.flatnonzero(self.alive)]


@dataclass(frozen=True, slots=True)
class Held:
    """The accessories of one revision of the catalogue: folded ones in parts, and the latest changed as they are.

    `unreadable` is how many have facts that cannot be read by the vocabulary: they are in none of the rest.
    """

    revision: str
    parts: tuple[Part, ...]
    loose: tuple[Item, ...]
    unreadable: int
    counted: Kept[Any] = field(default_factory=Kept)
    judged: Kept[list[Verdict]] = field(default_factory=Kept)

    @property
    def items(self) -> int:
        """How many can be judged."""
        return sum(part.left for part in self.parts) + len(self.loose)


BEST_FIRST: Final = OUTCOMES
"""The order of outcomes on a page."""
