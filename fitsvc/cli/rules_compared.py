"""Two folders of rules, compared for the person who changes them."""

import csv
from collections.abc import Mapping
from contextlib import suppress
from difflib import ndiff
from math import inf
from pathlib import Path
from typing import TYPE_CHECKING, Final

from fitsvc.cli.console import one_line, paragraph, refuse
from fitsvc.cli.rule_view import inline
from fitsvc.document import Json
from fitsvc.language.problems import Problem
from fitsvc.rulebook.yaml_text import to_plain

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from fitsvc.audits.impact import Impact
    from fitsvc.audits.impact_page import ImpactTold
    from fitsvc.cli.console import Console
    from fitsvc.engine.compared import Compared
    from fitsvc.rulebook.meaning import Difference
    from fitsvc.rulebook.rules import Rulebook

_COLOURS: Final = {"added": "green", "removed": "red", "changed": "yellow"}
_PROMISES: Final = ("gives", "so", "at_most")
_HANG: Final = 9
_MOST_ASIDE: Final = 10
_ENDINGS: Final = (".html", ".md")
"""Of a page, and of a comment."""


def show_differences(console: "Console", found: "Sequence[Difference]") -> None:
    """Print what each entry said and says, entry by entry; of one that is gone, its name."""
    for one in found:
        kind = "added" if one.old is None else "removed" if one.new is None else "changed"
        name = f"{one.section}: {one.name}" if one.section != "file" else one.name
        paragraph(console, f"{name} ({one.where})", sign=kind, colour=_COLOURS[kind], hang=_HANG)
        for sign, text in _lines(one.old or {}, one.new or {}) if one.new is not None else ():
            paragraph(console, text, sign=sign, colour="red" if sign == "-" else "green", indent=_HANG, hang=2)


def show_examples(console: "Console", compared: "Compared") -> None:
    """Print the examples on which the two differ, each with its facts and its place."""
    for one in compared.changed:
        facts: Json = to_plain(one.example.node)
        paragraph(console, f"{one.owner}: {one.old}, now {one.new}", style="bold")
        told = inline({name: value for name, value in facts.items() if name not in _PROMISES})
        mark = one.example.node.mark
        paragraph(console, told, indent=2)
        paragraph(console, f"{mark.file}:{mark.line}", style="dim", indent=2)


def _lines(old: Mapping[str, Json], new: Mapping[str, Json]) -> "Iterator[tuple[str, str]]":
    for field in {**old, **new}:
        before, after = old.get(field), new.get(field)
        if isinstance(before, dict) and isinstance(after, dict):
            yield from ((sign, f"{field}.{text}") for sign, text in _lines(before, after))
        elif isinstance(before, list) and isinstance(after, list):
            lines = ndiff([inline(value) for value in before], [inline(value) for value in after])
            yield from ((line[0], f"{field}: {line[2:]}") for line in lines if line[0] in "+-")
        elif before != after:
            yield from ((sign, f"{field}: {inline(v)}") for sign, v in (("-", before), ("+", after)) if v is not None)


def impact_on(
    old: "Rulebook", new: "Rulebook", on: str, sold: "Mapping[str, float]", database: str | None = None
) -> "Impact":
    """What changes on a store, named by its URL, or on a file with a question a line; `sold` are items by SKU.

    Questions of a file may name what is stored in a `database`.
    """
    from fitsvc.audits.impact import impact_on_questions, impact_on_store
    from fitsvc.cli.options import open_database
    from fitsvc.loading.json_text import read_json

    if "://" in on:
        with open_database(on) as opened, opened.session() as session:
            return impact_on_store(old, new, session, sold)
    try:
        lines = Path(on).read_text("utf-8").splitlines()
    except (OSError, UnicodeDecodeError):
        refuse(f"`{on}` cannot be read", "name a store, as in `sqlite:///shop.db`, or a file with a question a line")
    named = [(f"{on}:{number}", line) for number, line in enumerate(lines, 1) if line.strip()]
    questions = ((name, read_json(line, name)) for name, line in named)
    if database is None:
        return impact_on_questions(old, new, questions)
    with open_database(database) as opened, opened.session() as session:
        return impact_on_questions(old, new, questions, session)


