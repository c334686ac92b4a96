"""Many items in, every rule's result and the outcome out: the same meaning as `point`, for a whole catalogue at once.

`Columns(point).catalogue(items, subjects)` folds items into signatures; `judge(catalogue, rig)` tells of each
signature what `point` tells of the case made of that rig and that item.
"""

from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import reduce
from operator import or_
from typing import Final
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from fitsvc.caching import LruCache
from fitsvc.engine.columns.bitmaps import Words, differing, unpack, words_for
from fitsvc.engine.columns.cases import Cases
from fitsvc.engine.columns.open_choices import Open
from fitsvc.engine.columns.programs import Program, RatingParts
from fitsvc.engine.columns.rules import FAILS, Held, Judge, RuleColumn
from fitsvc.engine.columns.signatures import Catalogue, Column, columns_of, known_rows
from fitsvc.engine.columns.values import Cells, Evaluation
from fitsvc.engine.columns.views import ItemValues
from fitsvc.engine.point import Point
from fitsvc.facts import Case
from fitsvc.language import typed
from fitsvc.language.truth import NO, UNKNOWN, YES
from fitsvc.language.types import Type, Value
from fitsvc.rulebook.outcomes import OUTCOME_OF, OUTCOMES, Effect, Outcome

MOST_KEPT: Final = 256 << 20
"""Bytes of results kept for one catalogue before all are let go."""
_WORST_FIRST: Final = OUTCOMES[:0:-1]
_MOST_PROGRAMS: Final = 32
"""One for every set of subjects that is judged as a catalogue, and for each number of adapters if these are written
out: a shop's few catalogues with rigs of up to `MOST_ADAPTERS`."""
_PAIRS: Final = 4 << 20
_MOST_RIGS: Final = 1024
"""So many rigs at most, and pairs of a rig and a signature, are judged together."""
_NONE: Final[Mapping[str, NDArray[np.bool_]]] = {}
_BITS: Final = 64
UNREAD: Final = " unread"
"""The column of facts that could not be read, a bit each; of more than 64 some share one."""
_APART: Final = ""
"""The column that tells items apart which are folded with no others; no slot has such a name."""


