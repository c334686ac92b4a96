"""`fitsvc serve`: the REST service."""

from typing import Annotated

import typer

from fitsvc.cli.options import DatabaseUrl


def serve(
    host: Annotated[str, typer.Option(help="The address to listen on.")] = "127.0.0.1",
    port: Annotated[int, typer.Option(min=0, max=65535, help="The port to listen on.")] = 8000,
    database: DatabaseUrl = None,
) -> None:
    """Serve the REST interface and its pages over HTTP."""
    from fitsvc.service.serving import serve as run

    run(host, port, database)
