"""What a change of one rule would bring: the store's rigs with its catalogue under both rulebooks, in columns.

The rule is judged by itself first, as it is and as it would be. Only where the two differ, or leave something open,
from which what is decided by cases may change, are whole answers judged under both; their outcomes are then the ones
that `impact` comes to pair by pair.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from time import thread_time
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from fitsvc.answers.shelf import Item
from fitsvc.audits.rigs import AuditRig
from fitsvc.engine.columns.bitmaps import unpack, words_for
from fitsvc.engine.columns.kernel import Columns, Judged
from fitsvc.engine.columns.signatures import Catalogue, Column, column_of, taken
from fitsvc.engine.mutating import alone
from fitsvc.engine.point import Point
from fitsvc.facts import FactReader
from fitsvc.rulebook.outcomes import OUTCOMES
from fitsvc.rulebook.rules import Rulebook
from fitsvc.selection.folding import array_of, present_of, read_facts
from fitsvc.selection.segments import LiveSegment, Segment, Snapshot, case_of
from fitsvc.selection.selector import kind_name
from fitsvc.subjects import KIND, SOLD
from fitsvc.wanted import still_wanted

SECONDS: Final = 2.0
"""Processor seconds after which no further rig is begun: who waits for a page waits no longer."""
_MOST_CASES: Final = 3
_SUBJECT: Final = SOLD[0]


@dataclass(slots=True, kw_only=True)
class Shift:
    """Answers about one kind that go from one outcome to another: how many, and some of them by rig and SKU."""

    kind: str
    old: str
    new: str
    count: int = 0
    cases: list[tuple[AuditRig, str]] = field(default_factory=list)

    @property
    def is_looser(self) -> bool:
        """Whether the answers are better than they were."""
        return OUTCOMES.index(self.new) < OUTCOMES.index(self.old)


@dataclass(slots=True)
class Foreseen:
    """How many rigs were held against how many items, and what changes.

    `reasons` counts answers that come to the same though the rule does not. Of one rig `each` cases are named.
    """

    items: int
    each: int = _MOST_CASES
    rigs: int = 0
    reasons: int = 0
    shifts: dict[tuple[str, str, str], Shift] = field(default_factory=dict)

    @property
    def asked(self) -> int:
        """Pairs of a rig and an item."""
        return self.items * self.rigs

    def looser(self) -> list[Shift]:
        """Those that are better, most first."""
        return sorted((one for one in self.shifts.values() if one.is_looser), key=lambda one: -one.count)

    def tighter(self) -> list[Shift]:
        """Those that are worse, most first."""
        return sorted((one for one in self.shifts.values() if not one.is_looser), key=lambda one: -one.count)

    def note(self, kind: str, old: int, new: int, count: int, cases: Iterable[tuple[AuditRig, str]]) -> None:
        """Count answers that change, with some of them."""
        key = (kind, OUTCOMES[old], OUTCOMES[new])
        shift = self.shifts.setdefault(key, Shift(kind=kind, old=key[1], new=key[2]))
        shift.count += count
        shift.cases += list(cases)[: min(self.each, _MOST_CASES - len(shift.cases))]


class _Side:
    """A rulebook ready to judge catalogues, whole and by the one rule alone."""

    def __init__(self, columns: Columns, id: str) -> None:
        self.columns, self.engine = columns, columns.engine
        self.reader = FactReader(self.engine.rulebook)
        self.rule = Columns(Point(alone(self.engine.rulebook, id)))


@dataclass(frozen=True, slots=True)
class _Shelf:
    """Items folded: what is left of each signature, its kind, and one of its items."""

    catalogue: Catalogue
    weights: NDArray[np.int64]
    kinds: NDArray[Any]
    names: Sequence[str]
    skus: Sequence[str]


def foresee(
    old: Columns, new: Rulebook, id: str, held: Snapshot, rigs: Sequence[AuditRig], seconds: float = SECONDS
) -> Foreseen:
    """What changes with a rule, limit or need, for as many rigs as there is time for, in their order."""
    started, sides = thread_time(), (_Side(old, id), _Side(Columns(Point(new)), id))
    found, kinds = Foreseen(held.items, 1 if len(rigs) >= _MOST_CASES else _MOST_CASES), _kinds(new)
    plain = [_of_part(part, sides, kinds) for part in held.parts]
    plain += [_of_items(held.loose, sides, kinds)] if held.loose else []
    for rig in rigs:
        still_wanted()
        if found.rigs and thread_time() - started > seconds:
            break
        found.rigs += 1
        shelves, apart = plain, frozenset(rig.case.of_items)
        if apart:  # of these the rig knows more than their columns do
            snapshot = held.apart(apart)
            shelves = [_of_part(part, sides, kinds) for part in snapshot.parts]
            _one_by_one(found, sides, rig, snapshot.loose, kinds)
        for shelf in shelves:
            _judge(found, sides, shelf, rig)
    return found


def _judge(found: Foreseen, sides: tuple[_Side, _Side], shelf: _Shelf, rig: AuditRig) -> None:
    """Note what changes of one rig with the items of a shelf."""
    count = shelf.catalogue.count
    before, after = (_by_effect(side.rule.judge(shelf.catalogue, rig.case)) for side in sides)
    empty = np.zeros(words_for(count), np.uint64)
    differs, touched = empty.copy(), empty.copy()
    for effect in before.keys() | after.keys():
        one, other = before.get(effect, empty), after.get(effect, empty)
        differs |= one ^ other
        touched |= (one | other) if effect[1] else empty
    if not (differs | touched).any():
        return
    outcomes = [side.columns.judge(shelf.catalogue, rig.case).outcome() for side in sides]
    changed = np.flatnonzero((outcomes[0] != outcomes[1]) & (shelf.weights > 0))
    other = unpack(differs, count) & (outcomes[0] == outcomes[1])
    found.reasons += int(shelf.weights[other].sum())
    keys = np.stack([shelf.kinds[changed], outcomes[0][changed], outcomes[1][changed]], axis=1).astype(np.int64)
    groups, number = np.unique(keys, axis=0, return_inverse=True) if len(changed) else (keys, keys[:, 0])
    for place, (kind, was, now) in enumerate(groups.tolist()):
        rows = changed[number.reshape(-1) == place]
        cases = ((rig, shelf.skus[int(row)]) for row in rows[:_MOST_CASES])
        found.note(shelf.names[kind], was, now, int(shelf.weights[rows].sum()), cases)


def _by_effect(judged: Judged) -> Mapping[tuple[str, bool], NDArray[np.uint64]]:
    """Where a rule brings something to the outcome: by what it brings, and whether as it is not decided."""
    found: dict[tuple[str, bool], NDArray[np.uint64]] = {}
    for number, effect, words in judged.effects():
        open_ = words is judged.entries[number].undetermined
        key = (effect, open_)
        found[key] = found[key] | words if key in found else words
    return found


def _one_by_one(
    found: Foreseen, sides: tuple[_Side, _Side], rig: AuditRig, items: Sequence[Item], kinds: Sequence[str]
) -> None:
    for item in items:
        was, now = (
            OUTCOMES.index(side.engine.evaluate(case_of(rig.case, item, side.reader)).outcome) for side in sides
        )
        if was != now:
            found.note(kind_name(item.kind, kinds), was, now, 1, [(rig, item.sku)])


def _kinds(book: Rulebook) -> Sequence[str]:
    kind = book.vocabulary.facts.get(KIND)
    return getattr(kind.type, "members", ()) if kind else ()


def _shelf(
    catalogue: Catalogue, rows: NDArray[np.intp], kinds: Any, names: Sequence[str], skus: Sequence[str]
) -> _Shelf:
    """The rows that are left of a catalogue, by signature; `kinds` are those of the rows, as places among `names`."""
    of = catalogue.signature_of[rows]
    first = np.zeros(catalogue.count, np.intp)
    first[of[::-1]] = np.arange(len(rows))[::-1]
    weights = np.bincount(of, minlength=catalogue.count).astype(np.int64)
    some = rows[first] if len(rows) else first
    return _Shelf(catalogue, weights, np.asarray(kinds)[first] if len(rows) else first, names, _Picked(skus, some))


class _Picked(Sequence[str]):
    """Some texts of many, each made when it is asked for."""

    def __init__(self, of: Sequence[str], places: NDArray[np.intp]) -> None:
        self._of, self._places = of, places

    def __len__(self) -> int:
        return len(self._places)

    def __getitem__(self, place: Any) -> Any:
        return self._of[int(self._places[place])]


def _of_part(part: LiveSegment, sides: tuple[_Side, _Side], kinds: Sequence[str]) -> _Shelf:
    """What is left of a segment, as it is folded already, or folded anew where the rule reads what none read before."""
    segment, rows = part.segment, np.flatnonzero(part.alive)
    names, number = segment.kinds
    catalogue = segment.catalogue
    lacking = sides[1].columns.slots({_SUBJECT}).keys() - catalogue.columns.keys()
    unasked = set(sides[1].columns.presences({_SUBJECT})) - catalogue.present.keys()
    if lacking or unasked:
        catalogue = _with(segment, sides[1], sorted(lacking), sorted(unasked))
    return _shelf(catalogue, rows, number[rows], [kind_name(one, kinds) for one in names], segment.skus)


def _with(segment: Segment, side: _Side, lacking: Sequence[str], unasked: Sequence[str]) -> Catalogue:
    """A segment's items folded with more of their facts, which are read of each different one once."""
    read = [read_facts(side.reader, text) for text in segment.tables.facts["json"].to_pylist()]
    facts_of, known = array_of(segment.tables.items, "facts").astype(np.intp), segment.catalogue
    slots, of = side.reader.vocabulary.slots(), known.signature_of.astype(np.intp)
    columns: dict[str, Column] = {name: taken(one, of) for name, one in known.columns.items()}
    for name in lacking:
        columns[name] = taken(column_of(slots[name], [one.values.get(name) if one else None for one in read]), facts_of)
    present = {name: bits[of] for name, bits in known.present.items()}
    has = [present_of(one, side.reader) if one else frozenset() for one in read]
    for name in unasked:
        present[name] = np.array([name in one for one in has], np.bool_)[facts_of]
    return Catalogue(known.subjects, columns, present, known.items)


def _of_items(items: Sequence[Item], sides: tuple[_Side, _Side], kinds: Sequence[str]) -> _Shelf:
    """Items held loose, folded for both rulebooks."""
    slots = {name: kind for side in sides for name, kind in side.columns.slots({_SUBJECT}).items()}
    columns = {name: column_of(kind, [item.values.get(name) for item in items]) for name, kind in slots.items()}
    asked = {name for side in sides for name in side.columns.presences({_SUBJECT})}
    has = [present_of(item, sides[1].reader) for item in items]
    present = {name: np.array([name in one for one in has], np.bool_) for name in asked}
    catalogue = Catalogue(frozenset({_SUBJECT}), columns, present, len(items))
    names = [kind_name(item.kind, kinds) for item in items]
    places = {name: place for place, name in enumerate(dict.fromkeys(names))}
    skus = [item.sku for item in items]
    return _shelf(catalogue, np.arange(len(items)), [places[name] for name in names], list(places), skus)
