"""What an item may be loaded with beside the rig that it fits: that it may be less is a change that is told."""

import sqlalchemy as sa
from alembic import op

revision = "0015"
down_revision = "0014"
branch_labels = None
depends_on = None
_COLUMNS = ("at_most", "times", "each")


def upgrade() -> None:
    # An older version goes on writing rows that do not name them.
    with op.batch_alter_table("fit") as table:
        for name in _COLUMNS:
            table.add_column(sa.Column(name, sa.String(30), nullable=False, server_default=""))


def downgrade() -> None:
    with op.batch_alter_table("fit") as table:
        for name in _COLUMNS:
            table.drop_column(name)
