"""Runs migrations on the connection that fitsvc.store.database prepares."""

from alembic import context
from sqlmodel import SQLModel

from fitsvc.store import tables  # noqa: F401  (declares the tables)
from fitsvc.store.database import migration_connection

with migration_connection(context.config.attributes["url"]) as connection:
    context.configure(
        connection=connection,
        target_metadata=SQLModel.metadata,
        render_as_batch=True,
        compare_type=True,
        transactional_ddl=True,
    )
    with context.begin_transaction():
        context.run_migrations()
