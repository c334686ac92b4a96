"""`fitsvc serve`: the REST service."""

from pathlib import Path

import click

from fitsvc.cli.options import FILE, database_option, index_option


@click.command()
@click.option("--host", metavar="HOST", default="127.0.0.1", show_default=True, help="The address to listen on.")
@click.option(
    "--port",
    metavar="PORT",
    type=click.IntRange(0, 65535),
    default=8000,
    show_default=True,
    help="The port to listen on.",
)
@database_option
@click.option(
    "--audits",
    metavar="DIR",
    type=FILE,
    envvar="FITSVC_AUDITS",
    show_envvar=True,
    show_default="fitsvc-audits",
    help="Where audits are kept; servers that share a database share it too.",
)
@click.option(
    "--audit-mb",
    metavar="MB",
    type=click.IntRange(1),
    default=2000,
    show_default=True,
    help="The largest file that an audit takes.",
)
@index_option
def serve(host: str, port: int, database: str | None, audits: Path | None, audit_mb: int, index: Path | None) -> None:
    """Serve the REST interface and its pages over HTTP."""
    from fitsvc.service.serving import serve as run

    run(host, port, database, audits=audits, audit_bytes=audit_mb * 1_000_000, index=index)
