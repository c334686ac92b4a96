"""An audit's summary as a page for people who never saw fitsvc: what to tell the supplier first, then the shop."""

from collections.abc import Mapping, Sequence
from html import escape
from typing import Final

from fitsvc.audits.fix_rows import Fix
from fitsvc.audits.layout import Html, bars, day_in_words, file_link, table, told, whole
from fitsvc.audits.others import BALL
from fitsvc.audits.page_claims import PageWords, all_claims, balls_part, claims_part, in_short, item_number
from fitsvc.document import Document
from fitsvc.subjects import plural

_OUTCOME: Final = {
    "works": "fits",
    "conditional": "fits on a condition",
    "undetermined": "open: something is not known",
    "fails": "does not fit",
}
_MOST_FIXES: Final = 12
_MOST_FACTS: Final = 10
_LONG: Final = 120
"""Letters of what is taken in a cell, which are told once."""
FIX_LIST: Final = "fix_list"
"""The table and the workbook of what is to be mended."""


def page(summary: Document, words: PageWords) -> str:
    """The page."""
    about, rows, changes = summary["about"], summary["rows"], summary["changes"]
    nothing = summary["fits_nothing"]
    items, rigs = ([one for one in summary["missing"] if name in one] for name in ("items", "rigs"))
    parts = [
        _short(summary),
        _how_to_read(),
        _before(changes["before"], summary) if changes else "",
        "<h2>For whoever keeps the catalogue</h2>",
        _mend(words.fixes, summary["fixes"]),
        claims_part(summary, words),
        _facts("Facts worth measuring: of the items", items, words, "missing_of_items.csv"),
        _rows(rows, summary),
        table(
            "Figures that look wrong",
            ("figure", "items"),
            _suspicious(summary, words),
            f"They stand far from what others of the kind have; each with a guess why: {file_link('suspicious.csv')}.",
        ),
        "<h2>For the shop</h2>",
        bars(
            "All items with all vehicles",
            [(_OUTCOME[name], count) for name, count in summary["outcomes"].items()],
            "Each item was held against each vehicle, claimed or not.",
        ),
        (
            f"<h3>What fits nothing</h3><p>{told(nothing, 'items')} {'is' if nothing == 1 else 'are'} not known to fit "
            f"any of the vehicles: {file_link('fits_nothing.csv')}, with how many fail and how many cannot be "
            "decided.</p>"
        ),
        table(
            "Vehicles without an item known to fit",
            ("of this kind", "vehicles"),
            ((words.kinds.get(kind, kind), count) for kind, count in summary["rigs_without"].items()),
            f"Which they are: {file_link('rigs_without.csv')}.",
        ),
        balls_part(summary["balls"]),
        _facts("Facts worth measuring: of the vehicles", rigs, words, "missing_of_rigs.csv"),
        table(
            "Disputed, doubtful or stale",
            ("vehicle", "what was said"),
            ((words.rigs.get(one["rig"], one["rig"]), one["because"]) for one in summary["disputed"]),
            "What rests on it is as sure as that leaves it.",
        ),
        _untold(summary["untold"]),
        _aside(summary["rigs_set_aside"]),
        table(
            "What decides",
            ("what is asked of a pair", "does not fit", "open", "on a condition"),
            (
                (words.rules.get(one["rule"], one["rule"]), one["fails"], one["undetermined"], one["conditional"])
                for one in summary["rules"]
            ),
            "Pairs of an item and a vehicle whose answer it brings about, alone or with others.",
        ),
        _changes(changes) if changes else "",
        (
            f'<h3>Judged by</h3><p class="note">The rules {escape(summary["rulebook"]["name"])}, '
            f"<code>{escape(summary['rulebook']['digest'])}</code>. The same file, vehicles and rules give the same "
            "answers.</p>"
        ),
    ]
    title = f"Catalogue audit: {about['supplier'] or about['file']}"
    return whole(title, f"<h1>{escape(title)}</h1>{_about(about, summary)}", parts)


def _about(about: Document, summary: Document) -> str:
    lines = [("Supplier", about["supplier"]), ("File", about["file"]), ("Audited on", day_in_words(about["day"]))]
    counted = f"{told(summary['rows']['items'], 'items')} with {told(summary['rigs'], 'vehicles')}: "
    lines.append(("Compared", counted + told(summary["pairs"], "pairs")))
    return f"<dl>{''.join(f'<dt>{name}</dt><dd><b>{escape(text)}</b></dd>' for name, text in lines if text)}</dl>"


