"""What is usual of the goods of a store, by kind: what a catalogue's columns are held against as a whole."""

from collections.abc import Iterator
from math import log
from statistics import median
from typing import Any, Final

from sqlmodel import Session

from fitsvc.answers.shelf import Item, read_items
from fitsvc.audits.outliers import Usual
from fitsvc.audits.usual_figures import FEWEST
from fitsvc.facts import FactReader
from fitsvc.inventory.stored import stored
from fitsvc.language.types import ListType
from fitsvc.store.records import list_records
from fitsvc.subjects import KIND

_PAGE: Final = 1_000
_MOST: Final = 20_000
"""Goods that are looked at, the first by their SKUs: medians of more are no other, and a store may have millions."""
_ACCESSORY: Final = "accessory"


def usual_of_store(session: Session, reader: FactReader) -> Usual:
    """The median of each figure's natural logarithm by kind and fact, of those that enough goods tell exactly."""
    kind = reader.vocabulary.slots().get(KIND)
    if not isinstance(kind, ListType):
        return {}
    found: dict[tuple[str, str], list[float]] = {}
    for item in _goods(session, reader):
        mask = item.kind
        if isinstance(mask, int) and mask.bit_count() == 1:
            for name, value in item.values.items():
                if isinstance(value, tuple) and value[0] == value[1] > 0:
                    key = (kind.members[mask.bit_length() - 1], name.partition(".")[2])
                    found.setdefault(key, []).append(log(value[0]))
    return {key: median(logs) for key, logs in sorted(found.items()) if len(logs) >= FEWEST}


def _goods(session: Session, reader: FactReader) -> Iterator[Item]:
    after: str | None = None
    for _ in range(_MOST // _PAGE):
        page: list[Any] = list(list_records(session, _ACCESSORY, after=after, limit=_PAGE, sold_as=_ACCESSORY))
        if not page:
            return
        yield from read_items(reader, (stored(_ACCESSORY, record) for record in page))
        after = page[-1].key
