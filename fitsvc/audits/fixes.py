"""What is to be mended of a catalogue, cell by cell, the one that decides most first.

A cell decides so many pairs: those that wait for its fact alone, or that its claim says falsely, or all of a row that
could not be judged. Memory is bounded: of more cells than a person mends before the next audit the first are kept.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from fitsvc.audits.ball_pairs import BallPair
from fitsvc.audits.claims import ClaimLine
from fitsvc.audits.counter_links import counter_link
from fitsvc.audits.fix_rows import FalseClaims, Fix, as_it_stands, fix_as, fix_of_cell, fix_rank, rows_of, taken_as
from fitsvc.audits.items import Items, ReadReport
from fitsvc.audits.mapping import READ
from fitsvc.audits.named_vehicles import OURS
from fitsvc.audits.other_pairs import OtherPair
from fitsvc.audits.outliers import Suspicious
from fitsvc.audits.parts import ClaimFate
from fitsvc.audits.rigs import AuditRig
from fitsvc.audits.state import AuditState
from fitsvc.facts import FactReader
from fitsvc.rulebook.vocabulary import Fact
from fitsvc.subjects import KIND
from fitsvc.tongues import counted, t

MOST: Final = 5_000
"""Cells that are listed: more than anyone mends before the next audit."""
_MOST_FALSE: Final = 20
_NAMED: Final = 3
"""Vehicles that are named of a false claim: the others stand in the file of claims."""


class Fixes:
    """What is to be mended, collected block by block."""

    def __init__(self, state: AuditState, report: ReadReport, counter: str) -> None:
        self._state, self._report, self._counter = state, report, counter
        self._vocabulary, self._reader = state.task.rulebook.vocabulary, FactReader(state.task.reading)
        self._rigs = {rig.key: rig for rig in state.rigs}
        self._titles = {name: title for title, name in report.columns.items()}
        self._cells = rows_of(state.spool.bad_cells)
        self._waiting = next(self._cells, None)
        others = [items for subject in READ if (items := state.spool.other(subject)) is not None]
        self._others = {sku for items in others for sku in items.skus}
        self._found: list[Fix] = []
        self._last: tuple[int, int, int] | None = None
        self.count = 0
        self.false: list[FalseClaims] = []
        same = report.claims_file == report.file
        self._claims_file = t("claims: {file}", file=report.claims_file) if same else report.claims_file
        self._whole_rows()

    def listed(self) -> list[Fix]:
        """All of them that are listed, the one that decides most first."""
        return sorted(self._found, key=fix_rank)[:MOST]

    def of_block(self, items: Items, waits: NDArray[Any], held: NDArray[Any], fates: Sequence[ClaimFate]) -> None:
        """Take what one block of items lacks: the pairs that wait for each fact by item, and its claims.

        `waits` are those that wait for it alone, `held` those that do with others too: a cell that does not read is
        told by the latter, and so is the kind, without which hardly anything is decided.
        """
        lines = dict(zip(items.skus, items.lines.tolist(), strict=True))
        cells = {(row["sku"], self._fact(row["column"])): row for row in self._cells_of(lines)}
        open_ = {(one.sku, one.rig): one.waits_for for one in fates if one.outcome != "fails"}
        claims = Counter((sku, fact) for (sku, _), fact in open_.items() if fact)
        claimed = Counter(sku for sku, _ in open_)
        no_items = {sku for sku, name in cells if name == "sku"}
        for number, item in zip(*(found.tolist() for found in np.nonzero(np.maximum(waits, held))), strict=True):
            slot, sku = self._state.facts.facts[number], items.skus[item]
            if sku in no_items:
                continue  # what looks like no item is told as that, and lacks nothing
            fact = self._vocabulary.fact_of(slot)
            assert fact is not None
            decides = (int(waits[number, item]), claims[sku, slot])
            cell = cells.pop((sku, fact.short), None)
            if cell or slot == KIND:
                pairs = int(held[number, item])
                decides = (max(pairs, decides[0]), max(min(pairs, claimed[sku]), decides[1]))
            elif not decides[0]:
                continue
            if self._is_past_the_end(*decides, lines[sku]):
                self.count += 1
                continue
            stands = as_it_stands(fact, slot, items, item)
            self._add(fix_of_cell(cell, *decides) if cell else self._empty(lines[sku], sku, stands, fact, *decides))
        for (_, name), cell in cells.items():
            self._add(fix_of_cell(cell, len(self._rigs) if name == "sku" else 0, 0))
        self._false(items, lines, [one for one in fates if one.outcome == "fails"])

    def of_others(self, pairs: Iterable[OtherPair]) -> Iterator[OtherPair]:
        """Take what is wrong of items that are no accessories, while their pairs go by."""
        open_, claimed = Counter[str](), Counter[str]()
        false, first = Counter[str](), dict[str, list[OtherPair]]()
        for pair in pairs:
            yield pair
            open_[pair.sku] += pair.outcome == "undetermined"
            claimed[pair.sku] += pair.outcome == "undetermined" and pair.claimed
            if pair.outcome == "fails" and pair.claimed:
                false[pair.sku] += 1
                some = first.setdefault(pair.sku, [])
                some += [pair] if len(some) < _NAMED else []
        for cell in rows_of(self._state.spool.bad_cells):
            if cell["sku"] in self._others:
                self._add(fix_of_cell(cell, open_[cell["sku"]], claimed[cell["sku"]]))
        for sku, some in first.items():
            told = _false_claims(some[0].row, sku, false[sku], [self._rigs[one.rig].name for one in some], some[0].why)
            self._falsely_claimed(told, [_with_id(self._rigs[one.rig]) for one in some])
            self._keep([told])

    def of_balls(self, pairs: Iterable[BallPair]) -> Iterator[BallPair]:
        """Take the false claims of balls, while their pairs go by."""
        false: dict[str, list[BallPair]] = {}
        for pair in pairs:
            yield pair
            if pair.claimed and pair.outcome == "fails":
                false.setdefault(pair.ball, []).append(pair)
        for sku, some in false.items():
            named = [one.mount for one in some[:_NAMED]]
            why = some[0].why or t("nothing on it takes a ball.")
            told = _false_claims(some[0].row, sku, len(some), named, why)
            self._falsely_claimed(told, named, stands="; ".join(named))
            self._keep([told])

    def as_claimed(self, lines: Iterable[tuple[str, ClaimLine]]) -> None:
        """Take where false and unclear claims stand, and what stands there: `lines` of them, each with its item."""
        false = {fix.sku: place for place, fix in enumerate(self._found) if fix.sort == "false_claim"}
        bad = {(fix.file, fix.row, fix.wrong): n for n, fix in enumerate(self._found) if fix.sort == "bad_claim"}
        said: dict[int, list[str]] = {}
        for sku, line in lines:
            file = self._claims_file if line.apart else self._report.file
            place = bad.get((file, line.line, line.unclear)) if line.unclear else false.get(sku)
            if place is None or len(said.get(place, ())) >= _NAMED:
                continue
            if place not in said and not line.unclear:
                self._found[place] = self._found[place]._replace(row=line.line, column=line.column, file=file)
            said.setdefault(place, []).append(self._said(line))
        for place, texts in said.items():
            self._found[place] = self._found[place]._replace(stands="; ".join(dict.fromkeys(texts)))

    def _said(self, line: ClaimLine) -> str:
        """What a claim says, without its item and what was not read of it."""
        if line.item < 0 and not line.other:
            return line.cells.get(line.column, "")
        left_out = {"sku", *(title.casefold() for title in self._report.claims_passed_over)}
        cells = {title: cell for title, cell in line.cells.items() if title.strip().casefold() not in left_out}
        return " ".join(filter(None, cells.values()))

    def suspicious(self, row: int, sku: str, one: Suspicious) -> None:
        """Take a figure that looks wrong; what it decides is not known before it is looked at."""
        wrong = t("looks wrong: others of its kind have about {usual}", usual=one.usual)
        wrong += t("; maybe {guess}", guess=one.guess) if one.guess else ""
        help = t("look at the item or its sheet, and write what stands there")
        self._add(fix_as("suspicious", row, sku, self._title(one.fact), one.value, (wrong, help)))

    def suspicious_column(self, one: Suspicious) -> None:
        """Take a column whose figures all look wrong, by which every pair may be: it stands in no single row."""
        wrong = t(
            "looks wrong in {guess}; here {value} in the middle, where others have {usual}",
            guess=one.guess,
            value=one.value,
            usual=one.usual,
        )
        help = t("write the column's own unit in its title, or say in a mapping what it is")
        pairs = self._report.items * len(self._state.rigs)
        self._add(fix_as("suspicious", 0, "", self._title(one.fact), "", (wrong, help), pairs=pairs))

    def _whole_rows(self) -> None:
        """Take the rows that could not be judged, which cost every pair of theirs, and claims that name nothing."""
        rigs = len(self._state.rigs)
        for row in rows_of(self._state.spool.bad_rows):
            told = (int(row["row"] or 0), "", row["column"], "", (row["problem"], row["allowed"]))
            self._add(fix_as("bad_row", *told, pairs=rigs))
        first = self._report.bad_claims - self._report.bad_claims_apart
        for place, row in enumerate(rows_of(self._state.spool.bad_claims)):
            told = (int(row["row"] or 0), "", row["column"], "", (row["problem"], row["allowed"]))
            if row["allowed"] == t(OURS):
                continue  # it stands in the list of what we have to tell
            self._add(fix_as("bad_claim", *told, claims=1)._replace(file=self._claims_file if place >= first else ""))

    def _add(self, fix: Fix) -> None:
        self.count += 1
        self._found.append(fix if fix.file else fix._replace(file=self._report.file))
        if len(self._found) > 2 * MOST:
            self._found = self.listed()
            self._last = fix_rank(self._found[-1])

    def _is_past_the_end(self, pairs: int, claims: int, row: int) -> bool:
        """Whether a cell that decides so much cannot be among those that are listed, as so many decide more."""
        return self._last is not None and (-pairs, -claims, row) >= self._last

    def _cells_of(self, lines: Mapping[str, int]) -> Iterator[Mapping[str, str]]:
        """The bad cells of some items, which stand in their file in the order of the items."""
        while self._waiting is not None and (self._waiting["sku"] in lines or self._waiting["sku"] in self._others):
            if self._waiting["sku"] in lines:
                yield self._waiting
            self._waiting = next(self._cells, None)

    def _fact(self, column: str) -> str:
        """The short name of the fact that a column is, of which a cell may have named a part."""
        title = column if column in self._report.columns else column.rpartition(", ")[0]
        return self._report.columns.get(title, column)

    def _title(self, short: str) -> str:
        return self._titles.get(short, short)

    def _empty(self, line: int, sku: str, stands: str, fact: Fact, pairs: int, claims: int) -> Fix:
        """A fact that a cell does not tell well enough, or that has no column; `stands` is what it tells."""
        wrong, help = (
            t("{fact} is not known, or not exactly", fact=fact.the),
            f"{taken_as(fact)}. {fact.how_to_measure}",
        )
        if fact.short not in self._titles:
            wrong = t("{fact} is not told: the file has no column for it", fact=fact.the)
            help = t("add a column `{name}`: {help}", name=fact.short, help=help)
            if ignored := self._report.ignored:
                listed = ", ".join(f"`{title}`" for title in ignored[:_NAMED])
                help = t("say in the mapping if it is {listed}, or {help}", listed=listed, help=help)
        return fix_as("missing", line, sku, self._title(fact.short), stands, (wrong, help), pairs=pairs, claims=claims)

    def _false(self, items: Items, lines: Mapping[str, int], fates: Sequence[ClaimFate]) -> None:
        """Take the false claims of some items, those of one item together."""
        by_item: dict[str, dict[str, list[str]]] = {}
        for one in fates:
            by_item.setdefault(one.sku, {}).setdefault(one.rig, []).append(one.reason)
        found = []
        for sku, rigs in by_item.items():
            named = tuple(self._rigs[rig].name for rig in list(rigs)[:_NAMED])
            first = next(iter(rigs))
            reasons = tuple(dict.fromkeys(rigs[first]))
            told = FalseClaims(
                row=lines[sku], sku=sku, claims=len(rigs), rig=first, named=named, reasons=reasons, link=""
            )
            found.append(told)
            unless = t("take them out of the claims, unless a fact of the item is wrong")
            self._falsely_claimed(told, [_with_id(self._rigs[rig]) for rig in list(rigs)[:_NAMED]], unless=unless)
        self._keep(found, items)

    def _falsely_claimed(self, told: FalseClaims, named: Sequence[str], *, unless: str = "", stands: str = "") -> None:
        """Take one item's false claims together, of which the first are `named`.

        What `stands` there is told where no line of claims is, as of a ball, whose own row names its mounts.
        """
        count, why = told.claims, " ".join(told.reasons)
        more = t(" and {count} more", count=counted(count - len(named))) if count > len(named) else ""
        wrong = t("does not fit {named}{more}: {why}", named="; ".join(named), more=more, why=why)
        help = unless or t("take them out of the claims, unless a fact is wrong")
        stood = (told.row, told.sku, self._title("fits"), stands)
        self._add(fix_as("false_claim", *stood, (wrong, help), pairs=count, claims=count))

    def _keep(self, found: Iterable[FalseClaims], items: Items | None = None) -> None:
        """Keep what has most false claims; accessories that stay get the address at which the first one opens."""
        self.false = sorted([*self.false, *found], key=lambda one: (-one.claims, one.row))[:_MOST_FALSE]
        if items is None or not self._counter:
            return
        places = {sku: place for place, sku in enumerate(items.skus)}
        self.false = [
            replace(one, link=counter_link(self._counter, self._rigs[one.rig], items, places[one.sku], self._reader))
            if one.sku in places
            else one
            for one in self.false
        ]


def _false_claims(row: int, sku: str, count: int, named: Sequence[str], why: str) -> FalseClaims:
    """Those of one trailer, adapter or ball, of which no single question is opened at the counter."""
    return FalseClaims(row=row, sku=sku, claims=count, rig="", named=tuple(named), reasons=(why,), link="")


def _with_id(rig: AuditRig) -> str:
    """What people call a rig, with the id by which a claim may name it."""
    return rig.name if rig.name == rig.key else f"{rig.name}, `{rig.key}`"
