"""Which unknown facts hold up an audit's undetermined pairs.

A pair is counted for a fact when that is the only fact not exactly known among all that its open blocking rules
read: once it is known, each of these rules is decided. A pair that waits for several facts is counted for none,
and so is one that a fact would decide though another, which in its case does not matter, is unknown too: the
figures are what is sure.
"""

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from fitsvc.audits.blocks import Block, Kernel
from fitsvc.audits.rig_results import RigResult
from fitsvc.audits.rigs import AuditRig
from fitsvc.engine.columns.bitmaps import unpack
from fitsvc.engine.columns.kernel import Judged
from fitsvc.engine.columns.open_facts import exact_rows, leaving_open, read_by
from fitsvc.language.truth import UNKNOWN
from fitsvc.language.types import is_exact
from fitsvc.rulebook.outcomes import OUTCOMES

_WORD: Final = 64
_UNDETERMINED: Final = OUTCOMES.index("undetermined")


class OpenFacts:
    """What each blocking rule reads, told as bits: facts of items, and facts of rigs."""

    def __init__(self, kernel: Kernel) -> None:
        self._kinds = kernel.rulebook.vocabulary.slots()
        self.rules = list(leaving_open(kernel.engine))
        read = {(number, way): read_by(kernel.engine, number, way) for number in self.rules for way in (False, True)}
        every = dict.fromkeys(name for names in read.values() for name in names)
        self.item_facts = [name for name in every if name.startswith("accessory.")]
        self.rig_facts = [name for name in every if not name.startswith("accessory.")]
        self._item_bits = self._bits(read, self.item_facts)
        self._rig_bits = self._bits(read, self.rig_facts)

    @staticmethod
    def _bits(read: Mapping[tuple[int, bool], Sequence[str]], facts: Sequence[str]) -> dict[tuple[int, bool], int]:
        places = {name: place for place, name in enumerate(facts)}
        return {key: sum(1 << places[name] for name in set(names) if name in places) for key, names in read.items()}

    def of_items(self, block: Block) -> NDArray[np.uint64]:
        """Which facts are open on every signature of a block."""
        assert len(self.item_facts) <= _WORD
        found = np.zeros(block.catalogue.count, np.uint64)
        for place, name in enumerate(self.item_facts):
            column = block.catalogue.columns.get(name)
            exact = exact_rows(self._kinds[name], column) if column is not None else np.False_
            found |= np.where(exact, np.uint64(0), np.uint64(1 << place))
        return found

    def of_rig(self, rig: AuditRig) -> int:
        """Which facts of a rig are open, its adapters' too."""
        found = 0
        for place, name in enumerate(self.rig_facts):
            holders = rig.case.adapters if name.startswith("adapter.") else (rig.case.facts,)
            values = [facts.get(name) for facts in holders]
            if not all(value is not None and is_exact(self._kinds[name], value) for value in values):
                found |= 1 << place
        return found

    def waits(
        self, judged: Judged, result: RigResult, items: NDArray[np.uint64], rig: AuditRig
    ) -> tuple[NDArray[np.int32], NDArray[np.uint64]]:
        """For every signature the number of the one fact it waits for, items' facts first; -1 where none is alone.

        Beside it the bits of all facts of the item that it waits for, alone or with others.
        """
        waiting = result.outcome == _UNDETERMINED
        of_items = np.zeros(len(items), np.uint64)
        of_rig: dict[int, NDArray[np.bool_]] = {}
        open_of_rig, adapted = self.of_rig(rig), bool(rig.case.adapters)
        for number in self.rules:
            words = judged.entries[number].undetermined
            if words is None:
                continue
            open_ = unpack(words, len(items)) & waiting
            of_items |= np.where(open_, items & np.uint64(self._item_bits[number, adapted]), np.uint64(0))
            bits = self._rig_bits[number, adapted] & open_of_rig
            for place in range(bits.bit_length()):
                if bits >> place & 1:
                    of_rig[place] = of_rig[place] | open_ if place in of_rig else open_
        found = self._alone(of_items, of_rig, waiting)
        open_ = self._maybe_named(judged)
        if open_.any():
            # What rests on whether a fact is named at all waits for that fact, and maybe for no other.
            other = (found < 0) | (found >= len(self.item_facts))
            found[(open_ > 0) & (other | (open_ != np.uint64(1) << np.maximum(found, 0).astype(np.uint64)))] = -1
        return found, of_items

    def _maybe_named(self, judged: Judged) -> NDArray[np.uint64]:
        """Of which facts it is not known, of every signature, whether the item has them."""
        found = np.zeros(judged.catalogue.count, np.uint64)
        for place, name in enumerate(self.item_facts):
            present = judged.catalogue.present.get(name)
            if present is not None and present.dtype == np.uint8:
                found |= np.where(present == UNKNOWN, np.uint64(1 << place), np.uint64(0))
        return found

    def _alone(
        self, of_items: NDArray[np.uint64], of_rig: Mapping[int, NDArray[np.bool_]], waiting: NDArray[np.bool_]
    ) -> NDArray[np.int32]:
        count = np.bitwise_count(of_items).astype(np.int64)
        found = np.full(len(of_items), -1, np.int32)
        one = count == 1
        found[one] = np.bitwise_count(of_items[one] - np.uint64(1))
        for place, open_ in of_rig.items():
            count += open_
            found[open_] = len(self.item_facts) + place
        found[(count != 1) | ~waiting] = -1
        return found

    @property
    def facts(self) -> list[str]:
        """Every fact by its number."""
        return [*self.item_facts, *self.rig_facts]
