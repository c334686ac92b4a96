"""What many rigs come to with each of many items before and after a change, judged only where that may differ.

Of two rigs that are unlike in a few facts most rules say the same. So both come to the same but where a rule that rests
on what is unlike says otherwise, as it is or with a value of an open choice (`Columns.unlike`); that is found once for
all rigs that are alike in what those rules rest on. Where it is nowhere, nothing else is judged of a rig; and how many
items come to each outcome is counted of those rigs alone that come to something else with some.
"""

from collections import Counter
from collections.abc import Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import reduce
from operator import or_
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fitsvc.answers.shelf import Item
from fitsvc.engine.columns.bitmaps import Words, set_at, unpack
from fitsvc.engine.columns.kernel import Columns, Judged
from fitsvc.engine.columns.signatures import Catalogue
from fitsvc.facts import Case, FactReader
from fitsvc.rulebook.outcomes import Outcome
from fitsvc.selection.folding import present_of
from fitsvc.selection.rows import SUBJECT
from fitsvc.selection.segments import Flags, Snapshot, case_of

RIG_ITSELF: Final = ""
"""Stands in the place of a SKU for the rig with the spare and adapters it has."""
Changed = tuple[str, Outcome, Outcome]
"""A SKU, and the outcomes it came to and comes to."""
Pair = tuple[Case, Case]
"""A rig as it was, and as it is."""
_Bitmaps = Mapping[Outcome, Words]
"""Where the outcome is each but `works`, by signature."""
_SINGLY: Final = 1_000
"""Pairs of a rig and an item up to which those held loose are judged one by one: a quarter of a second for as many. To
fold them and lay out the rules over them takes as long as some hundreds do."""
_TOGETHER: Final = 32
"""Pairs of rigs that are judged together: what they come to is held until they are told, a megabyte or two for each."""
_STRIDE: Final = 1 << 15
"""Items looked at in one go on the way to the first few that changed."""


@dataclass(slots=True)
class Unlike:
    """How many items a rig came to each outcome with, and comes to; how many changed, and the first of these.

    The rig with what it has already is no item: it is among what changed, and in neither count of items, which are
    those that a selection tells. Where nothing changed not all are counted.
    """

    before: Counter[Outcome] = field(default_factory=Counter)
    after: Counter[Outcome] = field(default_factory=Counter)
    count: int = 0
    changed: list[Changed] = field(default_factory=list)

    def add(self, sku: str, was: Outcome, now: Outcome) -> None:
        """Count one item, or the rig itself."""
        if sku != RIG_ITSELF:
            self.before[was] += 1
            self.after[now] += 1
        if was != now:
            self.count += 1
            self.changed.append((sku, was, now))


def compare(columns: Columns, reader: FactReader, held: Snapshot, pairs: Sequence[Pair], most: int) -> list[Unlike]:
    """What each of some rigs came to and comes to with all items, of which `most` that changed are named."""
    found, alike = dict[int, Unlike](), dict[Hashable, list[int]]()
    for place, pair in enumerate(pairs):
        alike.setdefault(frozenset(sku for case in pair for sku in case.of_items), []).append(place)
    for places in alike.values():
        some = [pairs[place] for place in places]
        skus = {sku for pair in some for case in pair for sku in case.of_items}
        found.update(zip(places, _Comparing(columns, reader, held.apart(skus), some, most).compared(), strict=True))
    return [found[place] for place in range(len(pairs))]


class _Difference(NamedTuple):
    """Where two rigs come to unlike outcomes with a part's items; what the first comes to, and the other where it may
    come to something else.
    """

    where: Words
    was: _Bitmaps
    now: _Bitmaps


class _ComparedPart:
    """Items judged as columns, those of them that are left, and what the rig told last came to with them."""

    def __init__(self, columns: Columns, catalogue: Catalogue, skus: Sequence[str], alive: Flags) -> None:
        self._columns, self._catalogue, self._skus, self._alive = columns, catalogue, skus, alive
        self._gone = catalogue.signature_of[np.flatnonzero(~alive)]
        self._unlike: dict[Hashable, Words | None] = {}

    def judged(self, rigs: Sequence[Case]) -> list[Judged]:
        """Some rigs, judged together."""
        return list(self._columns.judge_all(self._catalogue, rigs))

    def unlike(self, pair: Pair) -> Words | None:
        """Where a rig may come to something else, None where it may anywhere; found once for all alike in it."""
        key = self._columns.rests_on(self._catalogue, *pair)
        if key is None:
            return self._columns.unlike(self._catalogue, *pair)
        if key not in self._unlike:
            self._unlike[key] = self._columns.unlike(self._catalogue, *pair)
        return self._unlike[key]

    def differing(self, was: Judged, now: Judged, among: Words | None) -> _Difference | None:
        """Where a rig comes to something else, of where it may; None where it does so nowhere."""
        if among is not None and not among.any():
            return None
        # All that it came to is counted where something changed, and so is asked for once.
        before, after = was.bitmaps_among(), now.bitmaps_among(among)
        unlike = reduce(or_, (one ^ other for one, other in zip(before.values(), after.values(), strict=True)))
        where: Words = unlike if among is None else unlike & among
        return _Difference(where, before, after) if self._count(where) else None

    def add(self, told: Unlike, was: Judged, difference: _Difference | None) -> None:
        """Put what a rig came to with all the items, and comes to, to what it does with others."""
        whole = was.bitmaps_among() if difference is None else difference.was
        before = {outcome: self._count(words) for outcome, words in whole.items()}
        after = dict(before)
        if difference is not None:
            for outcome, words in difference.now.items():
                come, gone = words & difference.where, whole[outcome] & difference.where
                after[outcome] += self._count(come) - self._count(gone)
        left = len(self._alive) - len(self._gone)
        for counter, counts in ((told.before, before), (told.after, after)):
            counter.update({"works": left - sum(counts.values()), **counts})

    def first(self, difference: _Difference, most: int) -> Iterator[Changed]:
        """The first items that changed, in the order of their SKUs."""
        flags, signature_of = unpack(difference.where, self._catalogue.count), self._catalogue.signature_of
        most = min(most, self._count(difference.where))
        for start in range(0, len(self._alive), _STRIDE):
            some = slice(start, start + _STRIDE)
            rows = np.flatnonzero(flags[signature_of[some]] & self._alive[some])[:most] + start
            most -= len(rows)
            both = (_at(maps, signature_of[rows]) for maps in (difference.was, difference.now))
            for row, was, now in zip(rows.tolist(), *both, strict=True):
                yield self._skus[row], was, now
            if not most:
                break

    def count(self, difference: _Difference) -> int:
        """How many items changed."""
        return self._count(difference.where)

    def _count(self, words: Words) -> int:
        return self._catalogue.counter.of(words) - int(set_at(words, self._gone).sum())


