"""Facts that two rulebooks know by different names, so that each can be asked what the other is asked."""

from dataclasses import replace

from fitsvc.rulebook.rules import Rulebook
from fitsvc.rulebook.vocabulary import Vocabulary


def renamed(old: Vocabulary, new: Vocabulary) -> dict[str, str]:
    """The facts of one vocabulary that have another name in a later one, by the name that they have in the first."""
    found = {}
    for fact in new.facts.values():
        for was in (f"{fact.subject}.{one}" for one in fact.formerly):
            if was in old.facts and was not in new.facts and fact.name not in old.facts:
                found[was] = fact.name
    return found


def by_both_names(one: Rulebook, other: Rulebook) -> tuple[Rulebook, Rulebook]:
    """Two rulebooks that read each fact by the names that it has in either; what they mean is as before."""
    return _also_by(one, renamed(one.vocabulary, other.vocabulary)), _also_by(
        other, renamed(other.vocabulary, one.vocabulary)
    )


def _also_by(book: Rulebook, names: dict[str, str]) -> Rulebook:
    facts = dict(book.vocabulary.facts)
    for was, name in names.items():
        facts[was] = replace(facts[was], formerly=(*facts[was].formerly, name.partition(".")[2]))
    return replace(book, vocabulary=replace(book.vocabulary, facts=facts)) if names else book
