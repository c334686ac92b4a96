"""`fitsvc select`: which of the store's accessories work on a saved rig, for people or as JSON."""

import sys
from collections.abc import Sequence
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer

from fitsvc.cli.answer import Units
from fitsvc.cli.console import one_line, out, paragraph, refuse
from fitsvc.cli.options import DatabaseUrl, IndexFolder, RulesFolder, load_rules, open_database
from fitsvc.language.problems import nearest

if TYPE_CHECKING:
    from rich.console import Console

    from fitsvc.selection.query import Wanted
    from fitsvc.selection.selector import Selection, Selector

_SIGNS: Final = {
    "works": ("✓", "green"), "conditional": ("!", "yellow"), "undetermined": ("?", "magenta"), "fails": ("✗", "red"),
}  # fmt: skip


class Outcomes(StrEnum):
    """What a rig may come to with an accessory."""

    works = "works"
    conditional = "conditional"
    undetermined = "undetermined"
    fails = "fails"


class Sorts(StrEnum):
    """What accessories of the same outcome are ordered by."""

    sku = "sku"
    label = "label"


def select(
    rig: Annotated[str, typer.Option(metavar="ID", help="The saved rig.")],
    kind: Annotated[
        list[str] | None, typer.Option(metavar="KIND", show_default=False, help="Only of this kind, or these.")
    ] = None,
    outcome: Annotated[
        list[Outcomes] | None, typer.Option(show_default=False, help="Only with this outcome, or these.")
    ] = None,
    text: Annotated[str, typer.Option(metavar="TEXT", help="Only with this in label or SKU.")] = "",
    where: Annotated[
        str, typer.Option(metavar="FACT=VALUE,...", help="Only with these facts for sure, such as `shank=2 in`.")
    ] = "",
    facts: Annotated[
        list[str] | None,
        typer.Option("--fact", "-f", metavar="SUBJECT.FACT=VALUE", show_default=False,
                     help="A further fact, such as `load.bikes=3`; as often as there are facts."),
    ] = None,
    sort: Annotated[Sorts, typer.Option(help="What those of the same outcome are ordered by.")] = Sorts.sku,
    limit: Annotated[int, typer.Option(min=1, max=1000, help="How many to show at most.")] = 50,
    after: Annotated[
        str | None, typer.Option(metavar="NEXT", show_default=False, help="Go on after a page: its `next`.")
    ] = None,
    units: Annotated[Units, typer.Option(help="Show quantities in these units.")] = Units.us,
    as_json: Annotated[bool, typer.Option("--json", help="Print the page as the service sends it.")] = False,
    database: DatabaseUrl = None,
    index: IndexFolder = None,
    rules: RulesFolder = None,
) -> None:  # fmt: skip
    """Select accessories: which of those stored work on a rig?"""
    import msgspec

    from fitsvc.answers.answering import Answerer
    from fitsvc.cli.questions import with_facts
    from fitsvc.selection.query import Wanted
    from fitsvc.selection.selector import Selector

    selector = Selector(Answerer(load_rules(rules)))
    _require_kinds(kind or (), selector.kinds)
    question = with_facts({"rig": {"id": rig}}, facts or (), selector.answerer.rulebook.vocabulary)
    wanted = Wanted(
        question=question,
        kinds=frozenset(kind or ()),
        outcomes=frozenset(one.value for one in outcome or ()),
        text=text,
        sort=sort.value,
        limit=limit,
        after=after,
        system=units.value,
        facts=selector.facts(where),
    )
    found = _ask(selector, question, wanted, database, index)
    if as_json:
        sys.stdout.buffer.write(msgspec.json.encode(found) + b"\n")
        sys.stdout.buffer.flush()
    else:
        _show(out(), found)


def _ask(
    selector: "Selector", question: dict[str, Any], wanted: "Wanted", database: str | None, index: Path | None
) -> "Selection":
    from fitsvc.inventory.shelf import Shop
    from fitsvc.inventory.stored import StoreRecords
    from fitsvc.selection import files
    from fitsvc.selection.index import SelectionIndex
    from fitsvc.selection.selector import read_rig

    with open_database(database) as opened:
        with opened.session() as session:
            records = StoreRecords(session, Shop(selector.answerer.reader).vehicles)
            rig = read_rig(question, selector.answerer, records)
        folder = files.IndexFolder(files.index_root(index, opened), opened, selector.answerer.rulebook.digest)
        return selector.select(SelectionIndex(selector.answerer, opened, folder=folder).held(), rig, wanted)


def _require_kinds(given: Sequence[str], known: Sequence[str]) -> None:
    for kind in given:
        if kind not in known:
            near = nearest(kind, known)
            help = f"did you mean `{near}`?" if near else "it is one of " + ", ".join(f"`{one}`" for one in known)
            refuse(f"`{kind}` is not a kind of accessory", help)


def _show(console: "Console", page: "Selection") -> None:
    """Print the page, then how many come to each outcome, and by what."""
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
    if page.counts.unreadable:
        paragraph(console, f"{page.counts.unreadable} have facts that cannot be read and are left out.", sign="!")
