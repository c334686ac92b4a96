"""Random part-known questions by the shipped rulebook, and completions of them: every unknown fact given a value.

A question is drawn from a rig that works or is conditional, since most figures taken at random fail at once: a few
facts are then spoilt, and some are blanked, widened or thinned out. A number that is open may be ten times
its plausible range, as no rule may rest on what is plausible.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import cache
from math import inf
from random import Random
from types import MappingProxyType
from typing import Final
from weakref import WeakKeyDictionary

from random_rulebooks import Slot, random_case, shipped_rulebook

from fitsvc.engine.verdict import Verdict
from fitsvc.facts import Case
from fitsvc.language.truth import NO, UNKNOWN, YES
from fitsvc.language.types import ListType, Mask, NumberType, Value, is_exact

Held = tuple[int | None, str]
"""A fact of the rig, or of the adapter at a place."""
_BEYOND: Final = 10.0
_STUCK: Final = 60
"""After so many changes in vain another completion is drawn."""
_MOST_WRONG: Final = {60: 8, 120: 4, 200: 2}
"""Rules that may still be wrong after so many changes; of rigs with more, hardly one works a hundred changes later.

Measured over 84 rigs found so and 84 without it: half the processor time each, and of them 22 against 17 have a
trailer, 28 against 33 an accessory, 56 against 66 a ball, 53 against 53 a load.
"""
_FIRST: Final = 8
_AFRESH: Final = 0.05
_REDRAWN: Final = 40
"""So many working rigs are looked for from nothing, and later this share; others are got from one with so many facts
drawn anew: in 6 ms rather than 400, over 12 rigs of some 195 facts, of which 35 are others then."""
_FOUND: Final = WeakKeyDictionary[Random, list[Case]]()
"""What was found with each source of random numbers, so that no test's rigs hang on which ran before it."""


@cache
def slots() -> dict[str, Slot]:
    """What each fact may be, of those that some rule rests on."""
    made = shipped_rulebook()
    own, each = made.engine.opening_leaves
    read = {leaf.name for leaf in (*own, *each)}
    for number in range(len(made.rulebook.rules)):
        read |= {leaf.name for adapted in (False, True) for leaf in made.engine.support(number, adapted).leaves}
    return {name: slot for some in made.slots.values() for name, slot in some.items() if name in read}


def held(case: Case) -> list[Held]:
    """The facts that a question may hold."""
    subjects = {name.partition(".")[0] for name in case.present}
    own: list[Held] = [(None, name) for name in slots() if name.partition(".")[0] in subjects]
    of_adapters = [name for name in slots() if name.startswith("adapter.")]
    return own + [(place, name) for place in range(len(case.adapters)) for name in of_adapters]


def told(case: Case, of: Held) -> Value:
    """What a question tells of a fact."""
    place, name = of
    return (case.facts if place is None else case.adapters[place]).get(name, slots()[name].kind.unknown)


def telling(case: Case, of: Held, value: Value) -> Case:
    """The question with another value of a fact."""
    place, name = of
    if place is None:
        return replace(case, facts={**case.facts, name: value})
    adapters = list(case.adapters)
    adapters[place] = {**adapters[place], name: value}
    return replace(case, adapters=tuple(adapters))


def telling_all(case: Case, values: Mapping[Held, Value]) -> Case:
    """The question with other values of many facts."""
    facts, adapters = dict(case.facts), [dict(adapter) for adapter in case.adapters]
    for (place, name), value in values.items():
        (facts if place is None else adapters[place])[name] = value
    return replace(case, facts=facts, adapters=tuple(adapters))


def is_open(case: Case, of: Held) -> bool:
    """Whether a fact is not exactly known."""
    return not is_exact(slots()[of[1]].kind, told(case, of))


@cache
def rests_on(number: int, adapters: int) -> tuple[Held, ...]:
    """The facts that a rule rests on with so many adapters, those behind the opening too."""
    engine = shipped_rulebook().engine
    leaves = [leaf.name for leaf in engine.support(number, bool(adapters)).leaves]
    found: list[Held] = [(None, name) for name in leaves if name in slots()]
    if any(name.startswith("opening.") for name in leaves):
        own, each = engine.opening_leaves
        found += [(None, leaf.name) for leaf in own]
        found += [(place, leaf.name) for place in range(adapters) for leaf in each]
    return tuple(found)


def plausible(name: str) -> tuple[float, float]:
    """The range of a figure; of one that has none (a tyre's), what the rules' figures span."""
    slot = slots()[name]
    return (slot.low, slot.high if slot.high < inf else max(slot.figures))


def far(name: str) -> tuple[float, float]:
    """A range ten times as wide: a figure that is open may be so large."""
    low, high = plausible(name)
    return (min(_BEYOND * low, low), _BEYOND * high)


def one_of(rng: Random, name: str, value: Value) -> Value:
    """An exact value within what is known: often an end of it, or a figure of the rules, or next to one."""
    slot = slots()[name]
    if isinstance(slot.kind, ListType):
        assert isinstance(value, int)
        return rng.choice([slot.kind.member(i) for i in range(len(slot.kind.members)) if value >> i & 1])
    if not isinstance(value, tuple):
        return rng.choice((NO, YES)) if value == UNKNOWN else value
    least, most = far(name)
    low, high = max(value[0], least), min(value[1], most)
    if low > high:
        return (value[0], value[0])
    usual = min(max(2.0 * max(map(abs, slot.figures)), low), high)
    figure = rng.choice(slot.figures) + rng.choice((0.0, 0.0, 1.0, -1.0))
    chosen = rng.choice((low, high, figure, figure, rng.uniform(low, usual), rng.uniform(low, usual)))
    chosen = min(max(chosen, low), high)
    return (chosen, chosen)


