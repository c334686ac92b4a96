"""What goes to the terminal: colour where a person reads it, plain text elsewhere, problems on standard error."""

import os
import re
import sys
from collections.abc import Iterable
from functools import cache
from textwrap import wrap
from typing import TYPE_CHECKING, Final, NoReturn, TextIO

from fitsvc.language.problems import Problem, ProblemsFound

if TYPE_CHECKING:
    from rich.console import Console

DONE: Final = 0
FAULTS: Final = 1
BAD_INPUT: Final = 2
_WIDEST: Final = 100
_JOINED: Final = "\N{NO-BREAK SPACE}"
_QUANTITY: Final = re.compile(r"(?<=\d) (?=(?:in|ft|mm|cm|m|lb|kg|t|kN|N|deg|ft-lb|N·m)\b|%)|(?<=\d) (?=± )|(?<=±) ")
"""The spaces within a quantity and its tolerance, where no line is broken."""


def out() -> "Console":
    """The console on standard output."""
    return _console(sys.stdout)


def err() -> "Console":
    """The console on standard error."""
    return _console(sys.stderr)


def refuse(message: str, help: str = "") -> NoReturn:
    """End the command: what was given cannot be used."""
    raise ProblemsFound([Problem(message, help)])


def show_problems(problems: Iterable[Problem], console: "Console | None" = None) -> None:
    """Print problems, on standard error unless told otherwise, each with its place and what to do."""
    from rich.text import Text

    console = console or err()
    for problem in problems:
        text = Text()
        if place := _place(problem):
            text.append(f"{place}: ", "bold")
        text.append("error: ", "bold red")
        if problem.pointer:
            text.append(f"{printable(problem.pointer)}: ", "cyan")
        text.append(printable(problem.message))
        if problem.source:
            text.append(f"\n    {printable(problem.source)}", "dim")
            text.append(f"\n    {' ' * (problem.column - 1)}^", "red")
        if problem.help:
            text.append("\n    help: ", "green")
            text.append(printable(problem.help))
        console.print(text, soft_wrap=True)


def paragraph(console: "Console", text: str, *, sign: str = "", colour: str = "", style: str = "",
              indent: int = 0, hang: int = 0) -> None:  # fmt: skip
    """Print a text, wrapped, that hangs behind a sign or label; no line ends in blanks."""
    from rich.text import Text

    hang = max(hang, len(sign) + 1 if sign else 0)
    width = max(console.width - indent - hang, 20)
    joined = _QUANTITY.sub(_JOINED, printable(text))
    lines = [line for part in joined.split("\n") for line in (wrap(part, width, break_on_hyphens=False) or [""])]
    for number, line in enumerate(lines):
        head = Text(" " * indent + (sign if number == 0 else "").ljust(hang), colour)
        console.print(head + Text(line.replace(_JOINED, " "), style) if line else "", soft_wrap=True)


def printable(text: str) -> str:
    """A text without what a terminal would obey instead of showing, and without halves of characters."""
    return "".join(c if c.isprintable() or c == "\n" else "\N{REPLACEMENT CHARACTER}" for c in text)


def one_line(text: str) -> str:
    """A text printable and on one line."""
    return printable(" ".join(text.split()))


def _place(problem: Problem) -> str:
    parts = [printable(problem.file), *(str(number) for number in (problem.line, problem.column) if number)]
    return ":".join(part for part in parts if part)


@cache
def _console(stream: TextIO) -> "Console":
    from rich.console import Console

    plain = bool(os.environ.get("NO_COLOR")) or not stream.isatty()
    console = Console(file=stream, no_color=plain, highlight=False, emoji=False, markup=False,
                      force_terminal=False if plain else None)  # fmt: skip
    if console.width > _WIDEST or not stream.isatty():
        console.width = _WIDEST if stream.isatty() else _width()
    return console


def _width() -> int:
    columns = os.environ.get("COLUMNS", "")
    return min(max(int(columns), 40), 200) if columns.isascii() and columns.isdigit() else 80
