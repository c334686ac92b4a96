"""What was told of one saved rig, over what its records say, kept beside it as a record's facts are."""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("saved_rig") as table:
        for column in ("facts", "provenance"):
            table.add_column(sa.Column(column, sa.JSON(), nullable=False, server_default="{}"))
    with op.batch_alter_table("saved_rig") as table:
        for column in ("facts", "provenance"):
            table.alter_column(column, server_default=None, existing_type=sa.JSON(), existing_nullable=False)


def downgrade() -> None:
    op.execute("DELETE FROM observation WHERE subject = 'rig'")
    with op.batch_alter_table("saved_rig") as table:
        for column in ("provenance", "facts"):
            table.drop_column(column)
