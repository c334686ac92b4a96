"""By cases, over columns: the signatures with which some rule fails for each value of one open choice, or none does.

Where the choice is the rig's, the rules that rest on it are judged for the rig with each of its values. Where it is
the items', the signatures of which it is open are written out, once for each value, when they are first needed; what
does not rest on it is taken from the catalogue. A catalogue and a rig without open choices pay for a look at each, and
nothing more.
"""

from collections.abc import Callable, Hashable, Mapping, Sequence
from typing import Final

import numpy as np

from fitsvc.engine.choices import Choice, Choices, latest_first
from fitsvc.engine.columns.bitmaps import Words, differing, pack
from fitsvc.engine.columns.open_choices import (
    Open,
    OpenChoice,
    Supposed,
    WrittenOut,
    bits_of,
    column_of_choice,
    is_open,
)
from fitsvc.engine.columns.programs import Program
from fitsvc.engine.columns.rules import KEY_BYTES, Held, Judge, RuleColumn
from fitsvc.engine.columns.signatures import Catalogue
from fitsvc.engine.columns.views import ItemValues
from fitsvc.facts import Case
from fitsvc.language.truth import NO
from fitsvc.language.types import Value
from fitsvc.rulebook.outcomes import Result

_DECIDED: Final[tuple[Result, ...]] = ("fails", "undetermined")


