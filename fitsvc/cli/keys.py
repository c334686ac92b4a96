"""`fitsvc key`: the keys that may call the service."""

import click

from fitsvc.cli.console import err, one_line, out
from fitsvc.cli.options import Commands, database_option, open_database


@click.group(cls=Commands)
def key() -> None:
    """Make, list and revoke the keys that may call the service."""


@key.command()
@click.argument("name", help="Whose key it is, as you will know it in the list.")
@database_option
def create(name: str, database: str | None) -> None:
    """Make a key and print it, this once: only its hash is kept."""
    from fitsvc.store.api_keys import create_key

    with open_database(database) as opened, opened.session() as session:
        plain, record = create_key(session, name)
        key_id = record.id
    print(plain)
    err().print(f"made `{key_id}` for {one_line(name)}; keep the key safe, it is not shown again")


@key.command("list")
@database_option
def show(database: str | None) -> None:
    """List the keys, oldest first."""
    from fitsvc.store.api_keys import list_keys

    with open_database(database) as opened, opened.session() as session:
        keys = [(key.id, key.created_at, key.revoked_at, key.name) for key in list_keys(session)]
    for key_id, made, revoked, name in keys:
        state = f"revoked {revoked:%Y-%m-%d}" if revoked else "in use"
        out().print(f"{key_id}  made {made:%Y-%m-%d}  {state:<18}  {one_line(name)}")
    if not keys:
        err().print("there are no keys; `fitsvc key create NAME` makes one")


@key.command()
@click.argument("id", metavar="ID", help="The key's id, as `fitsvc key list` shows it.")
@database_option
def revoke(id: str, database: str | None) -> None:
    """End a key's use, for good."""
    from fitsvc.store.api_keys import revoke_key

    with open_database(database) as opened, opened.session() as session:
        name = revoke_key(session, id).name
    err().print(f"revoked `{one_line(id)}` of {one_line(name)}")
