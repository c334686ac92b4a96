"""Last stage of an audit: the counts of all blocks brought together, and the findings written as CSV files."""

import csv
from collections.abc import Iterable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from fitsvc.audits.ball_pairs import BallPair, BallPairs
from fitsvc.audits.causes import Causes
from fitsvc.audits.changes import Change, Changes, Earlier, gone_and_new
from fitsvc.audits.claim_lines import LinesTold
from fitsvc.audits.fix_rows import FIX_LIST, Fix, write_fix_list
from fitsvc.audits.fixes import Fixes
from fitsvc.audits.hitched import Hitched, Hitches
from fitsvc.audits.items import Items, ReadReport, digests
from fitsvc.audits.kept import kept_facts
from fitsvc.audits.learnt import keep_usual
from fitsvc.audits.other_pairs import OtherCounts, OtherPair, OtherPairs, OthersClaimed
from fitsvc.audits.outliers import CatalogueFigures, Usual, suspicious
from fitsvc.audits.parts import ClaimCarried, ClaimFate
from fitsvc.audits.rescues import Rescue, Rescues, StockedAdapter
from fitsvc.audits.sheets import safe_row
from fitsvc.audits.state import AuditState, Progress
from fitsvc.audits.tally import kind_numbers, kinds_of
from fitsvc.document import Document
from fitsvc.files import written
from fitsvc.rulebook.outcomes import OUTCOMES
from fitsvc.subjects import KIND

_NONE: Final = Items([], np.zeros(0, np.int64), {}, {}, {})
Counts = NDArray[np.int64]


