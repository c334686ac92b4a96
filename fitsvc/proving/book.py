"""All claims about a rulebook, a file of it, or one rule, in the order in which they are looked into."""

from collections.abc import Collection, Iterator

from fitsvc.proving.claims import Claim, Prover, What
from fitsvc.proving.of_loads import OfLoads
from fitsvc.proving.of_pairs import OfPairs
from fitsvc.proving.of_ratings import OfRatings
from fitsvc.proving.of_rules import OfRules
from fitsvc.rulebook.rules import Rule, Rulebook


def rules_of(rulebook: Rulebook, name: str) -> list[Rule]:
    """The rules of an id, a limit's id, or a topic; of a limit each of its ratings."""
    return [rule for rule in rulebook.rules if name in (rule.id, rule.limit, rule.topic)]


def claims_of(prover: Prover, rules: Collection[Rule] | None, whats: Collection[What]) -> Iterator[Claim]:
    """The claims of these kinds: about some rules alone, or about the whole rulebook."""
    of_rules, of_ratings = OfRules(prover), OfRatings(prover)
    for rule in prover.rulebook.rules if rules is None else rules:
        yield from (claim for claim in of_rules.claims(rule) if claim.what in whats)
    if rules is None and "pairs" in whats:
        yield from OfPairs(prover).claims()
    if rules is None and "hazards" in whats:
        yield from of_ratings.hazards()
    if rules is None and "ratings" in whats:
        yield from of_ratings.refusals()
    if rules is None and "worse" in whats:
        yield from OfLoads(prover).claims()
