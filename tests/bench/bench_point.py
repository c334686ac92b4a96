"""How fast one case is judged: `PYTHONPATH=tests python -m bench.bench_point`.

Beside ours stands a general expression engine in Rust (common-expression-language), with the rules as one precompiled
program each and as one program of all; and below them the same rules as straight-line Python over exact values, which
knows neither bounds nor what is not known. All four have the same rules, those that the engine can state, and are held
to the same results before they are timed. Once they have the facts as each wants them, once as one dictionary of
plain figures, from which each makes what it wants. The engine keeps nothing from one case to the next: the first and
the hundredth take the same. What several rules derive from the facts is written out in each rule for the other two:
CEL has no names for it within a program, and ours finds by itself what rules share.

Last, the rulebook twice as long, by copies of rules that apply to none of the cases: what the others cost that do not
apply. Copies of all would show nothing, as ours computes once what two rules have alike.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import cycle, islice
from typing import Any

import cel

from bench import cel_programs
from bench.measuring import SMALL, Group, Row, in_turn, show
from bench.questions import questions
from fitsvc.answers.question import read_question
from fitsvc.answers.records import NoRecords
from fitsvc.engine.point import Point
from fitsvc.facts import Case, FactReader
from fitsvc.language.truth import NO, YES
from fitsvc.language.typed import Read
from fitsvc.language.types import ListType, NumberType, Value
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook

COUNT = 60
ROUNDS = 5 if SMALL else 31
COMMAND = "bench.bench_point"


@dataclass(frozen=True, slots=True)
class Sides:
    """The same rules in four ways, and the same cases as each of them wants to have them."""

    engine: Point
    cases: list[Case]
    plain: list[dict[str, Any]]
    makers: Sequence[tuple[str, str, Callable[[Any], Value]]]

    def typed(self, plain: dict[str, Any], present: frozenset[str]) -> Case:
        """A case made of plain figures."""
        return Case({name: make(plain[variable]) for name, variable, make in self.makers}, present)


def _maker(read: Read) -> Callable[[Any], Value]:
    """Makes a typed value of a plain one."""
    if isinstance(read.type, NumberType):
        return lambda figure: (figure, figure)
    return read.type.member if isinstance(read.type, ListType) else lambda holds: YES if holds else NO


def sides() -> tuple[Point, Sides]:
    """The engine with all rules, and the ways with those that all of them can state."""
    whole = load_rulebook(data_dir("rules"))
    every = Point(whole)
    stated = tuple(rule for rule in whole.rules if cel_programs.can_state(rule, every.bare_derived))
    engine = Point(replace(whole, rules=stated, needs=()))
    reads = cel_programs.reads_of(engine)
    complete = {name: cel_programs.exact(read) for name, read in reads.items()}
    reader = FactReader(whole)
    asked = [read_question(one, reader, NoRecords()).case for one in questions(COUNT)]
    cases = [replace(case, facts={**complete, **case.facts}) for case in asked]
    names = sorted(whole.vocabulary.asked() | whole.named)
    makers = [(name, cel_programs.variable(name), _maker(read)) for name, read in reads.items()]
    return every, Sides(engine, cases, [cel_programs.variables(case, reads, names) for case in cases], makers)


def groups() -> Iterator[Group]:
    """Judging alone, and from plain figures."""
    every, both = sides()
    engine, cases, plain = both.engine, both.cases, both.plain
    programs, program = cel_programs.programs(engine), cel_programs.program(engine)
    straight = cel_programs.straight_line(engine, [*plain[0]])
    contexts, values = [cel.Context(variables=one) for one in plain], [[*one.values()] for one in plain]
    agree(both, programs, program, straight)

    def singly(variables: dict[str, Any]) -> list[int]:
        context = cel.Context(variables=variables)
        return [one.execute(context) for one in programs]

    ready = in_turn(
        ROUNDS,
        COUNT,
        lambda _: [engine.evaluate(case) for case in cases],
        lambda _: [program.execute(context) for context in contexts],
        lambda _: [[one.execute(context) for one in programs] for context in contexts],
        lambda _: [straight(*one) for one in values],
    )
    handed = in_turn(
        ROUNDS,
        COUNT,
        lambda _: [engine.evaluate(both.typed(one, case.present)) for one, case in zip(plain, cases, strict=True)],
        lambda _: [program.execute(cel.Context(variables=one)) for one in plain],
        lambda _: [singly(one) for one in plain],
        lambda _: [straight(*one.values()) for one in plain],
    )
    twice = longer(every, cases)
    lengths = in_turn(
        ROUNDS,
        COUNT,
        lambda _: [every.evaluate(case) for case in cases],
        lambda _: [twice.evaluate(case) for case in cases],
    )
    rules, all_rules = len(engine.rulebook.rules), len(every.rulebook.rules)
    left_out = (
        f"{rules} rules; left out on all sides are {all_rules - rules} with trigonometry, which CEL has not. What "
        "several rules derive of the facts is written out in each for CEL and in the straight line; ours shares it."
    )
    ways = (
        ("ours", "fitsvc, with bounds, unknowns and the outcome"),
        ("beside", "CEL in Rust, one program of all rules"),
        ("beside", "CEL in Rust, a program a rule"),
        ("floor", "straight-line Python, exact values only"),
    )
    for title, times in (
        ("The rules on one case, its facts handed over before", ready),
        ("The rules on one case, plain figures handed over", handed),
    ):
        rows = [Row(part, what, time) for (part, what), time in zip(ways, times, strict=True)]  # type: ignore[arg-type]  # times are a column of floats
        figures = [f"{len(plain[0])} figures."] if times is handed else []
        yield Group(title, COMMAND, rows, notes=[left_out, *figures])
    names = (
        "all rules and needs",
        "twice as many rules, the others copies of such as apply to none of the cases",
    )
    yield Group(
        "All rules and needs on one case, and with a rulebook twice as long",
        COMMAND,
        [Row("ours", name, time) for name, time in zip(names, lengths, strict=True)],
        notes=[
            f"{all_rules} rules and limits, {len(every.rulebook.needs)} needs.",
            "A copy has its original's guard, by one test of which both are passed over.",
            f"Facts fetched for a case: {fetched(every, cases):,.0f} and {fetched(twice, cases):,.0f}.",
        ],
    )


def longer(every: Point, cases: Sequence[Case]) -> Point:
    """The rulebook with as many rules again: copies of those that apply to none of the cases."""
    rules = every.rulebook.rules
    results = [every.evaluate(case).results(len(rules)) for case in cases]
    idle = [rule for rule, of in zip(rules, zip(*results, strict=True), strict=True) if {*of} == {"not_applicable"}]
    copies = (replace(rule, id=f"{rule.id} {n}") for n, rule in enumerate(islice(cycle(idle), len(rules))))
    return Point(replace(every.rulebook, rules=(*rules, *copies)))


def fetched(engine: Point, cases: Sequence[Case]) -> float:
    """How many facts are fetched for a case, in the mean."""
    count = 0

    class Counted(dict[str, Value]):
        def get(self, *asked: Any) -> Any:
            nonlocal count
            count += 1
            return super().get(*asked)

    for case in cases:
        engine.evaluate(replace(case, facts=Counted(case.facts)))
    return count / len(cases)


def agree(both: Sides, programs: list[Any], program: Any, straight: Any) -> None:
    """Stop unless all ways give every rule the same result."""
    codes = {"passes": 0, "fails": 1, "not_applicable": 3}
    for case, variables in zip(both.cases, both.plain, strict=True):
        context = cel.Context(variables=variables)
        ours = [codes[one] for one in both.engine.evaluate(case).results(len(both.engine.rulebook.rules))]
        assert ours == [one.execute(context) for one in programs], "a program a rule is another rule"
        assert ours == list(program.execute(context)), "the one program has other rules"
        assert ours == straight(*variables.values()), "the straight line has other rules"
        assert both.engine.evaluate(both.typed(variables, case.present)) == both.engine.evaluate(case)


def main() -> None:
    """Measure and print."""
    show(groups())


if __name__ == "__main__":
    main()