class Cases:
    """The cases of one catalogue; what is written out of it is kept with its judges."""

    def __init__(
        self,
        program: Program,
        items: ItemValues,
        judges: Sequence[Judge],
        held: Held,
        most_kept: int,
    ) -> None:
        """Of results so many bytes are kept before all are let go."""
        self._program, self._items, self._judges = program, items, judges
        self._held, self._most_kept = held, most_kept
        rules = program.engine.rulebook.rules
        self._rules = len(rules)
        self._open: dict[str, Words | None] = {}
        self._parts: dict[tuple[str, Value], WrittenOut] = {}
        self._failed: dict[tuple[str, Value], Sequence[int]] = {}
        self._passing: dict[Hashable, Words | None] = {}
        self._against: dict[tuple[str, int], Value] = {}

    def make_room(self) -> None:
        """Let go of all kept results if they are too many; they are computed again when asked for."""
        if self._held.bytes > self._most_kept:
            for judge in self._judges:
                judge.forget()
            for part in list(self._parts.values()):
                part.forget()
            self._passing = {}
            self._held.bytes = 0

    def let_go(self) -> None:
        """Keep nothing of what is written out that only makes more judges."""
        for part in list(self._parts.values()):
            part.let_go()

    def open_choices(self, catalogue: Catalogue, rig: Case, values: tuple[Value, ...]) -> Open:
        """The choices that are open, of the rig, its adapters in turn, or the items."""
        self.make_room()
        choices = self._choices(catalogue, rig)
        found = [(one, self._open_choices(choices, one, catalogue, rig, values)) for one in choices.all]
        return [(choice, some) for choice, some in found if some]

    def fails_either_way(self, opened: Open, entries: Sequence[RuleColumn], settled: Words) -> dict[int, Words]:
        """Where signatures fail with each value of a choice, by the rules that fail with any of them.

        Those that fail already are `settled`.
        """
        found = dict[int, Words]()

        def failing(choice: Choice, rules: Sequence[int], open_: OpenChoice, left: Words) -> Words:
            every = self._failing(choice, rules, open_, left)
            for number, where in _decided(rules, open_, every) if every.any() else ():
                found[number] = found[number] | where if number in found else where
            return every

        _each_choice(opened, entries, settled, failing=failing)
        return found

    def failing_either_way(self, opened: Open, entries: Sequence[RuleColumn], settled: Words) -> Words:
        """Where signatures fail with each value of a choice, whichever rules fail, as `fails_either_way` tells it."""
        return _each_choice(opened, entries, settled, failing=self._failing)

    def _failing(self, choice: Choice, rules: Sequence[int], open_: OpenChoice, left: Words) -> Words:
        """Those of the signatures that are left with which some of the rules fails for each value."""
        left = left if open_.where is None else left & open_.where
        if not rules:
            return np.zeros_like(left)
        for value in open_.values:
            supposed = open_.suppose(value)
            may_be = left if supposed.possible is None else left & supposed.possible
            if may_be.any():
                left = left & ~self._spared(choice, value, rules, supposed, may_be)
                if not left.any():
                    break
        return left

    def _spared(self, choice: Choice, value: Value, rules: Sequence[int], supposed: Supposed, left: Words) -> Words:
        """Those of the signatures that are left with which none of some rules fails with a value of a choice.

        The rules by which the last such search came to its end are tried first, as rigs are much alike.
        """
        last, failing = self._failed.get((choice.name, value), ()), list[int]()
        for number in dict.fromkeys((*(one for one in last if one in rules), *rules)):
            fails = supposed.where(number, "fails")
            if fails is not None and (left & fails).any():
                failing.append(number)
                left = left & ~fails
                if not left.any():
                    break
        self._failed[choice.name, value] = failing
        return left

    def losable(self, opened: Open, entries: Sequence[RuleColumn]) -> dict[int, Words]:
        """Where rules and needs are open that may be moot by some choice, by their numbers in one row."""
        every = {number for choice, _ in opened for number in choice.lost_members(self._rules)}
        known = ((number, self._judges[number].where_open(entries[number])) for number in sorted(every))
        return {number: words for number, words in known if words is not None}

    def moot(self, opened: Open, number: int, words: Words, left: Words) -> Words:
        """Where a rule or need is in the way with no value of some choice, of the signatures that are left.

        It is open with `words`, as `losable` tells them.
        """
        found = np.zeros_like(left)
        for choice, some in opened:
            for one in some if choice.may_lose(number, self._rules) else ():
                if (left if one.where is None else left & one.where).any():
                    passing = self._passing_with_each(choice, one, number, words)
                    if passing is not None:
                        found, left = found | passing & left, left & ~passing
        return found

    def _passing_with_each(self, choice: Choice, open_: OpenChoice, number: int, words: Words) -> Words | None:
        """Where a rule or need that is open passes with each value of a choice; it is kept by what it rests on."""
        kept, key = self._passing, open_.rests_on(number)
        if key in kept:
            return kept[key]
        found = self._tried(choice, open_, number, words)
        if key is not None:
            kept[key] = found
            self._held.bytes += KEY_BYTES + (0 if found is None else found.nbytes)
        return found

    def _tried(self, choice: Choice, open_: OpenChoice, number: int, left: Words) -> Words | None:
        """The same, value by value: first that by which the last such search came to an end, as rigs are much alike."""
        left = left if open_.where is None else left & open_.where
        last = self._against.get((choice.name, number))
        for value in latest_first(open_.values, last):
            supposed = open_.suppose(value)
            for words in (supposed.where(number, result) for result in _DECIDED):
                left = left if words is None else left & ~words
            if not left.any():
                self._against[choice.name, number] = value
                return None
        return left

    def unlike(
        self,
        catalogue: Catalogue,
        rigs: Sequence[Case],
        values: Sequence[tuple[Value, ...]],
        open_: Mapping[int, Words],
    ) -> Words:
        """Where some rules that are open with two rigs are not alike with some value of a choice; where they are open.

        A choice that is not as open with one as with the other may tell them apart wherever they are.
        """
        choices, found = self._choices(catalogue, rigs[0]), np.zeros_like(next(iter(open_.values())))
        for choice in choices.all:
            resting = dict.fromkeys((*choice.rules, *choice.lost_members(self._rules)))
            rules = [number for number in resting if number in open_]
            both = zip(rigs, values, strict=True) if rules else ()
            told = [self._open_choices(choices, choice, catalogue, rig, own) for rig, own in both]
            if rules and [one.values for one in told[0]] != [one.values for one in told[1]]:
                found |= np.bitwise_or.reduce([open_[number] for number in rules])
                continue
            for pair in zip(*told, strict=True):
                for value in pair[0].values:
                    found |= _unlike(rules, [one.suppose(value) for one in pair], open_, found)
        return found

    def _choices(self, catalogue: Catalogue, rig: Case) -> Choices:
        return self._program.engine.choices(bool(rig.adapters) or "adapter" in catalogue.subjects)

    def _open_choices(
        self, choices: Choices, choice: Choice, catalogue: Catalogue, rig: Case, values: tuple[Value, ...]
    ) -> list[OpenChoice]:
        """Whose choice it is, of those of whom it is open: the rig's, its adapters' in turn, or the items'."""
        of_items, found = choice.subject in catalogue.subjects, list[OpenChoice]()
        if choice.of_adapter or not of_items:
            for adapter in choice.places(rig):
                known = choice.known(rig, adapter)
                if choice.is_open(known):
                    possible = choices.in_order(choice, choice.values(known))
                    found.append(self._of_rig(choice, possible, rig, adapter, values))
        where = self._where_open(catalogue, choice) if of_items else None
        if where is not None:
            every = choices.in_order(choice, choice.values(None))
            found.append(self._of_items(choice, where, every, catalogue, values))
        return found

    def _of_rig(
        self, choice: Choice, possible: Sequence[Value], rig: Case, adapter: int | None, values: tuple[Value, ...]
    ) -> OpenChoice:
        apart = adapter is None and not self._program.written_out and not (choice.opens and rig.adapters)
        of = self._program.supposing(rig, values, choice.name) if apart else None
        facts = self._program.engine.opened(rig).facts if apart else {}

        def suppose(value: Value) -> Supposed:
            supposed = of(value) if of else self._program.rig_values(choice.supposed(rig, adapter, value))
            return Supposed(None, lambda number: self._judges[number].entry(supposed), bits_of)

        def rests_on(number: int) -> Hashable:
            read = self._program.read_by(frozenset((number,)))
            return (choice.name, number, rig.present, *map(facts.get, read)) if apart else None

        return OpenChoice(None, possible, suppose, rests_on)

    def _of_items(
        self, choice: Choice, where: Words, every: Sequence[Value], catalogue: Catalogue, values: tuple[Value, ...]
    ) -> OpenChoice:
        def suppose(value: Value) -> Supposed:
            part = self._parts.get((choice.name, value))
            if part is None:
                made = WrittenOut(self._program, self._items, catalogue, choice, value, held=self._held)
                part = self._parts.setdefault((choice.name, value), made)
            return Supposed(part.possible, lambda number: part.entry(number, values), part.bits)

        return OpenChoice(where, every, suppose, lambda number: (choice.name, number, self._judges[number].key(values)))

    def _where_open(self, catalogue: Catalogue, choice: Choice) -> Words | None:
        """Where a choice of the items is open, of those in which there is whose choice it is; None where nowhere."""
        if choice.name not in self._open:
            flags = is_open(column_of_choice(catalogue, choice), choice) & (catalogue.present[choice.subject] != NO)
            self._open[choice.name] = pack(flags) if flags.any() else None
        return self._open[choice.name]


