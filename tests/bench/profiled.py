"""Where the time of a piece of work goes: `PYTHONPATH=tests python -m bench.profiled WORK`.

`answer` are whole answers never asked for, `strange` such of which each weight and length is a new one, `posted` such
as a service gives them from an empty store, `open` those that leave nearly all open, `plan` plans on 10,000 parts,
`rig` rigs never seen on 60,000 distinct items, `rigs` 500 of them together on 100,000 items that repeat themselves,
`statement` statements told one a transaction on SQLite, `audit` an audit of 100,000 rows on one rig, `audits` one of
14,000 rows on 300 rigs. `late` is what a server is at while the slowest pages wait, and `held` what its memory holds,
while a million items change (see `bench.within`).

Every few milliseconds of the processor's time it is looked which functions are at work, which makes none of them
dearer. Told are shares of that time: by parts that add up to all of it, as the guide's table of goals has them, by
functions with all that they call, and by modules alone. What the library beneath does in one call counts as its
caller's.
"""

import sys
from collections import Counter
from collections.abc import Callable, Mapping
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from shutil import rmtree
from tempfile import mkdtemp
from typing import Any, Final

from demo_world import answerer, stock, world

from bench import bench_answer, bench_next, bench_plans, questions, within
from bench.looking import Looks
from bench.report import REST
from fitsvc.answers.answering import Answerer
from fitsvc.planning.planner import Planner
from fitsvc.service.bodies import decode

MANY, BEFORE, MOST_TOLD = 6_000, 300, 40


def answers(of: bench_answer.Asked) -> Callable[[], None]:
    """Whole answers, of an answerer that has answered others of the kind."""
    of_it = bench_answer.prepared()
    for body in bench_answer.bodies(questions.questions, 1, BEFORE):
        bench_answer.told(of_it, body)
    asked = bench_answer.bodies(of, 77, MANY)
    return lambda: _each(lambda body: bench_answer.told(of_it, body), asked)


def posted() -> Callable[[], None]:
    """Whole answers as a service gives them by its framework from a store that sells nothing."""
    from fitsvc.service.app import create_app
    from fitsvc.service.asking import told_of
    from fitsvc.service.context import service_in
    from fitsvc.store.database import Database, upgrade

    folder = Path(mkdtemp())
    url = f"sqlite:///{folder / 'bench.db'}"
    upgrade(url)
    database = Database(url)
    service = service_in(create_app(database, bench_answer.prepared()))
    for body in bench_answer.bodies(questions.questions, 1, BEFORE):
        told_of(service, decode(body), "us", None)
    asked = bench_answer.bodies(questions.questions, 77, MANY)

    def work() -> None:
        _each(lambda body: told_of(service, decode(body), "us", None), asked)
        database.close()
        rmtree(folder)

    return work


def open_answers() -> Callable[[], None]:
    """The costliest of answers that leave nearly all open, of each sort, of an answerer that has heard others."""
    found = [
        document
        for one in bench_next.DRAWN.values()
        for *_, document in bench_next.slowest(_heard(), bench_next.drawn(100, one=one))[:10]
    ]
    heard = _heard()
    for one in bench_next.DRAWN.values():
        bench_next.slowest(heard, bench_next.drawn(20, 77, one))
    return lambda: _each(lambda document: bench_next.timed(heard, document), found)


def _heard() -> Answerer:
    world(), stock()
    made = Answerer(answerer().rulebook)
    made.prepare()
    return made


def plans() -> Callable[[], None]:
    """Plans drawn at random, on a shelf that one has folded."""
    records, shelf = bench_plans.ten_thousand()
    planner = Planner(answerer())
    answerer().prepare()
    planner.prepare()
    bench_plans._planned(planner, records, shelf, 1)
    return lambda: _each(lambda number: bench_plans._planned(planner, records, shelf, number), [12])


def many_rigs() -> Callable[[], None]:
    """Rigs together on items that repeat themselves, nothing kept before."""
    from bench import bench_columns
    from fitsvc.engine.columns.kernel import Columns
    from fitsvc.synthetic.columns import synthetic_accessories, synthetic_rigs

    engine, count = bench_columns.ENGINE, bench_columns.ITEMS
    engine.choices(adapted=False).prepare()
    columns, cases = Columns(engine), synthetic_rigs(engine.rulebook, bench_columns.RIGS, seed=7)
    catalogue = columns.catalogue_of(
        synthetic_accessories(engine.rulebook, count).columns, bench_columns.SUBJECTS, count
    )
    columns.index(catalogue, 0)
    return lambda: _each(lambda of: bench_columns.counted(columns, catalogue, of), [cases])


