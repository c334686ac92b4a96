"""`fitsvc answer`: one question, answered for people or as JSON."""

import sys
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fitsvc.cli.console import out, refuse
from fitsvc.cli.options import (
    FILE,
    database_option,
    facts_option,
    load_rules,
    open_with_rules,
    read_as_of,
    rules_instead_option,
    units_option,
)
from fitsvc.document import Json
from fitsvc.language.display import System
from fitsvc.language.problems import ProblemsFound

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    from fitsvc.answers.answer import Answer
    from fitsvc.answers.answering import Answerer
    from fitsvc.rulebook.rules import Rulebook
    from fitsvc.store.database import Database


@click.command()
@click.argument(
    "question", metavar="[QUESTION.json]", type=FILE, required=False, help="A question; `-` is standard input."
)
@click.option("--rig", metavar="ID", help="A saved rig, in place of a question.")
@click.option("--accessory", metavar="SKU", help="What is to go on it.")
@click.option("--ball", metavar="SKU", help="The ball on it.")
@click.option("--wiring-adapter", metavar="SKU", help="The wiring adapter between its plug and the socket.")
@click.option("--trailer", metavar="SKU", help="The trailer behind it.")
@facts_option
@units_option
@click.option("--as-of", default=None, metavar="DATE", help="By what had been entered in the database by then.")
@click.option("--all", "show_all", is_flag=True, help="Tell everything, the rules that pass too.")
@click.option("--json", "as_json", is_flag=True, help="Print the answer as the service sends it.")
@database_option
@rules_instead_option
def answer(
    question: Path | None,
    rig: str | None,
    accessory: str | None,
    ball: str | None,
    wiring_adapter: str | None,
    trailer: str | None,
    facts: tuple[str, ...],
    units: System,
    as_of: str | None,
    show_all: bool,
    as_json: bool,
    database: str | None,
    rules: Path | None,
) -> None:
    """Answer a question: will this accessory work on this rig?"""
    from fitsvc.answers.answer import encode
    from fitsvc.answers.answering import Answerer
    from fitsvc.cli.questions import with_facts

    sold = {"accessory": accessory, "ball": ball, "trailer": trailer, "wiring_adapter": wiring_adapter}
    document = _document(question, rig, sold)
    with _asked_of(document, database, rules) as (opened, rulebook):
        answerer = Answerer(rulebook)
        if facts:
            document = with_facts(document, facts, rulebook.vocabulary)
        try:
            found = _ask(answerer, document, units, opened, read_as_of(as_of))
        except ProblemsFound as problems:
            file = str(question) if question and str(question) != "-" else ""
            raise ProblemsFound(replace(problem, file=problem.file or file) for problem in problems.problems) from None
    if as_json:
        sys.stdout.buffer.write(encode(found) + b"\n")
        sys.stdout.buffer.flush()
    else:
        from fitsvc.cli.answer_view import show_answer

        show_answer(out(), found, answerer, everything=show_all)


@contextmanager
def _asked_of(document: Json, database: str | None, rules: Path | None) -> "Iterator[tuple[Database | None, Rulebook]]":
    """The rulebook to ask, and the database, which is opened when it is named or the question names stored records."""
    from fitsvc.answers.parts import refers_to_records

    if database is None and not refers_to_records(document):
        yield None, load_rules(rules)
        return
    with open_with_rules(database, rules) as opened:
        yield opened


def _ask(
    answerer: "Answerer", document: Json, units: System, database: "Database | None", as_of: "datetime | None"
) -> "Answer":
    """The answer to a question; as of a time no remedies are looked for."""
    if database is None:
        return answerer.answer(document, system=units)
    from fitsvc.inventory.shelf import Shop
    from fitsvc.inventory.stored import StoreRecords

    with database.session() as session:
        shop = Shop(answerer.reader)
        if as_of is None:
            return answerer.answer(document, StoreRecords(session, shop.vehicles), units, shop.shelf(session))
        from fitsvc.observing.earlier import EarlierRecords
        from fitsvc.observing.law import laws_of

        earlier = EarlierRecords(session, laws_of(answerer.reader), as_of, shop.vehicles)
        return answerer.answer(document, earlier, units)


def _document(question: Path | None, rig: str | None, sold: dict[str, str | None]) -> Json:
    from fitsvc.cli.questions import question_about, read_question_file

    named = [f"--{name}" for name, value in {"rig": rig, **sold}.items() if value is not None]
    if question is not None:
        if named:
            refuse(f"a question file and {', '.join(f'`{name}`' for name in named)} are both given", "give one of them")
        return read_question_file(question)
    if rig is None:
        refuse(
            "there is no question" if not named else "`--rig` is missing",
            "give a QUESTION.json, `-` for standard input, or `--rig ID --accessory SKU`",
        )
    return question_about(rig, sold)