def _each_choice(
    opened: Open,
    entries: Sequence[RuleColumn],
    settled: Words,
    *,
    failing: Callable[[Choice, Sequence[int], OpenChoice, Words], Words],
) -> Words:
    """Where signatures fail with each value of a choice, none of them `settled`.

    `failing` tells it for one open choice, by the rules that rest on it, of the signatures that are left.
    """
    found = np.zeros_like(settled)
    for choice, some in opened:
        if not choice.decides:
            continue
        left = _may_decide(choice, entries, len(settled)) & ~(settled | found)
        for open_ in some:
            if not left.any():
                break
            fails = failing(choice, _resting(choice, entries, open_, left), open_, left)
            found, left = found | fails, left & ~fails
    return found


def _unlike(rules: Sequence[int], supposed: Sequence[Supposed], open_: Mapping[int, Words], known: Words) -> Words:
    """Where rules that are open are not alike with a value supposed of two rigs; what is `known` need not be told."""
    found = np.zeros_like(known)
    for number in rules:
        one, other = (each.entry(number) for each in supposed)
        if one is other or not (open_[number] & ~known).any():
            continue
        for result in _DECIDED:
            was, now = (each.bits(entry, result) for each, entry in zip(supposed, (one, other), strict=True))
            if (unlike := differing(was, now)) is not None:
                found |= unlike & open_[number]
    return found


def _resting(choice: Choice, entries: Sequence[RuleColumn], open_: OpenChoice, left: Words) -> list[int]:
    """The rules that rest on a choice and are open with some of the signatures that are left, where it is open.

    A rule that passes, or does not apply, while the choice is open does so with each of its values.
    """
    left = left if open_.where is None else left & open_.where
    known = ((number, entries[number].undetermined) for number in choice.rules)
    return [number for number, words in known if words is not None and (words & left).any()]


def _decided(rules: Sequence[int], open_: OpenChoice, left: Words) -> list[tuple[int, Words]]:
    """Those of some rules by which signatures that are left fail with each value: the first that fails, for each."""
    left = left if open_.where is None else left & open_.where
    noted: list[tuple[int, Words]] = []
    for value in open_.values if rules else ():
        supposed = open_.suppose(value)
        spared = left if supposed.possible is None else left & supposed.possible
        for number in rules if spared.any() else ():
            fails = supposed.where(number, "fails")
            if fails is None or not (fails & spared).any():
                continue
            noted.append((number, fails & spared))
            spared = spared & ~fails
            if not spared.any():
                break
        left = left & ~spared
        if not left.any():
            return []
    return [(number, words & left) for number, words in noted if (words & left).any()]


def _may_decide(choice: Choice, entries: Sequence[RuleColumn], words: int) -> Words:
    """Where enough rules are open for a choice to decide."""
    once, found = np.zeros(words, np.uint64), np.zeros(words, np.uint64)
    for number in choice.rules:
        open_ = entries[number].undetermined
        if open_ is not None:
            found |= open_ if choice.alone >> number & 1 else once & open_
            once |= open_
    return found
