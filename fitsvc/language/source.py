"""A piece of rule text that knows where in its file it stands."""

from collections.abc import Callable
from dataclasses import dataclass

from fitsvc.language.problems import Problem


@dataclass(frozen=True, slots=True)
class Source:
    """The text of one expression and how to place a problem at an offset of it."""

    text: str
    problem_at: Callable[[int, str, str], Problem]

    @staticmethod
    def plain(text: str, file: str = "expression") -> "Source":
        """A source that is a text of its own, not part of a file."""

        def problem_at(offset: int, message: str, help: str = "") -> Problem:
            before = text[:offset]
            line = before.count("\n") + 1
            column = offset - (before.rfind("\n") + 1) + 1
            lines = text.split("\n")
            return Problem(message, help, file=file, line=line, column=column, source=lines[line - 1][:200])

        return Source(text, problem_at)
