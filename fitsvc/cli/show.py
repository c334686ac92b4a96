"""`fitsvc show`, `fitsvc export` and `fitsvc observe`: what is known of a record, out and in."""

import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fitsvc.cli.console import one_line, out, paragraph, refuse
from fitsvc.cli.options import database_option, load_rules, open_database, read_as_of, rules_option
from fitsvc.subjects import Subject

if TYPE_CHECKING:
    from sqlmodel import Session

    from fitsvc.facts import FactReader
    from fitsvc.observing.sheet import Sheet, SheetFact

_MARKS = {"": ("✓", "green"), "doubtful": ("~", "yellow"), "disputed": ("?", "yellow"), "stale": ("!", "yellow")}


@click.command()
@click.argument("record")
@click.option("--as-of", default=None, metavar="DATE", help="By what had been entered by then.")
@click.option("--json", "as_json", is_flag=True, help="Print the sheet as the service sends it.")
@database_option
@rules_option
def show(record: str, as_of: str | None, as_json: bool, database: str | None, rules: Path | None) -> None:
    """Show what is known of a RECORD, and by whom.

    A RECORD is an id, or an accessory's SKU; told is also since when.
    """
    import msgspec

    from fitsvc.facts import FactReader
    from fitsvc.observing.sheet import sheet

    reader = FactReader(load_rules(rules))
    with open_database(database) as opened, opened.session() as session:
        found = sheet(session, reader, subject_of(record), record, read_as_of(as_of))
    if as_json:
        sys.stdout.buffer.write(msgspec.json.encode(found) + b"\n")
    else:
        _show(found)


@click.command()
@click.argument("records", nargs=-1)
@database_option
@rules_option
def export(records: tuple[str, ...], database: str | None, rules: Path | None) -> None:
    """Print what is known of RECORDS, to load elsewhere.

    As JSON Lines that `fitsvc load` takes in; without RECORDS, of all of them.
    """
    from fitsvc.facts import FactReader

    reader = FactReader(load_rules(rules))
    with open_database(database) as opened, opened.session() as session:
        for row in _rows(session, reader, records):
            click.echo(json.dumps(row, ensure_ascii=False))


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
@database_option
@rules_option
def observe(record: str, facts: tuple[str, ...], database: str | None, rules: Path | None, **told: Any) -> None:
    """Tell what was seen of a RECORD.

    Such as `fitsvc observe mnt_ours pin_to_bumper="4 in ± 1/8 in" --by Ann`.
    """
    from tempfile import TemporaryDirectory

    from fitsvc.cli.load import described, details
    from fitsvc.facts import FactReader
    from fitsvc.loading.load import load_file

    row = {name: value for name, value in told.items() if value}
    row |= {"subject": subject_of(record), "record": record, "facts": dict(map(_told, facts))}
    with TemporaryDirectory() as folder, open_database(database) as opened:
        path = Path(folder) / "told.jsonl"
        path.write_text(json.dumps(row), encoding="utf-8")
        loaded = load_file(opened, FactReader(load_rules(rules)), path)
    out().print(described(loaded).replace(str(path), record))
    for line in details(loaded):
        out().print(f"  {line}")


def subject_of(record: str) -> Subject:
    """What a record is, by how its id begins; a SKU begins as it likes."""
    from fitsvc.store.rigs import BY_PREFIX

    return BY_PREFIX.get(record[:4], "accessory")


def _told(text: str) -> tuple[str, str]:
    name, sign, value = text.partition("=")
    if not sign:
        refuse(f"`{text}` tells nothing", "write it as `fact=value`")
    return name.strip(), value.strip()


def _rows(session: "Session", reader: "FactReader", records: tuple[str, ...]) -> Iterator[dict[str, Any]]:
    """The records without their facts, then what stands of each."""
    from fitsvc.observing.sheet import standing_rows
    from fitsvc.store.records import get_record, list_records
    from fitsvc.store.tables import TABLES, Accessory, Mounting

    named: list[tuple[Subject, str]] = [(subject_of(one), one) for one in records]
    for subject in () if records else TABLES:
        after: str | None = None
        while page := list_records(session, subject, after=after, limit=1000):
            named += [(subject, one.key) for one in page]
            after = page[-1].key
    for subject, key in named:
        record = get_record(session, subject, key)
        own = {"id": key}
        if isinstance(record, Accessory):
            own = {"sku": key}
        elif isinstance(record, Mounting):
            own |= {"vehicle": record.vehicle_id, "receiver": record.receiver_id}
        yield {"subject": getattr(record, "subject", subject), **own, "label": record.label}
    for subject, key in named:
        yield from standing_rows(session, reader, subject, key)


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
        paragraph(console, f"Nobody has told: {', '.join(found.unknown)}.", style="dim")


def _statements(fact: "SheetFact") -> Iterator[str]:
    for one in fact.statements:
        with_ = "".join(f", {text}" for text in (one.tool, one.condition, one.note) if text)
        count = "" if one.counts else f" [{one.why}]" if one.why else " [does not count]"
        yield f"{one.said}, {one.kind} by {one.by or 'somebody'} on {one.at[:10]}{with_} ({one.observation}){count}"
