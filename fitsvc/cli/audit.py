"""`fitsvc audit`: a whole catalogue judged against rigs, its claims checked, and what is missing told."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from fitsvc.cli.console import FAULTS, err, refuse
from fitsvc.cli.options import FILE, database_option, load_rules, open_with_rules, rules_instead_option
from fitsvc.cli.progress import progress
from fitsvc.paths import how_to_install

if TYPE_CHECKING:
    from fitsvc.audits.goods import StoreGoods
    from fitsvc.audits.judging import Elsewhere
    from fitsvc.audits.outliers import Usual
    from fitsvc.audits.rigs import AuditRig
    from fitsvc.language.problems import Problem
    from fitsvc.rulebook.rules import Rulebook
    from fitsvc.tongues import Tongue


_CONNECT: Final = 10
"""Seconds in which a cluster that is there answers, and after which a person looks at the address again."""


@click.command()
@click.argument(
    "catalogue", metavar="CATALOGUE", type=FILE, help="Accessories: a text of cells, a workbook, JSON Lines or Parquet."
)
@click.option("--output", "-o", metavar="DIR", type=FILE, required=True, help="A folder for the results.")
@click.option(
    "--rigs",
    metavar="FILE",
    type=FILE,
    multiple=True,
    help="Rigs, or vehicles, receivers and mountings; as often as there are files.",
)
@click.option("--claims", metavar="FILE", type=FILE, help="Claims, as `sku` and `rig`, or `year`, `make`, `model`.")
@click.option("--mapping", metavar="FILE", type=FILE, help="What the catalogue's columns are (YAML).")
@click.option("--against", metavar="DIR", type=FILE, help="An earlier audit to compare with.")
@click.option(
    "--earlier",
    metavar="DIR",
    type=FILE,
    help="A folder of audits' folders: what is usual of figures is learnt from other suppliers there too.",
)
@click.option("--supplier", metavar="NAME", default="", help="Whose catalogue it is, as the page then says.")
@click.option(
    "--language",
    metavar="CODE",
    default="en",
    show_default=True,
    help="What the page, the list of what to mend and all reasons are written in, such as `es`.",
)
@click.option(
    "--counter",
    metavar="URL",
    default="",
    help="Where the counter with these rigs is: what is false is then linked to it.",
)
@click.option(
    "--fact",
    "-f",
    "facts",
    metavar="SUBJECT.FACT=VALUE",
    multiple=True,
    help="What every rig carries or tows, such as `load.bikes=2`; as often as there are facts.",
)
@click.option("--strict", is_flag=True, help="End with 1 when faults are found.")
@click.option(
    "--fail-if",
    metavar="CONDITION",
    multiple=True,
    help="End with 1 when it holds, such as `bad_rows > 1%` or `new contradicted > 0`; as often as there are some.",
)
@click.option("--junit", metavar="FILE", type=FILE, help="Write the conditions as JUnit's XML, for what builds.")
@click.option("--sarif", metavar="FILE", type=FILE, help="Write what is to be mended as SARIF 2.1.0, line by line.")
@click.option(
    "--format",
    type=click.Choice(["parquet", "csv", "jsonl"]),
    default="parquet",
    show_default=True,
    help="How the pairs are written.",
)
@click.option("--memory", metavar="MB", type=int, default=1024, show_default=True, help="How much memory may be used.")
@click.option(
    "--cluster",
    metavar="ADDRESS",
    help="Judge on a Dask cluster, such as `tcp://10.0.0.5:8786`, whose workers see DIR; needs `fitsvc[dask]`.",
)
@database_option
@rules_instead_option
def audit(
    catalogue: Path,
    output: Path,
    rigs: tuple[Path, ...],
    claims: Path | None,
    mapping: Path | None,
    against: Path | None,
    earlier: Path | None,
    supplier: str,
    language: str,
    counter: str,
    facts: tuple[str, ...],
    strict: bool,
    fail_if: tuple[str, ...],
    junit: Path | None,
    sarif: Path | None,
    format: str,
    memory: int,
    cluster: str | None,
    database: str | None,
    rules: Path | None,
) -> None:
    """Audit a catalogue. Ended at any moment, the same command takes it up again."""
    from fitsvc.audits.ci import conditions_of, write_junit, write_sarif
    from fitsvc.audits.run import Audit, AuditOrder, shares
    from fitsvc.audits.summary import faults_of, run
    from fitsvc.audits.thresholds import crossed
    from fitsvc.cli.audit_view import show
    from fitsvc.language.problems import Problem, ProblemsFound

    shares(memory)  # too little of it is refused before anything is read
    conditions = conditions_of(fail_if)
    rulebook, found_rigs, aside, goods = _rigs(rigs, facts, database, rules)
    asked = AuditOrder(
        catalogue=catalogue,
        out=output,
        claims=claims,
        mapping=mapping,
        against=against,
        format=format,
        memory=memory,
        aside=tuple(aside),
        supplier=supplier,
        counter=counter,
        day=datetime.now().astimezone().date().isoformat(),  # as people here date what they send
        usual=_usual(goods.usual, earlier, supplier),
        adapters=goods.adapters,
        tongue=_tongue(language, rules),
    )
    try:
        with progress() as tell, _judging(cluster) as elsewhere:
            summary = run(Audit(asked, rulebook, found_rigs, tell, elsewhere))
    except ChildProcessError as error:
        help = "give the same command again: it goes on where it was; with less `--memory` fewer processes judge"
        raise ProblemsFound([Problem(str(error.strerror), help, file=str(output))]) from error
    except OSError as error:
        error.filename = error.filename or str(output)  # a full disk does not say which
        raise
    show(summary, output)
    held = {one.text: crossed(one, summary, output, against) for one in conditions}
    if junit is not None:
        write_junit(junit, summary, output, held)
    if sarif is not None:
        write_sarif(sarif, summary, output, catalogue, claims)
    failed = [words for words in held.values() if words] if fail_if else []
    for words in failed:
        err().print(words)
    if failed or (strict and faults_of(summary)):
        raise click.exceptions.Exit(FAULTS)


def _rigs(
    files: Sequence[Path], facts: Sequence[str], database: str | None, rules: Path | None
) -> "tuple[Rulebook, Sequence[AuditRig], Sequence[str], StoreGoods]":
    """The rulebook to judge by, the rigs, why some of them are set aside, and the goods that are stored beside them.

    Where files hold the rigs no database is read, and none says which rulebook is in force.
    """
    from fitsvc.audits.goods import StoreGoods, stored_goods
    from fitsvc.audits.rigs import read_rigs, stored_rigs, told_aside
    from fitsvc.cli.questions import with_facts
    from fitsvc.facts import FactReader
    from fitsvc.language.problems import ProblemsFound

    if files:
        rulebook = load_rules(rules)
        reader, carried = FactReader(rulebook), with_facts({}, facts, rulebook.vocabulary)
        try:
            return rulebook, read_rigs(files, reader, carried), (), StoreGoods()
        except ProblemsFound as found:
            raise ProblemsFound(_missing_once(found.problems)) from found
    if database is None:
        refuse("there are no rigs", "give `--rigs FILE`, or `--database URL` that holds them")
    aside: list[Problem] = []
    with open_with_rules(database, rules) as (opened, rulebook), opened.session() as session:
        reader, carried = FactReader(rulebook), with_facts({}, facts, rulebook.vocabulary)
        rigs = stored_rigs(session, reader, carried, aside)
        goods = stored_goods(session, reader)
    for problem in aside:
        err().print(f"set aside: {told_aside(problem)}")
    return rulebook, rigs, [told_aside(problem) for problem in aside], goods


def _usual(stored: "Usual", earlier: Path | None, supplier: str) -> "Usual":
    """What is usual of figures, by the goods that are stored and by earlier audits."""
    if earlier is None:
        return stored
    from fitsvc.audits.learnt import middle_of, usual_of_audits

    return middle_of([stored, *usual_of_audits(earlier, supplier)])


@contextmanager
def _judging(cluster: str | None) -> "Iterator[Elsewhere | None]":
    """What judges on a cluster, while it is connected to; nothing where none is named."""
    if cluster is None:
        yield None
        return
    try:
        from distributed import Client
    except ImportError:
        refuse("the library that clusters need is not installed", how_to_install("dask"))
    from fitsvc.audits.spread import on_dask

    try:
        client = Client(cluster, timeout=_CONNECT, set_as_default=False)  # type: ignore[no-untyped-call]  # of a library without types
    except (OSError, ValueError) as error:
        refuse(f"no cluster answers at `{cluster}`: {error}", "name its scheduler's address, `tcp://HOST:PORT`")
    with client:
        yield on_dask(client)


def _tongue(code: str, rules: Path | None) -> "Tongue":
    """A language that there are words for."""
    from fitsvc.tongues import ENGLISH

    if code == ENGLISH.code:
        return ENGLISH
    from fitsvc.service.speaking import spoken_tongues, with_point

    known = spoken_tongues(rules)
    if (found := with_point(code, known)) is None:
        refuse(f"there are no words for the language `{code}`", f"it is one of {', '.join([ENGLISH.code, *known])}")
    return found


def _missing_once(problems: "Sequence[Problem]") -> "list[Problem]":
    """Rigs that name records of files that were not given lack many at once: said once, with what to do."""
    missing = [one for one in problems if one.kind == "missing record"]
    if len(missing) < 2:
        return list(problems)
    first = replace(
        missing[0],
        message=f"{missing[0].message}, and {len(missing) - 1} more records that the rigs name are missing",
        help="give the files that hold the vehicles, receivers, mountings and adapters too, each by a `--rigs FILE`",
    )
    return [first, *(one for one in problems if one not in missing)]
