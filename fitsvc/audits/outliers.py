"""Values that look wrong beside those of other items of their kind.

Positive figures are compared by their logarithms, by the modified z-score of Iglewicz and Hoaglin (How to Detect
and Handle Outliers, ASQC, 1993): 0.6745 times the distance from the median over the median absolute deviation,
suspicious past 3.5. Makers build in a few sizes, so that most items may be all but alike: a figure within 2.1 times
the median or its 2.1th part is never suspicious, which leaves kilograms among pounds to be seen (2.2 times). Where
more than a tenth stand apart they are another size of the thing, not mistakes. Both bounds are common practice, no
source.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from fitsvc.audits.spool import Spool
from fitsvc.audits.tally import kind_numbers
from fitsvc.engine.columns.open_facts import exact_rows
from fitsvc.language.display import show
from fitsvc.language.types import NumberType, Type
from fitsvc.rulebook.vocabulary import Vocabulary
from fitsvc.subjects import KIND

_MOST: Final = 3.5
_FEWEST: Final = 8
_NEAR: Final = 2.1
_MOST_SHARE: Final = 0.1
_CLOSE: Final = 2.0
_SLIPS: Final[Mapping[str, tuple[tuple[float, str], ...]]] = {
    "mass": (
        (0.45359237, "kilograms written as pounds"),
        (2.2046226, "pounds written as kilograms"),
        (10.0, "a decimal place too many"),
        (0.1, "a decimal place too few"),
    ),
    "length": (
        (25.4, "millimetres written as inches"),
        (1 / 25.4, "inches written as millimetres"),
        (12.0, "inches written as feet"),
        (1 / 12.0, "feet written as inches"),
        (10.0, "a decimal place too many"),
        (0.1, "a decimal place too few"),
    ),
}
"""What a figure is multiplied by when its unit is mistaken so. Kilograms written as pounds: 50 kg read as 50 lb."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Suspicious:
    """One figure that looks wrong: the item's place, the fact, the figure, what is usual, and what it may be."""

    item: int
    fact: str
    kind: str
    value: str
    usual: str
    score: float
    guess: str


def suspicious(
    spool: Spool, blocks: int, slots: Mapping[str, Type], kinds: list[str], vocabulary: Vocabulary
) -> Iterator[Suspicious]:
    """Every figure that looks wrong, fact by fact; one column is held at a time."""
    kind = np.concatenate(
        [kind_numbers(spool.column(block, KIND), len(kinds), len(spool.skus(block))) for block in range(blocks)]
    )
    for name, of in slots.items():
        fact = vocabulary.fact_of(name)
        if not isinstance(of, NumberType) or fact is None or fact.kind == "count":
            continue
        low, high = (np.concatenate([spool.column(block, name, end) for block in range(blocks)]) for end in (0, 1))
        exact = exact_rows(of, (low, high))
        for number in range(len(kinds)):
            rows = np.flatnonzero(exact & (kind == number))
            for row, score, usual, guess in _outside(low[rows], fact.kind):
                shown, middle = (show(one, one, of.dimension, fact.shown_in, "us") for one in (low[rows[row]], usual))
                yield Suspicious(
                    item=int(rows[row]),
                    fact=fact.short,
                    kind=kinds[number],
                    value=shown,
                    usual=middle,
                    score=score,
                    guess=guess,
                )


def _outside(figures: NDArray[np.float64], kind: str) -> Iterator[tuple[int, float, float, str]]:
    """The figures that stand apart: their places, scores, the usual figure, and what the slip may be."""
    places = np.flatnonzero(figures > 0.0)
    if len(places) < _FEWEST:
        return
    logs = np.log(figures[places])
    middle = float(np.median(logs))
    spread = max(float(np.median(np.abs(logs - middle))), float(np.log(_NEAR)) * 0.6745 / _MOST)
    scores = 0.6745 * (logs - middle) / spread
    apart = np.flatnonzero(np.abs(scores) > _MOST)
    if len(apart) > _MOST_SHARE * len(places):
        return
    for row in apart.tolist():
        guess = _slip(float(logs[row]) - middle, spread, kind)
        yield int(places[row]), float(scores[row]), float(np.exp(middle)), guess


def _slip(distance: float, spread: float, kind: str) -> str:
    """The mistake that would put the figure closest to the usual one, if one puts it close."""
    tried = [(abs(distance - float(np.log(factor))) * 0.6745 / spread, words) for factor, words in _SLIPS.get(kind, ())]
    best = min(tried, default=(np.inf, ""))
    return best[1] if best[0] <= _CLOSE else ""
