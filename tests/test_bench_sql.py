"""The SQL that the benchmarks compare with gives what the rules give."""

import pytest
from bench.sql_engine import Database
from random_rulebooks import shipped_rulebook

from fitsvc.catalogue.synthetic import synthetic_accessories, synthetic_rigs
from fitsvc.engine.columns import Columns


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
