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
from itertools import combinations, product
from typing import Any, Final, NamedTuple

import numpy as np

from fitsvc.answers.plan_reading import KIND, Wanted
from fitsvc.answers.plan_wares import Fold, Rows, Wares
from fitsvc.answers.question import Stored
from fitsvc.answers.shelf import Item
from fitsvc.engine.point import Point
from fitsvc.facts import MOST_ADAPTERS, Case, FactReader
from fitsvc.language.truth import YES
from fitsvc.language.types import ListType, Value

MOST_ADDED: Final = 2
"""How many adapters a plan may add to one opening."""

KEPT: Final = 8
_ALIKE: Final = 3
_MOST_TRIED: Final = 100_000
_PIN: Final = "locking_pin"
_PIN_SUPPLIED: Final = "receiver.pin_supplied"
_UNBOUND: Final = 1_000


@dataclass(frozen=True, slots=True)
class Site:
    """One receiver on the vehicle: the rig's document with it, the rig alone as a case, and the rig with each wish.

    `receiver` is None where the rig named its own; `there` says that it need not be bought.
    """

    number: int
    rig: Mapping[str, Any]
    receiver: Stored | None
    there: bool
    plain: Case
    cases: tuple[Case, ...]


class Stack(NamedTuple):
    """Adapters added to the opening, as places among the adapters; `same` are SKUs with which it is the same."""

    adapters: tuple[int, ...]
    same: tuple[str, ...] = ()


BARE: Final = Stack(())


class Serves(NamedTuple):
    """How an accessory serves a wish: what stays open, whether a pin is wanting, which balls do (by their number)."""

    opens: int
    pin: bool
    balls: int


@dataclass(frozen=True, slots=True)
class Provider:
    """An accessory in a stack of adapters, the wishes it serves, and the SKUs that would serve them as well."""

    stack: Stack
    item: int
    serves: Mapping[int, Serves]
    same: list[int] = field(default_factory=list)

    @property
    def parts(self) -> frozenset[int]:
        """Its parts, adapters below zero."""
        return frozenset([self.item, *(-1 - adapter for adapter in self.stack.adapters)])

    @property
    def opens(self) -> int:
        """What stays open over all its wishes."""
        return sum(one.opens for one in self.serves.values())


class Choice(NamedTuple):
    """What serves one wish: a provider, its ball and its pin."""

    provider: Provider
    ball: int | None
    pin: int | None


@dataclass(frozen=True, slots=True)
class Found:
    """A set that serves every wish; sets are ordered by their rank, the best first."""

    rank: tuple[int, bool, int, tuple[str, ...]]
    site: Site
    choices: tuple[Choice, ...]
    skus: frozenset[str]
    same_balls: Mapping[int, Sequence[int]]
    same_pins: Mapping[int, Sequence[int]]


