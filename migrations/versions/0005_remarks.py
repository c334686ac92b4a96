"""Remarks on rules, for whoever keeps the rules."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "remark",
        sa.Column("id", sa.String(80).with_variant(sa.String(80, collation="C"), "postgresql"), nullable=False),
        sa.Column("rule", sa.String(80), nullable=False),
        sa.Column("question", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("outcome", sa.String(20), nullable=False),
        sa.Column("result", sa.String(20), nullable=False),
        sa.Column("reason", sa.String(2000), nullable=False),
        sa.Column("text", sa.String(2000), nullable=False),
        sa.Column("by", sa.String(120), nullable=False),
        sa.Column("written_by", sa.String(120), nullable=False),
        sa.Column("digest", sa.String(80), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_remark")),
    )


def downgrade() -> None:
    op.drop_table("remark")
