"""Asking on a terminal what a supplier's columns are: plain questions, each with some of the cells and an answer."""

import sys
from typing import TYPE_CHECKING, Final

import click

from fitsvc.cli.console import one_line, out, paragraph, show_problems

if TYPE_CHECKING:
    from fitsvc.audits.asking import IntakeQuestions, OpenWord
    from fitsvc.audits.drafting import DraftedColumn

_QUIT: Final = "q"
_HOW: Final = (
    "Say what each is: a fact and maybe its unit, such as `weight [lb]`, or `sku`, `fits`, `label`. `ignore` is not "
    "read and not asked again; Enter leaves it open; `? weight` tells the facts of that word; `q` leaves the rest open."
)


class _Ended(Exception):
    """Nobody answers any more."""


def is_terminal() -> bool:
    """Whether somebody can be asked, and sees it."""
    return sys.stdin.isatty() and sys.stdout.isatty()


def ask(questions: "IntakeQuestions") -> None:
    """Ask what is open, and keep each answer as it is given."""
    columns = questions.columns()
    try:
        if columns:
            paragraph(out(), _HOW)
        for one in columns:
            _ask_column(questions, one)
        for word in questions.words():
            _ask_word(questions, word)
    except _Ended:
        paragraph(out(), "What was answered is kept; the rest stays open.")


def _ask_column(questions: "IntakeQuestions", one: "DraftedColumn") -> None:
    from fitsvc.language.problems import ProblemsFound

    cells = ", ".join(f"`{one_line(cell)}`" for cell in questions.samples(one.title))
    paragraph(out(), f"`{one_line(one.title)}`: {one.question or 'what is it?'} It has {cells}")
    while said := _answer("What is it?"):
        if said.startswith("?"):
            facts = questions.known(said[1:])
            words = "; ".join(f"{fact.short} ({fact.label})" for fact in facts) if said[1:].strip() else ""
            paragraph(out(), words or ", ".join(fact.short for fact in facts), indent=2)
        elif said.casefold() == "ignore":
            questions.keep_ignored(one.title)
            return
        else:
            try:
                if _took(questions, one.title, said):
                    return
            except ProblemsFound as found:
                show_problems(found.problems, out())


def _took(questions: "IntakeQuestions", title: str, said: str) -> bool:
    """Take one answer, unless most cells do not read as that and it is thought better of."""
    read = questions.told(title, said)
    if questions.wants_unit(read) and (unit := _answer("Its cells name no unit. Which is it, such as lb, kg, in, mm?")):
        assert read.taken is not None
        read = questions.told(title, f"{read.taken.name} [{unit}]")
    odd = ", ".join(f"`{one_line(cell)}`" for cell, _ in read.odd)
    paragraph(out(), f"{read.share:.0%} of {read.cells:,} cells read{f'; not {odd}' if odd else ''}", indent=2)
    if read.share < 1.0 and _answer("Take it so? [y/n]").casefold() not in ("y", "yes"):
        return False
    questions.keep(read)
    return True


def _ask_word(questions: "IntakeQuestions", word: "OpenWord") -> None:
    from fitsvc.language.problems import ProblemsFound

    cells = "1 cell says" if word.cells == 1 else f"{word.cells:,} cells say"
    paragraph(out(), f"`{one_line(word.title)}`: {cells} `{one_line(word.word)}`. {', '.join(word.members)}")
    while said := _answer("Which of these is it? `none`: there is no such thing; Enter: not known"):
        try:
            questions.keep_word(word, "" if said == "none" and "none" not in word.members else said)
            return
        except ProblemsFound as found:
            show_problems(found.problems, out())


def _answer(question: str) -> str:
    """What is answered; empty where it is left open."""
    click.echo(f"{question} > ", nl=False)
    said = sys.stdin.readline()
    if not said or said.strip() == _QUIT:
        if not said:
            click.echo()
        raise _Ended
    return " ".join(said.split())
