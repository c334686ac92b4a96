"""A remark on a rule may be closed, by whoever keeps the rules, with what came of it."""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None

_TEXTS = (("closed_by", 120), ("closed_because", 2000))


def upgrade() -> None:
    with op.batch_alter_table("remark") as table:
        table.add_column(sa.Column("closed_at", sa.DateTime(timezone=True), nullable=True))
        for name, size in _TEXTS:
            table.add_column(sa.Column(name, sa.String(size), nullable=False, server_default=""))
    with op.batch_alter_table("remark") as table:
        for name, size in _TEXTS:
            table.alter_column(name, server_default=None, existing_type=sa.String(size), existing_nullable=False)


def downgrade() -> None:
    with op.batch_alter_table("remark") as table:
        for column in ("closed_because", "closed_by", "closed_at"):
            table.drop_column(column)
