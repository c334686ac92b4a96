"""The examples written beside rules, limits, needs, cautions and derived values: read as cases, run, and compared."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import reduce
from math import inf, isfinite
from operator import or_
from typing import Any, Final

from fitsvc.document import Json
from fitsvc.engine.limits import limits_of
from fitsvc.engine.point import Point
from fitsvc.engine.verdict import Verdict
from fitsvc.facts import Case, FactReader
from fitsvc.language.checker import Names, check
from fitsvc.language.display import show, show_together
from fitsvc.language.intervals import TOLERANCE
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.language.quantities import QuantityError, parse_any
from fitsvc.language.truth import NO, YES
from fitsvc.language.typed import ALWAYS, Constant, Negative, Read
from fitsvc.language.types import ListType, NumberType, Type, Value
from fitsvc.rulebook.outcomes import OUTCOME_OF, OUTCOMES, RESULTS, SO, Outcome, Result
from fitsvc.rulebook.rules import Caution, Derived, Example, Limit, Need, Opening, Rule, Rulebook, Shown, values_of
from fitsvc.rulebook.shape import source_of
from fitsvc.rulebook.yaml_text import Mapping, Node, Scalar, Sequence, to_plain

Owner = Rule | Limit | Need | Caution | Derived | Opening
"""What examples stand beside."""
_LONGEST_COUNT: Final = 20
_SO: Final = ", so: "
_OPEN: Final = "open"
"""What a need gives where a part is still to be had."""
_ENDS: Final = ("at_least", "at_most")
UNKNOWN: Final = "unknown"
"""How an example says that a value may be anything."""


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
    for name, owner in owners_of(engine.rulebook).items():
        for example in engine.rulebook.examples.get(name, ()):
            try:
                ran += run_example(engine, reader, owner, example)
            except ProblemsFound as found:
                problems += found.problems
    if problems:
        raise ProblemsFound(problems)
    return ran


def owners_of(rulebook: Rulebook) -> dict[str, Owner]:
    """All that may have examples, by the name that they are found by."""
    rulings: list[Rule | Limit | Need] = [*rulebook.rules, *rulebook.limits, *rulebook.needs]
    named: list[Rule | Limit | Need | Caution] = [*rulings, *rulebook.cautions]
    return {**{one.id: one for one in named}, **rulebook.derived, **rulebook.opening}


def name_of(owner: Owner) -> str:
    """The name that an owner's examples are found by."""
    return owner.name if isinstance(owner, Derived | Opening) else owner.id


def brings_about(found: str) -> Outcome:
    """The outcome that a result brings about, by the words in which `given` tells it; values alone bring none."""
    if found == _OPEN:
        return OUTCOME_OF["open_needs"]
    _, _, so = found.partition(_SO)
    return next((outcome for outcome, word in SO.items() if word == so), OUTCOMES[0])


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
    values |= reader.told_by_one_end(values)  # by the names of today
    adapters = []
    for adapter in example.adapters:
        one: dict[str, Value] = {}
        for short, node in adapter.items():
            _read(reader, "adapter", short, node, one, problems)
        adapters.append(one | reader.told_by_one_end(one))
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
    """Ask one example of what it stands beside, once for each thing it promises; ProblemsFound as above."""
    return asked(engine, owner, example, case_of(example, reader))


def asked(engine: Point, owner: Owner, example: Example, case: Case) -> Iterator[Ran]:
    """The same of an example whose case has been read."""
    name = name_of(owner)
    if example.gives:
        yield Ran(name, example, _with_so(example.gives, example.so), given(engine, owner, case))
    for key, node in example.values.items():
        yield Ran(name, example, _expected(key, node), _value(engine, owner, key, case, node))


