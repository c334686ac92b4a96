"""Whole catalogues against SQL of the same rules in a database: `PYTHONPATH=tests python -m bench.bench_columns`.

One thread on both sides. The SQL is written from the rules by `sql_rules`, all of them, and its results are held to
ours before it is timed. It decides nothing by cases, so ours that stands beside it does not either; what that adds is a
line of its own. The database keeps no results, and ours beside it has none for that rig: it is one never seen. Its
statements are written and planned before they are timed, with the rig's values as literals, or once for all rigs with
the rig as the one row of a table; both are shown, and what it takes where a rig's statements are written and planned
when it is asked about. The database spends much on a long statement whatever the table holds, planned or not: what it
takes for a table of one item is taken off, and the first of its lines is what is left. A rig seen before is looked up,
and told in time alone.

The floor is to read each rule's two bitmaps once.
"""

import os
import time
from collections.abc import Iterator, Sequence
from multiprocessing import get_context
from typing import Any

import numpy as np

from bench.measuring import SMALL, Group, Row, Time, in_turn, once, show, taken
from bench.sql_engine import Database
from fitsvc.engine.columns.bitmaps import unpack, words_for
from fitsvc.engine.columns.kernel import Columns, Index, Judged
from fitsvc.engine.columns.signatures import Catalogue
from fitsvc.engine.point import Point
from fitsvc.facts import Case
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.rulebook.outcomes import OUTCOME_OF, OUTCOMES
from fitsvc.synthetic.columns import synthetic_accessories, synthetic_rigs

ENGINE = Point(load_rulebook(data_dir("rules")))
SUBJECTS = ("accessory",)
COMMAND = "bench.bench_columns"
DISTINCT = 10_000 if SMALL else 60_000
SEEN, NEW, THEIRS, FIRST = (20, 10, 2, 1) if SMALL else (40, 20, 4, 2)
RIGS, ITEMS, SAMPLE, BOTH = (100, 20_000, 4, 40) if SMALL else (500, 100_000, 20, 10_000)


INDEXED = "The items were read, folded and laid out before on both sides."


def ours(columns: Columns, catalogue: Catalogue, rig: Case) -> object:
    """The outcome of each signature, and the counts by outcome and by rule and result."""
    return all_told(columns.judge(catalogue, rig))


def all_told(judged: Judged) -> object:
    """The same of what is judged."""
    return judged.outcome(), judged.counts(), judged.rule_counts()


def by_rules(judged: Judged) -> object:
    """The same by what each rule comes to alone."""
    catalogue = judged.catalogue
    found = {outcome: np.zeros(words_for(catalogue.count), np.uint64) for outcome in OUTCOMES[:0:-1]}
    for _, effect, where in judged.effects():
        found[OUTCOME_OF[effect]] |= where
    worse, outcome = np.zeros(words_for(catalogue.count), np.uint64), np.zeros(catalogue.count, np.uint8)
    for place, words in zip((3, 2, 1), found.values(), strict=True):
        words &= ~worse
        worse |= words
        outcome += unpack(words, catalogue.count).view(np.uint8) * np.uint8(place)
    return outcome, [catalogue.counter.of(words) for words in found.values()], judged.rule_counts()


def by_index(index: Index, catalogue: Catalogue, rig: Case) -> Judged:
    """A rig judged by an index of its own."""
    return index.judge(catalogue, rig, index.program.rig_values(rig))


