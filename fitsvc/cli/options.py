"""Options that several commands share, and what they name, opened."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fitsvc.cli.console import refuse

if TYPE_CHECKING:
    from fitsvc.rulebook.rules import Rulebook
    from fitsvc.store.database import Database

DatabaseUrl = Annotated[
    str | None,
    typer.Option("--database", metavar="URL", show_default=False, envvar="FITSVC_DATABASE_URL",
                 help="The database, such as `sqlite:///fitsvc.db` (the default) or `postgresql://USER@HOST/NAME`."),
]  # fmt: skip
IndexFolder = Annotated[
    Path | None,
    typer.Option("--index", metavar="DIR", show_default=False, envvar="FITSVC_INDEX",
                 help="Where selections' index is kept: beside a SQLite file or in your cache folder, if not said."),
]  # fmt: skip
RulesFolder = Annotated[
    Path | None,
    typer.Option("--rules", metavar="DIR", show_default=False, help="A folder of rules instead of fitsvc's own."),
]


def rules_folder(given: Path | None) -> Path:
    """The folder of rules that was given, or fitsvc's own."""
    if given is None:
        from fitsvc.paths import data_dir

        return data_dir("rules")
    if not given.is_dir():
        what = "is a file" if given.exists() else "does not exist"
        refuse(f"`{given}` {what}", "name the folder that holds `rulebook.yaml`")
    return given


def load_rules(given: Path | None) -> "Rulebook":
    """The rulebook in a folder; ProblemsFound when it is not one."""
    from fitsvc.rulebook.cache import cached_rulebook

    return cached_rulebook(rules_folder(given))


@contextmanager
def open_database(url: str | None) -> Iterator["Database"]:
    """The database, found to be ready, and closed afterwards."""
    from fitsvc.store.database import Database

    database = Database(url)
    try:
        database.check()
        yield database
    finally:
        database.close()
