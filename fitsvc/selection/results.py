"""What a rig comes to with the signatures of a segment: outcomes, the rules and needs that decide, and counts."""

from collections import Counter
from collections.abc import Iterable, Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fitsvc.engine.columns.bitmaps import Words
from fitsvc.engine.columns.kernel import OUTCOMES, Judged
from fitsvc.engine.point import Outcome, Verdict
from fitsvc.language.types import Value
from fitsvc.rulebook.rules import Rule, Rulebook


class Deciding(NamedTuple):
    """Where the first rule or need behind an outcome is this one, by its number as in `codes_of`."""

    number: int
    place: int
    where: Words


class Told(NamedTuple):
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

    A rule goes by its number, a need by its number after the rules.
    """
    if verdict.outcome == "fails":
        return sorted(verdict.fails)
    if verdict.outcome == "undetermined":
        return sorted(verdict.unknown)
    needs = [rules + number for number in sorted(verdict.open_needs)]
    return [*sorted(verdict.cautions), *sorted(verdict.doubts), *needs]


def tally(
    numbers: NDArray[np.intp], places: NDArray[np.uint8], weights: NDArray[np.int64] | None = None
) -> Counter[tuple[int, int]]:
    """How many rows, or how much weight, have each number with each place of an outcome."""
    counts = np.bincount(numbers * len(OUTCOMES) + places, weights)
    found = ((row, round(float(counts[row]))) for row in np.flatnonzero(counts).tolist())
    return Counter({divmod(row, len(OUTCOMES)): count for row, count in found})


def deciding(judged: Judged, rulebook: Rulebook) -> Iterator[Deciding]:
    """The rules and needs that decide anywhere: first of those that bring the outcome about, as `codes_of` has it."""
    fails, unknown, doubts = (words.copy() for words in judged.bitmaps())
    left = {"fails": fails, "undetermined": unknown, "conditional": doubts}
    for number, words, outcome in _in_order(judged, rulebook):
        taken = words & left[outcome]
        if taken.any():
            yield Deciding(number, OUTCOMES.index(outcome), taken)
            left[outcome] ^= taken


def _in_order(judged: Judged, rulebook: Rulebook) -> Iterable[tuple[int, Words, Outcome]]:
    """Each rule's and need's bitmaps with what they bring about: failures before doubts, and needs at the end."""
    entries = list(enumerate(judged.entries))
    rules = list(zip(entries, rulebook.rules, strict=False))
    for (number, entry), rule in rules:
        if entry.fails is not None:
            yield number, entry.fails, "fails" if rule.severity == "blocking" else "conditional"
    for (number, entry), rule in rules:
        if entry.undetermined is not None:
            yield number, entry.undetermined, "undetermined" if _leaves_open(rule) else "conditional"
    for number, entry in entries[len(rules) :]:
        if entry.fails is not None:
            yield number, entry.fails, "conditional"


def _leaves_open(rule: Rule) -> bool:
    return rule.severity == "blocking" and rule.if_unknown == "undetermined"
