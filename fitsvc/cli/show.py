"""`fitsvc show`, `fitsvc export` and `fitsvc observe`: what is known of a record, out and in."""

import json
import sys
from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fitsvc.cli.console import one_line, out, paragraph, refuse
from fitsvc.cli.options import database_option, open_with_rules, read_as_of, rules_instead_option
from fitsvc.subjects import Told

if TYPE_CHECKING:
    from sqlmodel import Session

    from fitsvc.facts import FactReader
    from fitsvc.observing.sheet import Sheet, SheetFact
    from fitsvc.store.tables import ToldOf

_MARKS = {"": ("✓", "green"), "doubtful": ("~", "yellow"), "disputed": ("?", "yellow"), "stale": ("!", "yellow")}


@click.command()
@click.argument("record")
@click.option("--as-of", default=None, metavar="DATE", help="By what had been entered by then.")
@click.option("--json", "as_json", is_flag=True, help="Print the sheet as the service sends it.")
@database_option
@rules_instead_option
def show(record: str, as_of: str | None, as_json: bool, database: str | None, rules: Path | None) -> None:
    """Show what is known of a RECORD, and by whom.

    A RECORD is an id, or an accessory's SKU; told is also since when.
    """
    import msgspec

    from fitsvc.facts import FactReader
    from fitsvc.observing.sheet import sheet
    from fitsvc.store.rigs import told_as

    with open_with_rules(database, rules) as (opened, rulebook), opened.session() as session:
        found = sheet(session, FactReader(rulebook), told_as(record), record, read_as_of(as_of))
    if as_json:
        sys.stdout.buffer.write(msgspec.json.encode(found) + b"\n")
    else:
        _show(found)


@click.command()
@click.argument("records", nargs=-1)
@click.option(
    "--as",
    "form",
    type=click.Choice(["lines", "records.csv", "statements.csv"]),
    default="lines",
    show_default=True,
    help="As JSON Lines of both, or as CSV: the records without facts, or what was said of them.",
)
@database_option
@rules_instead_option
def export(records: tuple[str, ...], form: str, database: str | None, rules: Path | None) -> None:
    """Print what is known of RECORDS, to load elsewhere.

    As `fitsvc load` takes it in; without RECORDS, of all of them.
    """
    from fitsvc.facts import FactReader

    with open_with_rules(database, rules) as (opened, rulebook), opened.session() as session:
        reader = FactReader(rulebook)
        found, told = _records(_named(session, records)), _statements_of(session, reader, _named(session, records))
        if form == "lines":
            for row in (*found, *told):
                click.echo(json.dumps(row, ensure_ascii=False))
        else:
            _print_csv(found if form == "records.csv" else told)


@click.command()
@click.argument("record")
@click.argument("facts", nargs=-1, metavar="FACT=VALUE...")
@click.option("--kind", default="measured", help="How it is known: measured, read, published, assumed.")
@click.option("--by", default="", metavar="NAME", help="Who saw it.")
@click.option("--at", default=None, metavar="DATE", help="When; now if left out.")
@click.option("--note", default="")
@click.option("--tool", default="", help="With what it was measured.")
@click.option("--condition", default="", help="Loaded, level, tyres.")
@click.option("--retracts", default=None, metavar="OBSERVATION", help="Take an earlier observation back.")
@click.option("--corrects", default=None, metavar="OBSERVATION", help="Take back of it what is told anew.")
@click.option("--settles", is_flag=True, help="Take back what cannot hold beside it.")
@click.option("--reason", default="", help="Why one is taken back.")
@click.option("--from", "other", default=None, metavar="OTHER", help="Take over what stands of another record.")
@database_option
@rules_instead_option
def observe(
    record: str, facts: tuple[str, ...], other: str | None, database: str | None, rules: Path | None, **told: Any
) -> None:
    """Tell what was seen of a RECORD.

    Such as `fitsvc observe mnt_ours pin_to_bumper="4 in ± 1/8 in" --by Ann`. With `--from` the facts are named alone:
    what stands of them on another record, where another part was fitted, is told of this one with who saw it and when.
    """
    from tempfile import TemporaryDirectory

    from fitsvc.cli.load import described, details
    from fitsvc.facts import FactReader
    from fitsvc.language.problems import ProblemsFound
    from fitsvc.loading.load import load_file
    from fitsvc.store.rigs import told_as

    row = {name: value for name, value in told.items() if value}
    about = {"subject": told_as(record), "record": record}
    with TemporaryDirectory() as folder, open_with_rules(database, rules) as (opened, rulebook):
        reader = FactReader(rulebook)
        rows = [row | about | {"facts": dict(map(_told, facts))}] if other is None else []
        if other is not None:
            with opened.session() as session:
                rows = [one | about for one in _taken_over(session, reader, other, facts)]
        path = Path(folder) / "told.jsonl"
        path.write_text("\n".join(map(json.dumps, rows)), encoding="utf-8")
        try:
            loaded = load_file(opened, reader, path)
        except ProblemsFound as found:
            raise ProblemsFound([replace(one, file=record, line=0) for one in found.problems]) from found
    out().print(described(loaded).replace(str(path), record))
    for line in details(loaded):
        out().print(f"  {line}")