class Columns:
    """A rulebook ready to judge catalogues."""

    def __init__(self, engine: Point, most_kept: int = MOST_KEPT) -> None:
        self.engine, self.most_kept = engine, most_kept
        self._programs = LruCache[tuple[frozenset[str], int], Program](_MOST_PROGRAMS)
        self._indexes: WeakKeyDictionary[Catalogue, LruCache[Program, Index]] = WeakKeyDictionary()

    def slots(self, subjects: Iterable[str]) -> dict[str, Type]:
        """The facts of some subjects that any rule, need or limit reads: what tells signatures apart."""
        read = {node.name for node in self._asked(subjects)}
        known = self.engine.rulebook.vocabulary.slots()
        return {name: kind for name, kind in known.items() if name in read}

    def presences(self, subjects: Iterable[str]) -> list[str]:
        """The subjects, and the facts whose being in the question any rule asks of an item."""
        asked = {node.name for node in self._asked(subjects) if isinstance(node, typed.Present)}
        return sorted(asked.union(subjects))

    def _asked(self, subjects: Iterable[str]) -> Sequence[typed.Read | typed.Present]:
        return self.program(frozenset(subjects), 0).asked

    def catalogue(
        self,
        items: Sequence[Mapping[str, Value]],
        subjects: Iterable[str],
        present: Sequence[frozenset[str]] | None = None,
    ) -> Catalogue:
        """Fold items given as typed facts by slot.

        `present` tells what of each item is in the question, as in a case; left out, that is all the subjects and
        the facts that are given.
        """
        wanted = frozenset(subjects)
        if present is None:
            present = [wanted | item.keys() for item in items]
        flags = {name: np.array([name in has for has in present], np.bool_) for name in self.presences(wanted)}
        return Catalogue(wanted, columns_of(items, self.slots(wanted)), flags, len(items))

    def catalogue_of(
        self,
        columns: Mapping[str, Column],
        subjects: Iterable[str],
        count: int,
        apart: Sequence[int] = (),
        *,
        unread: Mapping[str, NDArray[np.bool_]] = _NONE,
        named: Mapping[str, NDArray[np.bool_]] = _NONE,
    ) -> Catalogue:
        """Fold items given as columns; a slot without one is unknown of every item, and not in the question.

        Each of those `apart`, given by their places, is a signature of its own. Of facts that are `unread` something
        is said that could not be read: whether that names them is as little known as their value. The column UNREAD
        keeps which they are, by the bits of `unread_bits`. Facts that are `named` are in the question, and nothing is
        known of them: a column alone cannot tell that from one that is not there.
        """
        wanted = frozenset(subjects)
        slots = self.slots(wanted)
        used = {name: columns[name] for name in slots if name in columns}
        flags = {name: known_rows(slots[name], used[name]) for name in self.presences(wanted) if name in used}
        flags |= {name: np.full(count, name in wanted) for name in self.presences(wanted) if name not in used}
        for name in named.keys() & flags.keys():
            flags[name] = flags[name] | named[name]
        for name in unread.keys() & flags.keys():
            flags[name] = np.where(unread[name], UNKNOWN, flags[name].astype(np.uint8) * YES).astype(np.uint8)
        if told := unread.keys() & slots.keys():
            bits = [unread[name].astype(np.uint64) * self.unread_bits(wanted, [name]) for name in told]
            used[UNREAD] = np.bitwise_or.reduce(bits)
        if len(apart):
            own = np.zeros(count, np.uint64)
            own[list(apart)] = np.arange(1, len(apart) + 1)
            used[_APART] = own
        return Catalogue(wanted, used, flags, count)

    def unread_bits(self, subjects: Iterable[str], names: Iterable[str]) -> np.uint64:
        """The bits of some facts in the column UNREAD, among those of some subjects that any rule reads."""
        places = {name: place for place, name in enumerate(self.slots(subjects))}
        return np.uint64(sum(1 << place for place in {places[name] % _BITS for name in names if name in places}))

    def program(self, subjects: frozenset[str], adapters: int) -> Program:
        """The rulebook laid out for items of some subjects, and rigs with so many adapters."""
        few = self._program(subjects, min(adapters, 1))
        return self._program(subjects, adapters) if few.written_out else few

    def _program(self, subjects: frozenset[str], adapters: int) -> Program:
        key = (subjects, adapters)
        return self._programs.find(key) or self._programs.get(key, lambda: Program(self.engine, *key))

    def index(self, catalogue: Catalogue, adapters: int) -> "Index":
        """A catalogue's folded rows and kept results, for rigs with so many adapters."""
        program = self.program(catalogue.subjects, adapters)
        indexes = self._indexes.get(catalogue)
        if indexes is None:
            indexes = self._indexes.setdefault(catalogue, LruCache(_MOST_PROGRAMS))
        return indexes.find(program) or indexes.get(program, lambda: Index(program, catalogue, self.most_kept))

    def unlike(self, catalogue: Catalogue, was: Case, now: Case) -> Words | None:
        """Where two rigs may come to unlike outcomes with items of a catalogue; None where they may anywhere."""
        return self.index(catalogue, len(was.adapters)).unlike(catalogue, was, now)

    def rests_on(self, catalogue: Catalogue, was: Case, now: Case) -> Hashable:
        """What it rests on where two rigs may come to unlike outcomes: pairs that are alike in this do so in the same
        places.
        """
        program = self.program(catalogue.subjects, len(was.adapters))
        resting = program.resting(was, now)
        if resting is None or was.adapters:
            return None
        names = program.read_by(resting)
        return resting, was.present, now.present, *(rig.facts.get(name) for rig in (was, now) for name in names)

    def judge(self, catalogue: Catalogue, rig: Case) -> "Judged":
        """Judge a rig with each item of a catalogue."""
        index = self.index(catalogue, len(rig.adapters))
        return index.judge(catalogue, rig, index.program.rig_values(rig))

    def judge_all(self, catalogue: Catalogue, rigs: Sequence[Case]) -> Iterator["Judged"]:
        """The same for each of many rigs: some at a time are judged together, which is faster."""
        together = min(max(_PAIRS // max(catalogue.count, 1), 1), _MOST_RIGS)
        for start in range(0, len(rigs), together):
            some = [(self.index(catalogue, len(rig.adapters)), rig) for rig in rigs[start : start + together]]
            rows = [(index, rig, index.program.rig_values(rig)) for index, rig in some]
            for index in dict.fromkeys(index for index, _, _ in rows):
                index.learn([values for of, _, values in rows if of is index])
            for index, rig, values in rows:
                yield index.judge(catalogue, rig, values)


class Index:
    """One catalogue under one rulebook."""

    def __init__(self, program: Program, catalogue: Catalogue, most_kept: int) -> None:
        # Nothing here holds the catalogue itself, so that it and all this go when no one else holds it.
        self.program = program
        self.items = ItemValues(program, catalogue)
        self._held = Held()
        self.judges = [Judge(program, member, self.items, self._held) for member in program.members]
        self.effects = [(of["fails"], of["undetermined"]) for of in (member.of.effects for member in program.members)]
        self._lookups = [(judge.key, judge.seen) for judge in self.judges]
        self.cases = Cases(program, self.items, self.judges, self._held, most_kept)

    def judge(self, catalogue: Catalogue, rig: Case, values: tuple[Value, ...]) -> "Judged":
        """Judge a rig, given also by its own values, with each item of the catalogue."""
        entries = [seen.get(key(values)) for key, seen in self._lookups]
        known = [entry for entry in entries if entry is not None]
        if len(known) < len(entries):
            self.cases.make_room()
            with np.errstate(all="ignore"):
                both = zip(entries, self.judges, strict=True)
                known = [entry or judge.entry(values) for entry, judge in both]
        return Judged(self, catalogue, rig, values, known)

    def unlike(self, catalogue: Catalogue, was: Case, now: Case) -> Words | None:
        """Where two rigs may come to unlike outcomes; None where they may anywhere.

        Only what rests on what is unlike in the two is judged: elsewhere it comes to the same, and where it is open,
        to the same with each value of an open choice too.
        """
        resting = self.program.resting(was, now)
        if resting is None:
            return None
        self.cases.make_room()
        found, open_ = np.zeros(words_for(catalogue.count), np.uint64), dict[int, Words]()
        values = [self.program.rig_values(rig) for rig in (was, now)]
        with np.errstate(all="ignore"):
            for number in sorted(resting):
                one, other = (self.judges[number].entry(own) for own in values)
                if one is not other:
                    for pair in ((one.fails, other.fails), (one.undetermined, other.undetermined)):
                        if (unlike := differing(*pair)) is not None:
                            found |= unlike
                was_open, now_open = (self.judges[number].where_open(each) for each in (one, other))
                if was_open is not None and now_open is not None:
                    open_[number] = was_open & now_open
            open_ = {number: words & ~found for number, words in open_.items() if (words & ~found).any()}
            return found | self.cases.unlike(catalogue, (was, now), values, open_) if open_ else found

    def let_go(self) -> None:
        """Keep nothing that only makes more judges, which is then computed again; nobody may be at work on it."""
        self.items.let_go()
        self.cases.let_go()

    def learn(self, rigs: Sequence[tuple[Value, ...]]) -> None:
        """Judge rigs, given by their own values, to keep the results."""
        self.cases.make_room()
        with np.errstate(all="ignore"):
            for judge in self.judges:
                judge.learn(rigs)


@dataclass(frozen=True, slots=True)
class LimitColumn:
    """A limit on every signature: whether it applies, the lowest rating (infinite where nothing is known), the place
    of the rating that governs (-1 where none does), and the ratings not known, as bits.
    """

    applies: NDArray[np.bool_]
    at_most: NDArray[np.float64]
    governs: NDArray[np.int8]
    unknown: NDArray[np.uint64]


class Judged:
    """What holds of one rig with each signature of a catalogue."""

    __slots__ = ("_choices", "_either_way", "_index", "_outcome", "_values", "catalogue", "entries", "rig")

    def __init__(
        self, index: Index, catalogue: Catalogue, rig: Case, values: tuple[Value, ...], entries: list[RuleColumn]
    ) -> None:
        self._index, self._values, self.entries, self.catalogue, self.rig = index, values, entries, catalogue, rig
        self._outcome: Mapping[Outcome, Words] | None = None
        self._either_way: Mapping[int, Words] = {}
        self._choices: Open | None = None

    def effects(self) -> Iterator[tuple[int, Effect, Words]]:
        """What rules and needs bring to the outcome: each by its number, needs after the rules, and where it does."""
        for number, (entry, (fails, undetermined)) in enumerate(zip(self.entries, self._index.effects, strict=True)):
            if entry.fails is not None:
                yield number, fails, entry.fails
            if entry.undetermined is not None:
                yield number, undetermined, entry.undetermined

    def bitmaps(self) -> Mapping[Outcome, Words]:
        """Where the outcome is each but `works`, the worst first; elsewhere it is `works`."""
        if self._outcome is None:
            nothing = np.zeros(words_for(self.catalogue.count), np.uint64)
            with np.errstate(all="ignore"):
                fails = self._failing(nothing)
                self._either_way = self._index.cases.fails_either_way(self._open, self.entries, fails)
                self._outcome = self._worst(np.bitwise_or.reduce([fails, *self._either_way.values()]), nothing)
        return self._outcome

    def bitmaps_among(self, among: Words | None = None) -> Mapping[Outcome, Words]:
        """The same of some signatures alone, or of all, without what decides it: nothing is told of others."""
        aside = np.zeros(words_for(self.catalogue.count), np.uint64) if among is None else ~among
        with np.errstate(all="ignore"):
            fails = self._failing(aside)
            either_way = self._index.cases.failing_either_way(self._open, self.entries, fails | aside)
            return self._worst((fails | either_way) & ~aside, aside)

    @property
    def _open(self) -> Open:
        if self._choices is None:
            self._choices = self._index.cases.open_choices(self.catalogue, self.rig, self._values)
        return self._choices

    def _failing(self, found: Words) -> Words:
        """Where some rule fails, and what is found."""
        failing = [where for _, effect, where in self.effects() if OUTCOME_OF[effect] == "fails"]
        return reduce(or_, failing, found)

    def _worst(self, fails: Words, aside: Words) -> Mapping[Outcome, Words]:
        """Of each signature that is not `aside` the worst outcome that something brings about which is not moot.

        Where something as bad is found it is not asked of the next whether it is moot.
        """
        cases, losable = self._index.cases, self._losable
        found, settled = {_WORST_FIRST[0]: fails}, fails | aside
        for outcome in _WORST_FIRST[1:]:
            brings = [(number, where) for number, effect, where in self.effects() if OUTCOME_OF[effect] == outcome]
            surely = [where for number, where in brings if losable.get(number) is not where]
            here = reduce(or_, surely, np.zeros_like(fails)) & ~settled
            for number, where in brings:
                if losable.get(number) is where and (left := where & ~(settled | here)).any():
                    here |= left & ~cases.moot(self._open, number, where, left)
            found[outcome], settled = here, settled | here
        return found

    @property
    def _losable(self) -> Mapping[int, Words]:
        return self._index.cases.losable(self._open, self.entries)

    def deciding(self) -> Iterator[tuple[int, Effect, Words]]:
        """What brings each outcome about, and where; with the rules by which signatures fail either way."""
        outcomes, losable = self.bitmaps(), self._losable
        for number, effect, where in self.effects():
            words = where & outcomes[OUTCOME_OF[effect]]
            if losable.get(number) is where and words.any():
                with np.errstate(all="ignore"):
                    words &= ~self._index.cases.moot(self._open, number, where, words)
            yield number, effect, words
        for number, words in self._either_way.items():
            yield number, "fails", words

    def outcome(self) -> NDArray[np.uint8]:
        """The outcome of each signature, as a place in `OUTCOMES`."""
        found = np.zeros(self.catalogue.count, np.uint8)
        for outcome, words in self.bitmaps().items():
            found += unpack(words, self.catalogue.count).view(np.uint8) * np.uint8(OUTCOMES.index(outcome))
        return found

    def counts(self) -> dict[Outcome, int]:
        """How many items come to each outcome, the best first."""
        counter = self.catalogue.counter
        found = {outcome: counter.of(words) for outcome, words in self.bitmaps().items()}
        works = counter.total - sum(found.values())
        return {outcome: found.get(outcome, works) for outcome in OUTCOMES}

    def rule_counts(self) -> list[tuple[int, int, int, int]]:
        """For each rule how many items pass, fail, are undetermined, are none of its business."""
        return [entry.counts for entry in self.entries[: len(self._index.program.rules)]]

    def results(self, number: int) -> NDArray[np.uint8]:
        """A rule's result on each signature: passes, fails, undetermined, not applicable as 0, 1, 2, 3."""
        return self._index.judges[number].results(self.entries[number])

    def open_needs(self, number: int) -> NDArray[np.bool_]:
        """Whether a need is open on each signature."""
        return np.equal(self.results(number + len(self._index.program.rules)), FAILS)

    def limits(self) -> dict[str, LimitColumn]:
        """Every limit on each signature."""
        known: dict[int, Cells] = dict(zip(self._index.program.rig, self._values, strict=True))
        known |= {number: self._index.items.of(number) for number in self._index.program.items}
        evaluation = Evaluation(self._index.program.graph, known)
        with np.errstate(all="ignore"):
            return {
                name: _lowest(evaluation, parts, self.catalogue.count)
                for name, parts in self._index.program.limits.items()
            }


def _lowest(evaluation: Evaluation, parts: Sequence[RatingParts], count: int) -> LimitColumn:
    applies, low = np.zeros(count, np.bool_), np.full(count, np.inf)
    governs, unknown = np.full(count, -1, np.int8), np.zeros(count, np.uint64)
    for place, part in enumerate(parts):
        counted = np.ones(count, np.bool_)
        for condition in part.gate:
            counted &= np.not_equal(evaluation.of(condition), NO)
        least, most = evaluation.of(part.value)
        nothing = np.less_equal(least, 0.0) & np.less(least, most)
        sure = np.where(nothing, most, least)
        better = counted & (sure < low)
        applies |= counted
        low[better] = np.broadcast_to(sure, count)[better]
        governs[better] = place
        unknown |= (counted & nothing).astype(np.uint64) << np.uint64(place)
    return LimitColumn(applies, low, governs, unknown)
