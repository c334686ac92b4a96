"""The examples of one rule under the rulebook as it is and as it would be: which are broken, and which give another."""

from collections.abc import Iterator
from dataclasses import dataclass

from fitsvc.engine.examples import Owner, owners_of, run_example
from fitsvc.engine.mutating import alone
from fitsvc.engine.point import Point
from fitsvc.facts import FactReader
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.rulebook.rules import Example, Rulebook
from fitsvc.rulebook.yaml_text import to_plain


@dataclass(frozen=True, slots=True, kw_only=True)
class ExampleTried:
    """One example: what it says, what the rule gives now, and what it gave before; or why it cannot be asked.

    `gone` tells that it stands beside the rule no more, and `says` is then what it said.
    """

    example: Example
    says: str
    gives: str
    gave: str
    gone: bool = False
    problem: Problem | None = None

    @property
    def broken(self) -> bool:
        """Whether the rule does not give what the example says."""
        return not self.gone and (self.problem is not None or self.says != self.gives)

    @property
    def changed(self) -> bool:
        """Whether it gives another result than before."""
        return self.gives != self.gave


def examples_tried(old: Rulebook, new: Rulebook, id: str) -> list[ExampleTried]:
    """The examples of a rule, limit or need as it would be, and those that it would have no more."""
    sides = [(Point(alone(one, id)), FactReader(one), owners_of(one)[id]) for one in (old, new)]
    kept = {_facts(example) for example in new.examples.get(id, ())}
    dropped = [example for example in old.examples.get(id, ()) if _facts(example) not in kept]
    found = [_tried(sides, example, gone=False) for example in new.examples.get(id, ())]
    return found + [_tried(sides, example, gone=True) for example in dropped]


def _tried(sides: list[tuple[Point, FactReader, Owner]], example: Example, *, gone: bool) -> ExampleTried:
    told, says = list[str](), ""
    for engine, reader, owner in sides:
        try:
            ran = list(run_example(engine, reader, owner, example))
        except ProblemsFound as found:
            told.append("")
            problem: Problem | None = found.problems[0]
            continue
        problem, says = None, ", ".join(one.expected for one in ran)
        told.append(", ".join(one.found for one in ran))
    return ExampleTried(example=example, says=says, gives=told[1], gave=told[0], gone=gone, problem=problem)


def _facts(example: Example) -> str:
    """What an example tells, without what it promises."""
    return repr([*_told(to_plain(example.node))])


def _told(plain: object) -> Iterator[tuple[str, object]]:
    assert isinstance(plain, dict)
    yield from sorted((name, value) for name, value in plain.items() if name not in ("gives", "so", "at_most"))
