"""Conditions on an audit's summary by which a nightly run ends as failed: `bad_rows > 1%`, `new contradicted > 0`."""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final, NamedTuple

from fitsvc.audits.sheets import read_safe
from fitsvc.document import Document
from fitsvc.language.problems import Problem, ProblemsFound, nearest

_FORM: Final = re.compile(r"\s*(?P<new>new\s+)?(?P<name>[a-z_]+)\s*>\s*(?P<most>\d+(?:\.\d+)?)\s*(?P<share>%?)\s*\Z")
_HELP: Final = "write `bad_rows > 1%`, or `new contradicted > 0` beside `--against`"
Key = tuple[str, str]


class Measure(NamedTuple):
    """A figure of a summary: how many there are, of how many it is a share, and the file and columns that name each."""

    count: Callable[[Document], int]
    whole: Callable[[Document], int]
    table: str = ""
    columns: tuple[str, str] = ("", "")
    outcome: str = ""


def _rows(name: str) -> Callable[[Document], int]:
    return lambda summary: int(summary["rows"].get(name, 0))


def _claims(name: str) -> Callable[[Document], int]:
    return lambda summary: int((summary["claims"] or {}).get(name, 0))


def _of_claim(outcome: str) -> Measure:
    return Measure(_claims(outcome), _claims("claims"), "claims", ("sku", "rig"), outcome)


MEASURES: Final[Mapping[str, Measure]] = {
    "bad_rows": Measure(_rows("bad_rows"), _rows("rows")),
    "bad_cells": Measure(_rows("rows_of_bad_cells"), _rows("rows"), "bad_cells", ("sku", "column")),
    "bad_claims": Measure(lambda summary: summary["faults"]["bad_claims"], _claims("claims")),
    "claims_of_ours": Measure(lambda summary: summary.get("claims_of_ours", 0), _claims("claims")),
    "contradicted": _of_claim("fails"),
    "undecided": _of_claim("undetermined"),
    "suspicious": Measure(
        lambda summary: sum(summary["suspicious"].values()), _rows("items"), "suspicious", ("sku", "fact")
    ),
    "suspicious_columns": Measure(lambda summary: len(summary["suspicious_columns"]), lambda _: 0),
    "fits_nothing": Measure(lambda summary: summary["fits_nothing"], _rows("items"), "fits_nothing", ("sku", "sku")),
    "lost_fits": Measure(lambda summary: _changed(summary, "lost"), lambda summary: summary["pairs"]),
    "less_carried": Measure(lambda summary: _changed(summary, "less"), _claims("claims")),
    "gone_items": Measure(lambda summary: (summary["changes"] or {}).get("gone_items", 0), _rows("items")),
}
"""What may be held to a most, by its name."""


def _changed(summary: Document, word: str) -> int:
    return sum((summary["changes"] or {}).get(word, {}).values())


@dataclass(frozen=True, slots=True)
class Threshold:
    """A condition as it was written, and what it says."""

    text: str
    name: str
    most: float
    is_share: bool
    is_new: bool


def read_threshold(text: str) -> Threshold:
    """A condition from its text; ProblemsFound where it is none."""
    found = _FORM.match(text)
    if found is None:
        raise ProblemsFound([Problem(f"`{text}` is no condition", _HELP)])
    name = found["name"].removesuffix("_claims") if found["name"].startswith("contradicted") else found["name"]
    if name not in MEASURES:
        near = nearest(name, MEASURES)
        help = f"did you mean `{near}`?" if near else f"it is one of {', '.join(MEASURES)}"
        raise ProblemsFound([Problem(f"there is no `{name}` to be held to a most", help)])
    if found["new"] and not MEASURES[name].table:
        able = ", ".join(one for one, measure in MEASURES.items() if measure.table)
        raise ProblemsFound([Problem(f"of `{name}` it is not told which are new", f"`new` goes with {able}")])
    return Threshold(text.strip(), name, float(found["most"]), bool(found["share"]), bool(found["new"]))


def crossed(one: Threshold, summary: Document, out: Path, against: Path | None) -> str:
    """What is more than a condition allows, in words; empty where it holds. What is new is new since `against`.

    ProblemsFound where nothing is told that it could be new since.
    """
    measure = MEASURES[one.name]
    if one.is_new:
        if against is None:
            raise ProblemsFound([Problem(f"`{one.text}` needs an earlier audit", "give `--against DIR`")])
        count = len(_named(out, measure) - _named(against, measure))
    else:
        count = measure.count(summary)
    whole = measure.whole(summary)
    share = 100 * count / whole if whole else 0.0
    told = f"{count:,} of {whole:,}, {share:.3g} %" if one.is_share else f"{count:,}"
    return f"`{one.text}` is crossed: {told}" if (share if one.is_share else count) > one.most else ""


def _named(out: Path, measure: Measure) -> set[Key]:
    """What each of the things counted goes by, whatever the line it stands in."""
    path = out / f"{measure.table}.csv"
    if not path.is_file():
        return set()
    one, other = measure.columns
    return {(row[one], row[other]) for row in read_safe(path) if measure.outcome in ("", row.get("outcome"))}
