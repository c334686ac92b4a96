"""`fitsvc intake`: a supplier's file looked at, its mapping drafted and kept, and the catalogue written anew."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from fitsvc.cli.console import FAULTS, out, paragraph
from fitsvc.cli.options import FILE, load_rules, rules_option

if TYPE_CHECKING:
    from fitsvc.audits.drafting import DraftedColumn
    from fitsvc.audits.intake import TakenIn


@click.command()
@click.argument("file", metavar="FILE", type=FILE, help="What the supplier sent: a text of cells, a workbook, Parquet.")
@click.option("--supplier", metavar="NAME", required=True, help="By what its mapping is kept.")
@click.option(
    "--into", metavar="DIR", type=FILE, default=Path("suppliers"), show_default=True, help="Where mappings are kept."
)
@click.option("--output", "-o", metavar="DIR", type=FILE, help="A folder for the catalogue written anew, with remarks.")
@click.option("--strict", is_flag=True, help="End with 1 when something drifted, or is asked.")
@rules_option
def intake(file: Path, supplier: str, into: Path, output: Path | None, strict: bool, rules: Path | None) -> None:
    """Draft what a supplier's columns are.

    Once that is kept, it tells what drifted.
    """
    from fitsvc.audits.cleaned import REMARKS, write_cleaned
    from fitsvc.audits.intake import mapping_of, take_in
    from fitsvc.audits.layout import told
    from fitsvc.facts import FactReader

    reader = FactReader(load_rules(rules))
    taken = take_in(file, reader, into, supplier)
    asked = _show(taken, mapping_of(into, supplier))
    if output is not None:
        made = write_cleaned(file, reader, taken.mapping, output)
        rows, cells = told(made.bad_rows, "rows"), told(made.bad_cells, "cells")
        words = f"{told(made.items, 'items')} written; {rows} and {cells} could not be read: {output / REMARKS}"
        paragraph(out(), words)
        if made.left_out:
            paragraph(out(), f"{told(made.left_out, 'rows')} look like no item and are left out", sign="?", indent=2)
        if made.held_back:
            paragraph(
                out(), f"{told(made.held_back, 'items')} cannot be loaded before that is mended", sign="?", indent=2
            )
    if strict and (taken.drifted or asked):
        raise click.exceptions.Exit(FAULTS)


def _show(taken: "TakenIn", kept: Path) -> int:
    """Tell what was found; how much is asked."""
    console, asked = out(), 0
    if taken.words:
        paragraph(console, f"Written as: {', '.join(taken.words)}")
    for one in taken.columns:
        if one.taken is not None:
            paragraph(console, _read(one), sign="·", indent=2)
        elif one.question:
            asked += 1
            paragraph(console, f"`{one.title}`: {one.question}", sign="?", indent=2)
    if left := [one.title for one in taken.columns if one.taken is None and not one.question]:
        paragraph(console, f"Not read: {', '.join(left)}", sign="·", indent=2)
    for words in taken.drifted:
        paragraph(console, f"Drifted: {words}", sign="?", indent=2)
    paragraph(console, f"{'Drafted' if taken.is_new else 'Read by'}: {kept}")
    return asked


def _read(one: "DraftedColumn") -> str:
    """What a column is taken for, how much of it reads, and what does not."""
    assert one.taken is not None
    unit = f" [{one.taken.unit}]" if one.taken.unit else ""
    unit += ", which the file does not say: its bare figures are sizes in that alone" if one.found_out else ""
    more = ", decimals by comma" if one.taken.decimal == "," else ""
    more += ", round sizes" if one.taken.nominal else ""
    odd = ", ".join(f"`{cell}`" for cell, _ in one.odd)
    words = f"`{one.title}` is {one.taken.name}{unit}{more}: {one.share:.0%} of {one.cells:,} cells read"
    return f"{words}; not {odd}" if odd else words
