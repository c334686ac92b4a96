"""Facts and kinds that two rulebooks know by different names, so that each can be asked what the other is asked."""

from dataclasses import replace

from fitsvc.language.types import ListType
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
    a, b = one.vocabulary, other.vocabulary
    return _also_by(one, renamed(a, b), b), _also_by(other, renamed(b, a), a)


def _also_by(book: Rulebook, names: dict[str, str], others: Vocabulary) -> Rulebook:
    facts = dict(book.vocabulary.facts)
    for was, name in names.items():
        facts[was] = replace(facts[was], formerly=(*facts[was].formerly, name.partition(".")[2]))
    for name, fact in facts.items():
        if isinstance(fact.type, ListType) and (more := _members(fact.type, others)):
            facts[name] = replace(fact, type=replace(fact.type, former=(*fact.type.former, *more)))
    return replace(book, vocabulary=replace(book.vocabulary, facts=facts))


def _members(kind: ListType, others: Vocabulary) -> list[tuple[str, str]]:
    """Members that have another name in a later list, by that name."""
    later = others.lists.get(kind.name)
    pairs = later.former if later else ()
    return [(now, was) for was, now in pairs if was in kind.members and now not in kind.members]
