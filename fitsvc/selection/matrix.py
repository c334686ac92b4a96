"""Rigs against items that are both named: what a page of goods needs, judged as one question.

Outcomes and codes come from the column kernel, many rigs at a time; what is told in words is judged as one case is.
"""

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np

from fitsvc.answers.shelf import Item
from fitsvc.caching import LruCache
from fitsvc.engine.columns.bitmaps import unpack
from fitsvc.engine.columns.kernel import Judged
from fitsvc.engine.columns.signatures import Catalogue
from fitsvc.facts import Case
from fitsvc.selection.folding import present_of
from fitsvc.selection.query import SelectionQuery
from fitsvc.selection.results import in_order
from fitsvc.selection.rows import SUBJECT
from fitsvc.selection.segments import BEST_FIRST, Snapshot
from fitsvc.selection.selector import Selected, Selector
from fitsvc.wanted import still_wanted

_MOST_KEPT: Final = 16
"""Lists of items that are kept folded: a shop's few busiest pages, of a megabyte or so each."""


class Matrix:
    """Judges named items on named rigs; safe to share between threads."""

    def __init__(self, selector: Selector) -> None:
        self._selector = selector
        self._kept = LruCache[tuple[str, tuple[str, ...]], Catalogue](_MOST_KEPT)

    def rows(
        self, held: Snapshot, rigs: Sequence[Case], items: Sequence[Item], wanted: SelectionQuery
    ) -> Iterator[list[Selected]]:
        """For each rig what it comes to with each item, in the order in which they are given."""
        if not wanted.compact:
            for rig in rigs:
                yield [self._told(rig, item, wanted) for item in items]
            return
        columns = self._selector.answerer.columns
        key = (held.revision, tuple(item.sku for item in items))
        catalogue = self._kept.get(key, lambda: self._folded(items))
        for rig, judged in zip(rigs, columns.judge_all(catalogue, rigs), strict=True):
            still_wanted()
            both = zip(items, self._row(items, judged), strict=True)
            # Of these the rig knows more than their columns.
            yield [self._told(rig, item, wanted) if item.sku in rig.of_items else found for item, found in both]

    def _told(self, rig: Case, item: Item, wanted: SelectionQuery) -> Selected:
        still_wanted()
        return self._selector.shown(rig, item, wanted)

    def _folded(self, items: Sequence[Item]) -> Catalogue:
        selector = self._selector
        present = [present_of(item, selector.answerer.reader) for item in items]
        return selector.answerer.columns.catalogue([item.values for item in items], {SUBJECT}, present)

    def _row(self, items: Sequence[Item], judged: Judged) -> list[Selected]:
        count, signature_of = judged.catalogue.count, judged.catalogue.signature_of.tolist()
        places, codes = judged.outcome().tolist(), [list[str]() for _ in range(count)]
        for number, _, words in in_order(judged.deciding()):
            code = self._selector.code(number)
            for signature in np.flatnonzero(unpack(words, count)).tolist():
                codes[signature].append(code)
        return [
            Selected(sku=item.sku, outcome=BEST_FIRST[places[signature]], codes=codes[signature])
            for item, signature in zip(items, signature_of, strict=True)
        ]