class _Comparing:
    """Rigs that know more than their columns tell of the same items, which are held loose."""

    def __init__(self, columns: Columns, reader: FactReader, held: Snapshot, pairs: Sequence[Pair], most: int) -> None:
        self._columns, self._reader, self._pairs, self._most = columns, reader, pairs, most
        self._parts = [
            _ComparedPart(columns, one.segment.catalogue, one.segment.skus, one.alive) for one in held.parts if one.left
        ]
        known = {sku for pair in pairs for case in pair for sku in case.of_items}
        few, loose = len(held.loose) * len(pairs) <= _SINGLY, sorted(held.loose, key=lambda item: item.sku)
        self._loose = [item for item in loose if few or item.sku in known]
        if len(self._loose) < len(loose):
            self._parts.append(self._folded([item for item in loose if item.sku not in known]))

    def _folded(self, items: Sequence[Item]) -> _ComparedPart:
        present = [present_of(item, self._reader) for item in items]
        catalogue = self._columns.catalogue([item.values for item in items], {SUBJECT}, present)
        return _ComparedPart(self._columns, catalogue, [item.sku for item in items], np.ones(len(items), np.bool_))

    def compared(self) -> Iterator[Unlike]:
        """What each rig came to and comes to, in their order."""
        for start in range(0, len(self._pairs), _TOGETHER):
            pairs = self._pairs[start : start + _TOGETHER]
            told = [self._singly(*pair) for pair in pairs]
            among = [[part.unlike(pair) for part in self._parts] for pair in pairs]
            asked = [
                place
                for place, (one, some) in enumerate(zip(told, among, strict=True))
                if one.count or any(words is None or words.any() for words in some)
            ]
            rigs = [case for place in asked for case in pairs[place]]
            judged = zip(*(part.judged(rigs) for part in self._parts), strict=True) if self._parts else iter(())
            for place in asked if self._parts else ():
                self._told(told[place], list(zip(self._parts, next(judged), next(judged), among[place], strict=True)))
            for one in told:
                one.changed = sorted(one.changed)[: self._most]
                yield one

    def _told(self, told: Unlike, judged: Sequence[tuple[_ComparedPart, Judged, Judged, Words | None]]) -> None:
        """Put what a rig came to and comes to with the items of all parts to what it does with single ones."""
        differing = [(part, was, part.differing(was, now, among)) for part, was, now, among in judged]
        for part, _, difference in differing:
            if difference:
                told.count += part.count(difference)
                told.changed += part.first(difference, self._most)
        for part, was, difference in differing if told.count else ():
            part.add(told, was, difference)

    def _singly(self, was: Case, now: Case) -> Unlike:
        """What a rig came to and comes to with what is judged singly."""
        told = Unlike()
        for one in self._one_by_one(was, now):
            told.add(*one)
        return told

    def _one_by_one(self, was: Case, now: Case) -> Iterator[Changed]:
        """The rig itself, if it has anything to ask about, and items that are judged singly."""
        engine = self._columns.engine
        if was.adapters or "spare" in was.present:
            yield RIG_ITSELF, engine.evaluate(was).outcome, engine.evaluate(now).outcome
        for item in self._loose:
            before, after = (engine.evaluate(case_of(rig, item, self._reader)).outcome for rig in (was, now))
            yield item.sku, before, after


def _at(maps: _Bitmaps, signatures: NDArray[np.uint32]) -> list[Outcome]:
    """The outcome of each of some signatures."""
    found: list[Outcome] = ["works"] * len(signatures)
    for outcome, words in maps.items():
        for place in np.flatnonzero(set_at(words, signatures)).tolist():
            found[place] = outcome
    return found
