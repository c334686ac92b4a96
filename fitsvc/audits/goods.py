"""The goods of a store beside which a catalogue is audited: what is usual of them, and the adapters among them."""

from dataclasses import dataclass, field
from typing import Any

from sqlmodel import Session

from fitsvc.audits.outliers import Usual
from fitsvc.audits.rescues import StockedAdapter, stored_adapters
from fitsvc.audits.store_usual import usual_of_store
from fitsvc.document import Document
from fitsvc.facts import FactReader


@dataclass(frozen=True, slots=True)
class StoreGoods:
    """What an audit takes from a store beside its rigs."""

    usual: Usual = field(default_factory=dict)
    adapters: tuple[StockedAdapter, ...] = ()

    def document(self) -> Document:
        """The same as JSON, for an audit that is taken up again by another process."""
        usual = [[*key, value] for key, value in self.usual.items()]
        return {"usual": usual, "adapters": [[one.sku, dict(one.values), one.of] for one in self.adapters]}


def stored_goods(session: Session, reader: FactReader) -> StoreGoods:
    """The goods of a store."""
    return StoreGoods(usual_of_store(session, reader), stored_adapters(session, reader))


def goods_of(document: Document) -> StoreGoods:
    """The goods that `document` wrote."""
    usual = {(kind, fact): value for kind, fact, value in document["usual"]}
    return StoreGoods(usual, tuple(_adapter(*one) for one in document["adapters"]))


def _adapter(sku: str, values: dict[str, Any], of: str) -> StockedAdapter:
    told = {name: tuple(value) if isinstance(value, list) else value for name, value in values.items()}
    return StockedAdapter(sku, told, of)
