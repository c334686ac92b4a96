"""What is kept of a judged block beside its pairs: counts by rig, item, rule and open fact, and each claim's fate."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fitsvc.answers.allowances import AllowanceWords
from fitsvc.answers.answer import AllowanceShown, WayTold
from fitsvc.answers.either_way import tell_either_way
from fitsvc.answers.wording import Wording
from fitsvc.audits.blocks import Block, Kernel, decided_by, pair_case
from fitsvc.audits.claims import Claims
from fitsvc.audits.items import Items
from fitsvc.audits.missing import OpenFacts
from fitsvc.audits.parts import ClaimCarried, ClaimFate, PartCounts
from fitsvc.audits.rig_results import RigResult
from fitsvc.audits.rigs import AuditRig
from fitsvc.engine.columns.bitmaps import unpack
from fitsvc.engine.columns.kernel import UNREAD, Judged
from fitsvc.engine.columns.signatures import Column
from fitsvc.facts import Case
from fitsvc.language.types import ListType, Mask
from fitsvc.rulebook.outcomes import OUTCOMES
from fitsvc.subjects import KIND

FAILS, UNDETERMINED = 3, 2
Counts = NDArray[np.int64]


class Tally:
    """Counts over some rigs with one block of items."""

    def __init__(self, kernel: Kernel, facts: OpenFacts, block: Block, rigs: int) -> None:
        self._kernel, self._facts, self._block = kernel, facts, block
        self.kinds = kinds_of(kernel)
        self._kind = kind_numbers(block.catalogue.columns.get(KIND), len(self.kinds), block.catalogue.count)
        self._open = facts.of_items(block)
        self._signatures = np.arange(block.catalogue.count)
        every = len(facts.facts)
        self.by_rig: Counts = np.zeros((rigs, 4), np.int64)
        self.fits: Counts = np.zeros((rigs, len(self.kinds)), np.int64)
        self.by_signature: Counts = np.zeros((4, block.catalogue.count), np.int64)
        self.by_rule: Counts = np.zeros((len(kernel.names), 4), np.int64)
        self.waits_of_rig: Counts = np.zeros((rigs, every), np.int64)
        self.waits_of_item: Counts = np.zeros((len(facts.item_facts), block.catalogue.count), np.int64)
        self.held_by_item: Counts = np.zeros_like(self.waits_of_item)
        # Of the kind and of cells that do not read alone: all that others leave open would be a long count for little.
        self._looked_at = [
            (place, kernel.columns.unread_bits(["accessory"], [name] if name in block.items.unread else []))
            for place, name in enumerate(facts.item_facts)
            if name in {KIND, *block.items.unread}
        ]
        unread = block.catalogue.columns.get(UNREAD)
        none = np.zeros(block.catalogue.count, np.uint64)
        self._unread = unread.astype(np.uint64) if isinstance(unread, np.ndarray) else none
        self.waiting: list[NDArray[np.int32]] = []

    def add(self, place: int, rig: AuditRig, judged: Judged, result: RigResult) -> None:
        """Count one rig."""
        weights = self._block.catalogue.weights
        self.by_rig[place] = np.rint(np.bincount(result.outcome, weights, len(OUTCOMES)))
        fitting = result.outcome < UNDETERMINED
        counted = np.bincount(self._kind[fitting], weights[fitting], len(self.kinds))
        self.fits[place] = np.rint(counted)
        self.by_signature[result.outcome, self._signatures] += 1
        for number, outcome, pairs in result.pairs:
            self.by_rule[number, outcome] += pairs
        waits, held = self._facts.waits(judged, result, self._open, rig)
        for fact, of_unread in self._looked_at:
            holds_up = (held >> np.uint64(fact) & np.uint64(1)).astype(np.bool_)
            for number, asked in self._kernel.lenient(bool(rig.case.adapters), "accessory") if of_unread else ():
                words = judged.entries[number].undetermined
                if asked & of_unread and words is not None:
                    holds_up |= unpack(words, len(held)) & ((self._unread & of_unread) > 0)
            self.held_by_item[fact] += holds_up & (result.outcome == UNDETERMINED)
        self.waiting.append(waits)
        alone = waits >= 0
        counts = np.bincount(waits[alone], weights[alone], len(self._facts.facts))
        self.waits_of_rig[place] = np.rint(counts)
        of_item = alone & (waits < len(self._facts.item_facts))
        self.waits_of_item[waits[of_item], self._signatures[of_item]] += 1

    def counts(self, claims: Claims | None, results: Sequence[RigResult]) -> PartCounts:
        """All counts, to be kept."""
        count = len(self._block.signature_of)
        claimed: Counts = np.zeros((4, count), np.int64)
        decided: Counts = np.zeros(len(self._facts.facts), np.int64)
        came_to = np.zeros(len(claims.item) if claims is not None else 0, np.uint8)
        if claims is not None:
            for rig, result in enumerate(results):
                of_rig = claims.rig == rig
                items = claims.item[of_rig]
                signatures = self._block.signature_of[items]
                came_to[of_rig] = result.outcome[signatures]
                claimed[result.outcome[signatures], items] += 1
                waits = self.waiting[rig][signatures]
                decided += np.bincount(waits[waits >= 0], minlength=len(decided))
        return PartCounts(
            by_rig=self.by_rig,
            fits=self.fits,
            by_rule=self.by_rule,
            claimed=claimed,
            by_item=self.by_signature[:, self._block.signature_of],
            waits_of_rig=self.waits_of_rig,
            waits_of_item=self.waits_of_item[:, self._block.signature_of].astype(np.int32),
            held_by_item=self.held_by_item[:, self._block.signature_of].astype(np.int32),
            decided=decided,
            claim_outcomes=came_to,
        )


def kinds_of(kernel: Kernel) -> list[str]:
    """The kinds of accessory, and `""` for an item whose kind is not known."""
    kind = kernel.rulebook.vocabulary.slots().get(KIND)
    return [*(kind.members if isinstance(kind, ListType) else ()), ""]


def kind_numbers(column: Column | None, kinds: int, count: int) -> NDArray[np.int64]:
    """The number of each item's kind; the last where it is not exactly known."""
    found = np.full(count, kinds - 1, np.int64)
    if isinstance(column, np.ndarray):
        exact = np.bitwise_count(column) == 1
        found[exact] = np.bitwise_count(column[exact] - np.uint64(1))
    return found


