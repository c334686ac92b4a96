"""The commands put together, and the one place where errors become messages and exit codes."""

import atexit
import gc
import sys
from collections.abc import Sequence
from importlib import import_module
from typing import Final

import click

from fitsvc import __version__
from fitsvc.cli.console import BAD_INPUT, show_problems
from fitsvc.cli.options import Commands
from fitsvc.files import NO_ROOM
from fitsvc.language.problems import Problem, ProblemsFound

_OBJECTS_BETWEEN: Final = 50_000
"""How many objects are made between searches for circles of them: reading rules makes many objects and no circles, and
at Python's own 700 the searches take a tenth of it. They are some 10 MB of objects at the most."""
_COMMANDS: Final = {
    "answer": "answer",
    "audit": "audit",
    "fits": "fits",
    "scorecard": "scorecard",
    "schedule": "schedules",
    "intake": "intake",
    "demo": "demo",
    "load": "load",
    "plan": "plan",
    "select": "select",
    "show": "show",
    "observe": "show",
    "export": "show",
    "worklist": "worklist",
    "serve": "serve",
    "replay": "replay",
    "recorded": "replay",
    "rules": "rules",
    "db": "databases",
    "key": "keys",
}
"""The commands in the order of the help, each with the module that holds it."""


class _Commands(Commands):
    """All commands; the module of one is imported when it is asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Their names."""
        return list(_COMMANDS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        """The command of a name, or None."""
        if name not in _COMMANDS:
            return None
        command: click.Command = getattr(import_module(f"fitsvc.cli.{_COMMANDS[name]}"), name)
        return command


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, message="fitsvc %(version)s", help="Print the version and end.")
def app() -> None:
    """Will this accessory work on this rig? Answers for the receiver hitch trade."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run a command and return its exit code: 0 done, 1 the check found faults, 2 bad input."""
    gc.set_threshold(_OBJECTS_BETWEEN)
    atexit.register(gc.freeze)  # else Python goes through all objects again when it ends, a tenth of a short command
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # a terminal without `±` must not end the command
    try:
        app(arguments if arguments is None else list(arguments))
    except SystemExit as end:
        return end.code if isinstance(end.code, int) else BAD_INPUT if end.code else 0
    except ProblemsFound as found:
        show_problems(found.problems)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        help = "make room there, then give the same command again" if error.errno in NO_ROOM else ""
        show_problems([Problem(reason, help, file=str(error.filename or ""))])
    except Exception as error:
        if not _expected(error):
            raise
        show_problems([Problem(str(error))])
    return BAD_INPUT


def _expected(error: Exception) -> bool:
    """Whether an error's text is meant for people; the store's are, and it is imported only when used."""
    store = sys.modules.get("fitsvc.store.errors")
    return bool(store and isinstance(error, store.StoreError))
