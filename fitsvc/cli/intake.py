"""`fitsvc intake`: a supplier's file looked at, its mapping drafted and kept, and the catalogue written anew."""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fitsvc.cli.console import FAULTS, one_line, out, paragraph, refuse
from fitsvc.cli.options import FILE, load_rules, rules_option
from fitsvc.subjects import plural

if TYPE_CHECKING:
    from fitsvc.audits.drafting import DraftedColumn
    from fitsvc.audits.intake import TakenIn
    from fitsvc.facts import FactReader


@click.command()
@click.argument("file", metavar="FILE", type=FILE, help="What the supplier sent: a text of cells, a workbook, Parquet.")
@click.option("--supplier", metavar="NAME", required=True, help="By what its mapping is kept.")
@click.option(
    "--into", metavar="DIR", type=FILE, default=Path("suppliers"), show_default=True, help="Where mappings are kept."
)
@click.option("--output", "-o", metavar="DIR", type=FILE, help="A folder for the catalogue written anew, with remarks.")
@click.option("--ask/--no-ask", default=None, help="Ask what is open; untold, on a terminal.")
@click.option("--strict", is_flag=True, help="End with 1 when something drifted, or is asked.")
@rules_option
def intake(
    file: Path, supplier: str, into: Path, output: Path | None, ask: bool | None, strict: bool, rules: Path | None
) -> None:
    """Draft what a supplier's columns are.

    What is not known is asked on a terminal and kept with it. Once that is kept, it tells what drifted.
    """
    from fitsvc.audits.asking import asked_of
    from fitsvc.audits.cleaned import CATALOGUE, REMARKS, write_cleaned
    from fitsvc.audits.intake import mapping_of, take_in
    from fitsvc.audits.layout import told
    from fitsvc.facts import FactReader

    reader = FactReader(load_rules(rules))
    taken = take_in(file, reader, into, supplier)
    kept = mapping_of(into, supplier)
    _show(taken, kept)
    taken, asked = _asked(file, reader, taken, kept, ask)
    if output is not None:
        made = write_cleaned(file, reader, taken.mapping, output, asked=asked_of(kept), doubted=taken.doubted)
        rows, cells = told(made.bad_rows, "rows"), told(made.bad_cells, "cells")
        words = f"{told(made.items, 'items')} written; {rows} and {cells} could not be read: {output / REMARKS}"
        paragraph(out(), words)
        if made.left_out:
            paragraph(out(), f"{told(made.left_out, 'rows')} look like no item and are left out", sign="?", indent=2)
        if made.others:
            rows = ", ".join(told(count, plural(subject)) for subject, count in made.others.items())
            words = f"Not written anew: {rows}; `fitsvc audit --mapping {kept}` reads them where they stand"
            paragraph(out(), words, sign="?", indent=2)
        if made.held_back:
            more = ", ..." if made.held_back > len(made.held_first) else ""
            which = f"{', '.join(map(one_line, made.held_first))}{more}"
            words = f"{told(made.held_back, 'items')} cannot be loaded before that is mended, and left out of "
            words += f"{output / CATALOGUE}: {which}; {output / REMARKS} says why beside each"
            paragraph(out(), words, sign="?", indent=2)
        if made.formulas:
            words = f"A spreadsheet takes {told(made.formulas, 'cells')} of {output / CATALOGUE} for formulas: "
            paragraph(out(), f"{words}do not open it in one, it is for `fitsvc load`", sign="?", indent=2)
    if strict and (taken.drifted or asked or taken.asks_sheet):
        raise click.exceptions.Exit(FAULTS)


def _asked(file: Path, reader: "FactReader", taken: "TakenIn", kept: Path, ask: bool | None) -> "tuple[TakenIn, int]":
    """Ask what is open where somebody answers; the mapping as it is then, and how many columns are still open."""
    from fitsvc.audits.asking import IntakeQuestions
    from fitsvc.audits.layout import told
    from fitsvc.cli.intake_asking import ask as ask_them
    from fitsvc.cli.intake_asking import is_terminal

    questions = IntakeQuestions(file, reader, kept, taken.columns)
    if ask and not is_terminal():
        help = f"give the command at a terminal, or answer in {kept}, where what is asked has a `#?`"
        refuse("nobody can be asked: this is no terminal", help)
    if ask is not False and is_terminal():
        ask_them(questions)
        taken = replace(taken, mapping=questions.mapping)
    open_, words = questions.columns(), len(list(questions.words()))
    if taken.is_new and (open_ or words):
        of = [told(len(open_), "columns")] if open_ else []
        of += [told(words, "words")] if words else []
        how = "give the command at a terminal to be asked, or write it there: what is open has a `#?`"
        paragraph(out(), f"{' and '.join(of)} left open: {how}", sign="?", indent=2)
    return taken, len([one for one in open_ if one.question])


def _show(taken: "TakenIn", kept: Path) -> None:
    """Tell what was found."""
    console = out()
    if taken.words:
        paragraph(console, f"Written as: {', '.join(taken.words)}")
    for one in taken.columns:
        if one.taken is not None:
            paragraph(console, _read(one), sign="·", indent=2)
        if one.question:
            paragraph(console, f"`{one.title}`: {one.question}", sign="?", indent=2)
    if left := [one.title for one in taken.columns if one.taken is None and not one.question]:
        paragraph(console, f"Not read: {', '.join(left)}", sign="·", indent=2)
    for words in taken.left:
        paragraph(console, words[:1].upper() + words[1:], sign="?", indent=2)
    if taken.asks_sheet:
        words = f"More than one sheet looks like a list of items: say in {kept} which is read, and take its `#?` away"
        paragraph(console, words, sign="?", indent=2)
    for words in taken.drifted:
        paragraph(console, f"Drifted: {words}", sign="?", indent=2)
    paragraph(console, f"{'Drafted' if taken.is_new else 'Read by'}: {kept}")


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
