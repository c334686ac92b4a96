"""A record as a file holds it, with its place, whatever the file's format."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from typing import Final

from fitsvc.document import Document, Json
from fitsvc.language.problems import Problem

Place = Callable[[str, str, str], Problem]
"""Makes a problem of a pointer inside the record, a message and a help, at its place in the file."""

SHOWN: Final = 60
INSTANT: Final = "write `2026-05-09`, or `2026-05-09T14:30:00Z` with its zone"
"""How an instant is written in files."""


@dataclass(frozen=True, slots=True)
class Row:
    """One record: the same keys in every format, and how to name a place inside it."""

    document: Document
    place: Place
    line: int


def quoted(text: object) -> str:
    """A value of a file in backticks, on one line, printable and not too long."""
    whole = str(text)
    shown = whole if len(whole) <= SHOWN else whole[:SHOWN] + "…"
    return "`" + "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in " ".join(shown.split())) + "`"


def read_instant(at: Json) -> datetime | None:
    """A date, which is its midnight in UTC, or an instant with its zone; None for anything else."""
    try:
        if len(at) == len("2026-05-09"):
            return datetime.combine(date.fromisoformat(at), time(), UTC)
        found = datetime.fromisoformat(at)
    except (TypeError, ValueError):
        return None
    return found if found.tzinfo is not None else None


def field_of(pointer: str) -> str:
    """A pointer as people read it: `/facts/weight/tolerance` is `weight, tolerance`."""
    parts = [part.replace("~1", "/").replace("~0", "~") for part in pointer.split("/")[1:]]
    if parts and parts[0] in ("facts", "assumed") and len(parts) > 1:
        parts = parts[1:]
    return ", ".join(parts)