class Findings:
    """What an audit found, counted; writing the files counts what is in them."""

    def __init__(self, state: AuditState, report: ReadReport, tell: Progress, counter: str = "") -> None:
        """`counter` is the address of the counter, where pairs are to be linked to it."""
        self.state, self.report, self._tell = state, report, tell
        self.fixes = Fixes(state, report, counter)
        self.facts, self.kinds = state.facts, kinds_of(state.kernel)
        rigs, facts = len(state.rigs), len(self.facts.facts)
        self.by_rig: Counts = np.zeros((rigs, 4), np.int64)
        self.fits: Counts = np.zeros((rigs, len(self.kinds)), np.int64)
        self.by_rule: Counts = np.zeros((len(state.kernel.names), 4), np.int64)
        self.waits_of_rig: Counts = np.zeros((rigs, facts), np.int64)
        self.decided: Counts = np.zeros(facts, np.int64)
        self.claimed: Counts = np.zeros(4, np.int64)
        self.items_waiting: Counts = np.zeros(facts, np.int64)
        self.of_kind: Counts = np.zeros(len(self.kinds), np.int64)
        self.counted: dict[str, int] = {}
        self.suspicious: dict[str, int] = {}
        self.contradicted_by: dict[str, int] = {}
        self.changes: Document | None = None
        self.rescued: dict[str, int] = {}
        self.hitched: dict[str, int] = {}
        self.columns_suspicious: dict[str, str] = {}
        self.claim_lines: dict[str, int] = {}
        self.claims_unclear: list[int] = []
        self.others: dict[str, OtherCounts] = {}
        self.balls = OtherCounts()

    def write(self, earlier: Earlier | None, usual: Usual, stocked: Sequence[StockedAdapter]) -> None:
        """Write every file of findings, and of what changed since an earlier audit.

        Whole columns are held against what is `usual` of the goods of a store, and false claims are tried with the
        adapters that it has `stocked`.
        """
        for path in (self.state.spool.bad_rows, self.state.spool.bad_cells, self.state.spool.bad_claims):
            self._copy(path)
        self.skus: dict[str, str] = {}
        self._rows: list[Counts] = []
        self._items()
        rig_digests = {rig.key: rig.digest() for rig in self.state.rigs}
        self._file("rigs", ("rig", "vehicle", "facts", *OUTCOMES, "name"), self._rig_rows(rig_digests))
        self._file("claims", ClaimFate._fields, self._claim_rows())
        others = OtherPairs(self.state)
        self._file("others", OtherPair.titles(), (pair.cells() for pair in self.fixes.of_others(others.rows())))
        balls, hitches = BallPairs(self.state, self.report.blocks), Hitches(state=self.state, blocks=self.report.blocks)
        self._file("balls", BallPair._fields, self.fixes.of_balls(hitches.noting(balls.rows())))
        self.balls = balls.counts
        lines = self._lines(others.claimed)
        self.others = others.counts
        for subject, counts in self.others.items():
            counts.unclear = lines.unclear_of((self.state.spool.other(subject) or _NONE).skus)
        self._file("unclaimed_of_rigs", ("rig", "name", *OUTCOMES[:2]), self._unclaimed_of_rigs(lines))
        self._file("vehicles_to_tell", ("vehicle", "wanting", "claims"), self.report.untold)
        rescues = Rescues(self.state, stocked)
        self._file("rescued", Rescue._fields, self._rescued(rescues))
        self.rescued = {"claims": rescues.rescued, "untried": rescues.untried}
        self._file("hitched", Hitched._fields, hitches.of(others.claimed))
        self.hitched = {"claims": hitches.found, "none": hitches.none, "untried": hitches.untried}
        self._file("carried", ClaimCarried._fields, self._carried_rows())
        self._file("missing_of_rigs", ("rig", "fact", "pairs"), self._missing_of_rigs())
        self._file("rigs_without", ("rig", "kind"), self._without())
        titles = ("sku", "row", "column", "kind", "fact", "value", "usual", "score", "guess")
        self._file("suspicious", titles, self._suspicious(usual))
        if self.report.claims_told:
            skus = list(self.skus)
            self.fixes.as_claimed((skus[one.item] if one.item >= 0 else one.other, one) for one in lines.faulty())
        self._fix_list()
        if earlier is not None:
            self._changes(earlier, rig_digests)

    def _copy(self, path: Path) -> None:
        """Hand out a table of the spool."""
        with path.open(encoding="utf-8", newline="") as stream:
            rows = csv.reader(stream)
            self._file(path.stem, next(rows), rows)

    def _file(self, name: str, titles: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
        with self._table(name, titles) as writer:
            for row in rows:
                writer.writerow(safe_row(row))
                self.counted[name] += 1

    def _fix_list(self) -> None:
        """What is to be mended, as a table and as a workbook, the cell that decides most first."""
        rows = self.fixes.listed()
        self._file(FIX_LIST, Fix._fields, rows)
        write_fix_list(self.state.out / f"{FIX_LIST}.xlsx", rows)

    @contextmanager
    def _table(self, name: str, titles: Sequence[str]) -> Iterator[Any]:
        """A writer of rows to a file of findings, which is there once it is whole."""
        with (
            written(self.state.out / f"{name}.csv") as place,
            place.open("w", encoding="utf-8", newline="") as stream,
        ):
            writer = csv.writer(stream, lineterminator="\n")
            writer.writerow(safe_row(titles))  # some are a supplier's own
            self.counted[name] = 0
            yield writer

    def _items(self) -> None:
        """Go through the blocks once, and write what is told of each item."""
        titles = {
            "items": ("sku", "row", "facts", *OUTCOMES, "claimed", "claims_failing", "kind"),
            "fits_nothing": ("sku", "row", "undetermined", "fails"),
            "unclaimed": ("sku", "row", "works", "conditional"),
            "missing_of_items": ("sku", "row", "fact", "pairs"),
        }
        with ExitStack() as opened:
            writers = {name: opened.enter_context(self._table(name, titled)) for name, titled in titles.items()}
            for block in range(self.report.blocks):
                self._tell("writing the findings", block, self.report.blocks)
                for name, rows in self._block_rows(block):
                    writers[name].writerows(rows)
                    self.counted[name] += len(rows)
            self._tell("writing the findings", self.report.blocks, self.report.blocks)

    def _block_rows(self, block: int) -> Iterator[tuple[str, list[tuple[Any, ...]]]]:
        """The rows that a block gives to each file, column by column: there are as many as items."""
        items = self.state.spool.block(block)
        outcomes, claimed, waits, held = self._sum(block, len(items.skus))
        kinds = kind_numbers(items.columns.get(KIND), len(self.kinds), len(items.skus))
        self.of_kind += np.bincount(kinds, minlength=len(self.kinds))
        told = digests(items, self.state.kernel.rulebook.vocabulary.slots()).tolist()
        facts = [f"{digest:016x}" for digest in told]
        self.skus.update(zip(items.skus, facts, strict=True))
        skus, lines = np.array(safe_row(items.skus), object), items.lines
        named = [self.kinds[number] for number in kinds.tolist()]
        of_claims = claimed.sum(axis=0).tolist(), claimed[3].tolist()
        yield "items", _rows(skus, lines, facts, *outcomes.tolist(), *of_claims, named)
        none = outcomes[0] + outcomes[1] == 0
        yield "fits_nothing", _rows(skus[none], lines[none], outcomes[2, none], outcomes[3, none])
        if self.report.claims_told:
            unclaimed = outcomes - claimed
            some = (unclaimed[:2] != 0).any(axis=0)
            yield "unclaimed", _rows(skus[some], lines[some], unclaimed[0, some], unclaimed[1, some])
        fact, item = np.nonzero(waits)
        names = [self.facts.facts[number] for number in fact.tolist()]
        yield "missing_of_items", _rows(skus[item], lines[item], names, waits[fact, item])
        self._rows.append(items.lines)
        fates = [one for part in self._parts(block) for one in self.state.spool.fates(*part)]
        self.fixes.of_block(items, waits, held, fates)

    def _sum(self, block: int, rows: int) -> tuple[Counts, Counts, Counts, Counts]:
        """A block's counts by item, over all rigs; what is counted otherwise is added up on the way."""
        outcomes, claimed = np.zeros((4, rows), np.int64), np.zeros((4, rows), np.int64)
        waits, held = np.zeros((2, len(self.facts.item_facts), rows), np.int64)
        for group, places in enumerate(self.state.groups(rows)):
            kept = self.state.spool.counts(block, group)
            outcomes += kept.by_item
            claimed += kept.claimed
            waits += kept.waits_of_item
            held += kept.held_by_item
            rigs = slice(places.start, places.stop)
            self.by_rig[rigs] += kept.by_rig
            self.fits[rigs] += kept.fits
            self.waits_of_rig[rigs] += kept.waits_of_rig
            self.by_rule += kept.by_rule
            self.decided += kept.decided
        self.claimed += claimed.sum(axis=1)
        self.items_waiting[: len(waits)] += (waits > 0).sum(axis=1)
        return outcomes, claimed, waits, held

    def _rig_rows(self, rig_digests: dict[str, str]) -> Iterator[list[Any]]:
        for rig, counts in zip(self.state.rigs, self.by_rig.tolist(), strict=True):
            yield [rig.key, rig.vehicle, rig_digests[rig.key], *counts, rig.name]

    def _claim_rows(self) -> Iterator[ClaimFate]:
        for part in self._all_parts():
            for fate in self.state.spool.fates(*part):
                if fate.outcome == "fails":
                    self.contradicted_by[fate.rule] = self.contradicted_by.get(fate.rule, 0) + 1
                yield fate

    def _unclaimed_of_rigs(self, lines: LinesTold) -> Iterator[list[Any]]:
        """The rigs that more fits than is claimed, with how much."""
        unclaimed = (self.by_rig - lines.by_rig())[:, :2].tolist() if self.report.claims_told else []
        for rig, counts in zip(self.state.rigs, unclaimed, strict=False):
            if any(counts):
                yield [rig.key, rig.name, *counts]

    def _lines(self, others: OthersClaimed) -> LinesTold:
        """Tell of each claim as its line has it what it comes to."""
        told, own = LinesTold(self.state, self.report.blocks, others), self.report.claim_titles
        self._file("claims_checked", told.titles(own), told.rows(own))
        self.claim_lines, self.claims_unclear = dict(sorted(told.counted.items())), told.unclear()
        return told

    def _rescued(self, rescues: Rescues) -> Iterator[Rescue]:
        """The adapters that would rescue claims, block by block."""
        for block in range(self.report.blocks):
            items = self.state.spool.block(block)
            for part in self._parts(block):
                yield from rescues.of(items, self.state.spool.fates(*part))

    def _carried_rows(self) -> Iterator[ClaimCarried]:
        for part in self._all_parts():
            yield from self.state.spool.carried(*part)

    def _all_parts(self) -> Iterator[tuple[int, int]]:
        """Each block of items with each group of rigs."""
        for block in range(self.report.blocks):
            yield from self._parts(block)

    def _parts(self, block: int) -> Iterator[tuple[int, int]]:
        """One block of items with each group of rigs."""
        for group in range(len(self.state.groups(len(self.state.spool.skus(block))))):
            yield block, group

    def _missing_of_rigs(self) -> Iterator[list[Any]]:
        first = len(self.facts.item_facts)
        for rig, counts in zip(self.state.rigs, self.waits_of_rig.tolist(), strict=True):
            yield from (
                [rig.key, self.facts.facts[fact], pairs] for fact, pairs in enumerate(counts) if pairs and fact >= first
            )

    def _without(self) -> Iterator[list[Any]]:
        """The rigs that no item of a kind fits, of the kinds that the catalogue has."""
        for rig, fits in zip(self.state.rigs, self.fits.tolist(), strict=True):
            for number, kind in enumerate(self.kinds):
                if kind and self.of_kind[number] and not fits[number]:
                    yield [rig.key, kind]

    def _suspicious(self, usual: Usual) -> Iterator[list[Any]]:
        if not self._rows:
            return  # trailers and adapters alone
        skus, kernel, lines = list(self.skus), self.state.kernel, np.concatenate(self._rows)
        columns = {name: title for title, name in self.report.columns.items()}
        of: list[Any]
        vocabulary = kernel.rulebook.vocabulary
        slots = {name: kind for name, kind in vocabulary.slots().items() if name.startswith("accessory.")}
        figures = CatalogueFigures(self.state.spool, self.report.blocks, slots, self.kinds, vocabulary)
        for one in suspicious(figures, usual):
            if one.item < 0:
                self.columns_suspicious[one.fact], of = one.guess, ["", ""]
                self.fixes.suspicious_column(one)
            else:
                self.suspicious[one.fact] = self.suspicious.get(one.fact, 0) + 1
                of = [skus[one.item], int(lines[one.item])]
                self.fixes.suspicious(int(lines[one.item]), skus[one.item], one)
            column = columns.get(one.fact, one.fact)
            yield [*of, column, one.kind, one.fact, one.value, one.usual, f"{one.score:.1f}", one.guess]
        keep_usual(self.state.out, figures.usual(), self.columns_suspicious)

    def _changes(self, earlier: Earlier, rig_digests: dict[str, str]) -> None:
        changes = Changes(self.state, earlier, rig_digests, self.skus)
        kept = kept_facts(earlier.out, self.state.kernel.slots)
        causes = Causes(self.state.kernel, kept) if kept else None
        by_cause: dict[str, dict[str, int]] = {"new": {}, "lost": {}, "less": {}, "more": {}}

        def found() -> Iterator[Change]:
            start = 0
            for block in range(self.report.blocks):
                count = len(self.state.spool.skus(block))
                for group, rigs in enumerate(self.state.groups(count)):
                    yield from changes.of(block, group, rigs, range(start, start + count), causes)
                start += count
            parts = ((part[0], self.state.spool.carried(*part)) for part in self._all_parts())
            yield from changes.carried(parts, causes)

        def rows() -> Iterator[list[Any]]:
            for one in found():
                counts = by_cause[one.change]
                counts[one.cause] = counts.get(one.cause, 0) + 1
                yield [one.rig, one.sku, one.change, one.before, one.after, one.cause, one.rules]

        self._file("changes", ("rig", "sku", "change", "before", "after", "cause", "rules"), rows())
        others = gone_and_new(earlier, self.state.out, self.skus)
        self._file("items_changed", ("sku", "change", "works", "conditional"), others)
        self.changes = changes.told | by_cause


def _rows(*columns: Sequence[Any] | NDArray[Any]) -> list[tuple[Any, ...]]:
    """The rows of some columns; a figure is one of the language's own, which writes itself in no other way."""
    return list(zip(*(one.tolist() if isinstance(one, np.ndarray) else one for one in columns), strict=True))
