"""No rating is surely exceeded by a rig that is a plain yes: searched for by each line of `rules/hazards.yaml`.

A search begins with a rig that works and lowers one of the line's ratings until what bears on it is just too much; then
it leaves untold what the line does not read, fact by fact, and sets what it reads by chance. What is found in no such
way may still be there: a search shows faults, not that there are none.
"""

from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from random import Random

import pytest
from effort import NIGHTLY
from working_rigs import (
    BOOK,
    KINDS,
    MADE,
    TOWED,
    Rig,
    any_value,
    blanked,
    bodies,
    has,
    plain_rigs,
    put,
    random_rigs,
    slot_of,
    works,
)

from fitsvc.engine.support import Support
from fitsvc.facts import Case, seen_at
from fitsvc.language.truth import NO, YES
from fitsvc.language.typed import ALWAYS
from fitsvc.language.types import NumberType
from fitsvc.rulebook.kinds import KnownKind
from fitsvc.rulebook.rules import Hazard

RIGS = 40 if NIGHTLY else 1
"""Rigs of each kind that a line is tried on."""
MORE = 12
"""As many where it is exceeded on none of those."""
HALVINGS = 40
DERIVED = {name: one.node for name, one in BOOK.derived.items()}
RATINGS = {line.rating for line in BOOK.hazards}
LINES = {f"{line.rating} #{number}": line for number, line in enumerate(BOOK.hazards) if line.exceeded is not None}
HELD = {name: line for name, line in LINES.items() if not line.accepted}
ACCEPTED = {name: line for name, line in LINES.items() if line.accepted}


def kinds_of(line: Hazard) -> list[str]:
    """The kinds that a line may hold for."""
    return [kind for kind, found in KINDS.items() if KnownKind(DERIVED, found).may(line.guard)]


@cache
def leaves(line: Hazard) -> set[str]:
    """The facts that a line reads, straight or through derived values."""
    read = Support([line.exceeded or ALWAYS, line.guard or ALWAYS], DERIVED).leaves
    return {one.name for one in read} - BOOK.opening.keys()


def places(line: Hazard, case: Case) -> list[int | None]:
    """The adapters that a line is about in turn; none of them where it is about no adapter."""
    return list(range(len(case.adapters))) if any(name.startswith("adapter.") for name in leaves(line)) else [None]


def exceeded(line: Hazard, case: Case, place: int | None) -> bool:
    """Whether a line is surely about this case, and its rating surely exceeded."""
    opened = MADE.engine.opened(case)
    if place is not None:
        facts, present = {**opened.facts, **case.adapters[place]}, seen_at(place + 1, opened.present)
        opened = replace(opened, facts=facts, present=present)
    nodes = [line.guard or ALWAYS, line.exceeded or ALWAYS]
    return all(value == YES for value in MADE.engine.values(("hazard", line), lambda: nodes).of(opened))


def is_about(line: Hazard, case: Case) -> bool:
    """Whether a line is surely about this case, or one of its adapters."""
    (guard,) = MADE.engine.values(("guard", line), lambda: [line.guard or ALWAYS]).of(case)
    return guard == YES and bool(places(line, case))


def own(name: str, place: int | None) -> int | None:
    """The place at which a fact is told: that of the adapter where it is one's."""
    return place if name.startswith("adapter.") else None


def just_exceeded(line: Hazard, case: Case, place: int | None) -> Iterator[Case]:
    """The case with each of the line's ratings lowered until what bears on it is just too much."""
    for rating in sorted(leaves(line) & RATINGS):
        slot, at = slot_of(rating), own(rating, place)
        low, high = slot.low, min(slot.high, 1e6)
        if exceeded(line, put(case, rating, (low, low), at), place):
            for _ in range(HALVINGS):
                middle = (low + high) / 2.0
                too_much = exceeded(line, put(case, rating, (middle, middle), at), place)
                low, high = (middle, high) if too_much else (low, middle)
            yield put(case, rating, (low, low), at)


def less_told(rng: Random, line: Hazard, case: Case) -> Iterator[Case]:
    """The exceeded case without each fact that the line does not read; then without more and more of them."""
    others = [name for name in sorted(case.facts) if name not in leaves(line) and name != "accessory.kind"]
    yield from (blanked(case, name) for name in others)
    for name in rng.sample(others, len(others)):
        case = blanked(case, name)
        yield case


def by_chance(rng: Random, line: Hazard, case: Case, place: int | None) -> Iterator[Case]:
    """The case with the figures that the line reads set by chance, some to the ends of their ranges."""
    for _ in range(10):
        made = case
        for name in sorted(name for name in leaves(line) if isinstance(slot_of(name).kind, NumberType)):
            end = rng.choice((slot_of(name).low, min(slot_of(name).high, 1e6)))
            made = put(made, name, rng.choice(((end, end), any_value(rng, name))), own(name, place))
        yield made


def tries(rng: Random, line: Hazard, rig: Rig) -> Iterator[Case]:
    """The cases made of a rig in which the line's rating is surely exceeded."""
    for place in places(line, rig.case):
        made = list(just_exceeded(line, rig.case, place))
        made += [less for one in made for less in less_told(rng, line, one)]
        made += by_chance(rng, line, rig.case, place)
        yield from (one for one in made if exceeded(line, one, place))


def rigs(seed: str, line: Hazard, count: int) -> Iterator[Rig]:
    """Rigs that work, of all kinds that a line may hold for: the same each time, new ones at night."""
    rng = Random(None if NIGHTLY else seed)
    for kind in kinds_of(line):
        yield from random_rigs(rng, kind, count, lambda case: is_about(line, case))


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("adapters", [0, 1, 2])
def test_rigs_of_every_kind_work_on_every_body(kind: str, adapters: int) -> None:
    """The search begins somewhere: every kind works on every body, with adapters but for what recovers."""
    refused = has(kind, "recovers") and adapters > 0
    work = {body for body in bodies() if plain_rigs(kind, body, adapters)}
    assert work - {TOWED} == (set() if refused else {*bodies()} - {TOWED})


@pytest.mark.parametrize("name", HELD)
def test_no_exceeded_rating_works(name: str) -> None:
    """Whatever exceeds a rating is no plain yes, by whichever kind, body and adapters, and whatever is not told."""
    line, rng, found = HELD[name], Random(name), 0
    for seed, count in ((name, RIGS), (f"{name} once more", MORE)):
        for rig in rigs(seed, line, 0 if found else count):
            for case in tries(rng, line, rig):
                found += 1
                assert not works(case), (
                    f"{rig.kind}: {line.text}, and it works: {sorted(case.facts.items())}, {case.adapters}"
                )
    assert found, f"no rig was found in which it is exceeded: {line.text}"


@pytest.mark.parametrize("name", ACCEPTED)
def test_what_is_accepted_does_work(name: str) -> None:
    """An acceptance that nothing needs is taken out: some rig exceeds the line and is a plain yes."""
    line, rng = ACCEPTED[name], Random(name)
    found = (case for rig in rigs(name, line, 10) for case in tries(rng, line, rig))
    assert any(works(case) for case in found)


@pytest.mark.parametrize("kind", KINDS)
def test_a_line_is_surely_about_a_kind_or_not(kind: str) -> None:
    """Lines are told apart by role: of each kind some line of every rating holds, or one says why none does."""
    known = KnownKind(DERIVED, KINDS[kind])
    silent = {line.rating for line in BOOK.hazards if known.truth(line.guard or ALWAYS) == NO}
    said = {line.rating for line in BOOK.hazards if known.may(line.guard)}
    assert silent <= said == RATINGS