def unasked(on: str, database: str | None) -> "Problem":
    """That nothing could be asked, so that nothing is known of what changes."""
    if "://" in on:
        help = "load rigs, or mountings with their vehicles and receivers, and accessories, or name a file of questions"
    elif database is None:
        help = "name the store whose rigs and items the questions name: `--database URL`; else mend what is told above"
    else:
        help = "mend what is told above"
    return Problem("nothing could be asked of both, so that nothing is known of what changes", help)


def shown_name(on: str) -> str:
    """What was asked, as others may read it: of a store's address without its password."""
    if "://" not in on:
        return on
    from sqlalchemy import make_url

    return make_url(on).render_as_string(hide_password=True)


def sold_of(file: Path) -> dict[str, float]:
    """How much of each SKU is sold: CSV with the columns `sku` and `sold`; of one that stands twice the sum."""
    found: dict[str, float] = {}
    try:
        with file.open(encoding="utf-8-sig", newline="") as stream:
            for number, row in enumerate(csv.DictReader(stream, strict=True), 2):
                sku, sold = row.get("sku"), row.get("sold")
                figure = _figure(sold or "")
                if not sku or figure is None:
                    refuse(
                        f"`{file}`, line {number}: `{sold or ''}` is not how much of `{sku or ''}` is sold",
                        "give the file a column `sku` and a column `sold` with figures from 0 up",
                    )
                found[sku] = found.get(sku, 0.0) + figure
    except (OSError, UnicodeDecodeError, csv.Error):
        refuse(f"`{file}` cannot be read", "name a file of CSV in UTF-8, with the columns `sku` and `sold`")
    return found


def _figure(text: str) -> float | None:
    with suppress(ValueError):
        figure = float(text)
        return figure if 0.0 <= figure < inf else None
    return None


def write_impact(found: "ImpactTold", to: Path) -> None:
    """Write what changes as a page or as a comment, after the file's ending."""
    from fitsvc.audits.impact_page import impact_comment, impact_page
    from fitsvc.files import write_text

    try:
        write_text(to, impact_page(found) if to.suffix == _ENDINGS[0] else impact_comment(found))
    except OSError as fault:
        refuse(f"`{to}` cannot be written: {fault.strerror}", "name a file in a folder that is there")


def hold_to_endings(to: Path) -> None:
    """Refuse a file that is neither."""
    if to.suffix not in _ENDINGS:
        refuse(f"`{to}` is neither a page nor a comment", "end its name in `.html` or `.md`")


def show_impact(console: "Console", impact: "Impact") -> None:
    """Print what says yes to more, apart from what says yes to less: by rule and kind, each with cases to ask."""
    for title, groups in (("More say yes", impact.loosened()), ("Fewer say yes", impact.tightened())):
        if groups:
            console.print()
            paragraph(console, title, style="bold")
        for group in groups:
            told = f"{group.rule}, {group.kind}: {group.count} from {group.old} to {group.new}"
            told += f", of which {group.sold:,.0f} are sold" if group.sold else ""
            paragraph(console, told, colour="yellow", sign="+" if group.is_looser else "-", indent=2, hang=2)
            for one in group.cases:
                console.print(f"      {one.name}")
    if impact.aside:
        console.print()
        console.print(f"{len(impact.aside)} left aside, since one of the two cannot be asked:")
        for name in impact.aside[:_MOST_ASIDE]:
            console.print(f"  {one_line(name)}")
    same = impact.asked - impact.changed - impact.reasons
    console.print()
    told = f"{impact.asked} asked: {impact.changed} have another outcome, {impact.reasons} the same for other reasons"
    aside = f"; of {len(impact.aside)} left aside nothing is known" if impact.aside else ""
    console.print(f"{told}, {same} are as they were{aside}")
