"""`fitsvc rules release` and `pull`: rulebooks in signed files, for shops that take them without hands."""

import tempfile
from pathlib import Path

import click

from fitsvc.cli.console import one_line, out, refuse
from fitsvc.cli.options import (
    FILE,
    database_option,
    folder_argument,
    open_database,
    read_date,
    rules_folder,
    signed_by_option,
)
from fitsvc.cli.rules_published import signing_key, stop_at


@click.command()
@folder_argument
@click.option("--to", "file", metavar="FILE", type=FILE, required=True, help="The file that is written.")
@click.option(
    "--from", "begins", metavar="DATE", help="From when on it holds, such as 2027-01-01; at once, if not said."
)
@signing_key
def release(folder: Path | None, file: Path, begins: str | None, sign: Path | None) -> None:
    """Write a folder of rules into one signed file.

    For shops that pull it: from a web server, a shared folder or a stick. It is checked, its examples are run, and it
    is signed for what it says and for when it was made.
    """
    from fitsvc.files import written
    from fitsvc.rulebook.dating import frozen, today
    from fitsvc.rulebook.folder import lay_out, texts_of
    from fitsvc.service.publishing import tried
    from fitsvc.service.releases import make_release
    from fitsvc.service.signatures import Signer
    from fitsvc.store.tables import now

    if sign is None:
        refuse("a release must be signed", "name a key: `--sign FILE`, which `fitsvc rules key FILE` makes")
    holds_from, source, signer = read_date(begins), rules_folder(folder), Signer(sign)
    with tempfile.TemporaryDirectory() as below:
        copy = Path(below, source.resolve().name)
        texts = frozen(texts_of(source), today())
        lay_out(texts, copy)  # what is signed is what was tried, whoever writes meanwhile
        rulebook, problems = tried(copy)
    stop_at(problems)
    at = now()
    with written(file) as beside:
        beside.write_bytes(make_release(rulebook.digest, texts, signer, at, holds_from))
    out().print(f"{one_line(rulebook.name)} is in {file}, made at {at:%Y-%m-%d %H:%M:%S} UTC")
    out().print(rulebook.digest)


@click.command()
@click.argument(
    "source",
    metavar="URL|PATH",
    envvar="FITSVC_PULL",
    help="The address or file of a release, or a folder with `rules.release` in it.",
)
@signed_by_option("Take no release")
@database_option
def pull(source: str, signed_by: tuple[str, ...], database: str | None) -> None:
    """Take released rules from elsewhere, and let them be in force.

    They are checked and compared as those that are published here. What is older than what was taken before is refused.
    """
    from fitsvc.service.pulling import pull as take
    from fitsvc.service.pulling import require_keys

    trusted = require_keys(signed_by)
    with open_database(database) as opened:
        found = take(opened, source, trusted)
    if found is None:
        out().print("there is no newer release")
        return
    made, begins = (f"{one:%Y-%m-%d %H:%M:%S} UTC" for one in (found.made_at, found.holds_from))
    out().print(f"{one_line(found.name)}, released at {made}, is in force from {begins} on")
    out().print(found.digest)
