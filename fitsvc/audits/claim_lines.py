"""Claims line by line, as who claims them wrote them: kept while they are read, and told with what they come to."""

import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from types import TracebackType
from typing import Final, Self

import msgspec
import numpy as np

from fitsvc.audits.claims import ClaimLine, Claims
from fitsvc.audits.state import AuditState
from fitsvc.rulebook.outcomes import OUTCOMES

TOLD: Final = ("verdict", "rigs", "fails_on", "open_on", "not_stored", "why")
"""The columns beside those that a claim's line has."""
_OWN: Final = "their {}"
"""What a column of theirs is called that has the name of one of these."""


class LinesWritten:
    """The file of claims that are being read, and the titles of all their columns."""

    def __init__(self, path: Path) -> None:
        self._stream, self._encoder = path.open("wb"), msgspec.json.Encoder()
        self.titles: dict[str, None] = {}

    def tell(self, line: ClaimLine) -> None:
        """Write one claim."""
        self.titles |= dict.fromkeys(line.cells)
        self._stream.write(self._encoder.encode(line) + b"\n")

    def __enter__(self) -> Self:
        return self

    def __exit__(self, of: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self._stream.close()


class LinesTold:
    """What each claim comes to, in the order of its lines; counts verdicts on the way."""

    def __init__(self, state: AuditState, blocks: int) -> None:
        self._rigs, self._path = state.rigs, state.spool.claim_lines
        claims = state.spool.all_claims()
        self._pairs = claims.item.astype(np.int64) * len(state.rigs) + claims.rig
        self._outcomes, self._why = np.zeros(len(self._pairs), np.uint8), dict[int, str]()
        start = 0
        for block in range(blocks):
            skus = state.spool.skus(block)
            self._take(state, block, start, skus, claims)
            start += len(skus)
        self.counted: Counter[str] = Counter()

    def _take(self, state: AuditState, block: int, start: int, skus: Sequence[str], claims: Claims) -> None:
        """Take what became of the claims about a block's items."""
        items = {sku: start + place for place, sku in enumerate(skus)}
        low, high = np.searchsorted(claims.item, (start, start + len(skus)))
        rigs = claims.rig[low:high]
        for group, places in enumerate(state.groups(len(skus))):
            of_group = low + np.flatnonzero((rigs >= places.start) & (rigs < places.stop))
            self._outcomes[of_group] = state.spool.claim_outcomes(block, group)
            keys = {state.rigs[place].key: place for place in places}
            for fate in state.spool.fates(block, group):
                self._why.setdefault(items[fate.sku] * len(self._rigs) + keys[fate.rig], sys.intern(fate.reason))

    @staticmethod
    def titles(own: Sequence[str]) -> list[str]:
        """The titles of all columns."""
        return ["row", *(_OWN.format(title) if title in ("row", *TOLD) else title for title in own), *TOLD]

    def rows(self, own: Sequence[str]) -> Iterator[list[str | int]]:
        """A row for each claim: its line, its own cells, and what it comes to."""
        decoder = msgspec.json.Decoder(ClaimLine)
        with self._path.open("rb") as stream:
            for text in stream:
                line = decoder.decode(text)
                yield [line.line, *(line.cells.get(title, "") for title in own), *self._told(line)]

    def _told(self, line: ClaimLine) -> list[str]:
        pairs = np.array(line.rigs, np.int64) + line.item * len(self._rigs)
        came_to = self._outcomes[np.searchsorted(self._pairs, pairs)] if len(pairs) else np.zeros(0, np.uint8)
        fails, open_ = (np.flatnonzero(came_to == OUTCOMES.index(name)) for name in ("fails", "undetermined"))
        verdict = _verdict(line, [OUTCOMES[code] for code in set(came_to.tolist())])
        self.counted[verdict] += 1
        decides = fails if len(fails) else open_
        why = self._why.get(int(pairs[decides[0]]), "") if len(decides) and verdict in (CONTRADICTED, OPEN) else ""
        names = [self._rigs[place].key for place in line.rigs]
        listed = ("; ".join(names[place] for place in some) for some in (range(len(names)), fails, open_))
        return [verdict, *listed, line.unstored, why or line.unclear]


CONTRADICTED: Final = "contradicted"
OPEN: Final = "open"


def _verdict(line: ClaimLine, outcomes: Sequence[str]) -> str:
    """What a claim comes to over all rigs that it names: one that is not clear is at best not contradicted."""
    if "fails" in outcomes:
        return CONTRADICTED
    if line.unclear:
        return "unclear"
    if not outcomes:
        return "not stored"
    if "undetermined" in outcomes:
        return OPEN
    held = "holds on conditions" if "conditional" in outcomes else "holds"
    return f"{held} where stored" if line.unstored else held
