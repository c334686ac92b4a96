"""What goes to the terminal: colour where a person reads it, plain text elsewhere, problems on standard error."""

import os
import re
import sys
from collections.abc import Collection, Iterable
from difflib import get_close_matches
from functools import cache
from pathlib import Path
from shutil import get_terminal_size
from textwrap import wrap
from typing import Final, NoReturn, TextIO

import click

from fitsvc.language.problems import Problem, ProblemsFound, nearest

DONE: Final = 0
FAULTS: Final = 1
BAD_INPUT: Final = 2
_WIDEST: Final = 100
_JOINED: Final = "\N{NO-BREAK SPACE}"
_QUANTITY: Final = re.compile(r"(?<=\d) (?=(?:in|ft|mm|cm|m|lb|kg|t|kN|N|deg|ft-lb|N·m)\b|%)|(?<=\d) (?=± )|(?<=±) ")
"""The spaces within a quantity and its tolerance, where no line is broken."""


class Console:
    """A stream that people read, with the width at which paragraphs are wrapped; coloured on a terminal."""

    def __init__(self, stream: TextIO) -> None:
        self.stream, self.is_terminal = stream, stream.isatty()
        self._coloured = self.is_terminal and not os.environ.get("NO_COLOR")
        self.width = min(get_terminal_size().columns, _WIDEST) if self.is_terminal else _width()

    def print(self, text: str = "", style: str = "") -> None:
        """Print lines as they are."""
        click.echo(self.styled(text, style), self.stream, color=self._coloured)

    def styled(self, text: str, style: str) -> str:
        """A text in a style such as `bold red`."""
        if not style or not text:
            return text
        words = set(style.split())
        colour = next(iter(words - {"bold", "dim"}), None)
        return click.style(text, colour, bold="bold" in words or None, dim="dim" in words or None)


def out() -> Console:
    """The console on standard output."""
    return _console(sys.stdout)


def err() -> Console:
    """The console on standard error."""
    return _console(sys.stderr)


def refuse(message: str, help: str = "") -> NoReturn:
    """End the command: what was given cannot be used."""
    raise ProblemsFound([Problem(message, help)])


def help_for(wanted: str, known: Collection[str]) -> str:
    """What to write instead of a name that nothing has: the nearest, some that look like it, or where a folder goes."""
    if Path(wanted).is_dir():
        return f"`{wanted}` is a folder: name it behind `--rules`"
    near = nearest(wanted, known)
    if near:
        return f"did you mean `{near}`?"
    some = ", ".join(f"`{name}`" for name in looking_like(wanted, known))
    return f"of {len(known)} the nearest are {some}"


def looking_like(wanted: str, known: Iterable[str]) -> list[str]:
    """The few names that have the word in them, then those that look like it."""
    within = [name for name in sorted(known) if wanted in name]
    return list(dict.fromkeys([*within, *get_close_matches(wanted[:100], sorted(known), n=5, cutoff=0.0)]))[:5]


def show_problems(problems: Iterable[Problem], console: Console | None = None, *, as_cautions: bool = False) -> None:
    """Print problems, on standard error unless told otherwise, each with its place and what to do.

    As cautions they are what is no error and hardly meant.
    """
    console = console or err()
    for problem in problems:
        parts = [(f"{place}: ", "bold")] if (place := _place(problem)) else []
        parts.append(("caution: ", "bold yellow") if as_cautions else ("error: ", "bold red"))
        parts += [(f"{printable(problem.pointer)}: ", "cyan")] if problem.pointer else []
        parts.append((printable(problem.message), ""))
        if problem.source:
            caret = f"\n    {' ' * (problem.column - 1)}^"
            parts += [(f"\n    {printable(problem.source)}", "dim"), (caret, "red")]
        if problem.help:
            parts += [("\n    help: ", "green"), (printable(problem.help), "")]
        console.print("".join(console.styled(*part) for part in parts))


def paragraph(
    console: Console, text: str, *, sign: str = "", colour: str = "", style: str = "", indent: int = 0, hang: int = 0
) -> None:
    """Print a text, wrapped, that hangs behind a sign or label; no line ends in blanks."""
    hang = max(hang, len(sign) + 1 if sign else 0)
    width = max(console.width - indent - hang, 20)
    joined = _QUANTITY.sub(_JOINED, printable(text))
    lines = [line for part in joined.split("\n") for line in (wrap(part, width, break_on_hyphens=False) or [""])]
    for number, line in enumerate(lines):
        head = " " * indent + (sign if number == 0 else "").ljust(hang)
        console.print(console.styled(head, colour) + console.styled(line.replace(_JOINED, " "), style) if line else "")


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
def _console(stream: TextIO) -> Console:
    return Console(stream)


def _width() -> int:
    columns = os.environ.get("COLUMNS", "")
    return min(max(int(columns), 40), 200) if columns.isascii() and columns.isdigit() else 80
