"""The store's shelf and its vehicles' names, read once and kept in step with the store by its observations."""

from collections.abc import Mapping, Sequence
from math import inf
from threading import Lock
from time import monotonic

from sqlmodel import Session

from fitsvc.answers.question import Named, Stored
from fitsvc.answers.shelf import Item, Stock, read_items
from fitsvc.answers.vehicles import Vehicles
from fitsvc.catalogue.selection_changes import Seen, changed_since, seen_all
from fitsvc.catalogue.stored import stored
from fitsvc.facts import FactReader
from fitsvc.language.types import Value
from fitsvc.store.records import find_mountings, get_record, get_records, list_records
from fitsvc.store.tables import Record, Subject

_PAGE = 5_000
_FRESH_SECONDS = 0.5
_SMALL = 100


class Shop:
    """What the store sells and what its vehicles are called, kept in memory.

    Every change to a record's facts leaves an observation, which is how it is seen.
    """

    def __init__(self, reader: FactReader) -> None:
        self._reader, self._lock = reader, Lock()
        self._items: dict[str, Item] = {}
        self._seen: Seen | None = None
        self._looked = -inf
        self._stock = Stock((), {})
        self._vehicles = Vehicles(reader)
        self._seen_vehicles: Seen | None = None

    def vehicles(self, session: Session, values: Mapping[str, Value], texts: Mapping[str, str]) -> list[Named]:
        """The vehicles that agree with these naming facts, as the store has them now."""
        with self._lock:
            return self._vehicles_now(session).agreeing(values, texts)

    def matching_vehicles(self, session: Session, text: str) -> list[Named]:
        """The vehicles of which every word of a text is told somewhere, as the store has them now."""
        with self._lock:
            return self._vehicles_now(session).matching(text)

    def said(self, values: Mapping[str, Value]) -> dict[str, str]:
        """Those counts and choices among naming facts that are settled, as people write them."""
        return self._vehicles.said(values)

    def _vehicles_now(self, session: Session) -> Vehicles:
        if self._seen_vehicles is None:
            self._seen_vehicles = seen_all(session)  # before the rest: what changes meanwhile is then read again
            self._vehicles = Vehicles(self._reader, _everything(session, "vehicle"))
        else:
            seen, changed = changed_since(session, self._seen_vehicles, "vehicle")
            found = get_records(session, "vehicle", changed)
            for key in changed:
                self._vehicles.drop(key)
                if key in found:
                    self._vehicles.put(stored("vehicle", found[key]))
            self._seen_vehicles = seen
        return self._vehicles

    def lately(self) -> Stock | None:
        """The shelf as the store had it less than half a second ago, or None; a large one is left to a thread."""
        fresh = monotonic() - self._looked < _FRESH_SECONDS and len(self._items) <= _SMALL
        return self._stock if fresh else None

    def shelf(self, session: Session) -> "StoreShelf":
        """The shelf as the store has it now."""
        with self._lock:
            looked = monotonic()
            if self._seen is None:
                self._seen = seen_all(session)
                for record in _everything(session, "accessory"):
                    self._put(record)
                self._stock = Stock(self._items.values(), {})
            else:
                seen, changed = changed_since(session, self._seen, "accessory")
                if changed:
                    self._change(changed, get_records(session, "accessory", changed))
                self._seen = seen
            self._looked = looked
            return StoreShelf(self._stock, session)

    def _change(self, changed: Sequence[str], found: Mapping[str, Record]) -> None:
        for key in changed:
            self._items.pop(key, None)
            if key in found:
                self._put(stored("accessory", found[key]))
        self._stock = Stock(self._items.values(), {})

    def _put(self, record: Stored) -> None:
        self._items |= {item.sku: item for item in read_items(self._reader, [record])}


class StoreShelf:
    """What one request takes from the shelf; receivers are asked of the store when they are wanted."""

    def __init__(self, stock: Stock, session: Session) -> None:
        self._stock, self._session = stock, session

    def items(self, subject: str, kind: Value | None = None) -> Sequence[Item]:
        """The items of a subject, of one kind if a kind is given."""
        return self._stock.items(subject, kind)

    def receivers_for(self, vehicle: str) -> Sequence[tuple[Stored, Stored]]:
        """The mountings stored for a vehicle, each with its receiver."""
        found = []
        for mounting in find_mountings(self._session, vehicle_id=vehicle):
            receiver = get_record(self._session, "receiver", mounting.receiver_id)
            found.append((stored("mounting", mounting), stored("receiver", receiver)))
        return found


def _everything(session: Session, subject: Subject) -> list[Stored]:
    found: list[Stored] = []
    after: str | None = None
    while page := list_records(session, subject, after=after, limit=_PAGE):
        found += [stored(subject, record) for record in page]
        after = page[-1].key
    return found
