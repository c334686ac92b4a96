"""What a plan is put together from: receivers to choose from, stacks of adapters, providers, and sets of them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations
from typing import Final, NamedTuple

from fitsvc.answers.records import Stored
from fitsvc.answers.shelf import Item
from fitsvc.answers.tried_things import came_of
from fitsvc.document import Json
from fitsvc.engine.point import Point
from fitsvc.engine.support import Support
from fitsvc.facts import Case, FactReader
from fitsvc.tried import SEPARATED

_ALIKE: Final = 3
_APART: Final = 12
"""How many providers that take the same parts are looked at, of those that serve alike and of those used together."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """One receiver on the vehicle: the rig's document with it, the rig alone as a case, and the rig with each wish.

    `receiver` is None where the rig named its own; `there` says that it need not be bought.
    """

    number: int
    rig: Mapping[str, Json]
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


class Provision(NamedTuple):
    """What serves one wish: a provider, its ball and its pin."""

    provider: Provider
    ball: int | None
    pin: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PartSet:
    """A set that serves every wish; sets are ordered by their rank, the best first.

    The rank is how many parts it takes, whether anything stays open and how much, the length that its adapters add, and
    its SKUs.
    """

    rank: tuple[int, bool, int, float, tuple[str, ...]]
    site: Site
    choices: tuple[Provision, ...]
    skus: frozenset[str]
    same_balls: Mapping[int, Sequence[int]]
    same_pins: Mapping[int, Sequence[int]]


def folded(stack: Stack, by_item: Mapping[int, Mapping[int, Serves]], *, apart: bool = False) -> list[Provider]:
    """The accessories of a stack as providers, those that serve alike as one; the best few that take the same parts.

    Those that are to be used at the same time stay `apart`: alike by themselves, they differ in what they leave for
    the others.
    """
    alike: dict[object, Provider] = {}
    most = _APART if apart else _ALIKE
    for item in sorted(by_item):
        serves = dict(sorted(by_item[item].items()))
        key = (item,) if apart else tuple(serves.items())
        alike.setdefault(key, Provider(stack, item, serves)).same.append(item)
    kept: dict[object, int] = {}
    best = []
    for one in sorted(alike.values(), key=lambda one: (one.opens, one.item)):
        shape = tuple((wish, serves.pin, serves.balls) for wish, serves in one.serves.items())
        kept[shape] = kept.get(shape, 0) + 1
        if kept[shape] <= most:
            best.append(one)
    return best


def with_items(case: Case, reader: FactReader, *items: Item) -> Case:
    """The case with items in their places."""
    facts = dict(case.facts)
    for item in items:
        facts |= {**item.values, **case.of_items.get(item.sku, {})}
    present = case.present | {item.subject for item in items} | reader.named(facts)
    return replace(case, facts=facts, present=present)


def stacked(case: Case, reader: FactReader, adapters: Sequence[Item]) -> Case:
    """The case with adapters after its own; what was tried there counts as it hung on these."""
    case = reader.stacked(case, [one.values for one in adapters])
    row = (*case.row, *(one.sku for one in adapters))
    return replace(case, row=row, of_items=came_of(reader, case.things, row)) if case.things else case


def tried_on(case: Case) -> set[str]:
    """The SKUs of what touched or rubbed on a rig, through whatever adapters, and of those adapters."""
    counting = [one for one in case.things if one.counts]
    return {sku for one in counting for sku in (one.sku, *one.through.split(SEPARATED))} - {""}


def open_of(engine: Point, case: Case) -> int:
    """How much of a case is not settled: cautions, doubts and needs."""
    return engine.evaluate(case).conditions


def read_with_ball(engine: Point, case: Case) -> tuple[str, ...]:
    """The facts that rules that may apply read together with a ball's: where they are equal the same balls do.

    `case` is a rig with what is wished for, the accessory and the ball left open.
    """
    found: set[str] = set()
    opened = engine.opened(replace(case, present=case.present | {"accessory", "ball"}))
    for number in range(len(engine.rulebook.rules)):
        leaves = {read.name for read in engine.support(number, True).leaves}
        if any(name.startswith("ball.") for name in leaves) and engine.judge(number, opened) != "not_applicable":
            found |= leaves
    return tuple(sorted(name for name in found if not name.startswith("ball.")))


def read_in_joining(engine: Point) -> tuple[str, ...]:
    """The facts of an adapter that tell whether it goes into what is before it: equal ones go into the same."""
    things = {"accessory", "ball", "load", "trailer"}
    read = {
        leaf.name
        for number, rule in enumerate(engine.rulebook.rules)
        if not things & set(rule.subjects)
        for leaf in engine.support(number, True).leaves
    }
    opening = engine.rulebook.opening
    leaves = Support([one.each for name, one in opening.items() if name in read], {}).leaves
    return tuple(sorted(leaf.name for leaf in leaves if leaf.name.startswith("adapter.")))


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
                chosen = [
                    next((best[cover] for cover in group if place in cover), None) if place in asking else None
                    for place in range(len(wanted))
                ]
                same = {
                    best[cover]: [one for one in covers[cover] if cost[one] == cost[best[cover]]] for cover in group
                }
                return chosen, same
    return [None] * len(wanted), {}
