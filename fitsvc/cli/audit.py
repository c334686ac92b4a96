"""`fitsvc audit`: a whole catalogue judged against rigs, its claims checked, and what is missing told."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fitsvc.cli.console import FAULTS, err, out, paragraph, refuse
from fitsvc.cli.options import FILE, database_option, load_rules, open_database, rules_option
from fitsvc.cli.progress import progress
from fitsvc.document import Document
from fitsvc.subjects import plural

if TYPE_CHECKING:
    from fitsvc.audits.goods import StoreGoods
    from fitsvc.audits.rigs import AuditRig
    from fitsvc.language.problems import Problem
    from fitsvc.rulebook.rules import Rulebook


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
@click.option("--supplier", metavar="NAME", default="", help="Whose catalogue it is, as the page then says.")
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
@database_option
@rules_option
def audit(
    catalogue: Path,
    output: Path,
    rigs: tuple[Path, ...],
    claims: Path | None,
    mapping: Path | None,
    against: Path | None,
    supplier: str,
    counter: str,
    facts: tuple[str, ...],
    strict: bool,
    fail_if: tuple[str, ...],
    junit: Path | None,
    sarif: Path | None,
    format: str,
    memory: int,
    database: str | None,
    rules: Path | None,
) -> None:
    """Audit a catalogue. Ended at any moment, the same command takes it up again."""
    from fitsvc.audits.ci import conditions_of, write_junit, write_sarif
    from fitsvc.audits.run import Audit, AuditOrder, shares
    from fitsvc.audits.summary import faults_of, run
    from fitsvc.audits.thresholds import crossed
    from fitsvc.language.problems import Problem, ProblemsFound

    shares(memory)  # too little of it is refused before anything is read
    conditions = conditions_of(fail_if)
    rulebook = load_rules(rules)
    found_rigs, aside, goods = _rigs(rigs, facts, database, rulebook)
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
        usual=goods.usual,
        adapters=goods.adapters,
    )
    try:
        with progress() as tell:
            summary = run(Audit(asked, rulebook, found_rigs, tell))
    except ChildProcessError as error:
        help = "give the same command again: it goes on where it was; with less `--memory` fewer processes judge"
        raise ProblemsFound([Problem(str(error.strerror), help, file=str(output))]) from error
    except OSError as error:
        error.filename = error.filename or str(output)  # a full disk does not say which
        raise
    _show(summary, output)
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
    files: Sequence[Path], facts: Sequence[str], database: str | None, rulebook: "Rulebook"
) -> "tuple[Sequence[AuditRig], Sequence[str], StoreGoods]":
    """The rigs, why some of them are set aside, and the goods that are stored beside them."""
    from fitsvc.audits.goods import StoreGoods, stored_goods
    from fitsvc.audits.rigs import read_rigs, stored_rigs
    from fitsvc.cli.questions import with_facts
    from fitsvc.facts import FactReader
    from fitsvc.language.problems import ProblemsFound

    reader = FactReader(rulebook)
    carried = with_facts({}, facts, rulebook.vocabulary)
    if files:
        try:
            return read_rigs(files, reader, carried), (), StoreGoods()
        except ProblemsFound as found:
            raise ProblemsFound(_missing_once(found.problems)) from found
    if database is None:
        refuse("there are no rigs", "give `--rigs FILE`, or `--database URL` that holds them")
    with open_database(database) as opened, opened.session() as session:
        aside: list[Problem] = []
        rigs = stored_rigs(session, reader, carried, aside)
        goods = stored_goods(session, reader)
    for problem in aside:
        err().print(f"set aside: {problem.message}")
    return rigs, [problem.message for problem in aside], goods


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


def _show(summary: Document, output: Path) -> None:
    from fitsvc.audits.layout import told
    from fitsvc.audits.page import others

    console, rows = out(), summary["rows"]
    counts = (told(rows["items"], "items"), told(summary["rigs"], "rigs"), told(summary["pairs"], "pairs"))
    paragraph(console, "{} with {}: {}.".format(*counts))
    outcomes = [f"{count:,} {name}" for name, count in summary["outcomes"].items() if count]
    paragraph(console, ", ".join(outcomes), sign="·", indent=2)
    if rows["other_subjects"]:
        paragraph(console, f"Not audited: {others(rows)}", sign="·", indent=2)
    for subject, one in summary["others"].items():
        came_to = ", ".join(f"{count:,} {name}" for name, count in one["outcomes"].items() if count)
        paragraph(console, f"{told(one['items'], plural(subject))} with them: {came_to}", sign="·", indent=2)
    if balls := summary.get("balls"):
        came_to = ", ".join(f"{count:,} {name}" for name, count in balls["outcomes"].items() if count)
        paragraph(
            console, f"{told(balls['items'], 'balls')} with the catalogue's mounts: {came_to}", sign="·", indent=2
        )
    if rows["passed_over"]:
        paragraph(console, f"Columns not read: {', '.join(rows['passed_over'])}", sign="·", indent=2)
    for title, name in rows.get("meant", {}).items():
        paragraph(console, f"`{title}` is not read: did you mean `{name}`? Rename it, or map it", sign="✗", indent=2)
    if rows["mapped_in_vain"]:
        words = f"Columns of the mapping that the catalogue has not: {', '.join(rows['mapped_in_vain'])}"
        paragraph(console, words, sign="·", indent=2)
    faults = [told(count, name) for name, count in summary["faults"].items() if count]
    paragraph(console, f"Faults: {', '.join(faults)}" if faults else "No faults", sign="·", indent=2)
    if odd := sum(summary["suspicious"].values()):
        paragraph(console, f"{odd:,} figures look wrong", sign="·", indent=2)
    for fact, guess in summary["suspicious_columns"].items():
        paragraph(console, f"{fact} looks wrong in {guess}", sign="?", indent=2)
    if (claims := summary["claims"]) and claims["claims"]:
        held = claims["works"] + claims["conditional"]
        words = f"Of {claims['claims']:,} claims {held:,} hold, {claims['undetermined']:,} cannot be decided"
        paragraph(console, words, sign="·", indent=2)
    _show_lines(summary["claims"])
    if ours := summary.get("claims_of_ours"):
        words = f"Unclear for what we have not stored of our vehicles: {told(ours, 'claims')}, vehicles_to_tell.csv"
        paragraph(console, words, sign="?", indent=2)
    _show_rescued(summary["rescued"])
    if nothing := summary["fits_nothing"]:
        paragraph(console, f"{nothing:,} items are not known to fit any of the rigs", sign="·", indent=2)
    if changes := summary["changes"]:
        paragraph(console, f"Since the earlier audit: {_changed(changes)}", sign="·", indent=2)
    for one in summary["disputed"][:3]:
        paragraph(console, f"{one['rig']}: {one['because']}", sign="?", indent=2)
    if (more := len(summary["disputed"]) - 3) > 0:
        paragraph(console, f"{more:,} more facts of rigs are disputed, doubtful or stale", sign="?", indent=2)
    for one in summary["missing"][:3]:
        name = "item" if "items" in one else "rig"
        where = f"1 {name}" if one[f"{name}s"] == 1 else f"{one[f'{name}s']:,} {name}s"
        words = f"{one['fact']} on {where} alone would decide {told(one['pairs'], 'pairs')}"
        paragraph(console, words, sign="·", indent=2)
    paragraph(console, f"All of it: {output / 'summary.html'}")


def _show_rescued(rescued: Document) -> None:
    """How many false claims an adapter would rescue, where one would."""
    from fitsvc.audits.layout import told

    count, untried = rescued["claims"], rescued["untried"]
    if count or untried:
        more = f"; {told(untried, 'claims')} were not tried" if untried else ""
        words = f"An adapter would rescue {told(count, 'contradicted_claims')}{more}: rescued.csv"
        paragraph(out(), words, sign="·", indent=2)


def _show_lines(claims: Document | None) -> None:
    """What the claims come to as their lines have them, where some are not plain."""
    lines = claims["lines"] if claims else {}
    if lines.keys() & {"unclear", "not stored", "no item"}:
        listed = ", ".join(f"{count:,} {verdict}" for verdict, count in lines.items())
        paragraph(out(), f"Claims as they are written: {listed}", sign="·", indent=2)
    if claims and (titles := claims["passed_over"]):
        paragraph(out(), f"Columns of claims not read: {', '.join(titles)}", sign="·", indent=2)


def _changed(changes: Document) -> str:
    """What changed since an earlier audit, in words: fits by their causes, then items and rigs."""
    fits = [f"{count:,} {word} fits by {cause}" for word in ("new", "lost") for cause, count in changes[word].items()]
    names = ("new_items", "gone_items", "new_rigs", "gone_rigs")
    others = [f"{changes[name]:,} {name.replace('_', ' ')}" for name in names if changes[name]]
    return ", ".join(fits + others) or "the same fits"