def _taken_over(
    session: "Session", reader: "FactReader", other: str, names: tuple[str, ...]
) -> Iterator[dict[str, Any]]:
    """What somebody saw of some facts of another record and still stands, as it was said."""
    from fitsvc.observing.sheet import standing_rows
    from fitsvc.store.rigs import told_as
    from fitsvc.store.statements import RANK, SEEN

    if not names:
        refuse("no fact is named that still holds", f"name them, as `fitsvc show {other}` tells them")
    found = set[str]()
    for row in standing_rows(session, reader, told_as(other), other, stale=False):
        facts = {name: value for name, value in row.pop("facts", {}).items() if name in names}
        if facts and RANK[row["kind"]] == SEEN:
            found |= facts.keys()
            row.pop("evidence", None)
            note = f"taken over from {other}"
            yield row | {"facts": facts, "note": f"{row['note']}; {note}" if row.get("note") else note}
    if missing := sorted(set(names) - found):
        refuse(f"nobody saw {', '.join(missing)} of {other}", "leave it out, or measure it on this one")


def _told(text: str) -> tuple[str, str]:
    name, sign, value = text.partition("=")
    if not sign:
        refuse(f"`{text}` tells nothing", "write it as `fact=value`")
    return name.strip(), value.strip()


def _named(session: "Session", records: tuple[str, ...]) -> Iterator[tuple[Told, "ToldOf"]]:
    """The records that are named, or all: those that others name come first."""
    from fitsvc.store.records import list_records
    from fitsvc.store.rigs import get_known, list_rigs, told_as
    from fitsvc.store.tables import TABLES

    yield from ((subject, get_known(session, subject, one)) for one in records for subject in (told_as(one),))
    for subject in () if records else TABLES:
        after: str | None = None
        while page := list_records(session, subject, after=after, limit=1000):
            yield from ((subject, one) for one in page)
            after = page[-1].key
    after = None
    while not records and (rigs := list_rigs(session, after=after, limit=1000)):
        yield from (("rig", one) for one in rigs)
        after = rigs[-1].id


def _records(named: Iterable[tuple[Told, "ToldOf"]]) -> Iterator[dict[str, Any]]:
    """The records without their facts."""
    from fitsvc.store.tables import Accessory, Mounting, SavedRig

    for subject, record in named:
        if isinstance(record, SavedRig):
            yield {"subject": subject, "id": record.id, "name": record.name, "rig": record.document}
            continue
        own = {"id": record.key}
        if isinstance(record, Accessory):
            own = {"sku": record.key}
        elif isinstance(record, Mounting):
            own |= {"vehicle": record.vehicle_id, "receiver": record.receiver_id}
        yield {"subject": getattr(record, "subject", subject), **own, "label": getattr(record, "label", "")}


def _statements_of(
    session: "Session", reader: "FactReader", named: Iterable[tuple[Told, "ToldOf"]]
) -> Iterator[dict[str, Any]]:
    """What stands of each record."""
    from fitsvc.observing.sheet import standing_rows
    from fitsvc.store.tables import SavedRig

    for subject, record in named:
        key = record.id if isinstance(record, SavedRig) else record.key
        yield from standing_rows(session, reader, subject, key)


def _print_csv(rows: Iterator[dict[str, Any]]) -> None:
    """Rows as one CSV table, in which facts and what was tried have columns of their own."""
    import csv
    import io

    from fitsvc.loading.cells import written_cell
    from fitsvc.loading.csv_rows import FACT, OBSERVED

    flat = []
    for row in rows:
        facts, evidence = row.pop("facts", {}), row.pop("evidence", {})
        if "sku" in row:
            row["id"] = row.pop("sku")
        if "leant_on" in row:
            row["leant_on"] = json.dumps(row["leant_on"])
        tried = {f"evidence_{name}": value for name, value in evidence.items()}
        flat.append(row | tried | {FACT + name if name in OBSERVED else name: told for name, told in facts.items()})
    columns = list(dict.fromkeys(name for row in flat for name in row))
    text = io.StringIO()
    writer = csv.DictWriter(text, columns, lineterminator="\n")
    writer.writeheader()
    writer.writerows({name: written_cell(value) for name, value in row.items()} for row in flat)
    click.echo(text.getvalue(), nl=False)


def _show(found: "Sheet") -> None:
    console = out()
    console.print(one_line(f"{found.record}  {found.label}"), "bold")
    for fact in found.facts:
        sign, colour = _MARKS[fact.state]
        state = f" ({fact.state})" if fact.state else ""
        paragraph(console, f"{fact.label}: {fact.value or 'not known'}{state}", sign=sign, colour=colour)
        for line in _statements(fact):
            paragraph(console, line, style="dim", indent=4)
    for tried in found.tries:
        gone = "taken back: " if tried.taken_back else ""
        told = ", ".join(f"{name} {value}" for name, value in tried.evidence.items())
        paragraph(console, f"{gone}tried: {told}, by {tried.by or 'somebody'} on {tried.at[:10]}", sign="·")
    if found.unknown:
        paragraph(console, f"Not known: {', '.join(found.unknown)}.", style="dim")


def _statements(fact: "SheetFact") -> Iterator[str]:
    from fitsvc.store.statements import who_said

    for one in fact.statements:
        with_ = "".join(f", {text}" for text in (one.tool, one.condition, one.note) if text)
        count = "" if one.counts else f" [{one.why}]" if one.why else " [does not count]"
        who = who_said(one.by, one.source) or "somebody"
        yield f"{one.said}, {one.kind} by {who} on {one.at[:10]}{with_} ({one.observation}){count}"
