"""Records, observations, saved rigs and keys."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def _key() -> sa.types.TypeEngine[str]:
    return sa.String(80).with_variant(sa.String(80, collation="C"), "postgresql")


def _time(name: str, *, nullable: bool = False) -> sa.Column[object]:
    return sa.Column(name, sa.DateTime(timezone=True), nullable=nullable)


def _create_record(name: str, key: str, *more: sa.Column[str] | sa.Constraint) -> None:
    op.create_table(
        name,
        sa.Column(key, _key(), nullable=False),
        sa.Column("label", sa.String(200), nullable=False),
        sa.Column("facts", sa.JSON(), nullable=False),
        sa.Column("provenance", sa.JSON(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        _time("created_at"),
        _time("updated_at"),
        *more,
        sa.PrimaryKeyConstraint(key, name=op.f(f"pk_{name}")),
    )


def _reference(table: str, column: str, to: str, **options: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint([column], [f"{to}.id"], name=op.f(f"fk_{table}_{column}_{to}"), **options)


def upgrade() -> None:
    _create_record("vehicle", "id")
    _create_record("receiver", "id")
    _create_record(
        "mounting",
        "id",
        sa.Column("vehicle_id", _key(), nullable=False),
        sa.Column("receiver_id", _key(), nullable=False),
        _reference("mounting", "vehicle_id", "vehicle"),
        _reference("mounting", "receiver_id", "receiver"),
    )
    op.create_index(op.f("ix_mounting_vehicle_id"), "mounting", ["vehicle_id"])
    op.create_index(op.f("ix_mounting_receiver_id"), "mounting", ["receiver_id"])
    _create_record("accessory", "sku", sa.Column("subject", sa.String(20), nullable=False))
    op.create_index(op.f("ix_accessory_subject_sku"), "accessory", ["subject", "sku"])
    _create_observation()
    _create_saved_rig()
    op.create_table(
        "api_key",
        sa.Column("id", _key(), nullable=False),
        sa.Column("name", sa.String(120), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        _time("created_at"),
        _time("revoked_at", nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_api_key")),
    )


def _create_observation() -> None:
    op.create_table(
        "observation",
        sa.Column("sequence", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("id", _key(), nullable=False),
        sa.Column("subject", sa.String(20), nullable=False),
        sa.Column("record_id", _key(), nullable=False),
        sa.Column("facts", sa.JSON(), nullable=False),
        sa.Column("kind", sa.String(20), nullable=False),
        sa.Column("by", sa.String(120), nullable=False),
        _time("at"),
        sa.Column("note", sa.String(2000), nullable=False),
        _time("recorded_at"),
        sa.PrimaryKeyConstraint("sequence", name=op.f("pk_observation")),
        sa.UniqueConstraint("id", name=op.f("uq_observation_id")),
    )
    op.create_index(
        op.f("ix_observation_subject_record_id_sequence"), "observation", ["subject", "record_id", "sequence"]
    )


def _create_saved_rig() -> None:
    op.create_table(
        "saved_rig",
        sa.Column("id", _key(), nullable=False),
        sa.Column("name", sa.String(200), nullable=False),
        sa.Column("document", sa.JSON(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        _time("created_at"),
        _time("updated_at"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_saved_rig")),
    )
    op.create_table(
        "rig_part",
        sa.Column("rig_id", _key(), nullable=False),
        sa.Column("subject", sa.String(20), nullable=False),
        sa.Column("record_id", _key(), nullable=False),
        _reference("rig_part", "rig_id", "saved_rig", ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("rig_id", "subject", "record_id", name=op.f("pk_rig_part")),
    )
    op.create_index(op.f("ix_rig_part_subject_record_id"), "rig_part", ["subject", "record_id"])


def downgrade() -> None:
    for table in (
        "api_key",
        "rig_part",
        "saved_rig",
        "observation",
        "accessory",
        "mounting",
        "receiver",
        "vehicle",
    ):
        op.drop_table(table)
