"""`fitsvc answer`: one question, answered for people or as JSON."""

import sys
from dataclasses import replace
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fitsvc.cli.console import out, refuse
from fitsvc.cli.options import DatabaseUrl, RulesFolder, load_rules, open_database
from fitsvc.language.problems import ProblemsFound

if TYPE_CHECKING:
    from fitsvc.answers.answer import Answer
    from fitsvc.answers.answering import Answerer


class Units(StrEnum):
    """How quantities are shown."""

    us = "us"
    metric = "metric"


def answer(
    question: Annotated[
        Path | None,
        typer.Argument(metavar="QUESTION.json", show_default=False, help="A question; `-` is standard input."),
    ] = None,
    rig: Annotated[str | None, typer.Option(metavar="ID", help="A saved rig, in place of a question.")] = None,
    accessory: Annotated[str | None, typer.Option(metavar="SKU", help="What is to go on it.")] = None,
    ball: Annotated[str | None, typer.Option(metavar="SKU", help="The ball on it.")] = None,
    trailer: Annotated[str | None, typer.Option(metavar="SKU", help="The trailer behind it.")] = None,
    facts: Annotated[
        list[str] | None,
        typer.Option(
            "--fact",
            "-f",
            metavar="SUBJECT.FACT=VALUE",
            show_default=False,
            help="A further fact, such as `load.bikes=3`; as often as there are facts.",
        ),
    ] = None,
    units: Annotated[Units, typer.Option(help="Show quantities in these units.")] = Units.us,
    show_all: Annotated[bool, typer.Option("--all", help="Tell everything, the rules that pass too.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the answer as the service sends it.")] = False,
    database: DatabaseUrl = None,
    rules: RulesFolder = None,
) -> None:
    """Answer a question: will this accessory work on this rig?"""
    from fitsvc.answers.answer import encode
    from fitsvc.answers.answering import Answerer
    from fitsvc.cli.questions import with_facts

    document = _document(question, rig, {"accessory": accessory, "ball": ball, "trailer": trailer})
    answerer = Answerer(load_rules(rules))
    if facts:
        document = with_facts(document, facts, answerer.rulebook.vocabulary)
    try:
        found = ask(answerer, document, units.value, database)
    except ProblemsFound as problems:
        file = str(question) if question and str(question) != "-" else ""
        raise ProblemsFound(replace(problem, file=problem.file or file) for problem in problems.problems) from None
    if as_json:
        sys.stdout.buffer.write(encode(found) + b"\n")
        sys.stdout.buffer.flush()
    else:
        from fitsvc.cli.answer_view import show_answer

        show_answer(out(), found, answerer, everything=show_all)


def ask(answerer: "Answerer", document: Any, units: Any, database: str | None) -> "Answer":
    """The answer to a question; the database is opened when it is named or the question names stored records."""
    from fitsvc.answers.question import refers_to_records

    if database is None and not refers_to_records(document):
        return answerer.answer(document, system=units)
    from fitsvc.inventory.shelf import Shop
    from fitsvc.inventory.stored import StoreRecords

    with open_database(database) as opened, opened.session() as session:
        shop = Shop(answerer.reader)
        shelf = shop.shelf(session)
        return answerer.answer(document, StoreRecords(session, shop.vehicles), units, shelf)


def _document(question: Path | None, rig: str | None, sold: dict[str, str | None]) -> Any:
    from fitsvc.cli.questions import question_about, read_question_file

    named = [f"--{name}" for name, value in {"rig": rig, **sold}.items() if value is not None]
    if question is not None:
        if named:
            refuse(f"a question file and {', '.join(f'`{name}`' for name in named)} are both given", "give one of them")
        return read_question_file(question)
    if rig is None:
        refuse("there is no question" if not named else "`--rig` is missing",
               "give a QUESTION.json, `-` for standard input, or `--rig ID --accessory SKU`")  # fmt: skip
    return question_about(rig, sold)
