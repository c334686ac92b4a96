"""`fitsvc serve`: the REST service."""

from pathlib import Path
from typing import Annotated

import typer

from fitsvc.cli.options import DatabaseUrl, IndexFolder


def serve(
    host: Annotated[str, typer.Option(help="The address to listen on.")] = "127.0.0.1",
    port: Annotated[int, typer.Option(min=0, max=65535, help="The port to listen on.")] = 8000,
    database: DatabaseUrl = None,
    audits: Annotated[
        Path | None,
        typer.Option(metavar="DIR", show_default="fitsvc-audits", envvar="FITSVC_AUDITS",
                     help="Where audits are kept; servers that share a database share it too."),
    ] = None,
    audit_mb: Annotated[
        int, typer.Option("--audit-mb", metavar="MB", min=1, help="The largest file that an audit takes.")
    ] = 2000,
    index: IndexFolder = None,
) -> None:  # fmt: skip
    """Serve the REST interface and its pages over HTTP."""
    from fitsvc.service.serving import serve as run

    run(host, port, database, audits=audits, audit_bytes=audit_mb * 1_000_000, index=index)
