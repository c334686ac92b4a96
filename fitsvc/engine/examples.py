"""The examples written beside rules, limits and needs: read as cases, run, and compared with what they promise."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from fitsvc.document import Json
from fitsvc.engine.limits import limits_of
from fitsvc.engine.point import Point
from fitsvc.engine.verdict import Verdict
from fitsvc.facts import Case, FactReader
from fitsvc.language.checker import Names, check
from fitsvc.language.display import show_together
from fitsvc.language.intervals import TOLERANCE
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.language.typed import Constant
from fitsvc.language.types import ListType, Value
from fitsvc.rulebook.outcomes import OUTCOME_OF, OUTCOMES, RESULTS, SO
from fitsvc.rulebook.rules import Example, Limit, Need, Rule, Rulebook, Shown
from fitsvc.rulebook.shape import source_of
from fitsvc.rulebook.yaml_text import Node, Scalar, to_plain

Owner = Rule | Limit | Need
_LONGEST_COUNT: Final = 20


@dataclass(frozen=True, slots=True)
class Ran:
    """One example run: whose it is, what it should give and what it gave."""

    owner: str
    example: Example
    expected: str
    found: str

    @property
    def kept(self) -> bool:
        """Whether the rule gave what the example promises."""
        return self.expected == self.found

    def problem(self) -> Problem:
        """The broken promise, at its place."""
        return self.example.node.problem(
            f"`{self.owner}` gives {self.found} here, the example says {self.expected}", "mend the rule or the example"
        )


def run_examples(engine: Point, reader: FactReader) -> list[Ran]:
    """Run every example of a rulebook; ProblemsFound when an example's facts cannot be read."""
    problems: list[Problem] = []
    ran: list[Ran] = []
    owners: list[Owner] = [*engine.rulebook.rules, *engine.rulebook.limits, *engine.rulebook.needs]
    for owner in owners:
        for example in engine.rulebook.examples.get(owner.id, ()):
            try:
                ran += run_example(engine, reader, owner, example)
            except ProblemsFound as found:
                problems += found.problems
    if problems:
        raise ProblemsFound(problems)
    return ran


def case_of(example: Example, reader: FactReader) -> Case:
    """The case an example describes: a subject is in the question when one of its facts is named.

    ProblemsFound has every fact of it that cannot be read.
    """
    values: dict[str, Value] = {}
    problems: list[Problem] = []
    present = set(example.present)
    for name, node in example.facts.items():
        subject, _, short = name.partition(".")
        present.add(subject)
        _read(reader, subject, short, node, values, problems)
    adapters = []
    for adapter in example.adapters:
        one: dict[str, Value] = {}
        for short, node in adapter.items():
            _read(reader, "adapter", short, node, one, problems)
        adapters.append(one)
    if problems:
        raise ProblemsFound(problems)
    return Case(values, reader.named(values, adapters) | present, tuple(adapters))


def _read(
    reader: FactReader, subject: str, short: str, node: Node, values: dict[str, Value], problems: list[Problem]
) -> None:
    found: list[Problem] = []
    if subject in reader.subjects:
        reader.read(subject, {short: wire_value(to_plain(node))}, "", found, values, {})
    else:
        found.append(Problem(f"there is no subject `{subject}`", "facts are written `subject.fact`"))
    problems += [node.problem(problem.message, problem.help) for problem in found]


def wire_value(plain: Json) -> Json:
    """A YAML value as it would stand in JSON: counts and yes/no are texts in YAML, `null` is unknown."""
    if isinstance(plain, str) and plain.isascii() and plain.isdigit() and len(plain) < _LONGEST_COUNT:
        return int(plain)
    return plain


def run_example(engine: Point, reader: FactReader, owner: Owner, example: Example) -> Iterator[Ran]:
    """Ask one example of a rule, limit or need, once for each thing it promises; ProblemsFound as above."""
    case = case_of(example, reader)
    verdict = engine.evaluate(case)
    if example.gives:
        found = _gives(engine, owner, verdict, case)
        so = _brings(engine.rulebook, owner, verdict, found) if not isinstance(owner, Need) else ""
        yield Ran(owner.id, example, _with_so(example.gives, example.so), _with_so(found, so))
    for name, node in example.values.items():
        yield Ran(owner.id, example, _expected(name, node), _value(engine, owner, name, case, node))