def completion(rng: Random, case: Case) -> Case:
    """The question with every fact known exactly, within what it tells."""
    return telling_all(case, {of: one_of(rng, of[1], told(case, of)) for of in held(case)})


def completion_without(
    rng: Random,
    case: Case,
    wrong: Callable[[Verdict], Sequence[int]],
    tries: int,
    most_wrong: Mapping[int, int] = MappingProxyType({}),
    start: Case | None = None,
) -> Case | None:
    """A completion of which nothing is wrong, looked for by changing facts that a wrong rule rests on.

    It is begun with one drawn at random, or with `start`, and given up where after a number of changes more is wrong
    than there may be.
    """
    engine, open_ = shipped_rulebook().engine, {of for of in held(case) if is_open(case, of)}
    while tries > 0:
        one, start, stuck, changes = start or completion(rng, case), None, 0, 0
        rules, tries = wrong(engine.rule_by_rule(one)), tries - 1
        while rules and tries > 0 and stuck < _STUCK:
            free = [of for of in rests_on(rng.choice(rules), len(case.adapters)) if of in open_]
            if not free:
                if not any(of in open_ for number in rules for of in rests_on(number, len(case.adapters))):
                    return None
                stuck += 1
                continue
            other = one
            for of in rng.sample(free, min(len(free), rng.choice((1, 1, 1, 2)))):
                other = telling(other, of, one_of(rng, of[1], told(case, of)))
            left, tries = wrong(engine.rule_by_rule(other)), tries - 1
            if len(left) > len(rules):
                stuck += 1
            else:
                stuck = 0 if len(left) < len(rules) else stuck + 1
                one, rules = other, left
            changes += 1
            if len(rules) > most_wrong.get(changes, len(rules)):
                return None
        if not rules:
            return one
    return None


def anything(name: str) -> Value:
    """All that a fact may plausibly be."""
    slot = slots()[name]
    return plausible(name) if isinstance(slot.kind, NumberType) else slot.kind.unknown


def working(rng: Random) -> Case:
    """A rig of which everything is known and no rule fails or is open: looked for from nothing, or got from another."""
    found = _FOUND.setdefault(rng, [])
    while len(found) >= _FIRST and rng.random() >= _AFRESH:
        at = rng.randrange(len(found))
        if other := _from(rng, found[at]):
            found[at] = other
            return other
    # Every fourth has an adapter at least: of those drawn without regard to it one in forty works.
    least = len(found) % 4 // 3
    while True:
        drawn = random_case(rng, shipped_rulebook())
        adapters: list[dict[str, Value]] = [{} for _ in drawn.adapters[: max(least, rng.choice((0, 0, 1, 2)))]]
        if len(adapters) < least:
            continue
        rig = _of_anything(Case({}, drawn.present, tuple(adapters)))
        if one := completion_without(rng, rig, _not_passing, 300, _MOST_WRONG):
            found.append(one)
            return one


def _from(rng: Random, rig: Case) -> Case | None:
    """Another working rig: some facts drawn anew, and what is wrong then mended; none where that is not found."""
    start = spoilt(rng, rig, min(_REDRAWN, len(held(rig))))
    return completion_without(rng, _of_anything(rig), _not_passing, 150, _MOST_WRONG, start)


def _of_anything(rig: Case) -> Case:
    """The rig with each fact as open as it may plausibly be."""
    return telling_all(rig, {of: anything(of[1]) for of in held(rig)})


def _not_passing(verdict: Verdict) -> Sequence[int]:
    return [*verdict.fails, *verdict.unknown]


def spoilt(rng: Random, case: Case, count: int) -> Case:
    """The question with so many facts drawn anew."""
    return telling_all(case, {of: one_of(rng, of[1], anything(of[1])) for of in rng.sample(held(case), count)})


def part_known(rng: Random) -> Case:
    """A question of which much, little or no figure is unknown."""
    case = spoilt(rng, working(rng), rng.choice((0, 0, 1, 2, 4)))
    facts = held(case)
    way = rng.choice(("a few", "thinned", "choices"))
    if way == "a few":
        blanked = rng.sample(facts, rng.randint(1, 8))
    elif way == "thinned":
        chance = rng.uniform(0.15, 0.85)
        blanked = [of for of in facts if rng.random() < chance]
    else:
        blanked = [of for of in facts if not isinstance(slots()[of[1]].kind, NumberType) and rng.random() < 0.3]
    if way == "thinned":
        return telling_all(case, {of: slots()[of[1]].kind.unknown for of in blanked})
    return telling_all(case, {of: wider(rng, of[1], told(case, of)) for of in blanked})


def wider(rng: Random, name: str, value: Value) -> Value:
    """What holds a value, and more: within bounds, between candidates, or anything."""
    kind = slots()[name].kind
    if rng.random() < 0.6 or not isinstance(value, tuple) or not isinstance(kind, NumberType):
        if isinstance(kind, ListType) and rng.random() < 0.4:
            return Mask(int(value) | rng.randint(1, kind.unknown))  # type: ignore[arg-type]  # a choice is told as a mask
        return kind.unknown
    below, above = (abs(rng.gauss(0.0, 0.2)) * max(abs(value[0]), 1.0) for _ in range(2))
    low, high = max(value[0] - below, slots()[name].low), value[1] + above
    return rng.choice(((low, high), (low, kind.unknown[1]), (kind.unknown[0], high)))