def _short(summary: Document) -> str:
    """What matters, in a few sentences."""
    fixes = summary["fixes"]
    lines = [*in_short(summary), _read(summary["rows"], beside(summary))]
    if fixes:
        lines.append(
            f"<b>{told(fixes, 'cells')}</b> should be mended, the one that decides most first: "
            f"{file_link(f'{FIX_LIST}.xlsx')}."
        )
    return f"<h2>In short</h2><ul>{''.join(f'<li>{line}</li>' for line in lines)}</ul>"


def _before(before: Document, summary: Document) -> str:
    """This delivery beside the earlier one."""
    then, now = (
        {
            "rows judged whole": one["rows"]["items"] - one["rows"]["rows_of_bad_cells"],
            "rows in all": one["rows"]["rows"],
            "claims that are false": (all_claims(one) or {}).get("fails", 0),
            "claims that are open": (all_claims(one) or {}).get("undetermined", 0),
            "claims in all": (all_claims(one) or {}).get("claims", 0),
            "cells to mend": one["fixes"] or 0,
        }
        for one in (before, summary)
    )
    when = day_in_words((before["about"] or {}).get("day", "")) or "before"
    rows = [(name, then[name], now[name]) for name in now]
    return table("Since the earlier delivery", ("", when, "now"), rows, "What changed of each pair stands below.")


def _how_to_read() -> str:
    return (
        '<p class="note">A vehicle here is one with its hitch receiver as it is fitted; the same model may be here '
        "several times. One item with one vehicle is a pair; that the one fits the other, where the catalogue says so, "
        "is a claim. A line of the catalogue may hold several claims, and one claim may be written in several lines. "
        "Each answer follows from rules about sizes, weights and room, not from a list. Where a fact is not known the "
        "answer stays open: it is never taken for a yes. Ratings are the makers': the vehicle's manual, the labels on "
        "every part and the law of the place come before anything that is said here.</p>"
    )


def beside(summary: Document) -> Document:
    """What was judged beside accessories, by its subject."""
    return {**summary["others"], **({BALL: summary["balls"]} if summary["balls"] else {})}


def _read(rows: Document, others: Document) -> str:
    """How much of the file was judged."""
    judged = [told(one["items"], plural(subject)) for subject, one in others.items()]
    judged = [told(rows["items"], "items"), *judged] if rows["items"] or not judged else judged
    words = f"Of {told(rows['rows'], 'rows')} {' and '.join(judged)} were judged; "
    words += f"{told(rows['bad_rows'], 'rows')} could not be"
    if rows["bad_cells"]:
        words += f", and {told(rows['bad_cells'], 'cells')} in {told(rows['rows_of_bad_cells'], 'rows')} do not read"
    return words + "."


def _rows(rows: Document, summary: Document) -> str:
    whole_ = rows["items"] + sum(one["items"] for one in beside(summary).values()) - rows["rows_of_bad_cells"]
    counts = [
        ("judged whole", whole_),
        ("judged, but for cells that do not read", rows["rows_of_bad_cells"]),
        ("not judged", rows["bad_rows"]),
    ]
    words = ["A row is not judged where it has no item number of its own, or not a cell for each column."]
    words.append("What a cell says that does not read is not known, and nothing fits because of it.")
    if rows["other_subjects"]:
        words.append(
            "Accessories, trailers, adapters, wiring adapters and, with mounts, balls are audited; not audited: "
            f"{escape(others(rows))}."
        )
    if rows["passed_over"]:
        listed = ", ".join(f"<code>{escape(title)}</code>" for title in rows["passed_over"])
        words.append(f"These columns are no facts of accessories and were not read: {listed}.")
        for title, name in rows.get("meant", {}).items():
            words.append(f"<code>{escape(title)}</code> is probably <code>{escape(name)}</code>: rename it, or map it.")
    if rows["mapped_in_vain"]:
        listed = ", ".join(f"<code>{escape(title)}</code>" for title in rows["mapped_in_vain"])
        words.append(f"The mapping names columns that the catalogue has not: {listed}.")
    names = [name for name in ("bad_rows", "bad_cells", "bad_claims") if summary["faults"][name]]
    if names:
        words.append(f"One by one: {', '.join(file_link(f'{name}.csv') for name in names)}.")
    return bars("Rows of the file", counts, " ".join(words))


