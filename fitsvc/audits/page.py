"""An audit's summary as a page for people who never saw fitsvc: what to tell the supplier first, then the shop."""

from collections.abc import Sequence
from html import escape
from typing import Final

from fitsvc.answers.phrases import joined
from fitsvc.audits.fix_rows import FIX_LIST
from fitsvc.audits.layout import Html, bars, day_in_words, file_link, table, told, whole
from fitsvc.audits.others import BALL
from fitsvc.audits.page_claims import PageWords, all_claims, balls_part, claims_part, in_short
from fitsvc.audits.page_fixes import facts_part, mend_part, suspicious_part
from fitsvc.document import Document
from fitsvc.subjects import plural
from fitsvc.tongues import later, t

_OUTCOME: Final = {
    "works": later("fits"),
    "conditional": later("fits on a condition"),
    "undetermined": later("open: something is not known"),
    "fails": later("does not fit"),
}
_CAUSE: Final = {
    "item": later("the item"),
    "rig": later("the vehicle"),
    "rulebook": later("the rules"),
    "program": later("another version of fitsvc"),
}
"""What a fit is new or lost by, as the table of changes names it."""
_CHANGE: Final = {
    "new": later("new fits, by {cause}"),
    "lost": later("lost fits, by {cause}"),
    "less": later("claimed fits with less on them, by {cause}"),
    "more": later("claimed fits with more on them, by {cause}"),
    "new_items": later("new items"),
    "gone_items": later("items that are gone"),
    "new_rigs": later("new vehicles"),
    "gone_rigs": later("vehicles that are gone"),
}


def page(summary: Document, words: PageWords) -> str:
    """The page."""
    about, changes = summary["about"], summary["changes"]
    title = t("Catalogue audit: {of}", of=about["supplier"] or about["file"])
    parts = [
        _short(summary),
        _how_to_read(),
        _before(changes["before"], summary) if changes else "",
        f"<h2>{t('For whoever keeps the catalogue')}</h2>",
        *_for_supplier(summary, words),
        f"<h2>{t('For the shop')}</h2>",
        *_for_shop(summary, words),
        _changes(changes) if changes else "",
        _judged_by(summary["rulebook"]),
    ]
    return whole(title, f"<h1>{escape(title)}</h1>{_about(about, summary)}", parts)


def _for_supplier(summary: Document, words: PageWords) -> list[str]:
    """What the one who keeps the catalogue can mend."""
    items = [one for one in summary["missing"] if "items" in one]
    return [
        mend_part(words.fixes, summary["fixes"]),
        claims_part(summary, words),
        facts_part(t("Facts worth measuring: of the items"), items, words, "missing_of_items.csv"),
        _rows(summary["rows"], summary),
        suspicious_part(words.fixes),
    ]


def _for_shop(summary: Document, words: PageWords) -> list[str]:
    """What who sells can do with it."""
    rigs = [one for one in summary["missing"] if "rigs" in one]
    return [
        bars(
            t("All items with all vehicles"),
            [(t(_OUTCOME[name]), count) for name, count in summary["outcomes"].items()],
            t("Each item was held against each vehicle, claimed or not."),
        ),
        _fits_nothing(summary["fits_nothing"]),
        table(
            t("Vehicles without an item known to fit"),
            (t("of this kind"), t("vehicles")),
            ((words.kinds.get(kind, kind), count) for kind, count in summary["rigs_without"].items()),
            t("Which they are: {file}.", file=file_link("rigs_without.csv")),
        ),
        balls_part(summary["balls"]),
        facts_part(t("Facts worth measuring: of the vehicles"), rigs, words, "missing_of_rigs.csv"),
        table(
            t("Disputed, doubtful or stale"),
            (t("vehicle"), t("what was said")),
            ((words.rigs.get(one["rig"], one["rig"]), one["because"]) for one in summary["disputed"]),
            t("What rests on it is as sure as that leaves it."),
        ),
        _untold(summary["untold"]),
        _aside(summary["rigs_set_aside"]),
        table(
            t("What decides"),
            (t("what is asked of a pair"), t("does not fit"), t("open"), t("on a condition")),
            (
                (words.rules.get(one["rule"], one["rule"]), one["fails"], one["undetermined"], one["conditional"])
                for one in summary["rules"]
            ),
            t("Pairs of an item and a vehicle whose answer it brings about, alone or with others."),
        ),
    ]


