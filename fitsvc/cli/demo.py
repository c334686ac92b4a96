"""`fitsvc demo`: a made-up shop loaded into a fresh database, and its seventeen questions answered."""

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from time import perf_counter
from typing import TYPE_CHECKING

import click

from fitsvc.cli.console import FAULTS, out, paragraph, refuse
from fitsvc.cli.options import FILE, load_rules, open_database
from fitsvc.subjects import counted

if TYPE_CHECKING:
    from fitsvc.answers.answering import Answerer
    from fitsvc.cli.console import Console


@dataclass(frozen=True, slots=True)
class DemoQuestion:
    """One of the demo's questions: its file, the clerk's words and the outcome it is there to show."""

    file: Path
    words: str
    expect: str


@click.command()
@click.option("--database", metavar="URL", help="Load into this empty database.")
@click.option("--into", metavar="FILE", type=FILE, help="Keep the database in this new file.")
@click.option("--keep", is_flag=True, help="Keep the temporary database, and say where it is.")
@click.option(
    "--size",
    metavar="ITEMS",
    type=int,
    help="Make a catalogue of this size, with planted faults, in a new folder, and load it.",
)
def demo(database: str | None, into: Path | None, keep: bool, size: int | None) -> None:
    """Load a made-up shop, and answer questions from its counter."""
    from fitsvc.answers.answering import Answerer
    from fitsvc.paths import data_dir

    if size is not None:
        from fitsvc.cli.demo_catalogue import make

        make(size, database, into, keep=keep)
        return
    started = perf_counter()
    folder = data_dir("seed_demo")
    answerer = Answerer(load_rules(None))
    with _place(database, into, keep) as (url, kept):
        counts = _fill(url, folder, answerer)
        console = out()
        paragraph(console, f"The Tollgate Hitch Bench, a made-up shop: {counts}.")
        as_told = _ask_all(console, url, folder, answerer)
        console.print(f"\nAll of it took {perf_counter() - started:.1f} s.")
        if kept:
            console.print("Ask more of it, and see it in a browser:")
            console.print(f"  fitsvc serve --database {url}")
        else:
            console.print("To keep it and see it in a browser:")
            console.print("  fitsvc demo --into demo.db")
            console.print("  fitsvc serve --database sqlite:///demo.db")
    if not as_told:
        raise click.exceptions.Exit(FAULTS)


def questions(folder: Path) -> list[DemoQuestion]:
    """The questions that a folder's `index.yaml` lists."""
    from fitsvc.rulebook.yaml_text import Mapping, Sequence, read_yaml_file, to_plain

    path = folder / "questions" / "index.yaml"
    tree = read_yaml_file(path)
    listed = tree.entries.get("questions") if isinstance(tree, Mapping) else None
    asked = []
    for item in listed.items if isinstance(listed, Sequence) else ():
        entry = to_plain(item)
        if isinstance(entry, dict):
            file, words, expect = (str(entry.get(key) or "") for key in ("file", "ask", "expect"))
            asked.append(DemoQuestion(path.parent / file, " ".join(words.split()), expect))
    return asked


@contextmanager
def _place(database: str | None, into: Path | None, keep: bool) -> Iterator[tuple[str, bool]]:
    """The URL of the database to fill, and whether it stays."""
    if database is not None and into is not None:
        refuse("`--database` and `--into` are both given", "give one of them")
    if database is not None:
        yield database, True
    elif into is not None:
        if into.exists():
            refuse(f"`{into}` exists already", "name a new file, or remove that one")
        if not into.absolute().parent.is_dir():
            refuse(f"the folder of `{into}` does not exist", "make it, or name another file")
        yield f"sqlite:///{into}", True
    elif keep:
        yield f"sqlite:///{tempfile.mkdtemp(prefix='fitsvc-demo-')}/demo.db", True
    else:
        with tempfile.TemporaryDirectory(prefix="fitsvc-demo-") as temporary:
            yield f"sqlite:///{temporary}/demo.db", False


def _fill(url: str, folder: Path, answerer: "Answerer") -> str:
    """Make the tables and load every record file; returns what was loaded in words."""
    from fitsvc.loading.load import in_order, load_file
    from fitsvc.store.database import upgrade

    upgrade(url)
    files = sorted(path for path in folder.iterdir() if path.suffix in (".yaml", ".csv", ".jsonl"))
    counts: dict[str, int] = {}
    with open_database(url) as opened:
        for path in in_order(files, answerer.reader.vocabulary):
            for subject, number in load_file(opened, answerer.reader, path).stored.items():
                counts[subject] = counts.get(subject, 0) + number
    return ", ".join(counted(number, subject) for subject, number in counts.items())


def _ask_all(console: "Console", url: str, folder: Path, answerer: "Answerer") -> bool:
    """Ask every question, and return whether each outcome is the one that the question is there to show."""
    from fitsvc.cli.answer_view import show_outcome
    from fitsvc.cli.questions import read_question_file
    from fitsvc.inventory.shelf import Shop
    from fitsvc.inventory.stored import StoreRecords

    as_told = True
    with open_database(url) as opened, opened.session() as session:
        shelf = Shop(answerer.reader).shelf(session)
        for number, asked in enumerate(questions(folder), start=1):
            answer = answerer.answer(read_question_file(asked.file), StoreRecords(session), shelf=shelf)
            console.print()
            paragraph(console, asked.words, sign=f"{number:>2}.", style="bold")
            show_outcome(console, answer, indent=4)
            if answer.outcome != asked.expect:
                as_told = False
                paragraph(console, f"The question is there to show `{asked.expect}`.", style="red", indent=4)
    return as_told
