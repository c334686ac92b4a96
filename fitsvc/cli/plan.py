"""`fitsvc plan`: a rig and wishes, planned from the catalogue, for people or as JSON."""

import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fitsvc.cli.console import out
from fitsvc.cli.options import FILE, database_option, open_with_rules, rules_instead_option, units_option
from fitsvc.language.display import System
from fitsvc.language.problems import ProblemsFound

if TYPE_CHECKING:
    from fitsvc.cli.console import Console
    from fitsvc.planning.plan import Plan, PlanSet


@click.command()
@click.argument("wishes", metavar="WISHES.json", type=FILE, help="The wishes; `-` is standard input.")
@units_option
@click.option("--json", "as_json", is_flag=True, help="Print the plan as the service sends it.")
@database_option
@rules_instead_option
def plan(wishes: Path, units: System, as_json: bool, database: str | None, rules: Path | None) -> None:
    """Plan a rig: which parts of the catalogue make every wish work?"""
    from fitsvc.answers.answering import Answerer
    from fitsvc.cli.questions import read_question_file
    from fitsvc.inventory.shelf import Shop
    from fitsvc.inventory.stored import StoreRecords
    from fitsvc.planning.plan import encode
    from fitsvc.planning.planner import Planner

    document = read_question_file(wishes)
    with open_with_rules(database, rules) as (opened, rulebook), opened.session() as session:
        answerer = Answerer(rulebook)
        shop = Shop(answerer.reader)
        shelf = shop.shelf(session)
        records = StoreRecords(session, shop.vehicles)
        try:
            found = Planner(answerer).plan(document, records, shelf, units)
        except ProblemsFound as problems:
            file = "" if str(wishes) == "-" else str(wishes)
            raise ProblemsFound(replace(problem, file=problem.file or file) for problem in problems.problems) from None
    if as_json:
        sys.stdout.buffer.write(encode(found) + b"\n")
        sys.stdout.buffer.flush()
    else:
        _show(out(), found)


def _show(console: "Console", plan: "Plan") -> None:
    """Print a plan: the best set with how each wish comes out, then the next best, then what nearly would do."""
    from fitsvc.cli.console import paragraph

    paragraph(console, plan.summary)
    if plan.best:
        _heading(console, "The parts")
        for part in plan.best.parts:
            text = f"{part.label} ({part.id or part.sku})" + (", already fitted" if part.there else "")
            text += f"; just as well {', '.join(part.others)}" if part.others else ""
            paragraph(console, text, sign="·", indent=2)
        _heading(console, "The wishes")
        for served in plan.best.wishes:
            paragraph(console, f"{served.name}: {served.summary}", sign="·", indent=2)
            for because in (need["because"] for need in served.needs if need["because"] not in served.summary):
                paragraph(console, because, sign="+", colour="cyan", indent=4)
        rests_on = [text for served in plan.best.wishes for text in served.assumed]
        rests_on += [one.because for served in plan.best.wishes for one in served.disputed]
        if rests_on:
            _heading(console, "Rests on what was assumed or is disputed")
            for text in dict.fromkeys(rests_on):
                paragraph(console, text, sign="·", indent=2)
        if plan.best.together:
            _heading(console, "All of it at the same time")
            paragraph(console, plan.best.together.summary, indent=2)
    if plan.runners_up:
        _heading(console, "The next best")
        for one in plan.runners_up:
            paragraph(console, _in_short(one), sign="·", indent=2)
    if plan.misses:
        _heading(console, "What nearly would do")
        for miss in plan.misses:
            parts = f" with {', '.join(miss.parts)}" if miss.parts else ""
            paragraph(console, f"{miss.name}{parts}: {miss.because}", sign="✗", colour="red", indent=2)
        doubts = dict.fromkeys(one.because for miss in plan.misses for one in miss.disputed)
        for because in doubts if not plan.best else ():
            paragraph(console, because, sign="·", indent=2)


def _heading(console: "Console", text: str) -> None:
    console.print()
    console.print(text, "bold")


def _in_short(one: "PlanSet") -> str:
    bought = ", ".join(f"{part.label} ({part.id or part.sku})" for part in one.parts if not part.there)
    count = "1 part" if one.count == 1 else f"{one.count} parts"
    return f"{count}, {one.outcome}, {one.open} to see to: {bought}"
