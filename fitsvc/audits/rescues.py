"""Which adapter would rescue a claim that fails in the opening alone: of those in the catalogue and those in the store.

A claim is looked at where every rule that contradicts it rests on the opening. An adapter rescues it where the same
question with that adapter in the opening works, maybe on a condition, by the same rules as any answer.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, NamedTuple

from sqlmodel import Session

from fitsvc.answers.missing import Missing
from fitsvc.answers.shelf import read_items
from fitsvc.answers.wording import Wording
from fitsvc.audits.blocks import pair_case
from fitsvc.audits.items import Items
from fitsvc.audits.others import ADAPTER
from fitsvc.audits.parts import ClaimFate
from fitsvc.audits.state import AuditState
from fitsvc.facts import MOST_ADAPTERS, Case, FactReader
from fitsvc.inventory.stored import stored
from fitsvc.language.types import Value
from fitsvc.rulebook.outcomes import OUTCOMES, Outcome
from fitsvc.store.records import list_records

_MOST_TRIED: Final = 50_000
"""Judgements in all, under a millisecond each: claims that are left over are counted, and told as not looked at."""
_TOLD: Final = 3
"""Adapters that are told of one claim, the best first."""
_MOST: Final = 200
"""Adapters of a store that are tried: shops stock dozens."""


class StockedAdapter(NamedTuple):
    """An adapter that can be had: its SKU, its facts, and whether the `catalogue` or the `store` has it."""

    sku: str
    values: Mapping[str, Value]
    of: str


class Rescue(NamedTuple):
    """A claim that fails without an adapter, one with which it does not, and what it comes to then."""

    sku: str
    rig: str
    adapter: str
    of: str
    outcome: str


def stored_adapters(session: Session, reader: FactReader) -> tuple[StockedAdapter, ...]:
    """The adapters of a store."""
    records = list_records(session, "accessory", limit=_MOST, sold_as=ADAPTER)
    items = read_items(reader, (stored(ADAPTER, record) for record in records))
    return tuple(StockedAdapter(one.sku, one.values, "store") for one in items)


@dataclass(slots=True)
class Rescues:
    """The search; `rescued` counts claims with an adapter, `untried` those that were left."""

    state: AuditState
    stocked: Sequence[StockedAdapter]
    rescued: int = 0
    untried: int = 0
    _left: int = _MOST_TRIED
    _opening: frozenset[str] = field(init=False)
    _reader: FactReader = field(init=False)

    def __post_init__(self) -> None:
        kernel = self.state.kernel
        about = Missing(kernel.engine, Wording(kernel.engine)).about
        self._opening = frozenset(
            rule.id for number, rule in enumerate(kernel.rulebook.rules) if "opening" in about(number)
        )
        self._reader = FactReader(self.state.task.reading)
        self.stocked = (*self._of_catalogue(), *self.stocked)

    def _of_catalogue(self) -> Iterator[StockedAdapter]:
        """The catalogue's own adapters of which every cell was read."""
        items = self.state.spool.other(ADAPTER)
        kinds = self.state.kernel.slots
        for place, sku in enumerate(items.skus if items else ()):
            assert items is not None
            if not items.unread_of(place):
                yield StockedAdapter(sku, items.facts_of(place, kinds), "catalogue")

    def of(self, items: Items, fates: Sequence[ClaimFate]) -> Iterator[Rescue]:
        """The rescues of the contradicted claims about a block's items."""
        rules: dict[tuple[str, str], set[str]] = {}
        for fate in fates:
            if fate.outcome == "fails":
                rules.setdefault((fate.sku, fate.rig), set()).add(fate.rule)
        places = {sku: place for place, sku in enumerate(items.skus)}
        rigs = {rig.key: rig for rig in self.state.rigs} if rules else {}
        for (sku, key), failing in rules.items():
            if not failing <= self._opening or not self.stocked:
                continue
            if self._left < len(self.stocked):
                self.untried += 1
                continue
            kernel = self.state.kernel
            case = pair_case(kernel, items, places[sku], rigs[key])
            found = sorted(self._tried(case), key=lambda one: OUTCOMES.index(one[1]))[:_TOLD]
            self.rescued += bool(found)
            for adapter, outcome in found:
                yield Rescue(sku, key, adapter.sku, adapter.of, outcome)

    def _tried(self, case: Case) -> Iterator[tuple[StockedAdapter, Outcome]]:
        """Each adapter with which a case works, maybe on a condition."""
        engine = self.state.kernel.engine
        if len(case.adapters) >= MOST_ADAPTERS:
            return
        self._left -= len(self.stocked)
        for adapter in self.stocked:
            outcome = engine.evaluate(engine.opened(self._reader.stacked(case, [adapter.values]))).outcome
            if outcome in ("works", "conditional"):
                yield adapter, outcome
