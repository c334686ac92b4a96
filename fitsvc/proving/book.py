"""All claims about a rulebook, a file of it, or one rule, in the order in which they are looked into."""

from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass
from functools import partial
from itertools import chain

from fitsvc.proving.claims import Claim, Prover, What
from fitsvc.proving.of_loads import OfLoads
from fitsvc.proving.of_pairs import OfPairs
from fitsvc.proving.of_ratings import OfRatings
from fitsvc.proving.of_rules import OfRules
from fitsvc.rulebook.rules import Rule, Rulebook


@dataclass(frozen=True, slots=True)
class Part:
    """Claims that one process looks into one after another, and of what they are."""

    what: What
    about: str
    claims: Callable[[], Iterator[Claim]]


def rules_of(rulebook: Rulebook, name: str) -> list[Rule]:
    """The rules of an id, a limit's id, or a topic; of a limit each of its ratings."""
    return [rule for rule in rulebook.rules if name in (rule.id, rule.limit, rule.topic)]


def claims_of(prover: Prover, rules: Collection[Rule] | None, whats: Collection[What]) -> Iterator[Claim]:
    """The claims of these kinds: about some rules alone, or about the whole rulebook."""
    return chain.from_iterable(part.claims() for part in parts_of(prover, rules, whats))


def parts_of(prover: Prover, rules: Collection[Rule] | None, whats: Collection[What]) -> list[Part]:
    """The same in parts, of which each can be looked into by itself."""
    of_rules, of_ratings = OfRules(prover), OfRatings(prover)
    found: list[Part] = []
    for rule in prover.rulebook.rules if rules is None else rules:
        own = [claim for claim in of_rules.claims(rule) if claim.what in whats]
        found += [Part(own[0].what, rule.id, partial(iter, own))] if own else []
    if rules is None:
        if "pairs" in whats:
            found.append(Part("pairs", "pairs of rules", OfPairs(prover).claims))
        single = [
            *(of_ratings.hazards() if "hazards" in whats else ()),
            *(of_ratings.refusals() if "ratings" in whats else ()),
            *(OfLoads(prover).claims() if "worse" in whats else ()),
        ]
        found += [Part(claim.what, claim.about, partial(iter, [claim])) for claim in single]
    return found
