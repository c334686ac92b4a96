"""A heavier load, a lower rating or a longer extension never improves an outcome, but where a rule is meant so.

Those rules stand in `hazards.yaml` alone, as `agree`, with why each may: the proofs of loads leave out the same.
"""

from collections import Counter
from random import Random
from typing import Final

from effort import NIGHTLY
from part_known import Held, held, is_open, part_known, plausible, slots, spoilt, telling, told, working
from random_rulebooks import shipped_rulebook
from working_rigs import KINDS, random_rigs

from fitsvc.engine.verdict import Verdict
from fitsvc.facts import Case
from fitsvc.language.quantities import MASS
from fitsvc.language.types import NumberType
from fitsvc.rulebook.outcomes import OUTCOME_OF, OUTCOMES

PAIRS = 200_000 if NIGHTLY else 4_000
EACH, TIMES = 30, 4 if NIGHTLY else 1
"""So many figures of a question, at most, are made worse, each by itself, and so many times each."""
HEAVIER: Final = ("load.bikes", "adapter.adds_length")
LOWER: Final = ("accessory.bikes_max", "adapter.keeps_fraction", "receiver.d_value")
"""What counts as a load or length, or as a rating, beside the masses."""
RATINGS: Final = ("rating", "capacity", "gvwr", "gawr", "gcwr", "_max", "tyre.load")
"""How the names of masses that are ratings end, or what is in them; all others are loads."""


def improves(number: int, before: Verdict, after: Verdict) -> bool:
    """Whether a rule comes to something better."""
    places = []
    for verdict in (before, after):
        effects = [effect for effect in OUTCOME_OF if effect != "open_needs" and number in getattr(verdict, effect)]
        places.append(max((OUTCOMES.index(OUTCOME_OF[effect]) for effect in effects), default=0))
    return places[1] < places[0]


def figures() -> dict[str, int]:
    """The figures to make worse, by name: up where it is a load or a length, down where it is a rating."""
    found = {}
    for name, slot in slots().items():
        mass = isinstance(slot.kind, NumberType) and slot.kind.dimension == MASS
        if name in LOWER or (mass and any(word in name for word in RATINGS)):
            found[name] = -1
        elif name in HEAVIER or mass:
            found[name] = 1
    return found


def worse(rng: Random, case: Case, of: Held, way: int) -> Case | None:
    """The question with one figure somewhat or much worse; none where it can be no worse."""
    value, (low, high) = told(case, of), plausible(of[1])
    assert isinstance(value, tuple)
    far = (high if way > 0 else low) - value[0]
    changed = value[0] + far * rng.choice((rng.random(), rng.random() ** 4, 1.0))
    return telling(case, of, (changed, changed)) if changed != value[0] else None


def drawn(rng: Random) -> Case:
    """A question known in part or in full, or now and then one that is a plain yes."""
    if (way := rng.random()) < 0.1:
        return next(random_rigs(rng, rng.choice([*KINDS]), 1)).case
    return part_known(rng) if way < 0.4 else spoilt(rng, working(rng), rng.choice((0, 1, 4, 8)))


def test_heavier_lower_or_longer_never_improves_an_outcome() -> None:
    """Over random pairs of a question and the same with one figure worse, known in full or in part."""
    rng, engine, ways = Random(None if NIGHTLY else 7), shipped_rulebook().engine, figures()
    rules = engine.rulebook.rules
    pairs, from_, allowed = 0, Counter[str](), Counter[str]()
    while pairs < PAIRS:
        case = drawn(rng)
        before = engine.evaluate(case)
        known = [of for of in held(case) if of[1] in ways and not is_open(case, of)]
        for of in TIMES * rng.sample(known, min(len(known), EACH)):
            other = worse(rng, case, of, ways[of[1]])
            if other is None:
                continue
            pairs, after = pairs + 1, engine.evaluate(other)
            from_[before.outcome] += 1
            if OUTCOMES.index(after.outcome) < OUTCOMES.index(before.outcome):
                better = {rules[n].id for n in range(len(rules)) if improves(n, before, after)}
                assert better and better <= engine.rulebook.agree, (
                    f"{of}: {told(case, of)} to {told(other, of)}: {before.outcome} became {after.outcome} by {better}"
                )
                allowed.update(better)
    print(f"{pairs} pairs, from {dict(from_)}; better by: {dict(allowed)}")
    assert min(from_["conditional"], from_["undetermined"], from_["fails"]) > PAIRS / 40 and from_["works"]
