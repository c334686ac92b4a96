"""What is usual of the figures of one kind, each by the others of its item: learnt robustly from the items themselves.

Figures are compared by their logarithms, which is how sizes and weights spread. Of a kind with enough items each figure
is foretold from others by a regression that lets go of what stands apart (iterated least squares with Tukey's biweight,
c = 4.685: Huber and Ronchetti, Robust Statistics, 2nd ed., Wiley 2009, 7.8); of fewer its median stands for it. How far
a figure is from what is foretold is told in standard deviations, these by the median absolute deviation.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from fitsvc.language.intervals import TOLERANCE

FEWEST: Final = 8
"""Items of a kind with a figure, below which nothing is usual of it."""
_MANY: Final = 40
"""Items from which a figure is foretold by others."""
_EACH: Final = 12
"""Items for each figure that another is foretold by: common practice, no source."""
_MOST_BY: Final = 8
_GOES_WITH: Final = 0.1
"""The least correlation of what foretells a figure; of few items three standard errors, which chance makes of none."""
_KNOWN: Final = 0.6
"""Share of the items that tell a figure, from which others are foretold by it."""
_ROUNDS: Final = 20
_BIWEIGHT: Final = 4.685
_FARTHEST: Final = 3.0
"""Standard deviations up to which a figure counts where another is foretold by it: a wrong one moves them no more."""
_LEAST_SPREAD: Final = 0.1
_ALONE_SPREAD: Final = 0.212
"""The least standard deviations of a logarithm: makers build in few sizes, so that most items may be all but alike."""
_NORMAL: Final = 1.4826
"""The standard deviation of what is spread normally, over its median absolute deviation."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class _Foretold:
    """How one figure follows from others: their places, what each counts, what is added, and the spread."""

    by: NDArray[np.intp]
    counts: Floats
    added: float
    spread: float


class UsualFigures:
    """What is usual of the figures of one kind.

    `logs` has a row an item and a column a figure, its natural logarithm, not-a-number where it is not known; `marks`
    columns of 0 and 1 that tell items apart, such as their sizes.
    """

    def __init__(self, logs: Floats, marks: Floats) -> None:
        self.middle = _medians(logs)
        self._spread = np.maximum(_NORMAL * _medians(np.abs(logs - self.middle)), _LEAST_SPREAD)
        whole = np.hstack([np.nan_to_num(logs, nan=-np.inf), marks])
        first = np.sort(np.unique(whole, axis=0, return_index=True)[1])
        told = self._told(logs, marks)
        self._each = [self._learnt(logs, told, place, first) for place in range(logs.shape[1])]
        self.by_others = np.array([one is not None and len(one.by) > 0 for one in self._each])

    def _told(self, logs: Floats, marks: Floats) -> Floats:
        """The figures and marks in one measure; what is not known says nothing."""
        near = np.clip((logs - self.middle) / self._spread, -_FARTHEST, _FARTHEST)
        return np.hstack([np.nan_to_num(near), marks])

    def _learnt(self, logs: Floats, told: Floats, place: int, first: NDArray[np.intp]) -> _Foretold | None:
        """How a figure follows from the others; `first` are the items of which no earlier one is a colour or a pack.

        The same model many times tells no more of how figures go together than once.
        """
        every = np.flatnonzero(~np.isnan(logs[:, place]))
        if len(every) < FEWEST:
            return None
        models = first[~np.isnan(logs[first, place])]
        rows, by = every, np.zeros(0, np.intp)
        if len(models) >= _MANY:
            rows, by = models, self._by(logs[models], told[models], place, len(models) // _EACH)
        figures = logs[rows, place]
        counts, added = _fitted(told[rows][:, by], figures)
        left = figures - added - told[rows][:, by] @ counts
        spread = _NORMAL * float(np.median(np.abs(left)))
        return _Foretold(by, counts, added, max(spread, _LEAST_SPREAD if len(by) else _ALONE_SPREAD))

    def _by(self, logs: Floats, told: Floats, place: int, most: int) -> NDArray[np.intp]:
        """What foretells a figure best: the others and the marks that go with it most."""
        usable = (~np.isnan(logs)).mean(axis=0) >= _KNOWN
        usable[place] = False
        every = np.flatnonzero(np.append(usable, np.ones(told.shape[1] - len(usable), np.bool_)))
        own = told[:, place] - told[:, place].mean()
        others = told[:, every] - told[:, every].mean(axis=0)
        size = np.sqrt((others**2).sum(axis=0) * (own**2).sum())
        goes_with = np.abs(others.T @ own) / np.where(size > 0, size, np.inf)
        best = np.argsort(-goes_with, kind="stable")[: min(most, _MOST_BY)]
        found: NDArray[np.intp] = every[best[goes_with[best] > max(_GOES_WITH, 3.0 / np.sqrt(len(told)))]]
        return found

    def distances(self, logs: Floats, marks: Floats) -> tuple[Floats, Floats]:
        """How far each figure is from what is foretold of it, as a logarithm and in standard deviations; 0 if open.

        Where a figure is not known by which another is foretold, the other may be anything that it would make of it:
        by one standard deviation it counts as much as is written beside it.
        """
        told = self._told(logs, marks)
        unknown = np.hstack([np.isnan(logs), np.zeros(marks.shape, np.bool_)]).astype(np.float64)
        apart, scores = np.zeros(logs.shape), np.zeros(logs.shape)
        for place, one in enumerate(self._each):
            if one is not None:
                from_it = logs[:, place] - one.added - told[:, one.by] @ one.counts
                apart[:, place] = np.where(np.isnan(from_it), 0.0, from_it)  # it is asked of single items over and over
                scores[:, place] = apart[:, place] / np.sqrt(one.spread**2 + unknown[:, one.by] @ one.counts**2)
        return apart, scores


def _medians(logs: Floats) -> Floats:
    """The median of each column; of one that tells nothing 0."""
    found = np.zeros(logs.shape[1])
    for place in range(logs.shape[1]):
        known = logs[~np.isnan(logs[:, place]), place]
        found[place] = np.median(known) if len(known) else 0.0
    return found


def _fitted(by: Floats, figures: Floats) -> tuple[Floats, float]:
    """What each column counts and what is added, so that most figures are foretold; those far off count for nothing."""
    whole = np.hstack([np.ones((len(figures), 1)), by])
    found = np.zeros(whole.shape[1])
    found[0] = np.median(figures)
    for _ in range(_ROUNDS if by.shape[1] else 0):
        left = figures - whole @ found
        spread = max(_NORMAL * float(np.median(np.abs(left))), TOLERANCE)
        share = np.clip(1 - (left / (_BIWEIGHT * spread)) ** 2, 0, None)  # the square root of the biweight
        found = np.linalg.lstsq(whole * share[:, None], figures * share, rcond=None)[0]
    return found[1:], float(found[0])
