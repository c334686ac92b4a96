"""The tables of the store."""

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any, Literal

from sqlalchemy import JSON, BigInteger, Column, DateTime, Index, Integer, String, Table, Text
from sqlalchemy.engine import Dialect
from sqlalchemy.types import TypeDecorator, TypeEngine
from sqlmodel import Field, SQLModel

from fitsvc.document import Document
from fitsvc.subjects import LONGEST_KEY, Subject

# Batch migrations on SQLite drop constraints by name, so every constraint needs one.
SQLModel.metadata.naming_convention = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}

Kind = Literal["published", "read", "measured", "tried", "assumed"]
"""How a fact is known: told by a maker, read off the part itself, measured on it, tried with it, or guessed."""

Act = Literal["", "retracts", "corrects", "settles", "replaces", "deletes"]
"""What an observation does to earlier ones beside telling something."""


LABEL, KEY, NAME, NOTE, PHOTO, ADDRESS = 200, LONGEST_KEY, 120, 2000, 500, 500
"""Longest texts, in characters."""


class Utc(TypeDecorator[datetime]):
    """An instant: stored in UTC, and aware on every database."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Turn an aware instant to UTC; a naive one is a programming mistake, and raises ValueError."""
        if value is not None and value.tzinfo is None:
            raise ValueError("an instant without time zone cannot be stored")
        return value and value.astimezone(UTC)

    def process_result_value(self, value: Any | None, dialect: Dialect) -> datetime | None:
        """Give SQLite's naive UTC instants their zone back."""
        if value is None or not isinstance(value, datetime):
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


def key_type() -> TypeEngine[str]:
    """Return the type of ids and SKUs, ordered by code point on both databases."""
    return String(KEY).with_variant(String(KEY, collation="C"), "postgresql")


def now() -> datetime:
    """Return this instant, in UTC."""
    return datetime.now(UTC)


class ToldOf(SQLModel):
    """What something may be told of: facts and provenance are what its observations fold to, kept for those who ask."""

    facts: Document = Field(default_factory=dict, sa_type=JSON)
    provenance: dict[str, Document] = Field(default_factory=dict, sa_type=JSON)
    version: int = 1
    created_at: datetime = Field(default_factory=now, sa_type=Utc)
    updated_at: datetime = Field(default_factory=now, sa_type=Utc)

    @property
    def key(self) -> str:
        """The id, or an accessory's SKU."""
        return str(getattr(self, key_name(type(self))))


class Record(ToldOf):
    """What every record has beside what is known of it."""

    label: str = Field(default="", max_length=LABEL)


class Vehicle(Record, table=True):
    """One vehicle configuration."""

    id: str = Field(primary_key=True, sa_type=key_type())


class Receiver(Record, table=True):
    """A receiver hitch as a part."""

    id: str = Field(primary_key=True, sa_type=key_type())


class Mounting(Record, table=True):
    """A receiver as it sits on one vehicle."""

    id: str = Field(primary_key=True, sa_type=key_type())
    vehicle_id: str = Field(sa_type=key_type(), foreign_key="vehicle.id", index=True)
    receiver_id: str = Field(sa_type=key_type(), foreign_key="receiver.id", index=True)


class Accessory(Record, table=True):
    """Anything sold under a SKU: an accessory, an adapter, a ball or a trailer."""

    __table_args__ = (Index(None, "subject", "sku"),)

    sku: str = Field(primary_key=True, sa_type=key_type())
    subject: str = Field(default="accessory", max_length=20)


