"""What a key may do and for how long, a log of every write, and replies kept for requests that are repeated."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

EVERYTHING = "ask,read,record,edit,audit,publish,administer"


def _key() -> sa.types.TypeEngine[str]:
    return sa.String(80).with_variant(sa.String(80, collation="C"), "postgresql")


def upgrade() -> None:
    with op.batch_alter_table("api_key") as table:
        # Keys that were made before could do everything, and go on to.
        table.add_column(sa.Column("scopes", sa.String(120), nullable=False, server_default=EVERYTHING))
        table.add_column(sa.Column("expires_at", sa.DateTime(timezone=True), nullable=True))
        table.add_column(sa.Column("last_used_at", sa.DateTime(timezone=True), nullable=True))
    with op.batch_alter_table("api_key") as table:
        table.alter_column("scopes", server_default=None, existing_type=sa.String(120), existing_nullable=False)
    op.create_table(
        "written",
        sa.Column("sequence", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by", sa.String(120), nullable=False),
        sa.Column("request", sa.String(80), nullable=False),
        sa.Column("act", sa.String(20), nullable=False),
        sa.Column("kind", sa.String(20), nullable=False),
        sa.Column("key", sa.String(80), nullable=False),
        sa.Column("before", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("after", sa.JSON(none_as_null=True), nullable=True),
        sa.PrimaryKeyConstraint("sequence", name=op.f("pk_written")),
    )
    op.create_table(
        "kept_reply",
        sa.Column("by", sa.String(120), nullable=False),
        sa.Column("token", sa.String(120), nullable=False),
        sa.Column("request", sa.String(64), nullable=False),
        sa.Column("status", sa.Integer(), nullable=False),
        sa.Column("headers", sa.JSON(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("by", "token", name=op.f("pk_kept_reply")),
    )
    op.create_index(op.f("ix_kept_reply_made_at"), "kept_reply", ["made_at"])


def downgrade() -> None:
    op.drop_index(op.f("ix_kept_reply_made_at"), table_name="kept_reply")
    op.drop_table("kept_reply")
    op.drop_table("written")
    with op.batch_alter_table("api_key") as table:
        for column in ("last_used_at", "expires_at", "scopes"):
            table.drop_column(column)
