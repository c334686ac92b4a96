"""Problems an author or caller can act on: what is wrong, where, and what to do instead."""

from collections.abc import Iterable
from dataclasses import KW_ONLY, dataclass, replace
from typing import Final, Literal

_LONGEST_WORD: Final = 200
ProblemKind = Literal[
    "",
    "missing record",
    "other record",
    "several records",
    "implausible",
    "contradiction",
    "unprintable",
    "not given",
    "unknown fact",
    "unknown member",
    "missing member",
    "no unit",
]
OF_STORE: Final = frozenset[ProblemKind]({"missing record", "other record", "several records"})
"""What rests on what is stored now: the same may be well tomorrow, and a document by itself cannot tell."""


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong with an input, with its place and what would be right.

    `meaning` says that the input is well formed, and what it says cannot be (a weight of 900 t); `kind` what is the
    matter, where a program does more about it than show it. What came after a `?` has a `parameter` and no pointer.
    """

    message: str
    help: str = ""
    _: KW_ONLY
    pointer: str = ""
    file: str = ""
    line: int = 0
    column: int = 0
    source: str = ""
    meaning: bool = False
    parameter: str = ""
    kind: ProblemKind = ""

    def at(self, pointer: str) -> "Problem":
        """Return the same problem placed at a JSON pointer, in front of the pointer it has."""
        return replace(self, pointer=pointer + self.pointer)

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}:{self.column}: " if self.line else (f"{self.file}: " if self.file else "")
        lines = [place + (f"{self.pointer}: " if self.pointer and not place else "") + self.message]
        if self.source:
            lines += ["    " + self.source, "    " + " " * (self.column - 1) + "^"]
        if self.help:
            lines.append("    help: " + self.help)
        return "\n".join(lines)


class ProblemsFound(Exception):
    """Raised once per input, with everything that is wrong with it."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(map(str, self.problems)))

    def __reduce__(self) -> tuple[type["ProblemsFound"], tuple[tuple[Problem, ...]]]:
        """Pickle the problems: by itself an exception is made anew of its text, here of each of its letters."""
        return type(self), (self.problems,)


def nearest(word: str, known: Iterable[str], close_by: float = 0.6) -> str | None:
    """Return the known name closest to a word, or None when none is close: 1 would be the same, by difflib's ratio."""
    from difflib import get_close_matches  # loaded for those who err only

    if len(word) > _LONGEST_WORD:
        return None
    close = get_close_matches(word, list(known), n=1, cutoff=close_by)
    return close[0] if close else None
