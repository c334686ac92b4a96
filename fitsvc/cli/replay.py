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


@click.command()
@click.argument("files", metavar="FILE...", type=FILE, nargs=-1, required=True, help="Files of `serve --record`.")
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
            if line is None or by is None:
                counts["cut off" if line is None else "by a rulebook that is not here"] += 1
                continue
            found = by.replay(line)
            counts[found.same] += 1
            if found.differences and counts["differs"] <= _MOST_SHOWN:
                out().print(f"{place}: " + "; ".join(found.differences))
    out().print(f"{counts.total()} recorded answers: {', '.join(f'{count} {how}' for how, count in counts.items())}")
    if counts.total() > sum(count for how, count in counts.items() if how.startswith("same")):
        raise click.exceptions.Exit(FAULTS)


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


def _lines(files: tuple[Path, ...]) -> "Iterator[tuple[str, RecordedAnswer | None]]":
    """Each line with its place; None for one that is no record, as the last may be of a server that was killed."""
    import msgspec

    from fitsvc.service.recording import RecordedAnswer

    for file in files:
        try:
            with file.open("rb") as stream:
                for number, line in enumerate(stream, 1):
                    try:
                        yield f"{file.name}:{number}", msgspec.json.decode(line, type=RecordedAnswer)
                    except msgspec.MsgspecError:
                        yield f"{file.name}:{number}", None
        except OSError as error:
            refuse(f"`{file}` cannot be read: {(error.strerror or '').lower()}", "name files of `serve --record DIR`")
