"""What an audit's page says of what to mend first, and of the facts that are worth measuring."""

from collections.abc import Mapping, Sequence
from html import escape
from typing import Final

from fitsvc.audits.fix_rows import FIX_LIST, Fix
from fitsvc.audits.layout import Html, bars, file_link, table, told
from fitsvc.audits.page_claims import PageWords, item_number
from fitsvc.document import Document
from fitsvc.tongues import t

_MOST_FIXES: Final = 12
_MOST_FACTS: Final = 10
_LONG: Final = 120
"""Letters of what is taken in a cell, which are told once."""


def mend_part(fixes: Sequence[Fix], count: int) -> str:
    """The first of what is to be mended."""
    shown, said = fixes[:_MOST_FIXES], dict[str, int]()
    apart = _stand_apart(shown)
    for one in shown:
        said.setdefault(one.allowed, one.row)
    more = t(" It has {cells}.", cells=told(count - len(shown), "more cells")) if count > len(shown) else ""
    note = t(
        "So many pairs of an item and a vehicle wait for the cell (for one that does not read, maybe with others), or "
        "are wrong by it. The whole list: {files}.",
        files=f"{file_link(f'{FIX_LIST}.xlsx')}, {file_link(f'{FIX_LIST}.csv')}",
    )
    return table(
        t("Mend these first"),
        (
            t("row"),
            t("item"),
            t("column"),
            t("stands there"),
            t("what is wrong"),
            t("what to write or do"),
            t("decides"),
        ),
        (
            (
                _where(one, apart),
                item_number(one.sku),
                one.column,
                one.stands,
                one.wrong,
                _allowed(one, said),
                _decides(one),
            )
            for one in shown
        ),
        note + more,
    )


def suspicious_part(fixes: Sequence[Fix]) -> str:
    """The figures that look wrong, each with its item; of a whole column what it probably is."""
    odd = [one for one in fixes if one.sort == "suspicious"]
    note = t(
        "They stand far from what others of the kind have; each with a guess why: {file}.",
        file=file_link("suspicious.csv"),
    )
    titles = (t("row"), t("item"), t("column"), t("stands there"), t("what is wrong"))
    apart = _stand_apart(odd)
    rows = ((_where(one, apart), item_number(one.sku), one.column, one.stands, one.wrong) for one in odd)
    return table(t("Figures that look wrong"), titles, rows, note)


def _allowed(one: Fix, said: Mapping[str, int]) -> str:
    """What to write or do; a long list of what is taken stands there once, and is pointed to behind."""
    first = said[one.allowed]
    here = first in (0, one.row) or len(one.allowed) < _LONG
    return one.allowed if here else t("as in row {row}", row=first)


def _stand_apart(shown: Sequence[Fix]) -> bool:
    """Whether not all of them stand in one file."""
    return len({one.file for one in shown}) > 1


def _where(one: Fix, apart: bool) -> str:
    """The row, and its file where not all stand in one; nothing for a whole column."""
    row = str(one.row or "")
    return t("{row} of {file}", row=row, file=one.file) if row and apart else row


def _decides(one: Fix) -> str:
    counted = told(one.pairs, "pairs") if one.pairs else told(one.claims, "claims") if one.claims else ""
    return counted or t("with other cells")


def facts_part(title: str, missing: Sequence[Document], words: PageWords, file: str) -> str:
    """The facts that would decide most, as a chart and with how each is learnt."""
    shown = [(sentence(words.facts.get(one["fact"], one["fact"])), one) for one in missing]
    chart = bars(
        title, [(label, one["pairs"]) for label, one in shown[:_MOST_FACTS]], t("Pairs that each would decide.")
    )
    where = "items" if missing and "items" in missing[0] else "rigs"
    return (chart if shown else "") + table(
        t("How to find them out") if shown else title,
        (t("fact"), t("how"), t("not known of"), t("pairs decided"), t("claims decided")),
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
        t("Pairs that wait for this fact alone. One by one: {file}.", file=file_link(file)),
    )


def sentence(label: str) -> str:
    """A label as it begins a line."""
    return label[:1].upper() + label[1:]