def _fits_nothing(count: int) -> str:
    words = t(
        "{items} is not known to fit any of the vehicles: {file}, with how many fail and how many cannot be decided."
        if count == 1
        else "{items} are not known to fit any of the vehicles: {file}, with how many fail and how many cannot be "
        "decided.",
        items=told(count, "items"),
        file=file_link("fits_nothing.csv"),
    )
    return f"<h3>{t('What fits nothing')}</h3><p>{words}</p>"


def _judged_by(rulebook: Document) -> str:
    rules = f"{escape(rulebook['name'])}, <code>{escape(rulebook['digest'])}</code>"
    words = t("The rules {rules}. The same file, vehicles and rules give the same answers.", rules=rules)
    return f'<h3>{t("Judged by")}</h3><p class="note">{words}</p>'


def _about(about: Document, summary: Document) -> str:
    items, vehicles = told(summary["rows"]["items"], "items"), told(summary["rigs"], "vehicles")
    compared = t(
        "{items} with {vehicles}: {pairs}", items=items, vehicles=vehicles, pairs=told(summary["pairs"], "pairs")
    )
    lines = [
        (t("Supplier"), about["supplier"]),
        (t("File"), about["file"]),
        (t("Audited on"), day_in_words(about["day"])),
        (t("Compared"), compared),
    ]
    return f"<dl>{''.join(f'<dt>{name}</dt><dd><b>{escape(text)}</b></dd>' for name, text in lines if text)}</dl>"


def _short(summary: Document) -> str:
    """What matters, in a few sentences."""
    fixes = summary["fixes"]
    lines = [*in_short(summary), _read(summary["rows"], beside(summary))]
    if fixes:
        cells, file = f"<b>{told(fixes, 'cells')}</b>", file_link(f"{FIX_LIST}.xlsx")
        lines.append(t("{cells} should be mended, the one that decides most first: {file}.", cells=cells, file=file))
    return f"<h2>{t('In short')}</h2><ul>{''.join(f'<li>{line}</li>' for line in lines)}</ul>"


def _before(before: Document, summary: Document) -> str:
    """This delivery beside the earlier one."""
    then, now = (
        [
            (t("rows judged whole"), one["rows"]["items"] - one["rows"]["rows_of_bad_cells"]),
            (t("rows in all"), one["rows"]["rows"]),
            (t("claims that are false"), (all_claims(one) or {}).get("fails", 0)),
            (t("claims that are open"), (all_claims(one) or {}).get("undetermined", 0)),
            (t("claims in all"), (all_claims(one) or {}).get("claims", 0)),
            (t("cells to mend"), one["fixes"] or 0),
        ]
        for one in (before, summary)
    )
    when = day_in_words((before["about"] or {}).get("day", "")) or t("before")
    rows = [(name, earlier, later_) for (name, earlier), (_, later_) in zip(then, now, strict=True)]
    return table(
        t("Since the earlier delivery"), ("", when, t("now")), rows, t("What changed of each pair stands below.")
    )


def _how_to_read() -> str:
    words = t(
        "A vehicle here is one with its hitch receiver as it is fitted; the same model may be here several times. One "
        "item with one vehicle is a pair; that the one fits the other, where the catalogue says so, is a claim. A line "
        "of the catalogue may hold several claims, and one claim may be written in several lines. Each answer follows "
        "from rules about sizes, weights and room, not from a list. Where a fact is not known the answer stays open: "
        "it is never taken for a yes. Ratings are the makers': the vehicle's manual, the labels on every part and the "
        "law of the place come before anything that is said here."
    )
    return f'<p class="note">{words}</p>'


def beside(summary: Document) -> Document:
    """What was judged beside accessories, by its subject."""
    return {**summary["others"], **({BALL: summary["balls"]} if summary["balls"] else {})}


def _read(rows: Document, others: Document) -> str:
    """How much of the file was judged."""
    judged = [told(one["items"], plural(subject)) for subject, one in others.items()]
    judged = [told(rows["items"], "items"), *judged] if rows["items"] or not judged else judged
    words = t(
        "Of {rows} {items} were judged; {bad} could not be",
        rows=told(rows["rows"], "rows"),
        items=joined(judged),
        bad=told(rows["bad_rows"], "rows"),
    )
    if rows["bad_cells"]:
        cells, of = told(rows["bad_cells"], "cells"), told(rows["rows_of_bad_cells"], "rows")
        words += t(", and {cells} in {rows} do not read", cells=cells, rows=of)
    return words + "."


