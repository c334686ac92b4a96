"""Where the time of a piece of work goes: `PYTHONPATH=tests python -m bench.profiled WORK`.

`answer` are whole answers never asked for, `strange` such of which each weight and length is a new one, `open` those
that leave nearly all open, `plan` plans on 10,000 parts, `rig` rigs never seen on 60,000 distinct items, `rigs` 500 of
them together on 100,000 items that repeat themselves, `statement` statements told one a transaction on SQLite, `audit`
an audit of 100,000 rows on one rig, `audits` one of 14,000 rows on 300 rigs. Told are shares of the processor's time,
of what each function takes with all that it calls, and of what each module takes alone. The profiler makes calls dearer
than they are: shares are told, and no times.
"""

import sys
from collections import Counter
from collections.abc import Callable
from cProfile import Profile
from pathlib import Path
from pstats import Stats
from shutil import rmtree
from tempfile import mkdtemp
from time import thread_time
from typing import Any, Final

from demo_world import answerer, stock, world

import fitsvc
from bench import bench_answer, bench_next, bench_plans, questions
from fitsvc.answers.answering import Answerer
from fitsvc.planning.planner import Planner

FOLDER: Final = Path(fitsvc.__file__).parent
MANY, BEFORE, MOST_TOLD = 400, 300, 40


def answers(of: bench_answer.Asked) -> Callable[[], None]:
    """Whole answers, of an answerer that has answered others of the kind."""
    of_it = bench_answer.prepared()
    for body in bench_answer.bodies(questions.questions, 1, BEFORE):
        bench_answer.told(of_it, body)
    asked = bench_answer.bodies(of, 77, MANY)
    return lambda: _each(lambda body: bench_answer.told(of_it, body), asked)


def open_answers() -> Callable[[], None]:
    """The costliest of answers that leave nearly all open, of each sort, of an answerer that has heard others."""
    found = [
        document
        for one in bench_next.DRAWN.values()
        for *_, document in bench_next.slowest(_heard(), bench_next.drawn(40, one=one))[:4]
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
        bench_statements.alone(database, 10_000)
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
    columns, cases = Columns(engine), synthetic_rigs(engine.rulebook, 80)
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
    "open": open_answers,
    "plan": plans,
    "rig": rigs,
    "rigs": many_rigs,
    "statement": statements,
    "audit": lambda: audit(100_000, 1),
    "audits": lambda: audit(14_000, 300),
}


def main() -> None:
    """Profile and print."""
    named = [name for name in sys.argv[1:] if name in WORK]
    if not named:
        raise SystemExit(f"say what to profile, of {', '.join(WORK)}")
    for name in named:
        work = WORK[name]()
        profile = Profile(thread_time)
        profile.runcall(work)
        _show(name, Stats(profile).stats)  # type: ignore[attr-defined]  # which typeshed does not name


def _show(name: str, stats: Any) -> None:
    """Shares of all that was done: by functions of fitsvc with what they call, and by modules alone."""
    whole = max(sum(one[2] for one in stats.values()), *(one[3] for one in stats.values()))
    through, alone = Counter[str](), Counter[str]()
    for (file, _, function), (_, _, own, together, _) in stats.items():
        inside = file.startswith(str(FOLDER))
        where = Path(file).relative_to(FOLDER).as_posix() if inside else "generated" if file[0] == "<" else "beneath"
        alone[where] += own
        if inside and not function.startswith("<"):
            through[f"{where} {function}"] += together
    print(f"\n{name}: what functions take with all that they call")
    for what, took in through.most_common(MOST_TOLD):
        print(f"{took / whole:7.1%}  {what}")
    print("what modules take alone")
    for what, took in alone.most_common(MOST_TOLD // 2):
        print(f"{took / whole:7.1%}  {what}")


if __name__ == "__main__":
    main()