@dataclass(slots=True)
class Search:
    """One search; `found` is in order when it has run, `bare` has what each accessory alone comes to."""

    engine: Point
    reader: FactReader
    wares: Wares
    wanted: Wanted
    sites: Sequence[Site]
    found: list[Found] = field(default_factory=list)
    bare: dict[tuple[int, int], Rows] = field(default_factory=dict)
    served: dict[int, set[int]] = field(default_factory=dict)
    _sets: dict[tuple[tuple[int, int], ...], int] = field(default_factory=dict)
    _by_number: list[Mapping[int, int]] = field(default_factory=list)
    _balls: dict[tuple[object, ...], int] = field(default_factory=dict)
    _pins: dict[tuple[int, Stack], tuple[int, ...]] = field(default_factory=dict)
    _less: dict[tuple[int, int, int], list[frozenset[int]]] = field(default_factory=dict)
    _ball_facts: tuple[str, ...] = ()
    _tried: int = 0

    def run(self) -> None:
        """Find the best sets."""
        providers: dict[int, list[Provider]] = {}
        self._ball_facts = read_with_ball(self.engine)
        for size in range(MOST_ADDED + 1):
            for site in self.sites:
                if size and not self._worth(site, size):
                    continue
                more = list(self._providers(site, size))
                known = providers.setdefault(site.number, [])
                known += more
                served = self.served.setdefault(site.number, set())
                served |= {wish for one in more for wish in one.serves}
                if more and len(served) == len(self.wanted.wishes):
                    self._combine(site, known)

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

    def _providers(self, site: Site, size: int) -> Iterator[Provider]:
        """The providers with so many adapters; of those that take the same balls and pins, the best few."""
        kept: dict[object, int] = {}
        for stack in self._stacks(site, size):
            for provider in self._of_stack(site, stack):
                shape = (stack, tuple((wish, one.pin, one.balls) for wish, one in provider.serves.items()))
                kept[shape] = kept.get(shape, 0) + 1
                if kept[shape] <= _ALIKE:
                    yield provider

    def _of_stack(self, site: Site, stack: Stack) -> list[Provider]:
        """The providers of one stack, the best first; accessories that serve alike are one.

        A wish that an accessory serves without one of the adapters is left out: the set is smaller without it.
        """
        serving: dict[int, dict[int, Serves]] = {}
        adapters = frozenset(stack.adapters)
        for wish, one in enumerate(self.wanted.wishes):
            rows = self.wares.accessories.judge(self._case(site, wish, stack))
            if stack is BARE:
                self.bare[site.number, wish] = rows
            for item in np.flatnonzero(rows.works & self.wares.accessories.of_kinds(one.kinds)).tolist():
                less = self._less.setdefault((site.number, wish, item), [])
                if any(few <= adapters for few in less):
                    continue
                balls = self._balls_for(site, stack, wish, item) if rows.ball[item] else -1
                if balls < 0 or self._by_number[balls]:
                    serving.setdefault(item, {})[wish] = Serves(int(rows.opens[item]), bool(rows.pin[item]), balls)
                    less.append(adapters)
        alike: dict[object, Provider] = {}
        for item in sorted(serving):
            serves = serving[item]
            alike.setdefault(tuple(serves.items()), Provider(stack, item, serves)).same.append(item)
        return sorted(alike.values(), key=lambda one: (one.opens, one.item))

    def _stacks(self, site: Site, size: int) -> Iterator[Stack]:
        """The stacks of so many adapters that fit each other, one for each opening they make."""
        if size == 0:
            yield BARE
        if size == 0 or len(site.plain.adapters) + size > MOST_ADAPTERS:
            return
        usual = set(self.engine.evaluate(site.plain).fails)
        seen = {self._opening(self._with_stack(site.plain, Stack(()))): BARE}
        fitting = [i for i in range(len(self.wares.adapters.items)) if self._fits(site, (i,), usual)]
        for i in fitting:
            seen.setdefault(self._opening(self._with_stack(site.plain, Stack((i,)))), Stack((i,)))
        if size == 1:
            yield from self._told(site, fitting, seen)
            return
        first = [stack.adapters[0] for stack in seen.values() if stack.adapters]
        pairs = product(first, range(len(self.wares.adapters.items)))
        for pair in pairs:
            opening = self._opening(self._with_stack(site.plain, Stack(pair)))
            if opening not in seen and self._fits(site, pair, usual):
                seen[opening] = Stack(pair)
                yield seen[opening]

    def _told(self, site: Site, fitting: Sequence[int], seen: Mapping[object, Stack]) -> Iterator[Stack]:
        """Single adapters, each with the SKUs that make the same opening."""
        alike: dict[Stack, list[str]] = {}
        for i in fitting:
            stack = seen[self._opening(self._with_stack(site.plain, Stack((i,))))]
            adapters = self.wares.adapters
            alike.setdefault(stack, []).extend([adapters.items[i].sku, *adapters.twins[i]])
        yield from (Stack(stack.adapters, tuple(sorted(skus))) for stack, skus in alike.items() if stack.adapters)

    def _fits(self, site: Site, adapters: tuple[int, ...], usual: set[int]) -> bool:
        return set(self.engine.evaluate(self._with_stack(site.plain, Stack(adapters))).fails) <= usual

    def _opening(self, case: Case) -> tuple[Value | None, ...]:
        """What the accessory finds."""
        opened = self.engine.opened(case).facts
        bare = not case.adapters
        return tuple(None if bare else opened.get(name) for name in self.engine.rulebook.opening)

    def _with_stack(self, case: Case, stack: Stack) -> Case:
        items = self.wares.adapters.items
        return replace(case, adapters=(*case.adapters, *(items[i].values for i in stack.adapters)))

    def _case(self, site: Site, wish: int, stack: Stack) -> Case:
        return self._with_stack(site.cases[wish], stack)

    def _balls_for(self, site: Site, stack: Stack, wish: int, item: int) -> int:
        """The number of the set of balls that do on a mount, each with what it leaves open or settles."""
        mount = self.wares.accessories.items[item]
        key = (site.number, stack, wish, *(mount.values.get(name) for name in self._ball_facts))
        if key not in self._balls:
            case = with_items(self._case(site, wish, stack), self.reader, mount)
            before = open_of(self.engine, case)
            rows = self.wares.balls.judge(case)
            does = tuple((ball, int(rows.opens[ball]) - before) for ball in np.flatnonzero(rows.works).tolist())
            self._balls[key] = self._sets.setdefault(does, len(self._sets))
            if len(self._sets) > len(self._by_number):
                self._by_number.append(dict(does))
        return self._balls[key]

    def _pins_for(self, site: Site, stack: Stack) -> tuple[int, ...]:
        """The pins that hold in an opening."""
        if (site.number, stack) not in self._pins:
            kind = self.engine.rulebook.vocabulary.facts[KIND].type
            pins: list[int] = []
            if isinstance(kind, ListType) and _PIN in kind.members:
                fold: Fold = self.wares.accessories
                rows = fold.judge(self._with_stack(site.plain, stack))
                pins = np.flatnonzero(rows.works & fold.of_kinds(kind.mask(_PIN))).tolist()
            self._pins[site.number, stack] = tuple(pins)
        return self._pins[site.number, stack]

    def _limit(self) -> int:
        return self.found[-1].rank[0] if len(self.found) >= KEPT else _UNBOUND

    def _combine(self, site: Site, providers: Sequence[Provider]) -> None:
        """Choose a provider for each wish, in every way that could be among the best."""
        wishes = range(len(self.wanted.wishes))
        by_wish = [[one for one in providers if wish in one.serves] for wish in wishes]
        self._tried = 0

        def extend(chosen: tuple[Provider, ...], parts: frozenset[int]) -> None:
            if len(chosen) == len(by_wish):
                self._finish(site, chosen)
                return
            for one in sorted(by_wish[len(chosen)], key=lambda one: (len(one.parts - parts), one.opens, one.item)):
                self._tried += 1
                more = parts | one.parts
                if (not site.there) + len(more) > self._limit() or self._tried > _MOST_TRIED:
                    return
                extend((*chosen, one), more)

        extend((), frozenset())

    def _finish(self, site: Site, chosen: tuple[Provider, ...]) -> None:
        """Choose balls and pins, judge every wish exactly, and keep the set if it is among the best."""
        serves = [one.serves[wish] for wish, one in enumerate(chosen)]
        balls, same_balls = fewest([self._by_number[one.balls] if one.balls >= 0 else None for one in serves])
        fitting = [self._pins_for(site, one.stack) for one in chosen]
        pins, same_pins = fewest([dict.fromkeys(pins, 0) if one.pin and pins else None
                                  for one, pins in zip(serves, fitting, strict=True)])  # fmt: skip
        parts = frozenset().union(*(one.parts for one in chosen))
        count = (not site.there) + len(parts) + len({*balls} - {None}) + len({*pins} - {None})
        if count > self._limit():
            return
        choices = tuple(Choice(*row) for row in zip(chosen, balls, pins, strict=True))
        opens = self._opens(site, choices)
        if opens is None:
            return
        skus = frozenset(self._skus(site, choices))
        found = Found((count, opens > 0, opens, tuple(sorted(skus))), site, choices, skus, same_balls, same_pins)
        others = [one for one in self.found if one.skus != skus]
        best = min((one for one in (*self.found, found) if one.skus == skus), key=lambda one: one.rank)
        self.found = sorted((*others, best), key=lambda one: one.rank)[:KEPT]

    def _opens(self, site: Site, choices: Sequence[Choice]) -> int | None:
        """What stays open over all wishes, or None where one of them is not served after all."""
        total = 0
        for wish, choice in enumerate(choices):
            case = self._case(site, wish, choice.provider.stack)
            case = with_items(case, self.reader, *self.items(choice))
            if choice.pin is not None:
                case = replace(case, facts={**case.facts, _PIN_SUPPLIED: YES})
            verdict = self.engine.evaluate(case)
            if verdict.outcome not in ("works", "conditional"):
                return None
            total += len(verdict.cautions) + len(verdict.doubts) + len(verdict.open_needs)
        return total

    def items(self, choice: Choice) -> list[Item]:
        """The accessory of a choice, and its ball."""
        balls = [] if choice.ball is None else [self.wares.balls.items[choice.ball]]
        return [self.wares.accessories.items[choice.provider.item], *balls]

    def _skus(self, site: Site, choices: Sequence[Choice]) -> Iterator[str]:
        if site.receiver is not None:
            yield site.receiver.key
        for choice in choices:
            yield from (item.sku for item in self.items(choice))
            yield from (self.wares.adapters.items[i].sku for i in choice.provider.stack.adapters)
            if choice.pin is not None:
                yield self.wares.accessories.items[choice.pin].sku


