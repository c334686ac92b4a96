"""What is wrong with a rulebook that can be read: what its examples tell, and what no question is about."""

from fitsvc.engine.examples import case_of, owners_of
from fitsvc.facts import FactReader
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.rulebook.rules import Example, Rulebook
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
    return problems + _never_asked(rulebook)


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