class Observation(SQLModel, table=True):
    """A batch of facts told or measured at one time, as they were said; never changed once written.

    `evidence` is what was tried. `takes_back` names earlier observations of the record, by fact or as a whole, and
    `act` says to what end, with a `reason`. `written_by` is the name of the key that it came in by, `source` the
    feed. `ground` is what the facts told lean on, as it was then; `tried` the SKU of an accessory that was tried.
    """

    __table_args__ = (Index(None, "subject", "record_id", "sequence"),)

    sequence: int | None = Field(default=None, primary_key=True, sa_type=BigInteger().with_variant(Integer, "sqlite"))
    id: str = Field(sa_type=key_type(), unique=True)
    subject: str = Field(max_length=20)
    record_id: str = Field(sa_type=key_type())
    facts: Document = Field(sa_type=JSON)
    kind: str = Field(max_length=20)
    by: str = Field(default="", max_length=NAME)
    at: datetime = Field(default_factory=now, sa_type=Utc)
    note: str = Field(default="", max_length=NOTE)
    recorded_at: datetime = Field(default_factory=now, sa_type=Utc)
    evidence: Document | None = Field(default=None, sa_column=Column(JSON(none_as_null=True), nullable=True))
    written_by: str = Field(default="", max_length=NAME)
    tool: str = Field(default="", max_length=NAME)
    condition: str = Field(default="", max_length=NOTE)
    photo: str = Field(default="", max_length=PHOTO)
    source: str = Field(default="", max_length=NAME)
    act: str = Field(default="", max_length=20)
    reason: str = Field(default="", max_length=NOTE)
    takes_back: dict[str, list[str]] | None = Field(
        default=None, sa_column=Column(JSON(none_as_null=True), nullable=True)
    )
    ground: Document | None = Field(default=None, sa_column=Column(JSON(none_as_null=True), nullable=True))
    tried: str | None = Field(default=None, sa_type=key_type(), index=True)


class SavedRig(ToldOf, table=True):
    """A rig kept under a name; its document is the `rig` object of a question.

    Its facts, by their whole names, are what was told of this very one, over what its records say.
    """

    __tablename__ = "saved_rig"

    id: str = Field(primary_key=True, sa_type=key_type())
    name: str = Field(max_length=LABEL)
    document: Document = Field(sa_type=JSON)


class RigPart(SQLModel, table=True):
    """A stored record that a saved rig names, so that it is not deleted under the rig."""

    __tablename__ = "rig_part"
    __table_args__ = (Index(None, "subject", "record_id"),)

    rig_id: str = Field(primary_key=True, sa_type=key_type(), foreign_key="saved_rig.id", ondelete="CASCADE")
    subject: str = Field(primary_key=True, max_length=20)
    record_id: str = Field(primary_key=True, sa_type=key_type())


class ApiKey(SQLModel, table=True):
    """A key that may call the service; only the hash of its secret is kept.

    `scopes` are what it may do, with commas between; `last_used_at` is true to the hour.
    """

    __tablename__ = "api_key"

    id: str = Field(primary_key=True, sa_type=key_type())
    name: str = Field(max_length=NAME)
    sha256: str = Field(max_length=64)
    created_at: datetime = Field(default_factory=now, sa_type=Utc)
    revoked_at: datetime | None = Field(default=None, sa_type=Utc)
    scopes: str = Field(max_length=NAME)
    expires_at: datetime | None = Field(default=None, sa_type=Utc)
    last_used_at: datetime | None = Field(default=None, sa_type=Utc)


class Written(SQLModel, table=True):
    """A line of the log of writes: who did what to which thing, what it was before and what it is after."""

    sequence: int | None = Field(default=None, primary_key=True, sa_type=BigInteger().with_variant(Integer, "sqlite"))
    at: datetime = Field(default_factory=now, sa_type=Utc)
    by: str = Field(max_length=NAME)
    request: str = Field(default="", max_length=KEY)
    act: str = Field(max_length=20)
    kind: str = Field(max_length=20)
    key: str = Field(max_length=KEY)
    before: Document | None = Field(default=None, sa_column=Column(JSON(none_as_null=True), nullable=True))
    after: Document | None = Field(default=None, sa_column=Column(JSON(none_as_null=True), nullable=True))


class KeptReply(SQLModel, table=True):
    """The reply to a request that came with an idempotency key (`token`); `request` is a digest of the request."""

    __tablename__ = "kept_reply"

    by: str = Field(primary_key=True, max_length=NAME)
    token: str = Field(primary_key=True, max_length=NAME)
    request: str = Field(max_length=64)
    status: int
    headers: Document = Field(sa_type=JSON)
    body: str = Field(sa_type=Text)
    made_at: datetime = Field(default_factory=now, sa_type=Utc, index=True)


