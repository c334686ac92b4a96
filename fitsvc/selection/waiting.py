"""What a rig's undetermined answers wait for: sets of its facts, and how many accessories wait for each.

An accessory waits for a set of facts where these are all that is not exactly known of what its open blocking rules
read: once they are, each of the rules is decided. One that waits for a fact of its own, or for more facts than anyone
learns in one go, is counted in none; so the figures are what is sure.
"""

from collections import Counter
from collections.abc import Collection, Mapping
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fitsvc.answers.answering import Answerer
from fitsvc.engine.columns.bitmaps import Words, pack, set_at
from fitsvc.engine.columns.kernel import Judged
from fitsvc.engine.columns.open_facts import exact_rows, leaving_open, read_by
from fitsvc.engine.columns.signatures import Catalogue
from fitsvc.facts import Case
from fitsvc.language.types import is_exact
from fitsvc.selection.folding import present_of
from fitsvc.selection.rows import SUBJECT
from fitsvc.selection.segments import Snapshot

MOST_FACTS: Final = 3
"""So many facts at most are learnt in one go to decide an answer."""
Facts = frozenset[str]


class _Part(NamedTuple):
    """Items as columns, the rows of those that are gone, and where each rule waits for a fact of the item itself."""

    catalogue: Catalogue
    gone: NDArray[np.intp]
    waits_for_item: Mapping[int, Words]

    def count(self, words: Words) -> int:
        """How many items are of some signatures."""
        gone = self.catalogue.signature_of[self.gone]
        return self.catalogue.counter.of(words) - int(set_at(words, gone).sum())


class Waits(NamedTuple):
    """How many accessories come to each outcome on a rig, and how many undetermined ones wait for each set of facts."""

    outcomes: Counter[str]
    sets: Counter[Facts]


class Waiting:
    """What the undetermined answers of rigs wait for, under one rulebook."""

    def __init__(self, answerer: Answerer) -> None:
        engine = answerer.engine
        self._columns, self._reader, self._vocabulary = answerer.columns, answerer.reader, answerer.rulebook.vocabulary
        self._kinds = self._vocabulary.slots()
        self._read = {(n, way): read_by(engine, n, way) for n in leaving_open(engine) for way in (False, True)}
        self._held: tuple[str, list[_Part]] = ("", [])

    def of(self, held: Snapshot, rig: Case, learnable: Collection[str]) -> "Waits":
        """What the accessories held wait for on a rig, of facts that can be learnt."""
        outcomes, sets = Counter[str](works=held.items), Counter[Facts]()
        for part in self._parts(held):
            judged = self._columns.judge(part.catalogue, rig)
            for outcome, words in judged.bitmaps().items():
                outcomes[outcome] += (count := part.count(words))
                outcomes["works"] -= count
            sets.update(self._sets(part, judged, rig, frozenset(learnable)))
        return Waits(+outcomes, +sets)

    def _sets(self, part: "_Part", judged: Judged, rig: Case, learnable: Facts) -> Counter[Facts]:
        left, waits = judged.bitmaps()["undetermined"], dict[Facts, Words]()
        for number, names in self._open_rules(judged, rig):
            words = judged.entries[number].undetermined
            assert words is not None
            if names <= learnable:
                waits[names] = waits[names] | words if names in waits else words
                words = words & part.waits_for_item[number]
            left = left & ~words
        return Counter({names: part.count(words) for names, words in _split(left, waits)})

    def _open_rules(self, judged: Judged, rig: Case) -> list[tuple[int, Facts]]:
        """The rules that are open anywhere, each with the facts of the rig that it waits for."""
        adapted = bool(rig.adapters)
        found = []
        for (number, way), names in self._read.items():
            if way == adapted and judged.entries[number].undetermined is not None:
                open_ = (name for name in names if not name.startswith(f"{SUBJECT}.") and self._is_open(rig, name))
                found.append((number, frozenset(map(self._fact, open_))))
        return found

    def _is_open(self, rig: Case, name: str) -> bool:
        if (of := name.partition(".")[0]) not in rig.present and self._vocabulary.subjects[of].presence != "always":
            return False  # of what is not there nobody is asked
        kind, holders = self._kinds[name], rig.adapters if name.startswith("adapter.") else (rig.facts,)
        fact = self._vocabulary.fact_of(name)
        if fact is not None and fact.brought_up and name not in rig.present:
            return False  # nor for what a customer would bring up
        return not all(is_exact(kind, facts.get(name, kind.unknown)) for facts in holders)

    def _fact(self, slot: str) -> str:
        fact = self._vocabulary.fact_of(slot)
        return fact.name if fact else slot

    def _parts(self, held: Snapshot) -> list[_Part]:
        """What is held as columns, the loose items too; kept for the next rig of the same catalogue."""
        revision, parts = self._held
        if revision != held.revision or not held.revision:
            parts = [self._part(part.segment.catalogue, part.gone) for part in held.parts]
            if held.loose:
                present = [present_of(item, self._reader) for item in held.loose]
                values = [item.values for item in held.loose]
                parts.append(self._part(self._columns.catalogue(values, {SUBJECT}, present), np.zeros(0, np.intp)))
            self._held = (held.revision, parts)
        return parts

    def _part(self, catalogue: Catalogue, gone: NDArray[np.intp]) -> _Part:
        columns = {name: column for name, column in catalogue.columns.items() if name in self._kinds}
        open_ = {name: pack(~exact_rows(self._kinds[name], column)) for name, column in columns.items()}
        everywhere = pack(np.ones(catalogue.count, np.bool_))
        by_rule = {}
        for (number, adapted), names in self._read.items():
            if not adapted:
                own = [open_.get(name, everywhere) for name in names if name.startswith(f"{SUBJECT}.")]
                by_rule[number] = np.bitwise_or.reduce([np.zeros_like(everywhere), *own])
        return _Part(catalogue, gone, by_rule)


def _split(left: Words, waits: Mapping[Facts, Words]) -> list[tuple[Facts, Words]]:
    """What is left, by the facts that it waits for in all."""
    classes: dict[Facts, Words] = {frozenset(): left}
    for names, words in waits.items():
        found: dict[Facts, Words] = {}
        for before, where in classes.items():
            for facts, some in ((before, where & ~words), (before | names, where & words)):
                if len(facts) <= MOST_FACTS and some.any():
                    found[facts] = found[facts] | some if facts in found else some
        classes = found
    return [(facts, words) for facts, words in classes.items() if facts]
