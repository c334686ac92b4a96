"""The pieces of an audit's page: its face, tables, counts in words and charts that are told apart in grey."""

import re
from collections.abc import Iterable, Sequence
from datetime import date
from html import escape
from typing import Any, Final

from fitsvc.tongues import counted, dated, later, t, tongue

STYLE: Final = """
:root{color-scheme:light dark;--paper:#faf6ee;--sunk:#f1eadc;--line:#ddd2bf;--ink:#27231d;--soft:#5d5547}
@media (prefers-color-scheme:dark){:root{--paper:#1b1814;--sunk:#2e2920;--line:#463f33;--ink:#f0e9dc;--soft:#bdb2a0}}
html{font:100%/1.5 -apple-system,"Segoe UI",Roboto,"Liberation Sans",system-ui,sans-serif}
html{color:var(--ink);background:var(--paper)}
body{margin:0}
header,main{max-width:60rem;margin:0 auto;padding:.75rem 1.5rem}
header{display:flex;gap:.5rem;align-items:center;border-bottom:2px solid}
header svg{width:2rem;height:2rem}
h1{font-size:1.9375rem;line-height:1.2;margin-bottom:.25rem}
h2{font-size:1.375rem;margin:2.5rem 0 .5rem;padding-top:.5rem;border-top:2px solid}
h3{font-size:1.0625rem;margin:1.75rem 0 .25rem}
p,li{max-width:44rem}
p.note{color:var(--soft)}
dl{display:grid;grid-template-columns:max-content 1fr;gap:.1rem 1rem;margin:.5rem 0 1rem}
dt{color:var(--soft)}
dd{margin:0}
figure{margin:1.75rem 0 .75rem}
.scroll{overflow-x:auto}
table{border-collapse:collapse;margin:.5rem 0 0;width:100%}
th,td{text-align:left;padding:.4rem .75rem .4rem 0;border-bottom:1px solid var(--line);vertical-align:top}
th{color:var(--soft);font-size:.875rem}
td{overflow-wrap:break-word}
td b{font-weight:inherit;white-space:nowrap}
td.n,th.n{text-align:right;font-variant-numeric:tabular-nums}
figure{overflow-x:auto}svg.bars{width:100%;min-width:34rem;max-width:48rem;font-size:13px;fill:currentColor}
code{overflow-wrap:anywhere;background:var(--sunk)}
@media print{html{font-size:80%;background:none}h1,h2,h3,figcaption{break-after:avoid}tr,figure{break-inside:avoid}
main,header{max-width:none;padding:.5rem 0}}
"""
"""The colours and type of the pages at the counter, in the file itself: it is read where no service is."""
MARK: Final = (
    '<svg viewBox="0 0 32 32" aria-hidden="true"><g fill="none" stroke="currentColor" stroke-linecap="round" '
    'stroke-linejoin="round"><path stroke-width="3.4" d="M13 29V10.5A6.5 6.5 0 0 1 19.5 4h2.8"/>'
    '<rect x="3.2" y="13.2" width="17" height="9" rx="1.6" stroke-width="2.4"/>'
    '<path stroke-width="2.4" d="M20.2 15.4H29V20h-8.8"/></g>'
    '<circle cx="13" cy="17.7" r="2" fill="currentColor"/></svg>'
)
MOST: Final = 25
"""Rows of a table on the page: the others stand in its file."""
_LABEL, _WIDE, _TALL = 290, 380, 22
"""The measures of a chart: room for labels, the longest bar, a row."""
_QUOTED: Final = re.compile(r"`([^`]+)`")
_LETTERS: Final = 42
"""How many letters of a label there is room for."""


class Html(str):
    """Text that is HTML already, such as a link in a cell."""

    __slots__ = ()


def whole(title: str, head: str, parts: Iterable[str]) -> str:
    """A page of its parts, which loads nothing and runs nothing."""
    return (
        f'<!doctype html>\n<html lang="{tongue().code}"><head><meta charset="utf-8"><title>{escape(title)}</title>'
        '<meta name="viewport" content="width=device-width,initial-scale=1">'
        f"<style>{STYLE}</style></head><body><header>{MARK}<b>fitsvc</b></header><main>{head}\n"
        + "\n".join(part for part in parts if part)
        + "\n</main></body></html>\n"
    )


