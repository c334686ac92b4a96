"""Values that look wrong beside those of other items of their kind, and what each probably is.

What is usual of a figure follows from the other figures of its item (`usual_figures`). An item is looked at where a
figure is more than 3.5 standard deviations off: in five of 10,000 honest ones, were they spread normally. Of all slips
(a unit taken for another, a decimal place, two columns swapped) that one is told which leaves the item as the others
are. What no slip explains is told past 6 standard deviations and a factor of 2.1. Where too few
items are there to foretell one figure by others it is held to the median of its kind, as the modified z-score of
Iglewicz and Hoaglin has it (How to Detect and Handle Outliers, ASQC, 1993), past 3.5. Where more than a tenth of a kind
stand apart they are another size of the thing, not mistakes. All bounds but the 3.5 are common practice, no source.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fitsvc.audits.spool import Spool
from fitsvc.audits.tally import kind_numbers
from fitsvc.audits.usual_figures import FEWEST, Floats, UsualFigures
from fitsvc.engine.columns.open_facts import exact_rows
from fitsvc.engine.columns.signatures import Column
from fitsvc.language.display import show
from fitsvc.language.types import ListType, NumberType, Type
from fitsvc.rulebook.vocabulary import Fact, Vocabulary
from fitsvc.subjects import KIND
from fitsvc.tongues import later, t

_LOOKED_AT: Final = 3.5
_SURE: Final = 4.2
"""Standard deviations past which a slip may leave a figure as any other is; below it has to leave it as most are."""
_AS_MOST: Final = 1.5
_UNEXPLAINED: Final = 6.0
_AS_OTHERS: Final = 3.0
"""Standard deviations within which a figure is as others are, once a slip is mended."""
_LEAST_SLIP: Final = float(np.log(1.6))
_NEAR: Final = float(np.log(2.1))
_MOST_SHARE: Final = 0.1
_MAYBE: Final = 2.5
_MOST_MARKS: Final = 8
_TOGETHER: Final = 20_000
"""Items of a kind that are looked at together, and at most learnt from: 20 MB of figures."""
_SLIPS: Final[Mapping[str, tuple[tuple[float, str], ...]]] = {
    "mass": (
        (0.45359237, later("kilograms written as pounds")),
        (2.2046226, later("pounds written as kilograms")),
        (10.0, later("a decimal place too many")),
        (0.1, later("a decimal place too few")),
    ),
    "length": (
        (25.4, later("millimetres written as inches")),
        (1 / 25.4, later("inches written as millimetres")),
        (2.54, later("centimetres written as inches")),
        (1 / 2.54, later("inches written as centimetres")),
        (12.0, later("inches written as feet")),
        (1 / 12.0, later("feet written as inches")),
        (10.0, later("a decimal place too many")),
        (0.1, later("a decimal place too few")),
    ),
}
"""What a figure is multiplied by when its unit is mistaken so. Kilograms written as pounds: 50 kg read as 50 lb."""
_CLOSE: Final = 0.3
"""How close, as a logarithm, the whole of a column is to a slip's factor where it is taken for that slip."""
_AT_A_TIME: Final = 128
"""Items whose slips are tried together: with two dozen figures each at most 10 MB of them."""
Usual = Mapping[tuple[str, str], float]
"""By kind and fact the median of the natural logarithms of a figure, as the goods of a store have it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Suspicious:
    """One figure that looks wrong: the item's place, the fact, the figure, what is usual, and what it may be.

    Of a whole column that does, the item is -1.
    """

    item: int
    fact: str
    kind: str
    value: str
    usual: str
    score: float
    guess: str


class CatalogueFigures:
    """The figures of a catalogue by rows and facts, as logarithms, and the sizes and kinds that tell items apart."""

    def __init__(
        self, spool: Spool, blocks: int, slots: Mapping[str, Type], kinds: Sequence[str], vocabulary: Vocabulary
    ) -> None:
        """Of what any item tells, the logarithms of all figures are held, 4 bytes each, and 1 byte for each size."""
        self.kinds = kinds
        figures = {name: of for name, of in slots.items() if isinstance(of, NumberType) and vocabulary.fact_of(name)}
        sizes = {name: of for name, of in slots.items() if isinstance(of, ListType) and self._tells_apart(name, of)}
        count = sum(len(spool.skus(block)) for block in range(blocks))
        members = [(name, of.mask(member)) for name, of in sizes.items() for member in of.members]
        logs, marks = dict[str, NDArray[np.float32]](), dict[tuple[str, int], NDArray[np.bool_]]()
        kind = np.zeros(count, np.uint64)
        start = 0
        # Block by block, as their files hold all columns together.
        for block in range(blocks):
            items = spool.block(block)
            rows = slice(start, start := start + len(items.skus))
            for name, number in figures.items():
                known = _logs(number, items.columns[name])
                if name in logs or not np.isnan(known).all():
                    logs.setdefault(name, np.full(count, np.nan, np.float32))[rows] = known
            for one in members:
                there: NDArray[np.bool_] = np.equal(items.columns[one[0]], one[1])
                if one in marks or there.any():
                    marks.setdefault(one, np.zeros(count, np.bool_))[rows] = there
            kind[rows] = items.columns[KIND]
        self.kind = kind_numbers(kind, len(kinds), count)
        told = {name: fact for name in figures if name in logs and (fact := vocabulary.fact_of(name))}
        self.facts = [(fact, figures[name]) for name, fact in told.items()]
        self.compared = [fact.kind != "count" for fact in told.values()]
        self._logs, self._marks = [logs[name] for name in told], [marks[one] for one in members if one in marks]

    def of(self, rows: NDArray[np.intp]) -> tuple[Floats, Floats]:
        """The logarithms and the marks of some items."""
        logs, marks = np.empty((len(rows), len(self._logs))), np.empty((len(rows), len(self._marks)))
        for table, columns in ((logs, self._logs), (marks, self._marks)):
            for place, column in enumerate(columns):
                table[:, place] = column[rows]
        return logs, marks

    def usual(self) -> Usual:
        """The median of each figure's natural logarithm by kind and fact, of those that enough items tell exactly."""
        found = {}
        for number, name in enumerate(self.kinds):
            rows = np.flatnonzero(self.kind == number)
            for (fact, _), column in zip(self.facts, self._logs, strict=True):
                known = column[rows]
                known = known[~np.isnan(known)]
                if name and len(known) >= FEWEST:
                    found[name, fact.short] = float(np.median(known))
        return found

    @staticmethod
    def _tells_apart(name: str, of: ListType) -> bool:
        return name != KIND and 1 < len(of.members) <= _MOST_MARKS


