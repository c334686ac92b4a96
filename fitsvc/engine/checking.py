"""What is wrong with a rulebook that can be read: what its examples tell, and what no question is about."""

from collections.abc import Iterator, Mapping

from fitsvc.engine.examples import case_of, owners_of
from fitsvc.engine.support import Support
from fitsvc.facts import FactReader
from fitsvc.language import typed
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.language.typed import AnyTyped
from fitsvc.rulebook.rules import Example, Opening, Rulebook
from fitsvc.subjects import SUBJECTS


def examples_of(rulebook: Rulebook) -> list[Example]:
    """Every example of a rulebook."""
    return [example for name in owners_of(rulebook) for example in rulebook.examples.get(name, ())]


def faults_of(rulebook: Rulebook) -> list[Problem]:
    """Every fault of a rulebook that reading its files has not told."""
    reader = FactReader(rulebook)
    problems: list[Problem] = []
    for example in examples_of(rulebook):
        try:
            case_of(example, reader)
        except ProblemsFound as found:
            problems += found.problems
    return problems + _never_asked(rulebook) + [one for one, why in past_adapters(rulebook) if not why]


def _never_asked(rulebook: Rulebook) -> list[Problem]:
    """A problem for each subject that no question has a part for, so that no rule about it is ever asked."""
    known, help = ", ".join(f"`{one}`" for one in SUBJECTS), "give its facts to a subject that questions have: "
    strange = [one for one in rulebook.vocabulary.subjects if one not in SUBJECTS]
    return [
        Problem(
            f"no question has a part `{one}`, so what reads it is never asked",
            help + known,
            file=f"vocabulary/{one}.yaml",
        )
        for one in strange
    ]


def past_adapters(rulebook: Rulebook) -> list[tuple[Problem, str]]:
    """A problem for each blocking rule that holds something to a receiver's figure of which an adapter leaves another.

    Each with why the rule is so all the same, where it says it under `accepted`. What is the receiver's own, as two
    figures of its label that have to agree, may be read of it.
    """
    derived = {name: one.node for name, one in rulebook.derived.items()}
    found = []
    for rule in (rule for rule in rulebook.rules if rule.blocks):
        for name in dict.fromkeys(_straight(rule.requires, derived, rulebook.opening)):
            help = f"read `{_opening(name)}`, which is the receiver's where no adapter is in between"
            help += "" if rule.limit else "; or, if it is meant, say why in the rule: `accepted: REASON`"
            message = f"`{rule.limit or rule.id}` reads `{name}`, which is not what an adapter leaves of it"
            found.append((Problem(message, help, file=f"{rule.topic}.yaml"), rule.accepted))
    return found


def _straight(node: AnyTyped, derived: Mapping[str, AnyTyped], opening: Mapping[str, Opening]) -> Iterator[str]:
    """The receiver's figures that adapters may change, and that are held against what is not the receiver's."""
    if isinstance(node, typed.LessOrEqual | typed.Equal):
        sides = [{leaf.name for leaf in Support([side], derived).leaves} for side in (node.left, node.right)]
        for one, other in (sides, sides[::-1]):
            if any(not name.startswith("receiver.") for name in other):
                yield from sorted(name for name in one if name.startswith("receiver.") and _opening(name) in opening)
    for part in typed.parts(node):
        yield from _straight(part, derived, opening)


def _opening(name: str) -> str:
    return name.replace("receiver.", "opening.", 1)
