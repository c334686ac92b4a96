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
@click.option(
    "--trusted-host",
    metavar="NAME",
    multiple=True,
    help="A name the service goes by; repeat it. On the loopback address only its own names, else any.",
)
@click.option(
    "--allow-origin",
    metavar="ORIGIN",
    multiple=True,
    help="A site whose pages may ask from a browser, such as https://shop.example; repeat it, or `*` for any.",
)
@click.option(
    "--requests",
    metavar="COUNT",
    type=click.IntRange(1),
    default=256,
    show_default=True,
    help="How many requests may be inside at a time; more are answered 503 at once.",
)
@click.option(
    "--keep-alive",
    metavar="SECONDS",
    type=click.IntRange(1),
    default=75,
    show_default=True,
    help="How long an idle connection is kept: longer than a balancer before it does.",
)
@click.option(
    "--body-seconds",
    metavar="SECONDS",
    type=click.IntRange(1),
    default=30,
    show_default=True,
    help="How long a body may take, and then 10 kB a second.",
)
@click.option(
    "--shop", metavar="NAME", default="", envvar="FITSVC_SHOP", show_envvar=True, help="The shop's name on the pages."
)
@click.option(
    "--shop-heading",
    metavar="LINE",
    default="",
    envvar="FITSVC_SHOP_HEADING",
    show_envvar=True,
    help="The line below the name on sheets: street, telephone.",
)
@click.option(
    "--public-address",
    metavar="URL",
    default="",
    envvar="FITSVC_PUBLIC_ADDRESS",
    show_envvar=True,
    help="The address that customers reach the pages by, for the links and the QR code on sheets.",
)
def serve(
    host: str,
    port: int,
    database: str | None,
    audits: Path | None,
    audit_mb: int,
    index: Path | None,
    trusted_host: tuple[str, ...],
    allow_origin: tuple[str, ...],
    requests: int,
    keep_alive: int,
    body_seconds: int,
    shop: str,
    shop_heading: str,
    public_address: str,
) -> None:
    """Serve the REST interface and its pages over HTTP."""
    from fitsvc.service.serving import serve as run
    from fitsvc.service.settings import Operator, Settings

    settings = Settings(
        hosts=tuple(name.lower() for name in trusted_host),
        origins=allow_origin,
        inside=requests,
        keep_alive=keep_alive,
        body_seconds=body_seconds,
        operator=Operator(name=shop, heading=shop_heading, address=public_address.rstrip("/")),
    )
    run(host, port, database, audits=audits, audit_bytes=audit_mb * 1_000_000, index=index, settings=settings)