def one_rig() -> Iterator[Group]:
    """One rig against a catalogue of which no two items are alike: the first, another, and one seen before."""
    ENGINE.choices(adapted=False).prepare()  # as a service does before it takes requests
    made = synthetic_accessories(ENGINE.rulebook, DISTINCT, models=DISTINCT)
    columns = Columns(ENGINE)
    catalogue = columns.catalogue_of(made.columns, SUBJECTS, DISTINCT)
    program = columns.program(catalogue.subjects, 0)
    rigs = synthetic_rigs(ENGINE.rulebook, SEEN + 2 * NEW)
    after, new = rigs[: SEEN + NEW], rigs[SEEN + NEW :]
    fresh = [[Index(program, catalogue, columns.most_kept) for _ in range(FIRST)] for _ in range(2)]
    first = in_turn(
        FIRST,
        1,
        lambda number: by_rules(by_index(fresh[0][number], catalogue, new[number])),
        lambda number: all_told(by_index(fresh[1][number], catalogue, new[number])),
        warm=False,
    )
    for rig in after[:SEEN]:  # what a service has seen before a never-seen rig comes
        ours(columns, catalogue, rig)
    alone = Columns(ENGINE)
    for rig in after[:SEEN]:
        by_rules(alone.judge(catalogue, rig))
    later = in_turn(
        NEW,
        1,
        lambda number: by_rules(alone.judge(catalogue, new[number])),
        lambda number: ours(columns, catalogue, new[number]),
        warm=False,
    )
    (again,) = in_turn(NEW, 1, lambda number: ours(columns, catalogue, new[number]), warm=False)
    theirs, floor = databases(columns, catalogue, new), bitmaps_read(len(program.members), catalogue.count)
    items = f"{catalogue.count:,} items, no two alike"
    for title, times in (
        (f"The very first rig on {items}", first),
        (f"A never-seen rig on {items}, after {SEEN} others", later),
    ):
        rows = [*_ways(times), *theirs, Row("floor", "each rule's bitmaps read once", floor)]
        yield Group(title, COMMAND, rows, notes=[INDEXED])
    yield Group(f"A rig seen before on {items}", COMMAND, [Row("ours", "fitsvc", again)], again=True)


def _ways(times: Sequence[Time]) -> list[Row]:
    rules, cases = times
    return [Row("ours", "fitsvc, rule by rule", rules), Row("ours", "fitsvc, by cases too, as it answers", cases)]


