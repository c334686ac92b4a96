"""What one rig comes to with every signature of a block of items: outcomes, and what decides each."""

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from fitsvc.engine.columns.bitmaps import Words, pack, unpack
from fitsvc.engine.columns.kernel import UNREAD, Judged
from fitsvc.engine.columns.signatures import Catalogue, arrays_of
from fitsvc.engine.verdict import Verdict
from fitsvc.rulebook.outcomes import OUTCOME_OF, OUTCOMES
from fitsvc.selection.results import codes_of

WORD: Final = 64
_UNDETERMINED: Final = OUTCOMES.index("undetermined")


class RigResult:
    """One rig with every signature of a block: outcomes, and the members that decide each, as words of bits."""

    def __init__(self, judged: Judged, rules: int, members: int) -> None:
        """Of so many rules, and so many members in all: rules and needs."""
        self._rules = rules
        self.outcome = judged.outcome()
        self.deciding = np.zeros((-(-members // WORD), judged.catalogue.count), np.uint64)
        self.pairs: list[tuple[int, int, int]] = []
        self._decide(judged)

    def put(self, signature: int, verdict: Verdict) -> None:
        """Take what one signature of a single item comes to, judged by itself."""
        was, now = int(self.outcome[signature]), OUTCOMES.index(verdict.outcome)
        numbers = codes_of(verdict, self._rules)
        words = [sum(1 << n % WORD for n in set(numbers) if n // WORD == word) for word in range(len(self.deciding))]
        before = numbers_of([int(word) for word in self.deciding[:, signature]])
        self.pairs += [(number, was, -1) for number in before] + [(number, now, 1) for number in sorted(set(numbers))]
        self.outcome[signature], self.deciding[:, signature] = now, words

    def hold_back(self, judged: Judged, lenient: Sequence[tuple[int, np.uint64]]) -> None:
        """Make no yes of what could not be read: a rule that would only caution leaves such a pair undetermined."""
        catalogue = judged.catalogue
        unread = arrays_of(catalogue.columns[UNREAD])[0].astype(np.uint64)
        better = self.outcome < _UNDETERMINED
        held: dict[int, NDArray[np.bool_]] = {}
        for number, bits in lenient:
            words = judged.entries[number].undetermined
            if words is not None:
                where = unpack(words, catalogue.count) & better & ((unread & bits) != 0)
                held |= {number: where} if where.any() else {}
        if not held:
            return
        every = np.logical_or.reduce(list(held.values()))
        for number in numbers_of([int(word) for word in np.bitwise_or.reduce(self.deciding[:, every], axis=1)]):
            bit = np.uint64(1 << number % WORD)
            where = every & ((self.deciding[number // WORD] & bit) != 0)
            lost = np.bincount(self.outcome[where], catalogue.weights[where])
            self.pairs += [(number, was, -round(count)) for was, count in enumerate(lost.tolist()) if count]
        self.outcome[every], self.deciding[:, every] = _UNDETERMINED, 0
        for number, where in held.items():
            self._take(catalogue, number, _UNDETERMINED, pack(where))

    def _decide(self, judged: Judged) -> None:
        for number, effect, where in judged.deciding():
            self._take(judged.catalogue, number, OUTCOMES.index(OUTCOME_OF[effect]), where)

    def _take(self, catalogue: Catalogue, number: int, outcome: int, where: Words) -> None:
        """Note a member where it decides: where the outcome is the one that it brings about."""
        if not where.any():
            return
        self.pairs.append((number, outcome, catalogue.counter.of(where)))
        bits = unpack(where, catalogue.count).view(np.uint8).astype(np.uint64)
        self.deciding[number // WORD] |= bits << np.uint64(number % WORD)


def numbers_of(words: Sequence[int]) -> list[int]:
    """The numbers whose bits are set in a row of words."""
    bits = sum(word << place * WORD for place, word in enumerate(words))
    found = []
    while bits:  # from bit to bit: a few of some hundred are set, and there are as many rows as sets of rules
        lowest = bits & -bits
        found.append(lowest.bit_length() - 1)
        bits ^= lowest
    return found
