"""The rules in an in-process columnar database: its tables, its queries, and that they give what ours give."""

from collections.abc import Callable, Sequence
from typing import Any

import duckdb
import numpy as np

from bench.sql_rules import Query, item_table, judged, rig_table, with_literals, with_rig_columns
from fitsvc.engine.columns.bitmaps import unpack
from fitsvc.engine.columns.kernel import Columns, Judged
from fitsvc.engine.columns.programs import Program
from fitsvc.engine.columns.signatures import Catalogue
from fitsvc.facts import Case
from fitsvc.rulebook.outcomes import OUTCOME_OF, OUTCOMES

_BITS = 21
"""Three counts of up to two million items in one 64-bit sum: a sum for each rule in place of three."""
_NOTHING = Case({}, frozenset())


class Database:
    """A catalogue as a table, beside what the rules come to in SQL."""

    def __init__(self, program: Program, catalogue: Catalogue, threads: int) -> None:
        self.program, self.rules = program, len(program.rules)
        self.connection = duckdb.connect()
        self.connection.execute(f"SET threads = {threads}")
        self._load("items", item_table(program, catalogue))
        packed = (
            f"sum(CASE r{i} WHEN 0 THEN w WHEN 1 THEN w << {_BITS} WHEN 2 THEN w << {2 * _BITS} ELSE 0 END)::UBIGINT"
            for i in range(self.rules)
        )
        outcomes = (f"coalesce(sum(w) FILTER (outcome = {k}), 0)::BIGINT" for k in range(4))
        self.counts = ", ".join([*outcomes, *packed])
        self.total = catalogue.items
        self._prepared: set[str] = set()

    def _load(self, name: str, table: dict[str, Any]) -> None:
        self.connection.register("loaded", table)
        order = "rig" if "rig" in table else "id"
        self.connection.execute(f"CREATE OR REPLACE TABLE {name} AS SELECT * FROM loaded ORDER BY {order}")
        self.connection.unregister("loaded")

    def one(self, rig: Case) -> tuple[np.ndarray[Any, Any], tuple[Any, ...]]:
        """One rig: the outcome of each signature, and the counts.

        Of the ways tried this is the fastest: all results once into a temporary table, the rig's values as literals,
        from which the planner settles much. Slower were filtered sums, unpivoted groups, and one pass for the outcomes
        and one for the counts.
        """
        query = with_literals(self.program, self.program.rig_values(rig)).query()
        self.connection.execute(f"CREATE OR REPLACE TEMP TABLE judged AS {self._judged(query, 'id', 'items')}")
        outcome = self.connection.execute("SELECT outcome FROM judged ORDER BY id").fetchnumpy()["outcome"]
        (counts,) = self.connection.execute(f"SELECT {self.counts} FROM judged").fetchall()
        return np.asarray(outcome), counts

    def prepared(self, rig: Case | None = None) -> Callable[[Case], tuple[np.ndarray[Any, Any], tuple[Any, ...]]]:
        """The same by statements that are written and planned now, so that what is returned only carries them out.

        For one rig they have its values as literals; without one, they take those of the table of rigs, into which
        any rig can be put.
        """
        if rig is None:
            query, source = with_rig_columns(self.program).query(), "rigs, items"
            self._load("rigs", rig_table(self.program, [self.program.rig_values(_NOTHING)]))
        else:
            query, source = with_literals(self.program, self.program.rig_values(rig)).query(), "items"
        judging = self._judged(query, "id", source)
        run = self.connection.execute
        for name in ("judging", "outcomes", "counting"):
            run(f"DEALLOCATE PREPARE {name}") if name in self._prepared else self._prepared.add(name)
        run(f"CREATE OR REPLACE TEMP TABLE judged AS {judging} LIMIT 0")
        run(f"PREPARE judging AS INSERT INTO judged {judging}")
        run("PREPARE outcomes AS SELECT outcome FROM judged ORDER BY id")
        run(f"PREPARE counting AS SELECT {self.counts} FROM judged")

        def carry_out(asked: Case) -> tuple[np.ndarray[Any, Any], tuple[Any, ...]]:
            run("TRUNCATE judged")
            if rig is None:
                self.put(asked)
            run("EXECUTE judging")
            outcome = run("EXECUTE outcomes").fetchnumpy()["outcome"]
            (counts,) = run("EXECUTE counting").fetchall()
            return np.asarray(outcome), counts

        return carry_out

    def put(self, rig: Case) -> None:
        """Make a rig the one row of the table of rigs, which stays the same table."""
        self.connection.execute("TRUNCATE rigs")
        self.connection.register("loaded", rig_table(self.program, [self.program.rig_values(rig)]))
        self.connection.execute("INSERT INTO rigs SELECT * FROM loaded")
        self.connection.unregister("loaded")

    def keep_one_item(self) -> None:
        """Leave one item in the table, to see what a statement takes whatever the table holds."""
        self.connection.execute("DELETE FROM items WHERE id > 0")

    def many(self, rigs: Sequence[Case]) -> list[tuple[Any, ...]]:
        """The counts of many rigs: one cross join."""
        self._load("rigs", rig_table(self.program, [self.program.rig_values(rig) for rig in rigs]))
        judged = self._judged(with_rig_columns(self.program).query(), "rig", "rigs, items")
        return self.connection.execute(
            f"SELECT rig, {self.counts} FROM ({judged}) GROUP BY rig ORDER BY rig"
        ).fetchall()

    def _judged(self, query: Query, key: str, source: str) -> str:
        return judged(query, key, source)

    def check(self, columns: Columns, catalogue: Catalogue, rig: Case, by: Any = None) -> None:
        """Hold the database's answer for a rig, by statements if they are given, to ours."""
        outcome, counts = (by or self.one)(rig)
        assert np.array_equal(outcome, rule_by_rule(columns.judge(catalogue, rig)))
        self._check_counts(counts, columns, catalogue, rig)

    def check_many(self, columns: Columns, catalogue: Catalogue, rigs: Sequence[Case]) -> None:
        """Hold the database's cross join to ours."""
        for rig, (_, *counts) in zip(rigs, self.many(rigs), strict=True):
            self._check_counts(tuple(counts), columns, catalogue, rig)

    def _check_counts(self, counts: tuple[Any, ...], columns: Columns, catalogue: Catalogue, rig: Case) -> None:
        judged = columns.judge(catalogue, rig)
        of_outcomes = np.bincount(rule_by_rule(judged), catalogue.weights, len(OUTCOMES))
        assert [round(count) for count in of_outcomes.tolist()] == list(counts[:4])
        for packed, ours in zip(counts[4:], judged.rule_counts(), strict=True):
            unpacked = tuple(packed >> (place * _BITS) & (1 << _BITS) - 1 for place in range(3))
            assert (*unpacked, self.total - sum(unpacked)) == ours


def rule_by_rule(judged: Judged) -> np.ndarray[Any, Any]:
    """The outcome of each signature by what each rule comes to: the queries decide nothing by cases."""
    found = np.zeros(judged.catalogue.count, np.uint8)
    for _, effect, where in judged.effects():
        place = OUTCOMES.index(OUTCOME_OF[effect])
        found = np.maximum(found, unpack(where, len(found)).view(np.uint8) * np.uint8(place))
    return found
