"""What audits came to for a shop: by number and rig what fits, or may, and since when."""

import sqlalchemy as sa
from alembic import op

revision = "0013"
down_revision = "0012"
branch_labels = None
depends_on = None


def _key() -> sa.types.TypeEngine[str]:
    return sa.String(80).with_variant(sa.String(80, collation="C"), "postgresql")


def upgrade() -> None:
    op.create_table(
        "fit",
        sa.Column("supplier", sa.String(120), nullable=False),
        sa.Column("sku", _key(), nullable=False),
        sa.Column("rig", _key(), nullable=False),
        sa.Column("vehicle", _key(), nullable=False),
        sa.Column("name", sa.String(200), nullable=False),
        sa.Column("status", sa.String(30), nullable=False),
        sa.Column("because", sa.Text(), nullable=False),
        sa.Column("since", sa.String(10), nullable=False),
        sa.Column("audited_on", sa.String(10), nullable=False),
        sa.Column("rulebook", _key(), nullable=False),
        sa.Column("delivery", sa.String(64), nullable=False),
        sa.PrimaryKeyConstraint("supplier", "sku", "rig", name=op.f("pk_fit")),
    )
    op.create_index(op.f("ix_fit_sku"), "fit", ["sku"])
    op.create_index(op.f("ix_fit_vehicle"), "fit", ["vehicle"])


def downgrade() -> None:
    op.drop_table("fit")
