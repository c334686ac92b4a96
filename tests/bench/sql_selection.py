"""A page of a selection from an in-process columnar database, in the service's own process and over the same HTTP.

The database judges each signature by the rules in SQL (`sql_engine`), joins the items, and gives the first of a page
and the counts by outcome, kind and deciding rule; the page's items are then told in words as ours are. Its page is
held to ours before it is timed.
"""

from threading import Lock
from typing import Any

import msgspec
import numpy as np
from litestar import Response, post

from bench.sql_engine import Database as Judging
from bench.sql_rules import judged, with_literals
from fitsvc.answers.question import NoRecords
from fitsvc.facts import Case
from fitsvc.language.types import Mask
from fitsvc.rulebook.outcomes import OUTCOME_OF, OUTCOMES, Effect
from fitsvc.rulebook.rules import Rule
from fitsvc.selection.folding import catalogue_of
from fitsvc.selection.query import SelectionQuery
from fitsvc.selection.segments import Segment
from fitsvc.selection.selector import Selector, read_rig
from fitsvc.service.context import AnyRequest
from fitsvc.service.selecting import Selections

THREADS = 2


class SqlSelection:
    """The items of one segment as tables, and pages from them."""

    def __init__(self, selector: Selector, segment: Segment) -> None:
        self.selector, self.segment, self.lock = selector, segment, Lock()
        columns = segment._columns
        self.catalogue = catalogue_of(columns, segment.tables)
        self.program = columns.program(self.catalogue.subjects, 0)
        self.judging = Judging(self.program, self.catalogue, THREADS)
        self.connection = self.judging.connection
        kinds = {
            "id": np.arange(self.catalogue.count, dtype=np.int32),
            "kind": self.catalogue.columns["accessory.kind"],
        }
        self.connection.register("kinds", kinds)
        self.connection.execute("ALTER TABLE items RENAME TO unkinded")
        self.connection.execute("CREATE TABLE items AS SELECT * FROM unkinded JOIN kinds USING (id) ORDER BY id")
        self.connection.execute("DROP TABLE unkinded")
        self.connection.register("loaded", segment.tables.items.select(["sku", "signature"]))
        self.connection.execute(
            "CREATE TABLE sold AS SELECT sku, signature::INTEGER AS id, row_number() OVER (ORDER BY sku) - 1 AS row "
            "FROM loaded ORDER BY sku"
        )

    def deciding(self) -> str:
        """The first rule or need that brings an outcome about, as a number."""
        tests: dict[Effect, list[str]] = {effect: [] for effect in OUTCOME_OF}
        for number, member in enumerate(self.program.members):
            tests[member.of.effects["fails"]].append(f"WHEN r{number} = 1 THEN {number}")
            if isinstance(member.of, Rule):
                tests[member.of.effects["undetermined"]].append(f"WHEN r{number} = 2 THEN {number}")
        ways = ["CASE outcome"]
        for outcome in OUTCOMES[:0:-1]:
            way = [test for effect, brought in OUTCOME_OF.items() if brought == outcome for test in tests[effect]]
            ways.append(f"WHEN {OUTCOMES.index(outcome)} THEN CASE {' '.join(way)} END")
        return " ".join([*ways, "END"])

    def page(self, rig: Case, limit: int) -> dict[str, Any]:
        """A page and the counts."""
        query = with_literals(self.program, self.program.rig_values(rig)).query()
        with self.lock:
            self.connection.execute(
                f"CREATE OR REPLACE TEMP TABLE judged AS SELECT id, w, kind, outcome, {self.deciding()} AS code FROM "
                f"({judged(query, 'id, kind', 'items')})"
            )
            rows = self.connection.execute(
                f"SELECT row FROM sold JOIN judged USING (id) ORDER BY outcome, sku LIMIT {limit}"
            ).fetchall()
            kinds = self.connection.execute("SELECT kind, outcome, sum(w) FROM judged GROUP BY ALL").fetchall()
            codes = self.connection.execute("SELECT code, outcome, sum(w) FROM judged GROUP BY ALL").fetchall()
        shown = [self.selector.shown(rig, self.segment.item(row), SelectionQuery(question={})) for (row,) in rows]
        return {"items": shown, "kinds": kinds, "codes": codes}

    def check(self, rig: Case, ours: dict[str, Any]) -> None:
        """Hold a page to ours."""
        page = self.page(rig, len(ours["items"]))
        assert [msgspec.to_builtins(one) for one in page["items"]] == ours["items"]
        decided = {
            (self.selector._codes[code][0], OUTCOMES[place]): int(count)
            for code, place, count in page["codes"]
            if place
        }
        assert decided == {(one["code"], one["outcome"]): one["items"] for one in ours["counts"]["decided_by"]}
        kinds: dict[str, list[int]] = {}
        for kind, place, count in page["kinds"]:
            kinds.setdefault(self.selector._kind(Mask(int(kind))) or "unknown", [0] * 4)[place] += int(count)
        assert kinds == {kind: list(row.values()) for kind, row in ours["counts"]["kinds"].items()}


def handler(selections: Selections) -> Any:
    """The route of the database's page; with `check` it is held to ours."""
    made: list[SqlSelection] = []

    @post("/bench/sql", sync_to_thread=True, status_code=200)
    def page(request: AnyRequest, data: dict[str, Any]) -> Response[bytes]:
        if not made:
            (part,) = selections.index.held().parts
            made.append(SqlSelection(selections.selector, part.segment))
        rig = read_rig(data["question"], selections.selector.answerer, NoRecords())
        if data.get("check"):
            ours = selections.selector.select(selections.index.held(), rig, SelectionQuery(question={}))
            made[0].check(rig, msgspec.to_builtins(ours))
        return Response(msgspec.json.encode(made[0].page(rig, 50)), media_type="application/json")

    return page
