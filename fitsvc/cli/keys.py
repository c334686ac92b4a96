"""`fitsvc key`: the keys that may call the service."""

from datetime import timedelta

import click

from fitsvc.cli.console import err, one_line, out
from fitsvc.cli.options import Commands, database_option, in_the_shell, open_database


@click.group(cls=Commands)
def key() -> None:
    """Make, rotate, list and revoke keys to the service."""


@key.command()
@click.argument("name", help="Whose key it is, as you will know it in the list.")
@click.option("--may", "scopes", metavar="SCOPE", multiple=True, help="What it may do; repeat it. All, if not said.")
@click.option("--days", type=click.IntRange(1), help="How many days it can be used; for good, if not said.")
@database_option
def create(name: str, scopes: tuple[str, ...], days: int | None, database: str | None) -> None:
    """Make a key and print it, this once: only its hash is kept."""
    from fitsvc.store.api_keys import SCOPES, create_key
    from fitsvc.store.tables import now
    from fitsvc.store.written import log_write

    until = None if days is None else now() + timedelta(days=days)
    with open_database(database) as opened, opened.session() as session:
        plain, record = create_key(session, name, scopes or SCOPES, until)
        log_write(session, in_the_shell(), "makes key", "key", record.id, after={"name": name, "may": record.scopes})
        key_id = record.id
    print(plain)
    err().print(f"made `{key_id}` for {one_line(name)}; keep the key safe, it is not shown again")


@key.command()
@click.argument("id", metavar="ID", help="The key's id, as `fitsvc key list` shows it.")
@click.option(
    "--overlap-days", type=click.IntRange(0), default=7, show_default=True, help="How long the old one works."
)
@database_option
def rotate(id: str, overlap_days: int, database: str | None) -> None:
    """Make a key in place of another.

    It may do what the other may, which ends some days later. It is printed, this once.
    """
    from fitsvc.store.api_keys import rotate_key
    from fitsvc.store.written import log_write

    with open_database(database) as opened, opened.session() as session:
        plain, record = rotate_key(session, id, timedelta(days=overlap_days))
        log_write(session, in_the_shell(), "rotates key", "key", id, after={"id": record.id, "may": record.scopes})
        key_id = record.id
    print(plain)
    err().print(f"made `{key_id}` in place of `{one_line(id)}`, which ends in {overlap_days} days")


@key.command("list")
@database_option
def show(database: str | None) -> None:
    """List the keys, oldest first.

    With what each may do, and when it was used last.
    """
    from fitsvc.store.api_keys import list_keys
    from fitsvc.store.tables import now

    with open_database(database) as opened, opened.session() as session:
        keys = list(list_keys(session))
    for one in keys:
        state = "in use"
        if one.revoked_at:
            state = f"revoked {one.revoked_at:%Y-%m-%d}"
        elif one.expires_at:
            state = f"{'ended' if one.expires_at <= now() else 'ends'} {one.expires_at:%Y-%m-%d}"
        used = f"used {one.last_used_at:%Y-%m-%d}" if one.last_used_at else "never used"
        out().print(
            f"{one.id}  made {one.created_at:%Y-%m-%d}  {state:<18}  {used:<15}  {one_line(one.name)}: {one.scopes}"
        )
    if not keys:
        err().print("there are no keys; `fitsvc key create NAME` makes one")


@key.command()
@click.argument("id", metavar="ID", help="The key's id, as `fitsvc key list` shows it.")
@database_option
def revoke(id: str, database: str | None) -> None:
    """End a key's use, for good."""
    from fitsvc.store.api_keys import revoke_key
    from fitsvc.store.written import log_write

    with open_database(database) as opened, opened.session() as session:
        name = revoke_key(session, id).name
        log_write(session, in_the_shell(), "revokes key", "key", id)
    err().print(f"revoked `{one_line(id)}` of {one_line(name)}")