def _gives(engine: Point, owner: Owner, verdict: Verdict, case: Case) -> str:
    if isinstance(owner, Need):
        return _need(engine, owner, verdict, case)
    members = [result for _, result in _members(engine.rulebook, owner, verdict)]
    return next((result for result in RESULTS if result in members), "not_applicable")


def _members(rulebook: Rulebook, owner: Rule | Limit, verdict: Verdict) -> list[tuple[Rule, str]]:
    """A rule, or those that judge by each rating of a limit, with what each came to."""
    results = zip(rulebook.rules, verdict.results(len(rulebook.rules)), strict=True)
    return [
        (rule, result)
        for rule, result in results
        if rule.id == owner.id or (isinstance(owner, Limit) and rule.limit == owner.id)
    ]


def _brings(rulebook: Rulebook, owner: Rule | Limit, verdict: Verdict, gives: str) -> str:
    """What a result brings to the answer: the worst of it, where several ratings of a limit came to it."""
    members = [rule for rule, result in _members(rulebook, owner, verdict) if result == gives]
    outcomes = [OUTCOME_OF[rule.effects[result]] for rule in members for result in RESULTS if result == gives]
    return SO.get(max(outcomes, key=OUTCOMES.index, default=OUTCOMES[0]), "")


def _with_so(gives: str, so: str) -> str:
    return f"{gives}, so: {so}" if so else gives


def _need(engine: Point, need: Need, verdict: Verdict, case: Case) -> str:
    if engine.rulebook.needs.index(need) in verdict.open_needs:
        return "open"
    applies = not set(need.subjects) - case.present
    if applies and need.guard is not None:
        guard_node = need.guard
        (guard,) = engine.values(("guard", need.id), lambda: [guard_node]).of(case)
        applies = guard != 0
    return "met" if applies else "not_applicable"


def _expected(name: str, node: Node) -> str:
    return f"{name} {node.value if isinstance(node, Scalar) else to_plain(node)}"


def _value(engine: Point, owner: Owner, name: str, case: Case, node: Node) -> str:
    """What a limit or a need comes to, in the example's own words when it is the same value."""
    shown = None
    found: Value | None = None
    if isinstance(owner, Limit) and name == "at_most":
        low = limits_of(engine, case).get(owner.id)
        shown, found = owner.ratings[0].shown, (low.at_most, low.at_most) if low and low.at_most is not None else None
    elif isinstance(owner, Need) and name in owner.values:
        shown = owner.values[name]
        value = shown.node
        (found,) = engine.values(("need", owner.id, name), lambda: [value]).of(case)
    if shown is None:
        raise ProblemsFound([node.problem(f"`{owner.id}` has no `{name}` to compare with")])
    wanted = _constant(node, shown)
    if found is None:
        return f"no {name}"
    return _expected(name, node) if _same(wanted, found) else f"{name} {_told(found, wanted, shown)}"


def _constant(node: Node, shown: Shown) -> Value:
    """The value an example writes, read as a constant expression of the type it is compared with."""
    if not isinstance(node, Scalar):
        raise ProblemsFound([node.problem("write one value here")])
    constant = check(source_of(node), Names({}, frozenset()), shown.node.type)
    assert isinstance(constant, Constant)
    return constant.value


def _told(found: Value, wanted: Value, shown: Shown) -> str:
    """A value for people, fine enough to tell it from the one it should be."""
    if isinstance(found, tuple) and isinstance(wanted, tuple) and shown.dimension is not None:
        rows = [(*value, shown.dimension, shown.unit) for value in (found, wanted)]
        return show_together(rows, "us")[0]
    assert isinstance(found, int)
    if isinstance(shown.node.type, ListType):
        members = [word for i, word in enumerate(shown.words) if found >> i & 1]
        return " or ".join(members) if len(members) < len(shown.words) else "unknown"
    return shown.words[found]


def _same(a: Value, b: Value) -> bool:
    if isinstance(a, tuple) and isinstance(b, tuple):
        return all(abs(x - y) <= TOLERANCE for x, y in zip(a, b, strict=True))
    return a == b
