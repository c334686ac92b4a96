"""Trailers, adapters and wiring of a catalogue with every rig, by the same kernel and rules as accessories.

A trailer is judged as if it were asked about by itself behind the rig, a wiring adapter in its socket, an adapter as it
stands in the opening, with nothing in it. Of an adapter of which a cell could not be read nothing better than
`undetermined` is told.
"""

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from functools import partial
from typing import Final, NamedTuple

from fitsvc.answers.wording import Wording
from fitsvc.audits.blocks import decided_by
from fitsvc.audits.items import Items
from fitsvc.audits.others import ADAPTER, JUDGED
from fitsvc.audits.rig_results import RigResult
from fitsvc.audits.state import AuditState
from fitsvc.caching import LruCache
from fitsvc.engine.columns.signatures import Catalogue
from fitsvc.facts import MOST_ADAPTERS, Case, FactReader
from fitsvc.language.types import Value
from fitsvc.rulebook.outcomes import OUTCOMES, Outcome


@dataclass(frozen=True, slots=True, kw_only=True)
class OtherPair:
    """An item that is no accessory with a rig: what they come to, and why where a claim does not hold."""

    row: int
    sku: str
    subject: str
    rig: str
    outcome: str
    rules: str
    claimed: int
    why: str

    @staticmethod
    def titles() -> list[str]:
        """The titles of its columns."""
        return [one.name for one in fields(OtherPair)]

    def cells(self) -> list[str | int]:
        """Its cells."""
        return [getattr(self, title) for title in self.titles()]


@dataclass(slots=True)
class OtherCounts:
    """What was counted of one subject; `unclear` are claimed pairs that only unclear lines name, and would hold."""

    items: int = 0
    outcomes: Counter[str] = field(default_factory=Counter)
    claimed: Counter[str] = field(default_factory=Counter)
    unclear: Counter[str] = field(default_factory=Counter)


OthersClaimed = dict[str, dict[int, tuple[Outcome, str]]]
"""By number of an item that is no accessory and by the place of a rig that it is claimed for what that comes to, and
why it does not hold."""


class _PairJudged(NamedTuple):
    """One pair as it was judged: item and rig by their places, what it comes to, the rules that decide, and its case.

    The case is made when it is asked for: of most pairs nobody claims anything, and nothing more is told.
    """

    item: int
    rig: int
    outcome: Outcome
    rules: Sequence[str]
    case: Callable[[], Case]


class OtherPairs:
    """The pairs of an audit's items that are no accessories; counts them on the way, by subject."""

    def __init__(self, state: AuditState) -> None:
        self._kernel, self._rigs, self._spool = state.kernel, state.rigs, state.spool
        self._reader, self._words = FactReader(state.task.reading), Wording(state.kernel.engine)
        self._numbers = {rule.id: number for number, rule in enumerate(state.task.rulebook.rules)}
        self.counts: dict[str, OtherCounts] = {}
        self.claimed: OthersClaimed = {}

    def rows(self) -> Iterator[OtherPair]:
        """A row for each pair, item by item."""
        claims = self._spool.other_claims()
        for subject in JUDGED:
            items = self._spool.other(subject)
            if items is None or any(subject in rig.case.present for rig in self._rigs):
                continue  # what every rig tows already is told with the audit, and no other stands in its place
            counts = self.counts[subject] = OtherCounts(items=len(items.skus))
            for one in self._adapters(items) if subject == ADAPTER else self._beside(items, subject):
                counts.outcomes[one.outcome] += 1
                sku = items.skus[one.item]
                is_claimed = one.rig in claims.get(sku, ())
                why = self._why(one) if is_claimed else ""
                if is_claimed:
                    counts.claimed[one.outcome] += 1
                    self.claimed.setdefault(sku, {})[one.rig] = (one.outcome, why)
                yield OtherPair(
                    row=int(items.lines[one.item]),
                    sku=sku,
                    subject=subject,
                    rig=self._rigs[one.rig].key,
                    outcome=one.outcome,
                    rules=" ".join(one.rules),
                    claimed=int(is_claimed),
                    why=why,
                )

    def _beside(self, items: Items, subject: str) -> Iterator[_PairJudged]:
        """What stands beside the rig as an accessory does: folded, and judged with all rigs."""
        block = self._kernel.block(items, subject=subject)
        names = self._kernel.names
        for place, (rig, (_, result)) in enumerate(zip(self._rigs, block.judge(self._rigs), strict=True)):
            for item, signature in enumerate(block.signature_of.tolist()):
                outcome, rules = OUTCOMES[int(result.outcome[signature])], decided_by(names, result, signature)
                case = partial(self._case_beside, rig.case, items, item, subject)
                yield _PairJudged(item, place, outcome, rules, case)

    def _case_beside(self, rig: Case, items: Items, item: int, subject: str) -> Case:
        """The case of a rig with one item beside it; a fact that could not be read is one that it names."""
        told = items.facts_of(item, self._kernel.slots)
        named = self._kernel.rulebook.named & (told.keys() | items.unread_of(item))
        return replace(rig, facts={**rig.facts, **told}, present=rig.present | {subject} | named)

    def _stacked(
        self, values: Mapping[str, Value], rigs: Sequence[int], nothing: Catalogue
    ) -> list[tuple[Case, RigResult]]:
        """What goes into the opening, judged on some rigs with nothing in it."""
        cases = [self._reader.stacked(self._rigs[place].case, [values]) for place in rigs]
        sizes = len(self._kernel.rulebook.rules), len(self._kernel.names)
        of = self._kernel.columns.judge_all(nothing, cases)
        return [(case, RigResult(one, *sizes)) for case, one in zip(cases, of, strict=True)]

    def _adapters(self, items: Items) -> Iterator[_PairJudged]:
        """What goes into the opening, judged with nothing in it; those that are alike are judged once."""
        nothing = self._kernel.columns.catalogue([{}], ())
        rigs = [place for place, rig in enumerate(self._rigs) if len(rig.case.adapters) < MOST_ADAPTERS]
        judged = LruCache[tuple[tuple[str, Value], ...], list[tuple[Case, RigResult]]](_MOST_KEPT)
        for item in range(len(items.skus)):
            values = items.facts_of(item, self._kernel.slots)
            alike = judged.get(tuple(sorted(values.items())), partial(self._stacked, values, rigs, nothing))
            unread = items.unread_of(item)
            for place, (case, result) in zip(rigs, alike, strict=True):
                outcome = OUTCOMES[int(result.outcome[0])]
                rules: Sequence[str] = decided_by(self._kernel.names, result, 0)
                if unread and OUTCOMES.index(outcome) < OUTCOMES.index("undetermined"):
                    outcome, rules = "undetermined", ()
                yield _PairJudged(item, place, outcome, rules, partial(_itself, case))

    def _why(self, one: _PairJudged) -> str:
        """Why a claim does not hold or cannot be decided, by the first of the rules that say so."""
        number = next((self._numbers[rule] for rule in one.rules if rule in self._numbers), None)
        if number is None or one.outcome not in ("fails", "undetermined"):
            return ""
        case = self._kernel.engine.opened(one.case())
        return self._words.rules(bool(case.adapters))[number].finding(one.outcome, case, "us").reason


def _itself(case: Case) -> Case:
    return case


_MOST_KEPT: Final = 64
"""Adapters whose pairs are kept for others that are alike: sizes and colours of one stand beside each other."""
