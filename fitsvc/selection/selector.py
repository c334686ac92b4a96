"""Which accessories of the store work on one rig: pages in order of outcome, each with why, and counts over all."""

from collections import Counter
from collections.abc import Hashable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cached_property, partial
from hashlib import blake2b
from typing import Final, Literal, NamedTuple

import msgspec
import numpy as np
from numpy.typing import NDArray

from fitsvc.answers.answer import AllowanceShown, Disputed, EitherWayTold, RulebookName
from fitsvc.answers.answering import Answerer
from fitsvc.answers.either_way import say_either_way, tell_either_way
from fitsvc.answers.phrases import capped
from fitsvc.answers.question import hold_to_one_vehicle, read_question
from fitsvc.answers.records import Records
from fitsvc.answers.searching import Found, SearchStep, find, flags_of, terms_of
from fitsvc.answers.shelf import Item
from fitsvc.document import Json
from fitsvc.engine.verdict import Verdict
from fitsvc.facts import Case
from fitsvc.language.display import System
from fitsvc.language.types import ListType, Mask, Value
from fitsvc.rulebook.outcomes import Outcome
from fitsvc.selection.folding import label_key, searched
from fitsvc.selection.query import Cursor, SelectionQuery, read_cursor, read_facts_wanted
from fitsvc.selection.results import codes_of
from fitsvc.selection.rows import SUBJECT
from fitsvc.selection.segments import (
    BEST_FIRST,
    Facts,
    Flags,
    LiveSegment,
    Segment,
    Snapshot,
    Sort,
    case_of,
    has,
    maybe_of,
    rig_key,
)
from fitsvc.tongues import tongue

FITTING: Final = frozenset({"works", "conditional"})
"""The outcomes with which an item fits a rig."""
MOST_NAMED: Final = 50
"""Accessories that go by a text that are told at most, where no rig says which of them are the best."""


class Selected(msgspec.Struct, omit_defaults=True, kw_only=True):
    """One accessory and what the rig comes to with it; `codes` are the rules and needs behind that, the first first.

    `reason` is the first of them in words, and `allowance` what the item may carry on this rig where the question
    names no load: then that is the reason where there is no other. They and `label` and `kind` are left out where there
    is none, and of a compact page.

    With `either_way` it fails though each of these rules by itself is undetermined.
    """

    sku: str
    outcome: Outcome
    codes: list[str]
    label: str = ""
    kind: str = ""
    reason: str = ""
    allowance: AllowanceShown | None = None
    either_way: EitherWayTold | None = None


class ByOutcome(msgspec.Struct):
    """Counts of accessories by outcome."""

    works: int
    conditional: int
    undetermined: int
    fails: int


class Decided(msgspec.Struct):
    """How many accessories come to an outcome by one rule or need first."""

    code: str
    title: str
    outcome: Literal["conditional", "undetermined", "fails"]
    items: int


class Counts(msgspec.Struct):
    """Counts over the whole catalogue, whatever the page is filtered by.

    `kinds` is by kind, `unknown` for those whose kind is open. Those whose facts cannot be read by the rulebook's
    vocabulary are `unreadable`, and in none of the other counts.
    """

    items: int
    unreadable: int
    outcomes: ByOutcome
    kinds: dict[str, ByOutcome]
    decided_by: list[Decided]


class Selection(msgspec.Struct, kw_only=True):
    """A page of accessories, best outcome first, judged at one revision of the catalogue.

    `matching` is how many pass the filters; `moved` tells that the catalogue has changed since the page before;
    `disputed` is what of the rig is not agreed upon, which leaves what it bears on open; `understood` says what
    was made of a text that nothing goes by as it is.
    """

    items: list[Selected]
    next: str | None
    matching: int
    revision: str
    moved: bool
    counts: Counts
    rulebook: RulebookName
    disputed: list[Disputed] = []
    understood: str = ""


class NamedItems(NamedTuple):
    """Accessories that go by a text: the first of them, how many there are, and what was made of the text."""

    items: list[Item]
    matching: int
    found: Found


