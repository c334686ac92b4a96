"""How fast one case is judged: ratios measured side by side in one run. `PYTHONPATH=tests python -m bench.bench_point`.

Against the same rules as one precompiled program each in a general expression engine in Rust
(common-expression-language), and against our own tree-walking interpreter, from a dictionary of facts to
outcome and findings; and the price of wording every shown finding.
"""

import gc
from collections.abc import Callable
from dataclasses import replace
from statistics import median
from time import process_time

import cel
from interpreter import Interpreter

from bench import cel_programs
from bench.questions import questions
from fitsvc.answers.answering import Answerer
from fitsvc.answers.question import NoRecords, read_question
from fitsvc.engine.point import Point
from fitsvc.facts import Case
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook

COUNT = 60
ROUNDS = 41


def rounds(*jobs: Callable[[], object]) -> list[float]:
    """The median time of each job in µs a case, the jobs taken in turn, no garbage collected meanwhile."""
    for job in jobs:
        job()
    times: list[list[float]] = [[] for _ in jobs]
    for _ in range(ROUNDS):
        for job, kept in zip(jobs, times, strict=True):
            gc.collect()
            gc.disable()
            job()
            start = process_time()
            job()
            kept.append((process_time() - start) / COUNT * 1e6)
            gc.enable()
    return [median(kept) for kept in times]


def agree(engine: Point, cases: list[Case], by_cel: Callable[[Case], list[int]]) -> None:
    """Stop unless the two engines give every rule the same result."""
    codes = {"passes": 0, "fails": 1, "not_applicable": 3}
    for case in cases:
        ours = [codes[result] for result in engine.evaluate(case).results(len(engine.rulebook.rules))]
        assert ours == by_cel(case), "the two engines do not run the same rules"


def main() -> None:
    """Measure and print."""
    whole = load_rulebook(data_dir("rules"))
    derived = Point(whole).bare_derived
    stated = tuple(rule for rule in whole.rules if cel_programs.can_state(rule, derived))
    rulebook = replace(whole, rules=stated)
    answerer = Answerer(rulebook)
    engine = answerer.engine
    reads, programs = cel_programs.reads_of(engine), cel_programs.programs(engine)
    complete = {name: cel_programs.exact(read) for name, read in reads.items()}
    asked = [read_question(q, answerer.reader, NoRecords()).case for q in questions(COUNT)]
    cases = [replace(case, facts={**complete, **case.facts}) for case in asked]
    names = sorted(rulebook.vocabulary.asked() | rulebook.named)
    facts = [cel_programs.variables(case, reads, names) for case in cases]
    interpreter = Interpreter(data_dir("rules"))
    engine_of_all = Point(whole)

    def by_cel(variables: dict[str, object]) -> list[int]:
        context = cel.Context(variables=variables)
        return [program.execute(context) for program in programs]

    agree(engine, cases, lambda case: by_cel(cel_programs.variables(case, reads, names)))
    point, every, words, rust, walk = rounds(
        lambda: [engine.evaluate(case) for case in cases],
        lambda: [engine_of_all.evaluate(case) for case in cases],
        lambda: [answerer.findings(engine.evaluate(case), case) for case in cases],
        lambda: [by_cel(variables) for variables in facts],
        lambda: [interpreter.judge(case) for case in cases],
    )
    shown = sum(len(answerer.findings(engine.evaluate(case), case)) for case in cases) / COUNT
    print(f"{len(rulebook.rules)} of {len(whole.rules)} rules (the others use functions that CEL lacks)")
    print(f"{COUNT} different questions, one thread, medians of {ROUNDS} rounds of processor time")
    row("point", point, point, "")
    row("the same, every finding worded", words, point, f"(at most 4; {shown:.0f} shown)")
    row("one CEL program a rule, in Rust", rust, point, "(at least 8)")
    row("our tree-walking interpreter, all rules", walk, every, "(at least 2, against point with all rules)")


def row(what: str, time: float, base: float, floor: str) -> None:
    """Print one measurement and its ratio."""
    print(f"{what:<42}{time:8.1f} µs {time / base:6.1f} x   {floor}")


if __name__ == "__main__":
    main()
