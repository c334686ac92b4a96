"""What was tried, by its SKU: what follows from a trial follows what is known of the thing."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def _key() -> sa.types.TypeEngine[str]:
    return sa.String(80).with_variant(sa.String(80, collation="C"), "postgresql")


def upgrade() -> None:
    op.add_column("observation", sa.Column("tried", _key(), nullable=True))
    op.create_index("ix_observation_tried", "observation", ["tried"])


def downgrade() -> None:
    op.drop_index("ix_observation_tried", "observation")
    with op.batch_alter_table("observation") as batch:
        batch.drop_column("tried")
