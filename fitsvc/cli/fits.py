"""`fitsvc fits`: what an audit comes to for a shop, and what of that is new since the last night."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from fitsvc.cli.console import out, paragraph, refuse
from fitsvc.cli.options import FILE, load_rules, open_database, rules_option

if TYPE_CHECKING:
    from fitsvc.rulebook.rules import Rulebook


@click.command()
@click.argument("audit", metavar="AUDIT", type=FILE, help="The folder of a finished `fitsvc audit`.")
@click.option("--output", "-o", metavar="DIR", type=FILE, help="A folder for the tables.")
@click.option("--against", metavar="DIR", type=FILE, help="An earlier audit: what changed since is told too.")
@click.option(
    "--format",
    type=click.Choice(["parquet", "csv"]),
    default="parquet",
    show_default=True,
    help="How the fits and changes are written.",
)
@click.option("--store", metavar="URL", help="Put the fits into this database too, such as `sqlite:///fitsvc.db`.")
@rules_option
def fits(
    audit: Path, output: Path | None, against: Path | None, format: str, store: str | None, rules: Path | None
) -> None:
    """Write what fits which vehicle, and what to measure."""
    if output is None and store is None:
        refuse("nothing says where the fits go", "give `-o DIR` for tables, `--store URL` for a database, or both")
    if output is None and against is not None:
        refuse(
            "`--against` writes a table of changes",
            "give `-o DIR` too; in a database each row says since when it is so",
        )
    rulebook = load_rules(rules)
    if output is not None:
        _write(audit, rulebook, output, against, format)
    if store is not None:
        _put(audit, rulebook, store)


def _write(audit: Path, rulebook: "Rulebook", output: Path, against: Path | None, format: str) -> None:
    from fitsvc.audits.fits import HOLES, write_fits
    from fitsvc.audits.layout import number, told

    console = out()
    found = write_fits(audit, rulebook, output, format, against)
    counts = ", ".join(f"{number(count)} {status}" for status, count in found.rows.items())
    paragraph(console, f"{counts}: {output / f'fits.{format}'}")
    if found.changes is not None:
        paragraph(console, f"{told(found.changes, 'changes')}: {output / f'changes.{format}'}", sign="·", indent=2)
    words = f"{told(found.holes, 'holes')}, where no item of a kind is known to fit: {output / HOLES}"
    paragraph(console, words, sign="·", indent=2)


def _put(audit: Path, rulebook: "Rulebook", store: str) -> None:
    from fitsvc.audits.fits_put import put_fits_of
    from fitsvc.audits.layout import number, told

    with open_database(store) as database, database.session() as session:
        found = put_fits_of(session, audit, rulebook)
        kept = f"{number(found.rows)} rows kept in {database.shown_url}"
    paragraph(out(), f"{kept}, {told(found.changed, 'pairs')} otherwise since {found.since}")
