"""A choice that is open over columns: of whom it is, what values it may have, and what follows from each.

Of the rig's own the rules are judged for the rig with a value; of the items' the signatures are written out with it.
"""

from collections.abc import Callable, Hashable, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fitsvc.engine.choices import Choice
from fitsvc.engine.columns.bitmaps import Words, pack, unpack
from fitsvc.engine.columns.programs import Program
from fitsvc.engine.columns.rules import Held, Judge, RuleColumn
from fitsvc.engine.columns.signatures import Catalogue, Column, column_of
from fitsvc.engine.columns.views import ItemValues, SomeItems
from fitsvc.language.truth import UNKNOWN
from fitsvc.language.types import ListType, Value
from fitsvc.rulebook.outcomes import Result


class Supposed(NamedTuple):
    """A choice supposed to have a value: where it may have it (None: everywhere), and what a rule so comes to.

    `bits` tells where that is a result.
    """

    possible: Words | None
    entry: Callable[[int], RuleColumn]
    bits: Callable[[RuleColumn, Result], Words | None]

    def where(self, number: int, result: Result) -> Words | None:
        """Where a rule so has a result."""
        return self.bits(self.entry(number), result)


class OpenChoice:
    """A choice that is open, where it is (None: everywhere), with the values it may have and what follows from one.

    `rests_on` tells what a rule's or need's results with each of the values rest on, by its number; None: not known.
    """

    __slots__ = ("_suppose", "_supposed", "rests_on", "values", "where")

    def __init__(
        self,
        where: Words | None,
        values: Sequence[Value],
        suppose: Callable[[Value], Supposed],
        rests_on: Callable[[int], Hashable],
    ) -> None:
        self.where, self.values, self._suppose, self.rests_on = where, values, suppose, rests_on
        self._supposed: dict[Value, Supposed] = {}

    def suppose(self, value: Value) -> Supposed:
        """What follows from a value; found once, however many ask."""
        found = self._supposed.get(value)
        if found is None:
            found = self._supposed[value] = self._suppose(value)
        return found


Open = Sequence[tuple[Choice, Sequence[OpenChoice]]]
"""The choices that are open of a rig and a catalogue, each with those of whom it is open: found once for both."""


class WrittenOut:
    """The signatures of which a choice is open and may have one value, with that value."""

    def __init__(
        self, program: Program, items: ItemValues, catalogue: Catalogue, choice: Choice, value: Value, *, held: Held
    ) -> None:
        column = column_of_choice(catalogue, choice)
        self._program, self._count, self._held = program, catalogue.count, held
        self._rows = np.flatnonzero(is_open(column, choice) & _may_be(column, choice, value))
        self.possible = _spread(self._rows, self._count)
        supposed = column_of(choice.type, [value] * len(self._rows))
        self._items = SomeItems(items, self._rows, choice.name, supposed)
        self.judges: dict[int, Judge] = {}
        # By the entry, which is held with it, so that no other is at its address.
        self._bits: dict[tuple[int, Result], tuple[RuleColumn, Words]] = {}

    def entry(self, number: int, values: tuple[Value, ...]) -> RuleColumn:
        """What a rule comes to for a rig given by its own values."""
        judge = self.judges.get(number)
        if judge is None:
            member = self._program.members[number]
            judge = self.judges.setdefault(number, Judge(self._program, member, self._items, self._held))
        return judge.entry(values)

    def let_go(self) -> None:
        """Keep nothing that only makes more judges."""
        self._items.let_go()

    def forget(self) -> None:
        """Let go of all kept results."""
        self._bits.clear()
        for judge in list(self.judges.values()):
            judge.forget()

    def bits(self, entry: RuleColumn, result: Result) -> Words | None:
        """Where a rule fails, or is undetermined, over the whole catalogue; kept, as most rigs come to few entries."""
        found = bits_of(entry, result)
        if found is None:
            return None
        kept = self._bits.get((id(entry), result))
        if kept is None:
            words = _spread(self._rows[unpack(found, len(self._rows))], self._count)
            kept = self._bits[id(entry), result] = entry, words
            self._held.bytes += words.nbytes
        return kept[1]


def bits_of(entry: RuleColumn, result: Result) -> Words | None:
    """Where a rule fails, or is undetermined, of what its entry is about; None for nowhere."""
    return entry.fails if result == "fails" else entry.undetermined


def _spread(rows: NDArray[np.intp], count: int) -> Words:
    flags = np.zeros(count, np.bool_)
    flags[rows] = True
    return pack(flags)


def column_of_choice(catalogue: Catalogue, choice: Choice) -> Column:
    """What is known of a choice; a fact without a column is unknown of every item."""
    found = catalogue.columns.get(choice.name)
    return column_of(choice.type, [None] * catalogue.count) if found is None else found


def is_open(column: Column, choice: Choice) -> NDArray[np.bool_]:
    """Of which signatures a choice is open, by its column."""
    assert isinstance(column, np.ndarray)
    return np.asarray(
        np.bitwise_count(column) > 1 if isinstance(choice.type, ListType) else column == UNKNOWN, np.bool_
    )


def _may_be(column: Column, choice: Choice, value: Value) -> NDArray[np.bool_]:
    assert isinstance(column, np.ndarray) and isinstance(value, int)
    listed = isinstance(choice.type, ListType)
    return np.asarray(column & np.uint64(value) != 0 if listed else np.ones(len(column)), np.bool_)
