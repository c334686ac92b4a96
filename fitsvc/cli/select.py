"""`fitsvc select`: which of the store's accessories work on a saved rig, for people or as JSON."""

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from fitsvc.cli.console import one_line, out, paragraph, refuse
from fitsvc.cli.options import (
    database_option,
    facts_option,
    index_option,
    open_with_rules,
    rules_instead_option,
    units_option,
)
from fitsvc.document import Document
from fitsvc.language.display import System
from fitsvc.language.problems import nearest

if TYPE_CHECKING:
    from fitsvc.cli.console import Console
    from fitsvc.selection.query import SelectionQuery
    from fitsvc.selection.segments import Sort
    from fitsvc.selection.selector import Selection, Selector
    from fitsvc.store.database import Database

_SIGNS: Final = {
    "works": ("✓", "green"),
    "conditional": ("!", "yellow"),
    "undetermined": ("?", "magenta"),
    "fails": ("✗", "red"),
}


@click.command()
@click.option("--rig", metavar="ID", required=True, help="The saved rig.")
@click.option("--kind", "kinds", metavar="KIND", multiple=True, help="Only of this kind, or these.")
@click.option(
    "--outcome", "outcomes", type=click.Choice(list(_SIGNS)), multiple=True, help="Only with this outcome, or these."
)
@click.option("--text", metavar="TEXT", default="", help="Only what goes by these words: label, SKU, kind, size.")
@click.option(
    "--where", metavar="FACT=VALUE,...", default="", help="Only with these facts for sure, such as `shank=2 in`."
)
@facts_option
@click.option(
    "--sort",
    type=click.Choice(["sku", "label", "left"]),
    default="sku",
    show_default=True,
    help="What those of the same outcome are ordered by.",
)
@click.option("--limit", type=click.IntRange(1, 1000), default=50, show_default=True, help="How many to show at most.")
@click.option("--after", metavar="NEXT", help="Go on after a page: its `next`.")
@units_option
@click.option("--json", "as_json", is_flag=True, help="Print the page as the service sends it.")
@database_option
@index_option
@rules_instead_option
def select(
    rig: str,
    kinds: tuple[str, ...],
    outcomes: tuple[str, ...],
    text: str,
    where: str,
    facts: tuple[str, ...],
    sort: "Sort",
    limit: int,
    after: str | None,
    units: System,
    as_json: bool,
    database: str | None,
    index: Path | None,
    rules: Path | None,
) -> None:
    """Select accessories: which of those stored work on a rig?"""
    import msgspec

    from fitsvc.answers.answering import Answerer
    from fitsvc.cli.questions import with_facts
    from fitsvc.selection.query import SelectionQuery
    from fitsvc.selection.selector import Selector

    with open_with_rules(database, rules) as (opened, rulebook):
        selector = Selector(Answerer(rulebook))
        _require_kinds(kinds, selector.kinds)
        question = with_facts({"rig": {"id": rig}}, facts, rulebook.vocabulary)
        wanted = SelectionQuery(
            question=question,
            kinds=frozenset(kinds),
            outcomes=frozenset(outcomes),
            text=text,
            sort=sort,
            limit=limit,
            after=after,
            system=units,
            facts=selector.facts(where),
        )
        found = _ask(selector, question, wanted, opened, index)
    if as_json:
        sys.stdout.buffer.write(msgspec.json.encode(found) + b"\n")
        sys.stdout.buffer.flush()
    else:
        _show(out(), found)


def _ask(
    selector: "Selector", question: Document, wanted: "SelectionQuery", opened: "Database", index: Path | None
) -> "Selection":
    from msgspec.structs import replace

    from fitsvc.inventory.shelf import Shop
    from fitsvc.inventory.stored import StoreRecords
    from fitsvc.selection import files
    from fitsvc.selection.index import SelectionIndex
    from fitsvc.selection.selector import read_rig_told

    with opened.session() as session:
        records = StoreRecords(session, Shop(selector.answerer.reader).vehicles)
        rig, disputed = read_rig_told(question, selector.answerer, records)
    folder = files.IndexFolder(files.index_root(index, opened), opened, selector.answerer.rulebook.digest)
    page = selector.select(SelectionIndex(selector.answerer, opened, folder=folder).held(), rig, wanted)
    return replace(page, disputed=disputed)


def _require_kinds(given: Sequence[str], known: Sequence[str]) -> None:
    for kind in given:
        if kind not in known:
            near = nearest(kind, known)
            help = f"did you mean `{near}`?" if near else "it is one of " + ", ".join(f"`{one}`" for one in known)
            refuse(f"`{kind}` is not a kind of accessory", help)


def _show(console: "Console", page: "Selection") -> None:
    """Print the page, then how many come to each outcome, and by what."""
    if page.understood:
        paragraph(console, page.understood)
    for one in page.items:
        sign, colour = _SIGNS[one.outcome]
        paragraph(console, one_line(f"{one.sku}  {one.label}"), sign=sign, colour=colour)
        if one.reason:
            paragraph(console, one.reason, indent=4)
    if page.next:
        left = f"{len(page.items)} of {page.matching} that match; for the following ones: --after {page.next}"
        paragraph(console, left, style="dim")
    of = page.counts.outcomes
    total = f"{of.works} work, {of.conditional} conditional, {of.undetermined} undetermined, {of.fails} fail"
    paragraph(console, f"Of all {page.counts.items}: {total}.", style="bold")
    for decided in page.counts.decided_by:
        sign, colour = _SIGNS[decided.outcome]
        paragraph(console, f"{decided.items} {decided.outcome}: {decided.title}", sign=sign, colour=colour, indent=2)
    for doubt in page.disputed:
        paragraph(console, doubt.because, sign="!")
    if page.counts.unreadable:
        paragraph(console, f"{page.counts.unreadable} have facts that cannot be read and are left out.", sign="!")
