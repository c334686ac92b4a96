"""`fitsvc worklist`: which readings on the yard decide most of the catalogue's answers."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fitsvc.cli.console import one_line, out, paragraph
from fitsvc.cli.options import database_option, index_option, open_with_rules, rules_instead_option

if TYPE_CHECKING:
    from fitsvc.observing.worklist import WorkList


@click.command()
@click.option("--limit", type=click.IntRange(1, 50), default=3, show_default=True, help="How many readings at most.")
@click.option("--json", "as_json", is_flag=True, help="Print the list as the service sends it.")
@database_option
@index_option
@rules_instead_option
def worklist(limit: int, as_json: bool, database: str | None, index: Path | None, rules: Path | None) -> None:
    """Tell which readings on the yard decide most.

    Each mounting is taken as a rig with every accessory stored, without a load.
    """
    import msgspec

    found = _found(limit, database, index, rules)
    if as_json:
        sys.stdout.buffer.write(msgspec.json.encode(found) + b"\n")
    else:
        _show(found)


def _found(limit: int, database: str | None, index: Path | None, rules: Path | None) -> "WorkList":
    from fitsvc.answers.answering import Answerer
    from fitsvc.observing.worklist import waited, work_list
    from fitsvc.selection import files
    from fitsvc.selection.index import SelectionIndex
    from fitsvc.selection.waiting import Waiting

    with open_with_rules(database, rules) as (opened, rulebook):
        answerer = Answerer(rulebook)
        folder = files.IndexFolder(files.index_root(index, opened), opened, answerer.rulebook.digest)
        held = SelectionIndex(answerer, opened, folder=folder).held()
        with opened.session() as session:
            return work_list(session, answerer.reader, waited(session, answerer.reader, Waiting(answerer), held), limit)


def _show(found: "WorkList") -> None:
    console = out()
    for number, one in enumerate(found.readings, 1):
        state = f" ({one.state})" if one.state else ""
        console.print(one_line(f"{number}. {one.record}  {one.name}"), "bold")
        paragraph(console, f"{one.ask} the {one.label}{state}: {one.how}", indent=3)
        on = f"on {one.mountings} mountings" if one.mountings > 1 else "on one mounting"
        paragraph(console, f"decides {one.decides} answers {on}", style="dim", indent=3)
    left = f"{found.undetermined} answers are undetermined on {found.mountings} mountings."
    paragraph(console, left if found.readings else f"{left} No reading at a vehicle decides any of them.", style="bold")
    if found.more:
        paragraph(console, "There are more mountings than are looked at.", sign="!")
