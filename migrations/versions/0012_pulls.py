"""Where releases of rulebooks are pulled from: the last that was taken, and how the last look went."""

import sqlalchemy as sa
from alembic import op

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "pull",
        sa.Column("source", sa.String(500), nullable=False),
        sa.Column("tag", sa.String(200), nullable=False),
        sa.Column("modified", sa.String(80), nullable=False),
        sa.Column("digest", sa.String(80), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("taken_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("looked_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("failure", sa.String(2000), nullable=False),
        sa.Column("due_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("held_until", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("source", name=op.f("pk_pull")),
    )


def downgrade() -> None:
    op.drop_table("pull")
