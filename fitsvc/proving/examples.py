"""What the examples of rules are, as cases: whoever looks for one that shows something looks through them first.

The engine tells in a thousandth of a second what the solver would look for in a tenth, and most of what should be so
is so in some example, or in several put together.
"""

from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass, field, replace

from fitsvc.engine.examples import case_of
from fitsvc.facts import Case, FactReader
from fitsvc.language.problems import ProblemsFound
from fitsvc.language.types import is_exact
from fitsvc.rulebook.kinds import Kind
from fitsvc.rulebook.rules import Rule, Rulebook
from fitsvc.subjects import ASKED


@dataclass(slots=True)
class ExampleCases:
    """The examples of each rule, a limit's for each of its ratings, whose facts are told exactly."""

    rulebook: Rulebook
    reader: FactReader
    _found: dict[str, list[Case]] = field(default_factory=dict)

    def of(self, rule: Rule) -> list[Case]:
        """The cases of one rule's examples."""
        name = rule.limit or rule.id
        found = self._found.get(name)
        if found is None:
            self._found[name] = found = []
            for example in self.rulebook.examples.get(name, ()):
                with suppress(ProblemsFound):  # that an example cannot be read, `rules test` tells
                    case = self._asked(case_of(example, self.reader))
                    found += [case] if self._is_exact(case) else []
        return found

    def _asked(self, case: Case) -> Case:
        """The case as a question; one about nothing that can be asked about asks about the first that can be."""
        subjects = [one for one in ASKED if one in self.reader.subjects]
        if case.adapters or not subjects or case.present.intersection(subjects):
            return case
        return replace(case, present=case.present | {subjects[0]})

    def _is_exact(self, case: Case) -> bool:
        slots = self.reader.vocabulary.slots()
        told = [pair for facts in (case.facts, *case.adapters) for pair in facts.items()]
        return all(name in slots and is_exact(slots[name], value) for name, value in told)

    def with_kind(self, kind: Kind, cases: Iterable[Case]) -> list[Case]:
        """The cases with the accessory of a kind in place of theirs."""
        return [self.about(replace(case, facts={**case.facts, kind.fact.name: kind.mask})) for case in cases]

    def mixed(self, first: Case, second: Case) -> Case:
        """What either case tells, and the first where both do."""
        present = first.present | second.present
        return self.about(replace(first, facts={**second.facts, **first.facts}, present=present))

    def about(self, case: Case) -> Case:
        """The case as a question that names all that it tells."""
        subjects = {name.partition(".")[0] for name in case.facts}
        return replace(case, present=case.present | subjects | self.reader.named(case.facts, case.adapters))
