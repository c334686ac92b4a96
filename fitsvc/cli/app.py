"""The commands put together, and the one place where errors become messages and exit codes."""

import sys
from collections.abc import Sequence
from typing import Annotated

import typer

from fitsvc import __version__
from fitsvc.cli import answer, audit, databases, demo, keys, load, plan, rules, select, serve
from fitsvc.cli.console import BAD_INPUT, show_problems
from fitsvc.files import NO_ROOM
from fitsvc.language.problems import Problem, ProblemsFound

app = typer.Typer(
    name="fitsvc", no_args_is_help=True, pretty_exceptions_enable=False, add_completion=False, rich_markup_mode=None,
    help="Will this accessory work on this rig? Answers for the receiver hitch trade.",
    context_settings={"help_option_names": ["-h", "--help"]},
)  # fmt: skip
app.command("answer")(answer.answer)
app.command("audit")(audit.audit)
app.command("demo")(demo.demo)
app.command("load")(load.load)
app.command("plan")(plan.plan)
app.command("select")(select.select)
app.command("serve")(serve.serve)
app.add_typer(rules.app, name="rules")
app.add_typer(databases.app, name="db")
app.add_typer(keys.app, name="key")


def _version(asked: bool) -> None:
    if asked:
        print(f"fitsvc {__version__}")
        raise typer.Exit


@app.callback()
def fitsvc(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version and end.")
    ] = False,
) -> None:
    """Will this accessory work on this rig? Answers for the receiver hitch trade."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run a command and return its exit code: 0 done, 1 the check found faults, 2 bad input."""
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
