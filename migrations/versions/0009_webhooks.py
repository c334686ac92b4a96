"""Addresses that are told what changed: how far each has been told, and how the last attempt went."""

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "webhook",
        sa.Column("address", sa.String(500), nullable=False),
        sa.Column("revision", sa.BigInteger(), nullable=False),
        sa.Column("rulebook", sa.String(80), nullable=False),
        sa.Column("told_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("tried", sa.BigInteger(), nullable=False),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("due_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("failure", sa.String(200), nullable=False),
        sa.Column("held_until", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("address", name=op.f("pk_webhook")),
    )


def downgrade() -> None:
    op.drop_table("webhook")
