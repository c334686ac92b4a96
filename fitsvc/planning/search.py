"""The search for the smallest sets of parts that serve every wish with one receiver.

Plain search is enough: a catalogue is judged against a rig in about a millisecond once it is folded
(`plan_wares`), and what is left is small. For each receiver, first with nothing in the opening, then with one
adapter, then with two, each accessory is judged for each wish. Accessories that serve the same wishes equally
well, with the same balls, are one provider. Then one provider is chosen for each wish, parts counted once
however many wishes they serve, and last the fewest balls and pins. Adapters are tried for as long as a
set with them could be smaller than the smallest found, or for one adapter as small and better.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final, TypeVar

import numpy as np
from numpy.typing import NDArray

from fitsvc.answers.shelf import Item
from fitsvc.answers.together import Together
from fitsvc.engine.columns.kernel import Judged
from fitsvc.engine.point import Point
from fitsvc.engine.verdict import Verdict
from fitsvc.facts import MOST_ADAPTERS, Case, FactReader
from fitsvc.language.truth import YES
from fitsvc.language.types import Mask, Value
from fitsvc.planning.parts import (
    BARE,
    PartSet,
    Provider,
    Provision,
    Serves,
    Site,
    Stack,
    fewest,
    folded,
    open_of,
    read_in_joining,
    read_with_ball,
    stacked,
    tried_on,
    with_items,
)
from fitsvc.planning.reading import Wishes
from fitsvc.planning.wares import Fold, Rows, Wares
from fitsvc.rulebook.filling import ACCESSORY
from fitsvc.rulebook.rules import Fills
from fitsvc.subjects import KIND
from fitsvc.wanted import still_wanted

T = TypeVar("T")

MOST_ADDED: Final = 2
"""How many adapters a plan may add to one opening."""

MOST_ADDED_AT_ONCE: Final = 1
"""How many where wishes hold at the same time: a dual receiver is an arm, and no arm goes into another."""

"""What tells a short extension from a long one."""
KEPT: Final = 8
MOST_SPOILT: Final = 2
"""How many sets are told of which the wishes are not served at the same time, and why."""
_MOST_NEAR: Final = 16
"""Of so many, as an opening may break few rules and serve no wish by itself."""
MOST_WORK: Final = 2_200
"""Judgements of one case that may go into a plan, by count and never by the clock: some 70 ms."""
_MOST_CHOSEN: Final = 400
"""So many more for choosing among what was found by then."""
_SORTED: Final = 50
"""So many providers are put in order in the time of a judgement."""
_COLUMN: Final = 25
"""A judgement of a whole column takes as long as so many of one case."""
_PIN_SETTLES: Final = 2
"""What a pin can settle of a wish at most: the need of one, and the doubt about the one that may be there."""


@dataclass(frozen=True, slots=True)
class StillOpen:
    """An accessory behind adapters that nothing known refuses and nothing known lets pass, for one wish.

    Its rank is how many other parts it takes, and how much is open of it; `ball` that it wants one.
    """

    rank: tuple[int, int]
    site: Site
    stack: Stack
    item: int
    ball: bool


@dataclass(slots=True, kw_only=True)
class Search:
    """One search; `found` is in order when it has run, `bare` has what each accessory alone comes to.

    `spoilt` are sets of which every wish is served by itself and not beside the others, and `unheld` openings that hold
    them not at the same time whatever serves them: of each the nearest few first, with how many rules are broken.
    `undecided` is, of each wish, what might serve it behind adapters if more were known: the fewest parts, and of those
    what leaves least open.
    `left` is the work that may still be done, and `untried` counts what was left out once it was done: openings with
    adapters, mounts whose balls were not looked for, and sets of parts.
    """

    engine: Point
    reader: FactReader
    wares: Wares
    wanted: Wishes
    sites: Sequence[Site]
    together: Together
    found: list[PartSet] = field(default_factory=list)
    bare: dict[tuple[int, int], Rows] = field(default_factory=dict)
    served: dict[int, set[int]] = field(default_factory=dict)
    spoilt: list[tuple[int, Site, tuple[Provision, ...]]] = field(default_factory=list)
    unheld: list[tuple[int, Site, Stack]] = field(default_factory=list)
    undecided: dict[int, StillOpen] = field(default_factory=dict)
    _sets: dict[tuple[tuple[int, int], ...], int] = field(default_factory=dict)
    _by_number: list[Mapping[int, int]] = field(default_factory=list)
    _balls: dict[tuple[object, ...], int] = field(default_factory=dict)
    _pins: dict[tuple[int, Stack], tuple[int, ...]] = field(default_factory=dict)
    _less: dict[tuple[int, int, int], list[frozenset[int]]] = field(default_factory=dict)
    _served_bare: dict[tuple[int, int], NDArray[np.bool_]] = field(default_factory=dict)
    _waiting: dict[int, list[int]] = field(default_factory=dict)
    _held: dict[tuple[int, Stack], bool] = field(default_factory=dict)
    _bare: dict[int, frozenset[int]] = field(default_factory=dict)
    left: int = MOST_WORK
    untried: int = 0
    _ball_facts: dict[tuple[int, int], tuple[str, ...]] = field(default_factory=dict)
    _joins: tuple[str, ...] = ()

    @property
    def by_accessory(self) -> Fills | None:
        """What fills the need that another accessory meets, a pin, where the rulebook has such a need."""
        filled = (need.fills for need in self.engine.rulebook.needs if need.fills is not None)
        return next((fills for fills in filled if fills.subject == ACCESSORY), None)

    def run(self) -> None:
        """Find the best sets."""
        providers: dict[int, list[Provider]] = {}
        self._joins = read_in_joining(self.engine)
        for size in range(1 + (MOST_ADDED if self.wanted.place is None else MOST_ADDED_AT_ONCE)):
            for site in self.sites:
                still_wanted()
                if size and not self._worth(site, size):
                    continue
                if size and self.left <= 0:
                    self.untried += 1
                    continue
                more = self._providers(site, size)
                known = providers.setdefault(site.number, [])
                known += more
                if more and len(self.served[site.number]) == len(self.wanted.wishes):
                    for providers_of_one in self._used_together(site, known):
                        self._combine(site, providers_of_one)

    def _used_together(self, site: Site, providers: Sequence[Provider]) -> Iterator[Sequence[Provider]]:
        """The providers to choose from: of wishes that hold at the same time those in one stack of adapters.

        Of an opening that surely does not hold all of them one for each wish is enough, to say why not.
        """
        if self.wanted.place is None:
            yield providers
            return
        by_stack: dict[Stack, list[Provider]] = {}
        for one in providers:
            by_stack.setdefault(one.stack, []).append(one)
        every = set(range(len(self.wanted.wishes)))
        for stack, several in by_stack.items():
            if every == set().union(*(one.serves for one in several)):
                yield several if self._may_hold(site, stack) else [_least_open(several, wish) for wish in every]

    def _worth(self, site: Site, adapters: int) -> bool:
        """Whether a set with so many adapters could be better than the best found."""
        if not self.found:
            return True
        count, conditional, *_ = self.found[0].rank
        least = (not site.there) + self._fewest(site) + adapters
        return least < count or (least == count and conditional and adapters == 1)

    def _fewest(self, site: Site) -> int:
        """How many accessories and balls any set takes at least: wishes whose kinds differ share no accessory."""
        apart: list[int] = []
        ball = False
        for wish, one in enumerate(self.wanted.wishes):
            rows = self.wares.accessories.of_kinds(one.kinds)
            ball = ball or bool(rows.any() and self.bare[site.number, wish].ball[rows].all())
            if not any(one.kinds & kinds for kinds in apart):
                apart.append(one.kinds)
        return len(apart) + ball

    def _providers(self, site: Site, size: int) -> list[Provider]:
        """The providers with so many adapters; of those that take the same balls and pins, the best few.

        Wishes not served yet are looked at first: where one stays so, the others wait until more adapters are tried.
        """
        served = self.served.setdefault(site.number, set())
        wishes = sorted(range(len(self.wanted.wishes)), key=lambda wish: wish in served)
        if size and not len(self.wares.adapters.items):
            return []
        if size and not all(wish in served or self._may_be_served(site, wish) for wish in wishes):
            return []
        sizes = [*self._waiting.pop(site.number, ()), size]
        stacks = (stack for one in sizes for stack in self._stacks(site, one) if not one or self._may_hold(site, stack))
        serving: dict[Stack, dict[int, dict[int, Serves]]] = {stack: {} for stack in stacks}
        for wish in wishes:
            for stack, by_item in serving.items():
                still_wanted()
                for item, serves in self._serving(site, stack, wish):
                    by_item.setdefault(item, {})[wish] = serves
                    served.add(wish)
            if size and wish not in served:
                self._waiting[site.number] = sizes
                break
        apart = self.wanted.place is not None
        return [one for stack, by_item in serving.items() for one in folded(stack, by_item, apart=apart)]

    def _may_be_served(self, site: Site, wish: int) -> bool:
        """Whether some opening could serve a wish by any accessory: with it not known, nothing surely fails."""
        case = site.cases[wish]
        open_case = replace(case, adapters=(*case.adapters, {}), opened=True)
        fold = self.wares.accessories
        may = fold.may_work(self._judged(fold, open_case)) & fold.of_kinds(self.wanted.wishes[wish].kinds)
        return bool(may.any())

    def _may_hold(self, site: Site, stack: Stack) -> bool:
        """Whether an opening may hold all wishes at the same time, whatever accessories of their kinds serve them."""
        if self.wanted.place is None:
            return True
        found = self._held.get((site.number, stack))
        if found is None:
            self._held[site.number, stack] = found = self._holds(site, stack, self.wanted.place[1])
        return found

    def _holds(self, site: Site, stack: Stack, place: Value) -> bool:
        verdicts = self._all_in(site, stack, place)
        if all(verdict.outcome != "fails" for verdict in verdicts):
            return True
        if stack.adapters and _failing(verdicts).isdisjoint(self._failing_bare(site, place)):
            self.unheld = _nearest([*self.unheld, (_broken(verdicts), site, stack)])
        return False

    def _all_in(self, site: Site, stack: Stack, place: Value) -> Sequence[Verdict]:
        """What all wishes come to at the same time in an opening, whatever accessories of their kinds serve them."""
        cases = []
        for wish, one in enumerate(self.wanted.wishes):
            case = self._case(site, wish, stack)
            case = replace(case, facts={**case.facts, KIND: Mask(one.kinds)}, present=case.present | {ACCESSORY})
            cases.append((case, place))
        return self._at_once(cases)

    def _failing_bare(self, site: Site, place: Value) -> frozenset[int]:
        """What fails with all of them in the opening as it is: one with adapters that fails so too is none for them."""
        found = self._bare.get(site.number)
        if found is None:
            self._bare[site.number] = found = _failing(self._all_in(site, BARE, place))
        return found

    def _serving(self, site: Site, stack: Stack, wish: int) -> Iterator[tuple[int, Serves]]:
        """The accessories that serve a wish in a stack, and would not without one of its adapters."""
        fold, adapters = self.wares.accessories, frozenset(stack.adapters)
        if stack.adapters and self.left <= 0:
            self.untried += 1
            return
        judged = self._judged(fold, self._case(site, wish, stack))
        works = fold.works(judged) & fold.of_kinds(self.wanted.wishes[wish].kinds)
        if stack.adapters and self.wanted.place is None:
            works &= ~self._served_bare[site.number, wish]  # which need none of its adapters
        if stack.adapters and not works.any():
            self._note_undecided(site, stack, wish, judged)
            return
        rows, touched = fold.rows(judged), fold.called(tried_on(site.cases[wish]))
        bare = np.zeros(len(works), dtype=bool)
        if not stack.adapters:
            self.bare[site.number, wish], self._served_bare[site.number, wish] = rows, bare
        for item in np.flatnonzero(works).tolist():
            less = self._less.setdefault((site.number, wish, item), [])
            if self.wanted.place is None and any(few <= adapters for few in less):
                continue
            balls = self._balls_for(site, stack, wish, item) if rows.ball[item] else -1
            if balls is not None and (balls < 0 or self._by_number[balls]):
                less.append(adapters)
                bare[item] = True
                # What touched when it was tried there is one thing more to see to.
                yield item, Serves(int(rows.opens[item]) + int(touched[item]), bool(rows.pin[item]), balls)

    def _note_undecided(self, site: Site, stack: Stack, wish: int, judged: Sequence[Judged]) -> None:
        """Keep what might serve a wish in a stack that surely serves it by nothing."""
        fold, count, best = self.wares.accessories, (not site.there) + len(stack.adapters), self.undecided.get(wish)
        if wish in self.served[site.number] or (best is not None and best.rank < (count, 0)):
            return
        may = np.flatnonzero(fold.may_work(judged) & fold.of_kinds(self.wanted.wishes[wish].kinds)).tolist()
        if not may:
            return
        rows = fold.rows(judged)
        item = min(may, key=lambda one: (int(rows.opens[one]), one))
        rank = (count, int(rows.opens[item]))
        if best is None or rank < best.rank:
            self.undecided[wish] = StillOpen(rank, site, stack, item, bool(rows.ball[item]))

    def _stacks(self, site: Site, size: int) -> Iterator[Stack]:
        """The stacks of so many adapters that fit each other, one for each opening they make."""
        if size == 0:
            yield BARE
        elif len(site.plain.adapters) + size <= MOST_ADAPTERS:
            usual = set(self.engine.rule_by_rule(site.plain).fails)
            fitting = [
                (i, opening)
                for i in range(len(self.wares.adapters.items))
                if (opening := self._opening(site, (i,), usual)) is not None
            ]
            alike: dict[object, list[int]] = {}
            for i, opening in fitting:
                alike.setdefault(opening, []).append(i)
            yield from map(self._stack, alike.values()) if size == 1 else self._pairs(site, alike, usual)

    def _stack(self, alike: Sequence[int]) -> Stack:
        """One adapter of those that make the same opening, with the SKUs of the others."""
        fold = self.wares.adapters
        return Stack((alike[0],), tuple(sorted(sku for i in alike for sku in (fold.items[i].sku, *fold.twins[i]))))

    def _pairs(self, site: Site, alike: Mapping[object, Sequence[int]], usual: set[int]) -> Iterator[Stack]:
        """Two adapters, where the opening they make is none that fewer make."""
        seen, items = set(alike), self.wares.adapters.items
        for first in (one[0] for one in alike.values()):
            fits: dict[tuple[Value | None, ...], bool] = {}
            for second in range(len(items)):
                join = tuple(items[second].values.get(name) for name in self._joins)
                if first == second or not fits.get(join, True):
                    continue
                if self.left <= 0:
                    self.untried += 1
                    return
                opening = self._opening(site, (first, second), usual)
                fits[join] = opening is not None
                if opening is not None and opening not in seen:
                    seen.add(opening)
                    yield Stack((first, second))

    def _opening(self, site: Site, adapters: tuple[int, ...], usual: set[int]) -> tuple[Value | None, ...] | None:
        """What an accessory finds in an opening with adapters, or None where they do not go together."""
        self.left -= 2
        case = self.engine.opened(self._with_stack(site.plain, Stack(adapters)))
        if not usual.issuperset(self.engine.rule_by_rule(case).fails):
            return None
        return tuple(case.facts.get(name) for name in self.engine.rulebook.opening)

    def _with_stack(self, case: Case, stack: Stack) -> Case:
        items = self.wares.adapters.items
        return stacked(case, self.reader, [items[i] for i in stack.adapters])

    def _case(self, site: Site, wish: int, stack: Stack) -> Case:
        return self._with_stack(site.cases[wish], stack)

    def _judged(self, fold: Fold, case: Case) -> Sequence[Judged]:
        """A case with each item of a fold, the work counted."""
        self.left -= _COLUMN
        return fold.judged(case)

    def _balls_for(self, site: Site, stack: Stack, wish: int, item: int) -> int | None:
        """The number of the set of balls that do on a mount, each with what it leaves open or settles.

        None where the work is done and nothing is known of them.
        """
        mount = self.wares.accessories.items[item]
        key = (wish, *self._read_with_ball(site, stack, wish, mount))
        if key not in self._balls:
            if self.left <= 0:
                self.untried += 1
                return None
            case = with_items(self._case(site, wish, stack), self.reader, mount)
            before = open_of(self.engine, case)
            rows = self.wares.balls.rows(self._judged(self.wares.balls, case))
            does = tuple((ball, int(rows.opens[ball]) - before) for ball in np.flatnonzero(rows.works).tolist())
            self._balls[key] = self._sets.setdefault(does, len(self._sets))
            if len(self._sets) > len(self._by_number):
                self._by_number.append(dict(does))
        return self._balls[key]

    def _read_with_ball(self, site: Site, stack: Stack, wish: int, mount: Item) -> Iterator[object]:
        """What rules read together with a ball's facts: their values, and the opening where any of them reads it."""
        case = site.cases[wish]
        names = self._ball_facts.get((site.number, wish))
        if names is None:
            self._ball_facts[site.number, wish] = names = read_with_ball(self.engine, case)
        yield from (mount.values.get(name, case.facts.get(name)) for name in names)
        if any(name.startswith("opening.") for name in names):
            yield site.number, stack

    def _pins_for(self, site: Site, stack: Stack) -> tuple[int, ...]:
        """The pins that hold in an opening."""
        if (site.number, stack) not in self._pins:
            pins: list[int] = []
            if self.by_accessory is not None:
                fold: Fold = self.wares.accessories
                works = fold.works(self._judged(fold, self._with_stack(site.plain, stack)))
                works &= ~fold.called(tried_on(site.plain))
                pins = np.flatnonzero(works & fold.of_kinds(self.by_accessory.kinds)).tolist()
            self._pins[site.number, stack] = tuple(pins)
        return self._pins[site.number, stack]

    def _beaten(self, count: int, opens: int) -> bool:
        """Whether so many parts with so much left open are behind all that is kept."""
        return len(self.found) >= KEPT and (count, opens) > (self.found[-1].rank[0], self.found[-1].rank[2])

    def _floor(self, serves: Serves) -> int:
        """The least that can stay open of a wish, once its ball and pin are chosen."""
        settled = min(self._by_number[serves.balls].values()) if serves.balls >= 0 else 0
        return max(0, serves.opens + settled - _PIN_SETTLES * serves.pin)

    def _combine(self, site: Site, providers: Sequence[Provider]) -> None:
        """Choose a provider for each wish, in every way that could be among the best."""
        count = len(self.wanted.wishes)
        by_wish = [
            [(one, one.parts, self._floor(one.serves[wish])) for one in providers if wish in one.serves]
            for wish in range(count)
        ]
        rest = [self._least(by_wish, wish) for wish in range(1, count + 1)]

        def extend(chosen: tuple[Provider, ...], parts: frozenset[int], ball: bool, open_: int) -> None:
            wish = len(chosen)
            if wish == count:
                self._finish(site, chosen)
                return
            more_parts, more_ball, more_open = rest[wish]
            self.left -= len(by_wish[wish]) // _SORTED
            for one, own, floor in sorted(by_wish[wish], key=lambda row: (len(row[1] - parts), row[2], row[0].item)):
                self.left -= 1
                more, balls = parts | own, ball or one.serves[wish].balls >= 0
                least = (not site.there) + len(more) + more_parts
                if self.left <= -_MOST_CHOSEN or self._beaten(least + (ball or more_ball), 0):
                    return
                if not self._beaten(least + (balls or more_ball), open_ + floor + more_open):
                    extend((*chosen, one), more, balls, open_ + floor)

        extend((), frozenset(), False, 0)
        self.untried += self.left <= -_MOST_CHOSEN

    def _least(self, by_wish: Sequence[Sequence[tuple[Provider, object, int]]], first: int) -> tuple[int, bool, int]:
        """What the wishes from one on take at least: accessories of new kinds, a ball, and what stays open."""
        wishes = self.wanted.wishes
        fresh = [
            wish
            for wish in range(first, len(wishes))
            if not any(wishes[wish].kinds & before.kinds for before in wishes[:wish])
        ]
        later = by_wish[first:]
        ball = any(all(one.serves[first + i].balls >= 0 for one, *_ in options) for i, options in enumerate(later))
        return len(fresh), ball, sum(min(floor for *_, floor in options) for options in later)

    def _finish(self, site: Site, chosen: tuple[Provider, ...]) -> None:
        """Choose balls and pins, judge every wish exactly, and keep the set if it is among the best."""
        serves = [one.serves[wish] for wish, one in enumerate(chosen)]
        balls, same_balls = fewest([self._by_number[one.balls] if one.balls >= 0 else None for one in serves])
        fitting = [
            self._pins_for(site, one.stack) if need.pin else () for one, need in zip(chosen, serves, strict=True)
        ]
        pins, same_pins = fewest([dict.fromkeys(one, 0) if one else None for one in fitting])
        parts = frozenset().union(*(one.parts for one in chosen))
        count = (not site.there) + len(parts) + len({*balls} - {None}) + len({*pins} - {None})
        if self._beaten(count, sum(map(self._floor, serves))):
            return
        choices = tuple(Provision(*row) for row in zip(chosen, balls, pins, strict=True))
        opens = self._opens(site, choices)
        if opens is None:
            return
        skus = frozenset(self._skus(site, choices))
        found = PartSet(
            rank=(count, opens > 0, opens, self._added(choices), tuple(sorted(skus))),
            site=site,
            choices=choices,
            skus=skus,
            same_balls=same_balls,
            same_pins=same_pins,
        )
        others = [one for one in self.found if one.skus != skus]
        best = min((one for one in (*self.found, found) if one.skus == skus), key=lambda one: one.rank)
        self.found = sorted((*others, best), key=lambda one: one.rank)[:KEPT]

    def _added(self, choices: Sequence[Provision]) -> float:
        """The length that the adapters of a set add to the opening, as far as it is known."""
        places = {i for choice in choices for i in choice.provider.stack.adapters}
        names = self.engine.rulebook.vocabulary.serving("added_length")
        added = [self.wares.adapters.items[i].values.get(name, (0.0, 0.0)) for i in places for name in names]
        return sum(bounds[0] for bounds in added if isinstance(bounds, tuple))

    def _opens(self, site: Site, choices: Sequence[Provision]) -> int | None:
        """What stays open over all wishes, or None where one of them is not served after all or not beside the rest."""
        total, cases = 0, list[Case]()
        self.left -= 1 + 2 * len(choices)
        for wish, choice in enumerate(choices):
            case = self._case(site, wish, choice.provider.stack)
            case = with_items(case, self.reader, *self.items(choice))
            if choice.pin is not None and self.by_accessory is not None:
                case = replace(case, facts={**case.facts, self.by_accessory.gives: YES})
            verdict = self.engine.evaluate(case)
            if verdict.outcome not in ("works", "conditional"):
                return None
            total += verdict.conditions
            cases.append(case)
        if self.wanted.place is None:
            return total
        _, place = self.wanted.place
        verdicts = self._at_once([(case, place) for case in cases])
        if all(verdict.outcome in ("works", "conditional") for verdict in verdicts):
            return sum(verdict.conditions for verdict in verdicts)
        self.spoilt = _nearest([*self.spoilt, (_broken(verdicts), site, tuple(choices))])
        return None

    def _at_once(self, cases: Sequence[tuple[Case, Value]]) -> Sequence[Verdict]:
        """What several come to at the same time: each by itself and beside each other, in twice the time of a case."""
        self.left -= 2 * len(cases) * len(cases)
        return self.together.verdicts(cases)

    def items(self, choice: Provision) -> list[Item]:
        """The accessory of a choice, and its ball."""
        balls = [] if choice.ball is None else [self.wares.balls.items[choice.ball]]
        return [self.wares.accessories.items[choice.provider.item], *balls]

    def _skus(self, site: Site, choices: Sequence[Provision]) -> Iterator[str]:
        if site.receiver is not None:
            yield site.receiver.key
        for choice in choices:
            yield from (item.sku for item in self.items(choice))
            yield from (self.wares.adapters.items[i].sku for i in choice.provider.stack.adapters)
            if choice.pin is not None:
                yield self.wares.accessories.items[choice.pin].sku


def _broken(verdicts: Sequence[Verdict]) -> int:
    """How many rules are broken, of several that are to hold at the same time."""
    return sum(len(verdict.fails) or 1 for verdict in verdicts if verdict.outcome not in ("works", "conditional"))


def _failing(verdicts: Sequence[Verdict]) -> frozenset[int]:
    """The rules that fail in any of several verdicts, by their numbers."""
    return frozenset(number for verdict in verdicts for number in verdict.fails)


def _least_open(several: Sequence[Provider], wish: int) -> Provider:
    """The one of several providers that leaves least open of a wish."""
    return min((one for one in several if wish in one.serves), key=lambda one: one.serves[wish].opens)


def _nearest(found: list[tuple[int, Site, T]]) -> list[tuple[int, Site, T]]:
    """The few that break the fewest rules."""
    return sorted(found, key=lambda one: one[0])[:_MOST_NEAR]
