"""An audit's summary as a page for people: one file that needs no script and no other host."""

from collections.abc import Iterable, Mapping, Sequence
from html import escape
from typing import Any, Final, NamedTuple

from fitsvc.document import Document

_STYLE: Final = """
:root{color-scheme:light dark;--paper:#faf6ee;--sunk:#f1eadc;--line:#ddd2bf;--ink:#27231d;--soft:#5d5547}
@media (prefers-color-scheme:dark){:root{--paper:#1b1814;--sunk:#2e2920;--line:#463f33;--ink:#f0e9dc;--soft:#bdb2a0}}
html{font:100%/1.5 -apple-system,"Segoe UI",Roboto,"Liberation Sans",system-ui,sans-serif}
html{color:var(--ink);background:var(--paper)}
body{margin:0}
header,main{max-width:60rem;margin:0 auto;padding:.75rem 1.5rem}
header{display:flex;gap:.5rem;align-items:center;border-bottom:2px solid}
header svg{width:2rem;height:2rem}
h1{font-size:1.9375rem;line-height:1.2}
h2{font-size:1.1875rem;margin:2.5rem 0 .5rem;padding-top:.5rem;border-top:2px solid}
p{color:var(--soft);max-width:44rem}
table{border-collapse:collapse;margin:.5rem 0 0;width:100%}
th,td{text-align:left;padding:.4rem .75rem .4rem 0;border-bottom:1px solid var(--line);vertical-align:top}
th{color:var(--soft);font-size:.875rem}
td.n,th.n{text-align:right;font-variant-numeric:tabular-nums}
svg.bars{width:100%;max-width:48rem;font-size:13px;fill:currentColor}
code{overflow-wrap:anywhere;background:var(--sunk)}
@media print{h2{break-after:avoid}tr{break-inside:avoid}}
"""
"""The colours and type of the pages at the counter, in the file itself: it is read where no service is."""
_MARK: Final = (
    '<svg viewBox="0 0 32 32" aria-hidden="true"><g fill="none" stroke="currentColor" stroke-linecap="round" '
    'stroke-linejoin="round"><path stroke-width="3.4" d="M13 29V10.5A6.5 6.5 0 0 1 19.5 4h2.8"/>'
    '<rect x="3.2" y="13.2" width="17" height="9" rx="1.6" stroke-width="2.4"/>'
    '<path stroke-width="2.4" d="M20.2 15.4H29V20h-8.8"/></g>'
    '<circle cx="13" cy="17.7" r="2" fill="currentColor"/></svg>'
)
_MOST: Final = 25
_LABEL, _WIDE, _TALL = 290, 380, 22
"""The measures of a chart: room for labels, the longest bar, a row."""
_OUTCOME: Final = {
    "works": "works",
    "conditional": "works on a condition",
    "undetermined": "open: something is not known",
    "fails": "does not work",
}


class PageWords(NamedTuple):
    """What the page says beside the summary's figures: the file, labels of facts, titles of rules, false claims."""

    file: str
    facts: Mapping[str, str]
    rules: Mapping[str, str]
    false: Sequence[tuple[str, str, str]]