def with_items(case: Case, reader: FactReader, *items: Item) -> Case:
    """The case with items in their places."""
    facts = dict(case.facts)
    for item in items:
        facts |= item.values
    present = case.present | {item.subject for item in items} | reader.named(facts)
    return replace(case, facts=facts, present=present)


def open_of(engine: Point, case: Case) -> int:
    """How much of a case is not settled: cautions, doubts and needs."""
    verdict = engine.evaluate(case)
    return len(verdict.cautions) + len(verdict.doubts) + len(verdict.open_needs)


def read_with_ball(engine: Point) -> tuple[str, ...]:
    """The facts of a mount that rules read together with a ball's: mounts equal in them take the same balls."""
    found: set[str] = set()
    for number in range(len(engine.rulebook.rules)):
        leaves = [read.name for read in engine.basis(number, True).leaves]
        if any(name.startswith("ball.") for name in leaves):
            found |= {name for name in leaves if name.startswith("accessory.")}
    return tuple(sorted(found))


def fewest(wanted: Sequence[Mapping[int, int] | None]) -> tuple[list[int | None], dict[int, list[int]]]:
    """For each place one of what would do there (place → cost), as few different ones as possible; None asks nothing.

    Beside it, for each one chosen, those that would do in its stead.
    """
    asking = [place for place, one in enumerate(wanted) if one is not None]
    covers: dict[frozenset[int], list[int]] = {}
    cost: dict[int, int] = {}
    for place in asking:
        for one, more in (wanted[place] or {}).items():
            cost[one] = cost.get(one, 0) + more
    for one in sorted(cost):
        covers.setdefault(frozenset(place for place in asking if one in (wanted[place] or ())), []).append(one)
    for size in range(1, len(asking) + 1):
        for group in combinations(covers, size):
            if len(frozenset().union(*group)) == len(asking):
                best = {cover: min(covers[cover], key=lambda one: (cost[one], one)) for cover in group}
                chosen = [next((best[cover] for cover in group if place in cover), None) if place in asking else None
                          for place in range(len(wanted))]  # fmt: skip
                same = {
                    best[cover]: [one for one in covers[cover] if cost[one] == cost[best[cover]]] for cover in group
                }
                return chosen, same
    return [None] * len(wanted), {}