def statements() -> Callable[[], None]:
    """Statements told one after another, each a transaction of its own."""
    from bench import bench_statements
    from fitsvc.store.database import Database, upgrade

    folder = Path(mkdtemp())
    url = f"sqlite:///{folder / 'bench.db'}"
    upgrade(url)
    database = Database(url)
    bench_statements.fill(database)
    bench_statements.alone(database, 0)

    def work() -> None:
        for first in range(10_000, 15_000, 1_000):
            bench_statements.alone(database, first)
        database.close()
        rmtree(folder)

    return work


def rigs() -> Callable[[], None]:
    """Rigs never seen on distinct items, after others."""
    from bench import bench_columns
    from fitsvc.engine.columns.kernel import Columns
    from fitsvc.synthetic.columns import synthetic_accessories, synthetic_rigs

    engine, count = bench_columns.ENGINE, bench_columns.DISTINCT
    engine.choices(adapted=False).prepare()
    made = synthetic_accessories(engine.rulebook, count, models=count)
    columns, cases = Columns(engine), synthetic_rigs(engine.rulebook, 240)
    catalogue = columns.catalogue_of(made.columns, bench_columns.SUBJECTS, count)
    for case in cases[:40]:
        bench_columns.ours(columns, catalogue, case)
    return lambda: _each(lambda case: bench_columns.ours(columns, catalogue, case), cases[40:])


def audit(rows: int, count: int) -> Callable[[], None]:
    """An audit of so many rows on so many rigs, by one process."""
    from bench import bench_audit
    from fitsvc.audits.rigs import AuditRig
    from fitsvc.audits.run import LEAST_MB, Audit, AuditOrder
    from fitsvc.audits.summary import run
    from fitsvc.synthetic.columns import synthetic_rigs

    folder, rulebook = Path(mkdtemp()), answerer().rulebook
    bench_audit.write_catalogue(folder / "catalogue.csv", rulebook, rows)
    of = [AuditRig(f"rig-{number:05}", "", case) for number, case in enumerate(synthetic_rigs(rulebook, count))]
    asked = AuditOrder(catalogue=folder / "catalogue.csv", out=folder / "out", memory=LEAST_MB)

    def work() -> None:
        run(Audit(asked, rulebook, of, lambda *_: None))
        rmtree(folder)

    return work


def _each(work: Callable[[Any], object], of: Any) -> None:
    for one in of:
        work(one)


WORK: Final[dict[str, Callable[[], Callable[[], None]]]] = {
    "answer": lambda: answers(questions.questions),
    "strange": lambda: answers(questions.unheard),
    "posted": posted,
    "open": open_answers,
    "plan": plans,
    "rig": rigs,
    "rigs": many_rigs,
    "statement": statements,
    "audit": lambda: audit(100_000, 1),
    "audits": lambda: audit(14_000, 300),
}


SERVED: Final[dict[str, Callable[[], Mapping[tuple[str, ...], int]]]] = {"late": within.late, "held": within.weighed}