def page(summary: Document, words: PageWords) -> str:
    """The page."""
    rows, changes = summary["rows"], summary["changes"]
    parts = [
        (
            f"<p><b>{escape(words.file)}</b>: {told(rows['items'], 'items')} with {told(summary['rigs'], 'rigs')}, "
            f"{told(summary['pairs'], 'pairs')}.</p>"
        ),
        _bars(
            "Items",
            [
                ("judged whole", rows["items"] - rows["rows_of_bad_cells"]),
                ("judged without a cell that could not be read", rows["rows_of_bad_cells"]),
                ("lost", rows["bad_rows"]),
            ],
        ),
        _bars(
            "Outcomes",
            [(_OUTCOME[name], count) for name, count in summary["outcomes"].items()],
            "Pairs of an item and a rig.",
        ),
        _bars(
            "Faults", [(name.replace("_", " "), count) for name, count in summary["faults"].items()], _listed(summary)
        ),
        _aside(summary["rigs_set_aside"]),
        _read(rows),
        _claims(summary["claims"], words),
        _table(
            "Facts worth measuring",
            ("fact", "pairs decided", "claims decided", "on"),
            (
                (f"{words.facts.get(one['fact'], '')} ({one['fact']})", one["pairs"], one["claims"], _where(one))
                for one in summary["missing"]
            ),
            f"Pairs that wait for this fact alone: {_file('missing_of_items')}, {_file('missing_of_rigs')}.",
        ),
        _table(
            "Disputed, doubtful or stale",
            ("rig", "what was said"),
            ((one["rig"], one["because"]) for one in summary["disputed"]),
            "What rests on it is as sure as that leaves it.",
        ),
        (
            f"<h2>What fits nothing</h2><p>{_n(summary['fits_nothing'])} items are not known to fit any of the "
            f"rigs: {_file('fits_nothing')}, with how many fail and how many cannot be decided.</p>"
        ),
        _table(
            "Rigs without an item known to fit",
            ("kind", "rigs"),
            summary["rigs_without"].items(),
            _file("rigs_without"),
        ),
        _table("Figures that look wrong", ("fact", "items"), summary["suspicious"].items(), _file("suspicious")),
        _table(
            "What decides",
            ("rule", "fails", "undetermined", "conditional"),
            (
                (words.rules.get(one["rule"], one["rule"]), one["fails"], one["undetermined"], one["conditional"])
                for one in summary["rules"]
            ),
            "Pairs whose outcome the rule brings about, alone or with others.",
        ),
        _changes(changes) if changes else "",
        (
            f"<h2>Judged by</h2><p>The rulebook {escape(summary['rulebook']['name'])}, "
            f"<code>{escape(summary['rulebook']['digest'])}</code>.</p>"
        ),
    ]
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8"><title>Catalogue audit</title>'
        '<meta name="viewport" content="width=device-width,initial-scale=1">'
        f"<style>{_STYLE}</style></head><body><header>{_MARK}<b>fitsvc</b></header><main><h1>Catalogue audit</h1>\n"
        + "\n".join(part for part in parts if part)
        + "\n</main></body></html>\n"
    )


def _aside(rigs: Sequence[str]) -> str:
    """The rigs that were not audited, where there are any: an earlier change of their parts broke them."""
    note = "No item was judged with them: mend each, or delete it, and audit again."
    return _table("Rigs set aside", ("rig and what is wrong with it",), ((one,) for one in rigs), note) if rigs else ""


def _read(rows: Document) -> str:
    words = [
        (
            f"Of {told(rows['rows'], 'rows')} {told(rows['items'], 'items')} were judged; "
            f"{told(rows['bad_rows'], 'rows')} could not be, for want of a number of their own or of a cell for each "
            "column."
        )
    ]
    if rows["bad_cells"]:
        words.append(
            f"{told(rows['bad_cells'], 'cells').capitalize()} in {told(rows['rows_of_bad_cells'], 'rows')} could not "
            "be read: what they say is not known in what follows, and nothing fits because of it."
        )
    if rows["other_subjects"]:
        words.append(f"Accessories alone are audited; not audited: {escape(others(rows))}.")
    if rows["passed_over"]:
        listed = ", ".join(f"<code>{escape(title)}</code>" for title in rows["passed_over"])
        words.append(f"These columns are no facts of accessories and were not read: {listed}.")
    if rows["mapped_in_vain"]:
        listed = ", ".join(f"<code>{escape(title)}</code>" for title in rows["mapped_in_vain"])
        words.append(f"The mapping names columns that the catalogue has not: {listed}.")
    return f"<h2>Rows</h2><p>{' '.join(words)}</p>"


def told(count: int, name: str) -> str:
    """A count of things by their plural's name: `1 bad row`, `2 bad_rows` as `2 bad rows`."""
    words = name.replace("_", " ")
    return f"{_n(count)} {words.removesuffix('s') if count == 1 else words}"


def others(rows: Document) -> str:
    """The rows of other subjects than accessories, counted by subject in words."""
    return ", ".join(told(count, f"{subject}s") for subject, count in rows["other_subjects"].items())


