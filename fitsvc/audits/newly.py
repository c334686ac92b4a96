"""Which claims an audit contradicts that an earlier one did not, by the items with most of them."""

from collections.abc import Iterator
from pathlib import Path
from typing import Final

from fitsvc.audits.sheets import read_safe
from fitsvc.document import Document

MOST_TOLD: Final = 10
"""Items that are told: more nobody reads in a message, and the audit's tables have all."""
_CLAIMS: Final = "claims.csv"


def newly_contradicted(out: Path, earlier: Path) -> Document:
    """Return how many claims an audit contradicts that an earlier one did not, and how many it contradicts no more.

    `first` has the items with most of them, each with how many rigs that is, the first of these, the rule that fails
    there and why.
    """
    before = {key for key, _ in _contradicted(earlier)}
    seen, now, items = set[tuple[str, str]](), 0, dict[str, Document]()
    for key, row in _contradicted(out):
        if key in seen:
            continue
        seen.add(key)
        if key not in before:
            now += 1
            told = {"sku": key[0], "rigs": 0, "rig": key[1], "rule": row["rule"], "reason": row["reason"]}
            items.setdefault(key[0], told)["rigs"] += 1
    most = sorted(items.values(), key=lambda one: -int(one["rigs"]))
    return {"new": now, "gone": len(before - seen), "items": len(items), "first": most[:MOST_TOLD]}


def _contradicted(out: Path) -> Iterator[tuple[tuple[str, str], dict[str, str]]]:
    """Each claim that is contradicted, by item and rig."""
    path = out / _CLAIMS
    for row in read_safe(path) if path.is_file() else ():
        if row["outcome"] == "fails":
            yield (row["sku"], row["rig"]), row
