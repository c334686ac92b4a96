"""`fitsvc db`: the database's tables."""

from pathlib import Path

import click

from fitsvc.cli.console import out
from fitsvc.cli.options import FILE, Commands, database_option, load_rules, open_with_rules, rules_instead_option


@click.group(cls=Commands)
def db() -> None:
    """Look after the database."""


@db.command()
@database_option
@rules_instead_option
def upgrade(database: str | None, rules: Path | None) -> None:
    """Create the tables, or bring them and what is known up to date. Repeating it does no harm."""
    from fitsvc.facts import FactReader
    from fitsvc.observing.former import rename_stored
    from fitsvc.observing.law import laws_of
    from fitsvc.observing.refolding import refold
    from fitsvc.store.database import is_current
    from fitsvc.store.database import upgrade as bring_up_to_date

    if rules is not None:
        load_rules(rules)  # what is wrong with them is told before anything is changed
    was_current = is_current(database)
    bring_up_to_date(database)
    with open_with_rules(database, rules) as (opened, rulebook):
        reader = FactReader(rulebook)
        folded = refold(opened, laws_of(reader), rename_stored(opened, reader))
    state = "is up to date" if was_current and not folded else "is now up to date"
    told = f"; what is known of {folded} records was folded anew" if folded else ""
    out().print(f"the database {opened.shown_url} {state}{told}")


@db.command()
@click.argument("file", type=FILE)
@database_option
def backup(file: Path, database: str | None) -> None:
    """Copy the database to a new file.

    As it is now, while servers go on with it.
    """
    from fitsvc.store.backups import back_up

    back_up(database, file)
    out().print(f"the database is copied to {file}")


@db.command()
@click.argument("file", type=FILE)
@database_option
def restore(file: Path, database: str | None) -> None:
    """Put a backup in the database's place.

    Where there is none yet, or one without tables.
    """
    from fitsvc.store.backups import restore as put_back

    put_back(database, file)
    out().print("the database is restored; `fitsvc db upgrade` brings one of an earlier version up to date")
