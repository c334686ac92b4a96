"""What documents say of the code, written from the code: `PYTHONPATH=tests python -m documents`.

A test holds every one of them to what this makes, so that none is kept by hand.
"""

import inspect
import re
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Final

import click
from bench import report
from demo_world import answerer, question, world
from grammar_table import grammar_table
from recipes import RECIPES, told

from fitsvc.answers.question import read_question
from fitsvc.cli.app import app
from fitsvc.drawing.side_view import side_view
from fitsvc.engine.checking import examples_of
from fitsvc.language.functions import FUNCTIONS, SAME_AS_FIRST, SPECIAL_FORMS, Function
from fitsvc.service.counter.rendering import assets

ROOT: Final = Path(__file__).parent.parent
PICTURED: Final = "04-bikes-on-extension.json"
_TABLE_HEAD: Final = "| function | gives | from → to | source |\n| --- | --- | --- | --- |\n"
_OPTIONS_HEAD: Final = ("| written | what it is |", "| --- | --- |")
_PAPER: Final = ".drawing { background: #fff; color: #1b1d20; --drawing-paper: #fff; font-family: sans-serif; }"


def functions(text: str) -> str:
    """The author's reference with its table of functions written anew."""
    rows = [_row(one) for one in FUNCTIONS.values()]
    rows += [f"| {written} | {gives} | | definition |" for written, gives in SPECIAL_FORMS.values()]
    table = _TABLE_HEAD + "".join(f"{row}\n" for row in rows)
    return re.sub(r"\| function \|.*?\n\n", lambda _: f"{table}\n", text, flags=re.DOTALL)


def _row(row: Function) -> str:
    form = row.bounds or row.formula
    assert form
    names = ["a", "b", "..."] if row.variadic else list(inspect.signature(form).parameters)
    kinds = ", ".join("any" if one is SAME_AS_FIRST else str(one) for one in row.arguments)
    gives = "the same" if row.result is SAME_AS_FIRST else str(row.result)
    return f"| `{row.name}({', '.join(names)})` | {row.doc} | {kinds} → {gives} | {row.source} |"


def commands(_: str = "") -> str:
    """The guide's page of commands, from the commands themselves."""
    return "\n\n".join(["# Commands", *_command(app, None, "fitsvc", 1)]) + "\n"


def _command(command: click.Command, above: click.Context | None, name: str, level: int) -> Iterator[str]:
    """A command's paragraphs, and those of the commands under it."""
    with click.Context(command, info_name=name, parent=above, **command.context_settings) as context:
        if above:
            yield f"{'#' * level} `{context.command_path}`"
        yield inspect.cleandoc(command.help or "")
        yield f"```text\n{' '.join(context.get_usage().removeprefix('Usage: ').split())}\n```"
        records = [one.get_help_record(context) for one in command.get_params(context)]
        rows = [[cell.replace("|", "\\|") for cell in one] for one in records if one]
        yield "\n".join((*_OPTIONS_HEAD, *(f"| `{written}` | {about} |" for written, about in rows)))
        if isinstance(command, click.Group):
            for one in command.list_commands(context):
                inner = command.get_command(context, one)
                assert inner
                yield from _command(inner, context, one, level + 1)


def side_view_picture(_: str = "") -> str:
    """The README's side view: the one of a question of the demo's, with its styles in it."""
    document = question(PICTURED)
    read = read_question(document, answerer().reader, world())
    svg = side_view(answerer().wording, read.case, labels=read.labels).svg
    styles = f"{assets()['drawing.css'].decode()}\n{_PAPER}"
    return svg.replace(">", f">\n<style>\n{styles}\n</style>\n", 1) + "\n"


def how_to_add(text: str) -> str:
    """The developers' steps to add something, from the recipes that a test carries out."""
    steps = "\n".join(map(told, RECIPES))
    return re.sub(r"(# How to add\n\n[^\n]+\n\n).*?(?=\n# )", lambda found: f"{found[1]}{steps}", text, flags=re.DOTALL)


def rule_counts(text: str) -> str:
    """The guide's page of rules with what the shipped rulebook has, counted anew."""
    book = answerer().rulebook
    rules = len([rule for rule in book.rules if not rule.limit])
    counts = f"{rules} rules, {len(book.limits)} limits and {len(book.needs)} needs, "
    counts += f"with {len(examples_of(book)):,} examples"
    said = r"(The shipped rulebook has )[^.]*(?=\.)"
    assert re.search(said, text), "the guide's page of rules says nowhere what `The shipped rulebook has`"
    return re.sub(said, lambda found: f"{found[1]}{counts}", text)


DOCUMENTS: Final[Mapping[str, Callable[[str], str]]] = {
    "rules/README.md": functions,
    "fitsvc/guide/commands.md": commands,
    "fitsvc/guide/rules.md": rule_counts,
    "fitsvc/language/grammar.json": grammar_table,
    "DEVELOPERS.md": how_to_add,
    ".pictures/side-view.svg": side_view_picture,
    "fitsvc/guide/speed.md": report.in_guide,
    "fitsvc/guide/speed.svg": report.chart,
}
"""Each document that is written from code, wholly or in part, and what makes it of what it was."""


def main() -> None:
    """Write every document anew."""
    for name, make in DOCUMENTS.items():
        file = ROOT / name
        before = file.read_text("utf-8") if file.exists() else ""
        after = make(before)
        file.write_text(after, "utf-8")
        print(f"{name}: {'as it was' if before == after else 'written anew'}")


if __name__ == "__main__":
    main()