def _claims(claims: Document | None, words: PageWords) -> str:
    if claims is None:
        return "<h2>Claims</h2><p>Nothing is claimed.</p>"
    unclaimed = claims["unclaimed"]
    counts = [
        ("true", claims["works"]),
        ("true on a condition", claims["conditional"]),
        ("open: something is not known", claims["undetermined"]),
        ("false by the rules", claims["fails"]),
    ]
    note = (
        f"Each that is false or open, with its reason: {_file('claims')}. Fits that nobody claims: "
        f"{told(unclaimed['works'], 'pairs')} that work and {_n(unclaimed['conditional'])} that do on a condition, of "
        f"{told(unclaimed['items'], 'items')}: {_file('unclaimed')}."
    )
    return (
        _bars("Claims", counts, note)
        + _table("False claims", ("item", "rig", "why"), words.false, "The first of them, in the file's order.")
        + _table(
            "False claims, by rule",
            ("what does not hold", "claims"),
            ((words.rules.get(one["rule"], one["rule"]), one["claims"]) for one in claims["contradicted_by"]),
        )
    )


def _listed(summary: Document) -> str:
    """Where the faults are listed one by one."""
    names = [name for name in ("bad_rows", "bad_cells", "bad_claims") if summary["faults"][name]]
    return f"One by one: {', '.join(map(_file, names))}." if names else ""


def _file(name: str) -> str:
    """A link to a file of findings, which lies beside the page."""
    return f'<a href="{name}.csv">{name}.csv</a>'


def _bars(title: str, counts: Sequence[tuple[str, int]], note: str = "") -> str:
    """Counts as bars with their figures: their length alone tells them apart, so that they print in grey."""
    most = max((count for _, count in counts), default=0)
    rows = []
    for place, (label, count) in enumerate(counts):
        width = max(round(_WIDE * count / most), 1) if count else 0
        y = place * _TALL
        rows.append(
            f'<text x="0" y="{y + 15}">{escape(label)}</text>'
            f'<rect x="{_LABEL}" y="{y + 3}" width="{width}" height="14"/>'
            f'<text x="{_LABEL + width + 6}" y="{y + 15}">{_n(count)}</text>'
        )
    said = ", ".join(f"{label} {_n(count)}" for label, count in counts)
    height = len(counts) * _TALL
    noted = f"<p>{note}</p>" if note else ""
    return (
        f'<h2>{escape(title)}</h2>{noted}<svg class="bars" role="img" viewBox="0 0 {_LABEL + _WIDE + 90} {height}" '
        f'aria-label="{escape(said)}">{"".join(rows)}</svg>'
    )


def _changes(changes: Document) -> str:
    rows = [(f"{word} fits, by {cause}", n) for word in ("new", "lost") for cause, n in changes[word].items()]
    names = ("new_items", "gone_items", "new_rigs", "gone_rigs")
    rows += [(name.replace("_", " "), changes[name]) for name in names]
    return _table("Since the earlier audit", ("change", "number"), rows, _file("changes"))


def _where(one: Document) -> str:
    name = "item" if "items" in one else "rig"
    return f"1 {name}" if one[f"{name}s"] == 1 else f"{_n(one[f'{name}s'])} {name}s"


def _table(title: str, titles: Sequence[str], rows: Iterable[Sequence[Any]], note: str = "") -> str:
    listed = list(rows)
    noted = f"<p>{note}</p>" if note and listed else ""
    if not listed:
        return f"<h2>{escape(title)}</h2><p>None.</p>"
    head = "".join(
        _cell("th", one, number=not isinstance(cell, str)) for one, cell in zip(titles, listed[0], strict=True)
    )
    body = "".join(
        f"<tr>{''.join(_cell('td', cell, number=not isinstance(cell, str)) for cell in row)}</tr>"
        for row in listed[:_MOST]
    )
    more = f"<p>and {_n(len(listed) - _MOST)} more in summary.json</p>" if len(listed) > _MOST else ""
    return f"<h2>{escape(title)}</h2>{noted}<table><tr>{head}</tr>{body}</table>{more}"


def _cell(tag: str, cell: Any, *, number: bool) -> str:
    text = cell if isinstance(cell, str) else _n(cell)
    of_class = ' class="n"' if number else ""
    scope = ' scope="col"' if tag == "th" else ""
    return f"<{tag}{scope}{of_class}>{escape(text)}</{tag}>"


def _n(number: int) -> str:
    return f"{number:,}"
