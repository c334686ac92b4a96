"""By how much each accessory of a shelf misses what a rig asks for."""

from math import inf
from typing import Final

import numpy as np
from numpy.typing import NDArray

from fitsvc.engine.point import Point
from fitsvc.engine.support import Support
from fitsvc.facts import Case, FactReader
from fitsvc.language.quantities import LENGTH, MASS
from fitsvc.planning.parts import with_items
from fitsvc.planning.wares import Fold
from fitsvc.rulebook.filling import ACCESSORY

_STEPS: Final = {MASS: 10.0, LENGTH: 25.4}
"""What is as much of one thing as of another, inside: ten kilograms, an inch; an estimate."""
_AS_A_CHOICE: Final = 100.0
"""Steps that a rule without a figure is broken by: another size of shank is another part."""
MOST_FIGURES: Final = 4_000
"""Unlike figures that are worked out on one rig, a quarter of a second for as many; items with others come last."""


class Excess:
    """By how much accessories break the rules that fail, in steps that a person would call as much.

    By how much a rule is broken is worked out once for all items that are alike in what that rests on.
    """

    def __init__(self, engine: Point, reader: FactReader, case: Case, fold: Fold) -> None:
        self._engine, self._reader, self._case, self._fold = engine, reader, case, fold
        self._fails = fold.fails(fold.judged(case))
        self._own = fold.called(case.of_items.keys())
        self._names: dict[int, list[str]] = {}
        self._known: dict[object, float] = {}

    def of(self, places: NDArray[np.intp]) -> NDArray[np.float64]:
        """The steps of all rules that fail with each of some items, given by their places in order."""
        found = np.zeros(len(places))
        for number, flags in self._fails.items():
            broken = np.flatnonzero(flags[places])
            if self._engine.rulebook.rules[number].margin is None:
                found[broken] += _AS_A_CHOICE
            elif len(broken):
                found[broken] += self._each(number, places[broken])
        return found

    def _each(self, number: int, places: NDArray[np.intp]) -> NDArray[np.float64]:
        """The steps by which each of some items breaks a rule: those of one for all that are alike in them."""
        found, own = np.zeros(len(places)), self._own[places]  # of its own items the rig knows more than the shelf
        others = places[~own]
        groups = self._fold.alike(self._rests_on(number), others)
        found[~own] = np.array([self._by(number, one) for one in others[groups.first].tolist()], np.float64)[
            groups.group
        ]
        found[own] = [self._by(number, one) for one in places[own].tolist()]
        return found

    def _by(self, number: int, place: int) -> float:
        item = self._fold.items[place]
        own = self._case.of_items.get(item.sku, {})
        key = number, *((own.get(name), item.values.get(name)) for name in self._rests_on(number))
        if key not in self._known:
            few = len(self._known) < MOST_FIGURES
            self._known[key] = self._steps(number, place) if few else inf
        return self._known[key]

    def _rests_on(self, number: int) -> list[str]:
        """The facts of an accessory on which it rests by how much a rule is broken."""
        if number not in self._names:
            margin = self._engine.rulebook.rules[number].margin
            assert margin is not None
            of = Support([margin.node], self._engine.derived if self._case.adapters else self._engine.bare_derived)
            names = dict.fromkeys([*(read.name for read in of.leaves), *of.presences])
            self._names[number] = [name for name in names if name.startswith(f"{ACCESSORY}.")]
        return self._names[number]

    def _steps(self, number: int, place: int) -> float:
        """The least by which a rule is broken, in steps of its dimension."""
        margin = self._engine.rulebook.rules[number].margin
        assert margin is not None
        case = self._engine.opened(with_items(self._case, self._reader, self._fold.items[place]))
        (bounds,) = self._engine.values(("excess", number), lambda: [margin.node]).of(case)
        assert isinstance(bounds, tuple)
        return min(abs(end) for end in bounds) / (_STEPS.get(margin.dimension, 1.0) if margin.dimension else 1.0)