def databases(columns: Columns, catalogue: Catalogue, rigs: Sequence[Case]) -> list[Row]:
    """The database, its statements planned before in either way, and planned when asked; held to ours."""
    database = Database(columns.program(catalogue.subjects, 0), catalogue, threads=1)
    literals, anew = list[tuple[float, float]](), list[tuple[float, float]]()
    for rig in rigs[:THEIRS]:
        by = database.prepared(rig)
        database.check(columns, catalogue, rig, by)
        literals.append(once(lambda _, by=by, rig=rig: by(rig)))  # type: ignore[misc]  # a lambda with a default is untyped to the checker
        anew.append(once(lambda _, rig=rig: database.one(rig)))  # type: ignore[misc]  # as above
    table = database.prepared()
    database.check(columns, catalogue, rigs[0], table)
    of_table = [once(lambda _, rig=rig: table(rig)) for rig in rigs[: max(1, THEIRS // 2)]]  # type: ignore[misc]  # as above
    database.keep_one_item()
    by = database.prepared(rigs[0])
    of_one = min(once(lambda _: by(rigs[0])) for _ in range(3))[0]
    return [
        Row(
            "beside",
            "DuckDB, planned before, less what it takes for one item",
            taken([x - of_one for x, _ in literals]),
        ),
        Row("beside", "DuckDB, statements planned before for this rig", taken(*zip(*literals, strict=True))),
        Row("beside", "DuckDB, statements planned once, the rig in a table", taken(*zip(*of_table, strict=True))),
        Row("beside", "DuckDB, statements written and planned when asked", taken(*zip(*anew, strict=True))),
    ]


def bitmaps_read(members: int, count: int) -> Time:
    """What it takes to read the bitmaps of so many rules and needs: where each fails, and where it is open."""
    some = np.random.default_rng(1).integers(0, 1 << 62, (2 * members, words_for(count)), np.uint64)
    (found,) = in_turn(21, 1, lambda _: np.bitwise_or.reduce(some, axis=0))
    return found


def many_rigs() -> Iterator[Group]:
    """Many rigs against a catalogue with repetition from an empty cache, beside the database on a sample of them."""
    made = synthetic_accessories(ENGINE.rulebook, ITEMS)
    rigs = synthetic_rigs(ENGINE.rulebook, RIGS, seed=7)
    rules, cases = Columns(ENGINE), Columns(ENGINE)
    catalogue = rules.catalogue_of(made.columns, SUBJECTS, ITEMS)
    for columns in (rules, cases):
        columns.index(catalogue, 0)
    mine = in_turn(
        1,
        RIGS,
        lambda _: [by_rules(judged) for judged in rules.judge_all(catalogue, rigs)],
        lambda _: counted(cases, catalogue, rigs),
        warm=False,
    )
    database = Database(rules.program(catalogue.subjects, 0), catalogue, threads=1)
    database.check_many(rules, catalogue, rigs[:4])
    joined, clock = once(lambda _: database.many(rigs[:SAMPLE]))
    floor = bitmaps_read(len(rules.program(catalogue.subjects, 0).members), catalogue.count)
    yield Group(
        f"One of {RIGS:,} rigs on {ITEMS:,} items ({catalogue.count:,} signatures), nothing kept before",
        COMMAND,
        [
            *_ways(mine),
            Row(
                "beside", f"DuckDB, one cross join of {SAMPLE} of the rigs", taken([joined / SAMPLE], [clock / SAMPLE])
            ),
            Row("floor", "each rule's bitmaps read once", floor),
        ],
        notes=[
            f"DuckDB's time is of {SAMPLE} rigs, ours of all {RIGS:,}, which share what rigs have in common.",
            f"{INDEXED} By cases only the counts are told.",
        ],
    )
    yield two_cores(catalogue, synthetic_rigs(ENGINE.rulebook, BOTH, seed=7))


def counted(columns: Columns, catalogue: Catalogue, rigs: Sequence[Case]) -> int:
    """Counts by outcome and by rule of every rig; the number of items that work."""
    works = 0
    for judged in columns.judge_all(catalogue, rigs):
        judged.rule_counts()
        works += judged.counts()["works"]
    return works


def two_cores(catalogue: Catalogue, rigs: Sequence[Case]) -> Group:
    """One process, and two that share the catalogue, each with its own cache, by the clock.

    They take the rigs piece by piece, as each is done with the last, since some rigs take twice as long as others.
    """
    columns = Columns(ENGINE)
    columns.index(catalogue, 0)
    _shared.update(columns=columns, catalogue=catalogue, rigs=rigs)
    size = -(-len(rigs) // 10)
    pieces = [range(start, min(start + size, len(rigs))) for start in range(0, len(rigs), size)]
    start = time.perf_counter()
    with get_context("fork").Pool(2) as pool:
        works = pool.map(_part, pieces, chunksize=1)
    two = time.perf_counter() - start
    start, work = time.perf_counter(), time.process_time()
    assert counted(columns, catalogue, rigs) == sum(part[0] for part in works)
    one, work = time.perf_counter() - start, time.process_time() - work
    each: dict[int, float] = {}
    for _, process, took in works:
        each[process] = each.get(process, 0.0) + took
    return Group(
        f"{len(rigs):,} rigs with one process and with two, on {ITEMS:,} items, nothing kept before",
        COMMAND,
        [
            Row("ours", "one process", taken([work], [one])),
            Row("ours", "two processes, the slower one's processor time", taken([max(each.values())], [two])),
        ],
        notes=[
            f"By the clock two are {one / two:.2f} × as fast, on {os.cpu_count()} cores, the start of both among it.",
            "The items were folded and laid out before.",
        ],
    )


_shared: dict[str, Any] = {}


def _part(piece: range) -> tuple[int, int, float]:
    """The number of items that work, which process counted them, and the processor time it took."""
    work = time.process_time()
    works = counted(_shared["columns"], _shared["catalogue"], _shared["rigs"][piece.start : piece.stop])
    return works, os.getpid(), time.process_time() - work


def groups() -> Iterator[Group]:
    """One rig, and many."""
    yield from one_rig()
    yield from many_rigs()


def main() -> None:
    """Measure and print."""
    show(groups())


if __name__ == "__main__":
    main()
