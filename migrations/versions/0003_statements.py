"""Statements as they were said: who wrote them, with what, in what condition, and what they take back.

A reading that was stored as what it left of earlier ones gets back what was said, and a null becomes the list of what
it took back, so that nothing depends on the order of rows.
"""

from collections.abc import Iterator
from itertools import groupby
from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

_TEXTS = {"written_by": 120, "tool": 120, "condition": 2000, "photo": 500, "source": 120, "act": 20, "reason": 2000}
_DOCUMENTS = ("takes_back", "ground")
_BOUNDS = {True: "spare_fits_up_to", False: "spare_blocked_from"}
_MANY = 1000
_DELETED = "record deleted"

_OBSERVATION = sa.table(
    "observation",
    sa.column("sequence", sa.BigInteger()),
    sa.column("id", sa.String()),
    sa.column("subject", sa.String()),
    sa.column("record_id", sa.String()),
    sa.column("facts", sa.JSON()),
    sa.column("note", sa.String()),
    sa.column("evidence", sa.JSON(none_as_null=True)),
    sa.column("act", sa.String()),
    sa.column("takes_back", sa.JSON(none_as_null=True)),
)


def upgrade() -> None:
    for name, length in _TEXTS.items():
        op.add_column("observation", sa.Column(name, sa.String(length), nullable=False, server_default=""))
    for name in _DOCUMENTS:
        op.add_column("observation", sa.Column(name, sa.JSON(none_as_null=True), nullable=True))
    _as_said()


def _as_said() -> None:
    """Bring the rows to what was said: those with a conclusion or a null, record by record."""
    connection, table = op.get_bind(), _OBSERVATION.c
    order = (table.subject, table.record_id, table.sequence)
    rows = connection.execute(sa.select(_OBSERVATION).order_by(*order), execution_options={"yield_per": _MANY})
    changes = []
    for _, group in groupby(rows, key=lambda row: (row.subject, row.record_id)):
        before: list[tuple[str, set[str]]] = []
        for row in group:
            changes += _changed(row, before)
    for at in range(0, len(changes), _MANY):
        values = {name: sa.bindparam(name) for name in ("facts", "evidence", "act", "takes_back")}
        which = table.sequence == sa.bindparam("b_sequence")
        connection.execute(sa.update(_OBSERVATION).where(which).values(values), changes[at : at + _MANY])


def _changed(row: Any, before: list[tuple[str, set[str]]]) -> Iterator[dict[str, Any]]:
    """The row as it was said, if that differs; it joins those before it."""
    evidence = dict(row.evidence or {})
    facts = dict(row.facts) | evidence.pop("facts", {})
    takes_back = _taken_back(before, facts, row.note == _DELETED)
    act = "deletes" if row.note == _DELETED else "replaces" if takes_back else ""
    before.append((row.id, set(facts) | _tried(evidence)))
    if act or facts != row.facts:
        yield {
            "b_sequence": row.sequence,
            "facts": facts,
            "evidence": evidence or None,
            "act": act,
            "takes_back": takes_back,
        }


def _tried(evidence: dict[str, Any]) -> set[str]:
    return {_BOUNDS[bool(evidence.get("stowed"))]} if "tyre" in evidence else set()


def _taken_back(
    before: list[tuple[str, set[str]]], facts: dict[str, Any], deleted: bool
) -> dict[str, list[str]] | None:
    """What a row of a record takes back of those before it."""
    if deleted:
        return {"*": [key for key, _ in before]} if before else None
    nulls = [name for name, value in facts.items() if value is None]
    found = {name: [key for key, names in before if name in names] for name in nulls}
    return {name: keys for name, keys in found.items() if keys} or None


def downgrade() -> None:
    with op.batch_alter_table("observation") as batch:
        for name in (*_TEXTS, *_DOCUMENTS):
            batch.drop_column(name)
