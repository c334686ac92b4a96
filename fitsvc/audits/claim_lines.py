"""Claims line by line, as who claims them wrote them: kept while they are read, and told with what they come to."""

import sys
from collections import Counter
from collections.abc import Callable, Collection, Iterator, Sequence
from pathlib import Path
from types import TracebackType
from typing import Final, Self

import msgspec
import numpy as np
from numpy.typing import NDArray

from fitsvc.audits.claims import ClaimLine, Claims
from fitsvc.audits.other_pairs import OthersClaimed
from fitsvc.audits.state import AuditState
from fitsvc.rulebook.outcomes import OUTCOMES
from fitsvc.tongues import t

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

    def __init__(self, state: AuditState, blocks: int, others: OthersClaimed) -> None:
        self._others, self._others_clear = others, set[tuple[str, int]]()
        self._rigs, self._path = state.rigs, state.spool.claim_lines
        claims = state.spool.all_claims()
        self._pairs = claims.item.astype(np.int64) * len(state.rigs) + claims.rig
        self._outcomes, self._why = np.zeros(len(self._pairs), np.uint8), dict[int, str]()
        self._clear = np.zeros(len(self._pairs), np.bool_)
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
        for line in self._lines():
            yield [line.line, *(line.cells.get(title, "") for title in own), *self._told(line)]

    def _lines(self) -> Iterator[ClaimLine]:
        decoder = msgspec.json.Decoder(ClaimLine)
        with self._path.open("rb") as stream:
            yield from map(decoder.decode, stream)

    def faulty(self) -> Iterator[ClaimLine]:
        """The claims that the rules contradict and those that are not clear."""
        yield from (one for one in self._lines() if one.unclear or "fails" in self._came_to(one)[0])

    def unclear(self) -> list[int]:
        """The pairs that no clear line names, by outcome; to be asked when all rows were told."""
        return [int(count) for count in np.bincount(self._outcomes[~self._clear], minlength=len(OUTCOMES))]

    def unclear_of(self, skus: Collection[str]) -> Counter[str]:
        """Of items that are no accessories the same, of those that would hold."""
        pairs = ((sku, rig, one) for sku in skus for rig, (one, _) in self._others.get(sku, {}).items())
        holds = OUTCOMES[: OUTCOMES.index("undetermined")]
        return Counter(one for sku, rig, one in pairs if one in holds and (sku, rig) not in self._others_clear)

    def by_rig(self) -> NDArray[np.int64]:
        """How many accessories are claimed to fit each rig (rows), by what that comes to (columns)."""
        found = np.zeros((len(self._rigs), len(OUTCOMES)), np.int64)
        np.add.at(found, (self._pairs % len(self._rigs), self._outcomes), 1)
        return found

    def _came_to(self, line: ClaimLine) -> tuple[list[str], Callable[[int], str]]:
        """What a line's pairs come to, in the order of its rigs, and why by the place of each in it."""
        if line.other:
            of = self._others.get(line.other, {})
            # What every rig tows already is judged with it and by itself with none: such a claim stays open.
            pairs = [of.get(rig, ("undetermined", "")) for rig in line.rigs]
            return [outcome for outcome, _ in pairs], lambda place: pairs[place][1]
        places = self._places(line)
        came_to = [OUTCOMES[code] for code in self._outcomes[places].tolist()]
        return came_to, lambda place: self._why.get(int(self._pairs[places[place]]), "")

    def _places(self, line: ClaimLine) -> NDArray[np.intp]:
        """The places of a line's pairs among all that are claimed of accessories."""
        return np.searchsorted(self._pairs, np.array(line.rigs, np.int64) + line.item * len(self._rigs))

    def _told(self, line: ClaimLine) -> list[str]:
        came_to, why_of = self._came_to(line)
        if not line.unclear and line.other:
            self._others_clear.update((line.other, rig) for rig in line.rigs)
        elif not line.unclear:
            self._clear[self._places(line)] = True
        fails, open_ = ([n for n, one in enumerate(came_to) if one == outcome] for outcome in ("fails", "undetermined"))
        verdict = _verdict(line, came_to)
        self.counted[verdict] += 1
        decides = fails or open_
        why = why_of(decides[0]) if decides and verdict in (CONTRADICTED, OPEN) else ""
        if verdict == NOT_STORED:
            why = t("no rig is of it; where its vehicle is stored, save a rig of it to have the claim judged")
        names = [self._rigs[place].key for place in line.rigs]
        listed = ("; ".join(names[place] for place in some) for some in (range(len(names)), fails, open_))
        return [verdict, *listed, line.unstored, why or line.unclear]


CONTRADICTED: Final = "contradicted"
OPEN: Final = "open"
NO_ITEM: Final = "no item"
NOT_STORED: Final = "not stored"
"""No rig is of what is claimed; whether a vehicle without one is stored is not looked at."""


def _verdict(line: ClaimLine, outcomes: Sequence[str]) -> str:
    """What a claim comes to over all rigs that it names: one that is not clear is at best not contradicted."""
    if line.item < 0 and not line.other:
        return NO_ITEM
    if "fails" in outcomes:
        return CONTRADICTED
    if line.unclear:
        return "unclear"
    if not outcomes:
        return NOT_STORED
    if "undetermined" in outcomes:
        return OPEN
    held = "holds on conditions" if "conditional" in outcomes else "holds"
    return f"{held} where stored" if line.unstored else held
