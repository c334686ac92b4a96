"""The SQL that the benchmarks compare with gives what the rules give."""

import pytest
from bench.sql_engine import Database
from bench.sql_written import FILE, written
from random_rulebooks import shipped_rulebook

from fitsvc.engine.columns.kernel import Columns
from fitsvc.synthetic.columns import synthetic_accessories, synthetic_rigs


@pytest.mark.parametrize("seed", range(2))
def test_sql_gives_what_the_rules_give(seed: int) -> None:
    """Outcomes and counts agree, one rig at a time and in a cross join."""
    engine = shipped_rulebook().engine
    made = synthetic_accessories(engine.rulebook, 3_000, models=1_500, seed=seed)
    columns = Columns(engine)
    catalogue = columns.catalogue_of(made.columns, ["accessory"], made.items)
    database = Database(columns.program(catalogue.subjects, 0), catalogue, threads=1)
    rigs = synthetic_rigs(engine.rulebook, 8, seed=seed)
    for rig in rigs[:5]:
        database.check(columns, catalogue, rig)
    database.check_many(columns, catalogue, rigs)


def test_the_sql_file_is_the_sql_that_is_run() -> None:
    """What `rules.sql` shows is written from the rules as they are."""
    program = Columns(shipped_rulebook().engine).program(frozenset({"accessory"}), 0)
    told = "write it anew with `PYTHONPATH=tests python -m bench.sql_written`"
    assert FILE.read_text("utf-8") == written(program), told
