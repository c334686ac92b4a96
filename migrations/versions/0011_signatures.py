"""Signatures of published rulebooks, by the keys that made them."""

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None


def upgrade() -> None:
    # With a default, so that servers of the version before, which go on beside, still publish.
    with op.batch_alter_table("publication") as table:
        table.add_column(sa.Column("signatures", sa.JSON(), nullable=False, server_default="{}"))


def downgrade() -> None:
    with op.batch_alter_table("publication") as table:
        table.drop_column("signatures")
