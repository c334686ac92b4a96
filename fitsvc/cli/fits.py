"""`fitsvc fits`: what an audit comes to for a shop, and what of that is new since the last night."""

from pathlib import Path

import click

from fitsvc.cli.console import out, paragraph
from fitsvc.cli.options import FILE, load_rules, rules_option


@click.command()
@click.argument("audit", metavar="AUDIT", type=FILE, help="The folder of a finished `fitsvc audit`.")
@click.option("--output", "-o", metavar="DIR", type=FILE, required=True, help="A folder for the tables.")
@click.option("--against", metavar="DIR", type=FILE, help="An earlier audit: what changed since is told too.")
@click.option(
    "--format",
    type=click.Choice(["parquet", "csv"]),
    default="parquet",
    show_default=True,
    help="How the fits and changes are written.",
)
@rules_option
def fits(audit: Path, output: Path, against: Path | None, format: str, rules: Path | None) -> None:
    """Write what fits which vehicle, and what to measure."""
    from fitsvc.audits.fits import HOLES, write_fits
    from fitsvc.audits.layout import number, told

    rulebook, console = load_rules(rules), out()
    found = write_fits(audit, rulebook, output, format, against)
    counts = ", ".join(f"{number(count)} {status}" for status, count in found.rows.items())
    paragraph(console, f"{counts}: {output / f'fits.{format}'}")
    if found.changes is not None:
        paragraph(console, f"{told(found.changes, 'changes')}: {output / f'changes.{format}'}", sign="·", indent=2)
    words = f"{told(found.holes, 'holes')}, where no item of a kind is known to fit: {output / HOLES}"
    paragraph(console, words, sign="·", indent=2)
