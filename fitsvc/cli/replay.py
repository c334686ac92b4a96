"""`fitsvc replay`: recorded answers, given again."""

import tempfile
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from fitsvc.cli.console import FAULTS, out, refuse
from fitsvc.cli.options import FILE, database_option, load_rules, open_database, rules_option

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fitsvc.service.recording import RecordedAnswer
    from fitsvc.service.replaying import Replaying
    from fitsvc.store.database import Database

_MOST_SHOWN: Final = 20
_MASKED: Final = "kept without some facts, and not to be asked again"


@click.command()
@click.argument(
    "files", metavar="FILE...", type=FILE, nargs=-1, required=True, help="Files of `serve --record`; FILE:LINE for one."
)
@rules_option
@database_option
def replay(files: tuple[Path, ...], rules: Path | None, database: str | None) -> None:
    """Answer recorded questions again.

    The same bytes come of it, or what differs is told, and by which rule.

    Each by the rulebook that it was answered by, found by its digest, or all by a folder of rules. Ends with 1 where
    anything differs.
    """
    counts = Counter[str]()
    with tempfile.TemporaryDirectory() as below, open_database(database) as opened:
        known = _Known(opened, rules, Path(below))
        for place, line in _lines(files):
            by = known.by(line.rulebook) if line else None
            if line is None or line.masked or by is None:
                counts[_why_not(line)] += 1
                continue
            found = by.replay(line)
            counts[found.same] += 1
            if found.differences and counts["differs"] <= _MOST_SHOWN:
                out().print(f"{place}: " + "; ".join(found.differences))
    out().print(f"{counts.total()} recorded answers: {', '.join(f'{count} {how}' for how, count in counts.items())}")
    if counts.total() > sum(count for how, count in counts.items() if how.startswith("same") or how == _MASKED):
        raise click.exceptions.Exit(FAULTS)


def _why_not(line: "RecordedAnswer | None") -> str:
    """Why a line is not asked again."""
    if line is None:
        return "cut off"
    return _MASKED if line.masked else "by a rulebook that is not here"


class _Known:
    """The rulebooks that lines are answered by, each made when the first is; None for one that is not to be had."""

    def __init__(self, database: "Database", rules: Path | None, below: Path) -> None:
        self._database, self._below = database, below
        self._found: dict[str, Replaying | None] = {}
        own = load_rules(rules)
        self._folder, self._own = rules, own

    def by(self, digest: str) -> "Replaying | None":
        """What answers by a rulebook."""
        name = self._own.digest if self._folder else digest
        if name not in self._found:
            self._found[name] = self._make(name)
        return self._found[name]

    def _make(self, digest: str) -> "Replaying | None":
        from fitsvc.answers.answering import Answerer
        from fitsvc.service.published import Published
        from fitsvc.service.replaying import Replaying
        from fitsvc.store.errors import NotFound

        if digest == self._own.digest:
            return Replaying(self._database, Answerer(self._own), self._below)
        try:
            found = Published(self._database, self._below).load(digest)
        except NotFound:
            return None
        return Replaying(self._database, found.answerer, self._below) if found else None


@click.command()
@click.argument("files", metavar="FILE...", type=FILE, nargs=-1, required=True, help="Files of `serve --record`.")
@click.option("--to", metavar="DIR", type=FILE, required=True, help="A folder, in which each day has one of its own.")
def recorded(files: tuple[Path, ...], to: Path) -> None:
    """Write recorded answers as tables (Parquet).

    In a folder for each day, with what was asked, the outcome, and which rules fail or are open. Files that are written
    again replace themselves.
    """
    from fitsvc.service.recorded import write_tables

    count = cut = 0
    to.mkdir(mode=0o700, parents=True, exist_ok=True)
    for file in files:
        try:
            found = write_tables(file, to)
        except OSError as error:
            refuse(
                f"`{file}` cannot be written as a table: {(error.strerror or '').lower()}", "name files that are there"
            )
        count, cut = count + found[0], cut + found[1]
    out().print(f"{count} recorded answers in {to}" + (f"; {cut} lines cut off" if cut else ""))


def _lines(files: tuple[Path, ...]) -> "Iterator[tuple[str, RecordedAnswer | None]]":
    """Each line with its place, or the one that is named."""
    from fitsvc.service.recorded import read_recorded

    for file in files:
        path, _, number = str(file).rpartition(":")
        is_one = bool(path) and number.isdecimal() and not file.exists()
        try:
            for place, line in read_recorded(Path(path) if is_one else file):
                if not is_one or place.endswith(f":{number}"):
                    yield place, line
        except OSError as error:
            refuse(f"`{file}` cannot be read: {(error.strerror or '').lower()}", "name files of `serve --record DIR`")
