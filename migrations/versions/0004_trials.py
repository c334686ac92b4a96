"""What was tried, by its SKU: what follows from a trial follows what is known of the thing. Keys of requests."""

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
    op.create_table(
        "request_key",
        sa.Column("key", sa.String(200), nullable=False),
        sa.Column("written_by", sa.String(120), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("observation", _key(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("key", "written_by", name="pk_request_key"),
    )
    op.create_index("ix_request_key_at", "request_key", ["at"])


def downgrade() -> None:
    op.drop_table("request_key")
    op.drop_index("ix_observation_tried", "observation")
    with op.batch_alter_table("observation") as batch:
        batch.drop_column("tried")
