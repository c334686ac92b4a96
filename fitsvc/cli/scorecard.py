"""`fitsvc scorecard`: suppliers beside each other, and how each became so, over all audits that are kept."""

from pathlib import Path

import click

from fitsvc.cli.console import out, paragraph
from fitsvc.cli.options import FILE


@click.command()
@click.argument("audits", metavar="FOLDER", type=FILE, help="The folder in which the folders of audits are.")
@click.option("--output", "-o", metavar="FILE", type=FILE, required=True, help="The page.")
@click.option(
    "--keep",
    metavar="COUNT",
    type=click.IntRange(1),
    help="Let go of the pairs of all but the last so many audits of each supplier; their figures stay.",
)
def scorecard(audits: Path, output: Path, keep: int | None) -> None:
    """Write a page of suppliers by their deliveries."""
    from fitsvc.audits.layout import told
    from fitsvc.audits.scorecard import let_go, page_of, read_deliveries, told_of
    from fitsvc.files import write_text

    deliveries = read_deliveries(audits)
    write_text(output, page_of(deliveries))
    paragraph(out(), f"{told_of(deliveries)}: {output}")
    if keep is not None:
        words = f"The pairs of {told(let_go(deliveries, keep), 'audits')} were let go of"
        paragraph(out(), words, sign="·", indent=2)