class _Row(NamedTuple):
    """An item on the way to a page, with where it is folded if it is; it is ordered by the first three."""

    place: int
    key: str
    sku: str
    item: Item
    folded: tuple[Segment, int] | None = None


def read_rig(document: Mapping[str, Json], answerer: Answerer, records: Records) -> Case:
    """Read the question without an accessory that a selection asks about; ProblemsFound has all that is wrong."""
    return read_rig_told(document, answerer, records)[0]


def read_rig_told(document: Mapping[str, Json], answerer: Answerer, records: Records) -> tuple[Case, list[Disputed]]:
    """The same, with what of the rig is disputed, doubtful or stale; ProblemsFound has all that is wrong."""
    question = read_question({**document, SUBJECT: {"facts": {}}}, answerer.reader, records)
    hold_to_one_vehicle(question)
    case = question.case
    rig = replace(case, present=frozenset(case.present) - {SUBJECT})
    return rig, answerer.disputed(question)


def fingerprint(case: Case) -> str:
    """A digest of all that is known of a rig."""
    adapters = [sorted(adapter.items()) for adapter in case.adapters]
    of_items = sorted((sku, sorted(facts.items())) for sku, facts in case.of_items.items())
    told = (sorted(case.facts.items()), sorted(case.present), adapters, sorted(case.texts.items()), of_items)
    return blake2b(repr(told).encode(), digest_size=16).hexdigest()