_WRITING: Final = ("answers/seeing_to.py things", "answers/summary.py summarise", "answers/allowances.py told")
_LIMITS: Final = ("answers/limit_words.py told", "answers/cautions.py told")
_READING: Final = ("answers/question.py read_question", "answers/things.py read_things", "service/bodies.py decode")
_NEXT: Final = ("answers/next_steps.py next_steps", "answers/candidates.py steps_over")
_COLUMNS: Final = {
    "deciding by cases": ("engine/columns/cases.py",),
    "the rules that rest on what is new": ("engine/columns/rules.py",),
}
_AUDIT: Final = {
    "reading": ("audits/run.py read",),
    "judging": ("engine/columns/",),
    "counting, and writing of pairs": ("audits/run.py judge",),
    "looking for figures that look wrong": ("audits/findings.py _suspicious",),
    "other findings, written": ("audits/findings.py write",),
    "what is told of it": ("audits/page.py", "audits/kept.py", "audits/page_fixes.py"),
}
PARTS: Final[Mapping[str, Mapping[str, tuple[str, ...]]]] = {
    "answer": {
        "what would work instead": ("answers/answering.py _remedies",),
        "the facts read": _READING,
        "what to learn next": _NEXT,
        "the rules judged": ("engine/point.py evaluate", "engine/point.py opened"),
        "findings in words": ("answers/answering.py _findings",),
        "limits and cautions in words": _LIMITS,
        "what to see to and the summary": _WRITING,
        "the answer written": ("answers/answer.py encode",),
    },
    "posted": {
        "the store asked what it sells and what has changed": ("service/selecting.py best", "inventory/shelf.py"),
        "other sessions of the store": ("store/",),
        "the answer itself": ("answers/answering.py answer", "answers/answer.py encode"),
    },
    "open": {
        "what would work instead": ("answers/answering.py _remedies",),
        "what to learn next": _NEXT,
        "the facts read": _READING,
        "deciding by cases": ("engine/point.py by_cases",),
        "the rules judged": ("engine/point.py rule_by_rule", "engine/point.py opened"),
        "findings in words": ("answers/answering.py _findings",),
        "limits and cautions in words": _LIMITS,
    },
    "plan": {
        "what is nearest, where no set serves": ("planning/planner.py _misses",),
        "columns of the shelf": ("engine/columns/",),
        "openings and sets one by one": ("engine/point.py", "engine/choices.py"),
    },
    "rig": _COLUMNS,
    "rigs": _COLUMNS,
    "statement": {
        "the record locked and read": ("store/records.py lock_record",),
        "what was said before read": ("store/observations.py log_of",),
        "the statement appended, and what is known made of all": ("store/observations.py append",),
        "the record stored": ("store/records.py _changed",),
        "what contradicts it": ("observing/evidence.py contradictions",),
        "the session, its end on the disk among it": ("store/database.py session",),
    },
    "audit": _AUDIT,
    "audits": _AUDIT,
    "late": {
        "what has changed read, folded and laid out": ("selection/index.py",),
        "the rig judged with the items of each part": ("selection/segments.py judge",),
        "the rows of the page judged and told": ("selection/selector.py _shown",),
        "counts, and the first rows found": ("selection/selector.py select",),
    },
    "held": {
        "files that it maps": (within.MAPPED,),
        "interpreter and libraries, and heap that is free between": (within.UNTOLD,),
        "rulebook, words, and rules compiled": (within.RULES,),
        "rules laid out over the items, and what they came to": (within.LAID_OUT,),
        "what is kept of rigs asked about lately": (within.LATELY,),
        "the items": (within.INDEX, within.ARROW),
    },
}
"""The parts of a work that the guide tells the shares of, each by functions, or modules, of which one is at work.

What is of two parts counts as the first one's.
"""


def parts(name: str, seen: Mapping[tuple[str, ...], int]) -> dict[str, float]:
    """The share of each part of a work, and of the rest."""
    shares, whole = Counter[str](), sum(seen.values())
    for stack, count in seen.items():
        of = (what for what, some in PARTS[name].items() if any(one.startswith(some) for one in stack))
        shares[next(of, REST)] += count
    return {what: shares[what] / whole for what in (*PARTS[name], REST)}


def seen_at(name: str) -> Mapping[tuple[str, ...], int]:
    """What was seen at work in one work, or in a server's memory, and how often, or how many bytes."""
    return SERVED[name]() if name in SERVED else Looks().of(WORK[name]())


def looked(name: str) -> dict[str, float]:
    """The shares of the parts of one work."""
    return parts(name, seen_at(name))


def shares() -> dict[str, dict[str, float]]:
    """The shares of the parts of all works that have some, each work in a process of its own."""
    found = {}
    for name, some in PARTS.items():
        if some:
            with ProcessPoolExecutor(1, get_context("spawn")) as apart:
                found[name] = apart.submit(looked, name).result()
    return found


def main() -> None:
    """Look and print."""
    named = [name for name in sys.argv[1:] if name in PARTS or name in WORK]
    if not named:
        raise SystemExit(f"say what to profile, of {', '.join({**WORK, **SERVED})}")
    for name in named:
        _show(name, seen_at(name))


def _show(name: str, seen: Mapping[tuple[str, ...], int]) -> None:
    """Shares of all that was done: by parts, by functions of fitsvc with what they call, and by modules alone."""
    whole = sum(seen.values())
    through, alone = Counter[str](), Counter[str]()
    for stack, count in seen.items():
        alone[stack[-1].split()[0]] += count
        for one in {one for one in stack if " " in one}:
            through[one] += count
    print(f"\n{name}: {whole:,} {'bytes' if name == 'held' else 'times seen at work'}; its parts")
    for what, share in parts(name, seen).items():
        print(f"{share:7.1%}  {what}")
    for told, some, most in (
        ("what functions take with all that they call", through, MOST_TOLD),
        ("what modules take alone", alone, MOST_TOLD // 2),
    ):
        print(told)
        for what, count in some.most_common(most):
            print(f"{count / whole:7.1%}  {what}")


if __name__ == "__main__":
    main()
