"""`compare --prove`: rules that mean the same are proven so, and of one that does not the smallest rig is told."""

from dataclasses import replace

from random_rulebooks import shipped_rulebook

from fitsvc.answers.question import read_question
from fitsvc.answers.records import NoRecords
from fitsvc.language.checker import Names, check
from fitsvc.language.source import Source
from fitsvc.proving.claims import Prover
from fitsvc.proving.equal import TwoBooks

BOOK = shipped_rulebook().rulebook
NAMES = Names(
    {**BOOK.vocabulary.slots(), **{name: one.type for name, one in BOOK.opening.items()}},
    frozenset(BOOK.vocabulary.subjects),
)
KEPT = {
    "shank-fits-opening": "not (opening.size != accessory.shank)",
    "curb-weight-within-gvwr": "2 * vehicle.curb_weight < vehicle.gvwr + vehicle.gvwr",
}
CHANGED = {
    "shank-fits-opening": "accessory.shank <= opening.size",
    "curb-weight-within-gvwr": "vehicle.curb_weight < vehicle.gvwr + 50 lb",
}


def comparison(changes: dict[str, str]) -> TwoBooks:
    """The rulebook that ships against one in which these rules require something else; both of these rules alone."""
    rules = tuple(rule for rule in BOOK.rules if rule.id in changes)
    other = tuple(replace(rule, requires=check(Source.plain(changes[rule.id]), NAMES)) for rule in rules)
    return TwoBooks(replace(BOOK, rules=rules, needs=()), Prover(replace(BOOK, rules=other, needs=())))


def test_the_same_in_other_words_is_proven_equal() -> None:
    """Negated twice, or with both sides doubled, a rule says what it said, though the digest would differ."""
    books = comparison(KEPT)
    assert {claim.about: books.prover.decide(claim).state for claim in books.claims()} == dict.fromkeys(KEPT, "proven")


def test_what_differs_is_told_by_a_rig() -> None:
    """Each rule that was made looser has a question that only the new one passes."""
    books = comparison(CHANGED)
    for claim in books.claims():
        ruling = books.prover.decide(claim)
        assert ruling.document is not None, claim.about
        case = read_question(ruling.document, books.prover.reader, NoRecords()).case
        was, now = books.told(claim.about, case)
        assert was.startswith(("fails", "undetermined")) and now.startswith("passes"), claim.about


def test_a_rulebook_is_equal_to_itself() -> None:
    """Every rule and need of the rulebook that ships, with none, one and two adapters, without the solver."""
    books = TwoBooks(BOOK, Prover(BOOK))
    assert {books.prover.decide(claim).state for claim in books.claims()} == {"proven"}


def test_a_fact_that_only_the_old_one_has_is_told_before_anything_is_proven() -> None:
    """Renamed or taken out: there is no common form of a case then."""
    facts = {name: fact for name, fact in BOOK.vocabulary.facts.items() if name != "accessory.lowest_drop"}
    fewer = replace(BOOK, vocabulary=replace(BOOK.vocabulary, facts=facts))
    assert TwoBooks(BOOK, Prover(fewer)).gone() == ["accessory.lowest_drop"]
    assert TwoBooks(fewer, Prover(BOOK)).gone() == []