def _logs(of: NumberType, column: Column) -> NDArray[np.float32]:
    """The logarithms of a column's figures; not a number where none is known exactly."""
    assert isinstance(column, tuple)
    low, high = column
    known = exact_rows(of, (low, high)) & (low > 0.0)
    found = np.full(len(low), np.nan, np.float32)
    found[known] = np.log(low[known])
    return found


def suspicious(figures: CatalogueFigures, usual: Usual) -> Iterator[Suspicious]:
    """Every figure that looks wrong, kind by kind; columns that do as a whole, beside what is `usual`, come first."""
    yield from _whole_columns(figures, usual)
    for number, name in enumerate(figures.kinds):
        rows = np.flatnonzero(figures.kind == number)
        if len(rows) >= FEWEST and figures.facts:
            learnt = _OfKind(figures, rows[:: -(-len(rows) // _TOGETHER)])
            for start in range(0, len(rows), _TOGETHER):
                some = rows[start : start + _TOGETHER]
                of_kind = learnt if len(some) == len(rows) else _OfKind(figures, some, learnt)
                for row, place, score, foretold, guess in of_kind.wrong():
                    log = of_kind.logs[row, place]
                    yield _told(figures.facts[place], int(some[row]), name, log, foretold, score, guess)


def _told(
    of: tuple[Fact, NumberType], item: int, kind: str, log: float, usual: float, score: float, guess: str
) -> Suspicious:
    fact, type = of
    value, middle = (show(one, one, type.dimension, fact.shown_in, "us") for one in np.exp([log, usual]).tolist())
    return Suspicious(item=item, fact=fact.short, kind=kind, value=value, usual=middle, score=score, guess=t(guess))


def _whole_columns(figures: CatalogueFigures, usual: Usual) -> Iterator[Suspicious]:
    """The columns that are as many times what is usual, in most kinds, as one unit is of another."""
    here = figures.usual() if usual else {}
    swapped = _whole_swaps(figures, here, usual)
    for fact, of in figures.facts:
        keys = [key for name in figures.kinds if (key := (name, fact.short)) in here and key in usual]
        own, theirs = [here[key] for key in keys], [usual[key] for key in keys]
        shifts = [one - other for one, other in zip(own, theirs, strict=True)]
        if not shifts:
            continue
        shift = float(np.median(shifts))
        if fact.short in swapped:
            middle = float(np.median(own)), float(np.median(theirs))
            guess = t("the whole column: {what}", what=swapped[fact.short])
            yield _told((fact, of), -1, "", *middle, shift, guess)
            continue
        for factor, words in _SLIPS.get(fact.kind, ()):
            near = np.abs(np.array(shifts) - np.log(factor)) < _CLOSE
            if abs(shift - np.log(factor)) < _CLOSE and near.mean() > 0.5:
                guess = t("the whole column: {what}", what=t(words))
                middle = float(np.median(own)), float(np.median(theirs))
                yield _told((fact, of), -1, "", *middle, shift, guess)
                break


def _whole_swaps(figures: CatalogueFigures, here: Usual, usual: Usual) -> dict[str, str]:
    """The columns that stand under each other's title, each with the words for it.

    Neither is as usual, and in most kinds each is as is usual of the other. One mistake is likelier than two, so it
    goes before a slip of each.
    """
    found = dict[str, str]()
    for (one, _), (other, _) in combinations(figures.facts, 2):
        if one.kind != other.kind or one.kind == "count":
            continue
        both = ((one.short, other.short), (other.short, one.short))
        in_both = here.keys() & usual.keys()
        kinds = [name for name in figures.kinds if all((name, a) in in_both for a, _ in both)]
        off = [min(abs(here[name, a] - usual[name, a]) for a, _ in both) for name in kinds]
        left = [max(abs(here[name, a] - usual[name, b]) for a, b in both) for name in kinds]
        if kinds and np.median(off) > _LEAST_SLIP and np.mean(np.array(left) < _CLOSE) > 0.5:
            found |= dict.fromkeys((one.short, other.short), _swapped(one, other))
    return found


class _Slip(NamedTuple):
    """A mistake that may be made of an item: the columns that it is of, the logarithm of its factor, and its words."""

    places: list[int]
    factor: float
    words: str


def _slips_of(facts: Sequence[Fact]) -> list[_Slip]:
    """The slips of single figures, and of two of a sort in each other's place."""
    single = [
        _Slip([place], float(np.log(factor)), words)
        for place, fact in enumerate(facts)
        for factor, words in _SLIPS.get(fact.kind, ())
    ]
    return single + [
        _Slip([one, other], 0.0, _swapped(facts[one], facts[other]))
        for one, other in combinations(range(len(facts)), 2)
        if facts[one].kind == facts[other].kind != "count"
    ]


def _swapped(one: Fact, other: Fact) -> str:
    return t("{one} and {other} are swapped", one=one.label, other=other.label)


class _OfKind:
    """The items of one kind."""

    def __init__(self, figures: CatalogueFigures, rows: NDArray[np.intp], sample: "_OfKind | None" = None) -> None:
        """Some of its items, beside what is usual of a `sample` of them; without one of all these."""
        self.facts = [fact for fact, _ in figures.facts]
        self._slips = _slips_of(self.facts)
        self.logs, self.marks = figures.of(rows)
        self.usual: UsualFigures = sample.usual if sample else UsualFigures(self.logs, self.marks)
        compared = np.array(figures.compared, np.bool_)
        self.apart, self.scores = self.usual.distances(self.logs, self.marks)
        self.scores[:, ~compared] = 0.0
        self.off = (np.abs(self.scores) > _LOOKED_AT) & (np.abs(self.apart) >= _LEAST_SLIP)
        known = np.maximum((~np.isnan(self.logs)).sum(axis=0), 1)
        self.sizes: NDArray[np.bool_] = sample.sizes if sample else self.off.sum(axis=0) > _MOST_SHARE * known
        self.off[:, self.sizes] = False

    def wrong(self) -> Iterator[tuple[int, int, float, float, str]]:
        """Each figure that looks wrong: its row and column, the score, what is foretold, and what it probably is."""
        every: list[int] = np.flatnonzero(self.off.any(axis=1)).tolist()
        for row, (places, guess) in zip(every, self._explained(every), strict=True):
            if not places:
                place = int(np.argmax(np.where(self.off[row], np.abs(self.scores[row]), 0)))
                is_far = abs(self.scores[row, place]) > _UNEXPLAINED or not self.usual.by_others[place]
                places = [place] if is_far and abs(self.apart[row, place]) >= _NEAR else []
            for place in places:
                foretold = self.logs[row, place] - self.apart[row, place]
                yield row, place, float(self.scores[row, place]), float(foretold), guess

    def _explained(self, rows: Sequence[int]) -> Iterator[tuple[list[int], str]]:
        """Of each item the slip that leaves it as the others are: its columns and words; nothing where none does."""
        for start in range(0, len(rows), _AT_A_TIME):
            some = np.array(rows[start : start + _AT_A_TIME], np.intp)
            item, slip, logs = self._tried(some)
            scores = np.abs(self.usual.distances(logs, self.marks[some[item]])[1])
            scores[:, [fact.kind == "count" for fact in self.facts]] = 0.0
            ends = np.searchsorted(item, np.arange(len(some) + 1)).tolist()
            for row, begin, end in zip(some.tolist(), ends, ends[1:], strict=False):
                tried = [self._slips[number] for number in slip[begin:end].tolist()]
                yield self._best(row, tried, scores[begin:end]) if tried else ([], "")

    def _tried(self, rows: NDArray[np.intp]) -> tuple[NDArray[np.intp], NDArray[np.intp], Floats]:
        """Of some items each slip that may be of theirs: the item's place among them, the slip's, the figures mended.

        A slip of a unit is of a figure that is far off, a swap of two of which one is.
        """
        first, second = (np.array([slip.places[end] for slip in self._slips], np.intp) for end in (0, -1))
        factors = np.array([slip.factor for slip in self._slips])
        far, known = np.abs(self.scores[rows]) > _MAYBE, ~np.isnan(self.logs[rows])
        may_be = (far[:, first] | far[:, second]) & known[:, first] & known[:, second]
        item, slip = np.nonzero(may_be)
        logs, trial = self.logs[rows[item]], np.arange(len(item))
        ends = logs[trial, first[slip]], logs[trial, second[slip]]
        logs[trial, first[slip]], logs[trial, second[slip]] = ends[1] - factors[slip], ends[0] - factors[slip]
        return item, slip, logs

    def _best(self, row: int, tried: Sequence["_Slip"], scores: Floats) -> tuple[list[int], str]:
        """Of the slips that were tried of an item, with how far each leaves its figures, the one that explains it."""
        best = int(np.argmin((np.minimum(scores, _SURE) ** 2).sum(axis=1)))
        places, words = tried[best].places, tried[best].words
        is_sure = bool((np.abs(self.scores[row]) > np.where(self.usual.by_others, _SURE, _LOOKED_AT)).any())
        as_others = scores[best].max() <= _AS_OTHERS and (is_sure or scores[best, places].max() <= _AS_MOST)
        return (places, words) if as_others else ([], "")
