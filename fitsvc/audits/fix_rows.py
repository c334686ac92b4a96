"""One thing to be mended of a catalogue: where it is, what stands there, what is wrong and what it decides."""

import csv
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final, NamedTuple

from fitsvc.audits.counter_links import as_told
from fitsvc.audits.items import Items
from fitsvc.audits.sheets import write_workbook
from fitsvc.engine.columns.signatures import value_at
from fitsvc.files import written
from fitsvc.language.types import ListType, NumberType, TextType
from fitsvc.rulebook.vocabulary import Fact
from fitsvc.tongues import later, t

SORTS: Final = {
    "bad_row": "A row that cannot be judged",
    "bad_cell": "A cell that cannot be read",
    "missing": "A fact that is not told, or not exactly",
    "suspicious": "A figure that looks wrong",
    "bad_claim": "A claim that names no rig and no vehicle",
    "false_claim": "Claims of fits that the rules contradict",
}
"""What may be wrong, with what it is to people."""
FIX_LIST: Final = "fix_list"
"""The table and the workbook of what is to be mended."""
_WIDTHS: Final = (8, 18, 18, 18, 60, 50, 10, 10, 24)
"""Of the fix list's columns, in characters."""
_HEADS: Final = {
    "row": later("Row"),
    "sku": later("Item"),
    "column": later("Column"),
    "stands": later("Stands there"),
    "wrong": later("What is wrong"),
    "allowed": later("What to write or do"),
    "pairs": later("Pairs it decides"),
    "claims": later("Claims it decides"),
    "file": later("File"),
}


class Fix(NamedTuple):
    """One cell to be mended: where it is, what stands there, what is wrong, what would be taken, what it decides.

    `file` is the one whose row it is, `sort` one of SORTS.
    """

    row: int
    sku: str
    column: str
    stands: str
    wrong: str
    allowed: str
    pairs: int
    claims: int
    file: str
    sort: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FalseClaims:
    """One item's false claims: how many, the first rig and why it does not fit, and where that opens at the counter.

    `named` are the first of the rigs as people call them.
    """

    row: int
    sku: str
    claims: int
    rig: str
    named: tuple[str, ...]
    reasons: tuple[str, ...]
    link: str


def taken_as(fact: Fact) -> str:
    """What a cell of a fact may say."""
    if isinstance(fact.type, ListType):
        return t("one of {listed}", listed=", ".join(f"`{member}`" for member in fact.type.members))
    if isinstance(fact.type, NumberType) and fact.range_text:
        return t("a figure between {low} and {high}, with its unit", low=fact.range_text[0], high=fact.range_text[1])
    return t("a tyre's designation" if fact.tyre else "`yes` or `no`")


def as_it_stands(fact: Fact, slot: str, items: Items, item: int) -> str:
    """What is known of a fact that is not known exactly, as a cell says it."""
    kind = fact.type
    if slot != fact.name or slot not in items.columns or isinstance(kind, TextType):
        return ""
    value = value_at(kind, items.columns[slot], item)
    return "" if value == kind.unknown else as_told(fact, value)


def fix_of_cell(row: Mapping[str, str], pairs: int, claims: int) -> Fix:
    """A cell that could not be read."""
    why = (row["problem"], row["allowed"])
    return fix_as("bad_cell", int(row["row"]), row["sku"], row["column"], row["cell"], why, pairs=pairs, claims=claims)


def fix_as(
    sort: str, row: int, sku: str, column: str, stands: str, why: tuple[str, str], *, pairs: int = 0, claims: int = 0
) -> Fix:
    """A cell to be mended; `why` is what is wrong and what would be taken."""
    return Fix(
        row=row,
        sku=sku,
        column=column,
        stands=stands,
        wrong=why[0],
        allowed=why[1],
        pairs=pairs,
        claims=claims,
        file="",
        sort=sort,
    )


def fix_rank(fix: Fix) -> tuple[int, int, int]:
    """What sorts the one first that decides most."""
    return -fix.pairs, -fix.claims, fix.row


def rows_of(path: Path) -> Iterator[dict[str, str]]:
    """The rows of a table of the spool."""
    with path.open(encoding="utf-8", newline="") as stream:
        yield from csv.DictReader(stream)


def write_fix_list(path: Path, rows: Iterable[Fix]) -> None:
    """Write what is to be mended as a workbook."""
    with written(path) as place:
        write_workbook(
            place, t("Fix list"), [t(head) for head in _HEADS.values()], _WIDTHS, (row[: len(_HEADS)] for row in rows)
        )