class Webhook(SQLModel, table=True):
    """An address that is told what changed: the `revision` it has been told up to, and by which rulebook.

    `attempts` are those since it last took anything, the last of them up to the revision `tried` and ended by
    `failure`; the next is due at `due_at`. Until `held_until` one server is at it, and no other.
    """

    address: str = Field(primary_key=True, max_length=ADDRESS)
    revision: int = Field(sa_type=BigInteger)
    rulebook: str = Field(max_length=KEY)
    told_at: datetime | None = Field(default=None, sa_type=Utc, nullable=True)
    tried: int = Field(default=0, sa_type=BigInteger)
    attempts: int = 0
    due_at: datetime = Field(default_factory=now, sa_type=Utc)
    failure: str = Field(default="", max_length=LABEL)
    held_until: datetime | None = Field(default=None, sa_type=Utc, nullable=True)


class Remark(SQLModel, table=True):
    """What somebody holds against a rule: the question, what the rule came to in its answer, and why that is wrong.

    `digest` is the rulebook's that answered; `written_by` the name of the key that it came in by. Once it is closed,
    by whoever keeps the rules, it says what came of it.
    """

    id: str = Field(primary_key=True, sa_type=key_type())
    rule: str = Field(max_length=KEY)
    question: Document | None = Field(default=None, sa_column=Column(JSON(none_as_null=True), nullable=True))
    outcome: str = Field(default="", max_length=20)
    result: str = Field(default="", max_length=20)
    reason: str = Field(default="", max_length=NOTE)
    text: str = Field(max_length=NOTE)
    by: str = Field(default="", max_length=NAME)
    written_by: str = Field(default="", max_length=NAME)
    digest: str = Field(default="", max_length=KEY)
    made_at: datetime = Field(default_factory=now, sa_type=Utc)
    closed_at: datetime | None = Field(default=None, sa_type=Utc, nullable=True)
    closed_by: str = Field(default="", max_length=NAME)
    closed_because: str = Field(default="", max_length=NOTE)


class Publication(SQLModel, table=True):
    """A rulebook as it was published: its files by their paths, whole in one row and never changed.

    `signatures` are of them, by the public halves of the keys that made them.
    """

    digest: str = Field(primary_key=True, sa_type=key_type())
    name: str = Field(max_length=LABEL)
    files: dict[str, str] = Field(sa_type=JSON)
    signatures: dict[str, str] = Field(default_factory=dict, sa_type=JSON, sa_column_kwargs={"server_default": "{}"})
    by: str = Field(max_length=NAME)
    at: datetime = Field(default_factory=now, sa_type=Utc)


class Activation(SQLModel, table=True):
    """A line of the log of what is in force, only ever added to: a published rulebook, and from when on it holds.

    In force is the one that holds from the latest time that has come; of two from the same time the later line.
    """

    sequence: int | None = Field(default=None, primary_key=True, sa_type=BigInteger().with_variant(Integer, "sqlite"))
    digest: str = Field(sa_type=key_type(), foreign_key="publication.digest")
    holds_from: datetime = Field(sa_type=Utc, index=True)
    by: str = Field(max_length=NAME)
    because: str = Field(default="", max_length=NOTE)
    at: datetime = Field(default_factory=now, sa_type=Utc)


class Pull(SQLModel, table=True):
    """How far a shop has come with what a source of releases offers, and whose turn it is to look there.

    `tag` and `modified` are by what the last that was taken is known again, `digest` and `made_at` its rulebook and
    when it was let out; `failure` says what was wrong since then, in `attempts` looks in a row.
    """

    source: str = Field(primary_key=True, max_length=ADDRESS)
    tag: str = Field(default="", max_length=LABEL)
    modified: str = Field(default="", max_length=KEY)
    digest: str = Field(default="", max_length=KEY)
    made_at: datetime | None = Field(default=None, sa_type=Utc, nullable=True)
    taken_at: datetime | None = Field(default=None, sa_type=Utc, nullable=True)
    looked_at: datetime | None = Field(default=None, sa_type=Utc, nullable=True)
    attempts: int = 0
    failure: str = Field(default="", max_length=NOTE)
    due_at: datetime = Field(default_factory=now, sa_type=Utc)
    held_until: datetime | None = Field(default=None, sa_type=Utc, nullable=True)


