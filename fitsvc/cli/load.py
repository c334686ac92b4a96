"""`fitsvc load`: record files into the database."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from fitsvc.cli.console import BAD_INPUT, err, out, show_problems
from fitsvc.cli.options import FILE, database_option, load_rules, open_database, rules_option
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.subjects import counted

if TYPE_CHECKING:
    from fitsvc.loading.storing import Loaded


@click.command()
@click.argument(
    "files",
    metavar="FILE...",
    type=FILE,
    nargs=-1,
    required=True,
    help="CSV, JSON Lines or YAML files of records; CSV files of observations.",
)
@database_option
@rules_option
@click.option("--replace", is_flag=True, help="Make records that are stored already what the files say, in full.")
def load(files: tuple[Path, ...], database: str | None, rules: Path | None, replace: bool) -> None:
    """Load records. Each file goes in whole, or not at all and every bad row is told."""
    from fitsvc.facts import FactReader
    from fitsvc.loading.load import in_order, load_file
    from fitsvc.store.errors import StoreError

    rulebook = load_rules(rules)
    reader = FactReader(rulebook)
    failed = False
    with open_database(database) as opened:
        for path in in_order(files, rulebook.vocabulary):
            try:
                loaded = load_file(opened, reader, path, replace=replace)
                out().print(described(loaded))
                for text in loaded.contradictions:
                    out().print(f"  contradiction: {text}")
            except ProblemsFound as found:
                failed = True
                show_problems(found.problems)
                count = len(found.problems)
                err().print(f"{path}: nothing stored, {count} problem{'s' if count > 1 else ''}")
            except StoreError as error:
                failed = True
                show_problems([Problem(str(error), "nothing of this file is stored", file=str(path))])
    if failed:
        raise click.exceptions.Exit(BAD_INPUT)


def described(loaded: "Loaded") -> str:
    """What became of a file, in one line."""
    parts = [counted(number, subject) for subject, number in loaded.stored.items()]
    told = [f"stored {', '.join(parts)}"] if parts else []
    told += [f"replaced {loaded.replaced}"] if loaded.replaced else []
    told += [f"{loaded.unchanged} as they were"] if loaded.unchanged else []
    return f"{loaded.file}: {'; '.join(told)}"