def told(count: int, name: str) -> str:
    """A count of things by their plural's name: `1 bad row`, `2 bad_rows` as `2 bad rows`."""
    words = name.replace("_", " ")
    return f"{number(count)} {t(words.removesuffix('s') if count == 1 else words)}"


_COUNTED: Final = (
    *(later("item"), later("items"), later("vehicle"), later("vehicles"), later("rig"), later("rigs")),
    *(later("pair"), later("pairs"), later("claim"), later("claims"), later("row"), later("rows")),
    *(later("cell"), later("cells"), later("more cell"), later("more cells")),
    *(later("ball"), later("balls"), later("trailer"), later("trailers"), later("adapter"), later("adapters")),
    *(later("wiring adapter"), later("wiring adapters"), later("receiver"), later("receivers")),
    *(later("mounting"), later("mountings"), later("load"), later("loads"), later("spare"), later("spares")),
)
"""What `told` counts on a page, of one and of several, as it is looked up in other languages."""


def day_in_words(day: str) -> str:
    """A day (ISO 8601) in words; nothing where it was not told."""
    return dated(date.fromisoformat(day), "d MMMM y") if day else ""


def number(count: int) -> str:
    """A whole number with its thousands parted."""
    return counted(count)


def in_words(text: str) -> str:
    """A text as HTML; what stands in backticks, as in all that fitsvc says, is set apart."""
    return _QUOTED.sub(r"<code>\1</code>", escape(text))


def file_link(name: str) -> str:
    """A link to a file of findings, which lies beside the page."""
    return f'<a href="{name}">{name}</a>'


def bars(title: str, counts: Sequence[tuple[str, int]], note: str = "") -> str:
    """Counts as bars with their figures: their length alone tells them apart, so that they print in grey."""
    most = max((count for _, count in counts), default=0)
    rows = []
    for place, (label, count) in enumerate(counts):
        width = max(round(_WIDE * count / most), 1) if count else 0
        y, short = place * _TALL, label if len(label) <= _LETTERS else label[: _LETTERS - 1] + "…"
        rows.append(
            f'<text x="0" y="{y + 15}">{escape(short)}</text>'
            f'<rect x="{_LABEL}" y="{y + 3}" width="{width}" height="14"/>'
            f'<text x="{_LABEL + width + 6}" y="{y + 15}">{number(count)}</text>'
        )
    said = ", ".join(f"{label} {number(count)}" for label, count in counts)
    noted = f'<p class="note">{note}</p>' if note else ""
    return (
        f'<figure tabindex="0"><figcaption><b>{escape(title)}</b></figcaption>{noted}<svg class="bars" role="img" '
        f'viewBox="0 0 {_LABEL + _WIDE + 90} {len(counts) * _TALL}" aria-label="{escape(said)}">{"".join(rows)}</svg>'
        "</figure>"
    )


def table(title: str, titles: Sequence[str], rows: Iterable[Sequence[Any]], note: str = "", rest: str = "") -> str:
    """A table under a heading, or that there is nothing to tell; `rest` is where the rows stand that are not shown."""
    listed = list(rows)
    heading = f"<h3>{escape(title)}</h3>"
    if not listed:
        return f"{heading}<p>{t('None.')}</p>"
    noted = f'<p class="note">{note}</p>' if note else ""
    head = "".join(_cell("th", one, figure=isinstance(cell, int)) for one, cell in zip(titles, listed[0], strict=True))
    body = "".join(
        f"<tr>{''.join(_cell('td', cell, figure=isinstance(cell, int)) for cell in row)}</tr>" for row in listed[:MOST]
    )
    more = t("and {count} more", count=number(len(listed) - MOST)) if len(listed) > MOST else ""
    scroll = f'<div class="scroll" tabindex="0" role="group" aria-label="{escape(title)}">'  # wider than a phone
    return f"{heading}{noted}{scroll}<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>" + (
        f'<p class="note">{more}{rest}</p>' if more else ""
    )


def _cell(tag: str, cell: Any, *, figure: bool) -> str:
    text = cell if isinstance(cell, Html) else in_words(cell if isinstance(cell, str) else number(cell))
    of_class = ' class="n"' if figure else ""
    scope = ' scope="col"' if tag == "th" else ""
    return f"<{tag}{scope}{of_class}>{text}</{tag}>"
