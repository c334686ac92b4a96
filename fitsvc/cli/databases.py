"""`fitsvc db`: the database's tables."""

import click

from fitsvc.cli.console import out
from fitsvc.cli.options import Commands, database_option


@click.group(cls=Commands)
def db() -> None:
    """Look after the database."""


@db.command()
@database_option
def upgrade(database: str | None) -> None:
    """Create the tables, or bring them up to date. Repeating it does no harm."""
    from fitsvc.store.database import Database, is_current
    from fitsvc.store.database import upgrade as bring_up_to_date

    opened = Database(database)
    opened.close()
    was_current = is_current(database)
    bring_up_to_date(database)
    state = "is up to date" if was_current else "is now up to date"
    out().print(f"the database {opened.shown_url} {state}")
