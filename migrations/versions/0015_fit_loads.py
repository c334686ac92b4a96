"""What an item may be loaded with beside the rig that it fits: that it may be less is a change that is told."""

import sqlalchemy as sa
from alembic import op

revision = "0015"
down_revision = "0014"
branch_labels = None
depends_on = None
_COLUMNS = ("at_most", "times", "each")


def upgrade() -> None:
    with op.batch_alter_table("fit") as table:
        for name in _COLUMNS:
            table.add_column(sa.Column(name, sa.String(30), nullable=False, server_default=""))
    with op.batch_alter_table("fit") as table:
        for name in _COLUMNS:
            table.alter_column(name, server_default=None, existing_type=sa.String(30), existing_nullable=False)


def downgrade() -> None:
    with op.batch_alter_table("fit") as table:
        for name in _COLUMNS:
            table.drop_column(name)
