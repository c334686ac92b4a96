"""Suppliers by what their deliveries came to, audit by audit: the last beside each other, and how each became so.

The history is the audits' own folders. What is large of an old one, its pairs, may be let go of: its figures stay.
"""

import json
import shutil
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from fitsvc.audits.kept import FACTS
from fitsvc.audits.layout import bars, day_in_words, number, table, told, whole
from fitsvc.audits.page_claims import all_claims
from fitsvc.audits.pairs import FORMATS, pairs_folder
from fitsvc.audits.spool import SUMMARY
from fitsvc.document import Document
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.tongues import t

_IN: Final = 1_000
"""Shares are told in so many."""
_MOST: Final = 24
"""Deliveries of a supplier that the page shows, the last ones."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Delivery:
    """One audit of a supplier's catalogue, by its folder: its day (ISO 8601), and what it came to, counted.

    `judged` are the rows that were judged whole.
    """

    out: Path
    supplier: str
    file: str
    day: str
    rows: int
    judged: int
    claims: int
    false: int
    open: int
    fixes: int


def read_deliveries(folder: Path) -> list[Delivery]:
    """The finished audits in a folder of folders, a command's or a service's, in the order of their days.

    ProblemsFound where there is none.
    """
    found = [*folder.glob(f"*/{SUMMARY}"), *folder.glob(f"*/out/{SUMMARY}")]
    deliveries = deliveries_of(path.parent for path in sorted(found))
    if not deliveries:
        help = "name a folder in which `fitsvc audit` wrote folders with `--supplier`"
        raise ProblemsFound([Problem("holds no finished audit", help, file=str(folder))])
    return deliveries


def deliveries_of(outs: Iterable[Path]) -> list[Delivery]:
    """What finished audits came to, by their folders, in the order of their days."""
    read = ((out, json.loads((out / SUMMARY).read_text("utf-8"))) for out in outs)
    deliveries = (_delivery(out, summary) for out, summary in read if "about" in summary)
    return sorted(deliveries, key=lambda one: (one.day, one.out))


def _delivery(out: Path, summary: Document) -> Delivery:
    about, rows, claims = summary["about"], summary["rows"], all_claims(summary) or {}
    others = sum(one["items"] for one in (*summary["others"].values(), summary.get("balls") or {"items": 0}))
    return Delivery(
        out=out,
        supplier=about["supplier"] or about["file"],
        file=about["file"],
        day=about["day"],
        rows=rows["rows"] - sum(rows["other_subjects"].values()),
        judged=rows["items"] + others - rows["rows_of_bad_cells"],
        claims=claims.get("claims", 0),
        false=claims.get("fails", 0),
        open=claims.get("undetermined", 0),
        fixes=summary["fixes"],
    )


def page_of(deliveries: Sequence[Delivery]) -> str:
    """The page: the suppliers by their last deliveries, the worst first, then each by itself."""
    title = t("Suppliers' scorecard")
    ranked = by_supplier(deliveries)
    last = table(
        t("The last delivery of each"),
        (t("supplier"), *_titles()),
        ((told[-1].supplier, _day(told[-1]), *_figures(told[-1])) for told in ranked),
        t("The one with most false claims among those it makes stands first."),
    )
    return whole(
        title,
        f"<h1>{title}</h1>",
        [f"<h2>{t('Deliveries')}</h2>", last, *(part for told in ranked for part in _supplier(told[-_MOST:]))],
    )


def by_supplier(deliveries: Iterable[Delivery]) -> list[list[Delivery]]:
    """The deliveries of each supplier, the one with the largest share of false claims in its last first."""
    found: dict[str, list[Delivery]] = {}
    for one in deliveries:
        found.setdefault(one.supplier, []).append(one)
    return sorted(found.values(), key=lambda told: (-_share(told[-1].false, told[-1].claims), -told[-1].fixes))


def _supplier(deliveries: Sequence[Delivery]) -> Iterable[str]:
    """One supplier: how it became so, delivery by delivery."""
    first, last = deliveries[0], deliveries[-1]
    yield table(
        last.supplier,
        (_titles()[0], t("file"), *_titles()[1:]),
        ((_day(one), one.file, *_figures(one)) for one in reversed(deliveries)),
        _trend(first, last) if len(deliveries) > 1 else t("The first delivery that was audited."),
    )
    if len(deliveries) > 1:
        yield bars(
            t("{supplier}: false claims in {count}", supplier=last.supplier, count=number(_IN)),
            [(_day(one), round(_IN * _share(one.false, one.claims))) for one in deliveries],
        )


def _titles() -> tuple[str, ...]:
    """The titles of what is told of a delivery."""
    return t("delivered"), t("rows judged whole"), t("claims false"), t("claims open"), t("cells to mend")


def _trend(first: Delivery, last: Delivery) -> str:
    """What became better or worse, in a sentence."""
    was, now = _share(first.false, first.claims), _share(last.false, last.claims)
    told_ = {
        "day": _day(first),
        "then": _of(first.false, first.claims),
        "now": _of(last.false, last.claims),
    }
    if was == now:
        return t("Since {day} as many false claims: {then} then, {now} now.", **told_)
    if now < was:
        return t("Since {day} fewer false claims: {then} then, {now} now.", **told_)
    return t("Since {day} more false claims: {then} then, {now} now.", **told_)


def _figures(one: Delivery) -> tuple[str, str, str, int]:
    return _of(one.judged, one.rows), _of(one.false, one.claims), _of(one.open, one.claims), one.fixes


def _of(count: int, all_: int) -> str:
    if not all_:
        return t("none")
    share = f"{_share(count, all_):.1%}"
    return t("{count} of {all} ({share})", count=number(count), all=number(all_), share=share)


def _share(count: int, all_: int) -> float:
    return count / all_ if all_ else 0.0


def _day(one: Delivery) -> str:
    return day_in_words(one.day) or t("no day told")


def let_go(deliveries: Sequence[Delivery], keep: int) -> int:
    """Remove the pairs, and facts, of all but the last so many audits of each supplier; returns of how many.

    What remains of such an audit are its findings and figures; no later one can be compared with it.
    """
    gone, seen = 0, dict[str, int]()
    for one in reversed(deliveries):
        seen[one.supplier] = seen.get(one.supplier, 0) + 1
        held = [folder for format in FORMATS if (folder := pairs_folder(one.out, format)).is_dir()]
        if seen[one.supplier] > keep and held:
            gone += 1
            for folder in held:
                shutil.rmtree(folder)
            shutil.rmtree(one.out / FACTS, ignore_errors=True)
    return gone


def told_of(deliveries: Sequence[Delivery]) -> str:
    """How many deliveries of how many suppliers there are."""
    count, suppliers = len(deliveries), len({one.supplier for one in deliveries})
    return f"{number(count)} {'delivery' if count == 1 else 'deliveries'} of {told(suppliers, 'suppliers')}"