class StoredFit(SQLModel, table=True):
    """What a supplier's last audit came to for one item on one rig, as a shop sells by it.

    `status` holds since the day `since`, with what the item may be loaded with (`at_most` of it in all, at most `times`
    of at most `each`; empty where nothing is told), and was found on `audited_on`, by the rulebook of that digest; what
    once fitted and does no more stays with a status that says so. `delivery` tells one audit from another. No rig or
    vehicle need be stored: an audit may have had others. It is what held then, and no answer.
    """

    __tablename__ = "fit"

    supplier: str = Field(primary_key=True, max_length=NAME)
    sku: str = Field(primary_key=True, sa_type=key_type(), index=True)
    rig: str = Field(primary_key=True, sa_type=key_type())
    vehicle: str = Field(sa_type=key_type(), index=True)
    name: str = Field(max_length=LABEL)
    status: str = Field(max_length=30)
    because: str = Field(sa_type=Text)
    at_most: str = Field(default="", max_length=30)
    times: str = Field(default="", max_length=30)
    each: str = Field(default="", max_length=30)
    since: str = Field(max_length=10)
    audited_on: str = Field(max_length=10)
    rulebook: str = Field(sa_type=key_type())
    delivery: str = Field(max_length=64)


class Schedule(SQLModel, table=True):
    """An audit of a supplier's file every day at a time of day of a place.

    `file`, and `claims` where there are such, are paths below the operator's folder of deliveries; `at` is `HH:MM` in
    the time zone `zone`. Whoever made it is `created_by`, and was spoken to in `language`. The next run is due at
    `due_at`: whoever moves that on makes the run, and nobody else.
    """

    id: str = Field(primary_key=True, sa_type=key_type())
    supplier: str = Field(max_length=NAME)
    file: str = Field(max_length=ADDRESS)
    claims: str = Field(default="", max_length=ADDRESS)
    at: str = Field(max_length=5)
    zone: str = Field(max_length=KEY)
    language: str = Field(default="en", max_length=KEY)
    created_by: str = Field(max_length=NAME)
    created_at: datetime = Field(default_factory=now, sa_type=Utc)
    due_at: datetime = Field(sa_type=Utc, index=True)


class ScheduledRun(SQLModel, table=True):
    """One run of a schedule: why it was made, how far it is, and once it has ended all that is told of it.

    It was `due_at` then, and so many times as `missed` passed before a server was there to make it. `asked_by` is who
    had it run out of time. `audit` is the id of the audit that it made, and `told` what was told of it.
    """

    __tablename__ = "scheduled_run"
    __table_args__ = (Index(None, "schedule_id", "sequence"),)

    sequence: int | None = Field(default=None, primary_key=True, sa_type=BigInteger().with_variant(Integer, "sqlite"))
    schedule_id: str = Field(sa_type=key_type(), foreign_key="schedule.id", ondelete="CASCADE")
    due_at: datetime = Field(sa_type=Utc)
    missed: int = 0
    asked_by: str = Field(default="", max_length=NAME)
    state: str = Field(max_length=20, index=True)
    audit: str = Field(default="", max_length=KEY)
    made_at: datetime = Field(default_factory=now, sa_type=Utc)
    ended_at: datetime | None = Field(default=None, sa_type=Utc, nullable=True)
    told: Document | None = Field(default=None, sa_column=Column(JSON(none_as_null=True), nullable=True))


class Notice(SQLModel, table=True):
    """That an address is to be told what a run came to, made in the transaction that ended it.

    `attempts` have failed so far, the last with `failure`, and the next is due at `due_at`, until it was `told_at`.
    Until `held_until` one server is at it, and no other.
    """

    run: int = Field(
        sa_type=BigInteger().with_variant(Integer, "sqlite"),
        primary_key=True,
        foreign_key="scheduled_run.sequence",
        ondelete="CASCADE",
    )
    address: str = Field(primary_key=True, max_length=ADDRESS)
    attempts: int = 0
    due_at: datetime = Field(default_factory=now, sa_type=Utc)
    failure: str = Field(default="", max_length=LABEL)
    told_at: datetime | None = Field(default=None, sa_type=Utc, nullable=True)
    held_until: datetime | None = Field(default=None, sa_type=Utc, nullable=True)


TABLES: Mapping[Subject, type[Record]] = {
    "vehicle": Vehicle,
    "receiver": Receiver,
    "mounting": Mounting,
    "accessory": Accessory,
}


def key_name(table: type[SQLModel]) -> str:
    """Return the name of a record's primary key column."""
    return "sku" if table is Accessory else "id"


def columns_of(table: type[SQLModel]) -> Table:
    """Return a table as its columns, for statements that make no object of a row."""
    return SQLModel.metadata.tables[str(table.__tablename__)]