def _rows(rows: Document, summary: Document) -> str:
    whole_ = rows["items"] + sum(one["items"] for one in beside(summary).values()) - rows["rows_of_bad_cells"]
    counts = [
        (t("judged whole"), whole_),
        (t("judged, but for cells that do not read"), rows["rows_of_bad_cells"]),
        (t("not judged"), rows["bad_rows"]),
    ]
    words = [t("A row is not judged where it has no item number of its own, or not a cell for each column.")]
    words.append(t("What a cell says that does not read is not known, and nothing fits because of it."))
    if rows["other_subjects"]:
        words.append(
            t(
                "Accessories, trailers, adapters, wiring adapters and, with mounts, balls are audited; not audited: "
                "{others}.",
                others=escape(others(rows)),
            )
        )
    ignored = rows.get("ignored", ())
    if unknown := [title for title in rows["passed_over"] if title not in ignored]:
        titles = _codes(unknown)
        words.append(t("These columns are no facts of accessories and were not read: {titles}.", titles=titles))
    if ignored:
        by_mapping = t(
            "The mapping says to pass over these columns, and they were not read: {titles}. Where one tells a fact, "
            "say in the mapping which.",
            titles=_codes(ignored),
        )
        words.append(by_mapping)
    if left := rows.get("sheets_left"):
        sheets = ", ".join(f"{_codes([name])} ({told(count, 'rows')})" for name, count in left.items())
        words.append(t("These sheets of the workbook were not read: {sheets}.", sheets=sheets))
    for title, name in rows.get("meant", {}).items():
        one, other = _codes([title]), _codes([name])
        words.append(t("{title} is probably {fact}: rename it, or map it.", title=one, fact=other))
    if rows["mapped_in_vain"]:
        titles = _codes(rows["mapped_in_vain"])
        words.append(t("The mapping names columns that the catalogue has not: {titles}.", titles=titles))
    names = [name for name in ("bad_rows", "bad_cells", "bad_claims") if summary["faults"][name]]
    if names:
        words.append(t("One by one: {files}.", files=", ".join(file_link(f"{name}.csv") for name in names)))
    return bars(t("Rows of the file"), counts, " ".join(words))


def _codes(titles: Sequence[str]) -> str:
    return ", ".join(f"<code>{escape(title)}</code>" for title in titles)


def others(rows: Document) -> str:
    """The rows of other subjects than accessories, counted by subject in words."""
    return ", ".join(told(count, plural(subject)) for subject, count in rows["other_subjects"].items())


def _aside(rigs: Sequence[str]) -> str:
    """The rigs that were not audited, where there are any: an earlier change of their parts broke them."""
    note = t("No item was judged with them: mend each, or delete it, and audit again.")
    titles = (t("rig and what is wrong with it"),)
    return table(t("Rigs set aside"), titles, ((Html(escape(one)),) for one in rigs), note) if rigs else ""


def _untold(vehicles: Sequence[Document]) -> str:
    """The vehicles that claims name by what is not stored of them, where there are any."""
    if not vehicles:
        return ""
    return table(
        t("Vehicles of ours that are told too little of"),
        (t("vehicle"), t("what is not told of it"), t("claims that wait for it")),
        ((one["vehicle"], t("whether it is `{what}`", what=one["wanting"]), one["claims"]) for one in vehicles),
        t(
            "Claims name them by it. The supplier cannot mend this: it is ours to store, in the vehicle's label or "
            "facts. All of them: {file}.",
            file=file_link("vehicles_to_tell.csv"),
        ),
    )


def _changes(changes: Document) -> str:
    rows = [
        (t(_CHANGE[word], cause=_cause(cause)), count)
        for word in ("new", "lost", "less", "more")
        for cause, count in changes.get(word, {}).items()
    ]
    rows += [(t(_CHANGE[name]), changes[name]) for name in ("new_items", "gone_items", "new_rigs", "gone_rigs")]
    return table(t("Since the earlier audit"), (t("change"), t("number")), rows, file_link("changes.csv"))


def _cause(cause: str) -> str:
    """What a fit is new or lost by, in words: `item or rig` as `the item or the vehicle`."""
    said = [t(_CAUSE.get(word, word)) for word in cause.split() if word not in ("or", "and")]
    return (t(" or ") if " or " in cause else t(" and ") if " and " in cause else ", ").join(said)
