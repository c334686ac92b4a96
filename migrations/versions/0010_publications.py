"""Rulebooks that were published, and a log of which is in force from when on."""

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None


def _key() -> sa.types.TypeEngine[str]:
    return sa.String(80).with_variant(sa.String(80, collation="C"), "postgresql")


def upgrade() -> None:
    op.create_table(
        "publication",
        sa.Column("digest", _key(), nullable=False),
        sa.Column("name", sa.String(200), nullable=False),
        sa.Column("files", sa.JSON(), nullable=False),
        sa.Column("by", sa.String(120), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("digest", name=op.f("pk_publication")),
    )
    op.create_table(
        "activation",
        sa.Column("sequence", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("digest", _key(), nullable=False),
        sa.Column("holds_from", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by", sa.String(120), nullable=False),
        sa.Column("because", sa.String(2000), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["digest"], ["publication.digest"], name=op.f("fk_activation_digest_publication")),
        sa.PrimaryKeyConstraint("sequence", name=op.f("pk_activation")),
    )
    op.create_index(op.f("ix_activation_holds_from"), "activation", ["holds_from"])


def downgrade() -> None:
    op.drop_table("activation")
    op.drop_table("publication")
