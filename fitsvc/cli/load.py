"""`fitsvc load`: record files into the database."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Final

import click

from fitsvc.cli.console import BAD_INPUT, err, out, show_problems
from fitsvc.cli.options import FILE, database_option, index_option, open_with_rules, rules_instead_option
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.subjects import counted, plural

if TYPE_CHECKING:
    from fitsvc.facts import FactReader
    from fitsvc.loading.storing import Loaded
    from fitsvc.rulebook.rules import Rulebook
    from fitsvc.store.database import Database


_MOST_NAMED: Final = 10


@click.command()
@click.argument(
    "files",
    metavar="FILE...",
    type=FILE,
    nargs=-1,
    required=True,
    help="CSV, JSON Lines or YAML files of records; CSV or JSON Lines files of observations.",
)
@click.option("--mapping", metavar="FILE", type=FILE, help="What the columns of catalogues of accessories are (YAML).")
@database_option
@rules_instead_option
@click.option("--replace", is_flag=True, help="Make records that are stored already what the files say.")
@click.option("--source", default="", metavar="NAME", help="The feed the files are: it owns what it says.")
@click.option("--also-measured", is_flag=True, help="With --replace, give up what was seen on the parts too.")
@click.option("--dry-run", is_flag=True, help="Tell what would become of the files, and store nothing.")
@click.option("--effects", is_flag=True, help="Tell which saved rigs answer otherwise about what was stored before.")
@index_option
def load(
    files: tuple[Path, ...],
    mapping: Path | None,
    database: str | None,
    rules: Path | None,
    replace: bool,
    source: str,
    also_measured: bool,
    dry_run: bool,
    effects: bool,
    index: Path | None,
) -> None:
    """Load records. Each file goes in whole, or not at all and every bad row is told."""
    from fitsvc.facts import FactReader
    from fitsvc.loading.load import in_order, load_file
    from fitsvc.store.errors import StoreError

    failed = False
    with open_with_rules(database, rules) as (opened, rulebook):
        reader = FactReader(rulebook)
        told = _effects_told(opened, rulebook, index) if effects else None
        for path in files if mapping else in_order(files, rulebook.vocabulary):
            try:
                how = {"replace": replace, "also_seen": also_measured, "dry": dry_run, "watch": effects}
                with _as_records(path, mapping, reader) as records:
                    loaded = load_file(opened, reader, records, source=source, **how)
                loaded.file = str(path)
                out().print(described(loaded, dry=dry_run))
                for line in (*details(loaded, given_up=also_measured), *(told(loaded) if told else ())):
                    out().print(f"  {line}")
            except ProblemsFound as found:
                failed = True
                show_problems(_told_short(found.problems, path))
                count = len(found.problems)
                err().print(f"{path}: nothing stored, {count} problem{'s' if count > 1 else ''}")
            except StoreError as error:
                failed = True
                show_problems([Problem(str(error), "nothing of this file is stored", file=str(path))])
    if failed:
        raise click.exceptions.Exit(BAD_INPUT)


def _told_short(problems: Sequence[Problem], path: Path) -> Iterator[Problem]:
    """All that is wrong with a file; of records that are stored already the first, and how many more there are.

    Each is told by the same words, which a file that is loaded twice would fill the screen with.
    """
    from fitsvc.loading.storing import EXISTS

    stored = 0
    for one in problems:
        stored += one.help == EXISTS
        if one.help != EXISTS or stored <= _MOST_NAMED:
            yield one
    if stored > _MOST_NAMED:
        yield Problem(f"{stored - _MOST_NAMED} more records are stored already", EXISTS, file=str(path))


@contextmanager
def _as_records(path: Path, mapping: Path | None, reader: "FactReader") -> Iterator[Path]:
    """A file as it is loaded: a catalogue with columns of other names written anew, or else the file itself.

    ProblemsFound where a row or a cell of it cannot be read.
    """
    if mapping is None:
        yield path
        return
    from fitsvc.audits.cleaned import CATALOGUE, write_cleaned
    from fitsvc.audits.intake import left_open
    from fitsvc.audits.layout import told
    from fitsvc.audits.mapping import read_mapping

    with TemporaryDirectory() as folder:
        problems: list[Problem] = []
        made = write_cleaned(path, reader, read_mapping(mapping, reader.vocabulary), Path(folder), problems)
        if made.others:  # what is loaded goes in whole or not at all
            rows = ", ".join(told(count, plural(subject)) for subject, count in made.others.items())
            help = "load them from a file of their own, whose columns are called as their facts, and take them out here"
            raise ProblemsFound([*problems, Problem(f"{rows} are not read by a mapping", help, file=str(path))])
        if problems:
            help = "`fitsvc intake -o DIR` writes the catalogue without them, which can be loaded"
            raise ProblemsFound([*problems, Problem("rows or cells could not be read", help, file=str(path))])
        if open_ := left_open(mapping.read_text("utf-8")):
            columns = ", ".join(f"`{title}`" for title in open_)
            caution = f"{columns} left open in {mapping}, and read as far as it says there: answer what has a `#?`"
            err().print(f"{path}: {caution}")
        yield Path(folder) / CATALOGUE


def _effects_told(opened: "Database", rulebook: "Rulebook", index: Path | None) -> "Callable[[Loaded], Iterator[str]]":
    """What tells which saved rigs a file makes answer otherwise, about the accessories that were there before."""
    from fitsvc.answers.answering import Answerer
    from fitsvc.observing.recording import effects_of
    from fitsvc.selection import files
    from fitsvc.selection.index import SelectionIndex

    answerer = Answerer(rulebook)
    folder = files.IndexFolder(files.index_root(index, opened), opened, rulebook.digest)
    held = SelectionIndex(answerer, opened, folder=folder).held()

    def told(loaded: "Loaded") -> Iterator[str]:
        assert loaded.touched is not None
        found = effects_of(answerer.columns, answerer.reader, loaded.touched, lambda: held)
        yield f"{len(found.changed)} of {len(loaded.touched.after)} saved rigs answer otherwise"
        for one in found.changed[:_MOST_NAMED]:
            first = ", ".join(f"{sku or 'itself'} {was} → {now}" for sku, was, now in one.changed[:3])
            yield f"{one.rig} {one.name}: {one.count} answers, such as {first}"
        if loaded.touched.left_off:
            yield f"{loaded.touched.left_off} more saved rigs were not looked at"
        if loaded.touched.items_left_off:
            yield f"{loaded.touched.items_left_off} more accessories that the file changes were not looked at"

    return told


def described(loaded: "Loaded", *, dry: bool = False) -> str:
    """What became of a file, or would, in one line."""
    parts = [counted(number, subject) for subject, number in loaded.stored.items()]
    told = [f"stored {', '.join(parts)}"] if parts else []
    told += [f"replaced {loaded.replaced}"] if loaded.replaced else []
    told += [f"{loaded.unchanged} as they were"] if loaded.unchanged else []
    told += [f"{loaded.repeated} told before word for word"] if loaded.repeated else []
    return f"{loaded.file}: {'; '.join(told)}{' (tried only: nothing is stored)' if dry else ''}"


def details(loaded: "Loaded", *, given_up: bool = False) -> Iterator[str]:
    """What a file contradicts, and what was seen on the parts that it says otherwise or not at all."""
    yield from (f"contradiction: {text}" for text in loaded.contradictions)
    if loaded.given_up:
        yield f"{_seen(loaded.given_up)} given up"
    if loaded.disputed:
        yield "disputed now, as others say otherwise and their word stands (`fitsvc show` tells whose):"
        yield from (f"{key}: {', '.join(names)}" for key, names in list(loaded.disputed.items())[:_MOST_NAMED])
        if len(loaded.disputed) > _MOST_NAMED:
            yield f"and of {len(loaded.disputed) - _MOST_NAMED} more records"
    if loaded.standing and not given_up:
        facts = sum(len(names) for _, names in loaded.standing)
        yield f"{_seen(facts)} kept (`--also-measured` gives up what was seen):"
        yield from (f"{key}: {', '.join(names)}" for key, names in loaded.standing[:_MOST_NAMED])
        if len(loaded.standing) > _MOST_NAMED:
            yield f"and of {len(loaded.standing) - _MOST_NAMED} more records"


def _seen(count: int) -> str:
    return "1 fact that was seen on the parts is" if count == 1 else f"{count} facts that were seen on the parts are"
