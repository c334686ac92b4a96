"""Audits every day at a time of day: when, what each run came to, and whom that is still to be told."""

import sqlalchemy as sa
from alembic import op

revision = "0014"
down_revision = "0013"
branch_labels = None
depends_on = None


def _key() -> sa.types.TypeEngine[str]:
    return sa.String(80).with_variant(sa.String(80, collation="C"), "postgresql")


def _number() -> sa.types.TypeEngine[int]:
    return sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    op.create_table(
        "schedule",
        sa.Column("id", _key(), nullable=False),
        sa.Column("supplier", sa.String(120), nullable=False),
        sa.Column("file", sa.String(500), nullable=False),
        sa.Column("claims", sa.String(500), nullable=False),
        sa.Column("at", sa.String(5), nullable=False),
        sa.Column("zone", sa.String(80), nullable=False),
        sa.Column("language", sa.String(80), nullable=False),
        sa.Column("created_by", sa.String(120), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("due_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_schedule")),
    )
    op.create_index(op.f("ix_schedule_due_at"), "schedule", ["due_at"])
    op.create_table(
        "scheduled_run",
        sa.Column("sequence", _number(), nullable=False),
        sa.Column("schedule_id", _key(), nullable=False),
        sa.Column("due_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("missed", sa.Integer(), nullable=False),
        sa.Column("asked_by", sa.String(120), nullable=False),
        sa.Column("state", sa.String(20), nullable=False),
        sa.Column("audit", sa.String(80), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("told", sa.JSON(none_as_null=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["schedule_id"], ["schedule.id"], name=op.f("fk_scheduled_run_schedule_id_schedule"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("sequence", name=op.f("pk_scheduled_run")),
    )
    op.create_index(op.f("ix_scheduled_run_schedule_id_sequence"), "scheduled_run", ["schedule_id", "sequence"])
    op.create_index(op.f("ix_scheduled_run_state"), "scheduled_run", ["state"])
    op.create_table(
        "notice",
        sa.Column("run", _number(), nullable=False),
        sa.Column("address", sa.String(500), nullable=False),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("due_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("failure", sa.String(200), nullable=False),
        sa.Column("told_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("held_until", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["run"], ["scheduled_run.sequence"], name=op.f("fk_notice_run_scheduled_run"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("run", "address", name=op.f("pk_notice")),
    )


def downgrade() -> None:
    op.drop_table("notice")
    op.drop_table("scheduled_run")
    op.drop_table("schedule")