def given(engine: Point, owner: Owner, case: Case) -> str:
    """What a rule, limit, need or caution gives in a case, with what that brings to the answer, as examples say it."""
    if isinstance(owner, Caution):
        return "told" if _is_told(engine, owner, case) else "not_told"
    if isinstance(owner, Derived | Opening):
        return ""
    verdict = engine.rule_by_rule(case)
    if isinstance(owner, Need):
        return _need(engine, owner, verdict, case)
    members = _members(engine.rulebook, owner, verdict)
    results = {result for _, result in members}
    gives = next((result for result in RESULTS if result in results), None)
    return _with_so(gives, _brings(members, gives)) if gives else "not_applicable"


def _is_told(engine: Point, caution: Caution, case: Case) -> bool:
    """Whether a caution is told: where it may apply, or with figures in it where it surely does."""
    if not case.present.issuperset(caution.subjects):
        return False
    guard = caution.guard or ALWAYS
    (found,) = engine.values(("caution", caution.id), lambda: [guard]).of(case)
    return found == YES or (found != NO and not values_of(caution.text))


def _members(rulebook: Rulebook, owner: Rule | Limit, verdict: Verdict) -> list[tuple[Rule, str]]:
    """A rule, or those that judge by each rating of a limit, with what each came to."""
    results = zip(rulebook.rules, verdict.results(len(rulebook.rules)), strict=True)
    if isinstance(owner, Limit):
        return [(rule, result) for rule, result in results if rule.limit == owner.id]
    return [(rule, result) for rule, result in results if rule.id == owner.id]


def _brings(members: Iterable[tuple[Rule, str]], gives: Result) -> str:
    """What a result brings to the answer: the worst of it, where several ratings of a limit came to it."""
    outcomes = [OUTCOME_OF[rule.effects[gives]] for rule, result in members if result == gives]
    return SO.get(max(outcomes, key=OUTCOMES.index), "")


def _with_so(gives: str, so: str) -> str:
    return f"{gives}{_SO}{so}" if so else gives


def _need(engine: Point, need: Need, verdict: Verdict, case: Case) -> str:
    if engine.rulebook.needs.index(need) in verdict.open_needs:
        return _OPEN
    applies = not set(need.subjects) - case.present
    if applies and need.guard is not None:
        guard_node = need.guard
        (guard,) = engine.values(("guard", need.id), lambda: [guard_node]).of(case)
        applies = guard != 0
    return "met" if applies else "not_applicable"


def _expected(name: str, node: Node) -> str:
    return f"{name} {node.value if isinstance(node, Scalar) else to_plain(node)}"


def _value(engine: Point, owner: Owner, name: str, case: Case, node: Node) -> str:
    """What a limit, a need or a derived value comes to, in the example's own words when it is the same value."""
    found = _promise(engine, owner, name, case)
    if found is None:
        raise ProblemsFound([node.problem(f"`{name_of(owner)}` has no `{name}` to compare with")])
    shown, value = found
    wanted = _constant(node, shown)
    if value is None:
        return f"no {name}"
    return _expected(name, node) if _same(wanted, value) else f"{name} {_told(value, wanted, shown)}"


def _promise(engine: Point, owner: Owner, name: str, case: Case) -> tuple[Shown, Value | None] | None:
    """A value that an example may promise by a name, and how it is shown; None where there is no such."""
    if isinstance(owner, Derived) and name == "is":
        (found,) = engine.values(("derived", owner.name), lambda: [owner.node]).of(case)
        return engine.rulebook.shown(Read(owner.type, owner.name), owner.unit), found
    if isinstance(owner, Opening) and name == "is":
        return engine.rulebook.shown(Read(owner.type, owner.name), owner.unit), _opening(engine, owner, case)
    if isinstance(owner, Limit) and name == "at_most":
        low = limits_of(engine, case).get(owner.id)
        return owner.ratings[0].shown, (low.at_most, low.at_most) if low and low.at_most is not None else None
    if isinstance(owner, Need) and name in owner.values:
        shown = owner.values[name]
        (found,) = engine.values(("need", owner.id, name), lambda: [shown.node]).of(case)
        return shown, found
    return None


