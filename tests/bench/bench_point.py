"""How fast one case is judged: ratios measured side by side in one run. `PYTHONPATH=tests python -m bench.bench_point`.

Against the same rules as one precompiled program each in a general expression engine in Rust
(common-expression-language), and against our own tree-walking interpreter, from a dictionary of facts to
outcome and findings; and the price of wording every shown finding.
"""

from collections.abc import Callable
from statistics import median
from time import perf_counter

from fitsvc.answers.answering import Answerer
from fitsvc.answers.question import NoRecords, read_question
from fitsvc.engine.point import Point
from fitsvc.facts import Case
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook
from bench import cel_programs
from bench.questions import questions
from interpreter import Interpreter

COUNT = 60
ROUNDS = 41


def rounds(*jobs: Callable[[], object]) -> list[float]:
    """The median time of each job in µs a case, the jobs taken in turn."""
    for job in jobs:
        job()
    times: list[list[float]] = [[] for _ in jobs]
    for _ in range(ROUNDS):
        for job, kept in zip(jobs, times, strict=True):
            start = perf_counter()
            job()
            kept.append((perf_counter() - start) / COUNT * 1e6)
    return [median(kept) for kept in times]


def agree(engine: Point, cases: list[Case], by_cel: Callable[[Case], list[int]]) -> None:
    """Stop unless the two engines give every rule the same result."""
    codes = {"passes": 0, "fails": 1, "not_applicable": 3}
    for case in cases:
        ours = [codes[result] for result in engine.evaluate(case).results(len(engine.rulebook.rules))]
        assert ours == by_cel(case), "the two engines do not run the same rules"


def main() -> None:
    """Measure and print."""
    rulebook = load_rulebook(data_dir("rules"))
    answerer = Answerer(rulebook)
    engine = answerer.engine
    cases = [read_question(q, answerer.reader, NoRecords()).case for q in questions(COUNT)]
    reads, programs = cel_programs.reads_of(engine), cel_programs.programs(engine)
    subjects = sorted(rulebook.vocabulary.asked())
    facts = [cel_programs.variables(case, reads, subjects) for case in cases]
    interpreter = Interpreter(data_dir("rules"))

    def by_cel(variables: dict[str, object]) -> list[int]:
        context = cel_programs.cel.Context(variables=variables)
        return [program.execute(context) for program in programs]

    agree(engine, cases, lambda case: by_cel(cel_programs.variables(case, reads, subjects)))
    point, words, rust, walk = rounds(
        lambda: [engine.evaluate(case) for case in cases],
        lambda: [answerer.findings(engine.evaluate(case), case) for case in cases],
        lambda: [by_cel(variables) for variables in facts],
        lambda: [interpreter.judge(case) for case in cases],
    )
    shown = sum(len(answerer.findings(engine.evaluate(case), case)) for case in cases) / COUNT
    print(f"{len(rulebook.rules)} rules, {COUNT} different questions, one thread, medians of {ROUNDS} rounds")
    print(f"point                                  {point:8.1f} µs a case")
    print(f"the same, every finding worded         {words:8.1f} µs  {words / point:5.1f} x   (at most 4; {shown:.0f} shown)")
    print(f"one CEL program a rule, in Rust        {rust:8.1f} µs  {rust / point:5.1f} x   (at least 8)")
    print(f"our tree-walking interpreter           {walk:8.1f} µs  {walk / point:5.1f} x   (at least 2)")


if __name__ == "__main__":
    main()
