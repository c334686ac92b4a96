"""`fitsvc rules schema`, `lsp` and `fmt`: how rule files are written, for editors, and laid out."""

import json
from collections.abc import Iterator
from pathlib import Path

import click

from fitsvc.cli.console import FAULTS, out, refuse, show_problems
from fitsvc.cli.options import FILE, rules_folder, rules_option
from fitsvc.language.problems import Problem, ProblemsFound, nearest
from fitsvc.paths import how_to_install


@click.command()
@click.argument("kind", metavar="[KIND]", required=False, help="A kind of rule file, such as `topic`.")
@click.option(
    "--to", metavar="DIR", type=FILE, help="Write those of all kinds into a folder, and print which is whose."
)
@rules_option
def schema(kind: str | None, to: Path | None, rules: Path | None) -> None:
    """Print the JSON Schema of a kind of rule file.

    An editor of YAML checks and completes by it what is typed: keys, words, and the names of this folder's facts,
    lists and rules. So print it anew when a fact is added.
    """
    from fitsvc.rulebook.json_schema import schemas
    from fitsvc.rulebook.loader import load_rulebook

    folder = rules_folder(rules)
    try:
        found = schemas(load_rulebook(folder))
    except ProblemsFound as faults:
        show_problems(faults.problems, out())
        raise click.exceptions.Exit(FAULTS) from None
    if to is not None:
        click.echo(json.dumps({"yaml.schemas": _write(found, folder, to)}, ensure_ascii=False, indent=1))
    elif kind in found:
        click.echo(json.dumps(found[kind], ensure_ascii=False, indent=1))
    else:
        near, known = nearest(kind or "", found), ", ".join(f"`{one}`" for one in found)
        told = f"`{kind}` is no kind of rule file" if kind else "no kind of rule file is named"
        refuse(told, f"did you mean `{near}`?" if near else f"it is one of {known}; `--to DIR` writes all")


def _write(found: dict[str, dict[str, object]], folder: Path, to: Path) -> dict[str, list[str]]:
    """Write each schema, and give the files of the folder that each is for, as editors' settings say it."""
    from fitsvc.rulebook.folder import yaml_files
    from fitsvc.rulebook.json_schema import kind_of

    files: dict[str, list[str]] = {}
    for path in yaml_files(folder):
        name = path.relative_to(folder).as_posix()
        files.setdefault(kind_of(name), []).append(f"{folder.name}/{name}")
    try:
        to.mkdir(parents=True, exist_ok=True)
        for kind, one in found.items():
            (to / f"{kind}.schema.json").write_text(json.dumps(one, ensure_ascii=False) + "\n", "utf-8")
    except OSError as fault:
        refuse(f"`{to}` cannot be written: {fault.strerror}", "name a folder that can be")
    return {f"{to.as_posix()}/{kind}.schema.json": files[kind] for kind in found if kind in files}


@click.command()
def lsp() -> None:
    """Serve an editor, by the language server protocol.

    It speaks on standard input and output. Editors then complete facts and members, tell what a name means, mark faults
    as they are typed, go to where a name stands, rename facts and lay files out. The rules are those of the folder that
    a file is in.
    """
    try:
        from fitsvc.desk.server import make_server
    except ModuleNotFoundError:
        refuse("the library that the language server needs is not installed", how_to_install("desk"))
    make_server().start_io()


@click.command()
@click.argument("paths", metavar="[PATH]...", type=FILE, nargs=-1, help="Rule files or folders of them.")
@click.option("--check", is_flag=True, help="Change nothing; name the files that would be, and end with 1.")
@rules_option
def fmt(paths: tuple[Path, ...], check: bool, rules: Path | None) -> None:
    """Lay rule files out in one way: levels, spaces and blank lines.

    Comments stay, and what the rules mean. No line is wrapped or joined.
    """
    problems: list[Problem] = []
    changed = 0
    for path in _files(paths or (rules_folder(rules),)):
        try:
            changed += _laid_out(path, check)
        except ProblemsFound as found:
            problems += found.problems
    show_problems(problems, out())
    told = "would be laid out anew" if check else "laid out"
    out().print(f"{changed} files {told}" if changed != 1 else f"1 file {told}")
    if problems or (check and changed):
        raise click.exceptions.Exit(FAULTS)


def _files(paths: tuple[Path, ...]) -> Iterator[Path]:
    from fitsvc.rulebook.folder import yaml_files

    for path in paths:
        if not path.exists():
            refuse(f"there is no `{path}`", "name a rule file, or a folder of them")
        yield from yaml_files(path) if path.is_dir() else (path,)


def _laid_out(path: Path, check: bool) -> bool:
    """Lay a file out, and tell of it where that changes something; with `check` it is told of alone."""
    from fitsvc.files import write_text
    from fitsvc.rulebook.formatting import formatted

    try:
        text = path.read_bytes().decode("utf-8")
        laid = formatted(text, str(path))
        if laid != text and not check:
            write_text(path, laid)
    except OSError as fault:
        refuse(f"`{path}` cannot be written: {fault.strerror}", "check the path")
    except UnicodeDecodeError:
        raise ProblemsFound([Problem("is not UTF-8 text", "save it as UTF-8", file=str(path))]) from None
    if laid != text:
        out().print(str(path))
    return laid != text