class ClaimTeller:
    """Words for the claims that do not hold and those that cannot be decided, and of the others what may be carried."""

    def __init__(self, kernel: Kernel, facts: OpenFacts) -> None:
        self._kernel, self._facts = kernel, facts
        self._words = Wording(kernel.engine)
        self._places = {name: place for place, name in enumerate(kernel.names)}
        self._allowances = AllowanceWords(self._words)
        # Most kinds carry nothing, and are not worth a case for each claim.
        kinds = [{KIND: Mask(1 << number)} for number in range(len(kinds_of(kernel)) - 1)]
        cases = [Case(of_kind, frozenset({"accessory"})) for of_kind in [*kinds, {}]]
        self._carries = np.array([self._allowances.allowances.may_apply(case) for case in cases], np.bool_)

    def fates(
        self,
        items: Items,
        rigs: Sequence[AuditRig],
        block: Block,
        results: Sequence[RigResult],
        waiting: Sequence[NDArray[np.int32]],
        claims: Claims,
    ) -> list[ClaimFate]:
        """A row for each rule that a claim contradicts, or that leaves it open, in the order of the claims."""
        found = []
        for item, place in zip(claims.item.tolist(), claims.rig.tolist(), strict=True):
            signature, result = int(block.signature_of[item]), results[place]
            outcome = int(result.outcome[signature])
            if outcome < UNDETERMINED:
                continue
            case = self._case(items, item, rigs[place])
            waits = int(waiting[place][signature])
            fact = self._facts.facts[waits] if waits >= 0 else ""
            of_pair = (int(items.lines[item]), items.skus[item], rigs[place].key, OUTCOMES[outcome])
            rules = decided_by(self._kernel.names, result, signature)
            cases = self._cases(case) if outcome == FAILS else []
            found += [ClaimFate(*of_pair, rule, *self._worded(rule, outcome, case, cases), fact) for rule in rules]
        return found

    def carried(
        self, items: Items, rigs: Sequence[AuditRig], block: Block, results: Sequence[RigResult], claims: Claims
    ) -> list[ClaimCarried]:
        """A row for each claim that holds of an item that is to be loaded, in the order of the claims."""
        catalogue, found = block.catalogue, []
        kinds = kind_numbers(catalogue.columns.get(KIND), len(self._carries), catalogue.count)
        carries = self._carries[kinds][block.signature_of[claims.item]]
        told: dict[tuple[int, int], AllowanceShown | None] = {}
        for item, place in zip(claims.item[carries].tolist(), claims.rig[carries].tolist(), strict=True):
            signature, rig = int(block.signature_of[item]), rigs[place]
            outcome = int(results[place].outcome[signature])
            if outcome >= UNDETERMINED:
                continue
            if (place, signature) not in told:
                told[place, signature] = self._allowances.told(self._case(items, item, rig), "us")
            one = told[place, signature]
            if one is not None:
                found.append(_row(int(items.lines[item]), items.skus[item], rig.key, OUTCOMES[outcome], one))
        return found

    def _cases(self, case: Case) -> Sequence[WayTold]:
        """Of a case that fails with each value of an open choice each of them in words; else none."""
        either_way = self._kernel.engine.evaluate(case).either_way
        return tell_either_way(self._words, case, either_way, "us").cases if either_way else []

    def _worded(self, rule: str, outcome: int, case: Case, cases: Sequence[WayTold]) -> tuple[str, str]:
        """The margin, and why: of a rule that fails in one case of an open choice, why it does then."""
        if of_case := next((one.reason for one in cases if one.rule == rule), ""):
            return "", of_case
        words = self._words.rules(bool(case.adapters))[self._places[rule]]
        finding = words.finding("fails" if outcome == FAILS else "undetermined", case, "us")
        return finding.margin, finding.reason

    def _case(self, items: Items, item: int, rig: AuditRig) -> Case:
        """The case of one pair, with its opening's facts."""
        case = pair_case(self._kernel, items, item, rig)
        return self._kernel.engine.opened(case)


def _row(line: int, sku: str, rig: str, outcome: str, one: AllowanceShown) -> ClaimCarried:
    return ClaimCarried(
        row=line,
        sku=sku,
        rig=rig,
        outcome=outcome,
        at_most=one.at_most,
        times="" if one.count is None else str(one.count),
        each=one.each,
        by_label=one.by_label,
        whole="yes" if one.whole else "no",
        unknown=" ".join(one.unknown),
        told=one.told,
    )