class Selector:
    """Selects by one rulebook; safe to share between threads."""

    def __init__(self, answerer: Answerer) -> None:
        self.answerer, self._reader = answerer, answerer.reader
        book = answerer.rulebook
        kind = book.vocabulary.slots().get(f"{SUBJECT}.kind")
        self.kinds: tuple[str, ...] = tuple(kind.members) if isinstance(kind, ListType) else ()
        self._codes = [*(rule.id for rule in book.rules), *(one.name for one in book.needs)]
        self.slots = answerer.columns.slots({SUBJECT})
        words = book.vocabulary.words.get(kind.name, {}) if isinstance(kind, ListType) else {}
        self._kind_words = {member: f"{member.replace('_', ' ')} {words.get(member, '')}" for member in self.kinds}
        self._name = RulebookName(book.digest, book.name)

    def _title(self, number: int) -> str:
        """What a rule or need is called, in the language that is spoken."""
        book = self.answerer.spoken.rulebook
        rules = len(book.rules)
        return book.rules[number].title if number < rules else book.needs[number - rules].title

    def facts(self, text: str) -> Facts:
        """The facts to filter by, of a text such as `shank=2 in,pin_supplied=yes`; ProblemsFound says what is wrong."""
        return read_facts_wanted(text, self._reader, self.slots)

    def select(self, held: Snapshot, rig: Case, wanted: SelectionQuery) -> Selection:
        """A page of what a rig comes to with the accessories held."""
        cursor = read_cursor(wanted) if wanted.after is not None else None
        held, key = held.apart(rig.of_items), rig_key(rig)
        matching, rows = 0, list[_Row]()
        for number, counts in enumerate(self._matched(held, rig, key, wanted)):
            rows += self._of_part(held, number, counts, rig, key, wanted, cursor)
            matching += sum(int(counts[place]) for place in self._places(wanted))
        found, count = self._of_loose(held, rig, key, wanted, cursor)
        rows = sorted([*rows, *found], key=lambda row: row[:3])
        page = rows[: wanted.limit]
        following = None
        if len(rows) > wanted.limit:
            following = Cursor(wanted.digest(), held.revision, *page[-1][:3]).text()
        return Selection(
            items=[self._shown(rig, key, row, wanted) for row in page],
            next=following,
            matching=matching + count,
            revision=held.revision,
            moved=cursor is not None and cursor.revision != held.revision,
            counts=held.counted.get((key, tongue()), lambda: self._counts(held, rig, key)),
            rulebook=self._name,
            understood=self._found(held, wanted.text).told if wanted.text else "",
        )

    def differing(self, held: Snapshot, one: Case, other: Case, most: int) -> list[str] | None:
        """The SKUs of the items with which two rigs come to different outcomes; None where there are more than so many.

        They are told in no order.
        """
        held = held.apart({*one.of_items, *other.of_items})
        keys, found = (rig_key(one), rig_key(other)), list[str]()
        for part in held.parts:
            results = [part.segment.judge(rig, key) for rig, key in zip((one, other), keys, strict=True)]
            rows = part.segment.differing(results[0], results[1], part.alive)
            if len(found) + len(rows) > most:
                return None
            found += [part.segment.skus[row] for row in rows.tolist()]
        both = (self._loose(held, rig, key) for rig, key in zip((one, other), keys, strict=True))
        found += [item.sku for (item, was), (_, now) in zip(*both, strict=True) if was.outcome != now.outcome]
        return found if len(found) <= most else None

    def loaded(self, held: Snapshot, one: Case, other: Case, most: int) -> list[str] | None:
        """The SKUs of the items that fit two rigs alike, and that may be loaded with other loads on them.

        None where there are more than so many; they are told in no order. Nothing is where all is alike that what may
        be loaded rests on.
        """
        allowances, engine = self.answerer.allowances.allowances, self.answerer.engine
        facts = [engine.opened(rig).facts for rig in (one, other)]
        alike = all(facts[0].get(name) == facts[1].get(name) for name in allowances.rests_on)
        if alike and (one.present, one.adapters, one.of_items) == (other.present, other.adapters, other.of_items):
            return []
        held = held.apart({*one.of_items, *other.of_items})
        keys, found = (rig_key(one), rig_key(other)), list[str]()
        for part in held.parts:
            was, now = (part.segment.judge(rig, key) for rig, key in zip((one, other), keys, strict=True))
            rows = part.segment.fitting(was, now, part.alive & part.segment.maybe_of(self._carrying))
            if len(found) + len(rows) > most:
                return None
            found += [part.segment.skus[row] for row in rows.tolist()]
        both = (self._loose(held, rig, key) for rig, key in zip((one, other), keys, strict=True))
        found += [
            item.sku
            for (item, was), (_, now) in zip(*both, strict=True)
            if was.outcome == now.outcome in FITTING and maybe_of(item.kind, self._carrying)
        ]
        return found if len(found) <= most else None

    @cached_property
    def _carrying(self) -> int:
        """The kinds of which some item may be loaded, as a mask."""
        may, there = self.answerer.allowances.allowances.may_apply, frozenset({SUBJECT})
        kinds = (Mask(1 << place) for place in range(len(self.kinds)))
        return sum(kind for kind in kinds if may(Case({f"{SUBJECT}.kind": kind}, there)))

    def code(self, number: int) -> str:
        """The id of a rule by its number, or the name of a need by its number after the rules."""
        return self._codes[number]

    def best(self, held: Snapshot, case: Case, kind: Value, most: int) -> list[Item]:
        """The accessories of one kind that do not fail in a case in place of its own: least to do first."""
        name, prefix = self._kind(kind), f"{SUBJECT}."
        if not name:
            return []
        facts = {one: value for one, value in case.facts.items() if not one.startswith(prefix)}
        texts = {one: text for one, text in case.texts.items() if not one.startswith(prefix)}
        rig = replace(case, facts=facts, present=frozenset(case.present) - {SUBJECT}, texts=texts, opened=False)
        wanted = SelectionQuery(question={}, kinds=frozenset({name}), outcomes=FITTING, sort="left", limit=most)
        return [item for item, _ in self.first(held, rig, wanted)]

    def first(self, held: Snapshot, rig: Case, wanted: SelectionQuery) -> list[tuple[Item, Outcome]]:
        """The first accessories of a selection with their outcomes, without their reasons."""
        held, key = held.apart(rig.of_items), rig_key(rig)
        rows, _ = self._of_loose(held, rig, key, wanted, None)
        for part in held.parts if wanted.sort == "left" else ():
            part.segment.left(rig, key)  # first, so that one judgement does for both
        for number, counts in enumerate(self._matched(held, rig, key, wanted)):
            rows += self._of_part(held, number, counts, rig, key, wanted, None)
        return [(row.item, BEST_FIRST[row.place]) for row in sorted(rows, key=lambda row: row[:3])[: wanted.limit]]

    def named(self, held: Snapshot, text: str) -> "NamedItems":
        """The accessories that go by a text, by SKU."""
        found, items = self._found(held, text), list[Item]()
        for part, flags in zip(held.parts, found.flags, strict=False):
            items += map(part.segment.item, np.flatnonzero(flags)[:MOST_NAMED].tolist())
        items += [item for item, flag in zip(held.loose, found.flags[-1], strict=True) if flag]
        count = sum(int(flags.sum()) for flags in found.flags)
        return NamedItems(sorted(items, key=lambda item: item.sku)[:MOST_NAMED], count, found)

    def goes_by(self, held: Snapshot, text: str, sku: str) -> bool:
        """Whether the accessory under a SKU is among those that go by a text."""
        found = self._found(held, text)
        rows = [(part.segment.find(sku), flags) for part, flags in zip(held.parts, found.flags, strict=False)]
        loose = zip(held.loose, found.flags[-1].tolist(), strict=True)
        return any(row is not None and flags[row] for row, flags in rows) or any(
            flag and item.sku == sku for item, flag in loose
        )

    def _found(self, held: Snapshot, text: str) -> Found:
        """What goes by a text: of each part, and last of those held loose."""
        return held.found.get(text, lambda: self._find(held, text))

    def _find(self, held: Snapshot, text: str) -> Found:
        loose = [(f"{searched(one.label, one.sku)}\n{self._told_kind(one.kind)}", one.values) for one in held.loose]
        parts = [partial(self._going_by, part) for part in held.parts]
        return find(terms_of(text, self._reader), [*parts, flags_of(loose)], held.items)

    def _going_by(self, part: LiveSegment, step: SearchStep) -> Flags:
        """Which items of a part go by a step of what is typed."""
        segment, found = part.segment, np.zeros(len(part.alive), np.bool_)
        if step.pattern:
            kinds, row = segment.kinds
            of_kind = np.array([step.holds(self._told_kind(kind), {}) for kind in kinds], np.bool_)
            found |= segment.containing(step.pattern) | of_kind[row]
        for name, value in step.facts:
            if name in self.slots:
                found |= segment.being(((name, value),))
        return found & part.alive

    def _told_kind(self, kind: Value | None) -> str:
        return self._kind_words.get(self._kind(kind), "")

    def _of_part(
        self,
        held: Snapshot,
        number: int,
        counts: NDArray[np.int64],
        rig: Case,
        key: Hashable,
        wanted: SelectionQuery,
        cursor: Cursor | None,
    ) -> list[_Row]:
        """The first rows of a part beyond the cursor, one more than a page holds."""
        segment, rows = held.parts[number].segment, list[_Row]()
        told, passing = segment.judge(rig, key), self._passing(held, number, wanted)
        for place in self._places(wanted):
            left = wanted.limit + 1 - len(rows)
            if left > 0 and counts[place] and (cursor is None or place >= cursor.place):
                after = (cursor.key, cursor.sku) if cursor is not None and place == cursor.place else None
                if wanted.sort == "left":
                    beyond = (int(after[0]), after[1]) if after is not None else None
                    found = segment.least(told, segment.left(rig, key), place, passing, beyond, left)
                    items = [(row, segment.item(row), f"{rank:03}") for row, rank in found]
                else:
                    first = segment.first(told, place, passing, wanted.sort, after, left)
                    some = [(row, segment.item(row)) for row in first]
                    items = [(row, item, _key(item, wanted.sort)) for row, item in some]
                rows += [_Row(place, one, item.sku, item, (segment, row)) for row, item, one in items]
        return rows

    def _places(self, wanted: SelectionQuery) -> list[int]:
        """The places of the outcomes that are wanted."""
        return [place for place, name in enumerate(BEST_FIRST) if not wanted.outcomes or name in wanted.outcomes]

    def _matched(self, held: Snapshot, rig: Case, key: Hashable, wanted: SelectionQuery) -> list[NDArray[np.int64]]:
        """For each part how many items pass the filters by kind, text and facts, by the place of their outcome."""
        return held.matched.get(
            (key, wanted.passing),
            lambda: [self._count(held, number, rig, key, wanted) for number in range(len(held.parts))],
        )

    def _count(
        self, held: Snapshot, number: int, rig: Case, key: Hashable, wanted: SelectionQuery
    ) -> NDArray[np.int64]:
        part = held.parts[number]
        segment, told = part.segment, part.segment.judge(rig, key)
        if not wanted.filters:
            return part.places(told)
        passing = self._passing(held, number, wanted)
        return np.bincount(segment.outcomes(told, passing), minlength=len(BEST_FIRST))

    def _passing(self, held: Snapshot, number: int, wanted: SelectionQuery) -> Flags:
        """Which items of a part are left and pass the filters by kind, text and facts."""
        part = held.parts[number]
        passing = part.alive
        if wanted.kinds or wanted.facts or wanted.skus:
            matching, segment = part.segment.matching, part.segment
            passing = passing & matching.get(
                (wanted.kinds, wanted.facts, wanted.skus), lambda: self._match(segment, wanted)
            )
        return passing & self._found(held, wanted.text).flags[number] if wanted.text else passing

    def _match(self, segment: Segment, wanted: SelectionQuery) -> Flags:
        found = np.ones(len(segment), np.bool_)
        if wanted.kinds:
            kinds, row = segment.kinds
            found &= np.array([self._kind(kind) in wanted.kinds for kind in kinds], np.bool_)[row]
        if wanted.facts:
            found &= segment.being(wanted.facts)
        if wanted.skus:
            found &= segment.called(wanted.skus)
        return found

    def _of_loose(
        self, held: Snapshot, rig: Case, key: Hashable, wanted: SelectionQuery, cursor: Cursor | None
    ) -> tuple[list[_Row], int]:
        named = self._found(held, wanted.text).flags[-1].tolist() if wanted.text else [True] * len(held.loose)
        rows = [
            _Row(BEST_FIRST.index(verdict.outcome), _key(item, wanted.sort, verdict), item.sku, item)
            for (item, verdict), by_text in zip(self._loose(held, rig, key), named, strict=True)
            if (not wanted.kinds or self._kind(item.kind) in wanted.kinds)
            and (not wanted.outcomes or verdict.outcome in wanted.outcomes)
            and by_text
            and has(item, wanted.facts)
            and (not wanted.skus or item.sku in wanted.skus)
        ]
        beyond = [row for row in rows if cursor is None or row[:3] > cursor[2:]]
        return sorted(beyond, key=lambda row: row[:3])[: wanted.limit + 1], len(rows)

    def _loose(self, held: Snapshot, rig: Case, key: Hashable) -> Iterator[tuple[Item, Verdict]]:
        """The loose items with what the rig comes to with each."""
        engine, reader = self.answerer.engine, self._reader
        verdicts = held.judged.get(key, lambda: [engine.evaluate(case_of(rig, one, reader)) for one in held.loose])
        return zip(held.loose, verdicts, strict=True)

    def _shown(self, rig: Case, key: Hashable, row: _Row, wanted: SelectionQuery) -> Selected:
        """An item of a page; what is folded stays as it is, and so does what is told of it."""
        if row.folded is None:
            return self.shown(rig, row.item, wanted)
        segment, place = row.folded
        told = (key, frozenset(rig.texts.items()), place, wanted.compact, wanted.system, tongue())
        found: Selected = segment.shown.get(told, lambda: self.shown(rig, row.item, wanted))
        return found

    def shown(self, rig: Case, item: Item, wanted: SelectionQuery) -> Selected:
        """An item of a page, judged as one case is."""
        engine, rules = self.answerer.engine, len(self.answerer.rulebook.rules)
        case = engine.opened(case_of(rig, item, self._reader))
        verdict = engine.evaluate(case)
        numbers = codes_of(verdict, rules)
        shown = Selected(sku=item.sku, outcome=verdict.outcome, codes=[self._codes[number] for number in numbers])
        if wanted.compact:
            return shown
        if verdict.outcome != "fails":
            shown.allowance = self.answerer.spoken.allowances.told(case, wanted.system)
        shown.label, shown.kind = item.label, self._kind(item.kind)
        if verdict.either_way:
            shown.either_way = tell_either_way(self.answerer.spoken.wording, case, verdict.either_way, wanted.system)
        if shown.either_way and verdict.outcome == "fails":
            shown.reason = say_either_way(self.answerer.spoken.wording, shown.either_way)
        else:
            shown.reason = self._reason(numbers, verdict, case, shown.allowance, wanted.system)
        return shown

    def _reason(
        self,
        numbers: Sequence[int],
        verdict: Verdict,
        case: Case,
        allowance: AllowanceShown | None,
        system: System,
    ) -> str:
        """The first of what decides in words, or what may be carried where that is all there is to say."""
        rules, wording = len(self.answerer.rulebook.rules), self.answerer.spoken.wording
        if allowance is not None and all(
            self._codes[number] in wording.told_by(allowance.allowance) for number in numbers[:1]
        ):
            return f"{capped(allowance.told)}."
        if not numbers:
            return ""
        if numbers[0] >= rules:
            return self.answerer.spoken.need(numbers[0] - rules, case, system)["because"]
        words = wording.rules(bool(case.adapters))[numbers[0]]
        failed = numbers[0] in verdict.fails or numbers[0] in verdict.cautions
        return words.finding("fails" if failed else "undetermined", case, system).reason

    def _counts(self, held: Snapshot, rig: Case, key: Hashable) -> Counts:
        """Counts over everything held."""
        kinds: Counter[tuple[Value | None, int]] = Counter()
        codes: Counter[tuple[int, int]] = Counter()
        for part in held.parts:
            of_kind, of_code = part.segment.counts(part.segment.judge(rig, key), part.gone)
            kinds.update(of_kind)
            codes.update(of_code)
        for item, verdict in self._loose(held, rig, key):
            place = BEST_FIRST.index(verdict.outcome)
            kinds[item.kind, place] += 1
            codes[next(iter(codes_of(verdict, len(self.answerer.rulebook.rules))), -1), place] += 1
        return self._told(held, kinds, codes)

    def _told(
        self, held: Snapshot, kinds: Counter[tuple[Value | None, int]], codes: Counter[tuple[int, int]]
    ) -> Counts:
        by_kind: dict[str, list[int]] = {}
        for (kind, place), count in kinds.items():
            by_kind.setdefault(self._kind(kind) or "unknown", [0] * len(BEST_FIRST))[place] += count
        totals = [sum(row[place] for row in by_kind.values()) for place in range(len(BEST_FIRST))]
        decided = [
            Decided(self._codes[number], self._title(number), outcome, count)
            for (number, place), count in sorted(codes.items(), key=lambda one: (-one[1], one[0]))
            if number >= 0 and (outcome := BEST_FIRST[place]) != "works"
        ]
        shown = {kind: ByOutcome(*row) for kind, row in sorted(by_kind.items())}
        return Counts(held.items, held.unreadable, ByOutcome(*totals), shown, decided)

    def _kind(self, kind: Value | None) -> str:
        return kind_name(kind, self.kinds)


def kind_name(kind: Value | None, members: Sequence[str]) -> str:
    """The name of a kind that is surely one; empty where it is open."""
    if not isinstance(kind, int) or kind & (kind - 1) or not kind:
        return ""
    return members[kind.bit_length() - 1]


def _key(item: Item, sort: Sort, verdict: Verdict | None = None) -> str:
    if sort == "left" and verdict is not None:
        return f"{verdict.left_to_do:03}"
    return label_key(item.label) if sort == "label" else ""