def _opening(engine: Point, opening: Opening, case: Case) -> Value:
    """A fact of the working opening, behind the adapters of the case."""
    if case.adapters:
        return engine.levels(case)[-1][opening.name]
    (found,) = engine.values(("opening", opening.name), lambda: [opening.bare]).of(case)
    return found


def promised(engine: Point, owner: Owner, case: Case) -> list[str]:
    """The values that an example may promise of what it stands beside, as it would write them."""
    names: tuple[str, ...] = {Derived: ("is",), Opening: ("is",), Limit: ("at_most",)}.get(type(owner), ())
    told = []
    for name in (*names, *(owner.values if isinstance(owner, Need) else ())):
        found = _promise(engine, owner, name, case)
        text = _writable(found[1], found[0]) if found is not None and found[1] is not None else ""
        told += [f"{name}: {text}"] if text else []
    return told


def _writable(value: Value, shown: Shown) -> str:
    """A value as an example writes it; empty where its figures are finer than they are shown."""
    kind = shown.node.type
    if value == kind.unknown:
        return UNKNOWN
    if isinstance(kind, ListType):
        members = [member for i, member in enumerate(kind.members) if isinstance(value, int) and value >> i & 1]
        return members[0] if len(members) == 1 else f"[{', '.join(members)}]"
    if not isinstance(value, tuple):
        return shown.words[value]
    assert shown.dimension is not None
    texts = [show(end, end, shown.dimension, shown.unit, "us") if isfinite(end) else "" for end in value]
    if any(text and abs(_figure(text, shown) - end) > TOLERANCE for text, end in zip(texts, value, strict=True)):
        return ""
    if value[0] == value[1]:
        return texts[0]
    ends = [f"{key}: {text}" for key, text in zip(_ENDS, texts, strict=True) if text]
    return "{" + ", ".join(ends) + "}"


def _figure(text: str, shown: Shown) -> float:
    try:
        return parse_any(text)[0]
    except QuantityError:
        return inf


def _constant(node: Node, shown: Shown) -> Value:
    """The value an example writes: a constant of the type it is compared with, bounds of one, or several members."""
    kind = shown.node.type
    if isinstance(node, Scalar):
        return kind.unknown if node.value == UNKNOWN else _one(node, kind)
    if isinstance(node, Mapping) and isinstance(kind, NumberType) and node.entries.keys() <= set(_ENDS):
        low, high = (
            _one(node.entries[key], kind)[place] if key in node.entries else kind.unknown[place]
            for place, key in enumerate(_ENDS)
        )
        return (low, high)
    if isinstance(node, Sequence) and isinstance(kind, ListType):
        members: Value = reduce(or_, (_one(item, kind) for item in node.items))
        return members
    raise ProblemsFound([node.problem("write one value here, or `{at_least: LOW, at_most: HIGH}`")])


def _one(node: Node, kind: Type) -> Any:
    if not isinstance(node, Scalar):
        raise ProblemsFound([node.problem("write one value here")])
    match check(source_of(node), Names({}, frozenset(), strict=True), kind):
        case Constant(value=value):
            return value
        case Negative(operand=Constant(value=(low, high))):
            return (-high, -low)
    raise ProblemsFound([node.problem("write a value here, not an expression")])


def _told(found: Value, wanted: Value, shown: Shown) -> str:
    """A value for people, fine enough to tell it from the one it should be."""
    if isinstance(found, tuple) and isinstance(wanted, tuple) and shown.dimension is not None:
        rows = [(*value, shown.dimension, shown.unit) for value in (found, wanted)]
        return show_together(rows, "us")[0]
    assert isinstance(found, int)
    if isinstance(shown.node.type, ListType):
        members = [member for i, member in enumerate(shown.node.type.members) if found >> i & 1]
        return " or ".join(members) if len(members) < len(shown.words) else "unknown"
    return shown.words[found]


def _same(a: Value, b: Value) -> bool:
    if isinstance(a, tuple) and isinstance(b, tuple):
        return all(x == y or abs(x - y) <= TOLERANCE for x, y in zip(a, b, strict=True))
    return a == b
