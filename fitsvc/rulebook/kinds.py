"""Which rules, needs and cautions can apply to a kind: what holds a member of a list with roles.

A guard is read with the kind known and nothing else: unless it is then surely no, what it guards can apply. So an
author sees, for a new kind, what the roles said of it bring, and what they do not.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from fitsvc.language import truth, typed
from fitsvc.language.typed import AnyTyped
from fitsvc.language.types import ListType, Mask
from fitsvc.rulebook.rules import Rulebook, Template
from fitsvc.rulebook.vocabulary import Fact, Vocabulary


@dataclass(frozen=True, slots=True)
class Applying:
    """What can apply to a kind: `effect` is a rule's severity, `need`, or `told` of a caution that decides nothing."""

    id: str
    topic: str
    effect: str
    title: str


@dataclass(frozen=True, slots=True)
class Kind:
    """One member of a list with roles: the fact that is chosen from it, and its roles by what rules call them."""

    fact: Fact
    member: str
    word: str
    roles: tuple[str, ...]

    @property
    def place(self) -> int:
        """Its place in the list."""
        assert isinstance(self.fact.type, ListType)
        return self.fact.type.members.index(self.member)

    @property
    def mask(self) -> Mask:
        """The value of its fact that is this kind alone."""
        assert isinstance(self.fact.type, ListType)
        return self.fact.type.mask(self.member)


def kinds_of(vocabulary: Vocabulary) -> dict[str, Kind]:
    """The members of every list with roles."""
    roles = dict[tuple[str, str], list[str]]()
    for name, fact, role in vocabulary.role_facts():
        for member in role.members:
            roles.setdefault((fact.name, member), []).append(name)
    return {
        member: Kind(
            vocabulary.facts[fact], member, vocabulary.words[vocabulary.facts[fact].kind][member], tuple(names)
        )
        for (fact, member), names in roles.items()
    }


def applying_to(rulebook: Rulebook, kind: Kind) -> Iterator[Applying]:
    """What can apply to a kind; a rule that surely passes for it is left out."""
    known = KnownKind({name: one.node for name, one in rulebook.derived.items()}, kind)
    for rule in rulebook.rules:
        if known.may(rule.guard) and known.truth(rule.requires) != truth.YES:
            yield Applying(rule.id, rule.topic, rule.severity, rule.title)
    for need in rulebook.needs:
        if known.may(need.guard):
            yield Applying(need.id, need.topic, "need", need.title)
    for caution in rulebook.cautions:
        if known.may(caution.guard):
            yield Applying(caution.id, "", "told", _words(caution.text))


def _words(text: Template) -> str:
    """A sentence with its values left open."""
    return "".join(part if isinstance(part, str) else "..." for part in text)


class KnownKind:
    """What follows from a kind alone: its subject is in the question, everything else perhaps."""

    def __init__(self, derived: Mapping[str, AnyTyped], kind: Kind) -> None:
        assert isinstance(kind.fact.type, ListType)
        self.derived, self.fact, self.mask = derived, kind.fact.name, kind.fact.type.mask(kind.member)

    def may(self, guard: AnyTyped | None) -> bool:
        """Whether a guard may hold."""
        return guard is None or self.truth(guard) != truth.NO

    def truth(self, node: AnyTyped) -> truth.Truth:
        """Yes, no or unknown."""
        match node:
            case typed.Constant(value=int(value)):
                return truth.Truth(value)
            case typed.Present(name=name) if name in (self.fact, self.fact.partition(".")[0]):
                return truth.YES
            case typed.Membership(operand=typed.Read(name=self.fact), mask=mask):
                return truth.YES if self.mask & mask else truth.NO
            case typed.Read(name=name) if name in self.derived:
                return self.truth(self.derived[name])
            case typed.Not(operand=operand):
                return truth.negation(self.truth(operand))
            case typed.All(operands=operands):
                return truth.conjunction(*map(self.truth, operands))
            case typed.Some(operands=operands):
                return truth.disjunction(*map(self.truth, operands))
            case typed.Conditional(condition=condition, then=then, otherwise=otherwise):
                either = {truth.YES: [then], truth.NO: [otherwise]}.get(self.truth(condition), [then, otherwise])
                found = set(map(self.truth, either))
                return found.pop() if len(found) == 1 else truth.UNKNOWN
        return truth.UNKNOWN