def _suspicious(summary: Document, words: PageWords) -> list[tuple[str, int | str]]:
    """The figures that look wrong, with how many items each does of; of a whole column what it probably is."""
    columns, single = summary["suspicious_columns"], summary["suspicious"]
    told_: list[tuple[str, int | str]] = [
        (words.facts.get(f"accessory.{name}", name), columns[name]) for name in columns
    ]
    return [*told_, *((words.facts.get(f"accessory.{name}", name), single[name]) for name in single)]


def others(rows: Document) -> str:
    """The rows of other subjects than accessories, counted by subject in words."""
    return ", ".join(told(count, plural(subject)) for subject, count in rows["other_subjects"].items())


def _mend(fixes: Sequence[Fix], count: int) -> str:
    """The first of what is to be mended."""
    shown, said = fixes[:_MOST_FIXES], dict[str, int]()
    for one in shown:
        said.setdefault(one.allowed, one.row)
    more = f" It has {told(count - len(shown), 'more cells')}." if count > len(shown) else ""
    return table(
        "Mend these first",
        ("row", "item", "column", "stands there", "what is wrong", "what to write or do", "decides"),
        (
            (
                _where(one, shown),
                item_number(one.sku),
                one.column,
                one.stands,
                one.wrong,
                _allowed(one, said),
                _decides(one),
            )
            for one in shown
        ),
        "So many pairs of an item and a vehicle wait for the cell (for one that does not read, maybe with others), or "
        "are wrong by it. The whole list: "
        f"{file_link(f'{FIX_LIST}.xlsx')}, {file_link(f'{FIX_LIST}.csv')}.{more}",
    )


def _allowed(one: Fix, said: Mapping[str, int]) -> str:
    """What to write or do; a long list of what is taken stands there once, and is pointed to behind."""
    first = said[one.allowed]
    return one.allowed if first in (0, one.row) or len(one.allowed) < _LONG else f"as in row {first}"


def _where(one: Fix, shown: Sequence[Fix]) -> str:
    """The row, and its file where not all stand in one; nothing for a whole column."""
    row = str(one.row or "")
    return f"{row} of {one.file}" if row and len({other.file for other in shown}) > 1 else row


def _decides(one: Fix) -> str:
    return told(one.pairs, "pairs") if one.pairs else told(one.claims, "claims") if one.claims else "with other cells"


def _facts(title: str, missing: Sequence[Document], words: PageWords, file: str) -> str:
    """The facts that would decide most, as a chart and with how each is learnt."""
    shown = [(_sentence(words.facts.get(one["fact"], one["fact"])), one) for one in missing]
    chart = bars(title, [(label, one["pairs"]) for label, one in shown[:_MOST_FACTS]], "Pairs that each would decide.")
    where = "items" if missing and "items" in missing[0] else "rigs"
    return (chart if shown else "") + table(
        "How to find them out" if shown else title,
        ("fact", "how", "on", "pairs decided", "claims decided"),
        (
            (
                Html(f'<span title="{escape(one["fact"])}">{escape(label)}</span>'),
                words.learnt.get(one["fact"], ""),
                told(one[where], where.replace("rigs", "vehicles")),
                one["pairs"],
                one["claims"],
            )
            for label, one in shown
        ),
        f"Pairs that wait for this fact alone. One by one: {file_link(file)}.",
    )


def _sentence(label: str) -> str:
    return label[:1].upper() + label[1:]


def _aside(rigs: Sequence[str]) -> str:
    """The rigs that were not audited, where there are any: an earlier change of their parts broke them."""
    note = "No item was judged with them: mend each, or delete it, and audit again."
    return (
        table("Rigs set aside", ("rig and what is wrong with it",), ((Html(escape(one)),) for one in rigs), note)
        if rigs
        else ""
    )


def _untold(vehicles: Sequence[Document]) -> str:
    """The vehicles that claims name by what is not stored of them, where there are any."""
    if not vehicles:
        return ""
    return table(
        "Vehicles of ours that are told too little of",
        ("vehicle", "what is not told of it", "claims that wait for it"),
        ((one["vehicle"], f"whether it is `{one['wanting']}`", one["claims"]) for one in vehicles),
        "Claims name them by it. The supplier cannot mend this: it is ours to store, in the vehicle's label or facts. "
        f"All of them: {file_link('vehicles_to_tell.csv')}.",
    )


def _changes(changes: Document) -> str:
    rows = [(f"{word} fits, by {cause}", n) for word in ("new", "lost") for cause, n in changes[word].items()]
    names = ("new_items", "gone_items", "new_rigs", "gone_rigs")
    rows += [(name.replace("_", " "), changes[name]) for name in names]
    return table("Since the earlier audit", ("change", "number"), rows, file_link("changes.csv"))
