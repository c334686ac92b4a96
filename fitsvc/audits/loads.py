"""What single pairs of a finished audit come to by the facts it kept: what may be loaded, and what they wait for.

An answer's own allowance takes a millisecond, so it is looked for once for all items that nothing tells apart of what
it rests on, and not by an audit itself: for every pair that fits that would take many times what judging them does.
"""

from pathlib import Path
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fitsvc.answers.allowances import AllowanceWords
from fitsvc.answers.missing import Missing
from fitsvc.answers.wording import Wording
from fitsvc.audits.blocks import Kernel, pair_case
from fitsvc.audits.items import Items
from fitsvc.audits.kept import kept_facts
from fitsvc.audits.rigs import AuditRig
from fitsvc.audits.tally import kind_numbers, kinds_of
from fitsvc.caching import LruCache
from fitsvc.facts import Case
from fitsvc.language.typed import TOLD
from fitsvc.language.types import Mask
from fitsvc.subjects import KIND

_ITEM: Final = "accessory"
_MOST_BLOCKS: Final = 8
"""Blocks of items held folded: the pairs of an audit come block by block."""
_MOST_KEPT: Final = 100_000
"""Of some hundred bytes each: what the items of a block come to on the rigs of a part, and more."""


class LoadTold(NamedTuple):
    """What an item may be loaded with on a rig, in figures as an answer tells them; empty where nothing is told.

    `at_most` is all of it together, at most `times` of at most `each` where it is counted.
    """

    at_most: str = ""
    times: str = ""
    each: str = ""

    def told(self) -> str:
        """All of it in one cell: `120 lb`, or of what is counted `120 lb, 2 of 60 lb`."""
        return f"{self.at_most}, {self.times} of {self.each}" if self.times else self.at_most


NOTHING: Final = LoadTold()
"""Where the item is not loaded, the load is named, or what it may carry is not known."""


def load_told(words: AllowanceWords, case: Case) -> LoadTold:
    """What may be loaded in an opened case, in figures as they are told."""
    one = words.told(case, "us")
    return NOTHING if one is None else LoadTold(one.at_most, "" if one.count is None else str(one.count), one.each)


class _Folded(NamedTuple):
    """A block of items, which of them are loaded, and which are alike in what their allowances rest on."""

    items: Items
    carries: NDArray[np.bool_]
    alike: NDArray[np.intp]


class FitLoads:
    """The allowances of a finished audit's pairs where no load is named, and the facts that open ones wait for, by the
    rulebook that it was by.
    """

    def __init__(self, out: Path, kernel: Kernel) -> None:
        self.kernel, self._kept = kernel, kept_facts(out, kernel.slots)
        self._words, self._missing = AllowanceWords(wording := Wording(kernel.engine)), Missing(kernel.engine, wording)
        kinds = [{KIND: Mask(1 << number)} for number in range(len(kinds_of(kernel)) - 1)]
        cases = [Case(of_kind, frozenset({_ITEM})) for of_kind in [*kinds, {}]]
        self._carries = np.array([self._words.allowances.may_apply(case) for case in cases], np.bool_)
        rests_on = {name.removesuffix(TOLD) for name in self._words.allowances.rests_on}
        self._rests_on = rests_on | {*kernel.columns.presences({_ITEM})}
        self._known = {sku for rig in self._rigs.values() for sku in rig.case.of_items}
        self._blocks = LruCache[int, _Folded](_MOST_BLOCKS)
        self._told = LruCache[tuple[str, int, int], LoadTold](_MOST_KEPT)

    @property
    def _rigs(self) -> dict[str, AuditRig]:
        return self._kept.rigs if self._kept else {}

    def of(self, rig: str, sku: str) -> LoadTold:
        """What an item that fits a rig may be loaded with; nothing is told of what the audit did not keep."""
        of, found = self._rigs.get(rig), self._kept.place(sku) if self._kept else None
        if of is None or found is None:
            return NOTHING
        number, place = found
        block = self._blocks.get(number, lambda: self._folded(number))
        if not block.carries[place]:
            return NOTHING
        if of.case.adapters or sku in self._known:
            return self._loaded(block.items, place, of)
        key = (rig, number, int(block.alike[place]))
        return self._told.get(key, lambda: self._loaded(block.items, place, of))

    def waits_for(self, rig: str, sku: str) -> list[str]:
        """The facts that an undetermined pair waits for, each once, those of one rule after those of another."""
        of, found = self._rigs.get(rig), self._kept.item(sku) if self._kept else None
        if of is None or found is None:
            return []
        case = self.kernel.engine.opened(pair_case(self.kernel, *found, of))
        held = (self._missing.held(number, case) for number in self.kernel.engine.evaluate(case).holding_up)
        return list(dict.fromkeys(fact.fact.name for facts in held for fact in facts))

    def _loaded(self, items: Items, place: int, rig: AuditRig) -> LoadTold:
        return load_told(self._words, self.kernel.engine.opened(pair_case(self.kernel, items, place, rig)))

    def _folded(self, number: int) -> _Folded:
        assert self._kept is not None
        items = self._kept.block(number)
        catalogue = self.kernel.catalogue(items, _ITEM)
        kinds = kind_numbers(catalogue.columns.get(KIND), len(self._carries), catalogue.count)
        read = {name: column for name, column in items.columns.items() if name in self._rests_on}
        alike = self.kernel.catalogue(items._replace(columns=read), _ITEM)
        places = catalogue.signature_of.astype(np.intp)
        return _Folded(items, self._carries[kinds][places], alike.signature_of.astype(np.intp))
