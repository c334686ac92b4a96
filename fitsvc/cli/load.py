"""`fitsvc load`: record files into the database."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fitsvc.cli.console import BAD_INPUT, err, out, show_problems
from fitsvc.cli.options import DatabaseUrl, RulesFolder, load_rules, open_database
from fitsvc.language.problems import Problem, ProblemsFound

if TYPE_CHECKING:
    from fitsvc.loading.storing import Loaded


def load(
    files: Annotated[
        list[Path],
        typer.Argument(metavar="FILE", help="CSV, JSON Lines or YAML files of records; CSV files of observations."),
    ],
    database: DatabaseUrl = None,
    rules: RulesFolder = None,
    replace: Annotated[
        bool, typer.Option("--replace", help="Make records that are stored already what the files say, in full.")
    ] = False,
) -> None:
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
                out().print(described(loaded), soft_wrap=True)
                for text in loaded.contradictions:
                    out().print(f"  contradiction: {text}", soft_wrap=True, markup=False)
            except ProblemsFound as found:
                failed = True
                show_problems(found.problems)
                count = len(found.problems)
                err().print(f"{path}: nothing stored, {count} problem{'s' if count > 1 else ''}", soft_wrap=True)
            except StoreError as error:
                failed = True
                show_problems([Problem(str(error), "nothing of this file is stored", file=str(path))])
    if failed:
        raise typer.Exit(BAD_INPUT)


def described(loaded: "Loaded") -> str:
    """What became of a file, in one line."""
    plurals = {"accessory": "accessories"}
    parts = [f"{number} {subject if number == 1 else plurals.get(subject, subject + 's')}"
             for subject, number in loaded.stored.items()]  # fmt: skip
    told = [f"stored {', '.join(parts)}"] if parts else []
    told += [f"replaced {loaded.replaced}"] if loaded.replaced else []
    told += [f"{loaded.unchanged} as they were"] if loaded.unchanged else []
    return f"{loaded.file}: {'; '.join(told)}"
