"""What a rig comes to with the signatures of a segment: outcomes, the rules and needs that decide, and counts."""

from collections import Counter
from collections.abc import Iterable, Iterator
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fitsvc.engine.columns.bitmaps import Words, unpack
from fitsvc.engine.columns.kernel import Judged
from fitsvc.engine.verdict import MOST_APART, MOST_LEFT, Verdict
from fitsvc.language.types import Value
from fitsvc.rulebook.outcomes import OUTCOME_OF, OUTCOMES, Effect, Outcome

_EFFECTS: Final[tuple[Effect, ...]] = tuple(effect for effect, outcome in OUTCOME_OF.items() if outcome != "works")
"""In the order in which they are told."""


class Deciding(NamedTuple):
    """Where the first rule or need behind an outcome is this one, by its number as in `codes_of`."""

    number: int
    place: int
    where: Words


class SegmentResults(NamedTuple):
    """What a rig comes to with each signature of a segment: the outcome's place in `OUTCOMES`, and what decides it.

    `places` counts all items by the place of their outcome; `kinds` and `by_code` by kind and by code, each with the
    outcome's place.
    """

    outcomes: NDArray[np.uint8]
    decided: list[Deciding]
    places: NDArray[np.int64]
    kinds: Counter[tuple[Value | None, int]]
    by_code: Counter[tuple[int, int]]


def codes_of(verdict: Verdict, rules: int) -> list[int]:
    """The rules and needs that bring an outcome about, in the order in which findings are told.

    A rule goes by its number, a need by its number after the rules. What is moot brings nothing about.
    """
    if verdict.either_way and verdict.outcome == "fails":
        return verdict.either_way.rules
    found: list[int] = []
    for effect in _EFFECTS:
        if OUTCOME_OF[effect] == verdict.outcome:
            before = rules if effect == "open_needs" else 0
            found += [before + number for number in sorted(verdict.left(effect))]
    return found


def in_order(found: Iterable[tuple[int, Effect, Words]]) -> list[tuple[int, Effect, Words]]:
    """What brings outcomes about, in the order in which findings are told."""
    return sorted(found, key=lambda one: (_EFFECTS.index(one[1]), one[0]))


def ranks(judged: Judged) -> NDArray[np.uint8]:
    """What `Verdict.left_to_do` is of each signature of a catalogue."""
    count = judged.catalogue.count
    found = {effect: np.zeros(count, np.uint16) for effect in _EFFECTS}
    for _, effect, words in judged.effects():
        if effect in found:
            found[effect] += unpack(words, count)
    open_ = np.minimum(found["doubts"] + found["open_needs"], MOST_APART)
    total = np.minimum(found["cautions"], MOST_APART) * (MOST_APART + 1) + open_
    total[~unpack(np.bitwise_or.reduce(list(judged.bitmaps().values())), count)] = 0
    of_one: tuple[tuple[Outcome, Effect], ...] = (("undetermined", "unknown"), ("fails", "fails"))
    for outcome, effect in of_one:
        total = np.where(unpack(judged.bitmaps()[outcome], count), found[effect], total)
    found_ranks: NDArray[np.uint8] = np.minimum(total, MOST_LEFT).astype(np.uint8)
    return found_ranks


def tally(
    numbers: NDArray[np.intp], places: NDArray[np.uint8], weights: NDArray[np.int64] | None = None
) -> Counter[tuple[int, int]]:
    """How many rows, or how much weight, have each number with each place of an outcome."""
    counts = np.bincount(numbers * len(OUTCOMES) + places, weights)
    found = ((row, round(float(counts[row]))) for row in np.flatnonzero(counts).tolist())
    return Counter({divmod(row, len(OUTCOMES)): count for row, count in found})


def deciding(judged: Judged) -> Iterator[Deciding]:
    """The rules and needs that decide anywhere: first of those that bring the outcome about, as `codes_of` has it."""
    left = {outcome: words.copy() for outcome, words in judged.bitmaps().items()}
    for number, effect, words in in_order(judged.deciding()):
        outcome = OUTCOME_OF[effect]
        taken = words & left[outcome]
        if taken.any():
            yield Deciding(number, OUTCOMES.index(outcome), taken)
            left[outcome] ^= taken
