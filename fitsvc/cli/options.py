"""Options that several commands share, and what they name, opened."""

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Final, TypeVar, get_args

import click

from fitsvc.cli.console import err, refuse
from fitsvc.language.display import System
from fitsvc.language.problems import nearest
from fitsvc.paths import RULES_VARIABLE

if TYPE_CHECKING:
    from datetime import datetime

    from fitsvc.rulebook.rules import Rulebook
    from fitsvc.store.database import Database
    from fitsvc.store.written import Write

_Decorated = TypeVar("_Decorated", bound=Callable[..., object])

FILE: Final = click.Path(path_type=Path)
"""The type of an option that names a file or folder; whether it is there is looked at where it is used."""

SIGNED_BY_VARIABLE: Final = "FITSVC_SIGNED_BY"
"""The environment's keys of which one must have signed what is published, a blank between them."""

database_option = click.option(
    "--database",
    metavar="URL",
    envvar="FITSVC_DATABASE_URL",
    show_envvar=True,
    help="The database, such as `sqlite:///fitsvc.db` (the default) or `postgresql://USER@HOST/NAME`.",
)
index_option = click.option(
    "--index",
    metavar="DIR",
    type=FILE,
    envvar="FITSVC_INDEX",
    show_envvar=True,
    help="Where selections' index is kept: beside a SQLite file or in your cache folder, if not said.",
)
audits_option = click.option(
    "--audits",
    metavar="DIR",
    type=FILE,
    envvar="FITSVC_AUDITS",
    show_envvar=True,
    show_default="fitsvc-audits",
    help="Where a service keeps audits, and mappings beside them; servers that share a database share it too.",
)


def _rules_option(help: str) -> Callable[[_Decorated], _Decorated]:
    return click.option("--rules", metavar="DIR", type=FILE, envvar=RULES_VARIABLE, show_envvar=True, help=help)


rules_option = _rules_option("A folder of rules instead of fitsvc's own.")
rules_instead_option = _rules_option(
    "A folder of rules, instead of those in force in the database, or fitsvc's own where none are."
)
folder_argument = click.argument(
    "folder",
    metavar="[DIR]",
    type=FILE,
    required=False,
    envvar=RULES_VARIABLE,
    help="A folder of rules; fitsvc's own when left out.",
)
units_option = click.option(
    "--units",
    type=click.Choice(get_args(System)),
    default="us",
    show_default=True,
    help="Show quantities in these units.",
)
facts_option = click.option(
    "--fact",
    "-f",
    "facts",
    metavar="SUBJECT.FACT=VALUE",
    multiple=True,
    help="A further fact, such as `load.bikes=3`; as often as there are facts.",
)


def read_as_of(text: str | None) -> "datetime | None":
    """The instant that `--as-of` names, if it was given; refused where it is yet to come, as over HTTP."""
    found = read_date(text)
    if found is None:
        return None
    from fitsvc.store.observations import AHEAD
    from fitsvc.store.tables import now

    if found > now() + AHEAD:
        refuse(f"`{text}` of `--as-of` is yet to come", "leave it out for what is known now")
    return found


def read_date(text: str | None) -> "datetime | None":
    """The instant that a date names, past or to come, if one was given."""
    if text is None:
        return None
    from fitsvc.loading.rows import INSTANT, read_instant

    found = read_instant(text)
    if found is None:
        refuse(f"`{text}` is not a date", INSTANT)
    return found


class Commands(click.Group):
    """A group of commands, listed in the order in which they were added; a near miss is told what may be meant."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Their names."""
        return list(self.commands)

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """The command that is named first."""
        name = args[0]
        if self.get_command(ctx, name) is None and not name.startswith("-"):
            known = self.list_commands(ctx)
            near = nearest(name, known)
            refuse(f"there is no command `{name}`", f"did you mean `{near}`?" if near else f"one of {', '.join(known)}")
        return super().resolve_command(ctx, args)


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


@contextmanager
def open_with_rules(url: str | None, given: Path | None) -> Iterator[tuple["Database", "Rulebook"]]:
    """The database as above, and what is asked by: the rulebook in the folder that was given, or else in force there.

    fitsvc's own where none is in force. As servers do it passes over what it cannot read or must not trust, and says
    so; ProblemsFound where nothing of what was in force is left.
    """
    rulebook = None if given is None else load_rules(given)  # what is wrong with the rules is told before the database
    with open_database(url) as opened:
        yield opened, rulebook or _in_force(opened) or load_rules(None)


def _in_force(database: "Database") -> "Rulebook | None":
    from fitsvc.store.publications import in_force
    from fitsvc.store.tables import now

    with database.session() as session:
        if not in_force(session, now()):
            return None  # as in most databases: nothing more is loaded for it
    from tempfile import TemporaryDirectory

    from fitsvc.inventory.published import Unserved, rulebook_in_force
    from fitsvc.service.signatures import Trusted

    told: list[Unserved] = []
    folder = TemporaryDirectory()
    # A rulebook's examples are read from its files when they are asked for: they stay to the command's end.
    below = Path(click.get_current_context().with_resource(folder))
    trusted = Trusted(os.environ.get(SIGNED_BY_VARIABLE, "").split())
    found = rulebook_in_force(database, below, trusted.why_not, told)
    for one in told:
        err().print(f"{one}; what was in force before it is asked instead")
    return found


def in_the_shell() -> "Write":
    """Who writes by a command, for the log."""
    from fitsvc.store.written import Write

    return Write(by="in the shell")


def signed_by_option(help: str) -> Callable[[_Decorated], _Decorated]:
    """The keys whose signature is asked for, one of several being enough; `help` says of what."""
    return click.option(
        "--signed-by",
        metavar="KEY",
        multiple=True,
        envvar=SIGNED_BY_VARIABLE,
        show_envvar=True,
        help=f"{help} that this key has not signed; repeat it for one of several.",
    )
