"""`fitsvc serve`: the REST service."""

import os
from pathlib import Path
from typing import Literal

import click

from fitsvc.cli.options import (
    FILE,
    audits_option,
    database_option,
    index_option,
    rules_folder,
    rules_instead_option,
    signed_by_option,
)


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
@rules_instead_option
@signed_by_option("Answer by no published rulebook")
@click.option(
    "--pull",
    metavar="URL|DIR",
    envvar="FITSVC_PULL",
    show_envvar=True,
    help="Pull released rules from an address or a folder, and let them be in force; they are signed by `--signed-by`.",
)
@click.option(
    "--pull-every",
    metavar="SECONDS",
    type=click.IntRange(5, 86_400),
    default=300,
    show_default=True,
    help="How often it is looked whether there are others.",
)
@audits_option
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
    "--public",
    metavar="SCOPE",
    type=click.Choice(("ask", "read", "audit", "none")),
    multiple=True,
    help="What needs no key: `ask`, `read`, `audit` or `none`; repeat it. On the loopback address all, else none.",
)
@click.option(
    "--per-minute",
    metavar="COUNT",
    type=click.IntRange(0),
    default=0,
    show_default=True,
    help="How many requests a key or an address may send in a minute; 0 for any number.",
)
@click.option(
    "--max-age",
    metavar="SECONDS",
    type=click.IntRange(0),
    default=0,
    show_default=True,
    help="How long a cache may keep what fits which rig without asking again.",
)
@click.option(
    "--log",
    type=click.Choice(("text", "json")),
    default="text",
    show_default=True,
    help="How it logs: lines of text, or of JSON with one for each request.",
)
@click.option(
    "--traces",
    is_flag=True,
    help="Tell each request as a span of OpenTelemetry, to where its own OTEL_ variables say; needs `fitsvc[traces]`.",
)
@click.option(
    "--trusted-host",
    metavar="NAME",
    multiple=True,
    help="A name the service goes by; repeat it. On the loopback address only its own names, else any.",
)
@click.option(
    "--trusted-proxy",
    metavar="ADDRESS",
    multiple=True,
    help="A proxy, or a network of them, whose `X-Forwarded-For` tells who asks; repeat it. Of others it is not read.",
)
@click.option(
    "--allow-origin",
    metavar="ORIGIN",
    multiple=True,
    help="A site whose pages may ask from a browser, such as https://shop.example; repeat it, or `*` for any.",
)
@click.option(
    "--webhook",
    metavar="URL",
    multiple=True,
    help="An address that is told what changed; repeat it. Signed by the secrets in FITSVC_WEBHOOK_SECRET.",
)
@click.option(
    "--deliveries",
    metavar="DIR|URL",
    envvar="FITSVC_DELIVERIES",
    show_envvar=True,
    help="Where suppliers' files come in, a folder or a storage: what schedules audit every day is below it.",
)
@click.option(
    "--report-to",
    metavar="URL",
    multiple=True,
    help="Who is told what these audits came to, https://... (signed) or mailto:...; repeat it.",
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
    "--workers",
    metavar="COUNT",
    type=click.IntRange(1, 64),
    default=1,
    show_default=True,
    help="How many processes answer on the one address; no more than there are cores.",
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
    "--record",
    metavar="DIR",
    type=FILE,
    help="Keep every question to the API with its answer there, for `fitsvc replay`. Nothing is kept if not said.",
)
@click.option(
    "--record-share",
    metavar="PERCENT",
    type=click.FloatRange(0, 100, min_open=True),
    default=100,
    show_default=True,
    help="Of how many answers, drawn at random, it is done.",
)
@click.option(
    "--record-without",
    metavar="SUBJECT.FACT",
    multiple=True,
    help="A fact that is not kept, nor words that may tell it; repeat for several.",
)
@click.option(
    "--record-days",
    metavar="DAYS",
    type=click.IntRange(1),
    default=90,
    show_default=True,
    help="After how many days what was kept goes.",
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
    rules: Path | None,
    signed_by: tuple[str, ...],
    pull: str | None,
    pull_every: int,
    audits: Path | None,
    audit_mb: int,
    index: Path | None,
    public: tuple[str, ...],
    per_minute: int,
    max_age: int,
    log: Literal["text", "json"],
    traces: bool,
    trusted_host: tuple[str, ...],
    trusted_proxy: tuple[str, ...],
    allow_origin: tuple[str, ...],
    webhook: tuple[str, ...],
    deliveries: str | None,
    report_to: tuple[str, ...],
    requests: int,
    workers: int,
    keep_alive: int,
    body_seconds: int,
    record: Path | None,
    record_share: float,
    record_without: tuple[str, ...],
    record_days: int,
    shop: str,
    shop_heading: str,
    public_address: str,
) -> None:
    """Serve the REST interface and its pages over HTTP."""
    from datetime import timedelta

    from fitsvc.service.mailing import SENDER_VARIABLE, SERVER_VARIABLE
    from fitsvc.service.pulling import PullFrom
    from fitsvc.service.reporting import read_nightly
    from fitsvc.service.serving import serve as run
    from fitsvc.service.settings import Operator, Settings
    from fitsvc.service.signing import VARIABLE, read_hooks

    secrets, mail_server, sender = (os.environ.get(one, "") for one in (VARIABLE, SERVER_VARIABLE, SENDER_VARIABLE))
    settings = Settings(
        hosts=tuple(name.lower() for name in trusted_host),
        proxies=trusted_proxy,
        origins=allow_origin,
        inside=requests,
        workers=workers,
        keep_alive=keep_alive,
        body_seconds=body_seconds,
        per_minute=per_minute,
        max_age=max_age,
        log=log,
        traces=traces,
        record=record,
        record_share=record_share / 100,
        record_days=record_days,
        record_without=frozenset(record_without),
        hooks=read_hooks(webhook, secrets),
        nightly=read_nightly(deliveries or "", report_to, secrets, mail_server, sender),
        operator=Operator(name=shop, heading=shop_heading, address=public_address.rstrip("/")),
    )
    opened = frozenset(public) - {"none"} if public else None
    audit_bytes = audit_mb * 1_000_000
    run(
        host,
        port,
        database,
        rules=rules and rules_folder(rules),
        audits=audits,
        audit_bytes=audit_bytes,
        index=index,
        settings=settings,
        public=opened,
        signed_by=signed_by,
        pulled=PullFrom(pull, timedelta(seconds=pull_every), signed_by) if pull else None,
    )
