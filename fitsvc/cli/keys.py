"""`fitsvc key`: the keys that may call the service."""

from typing import Annotated

import typer

from fitsvc.cli.console import err, one_line, out
from fitsvc.cli.options import DatabaseUrl, open_database

app = typer.Typer(no_args_is_help=True, help="Make, list and revoke the keys that may call the service.")


@app.command("create")
def create(
    name: Annotated[str, typer.Argument(help="Whose key it is, as you will know it in the list.")],
    database: DatabaseUrl = None,
) -> None:
    """Make a key and print it, this once: only its hash is kept."""
    from fitsvc.store.api_keys import create_key

    with open_database(database) as opened, opened.session() as session:
        plain, record = create_key(session, name)
        key_id = record.id
    print(plain)
    err().print(f"made `{key_id}` for {one_line(name)}; keep the key safe, it is not shown again", soft_wrap=True)


@app.command("list")
def show(database: DatabaseUrl = None) -> None:
    """List the keys, oldest first."""
    from fitsvc.store.api_keys import list_keys

    with open_database(database) as opened, opened.session() as session:
        keys = [(key.id, key.created_at, key.revoked_at, key.name) for key in list_keys(session)]
    for key_id, made, revoked, name in keys:
        state = f"revoked {revoked:%Y-%m-%d}" if revoked else "in use"
        out().print(f"{key_id}  made {made:%Y-%m-%d}  {state:<18}  {one_line(name)}", soft_wrap=True)
    if not keys:
        err().print("there are no keys; `fitsvc key create NAME` makes one")


@app.command("revoke")
def revoke(
    key: Annotated[str, typer.Argument(metavar="ID", help="The key's id, as `fitsvc key list` shows it.")],
    database: DatabaseUrl = None,
) -> None:
    """End a key's use, for good."""
    from fitsvc.store.api_keys import revoke_key

    with open_database(database) as opened, opened.session() as session:
        name = revoke_key(session, key).name
    err().print(f"revoked `{one_line(key)}` of {one_line(name)}", soft_wrap=True)
